//! Did the power reach the ground?
//!
//! Driving slip = (wheel speed − car speed) / wheel speed (ISO 8855's driving slip in its wheel-based form, wording
//! from memory). A wheelspin is slip above 0.20 for 0.1 s or more while the car moves at 1 m/s or more; it starts and
//! ends where slip crosses 0.20 (in a straight line between rows).
//!
//! The wheel speed comes from the motor's revs. The car's speed comes from the ground-speed channel where the log has
//! one ([`super::slip_over_ground`]); else from the revs too, by what the motor pulls or by what grip allows
//! ([`crate::laps::grip`]): if the wheels gain speed that the motor's pull cannot have given the car, or faster than
//! they usually do, they are spinning. Wheels that lock under braking are not spinning. A spin counts where its slip is
//! above the bound by more than the car's speed is in doubt.
//!
//! Without a ground speed it is wrong where the wheels spin for most of the time in which the motor drives; without
//! volts and amperes, where they spin for more than a tenth of the time in which the car gains speed, and where slip
//! grows so slowly past the limit of grip that the revs never rise faster than usual.

use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::context::RunContext;
use super::slip_over_ground::{MOVING_M_S, Rows, SHORTEST_S, SPINNING, Stretch};
use crate::evidence::{self, Subject};
use crate::laps::ground::Ground;
use crate::laps::odometer::Odometer;
use crate::laps::{Lap, grip};
use crate::log::Channel;
use crate::reason::Reasons;
use crate::statistics::above::{Above, above};

/// Slip of driven tyres that grip, on average where a spin begins and ends. The car is drawn from there, so that this
/// is missing from the slip in between. Common practice, no source; full-size tyres grip best at 0.1 to 0.2.
const DRIVE_SLIP: f64 = 0.01;
/// Slip from which wheels count as spinning where the car's speed is drawn from the revs.
const SPINNING_BY_REVS: f64 = SPINNING - DRIVE_SLIP;
/// Without a known travel for a turn an event counts from this share of the highest revs.
const MOVING_SHARE: f64 = 0.05;
/// Standard uncertainties of the slip by which a spin must be above the bound. A default: one in six by chance, and few
/// slips end just below it.
const DOUBTS: f64 = 1.0;
/// A usual spin, s, at a usual share of the highest revs: where even one of twice the slip that counts is in doubt,
/// none can be told. Common practice, no source.
const USUAL_S: f64 = 0.3;
const USUAL_SHARE: f64 = 0.4;
/// Rows a second below which a spin of a tenth of a second falls between two rows.
const LEAST_RATE_HZ: f64 = 8.0;

/// Why wheelspin cannot be told.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The log has no revs.
    NoRevs,
    /// Too few rows a second: so many.
    TooFewRows(f64),
    /// Noise in the revs hides it.
    Noise,
    /// The revs cannot be true.
    Unusable(evidence::Why),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRevs => f.write_str("the log has no revs"),
            Self::TooFewRows(rate_hz) => {
                write!(f, "{rate_hz:.1} rows a second are too few: a short spin falls between two rows")
            }
            Self::Unusable(why) => why.fmt(f),
            Self::Noise => f.write_str("the revs jump from row to row by more than a spinning wheel would make them"),
        }
    }
}

/// One stretch of wheelspin.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Event {
    /// Log time of its start, s.
    pub start_s: f64,
    /// Log time of its end, s.
    pub end_s: f64,
    /// Lap, from 1; `null` outside the laps.
    pub lap: Option<u32>,
    /// Where on the lap it starts, as a share of its motor turns.
    pub lap_fraction: Option<f64>,
    /// Highest slip.
    pub peak_slip: f64,
}

/// Wheelspin of a lap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct SpunLap {
    /// Lap, from 1.
    pub lap: u32,
    /// Time of its events, s; one that crosses the line counts for either lap with its part.
    pub seconds: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Wheelspin {
    /// Whether the log can tell.
    pub can_tell: bool,
    /// Time of all events, s.
    pub seconds: Option<f64>,
    /// Their share of the time between the first and the last passing.
    pub share: Option<f64>,
    /// The events.
    pub events: Vec<Event>,
    /// Seconds of each lap with any.
    pub by_lap: Vec<SpunLap>,
    /// Why it cannot be told.
    pub why: Option<Reasons<Why>>,
}

impl Wheelspin {
    fn unknown(why: Why) -> Self {
        let (events, by_lap) = (Vec::new(), Vec::new());
        Self { can_tell: false, seconds: None, share: None, events, by_lap, why: Some(why.into()) }
    }
}

