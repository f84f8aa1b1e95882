//! The laps of a trace: where each is in the log, its time at each place, and where it lost most.
//!
//! Times and doubts are whole milliseconds at [`SHOWN_PLACES`] + 1 places ([`super::trace_numbers`]). What one lap lost on another the page's script takes from two such series: their difference, with the
//! half-width that [`crate::weekend::laid_lap`] states; the browser's tests hold it against the review's.

use serde_json::{Map, Value, json};

use super::trace_link::name;
use super::trace_numbers::packed;
use crate::laps::Lap;
use crate::measure::time_along_lap::{PLACES, TimeAlong};
use crate::run::Measured;
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::laid_lap::LaidLap;
use crate::weekend::lap_on_lap::LostStretch;

/// Places that the page gets, evenly round the lap: every second one.
const SHOWN_PLACES: usize = 100;
const EVERY: usize = PLACES / SHOWN_PLACES;
/// Milliseconds in a second.
const MS: f64 = 1000.0;

/// The run's laps that are in the log.
pub fn own_laps(done: &Measured) -> Vec<Value> {
    let time = done.log.time();
    let inside = done.laps.rows.iter().filter(|l| l.start_s >= 0.0 && l.end_s <= time[time.len() - 1]);
    let along = |lap: &Lap| done.answers.along.as_ref().ok()?.lap(lap.number);
    let one = |lap: &Lap| {
        let aside = lap.set_aside.is_some();
        let places = along(lap).map_or(Value::Null, own_places);
        let (start, end, seconds) = (lap.start_s, lap.end_s, lap.time_s());
        json!({
            "lap": lap.number, "start": start, "end": end, "seconds": seconds, "aside": aside, "places": places
        })
    };
    inside.map(one).collect()
}

/// The median lap, by its places alone.
pub fn median_lap(done: &Measured) -> Value {
    let median = done.answers.along.as_ref().ok().map(|along| &along.median);
    median.map_or(Value::Null, |median| json!({ "seconds": median.lap_s(), "places": own_places(median) }))
}

/// Another run's lap from one of the run's lines to the next: log times of both, and its places.
pub fn laid_lap(laid: &LaidLap, lap: &Lap) -> Value {
    // The list's clock may differ from the log's by a hair.
    let clock = (lap.end_s - lap.start_s) / laid.along.lap_s();
    let from = lap.start_s + clock * laid.line_s;
    let mut places = places(&laid.along, &laid.u_s());
    places["line"] = json!(laid.line_u);
    json!({ "from": from, "to": from + lap.end_s - lap.start_s, "places": places })
}

/// What each lap was compared with, by its name in the data.
pub fn compared_with(run: &ConcludedRun) -> Vec<String> {
    run.lap_on_lap.compared_with.iter().map(|on| name(*on)).collect()
}

/// Where each lap lost most on which other: `{"7": {"lap-3": [[from %, to %, ms, ± ms], …]}}`.
pub fn lost_most(run: &ConcludedRun) -> Value {
    let mut all = Map::new();
    for lost in &run.lap_on_lap.lost_most {
        let of_lap = all.entry(lost.lap.to_string()).or_insert_with(|| json!({}));
        of_lap[name(lost.on)] = lost.stretches.iter().map(stretch).collect();
    }
    Value::Object(all)
}

fn stretch(of: &LostStretch) -> Value {
    let whole = |value: f64| value.round() as i64;
    json!([
        whole(100.0 * of.from),
        whole(100.0 * of.to),
        whole(MS * of.lost_s.value),
        whole(MS * of.lost_s.half_width())
    ])
}

/// A lap's times at the places, and their doubt.
fn places(along: &TimeAlong, u_s: &[f64]) -> Value {
    let since = whole_ms(&along.seconds);
    json!({ "ms": since, "u": whole_ms(u_s) })
}

/// The same of a lap of the run itself, with what moving the line back and on makes of the times.
fn own_places(along: &TimeAlong) -> Value {
    let moved = |side: usize| {
        let by: Vec<f64> = along.line_moved_s[side].iter().zip(&along.seconds).map(|(a, b)| a - b).collect();
        whole_ms(&by)
    };
    let mut places = places(along, &along.place_u_s);
    (places["back"], places["on"]) = (json!(moved(0)), json!(moved(1)));
    places
}

fn whole_ms(values: &[f64]) -> String {
    packed(values.iter().step_by(EVERY).map(|v| MS * v), 0)
}
