//! How fast the car can gain speed by what the motor pulls.
//!
//! While the tyres grip, the revs rise with the motor's pull less what holds the car back: dn/dt = p·i − r − d·n², with
//! the motor current i ([`crate::motor`]), the pull p of an ampere, rolling and drag. All three come from the run
//! itself, by the fit with the least absolute residuals over the moments of driving, so that the moments of a spin
//! hardly count; no mass, travel or pinion is needed. What is left between fit and revs is the scatter: corners that
//! scrub, the road, a current that was read at another moment.
//!
//! The current is the row's own as far as it goes: where the recorder takes it late or as a mean, the log says so
//! itself ([`crate::recorder`]); where it holds it over several rows, the pack's voltage shows how it moved in between.
//!
//! Wrong where the wheels spin most of the time that the motor drives, and for a motor that brakes against the
//! throttle.

use std::f64::consts::TAU;

use nalgebra::Vector3;

use crate::log::{Channel, Log};
use crate::motor::{self, Motor};
use crate::recorder::CurrentTaking;
use crate::statistics::integral::{integral_between, running_integral};
use crate::statistics::least_absolute::least_absolute;
use crate::statistics::quantiles::{median_step, quantile, robust_deviation};

/// Share of the rows that must have volts and amperes. Common practice, no source.
const KNOWN: f64 = 0.9;
/// Half the time over which a rate of the revs is taken, s; a row at least.
const HALF_WINDOW_S: f64 = 0.1;
/// Quantile of the current that counts as the highest.
const HIGHEST: f64 = 0.995;
/// Share of the highest current above which the motor pulls hard enough for the fit, and above which it drives at all;
/// of the highest revs above which the car moves. Common practice, no source.
const PULLS: f64 = 0.15;
const DRIVES: f64 = 0.08;
/// Share of the highest current below which driven tyres hold: cornering takes of their grip, but not most of it.
/// Common practice, no source.
const HOLDS: f64 = 0.25;
const MOVES: f64 = 0.1;
/// Fewest moments of a fit.
const LEAST_MOMENTS: usize = 50;
/// The law must leave less than this share of the rates' scatter: else the current is not of the moment. A default.
const EXPLAINED: f64 = 0.7;
/// Half the time over which volts and amperes are taken together where the current is held, s; in rows at least.
const TOGETHER_S: f64 = 0.5;
const TOGETHER_ROWS: f64 = 3.0;
/// A held current lies between the readings of so many rows on either side.
const BETWEEN_ROWS: usize = 3;
/// A recorder takes the current at the row where its moment is less than this from it, in rows. A default.
const AT_THE_ROW: f64 = 0.3;

/// The motor's current from row to row.
#[derive(Debug, Clone, PartialEq)]
pub struct Pull {
    /// The motor.
    pub motor: Motor,
    /// Mean motor current since the row before, A.
    pub current: Vec<f64>,
}

impl Pull {
    /// The pull in the rows `kept` of a log, at `rpm`; `None` without a motor, or where too many volts or amperes are
    /// missing.
    pub fn new(log: &Log, kept: &[usize], rpm: &[f64]) -> Option<Self> {
        let motor = motor::motor(log)?;
        let channel = |channel: Channel| log.channel(channel).map(|values| kept.iter().map(|&n| values[n]).collect());
        let (volts, amps): (Vec<f64>, Vec<f64>) = (channel(Channel::Voltage)?, channel(Channel::Current)?);
        let time: Vec<f64> = kept.iter().map(|&n| log.time()[n]).collect();
        let known = (0..kept.len()).filter(|&n| volts[n].is_finite() && amps[n].is_finite()).count();
        if (known as f64) < KNOWN * kept.len() as f64 {
            return None;
        }
        let omega: Vec<f64> = rpm.iter().map(|n| n * TAU / 60.0).collect();
        let idle = motor::idle_power(&volts, &amps, &omega);
        let mean = between_rows(&time, &volts, &amps);
        let mut current = vec![0.0];
        let (mut volt, mut ampere) = (0.0, 0.0);
        for n in 1..kept.len() {
            volt = if volts[n].is_finite() { volts[n] } else { volt };
            ampere = if mean[n].is_finite() { mean[n] } else { ampere };
            let turning = (omega[n - 1] + omega[n]) / 2.0;
            current.push(motor.current(turning, volt * ampere - idle));
        }
        Some(Self { motor, current })
    }
}

