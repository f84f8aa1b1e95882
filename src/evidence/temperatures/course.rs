//! A run's two temperatures and the load on them in equal steps of time, as the checks look at them.
//!
//! The load is the pack's current squared, relative to its mean while the car drives; without a current it is the
//! square of the revs; without revs too it is not known. The car drives where its revs are above a share of the
//! highest, and without revs where the load is above that share of its mean.

use std::ops::Range;

use crate::evidence::RunToWeigh;
use crate::log::{Channel, Log};
use crate::statistics::quantiles::{median, quantile};

/// Length of a step, s: short beside the time that a part takes to warm, long beside a row.
const STEP_S: f64 = 1.0;
/// Most steps: a log of hours has longer ones.
const MOST_STEPS: f64 = 20_000.0;
/// The car drives above this share of its highest revs. Common practice, no source.
const DRIVING: f64 = 0.1;
/// Revs that nearly all rows stay below: a single wrong row does not count.
const NEARLY_ALL: f64 = 0.99;
/// Standing for this long is a stop, s; shorter is a slow corner or a moment off the throttle.
const STOP_S: f64 = 3.0;
/// Time over which the load is averaged where the lap is not known, s.
const USUAL_LAP_S: f64 = 20.0;
/// A lap longer than this is not one to average over, s.
const LONGEST_LAP_S: f64 = 45.0;
/// Share of the changes below the one that tells how finely a sensor reads: a rare rounding does not count.
const SMALLEST: f64 = 0.05;
/// Changes below this are rounding, °C.
const NO_CHANGE_K: f64 = 1e-6;
/// Step of a sensor that never changed and has no other beside it, °C: whole degrees, the coarsest in use (common
/// practice, no source).
pub(super) const COARSEST_K: f64 = 1.0;

/// One sensor's readings.
#[derive(Debug, Clone)]
pub(super) struct Readings {
    /// Mean of each step, °C; NaN where there is none.
    pub celsius: Vec<f64>,
    /// Smallest change of the sensor, °C; `None` where it never changed.
    pub quantum: Option<f64>,
    /// Typical change from a row to the next beyond the smallest change, °C.
    pub row_noise_k: f64,
}

/// A run in steps.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// Length of a step, s.
    pub step_s: f64,
    /// Load of each step, averaged over a lap, relative to its mean while driving; `None` where it is not known.
    pub load: Option<Vec<f64>>,
    /// Whether the car drives; short pauses count as driving.
    pub drives: Vec<bool>,
    /// The time over which laps are averaged out, s.
    pub lap_s: f64,
    /// Motor and controller.
    pub sensors: [Option<Readings>; 2],
}

impl Course {
    /// The course of a run.
    pub fn new(run: &RunToWeigh) -> Self {
        let (log, time) = (run.log, run.log.time());
        let (end_s, rate_hz) = (time.last().copied().unwrap_or(0.0), run.log.reading.rate_hz);
        let row_s = if rate_hz > 0.0 { 1.0 / rate_hz } else { STEP_S };
        let step_s = STEP_S.max(row_s).max(end_s / MOST_STEPS);
        let steps = (end_s / step_s).floor() as usize + 1;
        let lap_s = run.laps.median_s().filter(|lap| *lap <= LONGEST_LAP_S).unwrap_or(USUAL_LAP_S);
        let of = |values: &[f64]| stepped(time, values.iter().copied(), step_s, steps);
        let revs = log.channel(Channel::Rpm).map(of);
        let current = log
            .channel(Channel::Current)
            .map(|amps| stepped(time, amps.iter().map(|i| i * i), step_s, steps))
            .filter(|squares| squares.iter().any(|s| *s > 0.0));
        let load = current.or_else(|| revs.as_ref().map(|revs| revs.iter().map(|r| r * r).collect()));
        let threshold = |values: &[f64]| quantile(values.iter().copied(), NEARLY_ALL).map(|most| DRIVING * most);
        let moving = revs.as_ref().or(load.as_ref()).and_then(|values| {
            let least = threshold(values)?;
            Some(values.iter().map(|v| *v > least).collect::<Vec<bool>>())
        });
        let drives = without_pauses(moving.unwrap_or_else(|| vec![false; steps]), (STOP_S / step_s).ceil() as usize);
        let load = load.and_then(|load| relative(&load, &drives, (lap_s / step_s).round() as usize));
        let sensors = [Channel::MotorTemperature, Channel::ControllerTemperature]
            .map(|channel| readings(log, channel, step_s, steps));
        Self { step_s, load, drives, lap_s, sensors }
    }

