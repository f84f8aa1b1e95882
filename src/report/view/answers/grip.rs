//! Did the power reach the ground?

use crate::measure::wheelspin::Event;
use crate::report::charts;
use crate::report::view::answer::{AnswerView, KeyFigure, chart, not_answered};
use crate::report::view::verdicts;
use crate::run::Measured;
use crate::weekend::findings;
use crate::wording::{counted, place_on_lap};

pub fn answer(done: &Measured) -> AnswerView {
    let wheelspin = &done.answers.wheelspin;
    let mut sentences = Vec::new();
    let length = |event: &&Event| event.end_s - event.start_s;
    if let Some(longest) = wheelspin.events.iter().max_by(|a, b| length(a).total_cmp(&length(b))) {
        sentences.push(format!(
            "The wheels spun {}, {:.2} s at the longest.",
            counted(wheelspin.events.len(), "time"),
            length(&longest)
        ));
    }
    if let Some(place) = findings::spun_place(wheelspin) {
        let spot = place_on_lap(place.lap_fraction);
        sentences.push(format!("They spun on {} laps at the same spot, {spot}.", place.laps));
    }
    sentences.extend(wheelspin.why.as_ref().map(not_answered));
    let share = wheelspin.share.map_or_else(String::new, |share| format!(", {:.1} % of the lap time", 100.0 * share));
    AnswerView {
        about: "grip",
        question: "Did the power reach the ground?",
        verdict: verdicts::grip(wheelspin),
        figure: KeyFigure::plain(wheelspin.seconds.map(|s| format!("{s:.1} s")), format!("of wheelspin{share}")),
        sentences,
        details: details(done),
        charts: chart(
            |size| charts::spins_by_lap(done, size),
            "Where on each lap the wheels spun",
            "Orange: wheelspin.",
        ),
        rests_on: String::new(),
    }
}

fn details(done: &Measured) -> Vec<String> {
    let wheelspin = &done.answers.wheelspin;
    let mut details = Vec::new();
    if wheelspin.can_tell {
        let by_ground_speed = done.laps.odometer.as_ref().is_some_and(|wheels| wheels.ground().is_some());
        let how = if by_ground_speed {
            "The wheels turned faster than the car moved over the ground."
        } else {
            "The revs rose faster than the car can accelerate, so the wheels were spinning."
        };
        details.extend((!wheelspin.events.is_empty()).then(|| how.to_owned()));
    }
    let worst = wheelspin.events.iter().map(|e| e.peak_slip).max_by(f64::total_cmp);
    details.extend(worst.map(|slip| format!("At the worst moment {:.0} % of the wheel speed was slip.", 100.0 * slip)));
    details
}
