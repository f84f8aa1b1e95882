//! How far round a lap the car was, from the turns of its motor, and how far off that may be.
//!
//! The car passes the line at both ends of a lap: there its place is known, however long the driven line was and
//! however many turns the motor took. In between, place = turns since the line − error so far, as a share of a usual
//! lap's turns. The error is a random walk that is pinned at both lines (a Brownian bridge): of what a lap's turns are
//! off in all, each stretch has as much as it adds to the variance, and the variance that is left at a place is V·w·(1
//! − w), where V is the lap's and w the share of it so far (conditional mean and variance of a normal walk whose end is
//! known).
//!
//! To the variance add: the driven line and the slip of gripping tyres, evenly over the lap, by how far the laps' turns
//! scatter; each spin and each lock; the noise of the revs; rows that are far apart.
//!
//! Wrong where the driver takes a shorter or longer line in one corner of a lap by more than all laps scatter.
//!
//! ```
//! use runtrue::laps::odometer::Odometer;
//! use runtrue::measure::place_on_lap::Way;
//! // Even revs: half of the time is half of the lap.
//! let time: Vec<f64> = (0..2001).map(|n| f64::from(n) * 0.05).collect();
//! let car = Odometer::from_rows(time.clone(), vec![6000.0; time.len()]).unwrap();
//! let way = Way::new(&car, None, &[(0.0, 10.0), (10.0, 20.0), (20.0, 30.0)]).unwrap();
//! let places = way.places(1, 10.0, 20.0);
//! assert!((places.time_at(0.5) - 15.0).abs() < 1e-9);
//! ```

use crate::laps::ground::Ground;
use crate::laps::odometer::Odometer;
use crate::statistics::quantiles::{median, median_step, robust_deviation};
use crate::statistics::second_differences::{noise_of, second_differences};

/// Least standard deviation of the driven line's length from lap to lap, share of a lap: a decimetre or so. Common
/// practice, no source.
const LEAST_SCATTER: f64 = 0.000_6;
/// The same where too few laps tell it. Common practice, no source.
const USUAL_SCATTER: f64 = 0.003;
/// Fewest laps whose turns tell their scatter.
const LEAST_LAPS: usize = 4;
/// Relative standard uncertainty of the turns that were taken out of a spin: by the revs, and by the ground speed.
/// Common practice, no source: the car is drawn through each spin.
const DRAWN_U: f64 = 0.25;
const DRAWN_U_OVER_GROUND: f64 = 0.10;
/// Turns beyond the car's between two rows from which its wheels are apart from it.
const APART_TURNS: f64 = 1e-9;
/// Rows farther apart than this many usual steps have lost rows between them.
const ROWS_LOST: f64 = 1.5;
/// Longest step at which the second differences of the revs are noise and not driving, s.
const NOISE_STEP_S: f64 = 0.0505;
/// Seconds in a minute: revs are in turns a minute.
const MINUTE_S: f64 = 60.0;

/// A run's way round its laps.
#[derive(Debug, Clone)]
pub struct Way<'a> {
    car: &'a Odometer,
    /// Variance of the turns until each row by noise, rows that are far apart and spins, turns².
    variance: Vec<f64>,
    /// The same by what is even over a lap, for a turn.
    even_variance: f64,
    /// Turns of each lap as the run lets expect them: its laps' median, with what they rise or fall over the run.
    expected: Vec<f64>,
}

/// The car's places in one lap.
#[derive(Debug, Clone)]
pub struct Places {
    /// Log times, s.
    time: Vec<f64>,
    /// How far round then, share of the lap; rises from 0 to 1.
    share: Vec<f64>,
    /// Standard uncertainty of that.
    share_u: Vec<f64>,
    /// Share of the lap's variance so far, from 0 to 1.
    walked: Vec<f64>,
}

