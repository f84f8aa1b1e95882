//! How the laps of two runs lie over each other.
//!
//! Where the line is in a run's log is known to some tenths of a second, which the runs of a car share, but not to the
//! last hundredth. A car that is elsewhere by a decimetre passes the next corner earlier, and would seem to gain time
//! there and lose it again. So one run's median lap is moved until its speeds lie over the other's: least squares of
//! the logarithm of the speed over the place, for a car that is a share faster all round is at the same place. The
//! interval is the jackknife over parts of the lap ([`crate::statistics::jackknife`]): each corner is a witness.
//!
//! Wrong where a driver takes every corner earlier or later than in the other run.

use crate::measure::time_along_lap::{PLACES, TimeAlong, TimeLost, share_at};
use crate::quantity::{COVERAGE_95, Uncertain};
use crate::statistics::jackknife::half_width_95;
use crate::statistics::parabola::top_of_parabola;

/// Moves tried between two places of the lap: a step of a decimetre on 200 m.
const STEPS_A_PLACE: usize = 10;
/// Moves tried round the lap.
const STEPS: usize = PLACES * STEPS_A_PLACE;
/// Farthest that the lines of two runs of a car may be apart, moves: 0.04 of a lap. A default, no source: their lists
/// were laid onto the logs together.
const FARTHEST: usize = STEPS / 25;
/// Parts of the lap that are left out in turn.
const PARTS: usize = 10;
/// Least correlation of the speeds of two runs on one track. A default, no source, as where their lines are shared.
const ALIKE: f64 = 0.8;
/// Places on either side over which a speed is taken.
const REACH: usize = 1;

/// How far another run's line is behind a run's own, share of a lap.
pub type Offset = Uncertain;

/// The speeds of a run's median lap, closely round the lap.
#[derive(Debug)]
pub struct SpeedsRound {
    /// Logarithm of the speed at each of [`STEPS`] even steps from the line, up to a constant.
    logs: Vec<f64>,
}

impl SpeedsRound {
    /// Of a median lap.
    pub fn new(median: &TimeAlong) -> Self {
        let log = |step: usize| median.log_speed_around(step as f64 / STEPS as f64, REACH);
        Self { logs: (0..STEPS).map(log).collect() }
    }
}

/// How far the line of `other` is behind that of `reference`; `None` where their speeds are not alike.
pub fn lay_over(reference: &SpeedsRound, other: &SpeedsRound) -> Option<Offset> {
    let moves = 2 * FARTHEST;
    let products: Vec<[Products; PARTS]> = (0..=moves).map(|n| products_by_part(reference, other, n)).collect();
    let best = |left_out: Option<usize>| {
        let correlation = |parts: &[Products; PARTS]| {
            let kept = parts.iter().enumerate().filter(|(part, _)| Some(*part) != left_out);
            kept.fold(Products::default(), |sum, (_, part)| sum.plus(part)).correlation()
        };
        let alike: Vec<f64> = products.iter().map(correlation).collect();
        let top = (0..alike.len()).max_by(|a, b| alike[*a].total_cmp(&alike[*b]))?;
        let inside = top > 0 && top < moves && alike[top] > ALIKE;
        let steps = || top as f64 - FARTHEST as f64 + top_of_parabola(alike[top - 1], alike[top], alike[top + 1]);
        inside.then(|| steps() / STEPS as f64)
    };
    let value = best(None)?;
    let without: Vec<f64> = (0..PARTS).filter_map(|part| best(Some(part))).collect();
    (without.len() == PARTS).then(|| Uncertain::new(value, half_width_95(&without) / COVERAGE_95))
}

/// Sums of two runs' speeds and of their products in each part of the lap, the other's line moved by `n` less
/// [`FARTHEST`] steps.
fn products_by_part(reference: &SpeedsRound, other: &SpeedsRound, n: usize) -> [Products; PARTS] {
    let mut parts = [Products::default(); PARTS];
    for place in 0..PLACES {
        let step = place * STEPS_A_PLACE;
        let moved = (step + STEPS + n - FARTHEST) % STEPS;
        parts[place * PARTS / PLACES].add(reference.logs[step], other.logs[moved]);
    }
    parts
}

/// Sums of pairs of values, and of their products.
#[derive(Debug, Clone, Copy, Default)]
struct Products {
    count: f64,
    a: f64,
    b: f64,
    aa: f64,
    bb: f64,
    ab: f64,
}

