//! How does the car pull, and what current does each row take with another pinion?
//!
//! With the final drive ratio multiplied by g, a wheel speed takes g times the revs, and a push at the wheels takes 1/g
//! of the motor current. Below full demand the driver, or the grip, sets the push: it stays. At full demand the pack
//! sets the current: i = (E − k·ω·g) / (R + R_pack), with the pack's voltage at rest E taken from each row. So each row
//! of the run gives its current with the other pinion.
//!
//! What an ampere adds to the acceleration comes from the motor's constant and the car's mass, where both are known, else
//! from a least-squares fit of the acceleration to the motor current and the square of the speed. What follows of load
//! and speed is in [`super::regeared`].
//!
//! Wrong where the driver would take another line or brake elsewhere, or where the controller limits the current.

use std::f64::consts::TAU;

use nalgebra::Vector3;

use super::motion::{LONGEST_STEP_S, Motion};
use super::power::FULL_THROTTLE_PCT;
use crate::motor::{Demand, Motor};
use crate::statistics::least_squares::NormalEquations;
use crate::statistics::quantiles::quantile;
use crate::statistics::straight_line::straight_line;

/// Rows with less than this share of the strongest current tell little of the pull. Common practice, no source.
const PULLING: f64 = 0.2;
/// Quantile that counts as the strongest current: a few wild cells above it do not matter.
const STRONGEST: f64 = 0.999;
/// Share of the motor's torque that reaches the wheels. Common practice, no source.
const DRIVE_TRAIN: f64 = 0.93;
/// Slowing harder than this ends the way to the top speed, m/s²: more than noise makes of an even speed. Common
/// practice, no source.
pub(super) const BRAKING: f64 = 1.5;
/// Quantile of the decelerations that stands for braking.
const BRAKES: f64 = 0.9;
/// Fewest rows that the fit of the pull needs.
const LEAST_ROWS: usize = 60;
/// The rotor's inertia at the wheels, as a share of the car's mass: it goes with the square of the ratio. Common
/// practice, no source: a rotor of 1e-6 kg·m² makes 2 to 4 %.
const ROTOR_SHARE: f64 = 0.03;
/// Share of the pack's voltage from which the motor gets all of it: a driver who holds back holds back more. Common
/// practice, no source.
const FULL_DUTY: f64 = 0.95;

/// The pack, row by row.
#[derive(Debug, Clone, Copy)]
pub struct Pack<'a> {
    /// Its voltage, V.
    pub volts: &'a [f64],
    /// Its current, A.
    pub amps: &'a [f64],
    /// Its resistance, Ω; 0 where it is not known.
    pub ohm: f64,
}

/// How the car pulls, as the run shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct PullModel<'a> {
    pub(super) demand: &'a Demand,
    pub(super) motion: &'a Motion,
    /// The pack's voltage at rest in each row, V: what it gives and what it loses.
    rest: Vec<f64>,
    /// The pack's resistance, Ω.
    pack_ohm: f64,
    /// What an ampere of motor current adds to the acceleration, m/s².
    pub(super) per_ampere: f64,
    /// What the square of a m/s takes from it, m/s².
    pub(super) per_square: f64,
    /// What rolling takes from it at any speed, m/s².
    pub(super) rolling: f64,
    /// Highest motor current seen, A.
    pub(super) ceiling: f64,
    /// Deceleration when braking, m/s².
    pub(super) brakes: f64,
    /// The rotor's inertia at the wheels, as a share of the car's mass.
    pub(super) rotor_share: f64,
    /// Whether each row is at full demand.
    pub(super) full: Vec<bool>,
}

