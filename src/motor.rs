//! What was the motor asked for? Its current, from the pack's power and the revs.
//!
//! A recorder reads the current from the pack. The motor's own current is larger below full demand, because the
//! controller turns voltage into current: P = V·I = i·(k·ω + R·i) + P₀ with the motor constant k, the resistance R of
//! winding, controller and leads, and the idle power P₀ (textbook direct-current motor in steady state, its inductance
//! left out). Solved for i, this gives the motor current of each row.
//!
//! k and R come from the run itself. At full demand the motor sees the pack's whole voltage and both currents are the
//! same: 1 = k·ω/V + R·I/V. Below full demand the right side is smaller. So all rows lie on one side of a straight line
//! in ω/V and I/V, and those at full demand lie on it. Of all lines with no rows beyond them, the one with the most
//! rows on it is taken, and fitted to those rows by least squares.
//!
//! Assumes that the controller passes power on without loss other than in R, and that volts, amperes and revs are of
//! the same moment. Wrong where full demand is never held: then k and R are only bounds, and `at_full_demand` is false.
//!
//! ```
//! // 0.0016 V·s and 20 mΩ at half demand of 60 A and 2000 rad/s: 3.2 V and 1.2 V make 264 W.
//! let motor = runtrue::motor::Motor { constant: 0.0016, resistance: 0.020, at_full_demand: true };
//! assert!((motor.current(2000.0, 264.0) - 60.0).abs() < 1e-9);
//! ```

use std::f64::consts::TAU;

use nalgebra::Vector2;

use crate::log::{Channel, Log};
use crate::statistics::least_squares::NormalEquations;
use crate::statistics::quantiles::{median, quantile};

/// Temperature coefficient of copper at 20 °C, 1/K (IEC 60028; value quoted, the standard not opened).
pub const COPPER: f64 = 0.003_93;
/// Resistances that are tried for the line of full demand, from none to the greatest that the rows allow.
const RESISTANCES: usize = 60;
/// Rows this near the line are at full demand, relative: a step of 0.01 V and some noise.
const NEAR: f64 = 0.006;
/// Share of the rows that may lie beyond the line: noise, and moments between two states.
const BEYOND: f64 = 0.004;
/// Share of the driven rows that must lie on the line, and rows at least. Common practice, no source.
const LEAST_SHARE: f64 = 0.02;
const LEAST_ROWS: usize = 25;
/// The line's rows must differ by this much in I/V, relative to the largest, to tell k from R. A default, no source.
const LEAST_SPREAD: f64 = 0.15;
/// How often the rows near the line are chosen anew and the line fitted to them.
const ROUNDS: usize = 3;
/// Quantile that counts as the highest current, or the highest of another channel: a few wild cells above it do not
/// matter.
const HIGHEST: f64 = 0.999;
/// Where full demand is never held: share of the pack's voltage that the motor makes itself at its highest revs. Common
/// practice, no source.
const USUAL_BACK_SHARE: f64 = 0.85;
/// Where full demand is never held: share of the strongest current above which rows bound the resistance. Common
/// practice, no source.
const STRONG: f64 = 0.3;
/// Least resistance of winding, controller and leads, Ω. Common practice, no source.
const LEAST_OHM: f64 = 0.001;
/// The winding's share of the resistance; the rest is the controller's and the leads'. Common practice, no source.
pub const WINDING_SHARE: f64 = 0.8;
/// Rows below this share of the highest current are not driven. Common practice, no source.
const DRIVEN: f64 = 0.05;

/// The motor as the log's electrical figures show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motor {
    /// Motor constant, V·s (volts for each rad/s; the same number in N·m/A).
    pub constant: f64,
    /// Resistance of winding, controller and leads at the run's mean temperature, Ω.
    pub resistance: f64,
    /// Whether rows at full demand told the two; else they are bounds that are good for proportions alone.
    pub at_full_demand: bool,
}

