//! How fast the car slows off the throttle and off the brake.
//!
//! The median deceleration over all rows off throttle and brake between a quarter and three quarters of the top speed.
//! Each stretch of such rows has its straight line through the speeds, by least squares, from the moment on in which
//! driven tyres have given back their slip; a row's deceleration is that of its stretch, carried from the stretch's
//! mean speed to the row's own along the line of all stretches' decelerations over their speeds. A line through a
//! stretch does not mind a recorder's steps of the revs, as differences of neighbouring rows do.
//!
//! Wheels that drive or brake turn otherwise than they roll. The travel for a motor turn has the slip of driving in it;
//! that of braking goes with the force, by the slip of hard driving (a tyre that grips slips in proportion to its
//! force: Pacejka, Tire and Vehicle Dynamics, 1.2).
//!
//! Off throttle is read from the throttle channel. Rows of stretches that are too short for a line, in which the wheels
//! do not go with the car (they lock), or that stand out (a crash), are not seen: where they are a share u of all, the
//! median of all is somewhere between the quantiles ½ ± u/(2 − 2u) of those seen, as they may lie on either side
//! (Manski 2003, Partial Identification of Probability Distributions, 1.2); the interval has all of that in it, beside
//! the order statistics of a median of n stretches, the quantiles ½ ± 0.98/√n (David and Nagaraja, Order Statistics, 7.1,
//! from memory), and what the travel and the slip leave open. So a hand that now holds the speed and now lifts makes it
//! wide, as a jackknife of the median would not. Where most are not seen there is no figure.

use super::motion::Motion;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::quantiles::{median, quantile, robust_deviation};
use crate::statistics::straight_line::straight_line;

/// Throttle up to which neither throttle nor brake is on, %: the least step of a recorder and a trim. Common practice,
/// no source.
const OFF_PCT: f64 = 2.0;
/// Shares of the top speed between which coasting is measured (`review.json`'s definition).
const SPEEDS: (f64, f64) = (0.25, 0.75);
/// Time in which driven tyres give back their slip after the lift, s. Common practice, no source.
const RELEASE_S: f64 = 0.05;
/// Least time of a stretch whose line tells a deceleration, s. A default: in less, a recorder's steps hide it.
const LEAST_S: f64 = 0.05;
/// A step between rows that lasts this many times as long as the usual one has rows missing.
const ROWS_MISSING: f64 = 1.5;
/// Slack when times are compared, s.
const TIME_SLACK_S: f64 = 1e-6;
/// Stretches farther from the median than so many robust deviations stand out. A default.
const STANDS_OUT: f64 = 4.0;
/// The least deviation of stretches, as a share of their median, so that alike ones do not all stand out.
const LEAST_DEVIATION: f64 = 0.05;
/// Share of the coasting rows that must be seen. A default: with half of them the median may be any, and what a hand
/// that only crosses its middle does in between is not what the car does when it coasts.
const LEAST_SEEN: f64 = 0.75;
/// Fewest stretches of a figure.
const LEAST_STRETCHES: usize = 10;
/// Share of the force that slows a coasting car which goes through its driven tyres, and its standard uncertainty; air
/// and rolling have the rest. Common practice, no source.
const THROUGH_TYRES: (f64, f64) = (0.7, 0.2);
/// Quantile of the accelerations that counts as hard driving, to which the slip of the lifts belongs.
const HARD: f64 = 0.9;
/// Relative standard uncertainty for which rows count as coasting and for corners that the car coasts through. Common
/// practice, no source: methods that were tried on one log differ by this much.
const METHOD_U: f64 = 0.025;

/// A stretch of rows off throttle and brake.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    /// Its rows, the last one included.
    rows: (usize, usize),
    /// Mean speed of its line, m/s.
    speed: f64,
    /// Deceleration by its line, m/s²; NaN where it tells none.
    slows: f64,
}

