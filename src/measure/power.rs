//! Where is the power?
//!
//! - Highest revs, and the car's top speed: revs without wheelspin × travel for a motor turn on the track, else the
//!   rollout by the sheet; the ground speed where the log has it.
//! - Mean and peak electrical power from the pack, V·I.
//! - Pull by speed: the envelope of the acceleration, the value that one driven row in ten exceeds, at the bottom, in
//!   the middle and at the top of the speeds. With a throttle channel that reaches full demand, the median of the rows
//!   at full demand; else, of the driven rows those around which the hand rests, where they are enough. A hand that opens
//!   winds up the tyres' slip, and the wheels then gather speed faster than the car: drag brake, which winds it the
//!   other way before, would pass for pull.
//! - Coasting ([`super::coasting`]): off throttle is read from the throttle channel. Without one, braking and coasting
//!   look alike in the current, and there is no figure.
//! - Share of the laps' time at full demand: by the throttle channel, else the rows in which the motor sees the pack's
//!   whole voltage.
//!
//! Intervals come from a jackknife over ten blocks of the run ([`crate::statistics::jackknife`]) and from the travel's
//! own uncertainty. Wrong where the travel is: all speeds are then off alike.

use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::coasting::coasting;
use super::context::RunContext;
use super::motion::{LONGEST_STEP_S, Motion};
use crate::evidence::{self, LAP_LENGTH, Subject};
use crate::laps::Laps;
use crate::log::{Channel, Log};
use crate::motor::Demand;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::reason::Reasons;
use crate::statistics::integral::{row_until, running_integral};
use crate::statistics::jackknife;
use crate::statistics::quantiles::{highest, quantile};

/// Throttle from which demand is full, %. Common practice, no source.
pub(super) const FULL_THROTTLE_PCT: f64 = 95.0;
/// Shares of the top speed in whose middle the pull is stated: bottom, middle and top.
const PULLS: [(f64, f64); 3] = [(0.25, 0.45), (0.50, 0.70), (0.75, 0.95)];
/// The same for the curve of the pull.
const CURVE: [(f64, f64); 8] =
    [(0.2, 0.3), (0.3, 0.4), (0.4, 0.5), (0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0)];
/// Share of the driven rows that lie below the envelope.
const ENVELOPE: f64 = 0.9;
/// Share of the top speed from which the car is near it, and quantile of the changes of speed there. Common practice,
/// no source.
const AT_TOP: f64 = 0.97;
const CHANGE_AT_TOP: f64 = 0.9;
/// The hand rests where it moves by less than this over the rows around, % of full throttle. A default.
const RESTS_PCT: f64 = 10.0;
/// Fewest rows of a figure, and blocks for its interval.
const LEAST_ROWS: usize = 30;
const BLOCKS: usize = 10;

/// Why a figure of the power is missing.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// No speeds.
    NoSpeed,
    /// No electrical power.
    NoPower,
    /// No coasting without a throttle channel.
    NoThrottle,
    /// Too few rows coast.
    SeldomCoasts,
    /// No pull by speed.
    NoPull,
    /// No share of the time at full demand.
    NoFullDemand,
    /// Something that it needs cannot be true.
    Unusable(evidence::Why),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Unusable(why) => return why.fmt(f),
            Self::NoSpeed => "speeds need revs, and the lap length or the gearing and the tyre",
            Self::NoPower => "power needs voltage and current",
            Self::NoThrottle => "coasting needs a throttle channel: without one, braking and coasting look alike",
            Self::SeldomCoasts => "the car coasts too seldom to tell how fast it slows",
            Self::NoPull => "the log has too few rows, or too few that pull, to tell the pull by speed",
            Self::NoFullDemand => {
                "time at full throttle needs a throttle channel, or rows where the motor gets the full battery voltage"
            }
        })
    }
}

