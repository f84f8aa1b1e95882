//! How hard the car pulls at each speed.

use plotters::prelude::*;

use super::frame::{Axes, BLUE, SOFT, SideLabel, Size, frame, side_labels, svg};
use crate::measure::power::PullAtSpeed;
use crate::units::measure::{ACCELERATION, SPEED};
use crate::wording::head;

/// Fewest speeds that make a curve.
const LEAST_SPEEDS: usize = 3;

/// The pull by speed of another run.
pub struct PullOfRun<'a> {
    /// The run's id, safe to show.
    pub run: String,
    /// Its pull.
    pub pull: &'a [PullAtSpeed],
}

/// Pull by speed with its interval as a band, and the pull of the `earlier` run as a dashed line.
pub fn pull_by_speed(pull: &[PullAtSpeed], earlier: Option<&PullOfRun>, size: Size) -> String {
    if pull.len() < LEAST_SPEEDS {
        return String::new();
    }
    let speed = |p: &PullAtSpeed| SPEED.metric(p.speed_m_s);
    let line = |pull: &[PullAtSpeed]| pull.iter().map(|p| (speed(p), p.acceleration_m_s2.value)).collect::<Vec<_>>();
    let (own, other) = (line(pull), earlier.map_or(Vec::new(), |e| line(e.pull)));
    let highest = pull.iter().map(|p| p.acceleration_m_s2.high).chain(other.iter().map(|p| p.1)).fold(0.0, f64::max);
    let fastest = own.iter().chain(&other).map(|p| p.0).fold(0.0, f64::max);
    let axes = Axes {
        x: (0.0, fastest * 1.03),
        y: (0.0, highest * 1.08),
        x_name: &head("speed", SPEED),
        y_name: &head("pull", ACCELERATION),
        right: 108,
        y_digits: 0,
        x_unit: SPEED,
        y_unit: ACCELERATION,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let upper = pull.iter().map(|p| (speed(p), p.acceleration_m_s2.high));
        let lower = pull.iter().rev().map(|p| (speed(p), p.acceleration_m_s2.low.max(0.0)));
        chart.draw_series([Polygon::new(upper.chain(lower).collect::<Vec<_>>(), BLUE.mix(0.18))])?;
        let mut labels = Vec::new();
        if let Some((earlier, last)) = earlier.zip(other.last()) {
            labels.push(SideLabel::new(format!("run {}", earlier.run), last.1, SOFT));
            chart.draw_series(DashedLineSeries::new(other, 5, 4, SOFT.stroke_width(2)))?;
        }
        labels.extend(own.last().map(|last| SideLabel::new("this run", last.1, BLUE)));
        chart.draw_series(LineSeries::new(own, BLUE.stroke_width(2)))?;
        side_labels(area, labels, &axes)
    })
}
