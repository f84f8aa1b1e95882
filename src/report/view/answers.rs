//! The questions of a run, each with its verdict, figure, sentences and evidence.

use super::power::{next_answer, power_answer};
use super::{Mark, battery_mark, gearing_mark, heat_mark, optional, plus_minus};
use crate::measure::battery::{self, Battery};
use crate::measure::heat;
use crate::measure::heat::{COOLED_K, Heat};
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::report::charts::{self, NARROW, Size, WIDE};
use crate::review::Review;
use crate::run::{GearingVerdict, HotPart, Measured};
use crate::sheet::Sheet;
use crate::weekend::conclude::ConcludedRun;
use crate::weekend::findings::{self, MUCH_SPIN};

/// Share of the turns from which those that spun away are worth a word: half of what a pinion's band is high.
const WORTH_A_WORD: f64 = 0.003;

/// A chart with its words.
pub struct ChartView {
    /// SVG for a wide page.
    pub wide: String,
    /// SVG for a phone.
    pub narrow: String,
    /// What it shows, for those who cannot see it.
    pub says: String,
}

/// One answered question.
pub struct AnswerView {
    /// Anchor of its section, and what it is about in a word.
    pub about: &'static str,
    /// The question.
    pub question: &'static str,
    /// Mark of the verdict.
    pub mark: Mark,
    /// Verdict.
    pub verdict: String,
    /// The figure.
    pub figure: String,
    /// Its interval.
    pub doubt: String,
    /// What the figure is.
    pub of: String,
    /// Why, in a sentence or two.
    pub say: Vec<String>,
    /// Evidence.
    pub charts: Vec<ChartView>,
}

/// The questions of a run, answered.
pub fn answers(review: &Review, run: &ConcludedRun, done: &Measured) -> Vec<AnswerView> {
    vec![
        gearing_answer(done, run),
        wheelspin_answer(done),
        heat_answer(run, done, &review.sheet),
        battery_answer(done, run),
        power_answer(done, run, review),
        next_answer(done, run),
    ]
}

fn gearing_answer(done: &Measured, run: &ConcludedRun) -> AnswerView {
    let g = &done.answers.gearing;
    let pinion = &run.run.pinion;
    let (figure, doubt) = g.realised_ratio.as_ref().map_or_else(|| ("–".to_owned(), String::new()), plus_minus);
    let mut say = Vec::new();
    if let Some(rollout) = &g.realised_rollout_mm {
        let (value, doubt) = plus_minus(rollout);
        say.push(format!(
            "Each motor turn moved the car {value} {doubt} mm along the track; the sheet's rollout is {} mm.",
            optional(g.set_rollout_mm, 1)
        ));
    }
    if let (Some(realised), Some(set)) = (&g.realised_ratio, g.set_ratio) {
        let over = (realised.value / set - 1.0) * 100.0;
        let where_ = if over >= 0.0 { "above" } else { "below" };
        let mut text = format!("That is {:.1} % {where_} the sheet", over.abs());
        if pinion.verdict == GearingVerdict::Agrees {
            text += ": what drive slip, the tyre under load and the driven line explain";
        }
        if let Some(evidence) = g.evidence.filter(|e| e.spun >= WORTH_A_WORD) {
            text += &format!("; {:.1} % of a lap's motor turns spun away", 100.0 * evidence.spun);
        }
        say.push(text + ".");
    }
    let others: Vec<String> = pinion
        .fits
        .iter()
        .filter(|f| f.probability >= 0.005)
        .map(|f| format!("{} teeth {:.0} %", f.pinion, (f.probability * 100.0).min(99.0)))
        .collect();
    if !others.is_empty() {
        say.push(format!("Probability, weighed over all runs of the car: {}.", others.join(", ")));
    }
    let why = g.why.clone().or(pinion.why.map(|w| w.words().to_owned()));
    say.extend(why.map(|w| format!("Open: {w}.")));
    let says = format!(
        "Realised ratio of each lap of run {} against what the sheet's pinion and its neighbours would show",
        printable(&run.plan().id, 40)
    );
    AnswerView {
        about: "gearing",
        question: "Is the gearing the one on the sheet?",
        mark: gearing_mark(pinion.verdict),
        verdict: pinion.verdict.words().to_owned(),
        figure,
        doubt,
        of: g
            .set_ratio
            .map_or_else(|| "realised ratio".to_owned(), |s| format!("realised ratio · {s:.2} on the sheet")),
        say,
        charts: chart(|size| charts::ratio_by_lap(pinion, done, size), says),
    }
}