/// Pull at a speed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "Pull")]
pub struct PullAtSpeed {
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
    /// The same where the wheels grip, turns a minute.
    pub gripping_rpm: Option<f64>,
    /// The car's top speed, m/s.
    pub top_speed_m_s: Option<f64>,
    /// The same with its interval.
    pub top_speed_range_m_s: Option<Estimate>,
    /// Mean electrical power over the laps (without laps, over the log), W.
    pub mean_w: Option<f64>,
    /// Highest electrical power, W.
    pub peak_w: Option<f64>,
    /// Pull by speed: bottom, middle, top.
    pub pull: Vec<PullAtSpeed>,
    /// Pull in the middle of the speeds, to compare runs by: none where too few rows pull there, whatever there is
    /// below and above, and where the tyres' slip may be in it.
    #[serde(skip)]
    pub middle_pull_m_s2: Option<Estimate>,
    /// Pull at more speeds, for its curve.
    pub pull_by_speed: Vec<PullAtSpeed>,
    /// Deceleration off throttle, m/s².
    pub coast_m_s2: Option<Estimate>,
    /// Share of the laps' time at full demand.
    pub full_demand_share: Option<f64>,
    /// Why a figure is missing.
    pub why: Option<Reasons<Why>>,
}

/// Measures the power of a run.
pub fn measure(run: &RunContext) -> Power {
    let (log, motion) = (run.log, run.motion.as_ref());
    let top = motion.and_then(top_speed);
    let pack = log.channel(Channel::Voltage).zip(log.channel(Channel::Current));
    let watts: Option<Vec<f64>> = pack.map(|(v, i)| v.iter().zip(i).map(|(v, i)| v * i).collect());
    let throttle = log.channel(Channel::Throttle);
    let coast_m_s2 = motion.zip(throttle).and_then(|(m, t)| coasting(m, t));
    let pull = motion.map_or_else(Vec::new, |m| pulls(m, throttle, &PULLS));
    let full = full_rows(throttle, run.demand.as_ref());
    let seldom_coasts = throttle.is_some() && coast_m_s2.is_none() && motion.is_some();
    let named = |needed: &[Subject], missing: Why| run.refusal(needed).map_or(missing, Why::Unusable);
    let missing = [
        (top.is_none(), named(&[Subject::Channel(Channel::Rpm), Subject::Setting(LAP_LENGTH)], Why::NoSpeed)),
        (
            watts.is_none(),
            named(&[Subject::Channel(Channel::Voltage), Subject::Channel(Channel::Current)], Why::NoPower),
        ),
        (throttle.is_none(), Why::NoThrottle),
        (seldom_coasts, Why::SeldomCoasts),
        (pull.is_empty() && motion.is_some(), Why::NoPull),
        (full.is_none(), Why::NoFullDemand),
    ];
    let revs = log.channel(Channel::Rpm);
    Power {
        top_rpm: revs.and_then(highest),
        gripping_rpm: revs.and_then(|revs| motion.map_or_else(|| highest(revs), |m| highest(&m.where_grips(revs)))),
        top_speed_m_s: top.map(|t| t.value),
        top_speed_range_m_s: top,
        mean_w: watts.as_ref().and_then(|w| mean_over_laps(log, run.laps, w)),
        peak_w: watts.as_deref().and_then(highest),
        pull,
        middle_pull_m_s2: motion.and_then(|m| middle_pull(m, throttle)),
        pull_by_speed: motion.map_or_else(Vec::new, |m| pulls(m, throttle, &CURVE)),
        coast_m_s2,
        full_demand_share: full.and_then(|f| mean_over_laps(log, run.laps, &f)),
        why: Reasons::new(missing.into_iter().filter_map(|(is_missing, why)| is_missing.then_some(why)).collect()),
    }
}

fn top_speed(motion: &Motion) -> Option<Estimate> {
    let top = motion.top_speed()?;
    // The fastest row need not be the fastest moment: half a row's change is uncertain.
    let near = motion.acceleration.iter().zip(&motion.speed).filter(|(_, v)| **v > AT_TOP * top);
    let missed = quantile(near.map(|(a, _)| a.abs()), CHANGE_AT_TOP).unwrap_or(0.0) * motion.step_s / 2.0;
    // Driven wheels are faster than the car by more than the mean slip that is in the travel.
    let slip = motion.top_slip - motion.mean_slip;
    let half = (COVERAGE_95 * motion.travel_m.relative_u() * top).hypot(missed).hypot(motion.top_slip * top / 2.0);
    Some(Estimate::from_half_width(top * (1.0 - slip), half))
}

