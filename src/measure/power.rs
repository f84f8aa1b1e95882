//! Where is the power?
//!
//! - Highest revs, and the car's top speed: revs without wheelspin × travel for a motor turn on the track, else the set rollout; the speed over
//!   ground where the log has it.
//! - Mean and peak electrical power from the pack, V·I.
//! - Pull by speed: the envelope of the acceleration, the value that one driven row in ten exceeds, at the bottom, in the middle and at the top
//!   of the speeds. With a throttle channel that reaches full demand, rows at full demand alone.
//! - Coasting: the median deceleration off throttle and off the brake between a quarter and three quarters of the top speed. Off throttle is
//!   read from the throttle channel. Without one, braking and coasting run into each other in the current, and the figure is left out.
//! - Share of the laps' time at full demand: by the throttle channel, else rows at which the motor sees the pack's whole voltage.
//!
//! Intervals come from parts of the run left out in turn (a jackknife over ten blocks; Quenouille 1956, Tukey 1958), since neighbouring rows
//! go together, and the travel's own doubt.

use schemars::JsonSchema;
use serde::Serialize;

use super::motion::{LONGEST_STEP_S, Motion};
use super::motor::Demand;
use crate::laps::Laps;
use crate::log::{Channel, Log};
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::integral::{row_until, running_integral};
use crate::statistics::jackknife;
use crate::statistics::quantiles::{highest, median, quantile};
use crate::statistics::straight_line::straight_line;

/// Throttle from which demand is full, %.
const FULL_PCT: f64 = 95.0;
/// Throttle up to which neither throttle nor brake is on, %: the least step of a recorder and a trim.
const OFF_PCT: f64 = 2.0;
/// Share of the top speed between which coasting is measured (`review.json`'s definition).
const COASTING: (f64, f64) = (0.25, 0.75);
/// Time over which the speed's change is taken, s.
const SPAN_S: f64 = 0.05;
/// Relative standard uncertainty of a deceleration for which rows count as coasting, and for corners that the car coasts through. Common practice, no
/// source: methods that were tried on one log differ by so much.
const COAST_U: f64 = 0.03;
/// Time in which driven tyres give their slip back after the lift, s. Common practice, no source.
const RELEASE_S: f64 = 0.1;
/// Shares of the top speed at whose middle the pull is stated: bottom, middle and top.
const PULLS: [(f64, f64); 3] = [(0.25, 0.45), (0.50, 0.70), (0.75, 0.95)];
/// The same for its curve.
const CURVE: [(f64, f64); 8] =
    [(0.2, 0.3), (0.3, 0.4), (0.4, 0.5), (0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0)];
/// Share of driven rows that the envelope lies above.
const ENVELOPE: f64 = 0.9;
/// Rows that a figure needs at least, and blocks for its doubt.
const LEAST_ROWS: usize = 30;
const BLOCKS: usize = 10;

/// Pull at a speed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Pull {
    /// Car speed, m/s.
    pub speed_m_s: f64,
    /// Acceleration at full demand, m/s².
    pub acceleration_m_s2: Estimate,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Power {
    /// Highest motor revs, wheelspin included, turns a minute.
    pub top_rpm: Option<f64>,
    /// The car's top speed, m/s.
    pub top_speed_m_s: Option<f64>,
    /// The same with its interval.
    pub top_speed_range_m_s: Option<Estimate>,
    /// Mean electrical power over the laps (without laps, over the log), W.
    pub mean_w: Option<f64>,
    /// Highest electrical power, W.
    pub peak_w: Option<f64>,
    /// Pull by speed: bottom, middle, top.
    pub pull: Vec<Pull>,
    /// Pull at more speeds, for its curve.
    pub pull_by_speed: Vec<Pull>,
    /// Deceleration off throttle, m/s².
    pub coast_m_s2: Option<Estimate>,
    /// Share of the laps' time at full demand.
    pub full_demand_share: Option<f64>,
    /// Why a figure is missing.
    pub why: Option<String>,
}