/// What the motor was asked for, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Demand {
    /// The motor.
    pub motor: Motor,
    /// Motor current, A; NaN where volts, amperes or revs are missing, zero where the pack gives nothing.
    pub current: Vec<f64>,
    /// Motor speed, rad/s.
    pub omega: Vec<f64>,
    /// Whether the row is at full demand: the motor sees the pack's whole voltage.
    pub full: Vec<bool>,
}

impl Motor {
    /// Motor current for an electrical power of `watts` at `omega` rad/s, A; zero for none, NaN for an unknown one.
    pub fn current(&self, omega: f64, watts: f64) -> f64 {
        if watts <= 0.0 {
            return 0.0;
        }
        let back = self.constant * omega;
        // The stable form of the quadratic's root.
        2.0 * watts / (back + (back * back + 4.0 * self.resistance * watts).sqrt())
    }

    /// Current at full demand with `volts` from the pack, A.
    pub fn full_current(&self, omega: f64, volts: f64) -> f64 {
        ((volts - self.constant * omega) / self.resistance).max(0.0)
    }
}

/// The driven rows of a log in the plane of the line.
struct Plane(Vec<PlaneRow>);

/// A row in the plane of the line.
#[derive(Clone, Copy)]
struct PlaneRow {
    /// ω/V, rad/s for a volt.
    omega: f64,
    /// I/V, A for a volt.
    current: f64,
}

/// The channels that tell the motor, and the current from which it drives.
struct Drive<'a> {
    volts: &'a [f64],
    amps: &'a [f64],
    /// Motor speed, rad/s.
    omega: Vec<f64>,
    driven_a: f64,
}

impl<'a> Drive<'a> {
    fn new(log: &'a Log) -> Option<Self> {
        let (rpm, volts, amps) =
            (log.channel(Channel::Rpm)?, log.channel(Channel::Voltage)?, log.channel(Channel::Current)?);
        let omega = rpm.iter().map(|r| r * TAU / 60.0).collect();
        Some(Self { volts, amps, omega, driven_a: DRIVEN * quantile(amps.iter().copied(), HIGHEST)? })
    }

    fn motor(&self) -> Option<Motor> {
        let Self { volts, amps, omega, driven_a } = self;
        let driven = |n: &usize| amps[*n] > *driven_a && omega[*n] > 0.0 && volts[*n] > 0.0;
        let row = |n: usize| PlaneRow { omega: omega[n] / volts[n], current: amps[n] / volts[n] };
        Plane((0..omega.len()).filter(driven).map(row).collect()).motor()
    }
}

/// The motor by a log's revs, volts and amperes; `None` without them, or where the car never drives.
pub fn motor(log: &Log) -> Option<Motor> {
    Drive::new(log)?.motor()
}

/// What a log's motor was asked for, which is worked out where it is not `known`; `None` without revs, volts and
/// amperes, or where the car never drives.
pub fn demand(log: &Log, known: Option<Motor>) -> Option<Demand> {
    let drive = Drive::new(log)?;
    let motor = known.or_else(|| drive.motor())?;
    let Drive { volts, amps, omega, driven_a } = drive;
    let idle = idle_power(volts, amps, &omega);
    let warmth = warmth(log);
    let motor_in = |n: usize| Motor { resistance: motor.resistance * warmth[n], ..motor };
    let current = (0..omega.len()).map(|n| motor_in(n).current(omega[n], volts[n] * amps[n] - idle)).collect();
    let on_line = |n: usize| {
        let filled = (motor.constant * omega[n] + motor_in(n).resistance * amps[n]) / volts[n];
        amps[n] > driven_a && filled > 1.0 - 2.0 * NEAR
    };
    let full = (0..omega.len()).map(|n| motor.at_full_demand && on_line(n)).collect();
    Some(Demand { motor, current, omega, full })
}

