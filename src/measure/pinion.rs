//! What would another pinion ask of the motor, and how fast would the car be?
//!
//! With the final drive ratio scaled by g, a wheel speed takes g times the revs, and a push at the wheels takes 1/g of the motor current. Below
//! full demand the driver, or the grip, sets the push: it stays. At full demand the pack sets the current: i = (E − k·ω·g) / (R + R_pack), with the
//! pack's voltage at rest E taken from each row. So each row of the run gives its current with the other pinion.
//!
//! The top speed follows from the run's own way to it: from where the car begins to gather speed to the lap's fastest row, the change of
//! the acceleration is carried along over the same distance, v·dv = a·ds; a higher speed needs the brakes earlier. The speed's
//! change for an ampere comes from the motor's constant and the car's mass, where both are known, else from a least-squares line of the
//! acceleration over motor current and the square of the speed.
//!
//! What is strong here is the change from today's values, for one or two teeth. Wrong where the driver would use another line or other
//! braking points, or the controller holds the current at a ceiling.

use nalgebra::Vector3;

use super::motion::{LONGEST_STEP_S, Motion};
use super::motor::{Demand, Motor};
use crate::laps::Laps;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::least_squares::NormalEquations;
use crate::statistics::quantiles::{median, quantile, robust_deviation};
use crate::statistics::straight_line::straight_line;

/// Rows with less than this share of the strongest current say little of the pull.
const PULLING: f64 = 0.2;
/// Share of the motor's torque that reaches the wheels. Common practice, no source.
const DRIVE_TRAIN: f64 = 0.93;
/// Slowing harder than this ends the way to the top speed, m/s²: more than noise makes of an even speed.
const BRAKING: f64 = 1.5;
/// Rows that the line of the pull needs at least.
const LEAST_ROWS: usize = 60;
/// The rotor's inertia at the wheels, of the car's mass: it goes with the square of the ratio. Common practice, no source: a rotor of 1e-6 kg·m² makes 2 to 4 %.
const ROTOR_SHARE: f64 = 0.03;
/// Share of the effect of gearing on the top speed that stays open where the pack's limit was not seen. Common practice, no source.
const OPEN_SHARE: f64 = 0.5;

/// A run with another ratio, relative to the run as it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Regeared {
    /// Copper load, relative.
    pub copper: f64,
    /// Loss that goes with the motor's speed, relative.
    pub spin: f64,
    /// Relative change of the top speed.
    pub top_change: Estimate,
}

/// The car's pull as the run shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Pull<'a> {
    demand: &'a Demand,
    motion: &'a Motion,
    /// Volts at rest at each row: what the pack gives and what it loses.
    rest: Vec<f64>,
    pack: f64,
    /// m/s² for an ampere of motor current, and for the square of a m/s.
    per_ampere: f64,
    per_square: f64,
    /// Highest motor current seen, A.
    ceiling: f64,
    /// Braking, m/s².
    brakes: f64,
}

/// Fits the pull of a car of `mass_kg`, where it is known; `volts` and `amps` are the pack's, `pack_ohm` its resistance. `None` where too few rows pull, or more current does not.
pub fn pull<'a>(
    demand: &'a Demand,
    motion: &'a Motion,
    (volts, amps): (&[f64], &[f64]),
    pack_ohm: Option<f64>,
    mass_kg: Option<f64>,
) -> Option<Pull<'a>> {
    if motion.step_s > LONGEST_STEP_S {
        return None;
    }
    let ceiling = quantile(demand.current.iter().copied(), 0.999)?;
    let pack = pack_ohm.unwrap_or(0.0);
    let pulls =
        |n: &usize| demand.current[*n] > PULLING * ceiling && motion.grips[*n] && motion.acceleration[*n].is_finite();
    let rows: Vec<usize> = (0..motion.time.len()).filter(pulls).collect();
    if rows.len() < LEAST_ROWS {
        return None;
    }
    let mut equations = NormalEquations::default();
    for &n in &rows {
        equations.add(&Vector3::new(demand.current[n], -1.0, -motion.speed[n].powi(2)), motion.acceleration[n], 1.0);
    }
    let mut per_ampere = equations.solve()?.best[0];
    if let (Some(mass), true) = (mass_kg, demand.motor.at_full_demand) {
        // A motor's constant is its torque for an ampere; in even driving the rows alone hardly tell current from speed.
        per_ampere = DRIVE_TRAIN * demand.motor.constant * std::f64::consts::TAU / (motion.travel.0 * mass);
    }
    let per_square = slowing(&rows, per_ampere, demand, motion);
    let falls = motion.acceleration.iter().filter(|a| **a < 0.0).map(|a| -a);
    Some(Pull {
        demand,
        motion,
        rest: volts.iter().zip(amps).map(|(v, i)| v + pack * i).collect(),
        pack,
        per_ampere,
        per_square: per_square.max(0.0),
        ceiling,
        brakes: quantile(falls, 0.9)?,
    })
    .filter(|p| p.per_ampere > 0.0)
}

