//! Time lost along the lap.

use plotters::prelude::*;

use super::frame::{Axes, BLUE, ONE_UNIT, SOFT, SideLabel, Size, frame, padded, range, side_labels, svg};
use crate::measure::time_along_lap::{TimeLost, share_at};

/// Height of the chart at least, s: less is nothing that a driver could find.
const LEAST_HEIGHT_S: f64 = 0.1;
/// Room above and below the band, share of the height.
const ROOM: f64 = 0.08;

/// Seconds lost so far at each place of the lap, with its 95 % band; `own` lap or run
/// against the one that it lost them `on`.
pub fn time_lost(lost: &TimeLost, own: &str, on: &str, size: Size) -> String {
    let point = |n: usize, seconds: f64| (100.0 * share_at(n), seconds);
    let ends = |sign: f64| -> Vec<(f64, f64)> {
        let both = lost.seconds.iter().zip(&lost.band_s).enumerate();
        both.map(|(n, (seconds, band))| point(n, seconds + sign * band)).collect()
    };
    let (upper, lower) = (ends(1.0), ends(-1.0));
    let (low, high) = range(upper.iter().chain(&lower).map(|p| p.1));
    let short = (LEAST_HEIGHT_S - (high - low)).max(0.0) / 2.0;
    let axes = Axes {
        x: (0.0, 100.0),
        y: padded(low - short, high + short, ROOM),
        x_name: "place on the lap, %",
        y_name: "time lost so far, s",
        right: 108,
        y_digits: 2,
        x_unit: ONE_UNIT,
        y_unit: ONE_UNIT,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let band: Vec<(f64, f64)> = upper.into_iter().chain(lower.into_iter().rev()).collect();
        chart.draw_series([Polygon::new(band, BLUE.mix(0.18))])?;
        chart.draw_series(DashedLineSeries::new([(0.0, 0.0), (100.0, 0.0)], 5, 4, SOFT.stroke_width(1)))?;
        let line: Vec<(f64, f64)> = lost.seconds.iter().enumerate().map(|(n, s)| point(n, *s)).collect();
        let labels =
            vec![SideLabel::new(on, 0.0, SOFT), SideLabel::new(own, line.last().map_or(0.0, |last| last.1), BLUE)];
        chart.draw_series(LineSeries::new(line, BLUE.stroke_width(2)))?;
        side_labels(area, labels, &axes)
    })
}
