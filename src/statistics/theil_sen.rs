//! Theil and Sen's slope: the median of the slopes of all pairs of points (Theil 1950; Sen 1968, J. Am. Stat. Assoc.
//! 63, 1379).
//!
//! Whether it is more than chance is asked of Mann and Kendall's test ([`super::kendall`]); the interval inverts the
//! exact test (Hollander and Wolfe 1999, 9.3). One wild value moves neither much. Assumes values that do not depend on
//! each other.
//!
//! ```
//! // Five values that all rise: one permutation of 120 does, so p is 2/120.
//! let slope = runtrue::statistics::theil_sen::slope_by_order(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.95).unwrap();
//! assert!((slope.p - 2.0 / 120.0).abs() < 1e-12 && slope.per_step == 1.0);
//! ```

use super::kendall;
use super::quantiles::median;

/// Fewest points that have a slope worth a word.
const LEAST: usize = 3;

/// A slope, its interval and its test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Median change for one step of the place.
    pub per_step: f64,
    /// Lower and upper end of the interval of the asked level; `None` where so few points cannot have one.
    pub interval: Option<(f64, f64)>,
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// Probability of such an S or one farther from zero without a trend.
    pub p: f64,
}

/// The slope of values at the places 0, 1, 2, … with the interval of probability `level`; `None` for fewer than three.
pub fn slope_by_order(values: &[f64], level: f64) -> Option<Slope> {
    let points: Vec<(f64, f64)> = values.iter().enumerate().map(|(n, v)| (n as f64, *v)).collect();
    slope(&points, level)
}

/// The slope of `(place, value)` points whose places rise, with the interval of probability `level`; `None` for fewer
/// than three.
pub fn slope(points: &[(f64, f64)], level: f64) -> Option<Slope> {
    let n = points.len();
    if n < LEAST {
        return None;
    }
    let pairs = || (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
    let mut slopes: Vec<f64> =
        pairs().map(|(i, j)| (points[j].1 - points[i].1) / (points[j].0 - points[i].0)).collect();
    slopes.sort_by(f64::total_cmp);
    let s = slopes.iter().map(|b| i64::from(*b > 0.0) - i64::from(*b < 0.0)).sum();
    let values: Vec<f64> = points.iter().map(|p| p.1).collect();
    let per_step = median(slopes.iter().copied())?;
    Some(Slope { per_step, interval: interval(&slopes, n, level), s, p: kendall::p(&values, s) })
}

/// Interval of the slope from the exact distribution of S; `None` where even the farthest S is too probable.
fn interval(sorted: &[f64], n: usize, level: f64) -> Option<(f64, f64)> {
    let (pairs, chance, tail) = (sorted.len() as i64, kendall::inversions(n), (1.0 - level) / 2.0);
    // Levels as published round the tail to two digits.
    let small = |s: &i64| kendall::p_at_least(&chance, *s) <= tail + 1e-12;
    let critical = (0..=pairs).filter(|s| (pairs - s) % 2 == 0).find(small)?;
    let low = (pairs - (critical - 2)) / 2;
    let high = (pairs + (critical - 2)) / 2 + 1;
    let ranked = |rank: i64| sorted.get(usize::try_from(rank - 1).ok()?).copied();
    ranked(low).zip(ranked(high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[test]
    fn sens_own_example() {
        // Sen (1968), section 6, as in scipy's tests: slope 4, 93 % interval 26/7 to 35/8.
        let x = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0];
        let y = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0];
        let points: Vec<(f64, f64)> = x.into_iter().zip(y).collect();
        // Sen takes the 4th and the 18th of the 21 slopes, which lets S of 13 pass for inside. By the exact
        // distribution that is the level 1 − 2·P(S ≥ 15) = 0.9697; Kendall's table gives 0.93 without S of 13.
        let slope = slope(&points, 0.9697).unwrap();
        let (low, high) = slope.interval.unwrap();
        assert!((slope.per_step - 4.0).abs() < 1e-12);
        assert!((low - 26.0 / 7.0).abs() < 1e-12 && (high - 35.0 / 8.0).abs() < 1e-12, "{low} {high}");
    }

    #[test]
    fn ties_count_neither_way() {
        // EPA QA/G-9S, worked example: S = 22, p = 0.0920.
        let values = [10.0, 10.0, 10.0, 5.0, 10.0, 20.0, 18.0, 17.0, 15.0, 24.0, 15.0];
        let slope = slope_by_order(&values, 0.95).unwrap();
        assert_eq!(slope.s, 22);
        assert!((slope.p - 0.0920).abs() < 1e-4, "{}", slope.p);
    }

    #[rstest]
    // Exact null distribution by counting permutations (data from memory): two-sided 0.2333 where the normal
    // approximation gives 0.2207.
    #[case(&[5.0, 6.0, 11.0, 8.0, 10.0], 6, 0.233_333, 1.125)]
    #[case(&[1.0, 2.0, 3.0, 4.0], 6, 2.0 / 24.0, 1.0)]
    #[case(&[3.0, 2.0, 1.0], -3, 2.0 / 6.0, -1.0)]
    fn few_points_are_exact(#[case] values: &[f64], #[case] s: i64, #[case] p: f64, #[case] expected: f64) {
        let slope = slope_by_order(values, 0.95).unwrap();
        assert_eq!(slope.s, s);
        assert!((slope.p - p).abs() < 1e-5 && (slope.per_step - expected).abs() < 1e-12, "{slope:?}");
    }

    #[test]
    fn four_values_have_no_interval() {
        assert_eq!(slope_by_order(&[1.0, 2.0, 3.0, 4.0], 0.95).unwrap().interval, None);
    }
}