impl Products {
    fn add(&mut self, a: f64, b: f64) {
        *self = self.plus(&Self { count: 1.0, a, b, aa: a * a, bb: b * b, ab: a * b });
    }

    fn plus(self, other: &Self) -> Self {
        Self {
            count: self.count + other.count,
            a: self.a + other.a,
            b: self.b + other.b,
            aa: self.aa + other.aa,
            bb: self.bb + other.bb,
            ab: self.ab + other.ab,
        }
    }

    /// Pearson's correlation of the pairs.
    fn correlation(&self) -> f64 {
        let about_means = |product: f64, x: f64, y: f64| product - x * y / self.count;
        let size = about_means(self.aa, self.a, self.a) * about_means(self.bb, self.b, self.b);
        about_means(self.ab, self.a, self.b) / size.max(f64::MIN_POSITIVE).sqrt()
    }
}

/// A run's lap, laid over another's.
#[derive(Debug, Clone, Copy)]
pub struct Laid<'a> {
    /// The median lap.
    pub median: &'a TimeAlong,
    /// The doubt of the place that does not average out between laps, s.
    pub usual_u_s: &'a [f64],
    /// Standard uncertainty of where the line is in the run's log, share of a lap.
    pub line_u: f64,
}

/// Where the median lap of a run loses time on that of another whose line is `offset` behind.
///
/// The band holds the doubt of the place in both, in full: what makes one run's places off, its slip, may be alike in
/// all its laps; the doubt of the offset; and that of the line, which both share.
pub fn lost_on(run: Laid, other: Laid, offset: Offset) -> TimeLost {
    let lost = |own_by: f64, other_by: f64| {
        let since = |along: &TimeAlong, by: f64, place: usize| along.time_at(share_at(place) + by) - along.time_at(by);
        (0..=PLACES)
            .map(|place| since(run.median, own_by, place) - since(other.median, other_by, place))
            .collect::<Vec<f64>>()
    };
    let seconds = lost(0.0, offset.value);
    let either_way = |moved: [Vec<f64>; 2]| {
        let off = |place: usize| moved.iter().map(|m| (m[place] - seconds[place]).abs()).fold(0.0, f64::max);
        (0..=PLACES).map(off).collect::<Vec<f64>>()
    };
    let by_offset =
        either_way([lost(0.0, offset.value - offset.standard_u), lost(0.0, offset.value + offset.standard_u)]);
    let line = run.line_u;
    let by_line = either_way([lost(-line, offset.value - line), lost(line, offset.value + line)]);
    let band = |place: usize| {
        let other_place = (place as f64 + offset.value * PLACES as f64).rem_euclid(PLACES as f64) as usize;
        let by_place = run.usual_u_s[place].hypot(other.usual_u_s[other_place]);
        COVERAGE_95 * by_place.hypot(by_offset[place]).hypot(by_line[place])
    };
    let mut band_s: Vec<f64> = (0..=PLACES).map(band).collect();
    // At the line the lap times say what was lost.
    (band_s[0], band_s[PLACES]) = (0.0, 0.0);
    TimeLost { seconds, band_s }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lap of 15 s whose speed swings three times round, `behind` of a lap later.
    fn lap(behind: f64) -> TimeAlong {
        let swing = |share: f64| 15.0 * share + 0.4 * (3.0 * std::f64::consts::TAU * (share + behind)).sin();
        let seconds: Vec<f64> = (0..=PLACES).map(|place| swing(share_at(place)) - swing(0.0)).collect();
        let place_u_s = vec![0.0; PLACES + 1];
        let walked = (0..=PLACES).map(share_at).collect();
        TimeAlong { line_moved_s: [seconds.clone(), seconds.clone()], seconds, place_u_s, walked }
    }

    #[test]
    fn a_line_that_is_elsewhere_loses_no_time() {
        // The other's line is 0.013 of a lap further on: its places are found 0.013 earlier.
        let (own, other) = (lap(0.0), lap(0.013));
        let offset = lay_over(&SpeedsRound::new(&own), &SpeedsRound::new(&other)).unwrap();
        assert!((offset.value + 0.013).abs() < 2e-4, "{offset:?}");
        let u = vec![0.0; PLACES + 1];
        let laid = |median| Laid { median, usual_u_s: &u, line_u: 0.0 };
        let lost = lost_on(laid(&own), laid(&other), offset);
        assert!(lost.seconds.iter().all(|s| s.abs() < 0.01), "{:?}", lost.seconds);
        assert!(lost.seconds[PLACES].abs() < 1e-12);
    }
}
