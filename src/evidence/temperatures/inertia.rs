//! Does a temperature go on as the heat in its part makes it?
//!
//! A part of heat capacity C takes up the heat P·u (u the load, relative) and gives off G·(T − air):
//!
//! ```text
//! dT/dt = A·u − (T − air)/τ,   A = P/C,   τ = C/G
//! ```
//!
//! (lumped capacity; Incropera and DeWitt, chapter 5, from memory). Where it rose at the rate r under the load u₀, its
//! distance x from there goes by dx/dt = r + A·(u/u₀ − 1) − x/τ whatever air, capacity and cooling are. The quickest
//! part of such a car has τ of 50 s, so no sound sensor stays below the path of a rise with that τ, or of a fall that
//! does not slow down; more load than before is taken for none, so that a lag does not matter. A winding or a
//! transistor under the sensor warms within seconds when the car starts, and that rate says nothing of later: a rate
//! soon after a start counts for less.
//!
//! Wrong where the cooling itself changes under way: a fan that starts in the middle of a run.

use super::course::Course;

/// The shortest time constant of a motor or a controller, s: 30 J/K shed at 0.6 W/K. Common practice, no source.
pub(super) const QUICKEST_S: f64 = 50.0;
/// Time constant with which winding and transistors take up a new load, with the lag of their sensor, s. Common
/// practice, no source.
const INNER_S: f64 = 30.0;
/// The slowest part cools no slower than it must to shed its heat, s: bounds the heating from below.
const USUAL_S: f64 = 100.0;
/// Times over which a rate is taken, s; the longer one is made of whole laps, and so is twice it, for slow changes.
const SHORT_S: f64 = 16.0;
const LONG_S: f64 = 30.0;
/// A path is followed from every so many steps.
const STRIDE: usize = 3;
/// How far a path is followed, s: three of the time constants.
const FOLLOWED_S: f64 = 150.0;
/// Residuals go together over this time, s (a corner, a straight, the steps of a sensor).
const TOGETHER_S: f64 = 5.0;
/// Standard deviations of the rate that are given away.
const RATE_DEVIATIONS: f64 = 2.0;
/// Time over which each of two rates is taken whose ratio tells how fast a rate decays, s; how long after a start the
/// first begins, when winding and sensor have caught up; and the longest time constant that is taken from them, s.
const DECAY_S: f64 = 45.0;
const CAUGHT_UP_S: f64 = 40.0;
const SLOWEST_S: f64 = 150.0;
/// A reading must stay below the path for this long, s.
const PERSISTS_S: f64 = 5.0;
/// What is allowed below the path: steps of the sensor, deviations of its readings, and °C for what the model leaves
/// out (common practice, no source). One and the same value leaves the part half a step, and readings to and fro
/// between two values leave it more; a fall may come of laps and cooling too.
const CONSTANT: Allowance = Allowance { steps: 1.0, deviations: 1.0, kelvin: 0.8, share: 0.1 };
const FLAT: Allowance = Allowance { steps: 1.75, deviations: 2.0, kelvin: 0.8, share: 0.1 };
const FALLING: Allowance = Allowance { steps: 1.75, deviations: 2.0, kelvin: 1.2, share: 0.2 };

/// Readings within this share of a step of the sensor are the same.
const SAME: f64 = 0.01;

/// How far below its path a sound reading may be.
struct Allowance {
    steps: f64,
    deviations: f64,
    kelvin: f64,
    /// Of the rise that the path has.
    share: f64,
}

impl Allowance {
    fn kelvin(&self, quantum: f64, deviation: f64, rise: f64) -> f64 {
        self.steps * quantum + self.deviations * deviation + self.kelvin + self.share * rise.abs()
    }
}

/// Where a sensor left the path of its part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Departure {
    /// The last step that may be sound.
    pub last_sound: usize,
    /// Whether it stood still.
    pub flat: bool,
    /// Its reading there and, at the least, what it should have been, °C.
    pub read_c: f64,
    pub least_c: f64,
}

/// A straight line through the readings before a step.
struct Before {
    /// The least and the most that it may rise, °C/s.
    rate: f64,
    most: f64,
    end_c: f64,
    deviation: f64,
}