/// How the acceleration falls with the square of the speed, once the current's part is taken off: the slope of a least-squares line, 1/m.
fn slowing(rows: &[usize], per_ampere: f64, demand: &Demand, motion: &Motion) -> f64 {
    let point = |&n: &usize| (motion.speed[n].powi(2), motion.acceleration[n] - per_ampere * demand.current[n]);
    -straight_line(rows.iter().map(point)).slope
}

impl Pull<'_> {
    /// Motor current of row `n` with the ratio scaled by `g`, at `speed` times the row's own speed, A.
    fn current(&self, n: usize, g: f64, speed: f64) -> f64 {
        let now = self.demand.current[n];
        if now <= 0.0 || !self.demand.motor.at_full_demand {
            return now / g;
        }
        // The pack's resistance is in series with the motor's.
        let motor = Motor { resistance: self.demand.motor.resistance + self.pack, ..self.demand.motor };
        let limit = motor.full_current(self.demand.omega[n] * g * speed, self.rest[n]);
        if self.demand.full[n] {
            // The line through the rows is not exact for each: what counts is the change.
            let base = motor.full_current(self.demand.omega[n], self.rest[n]).max(1e-9);
            (now * limit / base).min(self.ceiling.max(now) / g)
        } else {
            (now / g).min(limit.max(now))
        }
    }

    /// The run with the ratio scaled by `g`.
    pub fn regeared(&self, laps: &Laps, g: f64) -> Option<Regeared> {
        let (mut before, mut after) = (0.0, 0.0);
        let mut changes = Vec::new();
        for lap in laps.counted() {
            let (from, to) = (self.row(lap.start_s), self.row(lap.end_s));
            for n in from..to {
                let now = self.demand.current[n];
                if now.is_finite() {
                    before += now * now;
                    after += self.current(n, g, 1.0).powi(2);
                }
            }
            changes.extend(self.top_change(from, to, g));
        }
        let change = median(changes.iter().copied())?;
        // A lap on which something went wrong tells nothing of the gears: the median and its standard error.
        let of_median = (std::f64::consts::PI / 2.0 / changes.len() as f64).sqrt();
        let scatter = robust_deviation(&changes).unwrap_or(0.0) * of_median;
        let open = if self.demand.motor.at_full_demand { 0.0 } else { OPEN_SHARE * (g - 1.0).abs() };
        let half = (COVERAGE_95 * scatter).hypot(change / 2.0).hypot(open);
        (before > 0.0).then(|| Regeared {
            copper: after / before,
            spin: (g + g * g) / 2.0,
            top_change: Estimate::from_half_width(change, half),
        })
    }

    fn row(&self, time: f64) -> usize {
        self.motion.time.partition_point(|&t| t < time).min(self.motion.time.len())
    }

    /// Relative change of a lap's top speed: the way to it driven again with the other ratio.
    fn top_change(&self, from: usize, to: usize, g: f64) -> Option<f64> {
        let (time, speed) = (&self.motion.time, &self.motion.speed);
        let fastest = (from..to).filter(|&n| speed[n].is_finite()).max_by(|a, b| speed[*a].total_cmp(&speed[*b]))?;
        // The rows around the fastest see the brakes already.
        let mut start = fastest.saturating_sub(2 * self.motion.reach);
        while start > 0 && self.motion.acceleration[start] > -BRAKING {
            start -= 1;
        }
        let mut squared = speed[start].powi(2);
        for n in start..fastest {
            let new = squared.max(0.0).sqrt();
            let ratio = if speed[n] > 0.0 { new / speed[n] } else { 1.0 };
            let rotor = ROTOR_SHARE * (1.0 - g * g) * self.motion.acceleration[n].max(0.0);
            let pushed = self.per_ampere * (g * self.current(n, g, ratio) - self.demand.current[n]);
            // A missing cell changes nothing.
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
