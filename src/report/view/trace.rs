//! The data of a run's trace: its channels row by row, thinned to what a screen can show, with laps and wheelspin, and
//! the best laps of the car's other runs to lay over. [`super::trace_laps`] has the places of the laps.

use serde_json::{Value, json};

use super::names::weekend_name;
use super::trace_laps;
use super::trace_numbers::packed;
use crate::log::Channel;
use crate::notice::printable;
use crate::review::Review;
use crate::run::Measured;
use crate::units::measure::{SPEED, TEMPERATURE};
use crate::units::{Measure, Units};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::lap_on_lap::OtherLap;

/// How a log is thinned: all of it is kept up to so many rows; beyond, each stretch keeps the rows of its lowest and
/// highest values.
struct Thinning {
    rows: usize,
    stretches: usize,
}

/// Of a whole run.
const WHOLE_RUN: Thinning = Thinning { rows: 12_000, stretches: 1_200 };
/// Of another run's lap.
const OTHER_LAP: Thinning = Thinning { rows: 800, stretches: 100 };

/// Digits of the log's time, s: a millisecond is finer than any row.
const TIME_DIGITS: usize = 3;

/// A channel of the trace.
struct Shown {
    channel: Channel,
    label: &'static str,
    unit: Measure,
    /// The chart that it is drawn in.
    chart: &'static str,
    /// Digits after the point.
    digits: usize,
    /// Number of its colour: blue, orange, green, pink, yellow, as on the page's other charts.
    colour: usize,
}

const SHOWN: [Shown; 8] = [
    Shown { channel: Channel::Rpm, label: "revs", unit: Measure::plain("rpm"), chart: "revs", digits: 0, colour: 0 },
    Shown {
        channel: Channel::Current,
        label: "current",
        unit: Measure::plain("A"),
        chart: "current",
        digits: 1,
        colour: 2,
    },
    Shown {
        channel: Channel::Voltage,
        label: "pack voltage",
        unit: Measure::plain("V"),
        chart: "volts",
        digits: 2,
        colour: 4,
    },
    Shown {
        channel: Channel::Throttle,
        label: "throttle",
        unit: Measure::plain("%"),
        chart: "throttle",
        digits: 0,
        colour: 3,
    },
    Shown {
        channel: Channel::MotorTemperature,
        label: "motor",
        unit: TEMPERATURE,
        chart: "heat",
        digits: 0,
        colour: 1,
    },
    Shown {
        channel: Channel::ControllerTemperature,
        label: "controller",
        unit: TEMPERATURE,
        chart: "heat",
        digits: 0,
        colour: 2,
    },
    Shown { channel: Channel::GroundSpeed, label: "car speed", unit: SPEED, chart: "speed", digits: 2, colour: 0 },
    Shown { channel: Channel::WheelSpeed, label: "wheel speed", unit: SPEED, chart: "speed", digits: 2, colour: 3 },
];

/// The trace of the run at `index` as JSON that may stand in a page's script element; `None` for a log of fewer than
/// two rows.
pub fn trace(review: &Review, index: usize) -> Option<String> {
    let done = review.runs[index].done()?;
    let time = done.log.time();
    let shown = shown(done);
    if time.len() < 2 || shown.is_empty() {
        return None;
    }
    let rows = kept(0..time.len(), &values(&shown), &WHOLE_RUN);
    let others = review.runs[index].lap_on_lap.others.iter();
    let channels = shown.iter().map(|(s, values)| {
        let Shown { channel, label, unit, chart, digits, colour } = s;
        json!({
            "name": channel.name(), "label": label, "group": chart, "colour": colour, "digits": digits,
            "shown": { "metric": shown_in(*unit, *digits, Units::Metric), "us": shown_in(*unit, *digits, Units::Us) },
            "packed": numbers(values, &rows, *digits)
        })
    });
    let spins = done.answers.wheelspin.events.iter().map(|e| json!([e.start_s, e.end_s, e.lap, e.lap_fraction]));
    let data = json!({
        "of": format!("Run {}, {}", printable(&review.runs[index].plan().id, 40), weekend_name(review)),
        "laps": trace_laps::own_laps(done),
        "median": trace_laps::median_lap(done),
        "compared_with": trace_laps::compared_with(&review.runs[index]),
        "lost_most": trace_laps::lost_most(&review.runs[index]),
        "spins": spins.collect::<Vec<_>>(),
        "time": { "digits": TIME_DIGITS, "packed": numbers(time, &rows, TIME_DIGITS) },
        "channels": channels.collect::<Vec<_>>(),
        "others": others.filter_map(|other| best_lap(&review.runs[other.run], other)).collect::<Vec<_>>(),
    });
    // Nothing in it may end the script element.
    Some(data.to_string().replace('<', "\\u003c"))
}

