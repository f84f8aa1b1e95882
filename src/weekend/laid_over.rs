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
use crate::statistics::jackknife::{half_width_95, without_each_block};
use crate::statistics::parabola::top_of_parabola;

/// Farthest that the lines of two runs of a car may be apart, share of a lap. A default, no source: their lists were
/// laid onto the logs together.
const FARTHEST: f64 = 0.04;
/// Step of the moves tried, share of a lap: a decimetre on 200 m.
const STEP: f64 = 0.000_5;
/// Parts of the lap that are left out in turn.
const PARTS: usize = 10;
/// Least correlation of the speeds of two runs on one track. A default, no source, as where their lines are shared.
const ALIKE: f64 = 0.8;
/// Places on either side over which a speed is taken.
const REACH: usize = 1;

/// How far another run's line is behind a run's own, share of a lap.
pub type Offset = Uncertain;

/// How far the line of `other` is behind that of `reference`; `None` where their speeds are not alike.
pub fn lay_over(reference: &TimeAlong, other: &TimeAlong) -> Option<Offset> {
    let own: Vec<f64> = (0..PLACES).map(|place| log_speed(reference, share_at(place))).collect();
    let moves = (2.0 * FARTHEST / STEP).round() as usize;
    let moved = |n: usize| n as f64 * STEP - FARTHEST;
    let others: Vec<Vec<f64>> =
        (0..=moves).map(|n| (0..PLACES).map(|place| log_speed(other, share_at(place) + moved(n))).collect()).collect();
    let best = |places: &[usize]| {
        let alike: Vec<f64> = others.iter().map(|other| correlation(&own, other, places)).collect();
        let top = (0..alike.len()).max_by(|a, b| alike[*a].total_cmp(&alike[*b]))?;
        let inside = top > 0 && top < moves && alike[top] > ALIKE;
        inside.then(|| moved(top) + STEP * top_of_parabola(alike[top - 1], alike[top], alike[top + 1]))
    };
    let places: Vec<usize> = (0..PLACES).collect();
    let value = best(&places)?;
    let without = without_each_block(&places, PARTS, best);
    (without.len() == PARTS).then(|| Uncertain::new(value, half_width_95(&without) / COVERAGE_95))
}

/// Logarithm of the speed around a share of the lap, up to a constant.
fn log_speed(along: &TimeAlong, share: f64) -> f64 {
    along.speed_around(share, REACH).ln()
}

fn correlation(a: &[f64], b: &[f64], places: &[usize]) -> f64 {
    let count = places.len() as f64;
    let mean = |of: &[f64]| places.iter().map(|p| of[*p]).sum::<f64>() / count;
    let (mean_a, mean_b) = (mean(a), mean(b));
    let product =
        |x: &[f64], mx: f64, y: &[f64], my: f64| -> f64 { places.iter().map(|p| (x[*p] - mx) * (y[*p] - my)).sum() };
    let size = (product(a, mean_a, a, mean_a) * product(b, mean_b, b, mean_b)).sqrt();
    product(a, mean_a, b, mean_b) / size.max(f64::MIN_POSITIVE)
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
        let offset = lay_over(&own, &other).unwrap();
        assert!((offset.value + 0.013).abs() < 2e-4, "{offset:?}");
        let u = vec![0.0; PLACES + 1];
        let laid = |median| Laid { median, usual_u_s: &u, line_u: 0.0 };
        let lost = lost_on(laid(&own), laid(&other), offset);
        assert!(lost.seconds.iter().all(|s| s.abs() < 0.01), "{:?}", lost.seconds);
        assert!(lost.seconds[PLACES].abs() < 1e-12);
    }
}