impl<'a> PullModel<'a> {
    /// Fits the pull of a car of `mass_kg`, where that is known; `throttle` is the hand, %, where the log has it. `None`
    /// where too few rows pull or lie too far apart, or where more current does not pull harder.
    pub fn fit(
        demand: &'a Demand,
        motion: &'a Motion,
        pack: &Pack,
        throttle: Option<&[f64]>,
        mass_kg: Option<f64>,
    ) -> Option<Self> {
        if motion.step_s > LONGEST_STEP_S {
            return None;
        }
        let ceiling = quantile(demand.current.iter().copied(), STRONGEST)?;
        let pulls = |n: &usize| {
            demand.current[*n] > PULLING * ceiling && motion.grips[*n] && motion.acceleration[*n].is_finite()
        };
        let rows: Vec<usize> = (0..motion.time.len()).filter(pulls).collect();
        if rows.len() < LEAST_ROWS {
            return None;
        }
        let mut equations = NormalEquations::default();
        for &n in &rows {
            let x = Vector3::new(demand.current[n], -1.0, -motion.speed[n].powi(2));
            equations.add(&x, motion.acceleration[n], 1.0);
        }
        let mut per_ampere = equations.best()?[0];
        if let (Some(mass), true) = (mass_kg, demand.motor.at_full_demand) {
            // A motor's constant is its torque for an ampere; in even driving the rows alone hardly tell current from
            // speed.
            per_ampere = DRIVE_TRAIN * demand.motor.constant * TAU / (motion.travel_m.value * mass);
        }
        let (per_square, rolling) = slowing(&rows, per_ampere, demand, motion);
        let falls = motion.acceleration.iter().filter(|a| **a < 0.0).map(|a| -a);
        let brakes = quantile(falls, BRAKES)?;
        let rest = pack.volts.iter().zip(pack.amps).map(|(v, i)| v + pack.ohm * i).collect();
        let model = Self {
            demand,
            motion,
            rest,
            pack_ohm: pack.ohm,
            per_ampere,
            per_square,
            rolling,
            ceiling,
            brakes,
            rotor_share: ROTOR_SHARE,
            full: full_demand(demand, pack, throttle),
        };
        (per_ampere > 0.0).then_some(model)
    }

    /// Motor current in row `n` with the ratio multiplied by `g`, at `speed` times the row's own speed, A.
    pub(super) fn current(&self, n: usize, g: f64, speed: f64) -> f64 {
        let now = self.demand.current[n];
        if now <= 0.0 || !self.demand.motor.at_full_demand {
            return now / g;
        }
        if self.full[n] {
            self.current_of_full_row(n, g, 1.0, speed)
        } else {
            (now / g).min(self.full_current(n, g, speed).max(now))
        }
    }

    /// The same in a row at full demand, from the current that was seen at `seen` times the row's own speed. The fit is
    /// not exact in each row: its change counts.
    pub(super) fn current_of_full_row(&self, n: usize, g: f64, seen: f64, speed: f64) -> f64 {
        let now = self.demand.current[n];
        let base = self.full_current(n, 1.0, seen).max(f64::MIN_POSITIVE);
        (now * self.full_current(n, g, speed) / base).min(self.ceiling.max(now) / g)
    }

    /// Motor current at full demand in row `n` with the ratio multiplied by `g`, at `speed` times the row's own speed,
    /// A.
    pub(super) fn full_current(&self, n: usize, g: f64, speed: f64) -> f64 {
        // The pack's resistance is in series with the motor's.
        let motor = Motor { resistance: self.demand.motor.resistance + self.pack_ohm, ..self.demand.motor };
        motor.full_current(self.demand.omega[n] * g * speed, self.rest[n])
    }

    /// What the rotor adds to the acceleration in row `n` with the ratio multiplied by `g`, m/s²: it takes less to speed
    /// up where it turns less.
    pub(super) fn rotor(&self, n: usize, g: f64) -> f64 {
        self.rotor_share * (1.0 - g * g) * self.motion.acceleration[n].max(0.0)
    }
}

/// Whether each row is at full demand: by the hand, where the log has it, else by the share of the pack's voltage that
/// the motor gets, which is that of the pack's current in its own.
fn full_demand(demand: &Demand, pack: &Pack, throttle: Option<&[f64]>) -> Vec<bool> {
    let by_hand = |n: usize| throttle.is_some_and(|hand| hand[n] >= FULL_THROTTLE_PCT);
    let by_duty = |n: usize| throttle.is_none() && pack.amps[n] >= FULL_DUTY * demand.current[n];
    let drives = |n: usize| demand.motor.at_full_demand && demand.current[n] > 0.0;
    (0..demand.current.len()).map(|n| demand.full[n] || drives(n) && (by_hand(n) || by_duty(n))).collect()
}

/// What slows the car once the current's part is taken off: with the square of the speed, 1/m, and at any speed, m/s²;
/// neither less than nothing.
fn slowing(rows: &[usize], per_ampere: f64, demand: &Demand, motion: &Motion) -> (f64, f64) {
    let point = |&n: &usize| (motion.speed[n].powi(2), motion.acceleration[n] - per_ampere * demand.current[n]);
    let line = straight_line(rows.iter().map(point));
    let per_square = (-line.slope).max(0.0);
    (per_square, (-line.mean_y - per_square * line.mean_x).max(0.0))
}
