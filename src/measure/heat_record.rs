//! A run as the heat model sees it: temperature, load and airflow of a part in equal steps of time, relative to the
//! laps that count.
//!
//! The copper load is the motor current squared ([`crate::motor`]), not the battery's, which rises as the pack sags.
//! Without volts and amperes the load is taken as even. The loss that goes with the motor's speed is half friction and
//! hysteresis, which go with the speed, and half eddy currents, which go with its square (textbook), at the mean speed
//! of the laps.

use super::context::RunContext;
use super::hot_part::HotPart;
use crate::laps::Laps;
use crate::motor::{COPPER, WINDING_SHARE};
use crate::quantity::Uncertain;
use crate::statistics::integral::{row_until, running_integral};
use crate::statistics::mean::mean_and_deviation;
use crate::statistics::quantiles::median;

/// Shortest step of the record, s, and most steps.
const STEP_S: f64 = 2.0;
const MOST_STEPS: f64 = 600.0;
/// Standard uncertainty of the air on the sheet, °C: a thermometer's degree either way, evenly.
const AIR_U: f64 = 0.6;
/// Without the air on the sheet a part is taken to start this far above it, °C. Common practice, no source.
const START_ABOVE_AIR: Uncertain = Uncertain::new(4.0, 5.0);
/// Heat capacity of such a motor, J/°C: 0.17 to 0.2 kg at 450 to 500 J/(kg·°C). The heating that is expected from it
/// and from the resistance of the winding is uncertain by this share. Common practice, no source.
const MOTOR_J_K: f64 = 90.0;
const EXPECTED_U: f64 = 0.3;
/// How long before the first passing a record begins at most, s: a car that waits longer tells no more of a race.
/// A default.
const WAITS_S: f64 = 60.0;
/// Scatter of the load from lap to lap where there are no laps to tell it, relative. Common practice, no source.
const UNKNOWN_SCATTER: f64 = 0.2;
/// Steps between readings below this are none, °C.
const NO_STEP_K: f64 = 1e-6;
/// The smallest one in this many steps tells how finely the sensor reads.
const SMALLEST: usize = 10;

/// A run as the model sees it, in equal steps of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Length of a step, s.
    pub step_s: f64,
    /// Log time of the first step's start, s.
    pub start_s: f64,
    /// Copper load relative to the laps' mean.
    pub copper: Vec<f64>,
    /// Motor speed relative to the laps' mean.
    pub spin: Vec<f64>,
    /// Car speed relative to the laps' mean.
    pub flow: Vec<f64>,
    /// Readings, °C; NaN where missing.
    pub reading: Vec<f64>,
    /// Smallest step of the readings, °C.
    pub quantum: f64,
    /// Air, °C.
    pub air: Uncertain,
    /// Temperature coefficient of the loss, 1/K at 20 °C.
    pub coefficient: f64,
    /// Heating by copper loss that the measured resistance lets expect, K/s; `None` where it was not measured.
    pub expected: Prior,
}

/// What is known of a heating before a run is looked at, K/s.
pub type Prior = Option<Uncertain>;

/// How the copper loss grows with temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CopperLoss {
    /// Coefficient at the reference temperature, 1/K.
    pub(super) alpha: f64,
    /// Reference temperature, °C.
    pub(super) reference_c: f64,
}

impl CopperLoss {
    /// The loss at a temperature over that at the reference.
    pub(super) fn relative_at(&self, celsius: f64) -> f64 {
        1.0 + self.alpha * (celsius - self.reference_c)
    }
}

impl Record {
    /// The first reading, °C; the air where there is none.
    pub(super) fn first_reading(&self) -> f64 {
        self.reading.iter().copied().find(|r| r.is_finite()).unwrap_or(self.air.value)
    }

    /// Mean of the readings, °C: the temperature at which heating is stated.
    pub fn mean_reading(&self) -> f64 {
        let known = || self.reading.iter().copied().filter(|r| r.is_finite());
        known().sum::<f64>() / known().count() as f64
    }

