//! Charts over runs and over weekends.

use plotters::prelude::*;

use super::frame::{Axes, BLUE, ONE_UNIT, Size, frame, padded, range, svg};
use crate::figure::Shown;
use crate::season::answers::{MATTERS, OverSeason};
use crate::statistics::quantiles::median;
use crate::units::{Measure, Units};
use crate::weekend::trends::Trend;
use crate::wording::symbol;

/// A trend over runs: its values, and the line of its slope with the band of its interval.
pub fn trend(trend: &Trend, size: Size) -> String {
    let Shown { unit, digits, factor } = trend.of.shown;
    // As it is shown in metric units: none of them has a zero of its own.
    let factor = factor * unit.factor(Units::Metric.into());
    let values: Vec<f64> = trend.values.iter().map(|v| factor * v).collect();
    let last = values.len() as f64 - 1.0;
    let Some(middle) = median(values.iter().copied()) else { return String::new() };
    let line = |per_run: f64| move |n: f64| middle + factor * per_run * (n - last / 2.0);
    let ends = |per_run: f64| [line(per_run)(0.0), line(per_run)(last)];
    let band = trend.low.zip(trend.high);
    let drawn = band.map_or(Vec::new(), |(l, h)| [ends(l), ends(h)].concat());
    let (low, high) = range(values.iter().copied().chain(drawn.iter().copied()));
    let y = padded(low, high, 0.12);
    let axes = Axes {
        x: (0.7, last + 1.3),
        y,
        x_name: "runs of the car, in order",
        y_name: &symbol(unit),
        right: 12,
        y_digits: digits,
        x_unit: ONE_UNIT,
        y_unit: unit,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        if let Some((low, high)) = band {
            let point = |per_run: f64, n: f64| (n + 1.0, line(per_run)(n));
            let half = [point(low, 0.0), point(low, last), point(high, last), point(high, 0.0)];
            chart.draw_series([Polygon::new(half, BLUE.mix(0.16).filled())])?;
        }
        let slope = ends(trend.per_run);
        chart.draw_series(LineSeries::new([(1.0, slope[0]), (last + 1.0, slope[1])], BLUE.stroke_width(2)))?;
        for (n, value) in values.iter().enumerate() {
            chart.draw_series([Circle::new((n as f64 + 1.0, *value), 4, BLUE.filled())])?;
        }
        Ok(())
    })
}

/// A figure weekend by weekend over the months since the first, each with its interval, and the line of its slope.
pub fn over_season(seen: &OverSeason, unit: Measure, digits: usize, size: Size) -> String {
    let months: Vec<f64> = seen.weekends.iter().map(|w| w.month).collect();
    let (Some(&last), Some(middle)) = (months.last(), median(seen.weekends.iter().map(|w| unit.metric(w.value))))
    else {
        return String::new();
    };
    // A weekend of two runs is in doubt by many times what they differ by: its line leaves the chart, the others stay
    // readable.
    let low = seen.weekends.iter().map(|w| unit.metric(w.value)).fold(f64::INFINITY, f64::min);
    let high = seen.weekends.iter().map(|w| unit.metric(w.value)).fold(f64::NEG_INFINITY, f64::max);
    // What would not matter looks as flat as it is.
    let flat = MATTERS / 2.0 * middle.abs();
    let y = padded(low.min(middle - flat), high.max(middle + flat), 0.1);
    let x = padded(0.0, last.max(1.0), 0.06);
    let axes = Axes {
        x,
        y,
        x_name: "months since the first weekend",
        y_name: &symbol(unit),
        right: 12,
        y_digits: digits,
        x_unit: ONE_UNIT,
        y_unit: unit,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        if let Some(slope) = seen.per_month {
            let centre = median(months.iter().copied()).unwrap_or(0.0);
            let point = |month: f64| (month, middle + unit.metric(slope) * (month - centre));
            chart.draw_series(LineSeries::new([point(0.0), point(last)], BLUE.stroke_width(2)))?;
        }
        for weekend in &seen.weekends {
            if let Some(mean) = weekend.mean.map(|mean| unit.estimate(&mean, Units::Metric.into())) {
                let ends = [(weekend.month, mean.low.max(y.0)), (weekend.month, mean.high.min(y.1))];
                chart.draw_series(LineSeries::new(ends, BLUE.stroke_width(1)))?;
            }
            chart.draw_series([Circle::new((weekend.month, unit.metric(weekend.value)), 4, BLUE.filled())])?;
        }
        Ok(())
    })
}
