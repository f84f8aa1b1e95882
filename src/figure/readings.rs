//! How figures are taken from a run.

use super::entry::Reading;
use crate::measure::Answers;
use crate::measure::consistency::Consistency;
use crate::measure::hot_part::HotPart;
use crate::quantity::Estimate;
use crate::run::{Measured, SettledRun};
use crate::statistics::quantiles::median;

/// A value with a standard uncertainty.
pub fn plain(value: Option<f64>, standard_u: f64) -> Option<Reading> {
    value.map(|v| Reading::plain(v, standard_u))
}

/// A value whose uncertainty is a share of it.
pub fn relative(value: Option<f64>, share: f64) -> Option<Reading> {
    value.map(|v| Reading::plain(v, share * v.abs()))
}

/// A value with its own interval.
pub fn estimated(estimate: Option<Estimate>) -> Option<Reading> {
    estimate.map(Reading::estimated)
}

/// A figure of the answers alone.
pub fn answered(run: &SettledRun, take: impl Fn(&Answers) -> Option<Reading>) -> Option<Reading> {
    take(&run.done()?.answers)
}

/// Share of the laps within 1 % of their median, with the standard error of a share of so many laps (binomial; textbook).
/// One lap more on either side keeps a share of none or all from being certain (Agresti and Coull 1998, from memory).
pub fn within_1_percent(laps: &Consistency) -> Option<Reading> {
    let (all, within) = (laps.laps as f64, laps.within_1_percent as f64);
    let near = (within + 1.0) / (all + 2.0);
    (all > 0.0).then(|| Reading::plain(within / all, (near * (1.0 - near) / (all + 2.0)).sqrt()))
}

/// The rise of a part above the air at the race's end; `None` where the car stopped on the way, since two races
/// compare only without stops.
pub fn rise(run: &SettledRun, part: HotPart) -> Option<Reading> {
    let (end, air) = run.heat(part)?.unbroken_end_c().zip(run.plan().ambient_c)?;
    Some(Reading::estimated(end.shifted(-air)))
}

/// Tyre diameter by which the realised ratio would be the set one with the pinion that was on the car.
pub fn effective_tyre(run: &SettledRun) -> Option<Reading> {
    let Measured { laps, answers, .. } = run.done()?;
    let own = answers.gearing.gripped?;
    let realised = answers.gearing.realised_ratio?;
    let tyre = run.plan().settings.tyre_mm()?;
    let counted = median(laps.counted().map(|l| l.turns))?;
    // Turns lost in wheelspin do not make the tyre smaller.
    let gripped = realised.value * own.turns / counted;
    let set = run.plan().settings.ratio_with(run.pinion_on_car()?)?;
    Some(Reading::plain(tyre * set / gripped, tyre * own.relative_u))
}
