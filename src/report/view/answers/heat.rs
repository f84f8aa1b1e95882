//! How hot did it get, and would it last?

use super::hotter;
use crate::measure::heat::{COOLED_K, Heat, HeatVerdict, Why};
use crate::measure::hot_part::HotPart;
use crate::reason::Reasons;
use crate::report::charts;
use crate::report::view::answer::{AnswerView, KeyFigure, not_answered, small_chart};
use crate::report::view::cells::NOTHING;
use crate::report::view::verdicts;
use crate::run::Measured;
use crate::units::measure::{DEGREES, TEMPERATURE};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::hotter::Hotter;
use crate::wording::{self, Digits, InFigures};

/// A race end later than so many lengths of the log would press the readings into a corner of the chart.
const LONGEST_AHEAD: f64 = 4.0;

/// A stop in words of its own.
const STOPPED: &str = "The car stopped during the race and the motor cooled: without the stop it would end hotter.";

/// What it says against the car's median run, where that is not the run before.
fn than_median(run: &ConcludedRun) -> Option<&Hotter> {
    run.hotter_than_median.as_ref().filter(|median| run.hotter.as_ref().is_none_or(|before| before.than != median.than))
}

/// A part that gets hot.
struct Part<'a> {
    name: &'static str,
    heat: &'a Heat,
}

pub fn answer(run: &ConcludedRun, done: &Measured, race_s: f64) -> AnswerView {
    let motor = Part { name: "motor", heat: run.run.heat(HotPart::Motor).unwrap_or(&done.answers.motor) };
    let controller = Part { name: "controller", heat: &done.answers.controller };
    let mut sentences: Vec<String> = [&motor, &controller].into_iter().filter_map(went).collect();
    sentences.extend(run.hotter.iter().flat_map(hotter::sentences));
    sentences.extend(than_median(run).into_iter().flat_map(hotter::sentences_on_median));
    sentences.extend(limit_reached(&motor, race_s));
    if let Some(cool) = &motor.heat.cool_down_s {
        let minutes = cool.scaled(1.0 / 60.0);
        let figures = InFigures::whole(&minutes);
        sentences.push(format!("Allow about {} minutes for it to cool {}.", figures.value, figures.range()));
    }
    sentences.extend(motor.heat.why.as_ref().map(limits));
    let refused = controller.heat.why.as_ref().filter(|why| why.iter().any(|w| matches!(w, Why::Unusable(_))));
    sentences.extend(refused.map(|why| format!("Not answered for the controller: {why}.")));
    let judged = match (motor.heat.verdict, controller.heat.verdict) {
        (HeatVerdict::Within | HeatVerdict::Close | HeatVerdict::CannotTell, HeatVerdict::Over) => &controller,
        _ => &motor,
    };
    let race_end = done.laps.first_passing.map(|first| first.value + race_s);
    let shown_end = race_end.filter(|end| *end <= LONGEST_AHEAD * done.log.reading.duration_s);
    AnswerView {
        about: "heat",
        question: "How hot did it get, and would it last?",
        verdict: verdicts::heat(judged.heat.verdict),
        figure: figure(judged, race_s),
        sentences,
        details: details(motor.heat)
            .into_iter()
            .chain(run.hotter.as_ref().map(hotter::details))
            .chain(than_median(run).map(hotter::details))
            .collect(),
        charts: small_chart(
            |size| charts::temperatures(&done.sound_log, motor.heat, controller.heat, shown_end, size),
            "Temperatures of motor and controller over time against their limits",
            caption([&motor, &controller]),
        ),
        rests_on: String::new(),
    }
}

/// Why an answer is missing; a stop takes none away, and is told as what happened.
fn limits(why: &Reasons<Why>) -> String {
    let (stopped, missing): (Vec<_>, Vec<_>) = why.iter().cloned().partition(|why| *why == Why::Stopped);
    let stop = stopped.first().map(|_| STOPPED.to_owned());
    let sentences: Vec<String> = stop.into_iter().chain(Reasons::new(missing).map(not_answered)).collect();
    sentences.join(" ")
}

fn caption(parts: [&Part; 2]) -> &'static str {
    if parts.iter().any(|p| p.heat.race_end_c.is_some() && !p.heat.race_end_read) {
        "Dashed: limits, and the forecast from the last reading to the end of the race, with its 95 % interval."
    } else {
        "Dashed: limits."
    }
}

/// The part at the end of the race, or its highest reading.
fn figure(part: &Part, race_s: f64) -> KeyFigure {
    let Part { name, heat } = part;
    let limit = wording::value(heat.limit_c, 0, TEMPERATURE);
    let Some(end) = &heat.race_end_c else {
        let peak = heat.peak_c.map(|p| wording::value(p, 0, TEMPERATURE));
        return KeyFigure::plain(peak, format!("highest reading of the {name}; its limit is {limit}"));
    };
    let how = if heat.race_end_read { "measured" } else { "forecast" };
    let label = format!("{name} at the end of a {race_s:.0} s race, {how}; its limit is {limit}");
    KeyFigure::measured(end, Digits::Whole, TEMPERATURE, label)
}

/// What a part did over the run, and its limit.
fn went(part: &Part) -> Option<String> {
    let Part { name, heat } = part;
    let degrees = |c: f64| wording::value(c, 0, TEMPERATURE);
    let start = heat.start_c.map_or(NOTHING.to_owned(), |c| wording::bare_value(c, 0, TEMPERATURE));
    if heat.in_part {
        return Some(format!(
            "The {name} went from {start} to at least {}, as far as its sensor can be used.",
            degrees(heat.peak_c?)
        ));
    }
    let mut text = format!(
        "The {name} went from {start} to {}, hottest {:.0} s into the log.",
        degrees(heat.peak_c?),
        heat.peak_at_s.unwrap_or(0.0)
    );
    if let Some(over) = heat.over_limit_s.filter(|s| *s > 0.0) {
        text += &format!(" It was at its limit or over it for {over:.0} s.");
    }
    if !heat.limit_stated {
        text += &format!(" Enter the limit of your {name} ({} is assumed).", degrees(heat.limit_c));
    }
    Some(text)
}

/// When the motor reaches its limit, where it does: in the race or so many seconds after the flag.
fn limit_reached(motor: &Part, race_s: f64) -> Option<String> {
    let after = motor.heat.limit_after_s.filter(|after| after.value > 0.0)?;
    let late = after.shifted(-race_s);
    let in_race = late.value <= 0.0;
    if let Some(log_s) = motor.heat.reached_s {
        let when = if in_race {
            format!("{:.0} s into the race", after.value)
        } else {
            format!("{:.0} s after a {race_s:.0} s race would have ended", late.value)
        };
        return Some(format!("It reached its limit {when}, {log_s:.0} s into the log."));
    }
    // An interval on both sides of the flag is counted from the start.
    let from_flag = late.low > 0.0;
    let (seconds, when) = if from_flag { (late, "after the flag") } else { (after, "into the race") };
    let figures = InFigures::whole(&seconds);
    Some(format!("Driven on like this, it would reach its limit {} s {when} {}.", figures.value, figures.range()))
}

fn details(motor: &Heat) -> Vec<String> {
    let mut details = Vec::new();
    if let Some(constant) = &motor.time_constant_range_s {
        details.push(format!("The motor warms with a time constant of {}.", InFigures::whole(constant).sentence("s")));
    }
    if motor.cool_down_s.is_some() {
        details.push(format!("It counts as cool within {} of the air.", wording::value(COOLED_K, 0, DEGREES)));
    }
    details
}