/// Median deceleration off throttle and off the brake, m/s²; `None` where the car coasts too seldom or too briefly.
pub fn coasting(motion: &Motion, throttle: &[f64]) -> Option<Estimate> {
    let top = motion.top_speed()?;
    let counts = |n: usize| (SPEEDS.0 * top..SPEEDS.1 * top).contains(&motion.speed[n]);
    let all = stretches(motion, throttle);
    let coasting_rows: usize = all.iter().map(|s| (s.rows.0..=s.rows.1).filter(|n| counts(*n)).count()).sum();
    let told: Vec<Stretch> =
        all.into_iter().filter(|s| s.slows.is_finite() && (s.rows.0..=s.rows.1).any(counts)).collect();
    let slows: Vec<f64> = told.iter().map(|s| s.slows).collect();
    let usual = median(slows.iter().copied())?;
    let far = STANDS_OUT * robust_deviation(&slows)?.max(LEAST_DEVIATION * usual);
    let told: Vec<Stretch> = told.into_iter().filter(|s| (s.slows - usual).abs() < far).collect();
    let rows = rows_of(&told, motion, counts);
    let seen = rows.len() as f64 / coasting_rows.max(1) as f64;
    if told.len() < LEAST_STRETCHES || seen < LEAST_SEEN {
        return None;
    }
    let value = median(rows.iter().copied())?;
    let apart = (1.0 - seen) / (2.0 * seen);
    let [low, high] = [0.5 - apart, 0.5 + apart].map(|share| quantile(rows.iter().copied(), share).unwrap_or(value));
    let slip = braking_slip(motion, value);
    let relative_u = [motion.travel_m.relative_u(), motion.mean_slip / 2.0, slip.1, METHOD_U];
    let half = COVERAGE_95 * value * relative_u.iter().fold(0.0, |sum: f64, u| sum.hypot(*u));
    let [below, above] = median_within(&told);
    let low = value - half.hypot(value - low).hypot(below);
    let high = value + half.hypot(high - value).hypot(above);
    let found = Estimate { value, low, high };
    // Wheels that roll, or are braked, turn more slowly than driven ones at the same speed of the car.
    Some(found.scaled(1.0 + motion.mean_slip + slip.0))
}

/// All stretches off throttle and brake.
fn stretches(motion: &Motion, throttle: &[f64]) -> Vec<Stretch> {
    let (time, step) = (&motion.time, motion.step_s);
    let is_off = |n: usize| throttle[n].abs() <= OFF_PCT && motion.speed[n].is_finite();
    let goes_on = |n: usize| n + 1 < time.len() && is_off(n + 1) && time[n + 1] - time[n] < ROWS_MISSING * step;
    let mut stretches = Vec::new();
    let mut first = 0;
    while first < time.len() {
        let mut last = first;
        if is_off(first) {
            while goes_on(last) {
                last += 1;
            }
            let was_driven = first > 0 && throttle[first - 1] > OFF_PCT;
            stretches.push(stretch(motion, first, last, if was_driven { RELEASE_S } else { 0.0 }));
        }
        first = last + 1;
    }
    stretches
}

/// The stretch of these rows, from so long after the lift on, which is half way between its first row and the one
/// before.
fn stretch(motion: &Motion, first: usize, last: usize, release_s: f64) -> Stretch {
    let time = &motion.time;
    let lift = time[first] - motion.step_s / 2.0;
    let from = (first..=last).find(|&n| time[n] - lift >= release_s - TIME_SLACK_S).unwrap_or(last);
    let line = straight_line((from..=last).map(|n| (time[n], motion.speed[n])));
    let is_told = time[last] - time[from] >= LEAST_S - TIME_SLACK_S && (from..=last).all(|n| motion.grips[n]);
    Stretch { rows: (first, last), speed: line.mean_y, slows: if is_told { -line.slope } else { f64::NAN } }
}

/// Deceleration at each row of the stretches that `counts`, m/s².
fn rows_of(stretches: &[Stretch], motion: &Motion, counts: impl Fn(usize) -> bool) -> Vec<f64> {
    let weighted = stretches.iter().flat_map(|s| (s.rows.0..=s.rows.1).map(|_| (s.speed, s.slows)));
    let by_speed = straight_line(weighted).slope;
    let by_speed = if by_speed.is_finite() { by_speed } else { 0.0 };
    let row = |s: &Stretch, n: usize| s.slows + by_speed * (motion.speed[n] - s.speed);
    let of = |s: &Stretch| {
        let s = *s;
        (s.rows.0..=s.rows.1).filter(|n| counts(*n)).map(move |n| row(&s, n)).collect::<Vec<f64>>()
    };
    stretches.iter().flat_map(of).collect()
}