    /// Log time of the middle of a step, s.
    pub fn time_s(&self, step: usize) -> f64 {
        (step as f64 + 0.5) * self.step_s
    }

    /// How many steps a time takes.
    pub fn steps(&self, seconds: f64) -> usize {
        (seconds / self.step_s).round() as usize
    }

    /// How long the car drives in a part of the run, s.
    pub fn driven_s(&self, steps: Range<usize>) -> f64 {
        self.drives[steps].iter().filter(|d| **d).count() as f64 * self.step_s
    }

    /// The smallest change of a sensor, °C; that of the other where it never changed.
    pub fn quantum(&self, sensor: usize) -> f64 {
        let of = |index: usize| self.sensors[index].as_ref().and_then(|s| s.quantum);
        of(sensor).or(of(1 - sensor)).unwrap_or(COARSEST_K)
    }
}

/// The readings of a channel, each the middle one of three rows: a single wrong row is not a temperature.
fn readings(log: &Log, channel: Channel, step_s: f64, steps: usize) -> Option<Readings> {
    let values = log.channel(channel)?;
    if !values.iter().any(|v| v.is_finite()) {
        return None;
    }
    let middle = |n: usize| {
        let (before, own, after) = (values[n.saturating_sub(1)], values[n], values[(n + 1).min(values.len() - 1)]);
        if before.is_nan() || after.is_nan() { own } else { own.clamp(before.min(after), before.max(after)) }
    };
    let celsius = stepped(log.time(), (0..values.len()).map(middle), step_s, steps);
    let mut changes: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| d.is_finite()).collect();
    let typical = median(changes.iter().copied()).unwrap_or(0.0);
    changes.retain(|d| *d > NO_CHANGE_K);
    let quantum = quantile(changes, SMALLEST);
    Some(Readings { celsius, quantum, row_noise_k: (typical - quantum.unwrap_or(0.0)).max(0.0) })
}

/// Means over equal steps of time; NaN for a step without a value.
fn stepped(time: &[f64], values: impl Iterator<Item = f64>, step_s: f64, steps: usize) -> Vec<f64> {
    let mut sums = vec![(0.0, 0u32); steps];
    for (t, v) in time.iter().zip(values).filter(|(_, v)| v.is_finite()) {
        if let Some((sum, count)) = sums.get_mut((t / step_s) as usize) {
            *sum += v;
            *count += 1;
        }
    }
    sums.into_iter().map(|(sum, count)| if count > 0 { sum / f64::from(count) } else { f64::NAN }).collect()
}

/// Fills pauses shorter than `stop` steps between steps in which the car drives.
fn without_pauses(mut drives: Vec<bool>, stop: usize) -> Vec<bool> {
    let mut last = None;
    for step in 0..drives.len() {
        if drives[step] {
            if let Some(last) = last
                && step - last <= stop
            {
                drives[last..step].fill(true);
            }
            last = Some(step);
        }
    }
    drives
}

/// The load averaged over `lap` steps, relative to its mean while driving; `None` without any.
fn relative(load: &[f64], drives: &[bool], lap: usize) -> Option<Vec<f64>> {
    let driven = || load.iter().zip(drives).filter(|(l, d)| **d && l.is_finite()).map(|(l, _)| *l);
    let mean = driven().sum::<f64>() / driven().count() as f64;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let mut sums = vec![0.0];
    for value in load {
        sums.push(sums[sums.len() - 1] + if value.is_finite() { *value } else { mean });
    }
    let half = lap / 2;
    let around = |step: usize| {
        let (from, to) = (step.saturating_sub(half), (step + half + 1).min(load.len()));
        (sums[to] - sums[from]) / (to - from) as f64 / mean
    };
    Some((0..load.len()).map(around).collect())
}