/// How values are shown in some units: their symbol, digits, factor and zero.
fn shown_in(unit: Measure, digits: usize, units: Units) -> Value {
    let zero = unit.value(0.0, units.into());
    json!({
        "unit": unit.symbol(units.into()), "digits": unit.digits(digits, units.into()),
        "factor": unit.factor(units.into()), "zero": zero
    })
}

/// Values of `rows` to so many digits.
fn numbers(values: &[f64], rows: &[usize], digits: usize) -> String {
    packed(rows.iter().map(|&n| values[n]), digits)
}

fn shown(done: &Measured) -> Vec<(&'static Shown, &[f64])> {
    SHOWN.iter().filter_map(|s| done.log.channel(s.channel).map(|values| (s, values))).collect()
}

fn values<'a>(shown: &[(&Shown, &'a [f64])]) -> Vec<&'a [f64]> {
    shown.iter().map(|s| s.1).collect()
}

/// The best lap of another run, with its channels.
fn best_lap(run: &ConcludedRun, other: &OtherLap) -> Option<Value> {
    let done = run.done()?;
    let time = done.log.time();
    let lap = done.laps.rows.iter().find(|lap| lap.number == other.lap)?;
    let laid = other.laid.as_ref().map(|laid| trace_laps::laid_lap(laid, lap));
    let moved_by = other.laid.as_ref().map_or(0.0, |laid| laid.line_s);
    let (start, end) = (lap.start_s + moved_by.min(0.0), lap.end_s + moved_by.max(0.0));
    let (from, to) = (time.partition_point(|t| *t < start), time.partition_point(|t| *t <= end));
    // A row before and one after, so that the lap's ends lie between rows.
    let stretch = from.saturating_sub(1)..(to + 1).min(time.len());
    let shown = shown(done);
    let rows = kept(stretch, &values(&shown), &OTHER_LAP);
    let channels = shown.iter().map(|(s, values)| {
        json!({ "name": s.channel.name(), "digits": s.digits, "packed": numbers(values, &rows, s.digits) })
    });
    Some(json!({
        "run": printable(&run.plan().id, 24), "lap": lap.number, "start": lap.start_s, "end": lap.end_s,
        "seconds": lap.time_s(), "laid": laid,
        "time": { "digits": TIME_DIGITS, "packed": numbers(time, &rows, TIME_DIGITS) },
        "channels": channels.collect::<Vec<_>>(),
    }))
}

/// Rows of `range` to keep: all of a short one; of a long one the first of each stretch and those of every channel's
/// lowest and highest value in it.
fn kept(range: std::ops::Range<usize>, channels: &[&[f64]], thinning: &Thinning) -> Vec<usize> {
    if range.len() <= thinning.rows {
        return range.collect();
    }
    let width = range.len().div_ceil(thinning.stretches);
    let mut rows = Vec::new();
    for from in range.clone().step_by(width) {
        let stretch = from..(from + width).min(range.end);
        let mut own = vec![from];
        for values in channels {
            let known = || stretch.clone().filter(|&n| values[n].is_finite());
            own.extend(known().min_by(|a, b| values[*a].total_cmp(&values[*b])));
            own.extend(known().max_by(|a, b| values[*a].total_cmp(&values[*b])));
        }
        own.sort_unstable();
        own.dedup();
        rows.extend(own);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_log_keeps_every_peak() {
        let values: Vec<f64> = (0..200_000).map(|n| if n == 123_457 { 99.0 } else { f64::from(n % 7) }).collect();
        let rows = kept(0..values.len(), &[&values], &WHOLE_RUN);
        assert!(rows.len() <= 3 * WHOLE_RUN.stretches + 3 && rows.contains(&123_457), "{}", rows.len());
        assert!(rows.windows(2).all(|w| w[0] < w[1]));
    }
}
