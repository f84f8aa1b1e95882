//! Mann and Kendall's test of a trend: the pairs that rise less those that fall, S, and how probable such an S is by
//! chance.
//!
//! Without ties the distribution of S under no trend is exact, from the count of permutations with so many inversions
//! (Kendall 1938, Biometrika 30, 81). The normal approximation is wrong for a few values, and serves with ties alone,
//! with their variance and a continuity correction (Kendall 1975; EPA QA/G-9S).

use statrs::distribution::{ContinuousCDF, Normal};

/// Probability of an S as far from zero as `s` or farther among `values` without a trend, two-sided.
pub fn p(values: &[f64], s: i64) -> f64 {
    let ties = ties(values);
    if ties.is_empty() { exact_p(values.len(), s) } else { normal_p(values.len(), s, &ties) }
}

/// Sizes of the groups of equal values.
fn ties(values: &[f64]) -> Vec<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(<[f64]>::len).filter(|&n| n > 1).collect()
}

/// Probability of at most so many inversions among permutations of `n`, for each number of them.
pub(super) fn inversions(n: usize) -> Vec<f64> {
    let mut at_most = vec![1.0];
    for size in 2..=n {
        // A further element adds 0 to `size - 1` inversions, each as probable.
        let counts = pairs(size) + 1;
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

fn pairs(n: usize) -> usize {
    n * (n - 1) / 2
}

/// Probability that S is `s` or more, exact: S is the pairs less twice the inversions.
pub(super) fn p_at_least(at_most: &[f64], s: i64) -> f64 {
    let pairs = at_most.len() as i64 - 1;
    usize::try_from((pairs - s).div_euclid(2)).map_or(0.0, |k| at_most[k.min(at_most.len() - 1)])
}

fn exact_p(n: usize, s: i64) -> f64 {
    (2.0 * p_at_least(&inversions(n), s.abs())).min(1.0)
}

/// Variance of S among `n` values, of which groups of these sizes are equal.
fn variance(n: usize, ties: &[usize]) -> f64 {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_after_the_epas_example() {
        // EPA QA/G-9S, worked example: S = 22, variance 155.33, z = 1.685, p = 0.0920.
        let values = [10.0, 10.0, 10.0, 5.0, 10.0, 20.0, 18.0, 17.0, 15.0, 24.0, 15.0];
        assert!((variance(11, &ties(&values)) - 155.333).abs() < 1e-3);
        assert!((p(&values, 22) - 0.0920).abs() < 1e-4, "{}", p(&values, 22));
    }
}
