//! What would the run be with another pinion: its load on the motor, and its top speed?
//!
//! The top speed follows from the way to it that the car drove: from where it begins to gain speed to the lap's fastest
//! row, the change of the acceleration is added up over the same distance, v·dv = a·ds; a higher speed needs the brakes
//! earlier.
//!
//! The change from today's values, for one or two teeth, is better known than the values themselves. Wrong where the
//! driver would take another line or brake elsewhere, or where the controller limits the current.

use super::pinion::{BRAKING, PullModel};
use super::regeared_load::RegearedLoad;
use crate::laps::{Lap, Laps};
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::quantiles::{median, median_u};

/// A run with another ratio, relative to the run as it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Regeared {
    /// The ratio, relative.
    pub ratio_change: f64,
    /// Copper load, relative.
    pub copper: f64,
    /// Loss that goes with the motor's speed, relative.
    pub spin: f64,
    /// Relative change of the top speed.
    pub top_change: Estimate,
}

impl PullModel<'_> {
    /// The run with the ratio multiplied by `g`; `None` where no lap counts.
    pub fn regeared(&self, laps: &Laps, g: f64) -> Option<Regeared> {
        let of_lap = |lap: &Lap| self.top_change(self.row_from(lap.start_s), self.row_from(lap.end_s), g);
        let changes: Vec<f64> = laps.counted().filter_map(of_lap).collect();
        let change = median(changes.iter().copied())?;
        // A lap on which something went wrong tells nothing of the gears: so the median, whose standard error is
        // sqrt(pi / 2) times that of a mean.
        let scatter = COVERAGE_95 * median_u(&changes).unwrap_or(0.0);
        let half = scatter.hypot(change / 2.0);
        let mut top_change = Estimate::from_half_width(change, half);
        if !self.demand.motor.at_full_demand {
            // What was not seen may be full demand all the same: then the car is at most as much faster as the ratio.
            let most = 1.0 / g - 1.0;
            top_change.low = top_change.low.min(most - scatter);
            top_change.high = top_change.high.max(most + scatter);
        }
        let RegearedLoad { copper, spin } = self.load(laps, g)?;
        Some(Regeared { ratio_change: g, copper, spin, top_change })
    }

    /// The first row at or after `time`.
    fn row_from(&self, time: f64) -> usize {
        self.motion.time.partition_point(|&t| t < time).min(self.motion.time.len())
    }

    /// Relative change of the top speed between two rows with the ratio multiplied by `g`: the way to it driven again.
    fn top_change(&self, from: usize, to: usize, g: f64) -> Option<f64> {
        let (time, speed) = (&self.motion.time, &self.motion.speed);
        let fastest = (from..to).filter(|&n| speed[n].is_finite()).max_by(|a, b| speed[*a].total_cmp(&speed[*b]))?;
        // Braking shows in the rows around the fastest already.
        let mut start = fastest.saturating_sub(2 * self.motion.reach);
        while start > 0 && self.motion.acceleration[start] > -BRAKING {
            start -= 1;
        }
        let mut squared = speed[start].powi(2);
        for n in start..fastest {
            let new = squared.max(0.0).sqrt();
            let ratio = if speed[n] > 0.0 { new / speed[n] } else { 1.0 };
            let rotor = self.rotor(n, g);
            let pushed = self.per_ampere * (g * self.current(n, g, ratio) - self.demand.current[n]);
            // A missing cell adds nothing.
            let more = if pushed.is_finite() { pushed + rotor } else { rotor };
            let step = speed[n] * (time[n + 1] - time[n]);
            let drag = self.per_square * (squared - speed[n].powi(2));
            // The observed change of the square, and what the other ratio adds to it.
            squared += speed[n + 1].powi(2) - speed[n].powi(2) + 2.0 * step * (more - drag);
        }
        let change = squared.max(0.0).sqrt() / speed[fastest] - 1.0;
        let late = self.motion.acceleration[fastest.saturating_sub(2 * self.motion.reach)].max(0.0);
        Some(change / (1.0 + late / self.brakes)).filter(|c| c.is_finite())
    }
}