impl<'a> Way<'a> {
    /// The way of a `car` (its turns without those that its wheels spun) whose counted laps are between these log
    /// times, s; `ground` is its speed over ground, where there is one. `None` without laps.
    pub fn new(car: &'a Odometer, ground: Option<&Ground>, laps: &[(f64, f64)]) -> Option<Self> {
        let variance = variance_of_rows(car, ground.is_some());
        let mut way = Self { car, variance, even_variance: 0.0, expected: Vec::new() };
        let turns: Vec<f64> = laps.iter().map(|(from, to)| car.turns_at(*to) - car.turns_at(*from)).collect();
        let spun: Vec<f64> = laps.iter().map(|(from, to)| way.variance_at(*to) - way.variance_at(*from)).collect();
        let usual = median(turns.iter().copied()).filter(|turns| *turns > 0.0)?;
        // Laps with less doubt than half of them: spins must not pass for the scatter of the line.
        let calm_limit = median(spun.iter().copied())?;
        let calm: Vec<(f64, f64)> =
            (0..laps.len()).filter(|&n| spun[n] <= calm_limit).map(|n| (n as f64, turns[n])).collect();
        let enough = calm.len() >= LEAST_LAPS;
        let slope = if enough { slope_by_halves(&calm).unwrap_or(0.0) } else { 0.0 };
        let level = median(calm.iter().map(|(n, turns)| turns - slope * n)).unwrap_or(usual);
        way.expected = (0..laps.len()).map(|n| level + slope * n as f64).collect();
        let off: Vec<f64> = calm.iter().map(|(n, turns)| turns - level - slope * n).collect();
        let scatter = robust_deviation(&off).filter(|_| enough).unwrap_or(USUAL_SCATTER * usual);
        let own = median(calm.iter().map(|(n, _)| spun[*n as usize])).unwrap_or(0.0);
        way.even_variance = (scatter * scatter - own).max((LEAST_SCATTER * usual).powi(2)) / usual;
        Some(way)
    }

    /// The places of counted lap `lap` (from 0), passed between two log times, s.
    pub fn places(&self, lap: usize, from: f64, to: f64) -> Places {
        let rows = self.car.rows().0;
        let inside = &rows[rows.partition_point(|t| *t <= from)..];
        let inside = &inside[..inside.partition_point(|t| *t < to)];
        let mut time = vec![from];
        // Between rows revs change evenly: a point halfway follows the turns closely enough for straight lines.
        for t in inside.iter().copied().chain([to]) {
            time.extend([0.5 * (time[time.len() - 1] + t), t]);
        }
        let (first, last) = (self.car.turns_at(from), self.car.turns_at(to));
        let before = self.variance_at(from);
        let variance = |t: f64, turns: f64| self.variance_at(t) - before + self.even_variance * (turns - first);
        let whole = variance(to, last).max(f64::MIN_POSITIVE);
        let (turns, expected) = (last - first, self.expected[lap]);
        let (mut share, mut share_u, mut walked) = (Vec::new(), Vec::new(), Vec::new());
        let mut reached = 0.0f64;
        for t in &time {
            let turns_so_far = self.car.turns_at(*t);
            let so_far = (variance(*t, turns_so_far) / whole).clamp(0.0, 1.0);
            let place = (turns_so_far - first - so_far * (turns - expected)) / expected;
            reached = reached.max(place.min(1.0));
            walked.push(so_far);
            share.push(reached);
            share_u.push((whole * so_far * (1.0 - so_far)).sqrt() / expected);
        }
        Places { time, share, share_u, walked }
    }

    /// Variance of the turns until a log time, without what is even over a lap, turns².
    fn variance_at(&self, time: f64) -> f64 {
        self.car.between_rows(&self.variance, time)
    }
}

impl Places {
    /// Log time at which the car reached a share of the lap, s.
    pub fn time_at(&self, share: f64) -> f64 {
        let share = share.clamp(0.0, 1.0);
        let next = self.share.partition_point(|s| *s < share).clamp(1, self.share.len() - 1);
        let (a, b) = (self.share[next - 1], self.share[next]);
        let part = if b > a { ((share - a) / (b - a)).clamp(0.0, 1.0) } else { 1.0 };
        self.time[next - 1] + part * (self.time[next] - self.time[next - 1])
    }

