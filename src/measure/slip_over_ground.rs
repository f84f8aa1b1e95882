//! Stretches in which the wheels turn faster than the car moves over ground.
//!
//! Slip = 1 − ground speed / (revs × travel for a turn), by [`crate::laps::ground`]. A stretch is slip above 0.20 for
//! 0.1 s or more at 1 m/s or more; it starts and ends where slip crosses 0.20, in a straight line between rows. Revs
//! that stand for several rows do not change between two of them: there a stretch is counted from its first row to its
//! last. A stretch counts where its mean slip is above 0.20 by more than the doubt of the speed's noise, and of the
//! scale where that is not the sheet's.
//!
//! Where the ground speed is missing, the car's speed by its revs stands in for it.
//!
//! Wrong where the car slides sideways: a ground speed has the slide in it, the wheels have not.

use crate::laps::ground::Ground;
use crate::statistics::above::{Above, above};
use crate::statistics::quantiles::median;

/// Slip from which wheels count as spinning.
pub const SPINNING: f64 = 0.20;
/// Shortest stretch, s.
pub const SHORTEST_S: f64 = 0.1;
/// Slack when times of rows are compared with it, s: rows carry their times to the millisecond.
const TIME_SLACK_S: f64 = 1e-9;
/// Speed from which a stretch counts, m/s.
pub const MOVING_M_S: f64 = 1.0;
/// Standard deviations that the mean slip must be above the bound. A default: slip at the bound is told in five of six.
const SURE: f64 = 1.0;
/// Revs that stay for so many rows are held.
const HELD_ROWS: f64 = 3.0;

/// Wheelspin by the ground speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Log time of its start, s.
    pub start_s: f64,
    /// Log time of its end, s.
    pub end_s: f64,
    /// Highest slip.
    pub peak_slip: f64,
}

/// The rows of a run, with the car's speed over ground.
#[derive(Debug, Clone, Copy)]
pub struct Rows<'a> {
    /// Times, s.
    pub time: &'a [f64],
    /// Revs of the wheels, turns a minute.
    pub wheels: &'a [f64],
    /// Revs of the car, turns a minute, for where the ground speed is missing.
    pub car: &'a [f64],
    /// Its speed over ground.
    pub ground: &'a Ground,
}

impl Rows<'_> {
    /// Slip in row `n`; zero where the car hardly moves.
    fn slip(&self, n: usize) -> f64 {
        let per_rpm = self.ground.scale.m_s_per_rpm;
        let (speed, car, wheel) = (self.ground.speed[n], self.car[n], self.wheels[n]);
        if wheel <= 0.0 {
            0.0
        } else if speed.is_nan() {
            if car * per_rpm < MOVING_M_S { 0.0 } else { 1.0 - car / wheel }
        } else if speed < MOVING_M_S {
            0.0
        } else {
            1.0 - speed / (wheel * per_rpm)
        }
    }

    /// Whether the revs stand for several rows at a time.
    fn revs_are_held(&self) -> bool {
        let changes: Vec<usize> = (1..self.wheels.len())
            .filter(|&n| self.wheels[n] != self.wheels[n - 1] && self.wheels[n] > 0.0 && self.wheels[n - 1] > 0.0)
            .collect();
        median(changes.windows(2).map(|w| (w[1] - w[0]) as f64)).is_some_and(|rows| rows >= HELD_ROWS)
    }

    /// The stretches of wheelspin, in order.
    pub fn stretches(&self) -> Vec<Stretch> {
        let slip: Vec<f64> = (0..self.time.len()).map(|n| self.slip(n)).collect();
        let held = self.revs_are_held();
        let stretch = |Above { rows, from, until }| {
            let start_s = from.filter(|_| !held).unwrap_or(self.time[rows.start]);
            let end_s = until.filter(|_| !held).unwrap_or(self.time[rows.end - 1]);
            let counts =
                end_s - start_s >= SHORTEST_S - TIME_SLACK_S && self.is_sure(&slip, rows.clone(), end_s - start_s);
            let peak_slip = slip[rows].iter().copied().fold(0.0, f64::max);
            counts.then_some(Stretch { start_s, end_s, peak_slip })
        };
        above(self.time, &slip, SPINNING).into_iter().filter_map(stretch).collect()
    }

    /// Whether the mean slip of some rows, which last so many seconds, is above the bound by more than its doubt.
    fn is_sure(&self, slip: &[f64], rows: std::ops::Range<usize>, seconds: f64) -> bool {
        let count = rows.len() as f64;
        let scale = self.ground.scale;
        let mean = slip[rows.clone()].iter().sum::<f64>() / count;
        let wheel_m_s = self.wheels[rows].iter().sum::<f64>() / count * scale.m_s_per_rpm;
        let fixes = (seconds / self.ground.step_s).max(1.0);
        let by_noise = self.ground.noise_m_s / wheel_m_s / fixes.sqrt();
        mean - SPINNING > SURE * by_noise.hypot(scale.relative_u)
    }
}
