//! The questions about speed: where the power is, and what another pinion would do.

use super::answers::{AnswerView, ChartView, chart};
use super::{Mark, plus_minus, with_doubt};
use crate::measure::power::Pull;
use crate::notice::printable;
use crate::report::charts;
use crate::review::Review;
use crate::run::{HotPart, Measured};
use crate::weekend::before::Before;
use crate::weekend::conclude::ConcludedRun;
use crate::weekend::next::Next;

/// Which pinion the motor's heat leaves room for, from the one on the car.
fn next_verdict(known: bool, longest: Option<&Next>, now: Option<f64>) -> (Mark, String) {
    match (known, longest, now) {
        (true, Some(n), Some(teeth)) if n.pinion > teeth => (Mark::Good, format!("room for {} teeth", n.pinion)),
        (true, Some(n), Some(teeth)) if n.pinion < teeth => (Mark::Act, format!("down to {} teeth", n.pinion)),
        (true, Some(_), Some(teeth)) => (Mark::Good, format!("stay at {teeth} teeth")),
        (true, None, Some(_)) => (Mark::Act, "cool it better, or gear further down".to_owned()),
        _ => (Mark::Open, "cannot tell".to_owned()),
    }
}

/// What another pinion would do, and whether the fan is needed.
pub fn next_answer(done: &Measured, run: &ConcludedRun) -> AnswerView {
    let limit = run.run.heat(HotPart::Motor).unwrap_or(&done.answers.motor).limit_c;
    let now = run.run.pinion_on_car();
    let fits = |n: &&Next| n.motor_race_end_c.is_some_and(|c| c.high < limit);
    let longest = run.next.iter().filter(fits).max_by(|a, b| a.pinion.total_cmp(&b.pinion));
    let known = run.next.iter().any(|n| n.motor_race_end_c.is_some());
    let (mark, verdict) = next_verdict(known, longest, now);
    let mut say = Vec::new();
    for n in run.next.iter().filter(|n| now.is_some_and(|t| (n.pinion - t).abs() == 1.0)) {
        if let (Some(speed), Some(heat)) = (&n.top_speed_change_m_s, &n.motor_change_k) {
            say.push(format!(
                "{} teeth: top speed {:+.2} ± {:.2} m/s, motor {:+.1} ± {:.1} K at the race's end.",
                n.pinion,
                speed.value,
                speed.half_width(),
                heat.value,
                heat.half_width()
            ));
        }
    }
    if let Some(fan) = &run.without_fan {
        let end = with_doubt(&fan.motor_race_end_c);
        say.push(format!("Without the fan the motor would end at {end} °C."));
    }
    if known {
        say.push(
            "Judged by the motor's heat alone; what the race rules and the motor's maker allow goes first.".to_owned(),
        );
    }
    say.extend(run.next.iter().find_map(|n| n.why).map(|w| format!("Open: {}.", w.words())));
    let missing: Vec<&str> =
        ["spur", "pinion"].into_iter().filter(|k| run.plan().settings.number(k).is_none()).collect();
    if !missing.is_empty() {
        say.push(format!("Open: the sheet lacks {}.", missing.join(" and ")));
    }
    AnswerView {
        about: "next",
        question: "What could be changed next?",
        mark,
        verdict,
        figure: longest.map_or_else(|| if known { "none" } else { "–" }.to_owned(), |n| n.pinion.to_string()),
        doubt: longest.map_or_else(String::new, |_| "teeth".to_owned()),
        of: format!("largest pinion near this one that stays under {limit:.0} °C"),
        say,
        charts: {
            let mut charts = chart(
                |size| charts::heat_by_pinion(&run.next, now, limit, size),
                "The motor at the race's end by the pinion's teeth, against its limit",
            );
            charts.extend(chart(
                |size| charts::speed_by_pinion(&run.next, now, size),
                "The car's top speed by the pinion's teeth",
            ));
            charts
        },
    }
}

/// Whether the car is faster on top than in its run before, by the interval of the change: mark, verdict and sentence.
fn against_before(before: &Before) -> (Mark, String, String) {
    let (id, change) = (printable(&before.run, 40), &before.top_speed_change_m_s);
    let (mark, verdict) = match () {
        () if change.low > 0.0 => (Mark::Plain, format!("faster on top than run {id}")),
        () if change.high < 0.0 => (Mark::Plain, format!("slower on top than run {id}")),
        () => (Mark::Good, format!("no clear change on top from run {id}")),
    };
    let (value, doubt) = plus_minus(change);
    let sign = if value.starts_with('-') { "" } else { "+" };
    (mark, verdict, format!("Top speed against run {id}: {sign}{value} {doubt} m/s."))
}

/// Where the power is, against the car's run before.
pub fn power_answer(done: &Measured, run: &ConcludedRun, review: &Review) -> AnswerView {
    let p = &done.answers.power;
    let before = run.before.as_ref();
    let (mark, verdict, mut say) = match before.map(against_before) {
        Some((mark, verdict, sentence)) => (mark, verdict, vec![sentence]),
        None if p.top_speed_m_s.is_some() => (Mark::Good, "measured".to_owned(), Vec::new()),
        None => (Mark::Open, "cannot tell".to_owned(), Vec::new()),
    };
    if let [bottom, middle, top] = p.pull.as_slice() {
        let of = |p: &Pull| {
            let (value, doubt) = plus_minus(&p.acceleration_m_s2);
            format!("{value} {doubt} m/s² at {:.0} m/s", p.speed_m_s)
        };
        say.push(format!("It pulls with {}, {} and {}.", of(bottom), of(middle), of(top)));
    }
    if let Some(coast) = &p.coast_m_s2 {
        let (value, doubt) = plus_minus(coast);
        say.push(format!("Off the throttle it slows by {value} {doubt} m/s²."));
    }
    if let Some(full) = p.full_demand_share {
        say.push(format!("{:.0} % of the laps' time was at full demand.", 100.0 * full));
    }
    if let Some(rpm) = p.top_rpm {
        say.push(format!("The motor reached {rpm:.0} turns a minute."));
    }
    if let (Some(mean), Some(peak)) = (p.mean_w, p.peak_w) {
        say.push(format!("The pack gave {mean:.0} W on average over the laps, {peak:.0} W at the most."));
    }
    say.extend(p.why.as_ref().map(|w| format!("Open: {w}.")));
    AnswerView {
        about: "power",
        question: "Where is the power?",
        mark,
        verdict,
        figure: p.top_speed_m_s.map_or_else(|| "–".to_owned(), |v| format!("{v:.1} m/s")),
        doubt: p.top_speed_range_m_s.as_ref().map_or_else(String::new, |e| plus_minus(e).1),
        of: "the car's top speed".to_owned(),
        say,
        charts: power_charts(done, before, review),
    }
}

fn power_charts(done: &Measured, before: Option<&Before>, review: &Review) -> Vec<ChartView> {
    let behind = before.and_then(|b| {
        let run = review.runs.iter().find(|r| r.plan().id == b.run)?;
        Some((printable(&b.run, 12), run.done()?.answers.power.pull_by_speed.as_slice()))
    });
    let mut charts = chart(
        |size| {
            let behind = behind.as_ref().map(|(id, pull)| (id.as_str(), *pull));
            charts::pull_by_speed(&done.answers.power.pull_by_speed, behind, size)
        },
        if behind.is_some() { "Pull by speed, and that of the car's run before" } else { "Pull by speed" },
    );
    charts.extend(chart(
        |size| charts::revs_over_laps(done, size),
        "Revs over the lap: the best lap in front of all that count",
    ));
    charts
}
