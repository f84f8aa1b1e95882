//! What another pinion does to the lap time: each lap driven anew with the other ratio, row by row over the same way.
//!
//! Where the motor was the limit (full demand, the tyres grip), the car gains speed by what the motor pulls at the other
//! ratio: the change of the squared speed that was seen, and twice the change of the pull over the way, v·dv = a·ds.
//! Where the grip held it back, it gains speed as it did. In a corner the speed that was driven is the highest: a car
//! that comes there slower gains on it by all that the motor still has. A car that rolls is slowed by the motor more or
//! less as the ratio has it. One that brakes does it to the same speed: later where it is slower, earlier where it is
//! faster, as hard as it was seen to brake. The time is the sum of way / speed: a quasi-steady lap (textbook; Milliken
//! and Milliken 1995, 9, from memory).
//!
//! Wrong where the driver would take another line, and where the controller limits the current.

use super::motion::Motion;
use super::over_the_way::{squared_after, time_over};
use super::pinion::{BRAKING, PullModel};
use crate::laps::Laps;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::quantiles::{median, median_u};

/// Share of the counted laps' rows at full demand below which the motor never was the limit. Common practice, no source:
/// a moment of full throttle a lap.
const LEAST_FULL: f64 = 0.02;
/// Share of a change of the lap time that is open as a 95 % half width: what the driver makes of more or less pull, and
/// how well the pull is known. A default, no source.
const OPEN_SHARE: f64 = 0.35;
/// How much the driver's own braking and corner speeds may move the lap time with the ratio, as a 95 % half width: share
/// of the lap for a ratio that is as much again. A default (common practice, no source): 0.2 % of a lap for a tooth of
/// 3 %, since brakes and throttle work through the ratio too.
const DRIVER_SHARE: f64 = 0.06;
/// And the least, s: a lap that is driven anew is never better known than the rows tell it.
const LEAST_HALF_S: f64 = 0.004;
/// A car without current that slows by this share of its hardest braking brakes; else it rolls. Common practice, no
/// source.
const BRAKES_HARD: f64 = 0.7;
/// Share of what slows a rolling car that is the motor's (drag brake, magnets, bearings): it goes with the ratio by a
/// power between 1 and 2. A default, no source.
const MOTOR_DRAG: f64 = 0.5;
/// Below this share of it the car rolls.
const ROLLS: f64 = 0.05;
/// Ratios that differ by less, relative, are of the same gears.
const SAME_RATIO: f64 = 1e-9;
/// Slower than this, m/s, a row tells nothing of a lap: the car stands.
const STANDS_M_S: f64 = 0.5;

/// Why no lap time can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLapTime {
    /// The motor never was the limit: another pinion changes no lap time that the log can foresee.
    NeverTheLimit,
    /// No lap could be driven anew.
    NoLap,
}

/// What held the car back in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Limit {
    /// The motor gave all it has.
    Motor,
    /// The grip: the car gains speed by less than the motor has.
    Grip,
    /// A corner: the driver holds a speed.
    Corner,
    /// Neither motor nor brakes.
    Rolls,
    /// The brakes.
    Brakes,
    /// A spin, or a row without a reading.
    Unknown,
}

/// Speeds at a moment within a row, as multiples of the speed that was seen at its start: the one seen then, and the one
/// driven anew.
#[derive(Debug, Clone, Copy)]
struct Moment {
    seen: f64,
    now: f64,
}

