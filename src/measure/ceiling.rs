//! A bound from above: the last readings as a straight line, carried on.
//!
//! Under an even load a part that has got over its lags warms ever more slowly: the step response of a network of
//! thermal nodes is a sum of exponentials that die away (textbook). So no forecast for the same load is above the
//! straight line through its last readings; a part that cools comes down ever more slowly, and stays under its last
//! readings. For a load that is greater than it was in those readings the line is as much steeper as the greater load
//! heats more.
//!
//! Wrong where the cooling gets weaker on the way: a fan that fails.

use super::heat_nodes::quick_load;
use super::heat_record::Record;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::straight_line::{StraightLine, straight_line};

/// Share of the time under load, from its end, that counts as the last readings, and least time, s.
const LAST_SHARE: f64 = 0.25;
const LEAST_S: f64 = 40.0;
/// Time under load before which lags are not over, s: several of the quick node's. Common practice, no source.
const LAGS_S: f64 = 60.0;
/// Load, relative, below which a car stands or rolls, and over how long that is judged, s.
const STANDS: f64 = 0.1;
const STANDS_S: f64 = 6.0;
/// Least uncertainty of a reading, in its steps: a rounded one is off by 0.29 of a step (evenly spread).
const ROUNDED: f64 = 0.29;

/// The straight line through the last readings under load, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ceiling {
    /// Log time of its middle, s, and the reading there, °C.
    middle_s: f64,
    middle_c: f64,
    /// K/s.
    slope: f64,
    /// Standard uncertainty of both.
    middle_u: f64,
    slope_u: f64,
    /// Mean load over it, relative.
    load: f64,
}

impl Ceiling {
    /// The line of a run; `None` where the part has not been under load for long enough since the car last stood.
    pub(super) fn of_last_readings(record: &Record) -> Option<Self> {
        let loads: Vec<f64> = record.copper.iter().zip(&record.spin).map(|(u, w)| quick_load(*u, *w)).collect();
        let standing = (STANDS_S / record.step_s).ceil() as usize;
        let stood = loads.windows(standing.max(1)).rposition(|all| all.iter().all(|load| *load < STANDS));
        let from = stood.map_or(0, |at| at + standing);
        let driven_s = record.step_s * (loads.len() - from) as f64;
        let length = ((LAST_SHARE * driven_s).max(LEAST_S) / record.step_s).round() as usize;
        if driven_s < LAGS_S + LEAST_S {
            return None;
        }
        let first = loads.len() - length;
        let at = |n: usize| record.start_s + record.step_s * (n as f64 + 0.5);
        let rows: Vec<(f64, f64)> = (first..loads.len())
            .filter(|&n| record.reading[n].is_finite())
            .map(|n| (at(n), record.reading[n]))
            .collect();
        let count = rows.len() as f64;
        if rows.len() < length / 2 || rows.len() < 4 {
            return None;
        }
        let line = straight_line(rows.iter().copied());
        let StraightLine { slope, mean_x: middle_s, mean_y: middle_c, xx: spread } = line;
        let scatter = rows.iter().map(|&(s, c)| line.below(s, c).powi(2)).sum::<f64>() / (count - 2.0);
        let variance = scatter.max((ROUNDED * record.quantum).powi(2));
        // Rounded readings stay at a step for long: as many say something of their own as there are steps.
        let steps = if record.quantum > 0.0 {
            (slope.abs() * (rows[rows.len() - 1].0 - rows[0].0) / record.quantum).max(1.0)
        } else {
            count
        };
        let own = steps.min(count);
        let load = loads[first..].iter().sum::<f64>() / length as f64;
        let (middle_u, slope_u) = ((variance / own).sqrt(), (variance / spread * count / own).sqrt());
        Some(Self { middle_s, middle_c, slope, middle_u, slope_u, load })
    }

    /// A forecast for log time `at_s`, `ahead_s` after the last reading, under the laps' load, held under the line as far
    /// as it is known: its value within one standard uncertainty, its interval within 95 %. `heating` is that of the
    /// laps' load, K/s, `by_load` what the load's own scatter leaves open, °C.
    pub(super) fn hold_under(
        &self,
        forecast: Estimate,
        at_s: f64,
        ahead_s: f64,
        heating: f64,
        by_load: f64,
    ) -> Estimate {
        let ahead = at_s - self.middle_s;
        let more = heating * (1.0 - self.load).max(0.0) * ahead_s;
        let most = self.middle_c + self.slope.max(0.0) * ahead + more;
        let u = self.middle_u.hypot(self.slope_u * ahead);
        let value = forecast.value.min(most + u);
        let high = forecast.high.min(most + COVERAGE_95 * u.hypot(by_load)).max(value);
        Estimate { value, low: forecast.low.min(value), high }
    }
}
