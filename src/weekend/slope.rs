//! Trends over a few runs: Theil and Sen's slope, and Mann and Kendall's test.
//!
//! The slope is the median of all pairwise slopes (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63, 1379). The test counts the pairs that rise
//! less those that fall, S; without ties its distribution under no trend is exact, from the count of permutations with so many inversions (Kendall 1938).
//! The normal approximation is wrong for the few runs of a weekend, and serves with ties alone, with their variance and a continuity
//! correction (Kendall 1975; EPA QA/G-9S). The interval inverts the exact test (Hollander and Wolfe 1999, 9.3).
//!
//! ```
//! // Five runs that all rise: one permutation of 120 does, so p is 2/120.
//! let trend = runtrue::weekend::slope::trend(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.95).unwrap();
//! assert!((trend.p - 2.0 / 120.0).abs() < 1e-12 && trend.per_run == 1.0);
//! ```

use statrs::distribution::{ContinuousCDF, Normal};

use crate::quantity::median;

/// Fewest values that have a slope worth a word.
const LEAST: usize = 3;

/// A trend over runs in order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Median change a run.
    pub per_run: f64,
    /// The interval of the asked level; `None` where so few runs cannot have one.
    pub interval: Option<(f64, f64)>,
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// Probability of such an S or one farther from zero without a trend.
    pub p: f64,
}

/// The trend of values at runs 0, 1, 2, …; `None` for fewer than three.
pub fn trend(values: &[f64], level: f64) -> Option<Slope> {
    let at: Vec<(f64, f64)> = values.iter().enumerate().map(|(n, v)| (n as f64, *v)).collect();
    trend_of(&at, level)
}

/// The trend of `(place, value)` pairs with places that differ.
pub fn trend_of(points: &[(f64, f64)], level: f64) -> Option<Slope> {
    let n = points.len();
    if n < LEAST {
        return None;
    }
    let pairs = || (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
    let mut slopes: Vec<f64> =
        pairs().map(|(i, j)| (points[j].1 - points[i].1) / (points[j].0 - points[i].0)).collect();
    slopes.sort_by(f64::total_cmp);
    let s: i64 = slopes
        .iter()
        .map(|b| {
            if *b > 0.0 {
                1
            } else if *b < 0.0 {
                -1
            } else {
                0
            }
        })
        .sum();
    let ties = ties(points.iter().map(|p| p.1));
    let p = if ties.is_empty() { exact_p(n, s) } else { normal_p(n, s, &ties) };
    let per_run = median(slopes.iter().copied())?;
    Some(Slope { per_run, interval: interval(&slopes, n, level), s, p })
}

/// Sizes of the groups of equal values.
fn ties(values: impl Iterator<Item = f64>) -> Vec<usize> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(<[f64]>::len).filter(|&n| n > 1).collect()
}

/// Probability of at most so many inversions among permutations of `n`, for each number of them.
fn inversions(n: usize) -> Vec<f64> {
    let mut at_most = vec![1.0];
    for size in 2..=n {
        // A further element adds 0 to `size - 1` inversions, each as probable.
        let counts = n_pairs(size) + 1;
        let below = |k: usize| at_most[k.min(at_most.len() - 1)];
        let chance = |k: usize| (below(k) - if k < size { 0.0 } else { below(k - size) }) / size as f64;
        let next: Vec<f64> = (0..counts)
            .scan(0.0, |sum, k| {
                *sum += chance(k);
                Some(*sum)
            })
            .collect();
        at_most = next;
    }
    at_most
}

fn n_pairs(n: usize) -> usize {
    n * (n - 1) / 2
}

/// Probability that S is `s` or more, exact: S is the pairs less twice the inversions.
fn at_least(at_most: &[f64], s: i64) -> f64 {
    let pairs = at_most.len() as i64 - 1;
    usize::try_from((pairs - s).div_euclid(2)).map_or(0.0, |k| at_most[k.min(at_most.len() - 1)])
}

fn exact_p(n: usize, s: i64) -> f64 {
    (2.0 * at_least(&inversions(n), s.abs())).min(1.0)
}

/// Variance of S with ties.
pub fn variance(n: usize, ties: &[usize]) -> f64 {
    let term = |t: usize| (t * (t - 1) * (2 * t + 5)) as f64;
    (term(n) - ties.iter().map(|t| term(*t)).sum::<f64>()) / 18.0
}

fn normal_p(n: usize, s: i64, ties: &[usize]) -> f64 {
    let variance = variance(n, ties);
    if s == 0 || variance <= 0.0 {
        return 1.0;
    }
    let z = (s.abs() - 1) as f64 / variance.sqrt();
    2.0 * (1.0 - Normal::standard().cdf(z))
}

/// Interval of the slope from the exact distribution of S; `None` where even the farthest S is too probable.
fn interval(sorted: &[f64], n: usize, level: f64) -> Option<(f64, f64)> {
    let (pairs, chance, tail) = (sorted.len() as i64, inversions(n), (1.0 - level) / 2.0);
    // Levels as published round the tail to two digits.
    let critical = (0..=pairs).filter(|s| (pairs - s) % 2 == 0).find(|&s| at_least(&chance, s) <= tail + 1e-12)?;
    let low = (pairs - (critical - 2)) / 2;
    let high = (pairs + (critical - 2)) / 2 + 1;
    let at = |rank: i64| sorted.get(usize::try_from(rank - 1).ok()?).copied();
    at(low).zip(at(high))
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
        // Sen takes the 4th and the 18th of the 21 slopes, and names 0.93 for them. By the exact distribution of S these two
        // ranks leave out S of 15 and beyond: their level is 1 - 2·P(S >= 15) = 0.9698, so 0.9697 is what must be asked for.
        let trend = trend_of(&points, 0.9697).unwrap();
        let (low, high) = trend.interval.unwrap();
        assert!((trend.per_run - 4.0).abs() < 1e-12);
        assert!((low - 26.0 / 7.0).abs() < 1e-12 && (high - 35.0 / 8.0).abs() < 1e-12, "{low} {high}");
    }

    #[test]
    fn ties_after_the_epas_example() {
        // EPA QA/G-9S, worked example: S = 22, variance 155.33, z = 1.685, p = 0.0920.
        let values = [10.0, 10.0, 10.0, 5.0, 10.0, 20.0, 18.0, 17.0, 15.0, 24.0, 15.0];
        let trend = trend(&values, 0.95).unwrap();
        assert_eq!(trend.s, 22);
        assert!((variance(11, &[4, 2]) - 155.333).abs() < 1e-3);
        assert!((trend.p - 0.0920).abs() < 1e-4, "{}", trend.p);
    }

    #[rstest]
    // Exact null distribution by counting permutations (data from memory): two-sided 0.2333 where the normal approximation gives 0.2207.
    #[case(&[5.0, 6.0, 11.0, 8.0, 10.0], 6, 0.233_333, 1.125)]
    #[case(&[1.0, 2.0, 3.0, 4.0], 6, 2.0 / 24.0, 1.0)]
    #[case(&[3.0, 2.0, 1.0], -3, 2.0 / 6.0, -1.0)]
    fn few_points_are_exact(#[case] values: &[f64], #[case] s: i64, #[case] p: f64, #[case] slope: f64) {
        let trend = trend(values, 0.95).unwrap();
        assert_eq!(trend.s, s);
        assert!((trend.p - p).abs() < 1e-5 && (trend.per_run - slope).abs() < 1e-12, "{trend:?}");
    }

    #[test]
    fn four_runs_have_no_interval() {
        assert_eq!(trend(&[1.0, 2.0, 3.0, 4.0], 0.95).unwrap().interval, None);
    }
}