    /// The copper loss about the mean reading.
    pub(super) fn copper_loss(&self) -> CopperLoss {
        let reference_c = self.mean_reading();
        CopperLoss { alpha: self.coefficient / (1.0 + self.coefficient * (reference_c - 20.0)), reference_c }
    }
}

/// The load of a run on its motor, over the laps that count.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Load {
    /// Mean copper load, A² (1 while driving, without a current).
    pub copper: f64,
    /// Mean motor speed, rad/s; 0 where volts, amperes or revs are missing.
    pub omega: f64,
    /// Standard deviation of a lap's copper load from lap to lap, relative; larger where a lap's load is like that of the
    /// lap before.
    pub scatter: f64,
    /// Of how many laps that is known.
    pub laps: usize,
}

/// The record of a part and the load on it; no record without readings or without a load.
pub(super) fn record(run: &RunContext, part: HotPart) -> (Option<Record>, Load) {
    let (time, laps, demand) = (run.log.time(), run.laps, run.demand.as_ref());
    let (Some(readings), Some(&end)) = (run.log.channel(part.channel()), time.last()) else {
        return (None, Load::default());
    };
    let of_motor = part == HotPart::Motor;
    let speed = laps.gripped.as_ref().map(|g| time.iter().map(|&t| g.rpm_at(t)).collect::<Vec<f64>>());
    let moving: Vec<f64> = match &speed {
        Some(speed) => speed.iter().map(|v| f64::from(u8::from(*v > 0.0))).collect(),
        None => vec![1.0; time.len()],
    };
    let copper: Vec<f64> = demand.map_or_else(|| moving.clone(), |d| d.current.iter().map(|i| i * i).collect());
    let mean = |values: &[f64]| over_laps(time, values, &moving, laps);
    let omega = demand.map_or(0.0, |d| mean(&d.omega).mean);
    let spin = demand.filter(|_| of_motor).map_or_else(|| moving.clone(), |d| speed_loss(&d.omega, omega));
    let flow = speed.as_ref().unwrap_or(&moving);
    let (of_copper, of_spin, of_flow) = (mean(&copper), mean(&spin), mean(flow));
    let load = Load { copper: of_copper.mean, omega, scatter: of_copper.scatter, laps: of_copper.laps };
    if of_copper.mean <= 0.0 || of_spin.mean <= 0.0 || of_flow.mean <= 0.0 {
        return (None, load);
    }
    // A car that stands after its laps cools, and tells nothing of a race.
    let end = if run.course.driven_to_s > 0.0 { end.min(run.course.driven_to_s) } else { end };
    let waits_from = run.course.first_s.map_or(0.0, |first| (first - WAITS_S).clamp(0.0, end));
    let rows = time.partition_point(|t| *t < waits_from)..time.partition_point(|t| *t <= end);
    let start_s = time.get(rows.start).copied().unwrap_or(0.0);
    let step_s = STEP_S.max((end - start_s) / MOST_STEPS);
    let steps = |values: &[f64]| stepped(&time[rows.clone()], &values[rows.clone()], start_s, step_s);
    let relative = |values: &[f64], mean: f64| {
        steps(values).into_iter().map(|v| if v.is_nan() { 1.0 } else { v / mean }).collect()
    };
    let start = readings.iter().copied().find(|r| r.is_finite()).unwrap_or(0.0);
    let unknown_air = Uncertain { value: start - START_ABOVE_AIR.value, ..START_ABOVE_AIR };
    let winding = demand.filter(|d| of_motor && d.motor.at_full_demand);
    let record = Record {
        step_s,
        start_s,
        copper: relative(&copper, of_copper.mean),
        spin: relative(&spin, of_spin.mean),
        flow: relative(flow, of_flow.mean),
        reading: steps(readings),
        quantum: quantum(readings),
        air: run.ambient_c.map_or(unknown_air, |air| Uncertain::new(air, AIR_U)),
        coefficient: if of_motor { COPPER } else { 0.0 },
        expected: winding
            .map(|d| Uncertain::relative(WINDING_SHARE * d.motor.resistance * of_copper.mean / MOTOR_J_K, EXPECTED_U)),
    };
    (Some(record), load)
}

