//! The pack's voltage and current over the run.

use plotters::prelude::*;

use super::frame::{
    Axes, GREEN, ONE_UNIT, ORANGE, SideLabel, Size, YELLOW, frame, level, padded, range, side_labels, svg, thinned,
};
use crate::log::{Channel, Log};

/// A channel over time.
struct OverTime<'a> {
    channel: Channel,
    y_name: &'a str,
    y_digits: usize,
    colour: RGBColor,
    /// A level that the channel should keep above.
    floor: Option<f64>,
}

/// Voltage over time, with its floor.
pub fn voltage(log: &Log, floor_v: Option<f64>, size: Size) -> String {
    let chart =
        OverTime { channel: Channel::Voltage, y_name: "pack voltage, V", y_digits: 1, colour: YELLOW, floor: floor_v };
    over_time(log, &chart, size)
}

/// Current over time.
pub fn current(log: &Log, size: Size) -> String {
    let chart = OverTime { channel: Channel::Current, y_name: "current, A", y_digits: 0, colour: GREEN, floor: None };
    over_time(log, &chart, size)
}

fn over_time(log: &Log, shown: &OverTime, size: Size) -> String {
    let Some(values) = log.channel(shown.channel) else { return String::new() };
    let points = thinned(log.time(), values);
    let (low, high) = range(points.iter().map(|p| p.1));
    if !low.is_finite() {
        return String::new();
    }
    let axes = Axes {
        x: (0.0, log.reading.duration_s),
        y: padded(shown.floor.map_or(low, |floor| low.min(floor)), high, 0.06),
        x_name: "time, s",
        y_name: shown.y_name,
        right: 70,
        y_digits: shown.y_digits,
        x_unit: ONE_UNIT,
        y_unit: ONE_UNIT,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        chart.draw_series(LineSeries::new(points, shown.colour.stroke_width(1)))?;
        let Some(floor) = shown.floor else { return Ok(()) };
        level(&mut chart, &axes, floor, ORANGE.stroke_width(1))?;
        side_labels(area, vec![SideLabel::new(format!("floor {floor:.1}"), floor, ORANGE)], &axes)
    })
}
