//! Did the power reach the ground?
//!
//! Driving slip = (wheel speed − car speed) / wheel speed (ISO 8855's driving slip in its wheel-based form, wording from
//! memory); an event is slip above 0.20 for 0.1 s or more while the car moves at 1 m/s or more, and it starts and ends where slip
//! crosses 0.20 (straight between rows).
//!
//! Wheel speed and car speed both come from the motor's revs. With the tyres gripping, revs change only as fast as the car's
//! mass lets them: the rate that one rise in ten reaches, and a quarter more, is taken for the run's own limit. Past it the
//! wheels spin, and the car's speed is a straight line from before the spin to where the revs have come down to it
//! (`laps::grip`). Wheels that lock under braking fall faster than braking can make them and come
//! back up to the car's speed: that is none. A ground-speed channel, where there is one, is not used yet.
//!
//! Wrong where the wheels spin for more than a tenth of all the time the car gathers speed (the limit is then too high), and
//! where slip grows so slowly past the limit of grip that the revs never rise faster than usual.
//!
//! ```
//! use runtrue::laps::odometer::Odometer;
//! // Revs that rise by 100 a row, but for six rows at twice the car's speed.
//! let time: Vec<f64> = (0..200).map(|n| f64::from(n) * 0.05).collect();
//! let rpm: Vec<f64> = (0..200).map(|n| f64::from(n) * 100.0 * if (100..106).contains(&n) { 2.0 } else { 1.0 }).collect();
//! let wheels = Odometer::from_rows(time, rpm).unwrap();
//! let slip = 1.0 - wheels.gripped().rpm_at(5.1) / wheels.rpm_at(5.1);
//! assert!(slip > 0.4 && slip < 0.55);
//! ```

use schemars::JsonSchema;
use serde::Serialize;

use crate::laps::odometer::Odometer;
use crate::laps::{Lap, Laps, grip};

/// Slip from which wheels count as spinning.
pub const SPINNING: f64 = 0.20;
/// Driven tyres that grip slip some per cent, and the car's speed is bridged from wheels that coast to wheels that drive: half of this
/// is missing from the slip in the middle. Common practice, no source; full-size tyres grip best at 0.1 to 0.2.
const DRIVE_SLIP: f64 = 0.04;
const SEEN: f64 = SPINNING - DRIVE_SLIP / 2.0;
/// Shortest event, s.
const SHORTEST_S: f64 = 0.1;
/// Car speed from which an event counts, m/s; without a known travel for a turn, this share of the highest revs.
const MOVING_M_S: f64 = 1.0;
const MOVING_SHARE: f64 = 0.05;
/// Below this rate an event of a tenth of a second falls between two rows.
const LEAST_RATE_HZ: f64 = 8.0;

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
    /// Of the time between the first and the last lap line.
    pub share: Option<f64>,
    /// The events.
    pub events: Vec<Event>,
    /// Seconds of each lap with any.
    pub by_lap: Vec<SpunLap>,
    /// Why it cannot be told.
    pub why: Option<String>,
}

