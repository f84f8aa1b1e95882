//! Where is the power?

use crate::measure::power::{Power, PullAtSpeed};
use crate::notice::printable;
use crate::report::charts::{self, PullOfRun};
use crate::report::view::answer::{AnswerView, ChartView, KeyFigure, chart, not_answered};
use crate::report::view::verdicts;
use crate::review::Review;
use crate::run::Measured;
use crate::units::measure::{ACCELERATION, SPEED};
use crate::weekend::before::Before;
use crate::weekend::concluded_run::ConcludedRun;
use crate::wording::{self, Digits, HIGHER, with_interval};

/// Where the power is, against the car's run before.
pub fn answer(review: &Review, run: &ConcludedRun, done: &Measured) -> AnswerView {
    let power = &done.answers.power;
    let before = run.before.as_ref();
    AnswerView {
        about: "power",
        question: "Where is the power?",
        verdict: verdicts::top_speed(power.top_speed_m_s, before),
        figure: figure(power),
        sentences: sentences(power, before),
        details: pulls(&power.pull).into_iter().collect(),
        charts: power_charts(done, before, review),
        rests_on: String::new(),
    }
}

fn figure(power: &Power) -> KeyFigure {
    const LABEL: &str = "top speed of the car";
    match (&power.top_speed_range_m_s, power.top_speed_m_s) {
        (Some(range), _) => KeyFigure::measured(range, Digits::ByInterval, SPEED, LABEL),
        (None, speed) => KeyFigure::plain(speed.map(|v| wording::value(v, 1, SPEED)), LABEL),
    }
}

/// Revs with grip below this share of the highest are worth a word. A default, no source.
const CLEARLY_LOWER: f64 = 0.99;

fn sentences(power: &Power, before: Option<&Before>) -> Vec<String> {
    let mut sentences = Vec::new();
    if let Some(before) = before {
        let change = wording::change(&before.top_speed_change_m_s, SPEED, HIGHER);
        sentences.push(format!("Compared with {}, top speed was {change}.", printable(&before.run, 40)));
    }
    if let Some(share) = power.full_demand_share {
        sentences.push(format!("It ran at full throttle for {} of the lap time.", per_cent(share)));
    }
    match (power.top_rpm, power.gripping_rpm) {
        (Some(top), Some(gripping)) if gripping < CLEARLY_LOWER * top => {
            sentences.push(format!("The motor reached {gripping:.0} rpm, and {top:.0} rpm in a spin."));
        }
        (Some(top), _) => sentences.push(format!("The motor reached {top:.0} rpm.")),
        (None, _) => {}
    }
    if let Some((mean, peak)) = power.mean_w.zip(power.peak_w) {
        sentences.push(format!("The pack gave {mean:.0} W on average over the laps and {peak:.0} W at most."));
    }
    if let Some(coast) = &power.coast_m_s2 {
        sentences.push(format!("Off the throttle it slows by {}.", with_interval(coast, ACCELERATION)));
    }
    sentences.extend(power.why.as_ref().map(not_answered));
    sentences
}

/// A share in whole per cent.
fn per_cent(share: f64) -> String {
    if share < 0.005 { "under 1 %".to_owned() } else { format!("{:.0} %", 100.0 * share) }
}

fn pulls(pulls: &[PullAtSpeed]) -> Option<String> {
    let [_, _, _] = pulls else { return None };
    let pull = |p: &PullAtSpeed| {
        let (pull, speed) = (with_interval(&p.acceleration_m_s2, ACCELERATION), wording::value(p.speed_m_s, 0, SPEED));
        format!("{pull} at {speed}")
    };
    Some(format!("It pulls with {}.", pulls.iter().map(pull).collect::<Vec<_>>().join("; ")))
}

fn power_charts(done: &Measured, before: Option<&Before>, review: &Review) -> Vec<ChartView> {
    let earlier = before.and_then(|b| {
        let run = review.runs.iter().find(|r| r.plan().id == b.run)?;
        let pull = run.done()?.answers.power.pull_by_speed.as_slice();
        Some(PullOfRun { run: printable(&b.run, 12), pull })
    });
    let description =
        if earlier.is_some() { "Pull by speed, and that of the car's run before" } else { "Pull by speed" };
    let mut charts = chart(
        |size| charts::pull_by_speed(&done.answers.power.pull_by_speed, earlier.as_ref(), size),
        description,
        "At full throttle. The band is the 95 % interval.",
    );
    charts.extend(chart(
        |size| charts::revs_over_laps(done, size),
        "Motor revs over the lap: the best lap in front of all that count",
        "Grey: the other laps that count.",
    ));
    charts
}