/// Finds the wheelspin of a run.
pub fn measure(run: &RunContext) -> Wheelspin {
    let laps = run.laps;
    if let Some(refused) = run.refusal(&[Subject::Channel(Channel::Rpm)]) {
        return Wheelspin::unknown(Why::Unusable(refused));
    }
    let (Some(wheels), Some(car)) = (&laps.odometer, &laps.gripped) else { return Wheelspin::unknown(Why::NoRevs) };
    let rate_hz = run.log.reading.rate_hz;
    if rate_hz < LEAST_RATE_HZ {
        return Wheelspin::unknown(Why::TooFewRows(rate_hz));
    }
    let mut events = match wheels.ground() {
        Some(ground) => spins_over_ground(wheels, car, ground),
        None if hides_spins(wheels, car) => return Wheelspin::unknown(Why::Noise),
        None => {
            let moving_rpm = run.rollout_mm().map_or(MOVING_SHARE * car.highest_rpm(), |mm| MOVING_M_S * 60_000.0 / mm);
            spins(wheels, car, moving_rpm)
        }
    };
    for event in &mut events {
        if let Some(lap) = laps.rows.iter().find(|l| (l.start_s..l.end_s).contains(&event.start_s)) {
            event.lap = Some(lap.number);
            event.lap_fraction = Some((wheels.turns_at(event.start_s) - wheels.turns_at(lap.start_s)) / lap.turns);
        }
    }
    let by_lap = laps.rows.iter().map(|lap| spun_lap(&events, lap)).filter(|l| l.seconds > 0.0).collect();
    let share = laps
        .rows
        .first()
        .zip(laps.rows.last())
        .map(|(first, last)| seconds_between(&events, first.start_s, last.end_s) / (last.end_s - first.start_s));
    let seconds = events.iter().fold(0.0, |sum, e| sum + e.end_s - e.start_s);
    Wheelspin { can_tell: true, seconds: Some(seconds), share, events, by_lap, why: None }
}

/// Whether the car's speed is known too badly to tell a spin.
fn hides_spins(wheels: &Odometer, car: &Odometer) -> bool {
    let doubt = car.doubt_within(USUAL_S).unwrap_or(0.0);
    doubt / (USUAL_SHARE * car.highest_rpm()) > SPINNING || grip::noise_hides(wheels)
}

/// Time of the events between two moments, s.
fn seconds_between(events: &[Event], from: f64, to: f64) -> f64 {
    events.iter().fold(0.0, |sum, e| sum + (e.end_s.min(to) - e.start_s.max(from)).max(0.0))
}

fn spun_lap(events: &[Event], lap: &Lap) -> SpunLap {
    SpunLap { lap: lap.number, seconds: seconds_between(events, lap.start_s, lap.end_s) }
}

/// Stretches in which the wheels turn faster than the car moves over ground.
fn spins_over_ground(wheels: &Odometer, car: &Odometer, ground: &Ground) -> Vec<Event> {
    let ((time, revs), (_, car)) = (wheels.rows(), car.rows());
    let event =
        |Stretch { start_s, end_s, peak_slip }| Event { start_s, end_s, lap: None, lap_fraction: None, peak_slip };
    Rows { time, wheels: revs, car, ground }.stretches().into_iter().map(event).collect()
}

/// Stretches in which the wheels turn faster than the car by the slip that counts, while the car turns them by
/// `moving_rpm` or more.
fn spins(wheels: &Odometer, car: &Odometer, moving_rpm: f64) -> Vec<Event> {
    let ((time, wheel), (_, revs)) = (wheels.rows(), car.rows());
    let slip = |n: usize| if wheel[n] > 0.0 && revs[n] >= moving_rpm { (wheel[n] - revs[n]) / wheel[n] } else { 0.0 };
    let slip: Vec<f64> = (0..time.len()).map(slip).collect();
    // A spin that the log cuts counts for nothing: how long it lasted is not known.
    let spin = |Above { rows, from, until }| {
        let (start_s, end_s) = from.zip(until)?;
        let peak = rows.reduce(|peak, n| if slip[n] > slip[peak] { n } else { peak })?;
        let doubt = car.doubt_within(end_s - start_s).unwrap_or(0.0) / wheel[peak];
        let counts = end_s - start_s >= SHORTEST_S && slip[peak] > SPINNING_BY_REVS + DOUBTS * doubt;
        counts.then_some(Event { start_s, end_s, lap: None, lap_fraction: None, peak_slip: slip[peak] })
    };
    above(time, &slip, SPINNING_BY_REVS).into_iter().filter_map(spin).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Revs of a car that gathers and loses speed evenly, 20 rows a second, with `change` on the rows.
    fn wheels(change: impl Fn(usize, f64) -> f64) -> Odometer {
        let time: Vec<f64> = (0..2000).map(|n| n as f64 * 0.05).collect();
        // Up for three seconds, down for two: 10 000 to 40 000 turns a minute.
        let rpm = (0..2000).map(|n| {
            let row = n % 100;
            change(n, if row < 60 { 10_000.0 + 500.0 * row as f64 } else { 40_000.0 - 750.0 * (row - 60) as f64 })
        });
        Odometer::from_rows(time, rpm.collect()).unwrap()
    }

    fn found(wheels: &Odometer) -> Vec<(f64, f64)> {
        spins(wheels, &grip::car_odometer(wheels), 500.0).into_iter().map(|e| (e.start_s, e.end_s)).collect()
    }

    #[test]
    fn wheels_that_lock_under_braking_do_not_spin() {
        let locked = wheels(|n, rpm| if n % 100 > 70 && n % 100 < 77 { 0.1 * rpm } else { rpm });
        assert_eq!(found(&locked), []);
    }

    #[test]
    fn wheels_that_spin_up_do() {
        let spun = wheels(|n, rpm| if (520..526).contains(&n) { 1.6 * rpm } else { rpm });
        let events = found(&spun);
        assert_eq!(events.len(), 1, "{events:?}");
        // From between rows 519 and 520 to between rows 525 and 526.
        assert!((events[0].0 - 25.98).abs() < 0.03 && (events[0].1 - 26.28).abs() < 0.03, "{events:?}");
    }
}