/// Whether the air of a record is known, from the sheet or the log.
pub(super) fn knows_air(record: &Record) -> bool {
    record.air.standard_u < START_ABOVE_AIR.standard_u
}

/// The loss that goes with the motor's speed, relative to that at its mean over the laps.
fn speed_loss(omega: &[f64], mean: f64) -> Vec<f64> {
    omega.iter().map(|w| (w / mean + (w / mean).powi(2)) / 2.0).collect()
}

/// A row's value over the laps that count.
struct OverLaps {
    mean: f64,
    /// Standard deviation from lap to lap, relative.
    scatter: f64,
    laps: usize,
}

/// Mean of a row's value over the laps that count; with fewer than two of them over the time that the car moves.
fn over_laps(time: &[f64], values: &[f64], moving: &[f64], laps: &Laps) -> OverLaps {
    let sums = running_integral(time, values);
    let until = |t: f64| sums[row_until(time, t)];
    let each: Vec<f64> = laps.counted().map(|l| (until(l.end_s) - until(l.start_s)) / l.time_s()).collect();
    match mean_and_deviation(&each) {
        Some((mean, deviation)) => {
            let alike = like_the_lap_before(&each, mean).max(0.0);
            OverLaps { mean, scatter: deviation / mean * (1.0 + 2.0 * alike).sqrt(), laps: each.len() }
        }
        None => {
            let while_moving: Vec<f64> = values.iter().zip(moving).map(|(value, moves)| value * moves).collect();
            let whole = |values: &[f64]| running_integral(time, values).last().copied().unwrap_or(0.0);
            let mean = whole(&while_moving) / whole(moving).max(f64::MIN_POSITIVE);
            OverLaps { mean, scatter: UNKNOWN_SCATTER, laps: 1 }
        }
    }
}

/// Autocorrelation of the laps from one to the next. What laps that go together leave open of their mean is larger by
/// 1 + 2ρ (Bayley and Hammersley 1946, its first term).
fn like_the_lap_before(laps: &[f64], mean: f64) -> f64 {
    let together: f64 = laps.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum();
    let apart: f64 = laps.iter().map(|v| (v - mean).powi(2)).sum();
    if apart > 0.0 { together / apart } else { 0.0 }
}

/// Means over equal steps of time from `start_s` on; NaN for a step without a row.
fn stepped(time: &[f64], values: &[f64], start_s: f64, step_s: f64) -> Vec<f64> {
    let steps = time.last().map_or(0, |end| ((end - start_s) / step_s).floor() as usize).max(1);
    let mut sums = vec![(0.0, 0u32); steps];
    for (t, v) in time.iter().zip(values).filter(|(_, v)| v.is_finite()) {
        if let Some((sum, count)) = sums.get_mut(((t - start_s) / step_s) as usize) {
            *sum += v;
            *count += 1;
        }
    }
    sums.into_iter().map(|(sum, count)| if count > 0 { sum / f64::from(count) } else { f64::NAN }).collect()
}

/// Smallest step between readings that differ, °C; 0 where none do.
fn quantum(readings: &[f64]) -> f64 {
    let steps = readings.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > NO_STEP_K && d.is_finite());
    // The smallest steps of a reading in whole degrees are one degree; a rare rounding must not count.
    let mut steps: Vec<f64> = steps.collect();
    steps.sort_by(f64::total_cmp);
    median(steps.iter().copied().take(steps.len().div_ceil(SMALLEST))).unwrap_or(0.0)
}