/// Mean current since the row before, A, as far as the recorder lets it be told.
fn between_rows(time: &[f64], volts: &[f64], amps: &[f64]) -> Vec<f64> {
    let plain = || (0..amps.len()).map(|n| (amps[n.saturating_sub(1)] + amps[n]) / 2.0).collect();
    let Some(taking) = CurrentTaking::new(time, volts, amps) else { return plain() };
    let step_s = median_step(time).unwrap_or(f64::INFINITY);
    let is_held = (taking.rows.len() as f64) < KNOWN * amps.len() as f64;
    if is_held {
        return by_volts(time, volts, amps, step_s);
    }
    if taking.width_s == 0.0 && taking.late_s.value.abs() < AT_THE_ROW * step_s {
        return plain();
    }
    let gathered = taking.gathered(time, amps);
    let rate = |n: usize| (gathered[n] - gathered[n - 1]) / (time[n] - time[n - 1]);
    (0..amps.len()).map(|n| if n == 0 { amps[0] } else { rate(n) }).collect()
}

/// The current since the row before where readings are held: their own mean over a second, and within it what the
/// voltage's fall says, no farther than the readings around.
fn by_volts(time: &[f64], volts: &[f64], amps: &[f64], step_s: f64) -> Vec<f64> {
    let reach = TOGETHER_S.max(TOGETHER_ROWS * step_s);
    let (volts, amps) = (whole(volts), whole(amps));
    let smooth = |values: &[f64], half: f64| -> Vec<f64> {
        let sums = running_integral(time, values);
        let (first, last) = (time[0], time[time.len() - 1]);
        let ends = |t: f64| ((t - half).max(first), (t + half).min(last));
        time.iter().map(|&t| integral_between(&sums, time, ends(t).0, ends(t).1) / (ends(t).1 - ends(t).0)).collect()
    };
    let (slow_volts, slow_amps) = (smooth(&volts, reach), smooth(&amps, reach));
    // Over half a second and more it does not matter when the current was read.
    let band = |values: &[f64], slow: &[f64]| -> Vec<f64> {
        smooth(values, reach / 2.0).iter().zip(slow).map(|(v, s)| v - s).collect()
    };
    let wide = |values: &[f64]| smooth(values, 4.0 * reach);
    let (fall, rise) = (band(&volts, &wide(&volts)), band(&amps, &wide(&amps)));
    let (products, squares) =
        fall.iter().zip(&rise).fold((0.0, 0.0), |(p, s), (fall, rise)| (p - fall * rise, s + rise * rise));
    if products <= 0.0 {
        return amps;
    }
    let siemens = squares / products;
    let row = |n: usize| {
        let near = &amps[n.saturating_sub(BETWEEN_ROWS)..(n + BETWEEN_ROWS + 1).min(amps.len())];
        let (low, high) = near.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), a| (l.min(*a), h.max(*a)));
        (slow_amps[n] + siemens * (slow_volts[n] - volts[n])).clamp(low, high)
    };
    let rows: Vec<f64> = (0..amps.len()).map(row).collect();
    (0..rows.len()).map(|n| (rows[n.saturating_sub(1)] + rows[n]) / 2.0).collect()
}

/// The values with missing cells held from before.
fn whole(values: &[f64]) -> Vec<f64> {
    let mut last = values.iter().copied().find(|v| v.is_finite()).unwrap_or(0.0);
    let hold = |v: &f64| {
        last = if v.is_finite() { *v } else { last };
        last
    };
    values.iter().map(hold).collect()
}

/// The moments of a run that the law is made of and held against.
#[derive(Debug, Clone)]
pub struct Moments {
    /// Row of the odometer of each moment.
    pub rows: Vec<usize>,
    /// Time, s.
    pub time: Vec<f64>,
    /// Wheels' revs, turns a minute.
    pub revs: Vec<f64>,
    /// Mean motor current since the moment before, A.
    pub current: Vec<f64>,
    /// Change of the revs over the moments around, turns a minute each second.
    rates: Vec<f64>,
    /// Mean motor current over the same time, A.
    around: Vec<f64>,
    /// Highest current, A.
    strongest: f64,
    /// Highest revs, turns a minute.
    pub top: f64,
}

/// How fast the revs rise by the motor's pull while the tyres grip, in turns a minute each second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    /// For each ampere of motor current.
    per_ampere: f64,
    /// Less this, and this at the highest revs, with the revs squared.
    rest: f64,
    drag: f64,
    top: f64,
    /// Standard deviation of the rates about the law.
    pub scatter: f64,
    /// Rise that nine in ten rises while the motor pulls hard stay below.
    pub rise: f64,
    /// The same of the falls while it does not drive.
    pub fall: f64,
}

