//! Charts of what other pinions would do.

use plotters::prelude::*;

use super::frame::{
    Axes, BLUE, ONE_UNIT, ORANGE, SOFT, SideLabel, Size, frame, level, padded, range, side_labels, svg,
};
use crate::quantity::Estimate;
use crate::units::measure::{SPEED, TEMPERATURE};
use crate::units::{Measure, Units};
use crate::weekend::next::Next;
use crate::wording::{head, tick};

/// The label of the pinion on the car is left out where it would lie on the limit's: nearer than this share of the
/// axis.
const TOO_NEAR: f64 = 0.1;

/// A figure by the pinion, in metric units as they are shown.
struct ByPinion<'a> {
    points: Vec<(f64, Estimate)>,
    on_car: Option<f64>,
    limit: Option<f64>,
    name: &'a str,
    unit: Measure,
    digits: usize,
}

/// The motor at the end of the race with each pinion, against its limit; the pinion on the car in blue.
pub fn heat_by_pinion(next: &[Next], on_car: Option<f64>, limit_c: f64, size: Size) -> String {
    let points = next.iter().filter_map(|n| Some((n.pinion, n.motor_race_end_c?))).collect();
    let name = "motor at the end of the race";
    by_pinion(&ByPinion { points, on_car, limit: Some(limit_c), name, unit: TEMPERATURE, digits: 0 }, size)
}

/// The car's top speed with each pinion; the pinion on the car in blue.
pub fn speed_by_pinion(next: &[Next], on_car: Option<f64>, size: Size) -> String {
    let shown = |speed: &Estimate| SPEED.estimate(speed, Units::Metric.into());
    let points = next.iter().filter_map(|n| Some((n.pinion, shown(n.top_speed_m_s.as_ref()?)))).collect();
    by_pinion(&ByPinion { points, on_car, limit: None, name: "top speed", unit: SPEED, digits: 1 }, size)
}

fn by_pinion(shown: &ByPinion, size: Size) -> String {
    let ByPinion { points, on_car, limit, name, unit, digits } = shown;
    if points.len() < 2 {
        return String::new();
    }
    let (low, high) = range(points.iter().flat_map(|p| [p.1.low, p.1.high]).chain(*limit));
    let (first, last) = range(points.iter().map(|p| p.0));
    let axes = Axes {
        x: (first - 0.6, last + 0.6),
        y: padded(low, high, 0.12),
        x_name: "pinion, teeth",
        y_name: &head(name, *unit),
        right: 92,
        y_digits: *digits,
        x_unit: ONE_UNIT,
        y_unit: *unit,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let mut labels = Vec::new();
        if let Some(limit) = *limit {
            level(&mut chart, &axes, limit, ORANGE.stroke_width(1))?;
            labels.push(SideLabel::new(format!("limit {}", tick(limit, 0, *unit)), limit, ORANGE));
        }
        for (pinion, e) in points {
            let own = *on_car == Some(*pinion);
            let colour = if own { BLUE } else { SOFT };
            chart.draw_series([PathElement::new([(*pinion, e.low), (*pinion, e.high)], colour.stroke_width(2))])?;
            chart.draw_series([Circle::new((*pinion, e.value), 4, colour.filled())])?;
            if own && limit.is_none_or(|l| (l - e.value).abs() > TOO_NEAR * (axes.y.1 - axes.y.0)) {
                labels.push(SideLabel::new("on the car", e.value, BLUE));
            }
        }
        side_labels(area, labels, &axes)
    })
}
