//! A satellite receiver beside the recorder: some fixes a second of the car's speed over ground, late and noisy.
//!
//! Rates, lags and noise: what such receivers are sold with, from memory.

use super::dice::Dice;
use super::weekend::Run;

/// A receiver.
#[derive(Debug, Clone, Copy)]
pub struct Receiver {
    /// Fixes a second.
    pub fixes_hz: f64,
    /// How late a fix stands in the log, s.
    pub lag_s: f64,
    /// Standard deviation of a fix, m/s.
    pub noise_m_s: f64,
    /// Whether the rows hold the last fix; else they lie on straight lines between fixes.
    pub held: bool,
    /// How many times a run it loses its satellites: it writes zeros for up to two seconds.
    pub dropouts: usize,
}

impl Receiver {
    /// Draws one of some fixes a second.
    pub fn draw(dice: &mut Dice, fixes_hz: f64) -> Self {
        Self {
            fixes_hz,
            lag_s: dice.between(0.2, 1.0),
            noise_m_s: dice.between(0.05, 0.1),
            held: dice.chance(0.6),
            dropouts: if dice.chance(0.3) { dice.whole(1, 4) } else { 0 },
        }
    }

    /// Writes its speed into a run's log.
    pub fn record(&self, run: &mut Run, dice: &mut Dice) {
        let time = &run.columns.time_s;
        let (first, last) = (time[0], time[time.len() - 1]);
        let count = ((last - first) * self.fixes_hz) as usize + 2;
        let offset = dice.between(0.0, 1.0) / self.fixes_hz;
        let measured_s: Vec<f64> = (0..count).map(|n| first + n as f64 / self.fixes_hz - offset).collect();
        let mut fixes: Vec<f64> = measured_s
            .iter()
            .map(|&at| {
                let speed = (between(time, &run.truth.car_m_s, at) + dice.normal(0.0, self.noise_m_s)).max(0.0);
                (speed * 100.0).round() / 100.0
            })
            .collect();
        for _ in 0..self.dropouts {
            let from = dice.whole(0, count - 1);
            let until = (from + dice.whole(1, (2.0 * self.fixes_hz) as usize)).min(count);
            fixes[from..until].fill(0.0);
        }
        let written_s: Vec<f64> = measured_s.iter().map(|at| at + self.lag_s).collect();
        let in_row = |at: f64| {
            let next = written_s.partition_point(|written| *written <= at);
            if next == 0 {
                f64::NAN
            } else if self.held || next == count {
                fixes[next - 1]
            } else {
                (between(&written_s, &fixes, at) * 100.0).round() / 100.0
            }
        };
        run.columns.ground = time.iter().map(|&at| in_row(at)).collect();
    }
}

/// A value in a straight line between two times; held outside.
fn between(time: &[f64], values: &[f64], at: f64) -> f64 {
    let next = time.partition_point(|t| *t <= at);
    if next == 0 {
        return values[0];
    }
    if next == time.len() {
        return values[next - 1];
    }
    let share = (at - time[next - 1]) / (time[next] - time[next - 1]);
    values[next - 1] + share * (values[next] - values[next - 1])
}