/// The first departure of a sensor from the path of its part.
pub(super) fn departure(course: &Course, sensor: usize) -> Option<Departure> {
    let celsius = &course.sensors[sensor].as_ref()?.celsius;
    let load = course.load.as_ref()?;
    let quantum = course.quantum(sensor);
    let long = course.steps((LONG_S / course.lap_s).round().max(1.0) * course.lap_s).max(1);
    let windows = [course.steps(SHORT_S), long, 2 * long];
    let heating = Heating::new(course, celsius, long);
    let started = starts(course);
    for step in (windows[0]..celsius.len()).step_by(STRIDE) {
        let Some(start) = started[step] else { continue };
        let path = Path { course, celsius, load, quantum, heating: &heating };
        let constant_s = path.constant_s(start, step, long);
        for window in windows.into_iter().filter(|w| start + w <= step) {
            let Some(before) = line(course, celsius, step - window..step, quantum) else { continue };
            let age = (step - window / 2 - start) as f64 * course.step_s;
            if let Some(found) = path.left(step, window, &before, age, constant_s) {
                return Some(found);
            }
        }
    }
    None
}

/// The step from which a sensor fell to where it is at `step`, if it did: what comes after is not sound either.
pub(super) fn fell_from(course: &Course, sensor: usize, step: usize) -> Option<usize> {
    let celsius = &course.sensors[sensor].as_ref()?.celsius;
    let before = step.saturating_sub(course.steps(FOLLOWED_S))..step;
    let highest = before.filter(|s| celsius[*s].is_finite()).max_by(|a, b| celsius[*a].total_cmp(&celsius[*b]))?;
    let fall = celsius[highest] - celsius[step];
    (fall > (FALLING.steps * course.quantum(sensor)).max(FALLING.kelvin)).then_some(highest)
}

/// For each step in which the car drives, the step from which it has driven without a stop.
fn starts(course: &Course) -> Vec<Option<usize>> {
    let mut start = None;
    let of = |(step, drives): (usize, &bool)| {
        start = if *drives { start.or(Some(step)) } else { None };
        start
    };
    course.drives.iter().enumerate().map(of).collect()
}

/// The line of least squares through some steps; `None` where too many are missing.
fn line(course: &Course, celsius: &[f64], steps: std::ops::Range<usize>, quantum: f64) -> Option<Before> {
    let known = || steps.clone().filter(|s| celsius[*s].is_finite()).map(|s| (course.time_s(s), celsius[s]));
    let n = known().count() as f64;
    if n < 0.8 * steps.len() as f64 || n < 4.0 {
        return None;
    }
    let (sum_t, sum_c) = known().fold((0.0, 0.0), |(a, b), (t, c)| (a + t, b + c));
    let (mean_t, mean_c) = (sum_t / n, sum_c / n);
    let (tt, tc, cc) = known().fold((0.0, 0.0, 0.0), |(tt, tc, cc), (t, c)| {
        let (t, c) = (t - mean_t, c - mean_c);
        (tt + t * t, tc + t * c, cc + c * c)
    });
    let slope = tc / tt;
    let variance = (cc - slope * tc) / (n - 2.0);
    let beyond_rounding = (variance - quantum * quantum / 12.0).max(0.0);
    let together = (TOGETHER_S / course.step_s).max(1.0);
    let rate_u = (beyond_rounding * together / tt).sqrt();
    let end_c = mean_c + slope * (course.time_s(steps.end - 1) - mean_t);
    let given = (RATE_DEVIATIONS * rate_u).hypot(rounded_away(slope, quantum, steps.len() as f64 * course.step_s));
    let deviation = variance.max(quantum * quantum / 12.0).sqrt();
    Some(Before { rate: slope - given, most: slope + given, end_c, deviation })
}

/// How far the slope through readings in steps may be from that of a straight rise, °C/s. A rise s gives a saw of the
/// period q/s, of which the unfinished period at an end of the window W moves its slope by up to (3/4)·q²/(s·W²);
/// solved for s. With one step in the window, of which the slope is up to (3/2)·q/W, there may be no rise at all.
fn rounded_away(slope: f64, quantum: f64, window_s: f64) -> f64 {
    let step = quantum / window_s;
    let left = slope * slope - 3.0 * step * step;
    if left >= 0.0 { (slope.abs() - left.sqrt()) / 2.0 } else { slope.abs().max(step) }
}

/// The greatest heating that a run lets expect, °C a second.
struct Heating {
    quickest: f64,
    coolest_c: f64,
}

impl Heating {
    fn new(course: &Course, celsius: &[f64], window: usize) -> Self {
        let span = window as f64 * course.step_s;
        let rises = celsius.iter().zip(celsius.iter().skip(window)).map(|(a, b)| (b - a) / span);
        let known = course.sensors.iter().flatten().flat_map(|s| s.celsius.iter());
        Self {
            quickest: rises.filter(|r| r.is_finite()).fold(0.0, f64::max),
            coolest_c: known.copied().filter(|c| c.is_finite()).fold(f64::INFINITY, f64::min),
        }
    }

