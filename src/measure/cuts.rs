//! Where the track itself cuts a lap: at the slowest points of the usual lap.
//!
//! The speed over the place is the pooled one of a car's runs: the median over the runs of the logarithm of the speed
//! in each median lap. A slowest point is a minimum of it that is deep: the speed rises on both sides, before it falls
//! lower, by more than single laps scatter there ([`DEEP`] robust deviations) and by a tenth at least, so that neither
//! a straight nor a bend that is taken flat out is cut. Depth is the minimum's prominence, as of a mountain upside
//! down. Sections that are too short to time are joined to a neighbour, at the shallower of their two ends.
//!
//! Wrong where a driver takes a corner so differently from lap to lap that its slowest point moves by a corner's
//! length.

use rayon::prelude::*;

use super::time_along_lap::{PLACES, TimeAlong, TimeAlongLaps, share_at};
use crate::statistics::quantiles::{median, robust_deviation};

/// Robust deviations of single laps by which the speed must rise on both sides of a slowest point.
const DEEP: f64 = 3.0;
/// The least rise, as a logarithm: a tenth. Common practice, no source.
const LEAST_DEPTH: f64 = 0.1;
/// Shortest section, s. Common practice, no source: its ends are known to a few hundredths of a second, which is what
/// laps differ by in a second.
const SHORTEST_S: f64 = 1.5;
/// Fewest sections that say where time went.
const LEAST_SECTIONS: usize = 2;
/// Places on either side over which a speed is taken: a hundredth of the lap each way.
const REACH: usize = 2;

/// A run's laps with how far its line is behind that of the car's other runs, share of a lap.
#[derive(Debug, Clone, Copy)]
pub struct Member<'a> {
    /// The laps.
    pub along: &'a TimeAlongLaps,
    /// How far, share of a lap.
    pub behind: f64,
}

/// The slowest points of the lap, shares of a lap from 0 to below 1 in rising order, by the line of the run whose
/// members are `behind` by 0; `None` where fewer than two sections are left.
pub fn slowest_points(members: &[Member]) -> Option<Vec<f64>> {
    let speed = pooled(members, |member, share| member.along.median.log_speed_around(share, REACH));
    let noise = pooled(members, |member, share| {
        let laps: Vec<f64> = member.along.laps.iter().map(|lap| lap.along.log_speed_around(share, REACH)).collect();
        robust_deviation(&laps).unwrap_or(0.0)
    });
    let mut deep: Vec<(usize, f64)> = (0..PLACES)
        .filter(|&place| is_lowest(&speed, place))
        .map(|place| (place, prominence(&speed, place)))
        .filter(|(place, depth)| *depth > (DEEP * noise[*place]).max(LEAST_DEPTH))
        .collect();
    let usual = &members.iter().min_by(|a, b| a.behind.abs().total_cmp(&b.behind.abs()))?.along.median;
    join_short(&mut deep, usual);
    (deep.len() >= LEAST_SECTIONS).then(|| deep.into_iter().map(|(place, _)| share_at(place)).collect())
}

/// The median over the runs at each place.
fn pooled(members: &[Member], of: impl Fn(&Member, f64) -> f64 + Sync) -> Vec<f64> {
    let at = |place: usize| median(members.iter().map(|m| of(m, share_at(place) + m.behind))).unwrap_or(0.0);
    (0..PLACES).into_par_iter().map(at).collect()
}

/// Whether no neighbour is lower; of equal neighbours the first counts.
fn is_lowest(speed: &[f64], place: usize) -> bool {
    let count = speed.len();
    speed[place] < speed[(place + count - 1) % count] && speed[place] <= speed[(place + 1) % count]
}

/// How far the speed rises on the lower side before it falls below that of `place`, on a closed lap.
fn prominence(speed: &[f64], place: usize) -> f64 {
    let count = speed.len();
    let rise = |step: usize| {
        let others = (1..count).map(|n| speed[(place + n * step) % count]);
        others.take_while(|v| *v >= speed[place]).fold(speed[place], f64::max)
    };
    rise(1).min(rise(count - 1)) - speed[place]
}

/// Joins sections that are too short to time, the shortest first.
fn join_short(points: &mut Vec<(usize, f64)>, usual: &TimeAlong) {
    while points.len() > LEAST_SECTIONS {
        let next = |n: usize| (n + 1) % points.len();
        let seconds = |n: usize| {
            let (from, to) = (share_at(points[n].0), share_at(points[next(n)].0));
            let to = if to > from { to } else { to + 1.0 };
            usual.time_at(to) - usual.time_at(from)
        };
        let Some(shortest) = (0..points.len()).min_by(|a, b| seconds(*a).total_cmp(&seconds(*b))) else { return };
        if seconds(shortest) >= SHORTEST_S {
            return;
        }
        let end = next(shortest);
        points.remove(if points[shortest].1 < points[end].1 { shortest } else { end });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prominence_by_hand() {
        // A valley of 1 between peaks of 5 and 4, and one of 3 between the 4 and the 5: 4 − 1 and … the 5 − 3 side is
        // lower on the other: 4 − 3.
        let speed = [5.0, 1.0, 4.0, 3.0];
        assert!(is_lowest(&speed, 1) && is_lowest(&speed, 3) && !is_lowest(&speed, 0));
        assert_eq!(prominence(&speed, 1), 4.0);
        assert_eq!(prominence(&speed, 3), 1.0);
    }
}