/// Mean of a row's value from the first to the last passing; without laps over the whole log.
fn mean_over_laps(log: &Log, laps: &Laps, values: &[f64]) -> Option<f64> {
    let (time, end) = (log.time(), log.reading.duration_s);
    let span = match (laps.rows.first(), laps.rows.last()) {
        (Some(first), Some(last)) => (first.start_s, last.end_s.min(end)),
        _ => (0.0, end),
    };
    let sums = running_integral(time, values);
    let (from, to) = (row_until(time, span.0), row_until(time, span.1));
    (to > from).then(|| (sums[to] - sums[from]) / (time[to] - time[from]))
}

/// 1 for each row at full demand, 0 for the others; `None` where the log does not tell.
fn full_rows(throttle: Option<&[f64]>, demand: Option<&Demand>) -> Option<Vec<f64>> {
    let one = |full: bool| f64::from(u8::from(full));
    match (throttle, demand) {
        (Some(t), _) => Some(t.iter().map(|t| one(*t >= FULL_THROTTLE_PCT)).collect()),
        (None, Some(d)) if d.motor.at_full_demand => Some(d.full.iter().map(|f| one(*f)).collect()),
        _ => None,
    }
}

/// Pull in the middle of each of these shares of the top speed.
fn pulls(motion: &Motion, throttle: Option<&[f64]>, shares: &[(f64, f64)]) -> Vec<PullAtSpeed> {
    shares.iter().filter_map(|between| pull(motion, throttle, *between)).map(|(pull, _)| pull).collect()
}

/// Pull in the middle of the speeds, where the tyres' slip is not in it.
fn middle_pull(motion: &Motion, throttle: Option<&[f64]>) -> Option<Estimate> {
    pull(motion, throttle, PULLS[1]).filter(|(_, is_the_cars)| *is_the_cars).map(|(pull, _)| pull.acceleration_m_s2)
}

/// Pull in the middle of two shares of the top speed, and whether it is the car's: a throttle channel that does not
/// rest while the car pulls leaves open how much of it is slip that is wound up.
fn pull(motion: &Motion, throttle: Option<&[f64]>, (from, to): (f64, f64)) -> Option<(PullAtSpeed, bool)> {
    let top = motion.top_speed().filter(|_| motion.step_s <= LONGEST_STEP_S)?;
    let last = motion.time.len().checked_sub(1)?;
    let full = |n: usize| throttle.is_some_and(|t| t[n] >= FULL_THROTTLE_PCT);
    let rests = |n: usize| {
        let around = (n.saturating_sub(motion.reach), (n + motion.reach).min(last));
        throttle.is_none_or(|t| (t[around.1] - t[around.0]).abs() < RESTS_PCT)
    };
    let near = |n: &usize| (from * top..to * top).contains(&motion.speed[*n]) && motion.grips[*n];
    let rows: Vec<usize> = (0..=last).filter(near).filter(|n| motion.acceleration[*n] > 0.0).collect();
    let only = |chosen: &dyn Fn(usize) -> bool| rows.iter().copied().filter(|n| chosen(*n)).collect::<Vec<usize>>();
    let (at_full, resting) = (only(&full), only(&rests));
    let enough = |rows: &Vec<usize>| rows.len() >= LEAST_ROWS;
    let is_the_cars = enough(&at_full) || enough(&resting);
    let (rows, share) = if enough(&at_full) {
        (at_full, 0.5)
    } else if enough(&resting) {
        (resting, ENVELOPE)
    } else {
        (rows, ENVELOPE)
    };
    let values: Vec<f64> = rows.iter().map(|n| motion.acceleration[*n]).collect();
    let acceleration_m_s2 = quantile_of_rows(&values, share, motion.travel_m.relative_u())?;
    Some((PullAtSpeed { speed_m_s: (from + to) / 2.0 * top, acceleration_m_s2 }, is_the_cars))
}

/// A quantile of rows in order with its interval: from the quantile without each block in turn, and from a relative
/// standard uncertainty that all rows share.
fn quantile_of_rows(rows: &[f64], share: f64, shared_u: f64) -> Option<Estimate> {
    if rows.len() < LEAST_ROWS {
        return None;
    }
    let figure = |rows: &[f64]| quantile(rows.iter().copied(), share);
    let value = figure(rows)?;
    let half = jackknife::half_width_95(&jackknife::without_each_block(rows, BLOCKS, figure));
    Some(Estimate::from_half_width(value, half.hypot(COVERAGE_95 * shared_u * value)))
}
