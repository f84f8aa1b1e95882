//! Charts of what other pinions would do.

use plotters::prelude::*;

use super::{Axes, BLUE, ORANGE, SOFT, Size, frame, label, padded, range, svg};
use crate::quantity::Estimate;
use crate::weekend::next::Next;

/// The motor at the race's end with each pinion, against its limit; the pinion on the car filled.
pub fn heat_by_pinion(next: &[Next], on_car: Option<f64>, limit_c: f64, size: Size) -> String {
    by_pinion(next, |n| n.motor_race_end_c, on_car, ("motor at the race's end, °C", 0), Some(limit_c), size)
}

/// The car's top speed with each pinion; the pinion on the car filled.
pub fn speed_by_pinion(next: &[Next], on_car: Option<f64>, size: Size) -> String {
    by_pinion(next, |n| n.top_speed_m_s, on_car, ("top speed, m/s", 1), None, size)
}

fn by_pinion(
    next: &[Next],
    of: impl Fn(&Next) -> Option<Estimate>,
    on_car: Option<f64>,
    (name, digits): (&str, usize),
    limit: Option<f64>,
    size: Size,
) -> String {
    let points: Vec<(f64, Estimate)> = next.iter().filter_map(|n| Some((n.pinion, of(n)?))).collect();
    if points.len() < 2 {
        return String::new();
    }
    let all = points.iter().flat_map(|p| [p.1.low, p.1.high]).chain(limit);
    let (low, high) = range(all);
    let (first, last) = range(points.iter().map(|p| p.0));
    let axes = Axes {
        x: (first - 0.6, last + 0.6),
        y: padded(low, high, 0.12),
        x_name: "pinion, teeth",
        y_name: name,
        right: 92,
        y_digits: digits,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        if let Some(limit) = limit {
            let ends = [(axes.x.0, limit), (axes.x.1, limit)];
            chart.draw_series(DashedLineSeries::new(ends, 6, 4, ORANGE.stroke_width(1)))?;
            label(area, &format!("limit {limit:.0}"), limit, &axes, &ORANGE)?;
        }
        for (pinion, e) in &points {
            let own = on_car == Some(*pinion);
            let colour = if own { BLUE } else { SOFT };
            chart.draw_series([PathElement::new([(*pinion, e.low), (*pinion, e.high)], colour.stroke_width(2))])?;
            chart.draw_series([Circle::new((*pinion, e.value), 4, colour.filled())])?;
            if own && limit.is_none_or(|l| (l - e.value).abs() > 0.1 * (axes.y.1 - axes.y.0)) {
                label(area, "on the car", e.value, &axes, &BLUE)?;
            }
        }
        Ok(())
    })
}
