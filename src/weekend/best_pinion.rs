//! Which pinion near the one on the car laps quickest without too much heat?
//!
//! What each would do to the lap is worked out by driving the run's laps anew ([`crate::measure::regeared_lap`]). Where the
//! car ran with that pinion too, all else set alike, the difference of the runs' median laps tells it as well, with what
//! equal runs of this car scatter in its doubt ([`super::since::RunScatter`]); both are put together by inverse variance.
//! The pinion on the car is the measure: its change is nought, without doubt.
//!
//! A pinion counts where motor and controller stay under their limits at the race's end with the upper ends of their
//! intervals. One is called faster where the interval of its change lies below nought.

use schemars::JsonSchema;
use serde::Serialize;

use super::next::{HeatRoom, Next};
use super::setups::{changed_keys, is_no_setup};
use super::since::RunScatter;
use crate::quantity::{Estimate, Uncertain};
use crate::run::SettledRun;
use crate::statistics::inverse_variance;

/// The key of the pinion on the sheet.
const PINION: &str = "pinion";

/// The pinion that laps quickest within the limits.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BestPinion {
    /// Teeth of the quickest one that stays within the limits; `null` where none is known to stay, or no lap time can be
    /// told.
    pub pinion: Option<f64>,
    /// Change of the median lap from the pinion on the car, s.
    pub lap_change_s: Option<Estimate>,
    /// Motor at the race's end, °C.
    pub motor_race_end_c: Option<Estimate>,
    /// Teeth of others within the limits whose intervals overlap its own: these may as well be the quickest.
    pub not_told_from: Vec<f64>,
    /// Whether it is known to be better than the one on the car.
    pub verdict: BestVerdict,
}

/// Whether another pinion is known to be better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum BestVerdict {
    /// It is faster than the pinion on the car, and stays within the limits.
    #[serde(rename = "faster")]
    Faster,
    /// The pinion on the car stays within the limits, and all others that may stay are slower.
    #[serde(rename = "the one on the car")]
    OnCar,
    /// Neither is known.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// A pinion whose change of the lap is told.
#[derive(Debug, Clone, Copy)]
struct Candidate<'a> {
    next: &'a Next,
    lap_s: Estimate,
}

/// The best of the pinions in `next`, one of which is on the car; `None` where that is not known.
pub fn best_pinion(run: &SettledRun, next: &[Next]) -> Option<BestPinion> {
    let on_car = run.pinion_on_car()?;
    let known = |next| Some(Candidate { next, lap_s: next.lap_change_together_s? });
    let all: Vec<Candidate> = next.iter().filter_map(known).collect();
    let told: Vec<Candidate> = all.iter().copied().filter(|c| c.next.heat == HeatRoom::Within).collect();
    let best = told.iter().copied().min_by(|a, b| a.lap_s.value.total_cmp(&b.lap_s.value));
    let others = || all.iter().filter(|c| c.next.pinion != on_car && c.next.heat != HeatRoom::Over);
    let is_known = told.len() > 1 || others().count() > 0;
    let verdict = match best {
        Some(best) if best.next.pinion != on_car && best.lap_s.high < 0.0 => BestVerdict::Faster,
        Some(best) if best.next.pinion == on_car && is_known && others().all(|c| c.lap_s.low > 0.0) => {
            BestVerdict::OnCar
        }
        _ => BestVerdict::CannotTell,
    };
    let overlaps =
        |c: &&Candidate| best.is_some_and(|best| c.next.pinion != best.next.pinion && c.lap_s.low <= best.lap_s.high);
    Some(BestPinion {
        pinion: best.map(|best| best.next.pinion),
        lap_change_s: best.map(|best| best.lap_s),
        motor_race_end_c: best.and_then(|best| best.next.motor_race_end_c),
        not_told_from: told.iter().filter(overlaps).map(|c| c.next.pinion).collect(),
        verdict,
    })
}

/// Adds to each of `next` what the car's runs with that pinion measured; `members` are the car's runs.
pub fn add_measured(run: &SettledRun, members: &[&SettledRun], scatter: Option<RunScatter>, next: &mut [Next]) {
    let on_car = run.pinion_on_car();
    let measured = scatter.filter(|_| !next.is_empty()).map(|scatter| (ByPinion::new(run, members), scatter));
    for next in next {
        let is_own = Some(next.pinion) == on_car;
        let measured = measured.as_ref().filter(|_| !is_own);
        next.lap_change_measured_s =
            measured.and_then(|(by_pinion, scatter)| by_pinion.change_with(next.pinion, *scatter));
        let both = [next.lap_change_s, next.lap_change_measured_s].into_iter().flatten().map(Uncertain::from);
        next.lap_change_together_s = if is_own {
            Some(Estimate::from_half_width(0.0, 0.0))
        } else {
            inverse_variance::mean(both).map(Estimate::from)
        };
    }
}

/// Median laps of a car's runs that are set like one of them but for the pinion, s.
struct ByPinion {
    own: Vec<f64>,
    /// Pinion on the car, and the median lap with it.
    others: Vec<(f64, f64)>,
}

impl ByPinion {
    fn new(run: &SettledRun, members: &[&SettledRun]) -> Self {
        let differs_in = |other: &SettledRun| -> Vec<String> {
            changed_keys(other, run).into_iter().filter(|key| !is_no_setup(key)).collect()
        };
        let lap = |other: &SettledRun| other.done()?.laps.median_s().filter(|_| other.has_own_log());
        let (mut own, mut others) = (Vec::new(), Vec::new());
        for other in members {
            match differs_in(other).as_slice() {
                [] => own.extend(lap(other)),
                [key] if key == PINION => others.extend(other.pinion_on_car().zip(lap(other))),
                _ => {}
            }
        }
        Self { own, others }
    }

    /// Laps with `pinion` against those with the run's own, s.
    fn change_with(&self, pinion: f64, scatter: RunScatter) -> Option<Estimate> {
        let with: Vec<f64> = self.others.iter().filter(|(on_car, _)| *on_car == pinion).map(|(_, lap)| *lap).collect();
        let mean = |laps: &[f64]| laps.iter().sum::<f64>() / laps.len() as f64;
        let half = scatter.half_width_of_means([self.own.len(), with.len()])?;
        Some(Estimate::from_half_width(mean(&with) - mean(&self.own), half))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measured_change_and_one_worked_out_are_one_by_inverse_variance() {
        // −0.04 ± 0.02 and −0.08 ± 0.04: weights 4 and 1.
        let both = [Estimate::from_half_width(-0.04, 0.02), Estimate::from_half_width(-0.08, 0.04)];
        let mean = Estimate::from(inverse_variance::mean(both.map(Uncertain::from)).unwrap());
        assert!((mean.value + 0.048).abs() < 1e-12 && (mean.half_width() - 0.04 / 5f64.sqrt()).abs() < 1e-12);
    }
}