/// Resistance in each row over its mean: that of copper rises with the motor's temperature, that of controller and
/// leads hardly.
fn warmth(log: &Log) -> Vec<f64> {
    let Some(motor) = log.channel(Channel::MotorTemperature) else { return vec![1.0; log.rows()] };
    let Some(mean) = median(motor.iter().copied()) else { return vec![1.0; log.rows()] };
    let coefficient = WINDING_SHARE * COPPER / (1.0 + COPPER * (mean - 20.0));
    let mut last = mean;
    motor
        .iter()
        .map(|t| {
            last = if t.is_finite() { *t } else { last };
            1.0 + coefficient * (last - mean)
        })
        .collect()
}

/// Median power while the motor stands, W; zero where it never does.
pub fn idle_power(volts: &[f64], amps: &[f64], omega: &[f64]) -> f64 {
    let standing = (0..omega.len()).filter(|&n| omega[n] == 0.0).map(|n| volts[n] * amps[n]);
    median(standing).map_or(0.0, |p| p.max(0.0))
}

/// The line with no rows beyond it for a given R.
struct Edge {
    /// The line's k.
    constant: f64,
    /// How many rows lie on it.
    rows: usize,
}

impl Plane {
    fn motor(&self) -> Option<Motor> {
        let strongest = quantile(self.0.iter().map(|row| row.current), HIGHEST)?;
        // The most rows, and of equally many the smallest resistance.
        let resistance = (0..RESISTANCES)
            .map(|n| (n as f64 + 0.5) / RESISTANCES as f64 / strongest)
            .map(|resistance| (self.edge(resistance).rows, resistance))
            .max_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)))?
            .1;
        self.fitted(resistance).or_else(|| self.bound(strongest))
    }

    /// The line with no rows beyond it for this `resistance`.
    fn edge(&self, resistance: f64) -> Edge {
        let constants: Vec<f64> = self.0.iter().map(|row| (1.0 - resistance * row.current) / row.omega).collect();
        let Some(constant) = quantile(constants.iter().copied(), BEYOND) else {
            return Edge { constant: 0.0, rows: 0 };
        };
        Edge { constant, rows: constants.iter().filter(|k| **k <= constant * (1.0 + 2.0 * NEAR)).count() }
    }

    /// Least squares of 1 = k·ω/V + R·I/V over the rows near the line; `None` where they do not tell k and R apart.
    fn fitted(&self, resistance: f64) -> Option<Motor> {
        let edge = self.edge(resistance);
        if edge.rows < LEAST_ROWS || (edge.rows as f64) < LEAST_SHARE * self.0.len() as f64 {
            return None;
        }
        let (mut constant, mut resistance) = (edge.constant * (1.0 + NEAR), resistance);
        for _ in 0..ROUNDS {
            let off = |row: &PlaneRow| constant * row.omega + resistance * row.current - 1.0;
            let near: Vec<PlaneRow> = self.0.iter().copied().filter(|row| off(row).abs() < NEAR).collect();
            let currents = || near.iter().map(|row| row.current);
            let spread = quantile(currents(), 0.9)? - quantile(currents(), 0.1)?;
            if spread < LEAST_SPREAD * quantile(self.0.iter().map(|row| row.current), 0.99)? {
                return None;
            }
            let mut equations = NormalEquations::default();
            near.iter().for_each(|row| equations.add(&Vector2::new(row.omega, row.current), 1.0, 1.0));
            let best = equations.best()?;
            (constant, resistance) = (best[0], best[1]);
        }
        (constant > 0.0 && resistance > 0.0).then_some(Motor { constant, resistance, at_full_demand: true })
    }

    /// Without full demand: the constant from the usual share of the voltage at the highest revs, and the resistance
    /// that the strongest rows allow.
    fn bound(&self, strongest: f64) -> Option<Motor> {
        let constant = USUAL_BACK_SHARE / quantile(self.0.iter().map(|row| row.omega), HIGHEST)?;
        let strong = self.0.iter().filter(|row| row.current > STRONG * strongest);
        let resistance = quantile(strong.map(|row| (1.0 - constant * row.omega) / row.current), 0.01)?.max(LEAST_OHM);
        (constant.is_finite() && constant > 0.0).then_some(Motor { constant, resistance, at_full_demand: false })
    }
}