/// Reads the power's figures off the log.
pub fn measure(log: &Log, laps: &Laps, motion: Option<&Motion>, demand: Option<&Demand>) -> Power {
    let mut why = Vec::new();
    let top = motion.and_then(top_speed);
    if top.is_none() {
        why.push("speeds need revs and the lap length, or the gearing and the tyre");
    }
    let watts: Option<Vec<f64>> = log
        .channel(Channel::Voltage)
        .zip(log.channel(Channel::Current))
        .map(|(v, i)| v.iter().zip(i).map(|(v, i)| v * i).collect());
    if watts.is_none() {
        why.push("the power needs voltage and current");
    }
    let throttle = log.channel(Channel::Throttle);
    let coast_m_s2 = motion.zip(throttle).and_then(|(m, t)| coast(m, t));
    if throttle.is_none() {
        why.push("coasting needs a throttle channel: without one, braking and coasting look alike");
    } else if coast_m_s2.is_none() && motion.is_some() {
        why.push("the car coasts too seldom for a figure");
    }
    let pull: Vec<Pull> = motion.map_or_else(Vec::new, |m| pulls(m, throttle, &PULLS));
    if pull.is_empty() && motion.is_some() {
        why.push("too few rows pull, or they lie too far apart, for the pull by speed");
    }
    let full = full_rows(throttle, demand);
    if full.is_none() {
        why.push("full demand needs a throttle channel, or rows at the pack's whole voltage");
    }
    Power {
        top_rpm: log.channel(Channel::Rpm).and_then(highest),
        top_speed_m_s: top.map(|t| t.value),
        top_speed_range_m_s: top,
        mean_w: watts.as_ref().and_then(|w| mean_over_laps(log, laps, w)),
        peak_w: watts.as_deref().and_then(highest),
        pull,
        pull_by_speed: motion.map_or_else(Vec::new, |m| pulls(m, throttle, &CURVE)),
        coast_m_s2,
        full_demand_share: full.and_then(|f| mean_over_laps(log, laps, &f)),
        why: (!why.is_empty()).then(|| why.join("; ")),
    }
}

fn top_speed(motion: &Motion) -> Option<Estimate> {
    let top = motion.top_speed()?;
    // The fastest row need not be the fastest moment: half a row's change is open.
    let between = motion.acceleration.iter().zip(&motion.speed).filter(|(_, v)| **v > 0.97 * top);
    let missed = quantile(between.map(|(a, _)| a.abs()), 0.9).unwrap_or(0.0) * motion.step_s / 2.0;
    // Driven wheels are faster than the car by more than the mean slip that the travel holds.
    let slip = motion.top_slip - motion.mean_slip;
    let half = (COVERAGE_95 * motion.travel.1 * top).hypot(missed).hypot(motion.top_slip * top / 2.0);
    Some(Estimate::from_half_width(top * (1.0 - slip), half))
}

/// Mean of a row's value from the first to the last lap line; without laps over the log.
fn mean_over_laps(log: &Log, laps: &Laps, values: &[f64]) -> Option<f64> {
    let (time, end) = (log.time(), log.reading.duration_s);
    let span = match (laps.rows.first(), laps.rows.last()) {
        (Some(first), Some(last)) => (first.start_s, last.end_s.min(end)),
        _ => (0.0, end),
    };
    let sums = running_integral(time, values);
    let (a, b) = (row_until(time, span.0), row_until(time, span.1));
    (b > a).then(|| (sums[b] - sums[a]) / (time[b] - time[a]))
}

/// One for each row at full demand, else zero; `None` where nothing tells.
fn full_rows(throttle: Option<&[f64]>, demand: Option<&Demand>) -> Option<Vec<f64>> {
    let one = |full: bool| f64::from(u8::from(full));
    match (throttle, demand) {
        (Some(t), _) => Some(t.iter().map(|t| one(*t >= FULL_PCT)).collect()),
        (None, Some(d)) if d.motor.at_full_demand => Some(d.full.iter().map(|f| one(*f)).collect()),
        _ => None,
    }
}

