//! How likely one offset between a log and its list is, by the places at which the passings find the car.

use super::driven::{Driven, Passed};
use super::passing_errors::{PassingErrors, PlaceDoubt};
use super::place::Places;
use crate::statistics::quantiles::{deviation_about, median_in};

/// Fewest passings that must lie in the log, and the smallest share of the list's.
pub(super) const LEAST_PASSINGS: usize = 3;
pub(super) const LEAST_SHARE: f64 = 1.0 / 3.0;
/// Places farther from the common one than this many deviations, as on a spoilt lap, are held to this many.
const WINSOR: f64 = 6.0;
/// Least deviation that places are held to, in deviations of the place's own.
const LEAST_DEVIATION: f64 = 1e-3;
/// Added to a number and taken off again, it leaves the nearest whole one: so far out no parts of one can be written
/// (IEEE 754). Quicker than a call, and several numbers at a time.
const ROUNDS: f64 = 1.5 * (1u64 << 52) as f64;

/// One offset between log and list.
#[derive(Debug, Clone, Copy)]
pub(super) struct Offset {
    /// Log-likelihood, up to a constant.
    pub score: f64,
    /// Place of the line then, share of a lap.
    pub line: f64,
}

impl Offset {
    pub const IMPOSSIBLE: Self = Self { score: f64::NEG_INFINITY, line: f64::NAN };
}

/// The offsets between a log and lists, one after the other: thousands are looked at for a run, so each takes the room
/// of the one before.
pub(super) struct Offsets<'a> {
    places: &'a Places,
    driven: &'a Driven,
    passed: Passed,
    fractions: Vec<f64>,
    doubts: Vec<PlaceDoubt>,
    errors: PassingErrors,
    room: Vec<f64>,
}

impl<'a> Offsets<'a> {
    /// Offsets between the log with these places and any list.
    pub fn new(places: &'a Places, driven: &'a Driven) -> Self {
        let (passed, errors) = (Passed::default(), PassingErrors::default());
        Self { places, driven, passed, fractions: Vec::new(), doubts: Vec::new(), errors, room: Vec::new() }
    }

    /// How likely it is that a list's passings are as the log shows them, where the first is at the log time `start`, s,
    /// and a second of the list takes `scale` of the log's; `None` where they cannot be there.
    pub fn at(&mut self, passings: &[f64], start: f64, scale: f64) -> Option<Offset> {
        self.driven.pass(passings.iter().map(|p| start + p * scale), &mut self.passed);
        let driven = &self.passed.driven;
        if driven.len() < LEAST_PASSINGS || (driven.len() as f64) < LEAST_SHARE * passings.len() as f64 {
            return None;
        }
        self.fractions.clear();
        self.doubts.clear();
        for time in driven {
            let (laps, doubt) = self.places.laps_and_doubt_at(*time);
            self.fractions.push(laps);
            self.doubts.push(doubt);
        }
        let line = centre(&mut self.fractions, &mut self.room);
        // Clipped in deviations of its own place: a start from standing is far off at a wrong offset, and tells so.
        let own = self.fractions.iter().zip(&self.doubts).map(|(f, d)| f / d.deviation);
        self.errors.set(own, &self.doubts);
        let middle = middle_of_sides(self.errors.own(), &mut self.room);
        let scatter = deviation_about(&mut self.room, self.errors.own(), middle).unwrap_or(0.0);
        self.errors.clip(WINSOR * scatter.max(LEAST_DEVIATION));
        Some(Offset { score: self.errors.log_likelihood() + self.passed.prior, line })
    }

    /// Log times of the passings of the last offset at which the car drives, s.
    pub fn driven(&self) -> &[f64] {
        &self.passed.driven
    }
}

/// The laps' common place, share of a lap.
pub fn common_place(laps: impl IntoIterator<Item = f64>) -> f64 {
    centre(&mut laps.into_iter().collect::<Vec<f64>>(), &mut Vec::new())
}

/// The laps' common place, share of a lap; leaves of the laps their distances from it, -0.5 to 0.5.
fn centre(laps: &mut [f64], room: &mut Vec<f64>) -> f64 {
    let (sin, cos) = laps.iter().map(|laps| direction(*laps)).fold((0.0, 0.0), |(s, c), d| (s + d.0, c + d.1));
    let middle = sin.atan2(cos) / std::f64::consts::TAU;
    laps.iter_mut().for_each(|l| *l = to_nearest(*l - middle));
    let centre = median_in(room, laps.iter().copied()).unwrap_or(0.0);
    laps.iter_mut().for_each(|l| *l = to_nearest(*l - centre));
    (middle + centre).rem_euclid(1.0)
}

/// The median of errors that were divided by deviations of their own after their median was taken off. As many are still
/// on either side of nought, so that it lies between the two next to it; unless some went round the lap.
fn middle_of_sides(errors: &[f64], room: &mut Vec<f64>) -> f64 {
    let (mut less, mut more, mut below, mut above) = (0, 0, f64::NEG_INFINITY, f64::INFINITY);
    for &error in errors {
        less += usize::from(error < 0.0);
        more += usize::from(error > 0.0);
        below = if error <= 0.0 && error > below { error } else { below };
        above = if error >= 0.0 && error < above { error } else { above };
    }
    if less == more { 0.5 * (below + above) } else { median_in(room, errors.iter().copied()).unwrap_or(0.0) }
}

/// Laps without the whole ones, -0.5 to 0.5.
fn to_nearest(laps: f64) -> f64 {
    laps - (laps + ROUNDS - ROUNDS)
}

/// Sine and cosine of the angle of a place on the lap, to within 2 in 10⁷: both by the series of a quarter of
/// the angle, doubled twice.
fn direction(laps: f64) -> (f64, f64) {
    let angle = to_nearest(laps) * std::f64::consts::FRAC_PI_2;
    let square = angle * angle;
    let sin = angle * (1.0 - square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0 * (1.0 - square / 72.0))));
    let cos = 1.0 - square / 2.0 * (1.0 - square / 12.0 * (1.0 - square / 30.0 * (1.0 - square / 56.0)));
    let (sin, cos) = (2.0 * sin * cos, cos * cos - sin * sin);
    (2.0 * sin * cos, cos * cos - sin * sin)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_are_sine_and_cosine() {
        for n in -300..300 {
            let laps = f64::from(n) * 0.017;
            let (sin, cos) = (laps * std::f64::consts::TAU).sin_cos();
            let found = direction(laps);
            assert!((found.0 - sin).abs() < 2e-7 && (found.1 - cos).abs() < 2e-7, "{laps} {found:?} {sin} {cos}");
        }
    }

    #[test]
    fn the_middle_of_errors_is_their_median() {
        let round_the_lap = vec![0.53, 0.85, 0.04, 0.05, 0.07];
        for laps in [vec![0.1, 0.3, 0.05, 0.11, 0.2], vec![0.1, 0.3, 0.05, 0.11, 0.2, 0.15], round_the_lap] {
            let mut errors = laps;
            centre(&mut errors, &mut Vec::new());
            errors.iter_mut().enumerate().for_each(|(n, error)| *error /= 1.0 + n as f64);
            let median = median_in(&mut Vec::new(), errors.iter().copied()).unwrap();
            assert!((middle_of_sides(&errors, &mut Vec::new()) - median).abs() < 1e-15, "{errors:?}");
        }
    }

    #[test]
    fn places_either_side_of_the_start_have_their_middle_there() {
        assert!((common_place([3.98, 5.01, 7.03]) - 0.01).abs() < 1e-12);
        assert!((common_place([3.97, 4.99, 7.02]) - 0.99).abs() < 1e-12);
    }
}