impl Moments {
    /// Moments about `apart_s` apart, or every row where rows are farther apart.
    pub fn new(time: &[f64], revs: &[f64], pull: &Pull, apart_s: f64) -> Option<Self> {
        let step_s = median_step(time).filter(|s| *s > 0.0)?;
        let every = ((apart_s / step_s).round() as usize).max(1);
        let rows: Vec<usize> = (0..time.len()).step_by(every).collect();
        // A value holds since the row before, so that means between rows are plain sums.
        let mut sum = 0.0;
        let gather = |n: usize| {
            sum += if n > 0 { pull.current[n] * (time[n] - time[n - 1]) } else { 0.0 };
            sum
        };
        let amps: Vec<f64> = (0..time.len()).map(gather).collect();
        let since = |n: usize| match n {
            0 => 0.0,
            n => (amps[rows[n]] - amps[rows[n - 1]]) / (time[rows[n]] - time[rows[n - 1]]),
        };
        let at: Vec<f64> = rows.iter().map(|&n| time[n]).collect();
        let shown: Vec<f64> = rows.iter().map(|&n| revs[n]).collect();
        let reach = ((HALF_WINDOW_S / (every as f64 * step_s)).round() as usize).max(1);
        let ends = |n: usize| (n.saturating_sub(reach), (n + reach).min(rows.len() - 1));
        let over = |sums: &dyn Fn(usize) -> f64, n: usize| {
            let (from, to) = ends(n);
            (sums(to) - sums(from)) / (at[to] - at[from]).max(f64::MIN_POSITIVE)
        };
        Some(Self {
            rates: (0..rows.len()).map(|n| over(&|m| shown[m], n)).collect(),
            around: (0..rows.len()).map(|n| over(&|m| amps[rows[m]], n)).collect(),
            strongest: quantile(pull.current.iter().copied(), HIGHEST)?,
            top: revs.iter().copied().fold(0.0, f64::max),
            time: at,
            revs: shown,
            current: (0..rows.len()).map(since).collect(),
            rows,
        })
    }

    /// Whether the motor drives between moment `n` and the one before.
    pub fn drives(&self, n: usize) -> bool {
        self.current[n] > DRIVES * self.strongest
    }

    /// Whether the motor pulls hard enough between moment `n` and the one before to make tyres slip.
    pub fn may_slip(&self, n: usize) -> bool {
        self.current[n] > HOLDS * self.strongest
    }

    /// The law of the moments in which the tyres are known or thought to grip; `None` for too few.
    pub fn law(&self, grips: impl Fn(usize) -> bool) -> Option<Law> {
        let moves = |n: &usize| self.revs[*n] > MOVES * self.top;
        let pulling: Vec<usize> = (0..self.revs.len())
            .filter(|n| moves(n) && self.around[*n] > PULLS * self.strongest && grips(*n))
            .collect();
        if pulling.len() < LEAST_MOMENTS {
            return None;
        }
        let x = |n: usize| Vector3::new(self.around[n], -1.0, -(self.revs[n] / self.top).powi(2));
        let rows: Vec<_> = pulling.iter().map(|&n| (x(n), self.rates[n])).collect();
        let best = least_absolute(&rows)?;
        let left: Vec<f64> = rows.iter().map(|(x, rate)| rate - x.dot(&best)).collect();
        let as_they_are = robust_deviation(&rows.iter().map(|(_, rate)| *rate).collect::<Vec<_>>())?;
        let rise = quantile(pulling.iter().map(|&n| self.rates[n]).filter(|r| *r > 0.0), 0.9)?;
        let slowing = |n: &usize| moves(n) && !self.drives(*n) && self.rates[*n] < 0.0;
        let fall = quantile((0..self.revs.len()).filter(slowing).map(|n| -self.rates[n]), 0.9);
        Some(Law {
            per_ampere: best[0],
            rest: best[1],
            drag: best[2],
            top: self.top,
            scatter: robust_deviation(&left)?,
            rise,
            fall: fall.unwrap_or(f64::INFINITY),
        })
        .filter(|law| law.per_ampere > 0.0 && law.scatter < EXPLAINED * as_they_are)
    }
}

impl Law {
    /// Rise of the car's revs at a motor current (A) and revs, turns a minute each second.
    pub fn rate(&self, current: f64, revs: f64) -> f64 {
        self.pull(current) - self.rest - self.drag * (revs / self.top).powi(2)
    }

    /// The part of it that the motor makes.
    pub fn pull(&self, current: f64) -> f64 {
        self.per_ampere * current
    }
}