/// How far below and above the median of the stretches its 95 % interval reaches by their order, m/s²; the decelerations
/// are carried to one speed first.
fn median_within(stretches: &[Stretch]) -> [f64; 2] {
    let line = straight_line(stretches.iter().map(|s| (s.speed, s.slows)));
    let left: Vec<f64> = if line.xx > 0.0 {
        stretches.iter().map(|s| line.below(s.speed, s.slows)).collect()
    } else {
        stretches.iter().map(|s| s.slows).collect()
    };
    let apart = COVERAGE_95 / (2.0 * (left.len() as f64).sqrt());
    let at = |share: f64| quantile(left.iter().copied(), share).unwrap_or(0.0);
    [at(0.5) - at(0.5 - apart), at(0.5 + apart) - at(0.5)]
}

/// Slip of the tyres that the drag brake slows, as a share of the wheels' speed, with its standard uncertainty.
fn braking_slip(motion: &Motion, slows: f64) -> (f64, f64) {
    let pulls = motion.acceleration.iter().zip(&motion.grips).filter(|(a, grips)| **grips && **a > 0.0);
    let slip = quantile(pulls.map(|(a, _)| *a), HARD).map_or(0.0, |hard| motion.full_slip * slows / (hard + slows));
    (THROUGH_TYRES.0 * slip, THROUGH_TYRES.1 * slip)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Uncertain;

    /// Laps of 4 s, 20 rows a second: a second of full throttle, two at speed, one off; it slows as given.
    fn driven(slows: impl Fn(usize) -> f64, off_rows: usize) -> (Motion, Vec<f64>) {
        let (mut speed, mut throttle) = (Vec::new(), Vec::new());
        for lap in 0..30 {
            for row in 0..80 {
                let off = 60 + off_rows.min(20);
                throttle.push(if (60..off).contains(&row) { 0.0 } else { 60.0 });
                speed.push(match row {
                    0..20 => 4.0 + 0.3 * f64::from(row as u32),
                    20..60 => 10.0 - 0.1 * f64::from(row as u32 - 20),
                    _ => 6.0 - slows(lap) * 0.05 * f64::from(row as u32 - 60),
                });
            }
        }
        let time: Vec<f64> = (0..speed.len()).map(|n| n as f64 * 0.05).collect();
        let motion = Motion {
            acceleration: vec![6.0; time.len()],
            grips: vec![true; time.len()],
            lap_tops: Vec::new(),
            speed,
            step_s: 0.05,
            reach: 1,
            travel_m: Uncertain::new(0.05, 0.0),
            full_slip: 0.0,
            top_slip: 0.0,
            mean_slip: 0.0,
            time,
        };
        (motion, throttle)
    }

    #[test]
    fn the_median_stretch_and_what_is_not_seen() {
        let (motion, throttle) = driven(|lap| if lap % 2 == 0 { 2.0 } else { 2.0 + 0.02 * lap as f64 }, 12);
        let found = coasting(&motion, &throttle).unwrap();
        assert!((1.98..2.1).contains(&found.value) && found.half_width() < 0.5, "{found:?}");
    }

    #[test]
    fn a_crash_and_locked_wheels_do_not_count() {
        let (mut motion, throttle) = driven(|lap| if lap == 7 { 60.0 } else { 2.0 }, 12);
        motion.grips[20 * 80 + 65] = false;
        let found = coasting(&motion, &throttle).unwrap();
        assert!((found.value - 2.0).abs() < 0.01, "{found:?}");
    }

    #[test]
    fn a_throttle_that_only_crosses_its_middle_tells_nothing() {
        let (motion, throttle) = driven(|_| 2.0, 2);
        assert_eq!(coasting(&motion, &throttle), None);
    }
}