    /// Share of the lap's variance until the car reached a share of the lap.
    pub fn walked_at(&self, share: f64) -> f64 {
        between(&self.time, &self.walked, self.time_at(share))
    }

    /// Standard uncertainty of the time at which the car reached a share of the lap, from the doubt of its place, s.
    pub fn time_u_at(&self, share: f64) -> f64 {
        let u = between(&self.time, &self.share_u, self.time_at(share));
        0.5 * (self.time_at(share + u) - self.time_at(share - u))
    }
}

/// Correlation of the errors of two places of a lap, from the shares of its variance until each: that of a walk which
/// is pinned at both ends, √(v·(1 − w) / (w·(1 − v))) for v below w.
pub fn alike(one: f64, other: f64) -> f64 {
    let (first, last) = (one.min(other), one.max(other));
    let product = last * (1.0 - first);
    if product > 0.0 { (first * (1.0 - last) / product).max(0.0).sqrt() } else { 0.0 }
}

/// Slope of points in order, from the median of their first half to that of their last: a few wild ones do not move it.
fn slope_by_halves(points: &[(f64, f64)]) -> Option<f64> {
    let half = points.len() / 2;
    let middle = |part: &[(f64, f64)]| Some((median(part.iter().map(|p| p.0))?, median(part.iter().map(|p| p.1))?));
    let (first, last) = (middle(&points[..half])?, middle(&points[points.len() - half..])?);
    Some((last.1 - first.1) / (last.0 - first.0))
}

/// The value at `x` in straight lines between points; held beyond the first and the last.
fn between(xs: &[f64], ys: &[f64], x: f64) -> f64 {
    let next = xs.partition_point(|known| *known <= x).clamp(1, xs.len() - 1);
    let (a, b) = (xs[next - 1], xs[next]);
    let part = if b > a { ((x - a) / (b - a)).clamp(0.0, 1.0) } else { 1.0 };
    ys[next - 1] + part * (ys[next] - ys[next - 1])
}

/// Variance of the car's turns until each row, turns²: by noise, by rows that are far apart, by spins and locks.
fn variance_of_rows(car: &Odometer, over_ground: bool) -> Vec<f64> {
    let (time, rpm) = car.rows();
    let usual_step = median_step(time).unwrap_or(f64::INFINITY);
    let bends = second_differences(rpm);
    let noise = noise_of(&bends).filter(|_| usual_step <= NOISE_STEP_S).unwrap_or(0.0);
    let rates: Vec<f64> = (1..time.len()).map(|n| (rpm[n] - rpm[n - 1]) / (time[n] - time[n - 1])).collect();
    // Cars speed up and brake about alike: the scatter of the rate is what revs may do in a gap.
    let rate = robust_deviation(&rates).unwrap_or(0.0);
    let mut steps = vec![0.0; time.len()];
    for (n, step) in steps.iter_mut().enumerate().skip(1) {
        let seconds = time[n] - time[n - 1];
        // Error of a trapezoid: a twelfth of the second difference.
        let bend = bends.get(n - 1).map_or(0.0, |bend| bend / 12.0);
        // Speeding up and then braking, or the other way round, puts a triangle of rate·t²/4 onto the straight line; a
        // standard deviation of √3 less.
        let gap = if seconds > ROWS_LOST * usual_step { rate * seconds / (4.0 * 3f64.sqrt()) } else { 0.0 };
        *step = (noise.powi(2) + bend.powi(2) + gap.powi(2)) * (seconds / MINUTE_S).powi(2);
    }
    add_spins(car, over_ground, &mut steps);
    let mut sum = 0.0;
    steps.iter().map(|step| (sum += step, sum).1).collect()
}

