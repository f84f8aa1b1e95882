//! Is the gearing the one on the sheet?

use crate::measure::gearing::{Fit, Gearing};
use crate::notice::printable;
use crate::report::charts::{self, FURTHEST_RATIO};
use crate::report::view::answer::{AnswerView, ChartView, KeyFigure, chart, not_answered};
use crate::report::view::verdicts;
use crate::run::{GearingVerdict, Measured, PinionVerdict};
use crate::units::measure::MILLIMETRES;
use crate::weekend::concluded_run::ConcludedRun;
use crate::wording::{self, Digits, with_interval};

/// Share of the turns from which those that spun away are worth a word: half of what a pinion's band is high.
const WORTH_A_WORD: f64 = 0.003;
/// Probability below which a pinion is left out of the list.
const LEAST_PROBABILITY: f64 = 0.005;
/// No pinion is shown as surer than this, per cent.
const SUREST: f64 = 99.0;

pub fn answer(run: &ConcludedRun, done: &Measured) -> AnswerView {
    let (gearing, pinion) = (&done.answers.gearing, &run.run.pinion);
    let mut sentences = Vec::new();
    sentences.extend(against_sheet(gearing, pinion.verdict));
    sentences.extend(rollout(gearing));
    sentences.extend(run.run.gearing_why().map(not_answered));
    AnswerView {
        about: "gearing",
        question: "Is the gearing the one on the sheet?",
        verdict: verdicts::gearing(pinion.verdict),
        figure: figure(gearing, pinion),
        sentences,
        details: probabilities(&pinion.fits).into_iter().collect(),
        charts: ratio_chart(run, done),
        rests_on: String::new(),
    }
}

fn figure(gearing: &Gearing, pinion: &PinionVerdict) -> KeyFigure {
    let label = match (pinion.verdict, expected_of_sheet(gearing, pinion)) {
        (GearingVerdict::Agrees, Some(sheet)) => format!("ratio on track, as {} teeth give here", sheet.pinion),
        (GearingVerdict::Differs, Some(sheet)) => {
            format!("ratio on track; the {} teeth on the sheet would give {:.2} here", sheet.pinion, sheet.ratio)
        }
        _ => "ratio on track".to_owned(),
    };
    match &gearing.realised_ratio {
        Some(ratio) => KeyFigure::measured(ratio, Digits::ByInterval, "", label),
        None => KeyFigure::plain(None, label),
    }
}

/// A pinion with the ratio that it would show on this track.
struct OnTrack {
    pinion: f64,
    ratio: f64,
}

/// What the sheet's pinion would show on this track, with the slip and the driven line of this run.
fn expected_of_sheet(gearing: &Gearing, pinion: &PinionVerdict) -> Option<OnTrack> {
    let (realised, set) = gearing.realised_ratio.zip(gearing.set_ratio)?;
    let sheet = pinion.fits.get(pinion.fits.len() / 2)?;
    let best = pinion.best()?;
    Some(OnTrack { pinion: sheet.pinion, ratio: realised.value * set / best.ratio })
}

fn against_sheet(gearing: &Gearing, verdict: GearingVerdict) -> Option<String> {
    let (realised, set) = gearing.realised_ratio.zip(gearing.set_ratio)?;
    let off = (realised.value / set - 1.0) * 100.0;
    let side = if off >= 0.0 { "above" } else { "below" };
    let mut text = format!("That is {:.1} % {side} the {set:.2} on the sheet.", off.abs());
    if verdict == GearingVerdict::Agrees {
        text += " Tyre slip, the tyre under load and the driven line explain the difference.";
    }
    if let Some(own) = gearing.gripped.filter(|g| g.spun >= WORTH_A_WORD) {
        text += &format!(" Wheelspin took {:.1} % of a lap's motor turns.", 100.0 * own.spun);
    }
    Some(text)
}

fn rollout(gearing: &Gearing) -> Option<String> {
    let measured = with_interval(gearing.realised_rollout_mm.as_ref()?, MILLIMETRES);
    let set = gearing
        .set_rollout_mm
        .map_or_else(String::new, |mm| format!("; the rollout on the sheet is {}", wording::value(mm, 1, MILLIMETRES)));
    Some(format!("Each motor turn moved the car {measured} along the track{set}."))
}

fn probabilities(fits: &[Fit]) -> Option<String> {
    let shown: Vec<String> = fits
        .iter()
        .filter(|f| f.probability >= LEAST_PROBABILITY)
        .map(|f| format!("{} teeth {:.0} %", f.pinion, (100.0 * f.probability).min(SUREST)))
        .collect();
    (!shown.is_empty()).then(|| format!("How likely each pinion is, from all runs of the car: {}.", shown.join(", ")))
}

fn ratio_chart(run: &ConcludedRun, done: &Measured) -> Vec<ChartView> {
    let gearing = &done.answers.gearing;
    let off: Vec<String> = charts::laps_off_ratio_chart(gearing).iter().map(u32::to_string).collect();
    let mut caption = "Filled dots are laps that count; a band is where a pinion's laps would lie.".to_owned();
    if !off.is_empty() {
        let laps = if off.len() == 1 { "Lap" } else { "Laps" };
        caption += &format!(
            " {laps} {} not shown: more than {:.0} % away from the rest.",
            off.join(", "),
            100.0 * FURTHEST_RATIO
        );
    }
    let description = format!(
        "Ratio on track of each lap of run {}, against what the pinion on the sheet and its neighbours would give",
        printable(&run.plan().id, 40)
    );
    chart(|size| charts::ratio_by_lap(&run.run.pinion, done, size), description, caption)
}