/// Median deceleration off throttle and off the brake; `None` for too few rows.
fn coast(motion: &Motion, throttle: &[f64]) -> Option<Estimate> {
    let top = motion.top_speed()?;
    let (time, speed) = (&motion.time, &motion.speed);
    let (low, high) = (COASTING.0 * top, COASTING.1 * top);
    let step = motion.step_s;
    let span = ((SPAN_S / step).round() as usize).max(1);
    // From the row after the lift on: tyres that drove give their slip back at first.
    let before = ((RELEASE_S / step).round() as usize).max(1);
    let off = |n: usize| (n - before..=n + span).all(|row| throttle[row].abs() <= OFF_PCT);
    let near = |n: usize| (low..high).contains(&speed[n]) && time[n + span] - time[n] < 1.5 * span as f64 * step;
    let rows: Vec<(f64, f64)> = (before..time.len().saturating_sub(span))
        .filter(|&n| near(n) && off(n))
        .map(|n| ((speed[n] + speed[n + span]) / 2.0, (speed[n] - speed[n + span]) / (time[n + span] - time[n])))
        .filter(|r| r.1.is_finite())
        .collect();
    // The rows that can be used lie late in each stretch, where the car is slower: the figure is that of all of them.
    let all = (0..time.len()).filter(|&n| throttle[n].abs() <= OFF_PCT && (low..high).contains(&speed[n]));
    let middle = median(all.map(|n| speed[n]))?;
    let at_middle = |rows: &[(f64, f64)]| {
        let line = straight_line(rows.iter().copied());
        let level = median(rows.iter().map(|r| r.1 - line.slope * (r.0 - line.mean_x)))?;
        Some(level + line.slope * (middle - line.mean_x))
    };
    // Rolling wheels travel farther for a turn than driven ones.
    let rolling = 1.0 + motion.mean_slip;
    let e = estimate(&rows, at_middle, motion.travel.1.hypot(motion.mean_slip / 2.0).hypot(COAST_U))?;
    Some(e.scaled(rolling))
}

/// Pull in the middle of each of these shares of the top speed.
fn pulls(motion: &Motion, throttle: Option<&[f64]>, shares: &[(f64, f64)]) -> Vec<Pull> {
    let Some(top) = motion.top_speed().filter(|_| motion.step_s <= LONGEST_STEP_S) else { return Vec::new() };
    let full = |n: usize| throttle.is_some_and(|t| t[n] >= FULL_PCT);
    let of = |(from, to): (f64, f64)| {
        let near = |n: &usize| (from * top..to * top).contains(&motion.speed[*n]) && motion.grips[*n];
        let rows: Vec<usize> = (0..motion.time.len()).filter(near).filter(|n| motion.acceleration[*n] > 0.0).collect();
        let at_full: Vec<usize> = rows.iter().copied().filter(|n| full(*n)).collect();
        let (rows, share) = if at_full.len() >= LEAST_ROWS { (at_full, 0.5) } else { (rows, ENVELOPE) };
        let values: Vec<f64> = rows.iter().map(|n| motion.acceleration[*n]).collect();
        let acceleration_m_s2 = estimate(&values, |v| quantile(v.iter().copied(), share), motion.travel.1)?;
        Some(Pull { speed_m_s: (from + to) / 2.0 * top, acceleration_m_s2 })
    };
    shares.iter().filter_map(|s| of(*s)).collect()
}

/// A figure of rows in order with its interval: blocks left out in turn, and the travel's relative standard uncertainty.
fn estimate<T: Copy>(rows: &[T], figure: impl Fn(&[T]) -> Option<f64>, travel_u: f64) -> Option<Estimate> {
    if rows.len() < LEAST_ROWS {
        return None;
    }
    let value = figure(rows)?;
    let half = jackknife::half_width_95(&jackknife::without_each_block(rows, BLOCKS, figure));
    Some(Estimate::from_half_width(value, half.hypot(COVERAGE_95 * travel_u * value)))
}