/// Adds the variance of each spin and lock to that of the steps between rows, where the wheels left the car.
fn add_spins(car: &Odometer, over_ground: bool, steps: &mut [f64]) {
    let time = car.rows().0;
    let excess = |n: usize| car.excess_between(time[n - 1], time[n]).abs();
    let mut n = 1;
    while n < time.len() {
        let from = n;
        let mut turns = 0.0;
        while n < time.len() && excess(n) > APART_TURNS {
            turns += excess(n);
            n += 1;
        }
        if n == from {
            n += 1;
            continue;
        }
        let seconds = time[n - 1] - time[from - 1];
        // The car's speed is known before and after; in between it is a walk that is pinned at both ends, and the
        // integral of one over T has the variance w²·T³/12 where the walk's deviation is w·√t.
        let wander = car.doubt_within(1.0).map_or(0.0, |halfway| 2.0 * halfway) / MINUTE_S;
        let variance = if over_ground {
            (DRAWN_U_OVER_GROUND * turns).powi(2)
        } else {
            wander.powi(2) * seconds.powi(3) / 12.0 + (DRAWN_U * turns).powi(2)
        };
        for (row, step) in steps.iter_mut().enumerate().take(n).skip(from) {
            *step += variance * excess(row) / turns;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Laps of 10 s at 100 turns a second, but for the turns that `more` puts on a second of the run.
    fn car(more: impl Fn(f64) -> f64) -> Odometer {
        let time: Vec<f64> = (0..1201).map(|n| f64::from(n) * 0.05).collect();
        let rpm = time.iter().map(|t| 60.0 * (100.0 + more(*t))).collect();
        Odometer::from_rows(time, rpm).unwrap()
    }

    fn laps() -> Vec<(f64, f64)> {
        (0..6).map(|n| (10.0 * f64::from(n), 10.0 * f64::from(n + 1))).collect()
    }

    #[test]
    fn a_longer_line_is_spread_over_the_lap() {
        // One lap takes 1 % more turns throughout: half of its time is still half of the lap, and the doubt is greatest
        // there and none at the lines.
        let car = car(|t| if (20.0..30.0).contains(&t) { 1.0 } else { 0.0 });
        let way = Way::new(&car, None, &laps()).unwrap();
        let places = way.places(2, 20.0, 30.0);
        assert!((places.time_at(0.5) - 25.0).abs() < 0.01, "{}", places.time_at(0.5));
        assert!(places.time_u_at(0.0) < 1e-6 && places.time_u_at(1.0) < 1e-6);
        // σ of the even walk is 0.0006 of a lap: halfway √(¼)·0.0006 laps, at 10 s a lap 0.003 s.
        assert!((places.time_u_at(0.5) - 0.003).abs() < 0.0005, "{}", places.time_u_at(0.5));
    }

    #[test]
    fn errors_of_a_pinned_walk_by_hand() {
        // Var(a) = 3/16, Var(b) = 1/4, Cov = 1/4 · 1/2 = 1/8: 1/8 / √(3/64) = 1/√3.
        assert!((alike(0.25, 0.5) - 1.0 / 3f64.sqrt()).abs() < 1e-12);
        assert_eq!(alike(0.0, 0.5), 0.0);
        assert_eq!(alike(0.4, 0.4), 1.0);
    }

    #[test]
    fn what_a_spin_leaves_over_is_put_where_it_spun() {
        // The wheels spin for a second, of which 10 turns too few were taken out: places after it come back.
        let wheels = car(|t| if (22.0..23.0).contains(&t) { 60.0 } else { 0.0 });
        let rpm = car(|t| if (22.0..23.0).contains(&t) { 10.0 } else { 0.0 }).rows().1.to_vec();
        let car = wheels.with_car_rpm(rpm, None);
        let way = Way::new(&car, None, &laps()).unwrap();
        let places = way.places(2, 20.0, 30.0);
        assert!((places.time_at(0.5) - 25.0).abs() < 0.02, "{}", places.time_at(0.5));
        assert!((places.time_at(0.15) - 21.5).abs() < 0.02, "{}", places.time_at(0.15));
    }
}