/// A chart in both proportions; none where there is nothing to draw.
pub fn chart(draw: impl Fn(Size) -> String, says: impl Into<String>) -> Vec<ChartView> {
    let wide = draw(WIDE);
    if wide.is_empty() { Vec::new() } else { vec![ChartView { wide, narrow: draw(NARROW), says: says.into() }] }
}

fn wheelspin_answer(done: &Measured) -> AnswerView {
    let w = &done.answers.wheelspin;
    let mut say = Vec::new();
    let share = w.share.or(w.seconds).unwrap_or(0.0);
    let (mark, verdict) = match (w.can_tell, w.events.len()) {
        (false, _) => (Mark::Open, "cannot tell"),
        (true, 0) => (Mark::Good, "yes"),
        (true, _) if share < MUCH_SPIN => (Mark::Good, "nearly all"),
        (true, _) => (Mark::Watch, "not all of it"),
    };
    let longest = w.events.iter().max_by(|a, b| (a.end_s - a.start_s).total_cmp(&(b.end_s - b.start_s)));
    if let Some(e) = longest {
        say.push(format!(
            "The wheels spun {} times; the longest lasted {:.2} s and reached a slip of {:.2}.",
            w.events.len(),
            e.end_s - e.start_s,
            e.peak_slip
        ));
    }
    if let Some(place) = findings::spun_place(w) {
        let round = findings::place_in_words(place.lap_fraction);
        say.push(format!("{} laps spin at the same place, {round}.", place.laps));
    }
    if w.can_tell {
        let ground = done.laps.gripped.as_ref().is_some_and(|g| g.has_ground());
        say.push(
            if ground {
                "Told from the wheels' revs against the car's speed over ground."
            } else {
                "Told from the revs: past what the car's mass allows, the wheels turn without it."
            }
            .to_owned(),
        );
    }
    say.extend(w.why.iter().map(|w| format!("Open: {w}.")));
    AnswerView {
        about: "grip",
        question: "Did the power reach the ground?",
        mark,
        verdict: verdict.to_owned(),
        figure: w.seconds.map_or_else(|| "–".to_owned(), |s| format!("{s:.1} s")),
        doubt: String::new(),
        of: w.share.map_or_else(
            || "of wheelspin".to_owned(),
            |s| format!("of wheelspin · {:.1} % of the laps' time", 100.0 * s),
        ),
        say,
        charts: chart(|size| charts::spins_by_lap(done, size), "Where on each lap the wheels spun"),
    }
}

/// The motor at the race's end, or its highest: figure, doubt, and what it is.
fn hottest(motor: &heat::Heat, race_s: f64) -> (String, String, String) {
    let limit = motor.limit_c;
    let Some(end) = &motor.race_end_c else {
        let peak = motor.peak_c.map_or_else(|| "–".to_owned(), |p| format!("{p:.0} °C"));
        return (peak, String::new(), format!("motor's highest · limit {limit:.0}"));
    };
    let (value, doubt) = plus_minus(end);
    let how = if motor.race_end_read { "as read" } else { "forecast" };
    (format!("{value} °C"), doubt, format!("motor at the end of a {race_s:.0} s race, {how} · limit {limit:.0}"))
}

fn heat_answer(run: &ConcludedRun, done: &Measured, sheet: &Sheet) -> AnswerView {
    let m = run.run.heat(HotPart::Motor).unwrap_or(&done.answers.motor);
    let c = &done.answers.controller;
    let mut say = Vec::new();
    for (part, h) in [("motor", m), ("controller", c)] {
        let Some(peak) = h.peak_c else { continue };
        let mut text = format!(
            "The {part} went from {} to {peak:.0} °C, highest {:.0} s into the log; its limit is {:.0} °C{}",
            optional(h.start_c, 0),
            h.peak_at_s.unwrap_or(0.0),
            h.limit_c,
            if h.limit_stated { "" } else { ", assumed: state the maker's own" }
        );
        if let Some(over) = h.over_limit_s.filter(|s| *s > 0.0) {
            text += &format!(". It was there or over for {over:.0} s");
        }
        say.push(text + ".");
    }
    say.extend(warming_words(m));
    say.extend(m.why.as_ref().map(|w| format!("Open: {w}.")));
    let (figure, doubt, of) = hottest(m, sheet.race_length_s());
    let worst = [m.verdict, c.verdict].into_iter().find(|v| *v == heat::Verdict::Over).unwrap_or(m.verdict);
    let race_end = done
        .laps
        .first_passing
        .map(|f| f.value + sheet.race_length_s())
        .filter(|e| *e <= done.log.reading.duration_s * 4.0);
    AnswerView {
        about: "heat",
        question: "How hot did it get, and would it last?",
        mark: heat_mark(worst),
        verdict: match worst {
            heat::Verdict::Within => "within its limit".to_owned(),
            heat::Verdict::Close => "close to its limit".to_owned(),
            heat::Verdict::Over => "over its limit".to_owned(),
            heat::Verdict::CannotTell => "cannot tell".to_owned(),
        },
        figure,
        doubt,
        of,
        say,
        charts: chart(
            |size| charts::temperatures(&done.log, m, c, race_end, size),
            "Temperatures of motor and controller over time against their limits",
        ),
    }
}

