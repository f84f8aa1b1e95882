//! Channels that stay at one value while something else shows that they must move.

use super::swings::Swing;
use super::{Evidence, Subject, Why};

/// So many turning points of another channel must pass while a value stands, before it counts as stuck. Common
/// practice, no source: a car at a steady speed, or a recorder that holds a value over some rows, has fewer.
const TURNING_POINTS: usize = 4;
/// And so much time, s. Common practice, no source: recorders hold a value for a second at most.
const LEAST_S: f64 = 3.0;

/// A channel that was wrong for more than this share of the driving is not used. Common practice, no source.
const MUCH: f64 = 0.10;

/// What a channel is worth that was wrong for a `share` of the driving.
pub fn graded(of: Subject, share: f64, why: impl Into<Why>) -> Evidence {
    if share > MUCH { Evidence::unusable(of, why.into()) } else { Evidence::doubtful(of, why.into()) }
}

/// `for 40 % of the drive`, or `all the time`.
pub fn for_share(share: f64) -> String {
    if share > 0.95 { "all the time".to_owned() } else { format!("for {:.0} % of the drive", 100.0 * share) }
}

/// A channel that was stuck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frozen {
    /// The value at which it was stuck the longest.
    pub value: f64,
    /// Share of the time of the other channel's swings in which it was stuck.
    pub share: f64,
}

/// Looks for stretches of one and the same value in which the `other` channel went on swinging. `None` without
/// such a stretch.
pub fn frozen(time: &[f64], values: &[f64], other: &[Swing]) -> Option<Frozen> {
    let (first, last) = (other.first()?, other.last()?);
    let turning_points = |from: f64, to: f64| {
        other.partition_point(|s| s.to_s <= to).saturating_sub(other.partition_point(|s| s.to_s < from))
    };
    let (mut seconds, mut longest) = (0.0, (0.0, f64::NAN));
    let mut count = |from: usize, to: usize| {
        let (from_s, to_s) = (time[from].max(first.from_s), time[to].min(last.to_s));
        let long = to_s - from_s;
        if long < LEAST_S || turning_points(from_s, to_s) < TURNING_POINTS {
            return;
        }
        seconds += long;
        if long > longest.0 {
            longest = (long, values[from]);
        }
    };
    let mut rows = (0..values.len()).filter(|&n| values[n].is_finite());
    let mut start = rows.next()?;
    let mut end = start;
    for n in rows {
        if values[n] != values[start] {
            count(start, end);
            start = n;
        }
        end = n;
    }
    count(start, end);
    let share = seconds / (last.to_s - first.from_s);
    (seconds > 0.0).then_some(Frozen { value: longest.1, share })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One swing a second.
    fn swings(count: usize) -> Vec<Swing> {
        let swing = |n: usize| Swing { from_s: n as f64, to_s: n as f64 + 1.0, from: 0.0, to: 1.0 };
        (0..count).map(swing).collect()
    }

    #[test]
    fn a_value_that_stands_over_many_swings_is_stuck_and_one_that_is_held_for_a_second_is_not() {
        let time: Vec<f64> = (0..200).map(|n| f64::from(n) * 0.1).collect();
        let held: Vec<f64> = (0..200).map(|n| f64::from(n / 10)).collect();
        assert_eq!(frozen(&time, &held, &swings(20)), None);
        // It moves for five seconds of twenty, and then stands.
        let stuck: Vec<f64> = (0..200).map(|n| f64::from(n.min(50))).collect();
        let found = frozen(&time, &stuck, &swings(20)).unwrap();
        assert!(found.value == 50.0 && (found.share - 0.745).abs() < 0.01, "{found:?}");
        // A car that stands may leave its current at nought.
        assert_eq!(frozen(&time, &stuck, &swings(2)), None);
    }
}
