//! The data of a run's trace: its channels row by row, thinned to what a screen can show, with laps and wheelspin.

use serde_json::{Value, json};

use crate::log::Channel;
use crate::review::Reviewed;

/// Rows up to which all are kept; beyond, each stretch keeps the rows of its lowest and highest values.
const ROWS: usize = 12_000;
/// Stretches that a longer log is cut into.
const STRETCHES: usize = 1_200;

/// A channel of the trace: label, unit, chart it stands in, decimals.
const SHOWN: [(Channel, &str, &str, &str, usize); 8] = [
    (Channel::Rpm, "motor", "1/min", "revs", 0),
    (Channel::Current, "current", "A", "current", 1),
    (Channel::Voltage, "pack", "V", "volts", 2),
    (Channel::Throttle, "throttle", "%", "throttle", 0),
    (Channel::MotorTemperature, "motor", "°C", "heat", 0),
    (Channel::ControllerTemperature, "controller", "°C", "heat", 0),
    (Channel::GroundSpeed, "car", "m/s", "speed", 2),
    (Channel::WheelSpeed, "wheels", "m/s", "speed", 2),
];

/// The trace as JSON that may stand in a page's script element; `None` for a log of fewer than two rows.
pub fn trace(done: &Reviewed) -> Option<String> {
    let log = &done.log;
    let time = log.time();
    let shown: Vec<_> = SHOWN.iter().filter_map(|s| log.channel(s.0).map(|values| (s, values))).collect();
    if time.len() < 2 || shown.is_empty() {
        return None;
    }
    let rows = kept(time.len(), &shown.iter().map(|s| s.1).collect::<Vec<_>>());
    let rounded = |v: f64, digits: usize| -> Value {
        let scale = 10f64.powi(digits as i32);
        let value = (v * scale).round() / scale;
        match digits {
            _ if !value.is_finite() => Value::Null,
            0 => json!(value as i64),
            _ => json!(value),
        }
    };
    let channel = |(s, values): &(&(Channel, &str, &str, &str, usize), &[f64])| {
        let values: Vec<Value> = rows.iter().map(|&n| rounded(values[n], s.4)).collect();
        json!({ "name": s.0.name(), "label": s.1, "unit": s.2, "group": s.3, "digits": s.4, "values": values })
    };
    let laps = done.laps.rows.iter().filter(|l| l.start_s >= 0.0 && l.end_s <= time[time.len() - 1]);
    let data = json!({
        "time": rows.iter().map(|&n| rounded(time[n], 3)).collect::<Vec<_>>(),
        "channels": shown.iter().map(channel).collect::<Vec<_>>(),
        "laps": laps.map(|l| json!({ "lap": l.number, "start": l.start_s, "end": l.end_s })).collect::<Vec<_>>(),
        "spins": done.answers.wheelspin.events.iter().map(|e| [e.start_s, e.end_s]).collect::<Vec<_>>(),
    });
    // Nothing in it may end the script element.
    Some(data.to_string().replace('<', "\\u003c"))
}

/// Rows to keep: all of a short log; of a long one the first of each stretch and those of every channel's lowest and highest value in it.
fn kept(count: usize, channels: &[&[f64]]) -> Vec<usize> {
    if count <= ROWS {
        return (0..count).collect();
    }
    let width = count.div_ceil(STRETCHES);
    let mut rows = Vec::new();
    for from in (0..count).step_by(width) {
        let stretch = from..(from + width).min(count);
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
        let rows = kept(values.len(), &[&values]);
        assert!(rows.len() <= 3 * STRETCHES + 3 && rows.contains(&123_457), "{}", rows.len());
        assert!(rows.windows(2).all(|w| w[0] < w[1]));
    }
}