/// What was left of the pack, or where that is not known or the cells fell too low, their lowest voltage: figure, doubt, and what it is.
fn battery_figure(b: &Battery, capacity_mah: Option<f64>) -> (String, String, String) {
    let lowest = b.lowest_cell_v.or(b.lowest_v).map_or_else(|| "–".to_owned(), |v| format!("{v:.2} V"));
    let what = if b.lowest_cell_v.is_some() { "lowest pack voltage ÷ cells" } else { "lowest voltage of the pack" };
    let left = b.used_range_mah.zip(capacity_mah).map(|(used, c)| {
        let of = |used: f64| (c - used).min(c).max(0.0);
        Estimate { value: of(used.value), low: of(used.high), high: of(used.low) }
    });
    match left.filter(|_| b.verdict != battery::Verdict::UnderFloor) {
        Some(left) => {
            let capacity = capacity_mah.unwrap_or(0.0);
            let doubt = if left.half_width() >= 0.5 { format!("± {:.0}", left.half_width()) } else { String::new() };
            let of = format!("left of {capacity:.0} mAh, had it started full · {lowest} {what}");
            (format!("{:.0} mAh", left.value), doubt, of)
        }
        None => (lowest, String::new(), what.to_owned()),
    }
}

fn battery_answer(done: &Measured, run: &ConcludedRun) -> AnswerView {
    let b = &done.answers.battery;
    let mut say = Vec::new();
    if let Some(used) = b.used_mah {
        say.push(format!("The log took {used:.0} mAh, {} Wh.", optional(b.used_wh, 1)));
    }
    if let Some(end) = &b.race_end_used_mah {
        say.push(format!(
            "A race would take {:.0} mAh{}.",
            end.value,
            if end.half_width() >= 0.5 { format!(", ± {:.0}", end.half_width()) } else { String::new() }
        ));
    }
    if let Some(r) = &b.resistance_mohm {
        let (value, doubt) = plus_minus(r);
        say.push(format!("Each ampere pulled it down by {value} {doubt} mV: that is its resistance in mΩ."));
    }
    if let Some(v) = b.lowest_v {
        let floor = run.plan().settings.number("battery.cells").map_or_else(
            || format!("{:.2} V a cell", b.floor_cell_v),
            |n| format!("{:.2} V ({n} × {:.2})", n * b.floor_cell_v, b.floor_cell_v),
        );
        say.push(format!("The pack fell to {v:.2} V; its floor is {floor}."));
    }
    say.extend(b.why.as_ref().map(|w| format!("Open: {w}.")));
    let floor = run.plan().settings.number("battery.cells").map(|n| n * b.floor_cell_v);
    let mut charts = chart(|size| charts::voltage(&done.log, floor, size), "Voltage over time");
    charts.extend(chart(|size| charts::current(&done.log, size), "Current over time"));
    let (figure, doubt, of) = battery_figure(b, run.plan().settings.number("battery.capacity_mah"));
    AnswerView {
        about: "battery",
        question: "What had the battery left?",
        mark: battery_mark(b.verdict),
        verdict: b.verdict.words().to_owned(),
        figure,
        doubt,
        of,
        say,
        charts,
    }
}

/// What the heat model adds.
fn warming_words(motor: &Heat) -> Vec<String> {
    let range = |e: &Estimate| format!("{:.0} s, 95 % between {:.0} and {:.0}", e.value, e.low, e.high);
    let mut say = Vec::new();
    if let Some(limit) = motor.limit_after_s.as_ref().filter(|l| l.value > 0.0) {
        say.push(match motor.course.reached_s {
            Some(reached) => {
                format!("It reached its limit {:.0} s into the race, {reached:.0} s into the log.", limit.value)
            }
            None => format!("Driven on like this the motor reaches its limit {} into the race.", range(limit)),
        });
    }
    if let Some(constant) = &motor.time_constant_range_s {
        say.push(format!("It warms with a time constant of {}.", range(constant)));
    }
    if let Some(cool) = &motor.cool_down_s {
        say.push(format!("Standing, it takes {} to come within {COOLED_K:.0} °C of the air.", minutes(cool)));
    }
    say
}

fn minutes(e: &Estimate) -> String {
    format!("{:.0} minutes, 95 % between {:.0} and {:.0},", e.value / 60.0, e.low / 60.0, e.high / 60.0)
}