    /// By a part that is at `celsius` and rises at `rate`.
    fn at(&self, celsius: f64, rate: f64) -> f64 {
        self.quickest.max(rate.max(0.0) + (celsius - self.coolest_c).max(0.0) / USUAL_S)
    }
}

struct Path<'a> {
    course: &'a Course,
    celsius: &'a [f64],
    load: &'a [f64],
    quantum: f64,
    heating: &'a Heating,
}

impl Path<'_> {
    /// Follows the lowest path from `step`; where the readings stay below it, they are not the part's.
    fn left(&self, step: usize, window: usize, before: &Before, age_s: f64, constant_s: f64) -> Option<Departure> {
        let course = self.course;
        let settled = 1.0 - (-age_s / INNER_S).exp();
        // The line has the rate of the window's middle.
        let faded = (-0.5 * window as f64 * course.step_s / constant_s).exp();
        // A warm part may cool unseen as long as what is inside of it warms.
        let unseen = (1.0 - settled) * (before.end_c - self.heating.coolest_c).max(0.0) / USUAL_S;
        let rate = before.rate.min(before.rate * settled * faded) - unseen;
        let load_before = self.load[step - window..step].iter().sum::<f64>() / window as f64;
        let heating = self.heating.at(before.end_c, rate);
        let (mut quickest, mut own) = (0.0_f64, 0.0_f64);
        let (mut below, mut lowest, mut highest) = (0usize, f64::INFINITY, f64::NEG_INFINITY);
        let to = (step + course.steps(FOLLOWED_S)).min(self.celsius.len());
        for now in step..to {
            if !course.drives[now] {
                return None;
            }
            let load = (self.load[now] / load_before).min(1.0);
            let driven = rate + heating * (load - 1.0);
            // A fall may go on as slowly as it likes.
            quickest += (driven - quickest.max(0.0) / QUICKEST_S) * course.step_s;
            own += (driven - own.max(0.0) / constant_s) * course.step_s;
            let read = self.celsius[now];
            if read.is_nan() {
                continue;
            }
            (lowest, highest) = (lowest.min(read), highest.max(read));
            let (allowance, x) = match highest - lowest {
                spread if spread <= self.quantum * SAME => (CONSTANT, own),
                spread if spread <= self.quantum * (1.0 + SAME) => (FLAT, own),
                _ => (FALLING, quickest),
            };
            let gap = before.end_c + x - read;
            below = if gap > allowance.kelvin(self.quantum, before.deviation, x) { below + 1 } else { 0 };
            if below as f64 * course.step_s >= PERSISTS_S {
                return Some(self.named(step, now, window, before.end_c + x));
            }
        }
        None
    }

    /// The shortest time constant with which the rate before `step` may decay, s. At an even load a rate is a sum of
    /// decaying exponentials, whose logarithm falls ever more slowly: it decays no faster than it just did.
    fn constant_s(&self, start: usize, step: usize, long: usize) -> f64 {
        let course = self.course;
        let half = long * (course.steps(DECAY_S) / long).max(1);
        let Some(from) = step.checked_sub(2 * half).filter(|from| *from >= start + course.steps(CAUGHT_UP_S)) else {
            return QUICKEST_S;
        };
        let halves = [from..from + half, from + half..step];
        let [Some(first), Some(second)] = halves.clone().map(|h| line(course, self.celsius, h, self.quantum)) else {
            return QUICKEST_S;
        };
        let mean = |steps: &std::ops::Range<usize>| self.load[steps.clone()].iter().sum::<f64>();
        let more = (mean(&halves[1]) / mean(&halves[0]) - 1.0).max(0.0);
        let later = second.rate - self.heating.at(second.end_c, second.rate) * more;
        let decay = (first.most / later).ln() / (half as f64 * course.step_s);
        if later > 0.0 { decay.max(1.0 / SLOWEST_S).recip().max(QUICKEST_S) } else { QUICKEST_S }
    }

    /// What the readings did where they are off the path at `seen`.
    fn named(&self, step: usize, seen: usize, window: usize, least_c: f64) -> Departure {
        let read_c = self.celsius[seen];
        let near = |s: &usize| {
            let off = self.celsius[*s] - read_c;
            off.is_nan() || off.abs() <= self.quantum * (1.0 + SAME)
        };
        let first = (0..seen).rev().take_while(near).last().unwrap_or(seen);
        let flat = seen.saturating_sub(first) * 2 >= seen - step;
        let highest = |a: &usize, b: &usize| self.celsius[*a].total_cmp(&self.celsius[*b]);
        let peak = (step - window..seen).filter(|s| self.celsius[*s].is_finite()).max_by(highest).unwrap_or(step);
        let last_sound = if flat { first } else { peak };
        Departure { last_sound, flat, read_c, least_c }
    }
}