impl PullModel<'_> {
    /// Change of the median lap with the ratio multiplied by `g`, s.
    ///
    /// # Errors
    /// [`NoLapTime`] where the motor was not seen at full demand on the laps, or no lap has all of its rows.
    pub fn lap_time_change(&self, laps: &Laps, g: f64) -> Result<Estimate, NoLapTime> {
        let spans = self.spans(laps);
        let (Some(&(first, _)), Some(&(_, last))) = (spans.first(), spans.last()) else {
            return Err(NoLapTime::NoLap);
        };
        let rows: usize = spans.iter().map(|(from, to)| to - from).sum();
        let full = spans.iter().flat_map(|&(from, to)| from..to).filter(|&n| self.limit(n) == Limit::Motor).count();
        if !self.demand.motor.at_full_demand || (full as f64) < LEAST_FULL * rows as f64 {
            return Err(NoLapTime::NeverTheLimit);
        }
        if (g - 1.0).abs() < SAME_RATIO {
            return Ok(Estimate::from_half_width(0.0, 0.0));
        }
        let squared = self.driven_anew(first..last, g);
        let of_lap = |&(from, to): &(usize, usize)| -> Option<f64> {
            (from..to).map(|n| self.time_change(n, [squared[n - first], squared[n + 1 - first]])).sum()
        };
        let changes: Vec<f64> = spans.iter().filter_map(of_lap).filter(|c| c.is_finite()).collect();
        let change = median(changes.iter().copied()).ok_or(NoLapTime::NoLap)?;
        let scatter = median_u(&changes).unwrap_or(0.0);
        let driver = DRIVER_SHARE * (g - 1.0).abs() * laps.median_s().unwrap_or(0.0);
        let half = (COVERAGE_95 * scatter).hypot(OPEN_SHARE * change).hypot(driver).hypot(LEAST_HALF_S);
        Ok(Estimate::from_half_width(change, half))
    }

    /// First row and the one after the last of each lap that counts.
    pub(super) fn spans(&self, laps: &Laps) -> Vec<(usize, usize)> {
        let time = &self.motion.time;
        let row_from = |at: f64| time.partition_point(|&t| t < at).min(time.len() - 1);
        laps.counted().map(|lap| (row_from(lap.start_s), row_from(lap.end_s))).collect()
    }

    /// What held the car back in row `n`.
    pub(super) fn limit(&self, n: usize) -> Limit {
        let (now, most) = (self.demand.current[n], self.full_current(n, 1.0, 1.0));
        let acceleration = self.motion.acceleration[n];
        if !self.motion.grips[n] || !acceleration.is_finite() || !now.is_finite() {
            Limit::Unknown
        } else if self.full[n] {
            Limit::Motor
        } else if now > ROLLS * most {
            if acceleration > BRAKING { Limit::Grip } else { Limit::Corner }
        } else if acceleration < -BRAKES_HARD * self.brakes {
            Limit::Brakes
        } else {
            Limit::Rolls
        }
    }

    /// The squared speed at each row and after the last, driven with the ratio multiplied by `g`: forwards by what
    /// pulls, then backwards by what brakes.
    pub(super) fn driven_anew(&self, rows: std::ops::Range<usize>, g: f64) -> Vec<f64> {
        let Motion { speed, time, .. } = self.motion;
        let way = |n: usize| speed[n] * (time[n + 1] - time[n]);
        let mut squared = vec![speed[rows.start].powi(2)];
        for n in rows.clone() {
            let (old, next_old) = (speed[n].powi(2), speed[n + 1].powi(2));
            let now = squared[n - rows.start];
            if !now.is_finite() || !way(n).is_finite() {
                squared.push(next_old);
                continue;
            }
            let carried = now + next_old - old;
            let limit = self.limit(n);
            let row = |share: f64, squared: f64| Moment {
                seen: if old > 0.0 { ((old + share * (next_old - old)).max(0.0) / old).sqrt() } else { 1.0 },
                now: if old > 0.0 { (squared.max(0.0) / old).sqrt() } else { 1.0 },
            };
            let anew = |pull: &dyn Fn(Moment) -> f64| {
                squared_after(now, way(n), |share, squared| {
                    (next_old - old) / (2.0 * way(n)) + pull(row(share, squared))
                })
            };
            let next = match limit {
                _ if way(n) <= 0.0 => carried,
                Limit::Motor | Limit::Grip => anew(&|moment| self.more_pull(n, limit, g, moment)),
                Limit::Rolls => carried - 2.0 * way(n) * self.more_drag(n, g),
                Limit::Unknown => carried,
                Limit::Corner if now < old => {
                    let pull = |share: f64, squared: f64| self.whole_pull(n, g, row(share, squared));
                    squared_after(now, way(n), pull).max(carried).min(next_old)
                }
                Limit::Brakes => now.min(next_old),
                Limit::Corner => next_old,
            };
            squared.push(next.max(0.0));
        }
        for n in rows.clone().rev() {
            let at = n - rows.start;
            let seen = (speed[n].powi(2) - speed[n + 1].powi(2)) / 2.0;
            let braking = (self.brakes * way(n)).max(seen);
            if braking.is_finite() {
                squared[at] = squared[at].min(squared[at + 1] + 2.0 * braking);
            }
        }
        squared
    }

    /// What the other ratio adds to the acceleration in a row in which the car gains speed, m/s². The grip bears no more
    /// push than it was seen to: there just what the motor no longer has is missing.
    fn more_pull(&self, n: usize, limit: Limit, g: f64, moment: Moment) -> f64 {
        let now = self.demand.current[n];
        let current = if limit == Limit::Motor {
            self.current_of_full_row(n, g, moment.seen, moment.now)
        } else {
            self.full_current(n, g, moment.now).min(now / g)
        };
        let pushed = self.per_ampere * (g * current - now);
        let drag = self.per_square * self.motion.speed[n].powi(2) * (moment.now.powi(2) - moment.seen.powi(2));
        let rotor = if limit == Limit::Motor { self.rotor(n, g) } else { 0.0 };
        let more = pushed + rotor - drag;
        if more.is_finite() { more } else { 0.0 }
    }

    /// The acceleration with all that the motor has at the other ratio, m/s².
    fn whole_pull(&self, n: usize, g: f64, moment: Moment) -> f64 {
        let pull = self.per_ampere * g * self.full_current(n, g, moment.now).min(self.ceiling / g)
            - self.per_square * (self.motion.speed[n] * moment.now).powi(2)
            - self.rolling;
        if pull.is_finite() { pull } else { 0.0 }
    }

    /// What the motor slows a rolling car more at the other ratio, m/s².
    fn more_drag(&self, n: usize, g: f64) -> f64 {
        let slows = -self.motion.acceleration[n].min(0.0);
        MOTOR_DRAG * slows * (g * g - 1.0) / 2.0
    }

    /// What a row takes longer with the squared speeds at its ends, s.
    fn time_change(&self, n: usize, squared: [f64; 2]) -> Option<f64> {
        let Motion { speed, time, .. } = self.motion;
        let seen = [speed[n].powi(2), speed[n + 1].powi(2)];
        let stands = |ends: [f64; 2]| ends.iter().all(|squared| *squared <= STANDS_M_S * STANDS_M_S);
        if stands(seen) || stands(squared) || seen.iter().any(|end| !end.is_finite()) {
            return seen.iter().all(|end| end.is_finite()).then_some(0.0);
        }
        Some((time[n + 1] - time[n]) * (time_over(1.0, squared) / time_over(1.0, seen) - 1.0))
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::laps::{Lap, Source};
    use crate::measure::motion::Motion;
    use crate::measure::pinion::Pack;
    use crate::motor::{Demand, Motor};
    use crate::quantity::Uncertain;

    /// Torque falls in a straight line with the speed: at the car's own ratio it gains `PULL` m/s² at rest and nothing at
    /// `FREE` m/s.
    const PULL: f64 = 12.0;
    const FREE: f64 = 22.0;
    /// Speed out of the corner, m/s, way to the next, m, and how hard the car brakes, m/s².
    const CORNER: f64 = 6.0;
    const STRAIGHT: f64 = 40.0;
    const BRAKE: f64 = 30.0;
    const RATE_HZ: f64 = 200.0;
    const MOTOR: Motor = Motor { constant: 0.004, resistance: 0.03, at_full_demand: true };
    const VOLTS: f64 = 7.4;

    /// Speed after `t` seconds of full demand from `from` with the ratio multiplied by `g`, and the way until then: from
    /// dv/dt = a0·g·(1 − g·v/v0), as any textbook on mechanics has it (from memory).
    fn pulled(from: f64, g: f64, t: f64) -> (f64, f64) {
        let (free, rate) = (FREE / g, PULL * g * g / FREE);
        let speed = free - (free - from) * (-rate * t).exp();
        (speed, free * t - (speed - from) / rate)
    }

    /// When the car brakes on the straight, so that it is back at the corner's speed at its end, and how long it takes
    /// over all of it, s.
    fn straight(g: f64) -> (f64, f64) {
        let (mut early, mut late) = (0.0, 10.0);
        for _ in 0..80 {
            let t = (early + late) / 2.0;
            let (speed, way) = pulled(CORNER, g, t);
            let ends = way + (speed * speed - CORNER * CORNER) / (2.0 * BRAKE);
            if ends < STRAIGHT { early = t } else { late = t }
        }
        (early, early + (pulled(CORNER, g, early).0 - CORNER) / BRAKE)
    }

    /// A standing start, then laps of one straight.
    struct Track {
        motion: Motion,
        demand: Demand,
        laps: Laps,
    }

    impl Track {
        fn driven() -> Self {
            let (lift, whole) = straight(1.0);
            let launch = FREE / PULL * (FREE / (FREE - CORNER)).ln();
            let state = |at: f64| {
                if at < launch {
                    return (pulled(0.0, 1.0, at).0, true);
                }
                let t = (at - launch) % whole;
                if t < lift {
                    (pulled(CORNER, 1.0, t).0, true)
                } else {
                    (pulled(CORNER, 1.0, lift).0 - BRAKE * (t - lift), false)
                }
            };
            let time: Vec<f64> = (0..(RATE_HZ * (launch + 8.0 * whole)) as usize).map(|n| n as f64 / RATE_HZ).collect();
            let states: Vec<(f64, bool)> = time.iter().map(|t| state(*t)).collect();
            let speed: Vec<f64> = states.iter().map(|s| s.0).collect();
            let turns = VOLTS / MOTOR.constant / FREE;
            let omega: Vec<f64> = speed.iter().map(|v| v * turns).collect();
            let full: Vec<bool> = states.iter().map(|s| s.1).collect();
            let current =
                omega.iter().zip(&full).map(|(w, full)| if *full { MOTOR.full_current(*w, VOLTS) } else { 0.0 });
            let current: Vec<f64> = current.collect();
            let gains = |s: &(f64, bool)| if s.1 { PULL * (1.0 - s.0 / FREE) } else { -BRAKE };
            let motion = Motion {
                acceleration: states.iter().map(gains).collect(),
                grips: vec![true; time.len()],
                speed,
                step_s: RATE_HZ.recip(),
                reach: 1,
                travel_m: Uncertain::new(TAU / turns, 0.0),
                full_slip: 0.0,
                top_slip: 0.0,
                mean_slip: 0.0,
                lap_tops: Vec::new(),
                time,
            };
            let lap = |number: u32| Lap {
                number,
                start_s: launch + whole * f64::from(number),
                end_s: launch + whole * f64::from(number + 1),
                turns: 0.0,
                clock_scale: 1.0,
                set_aside: None,
            };
            let laps = Laps {
                source: Source::List,
                first_passing: None,
                rows: (1..7).map(lap).collect(),
                odometer: None,
                gripped: None,
                places: None,
                line_shared: false,
                alignment: None,
                list: None,
                clock_scale: None,
                notices: Vec::new(),
            };
            Self { motion, demand: Demand { motor: MOTOR, current, omega, full }, laps }
        }

        /// Change of the lap time with the ratio multiplied by `g`, s, of a rotor without inertia.
        fn change(&self, g: f64) -> f64 {
            let volts = vec![VOLTS; self.motion.time.len()];
            let pack = Pack { volts: &volts, amps: &self.demand.current, ohm: 0.0 };
            let mut model = PullModel::fit(&self.demand, &self.motion, &pack, None, None).unwrap();
            model.rotor_share = 0.0;
            model.lap_time_change(&self.laps, g).unwrap().value
        }
    }

    #[test]
    fn a_straight_under_linear_torque_takes_what_the_closed_form_says() {
        let track = Track::driven();
        let own = straight(1.0).1;
        for g in [0.85, 0.94, 0.97, 1.03, 1.06, 1.15, 1.25] {
            let (found, truth) = (track.change(g), straight(g).1 - own);
            assert!((found - truth).abs() < 1e-3 * own, "{g}: {found:+.5} s for {truth:+.5} of {own:.3}");
        }
    }

    #[test]
    fn the_best_pinion_is_that_of_the_closed_form() {
        // Spur 90: teeth around the 30 that are on the car.
        let track = Track::driven();
        let best = |lap: &dyn Fn(f64) -> f64| {
            let all = 20..=36u32;
            all.min_by(|a, b| lap(30.0 / f64::from(*a)).total_cmp(&lap(30.0 / f64::from(*b)))).unwrap()
        };
        let by_closed_form = best(&|g| straight(g).1);
        assert!((21..=35).contains(&by_closed_form), "{by_closed_form}");
        assert_eq!(best(&|g| if g == 1.0 { 0.0 } else { track.change(g) }), by_closed_form);
    }
}