/// Finds the wheelspin of a run; `rate_hz` is the log's, `rollout_mm` the car's travel for a motor turn where it is known.
pub fn measure(laps: &Laps, rate_hz: f64, rollout_mm: Option<f64>) -> Wheelspin {
    let unknown = |why: &str| Wheelspin {
        can_tell: false,
        seconds: None,
        share: None,
        events: Vec::new(),
        by_lap: Vec::new(),
        why: Some(why.to_owned()),
    };
    let (Some(wheels), Some(car)) = (&laps.odometer, &laps.gripped) else { return unknown("the log has no revs") };
    if rate_hz < LEAST_RATE_HZ {
        return unknown(&format!(
            "{rate_hz:.1} rows a second are too few: a spin of a tenth of a second falls between two rows"
        ));
    }
    if !car.has_ground() && grip::noise_hides(wheels) {
        return unknown("the revs jump from row to row by more than a spinning wheel would make them");
    }
    let highest = car.rows().1.iter().copied().fold(0.0, f64::max);
    let moving = rollout_mm.map_or(MOVING_SHARE * highest, |mm| MOVING_M_S * 60_000.0 / mm);
    let mut events = spins(wheels, car, moving);
    for event in &mut events {
        if let Some(lap) = laps.rows.iter().find(|l| (l.start_s..l.end_s).contains(&event.start_s)) {
            event.lap = Some(lap.number);
            event.lap_fraction = Some((wheels.turns_at(event.start_s) - wheels.turns_at(lap.start_s)) / lap.turns);
        }
    }
    let seconds = events.iter().fold(0.0, |sum, e| sum + e.end_s - e.start_s);
    let inside = |e: &Event, from: f64, to: f64| (e.end_s.min(to) - e.start_s.max(from)).max(0.0);
    let of_lap = |lap: &Lap| SpunLap {
        lap: lap.number,
        seconds: events.iter().map(|e| inside(e, lap.start_s, lap.end_s)).fold(0.0, |sum, s| sum + s),
    };
    let by_lap = laps.rows.iter().map(of_lap).filter(|l| l.seconds > 0.0).collect();
    let share = laps.rows.first().zip(laps.rows.last()).map(|(first, last)| {
        events.iter().map(|e| inside(e, first.start_s, last.end_s)).fold(0.0, |sum, s| sum + s)
            / (last.end_s - first.start_s)
    });
    Wheelspin { can_tell: true, seconds: Some(seconds), share, events, by_lap, why: None }
}

/// Stretches where the wheels turn faster than the car by the slip that counts.
fn spins(wheels: &Odometer, car: &Odometer, moving: f64) -> Vec<Event> {
    let measured = car.has_ground();
    let ((time, wheel), (_, car)) = (wheels.rows(), car.rows());
    let slip = |n: usize| if wheel[n] > 0.0 && car[n] >= moving { (wheel[n] - car[n]) / wheel[n] } else { 0.0 };
    let mut events = Vec::new();
    let mut open: Option<(f64, f64)> = None;
    let seen = if measured { SPINNING } else { SEEN };
    for n in 1..time.len() {
        let (before, now) = (slip(n - 1), slip(n));
        let crossing = time[n - 1] + (time[n] - time[n - 1]) * ((seen - before) / (now - before)).clamp(0.0, 1.0);
        if before <= seen && now > seen {
            open = Some((crossing, now));
        } else if let (Some((start, peak)), true) = (open, before > seen && now <= seen) {
            if crossing - start >= SHORTEST_S {
                events.push(Event { start_s: start, end_s: crossing, lap: None, lap_fraction: None, peak_slip: peak });
            }
            open = None;
        } else if let Some((_, peak)) = &mut open {
            *peak = peak.max(now);
        }
    }
    events
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Revs of a car that gathers and loses speed evenly, 20 rows a second, with `change` on the rows.
    fn wheels(change: impl Fn(usize, f64) -> f64) -> Odometer {
        let time: Vec<f64> = (0..2000).map(|n| n as f64 * 0.05).collect();
        // Up for three seconds, down for two: 10 000 to 40 000 turns a minute.
        let rpm = (0..2000).map(|n| {
            let at = n % 100;
            change(n, if at < 60 { 10_000.0 + 500.0 * at as f64 } else { 40_000.0 - 750.0 * (at - 60) as f64 })
        });
        Odometer::from_rows(time, rpm.collect()).unwrap()
    }

    fn found(wheels: &Odometer) -> Vec<(f64, f64)> {
        spins(wheels, &wheels.gripped(), 500.0).into_iter().map(|e| (e.start_s, e.end_s)).collect()
    }

    #[test]
    fn wheels_that_lock_under_braking_are_no_spin() {
        let locked = wheels(|n, rpm| if n % 100 > 70 && n % 100 < 77 { 0.1 * rpm } else { rpm });
        assert_eq!(found(&locked), []);
    }

    #[test]
    fn wheels_that_spin_up_are_one() {
        let spun = wheels(|n, rpm| if (520..526).contains(&n) { 1.6 * rpm } else { rpm });
        let events = found(&spun);
        assert_eq!(events.len(), 1, "{events:?}");
        // From between rows 519 and 520 to between rows 525 and 526.
        assert!((events[0].0 - 25.98).abs() < 0.03 && (events[0].1 - 26.28).abs() < 0.03, "{events:?}");
    }
}
