//! One value from several that each have a doubt of their own and differ by more than it: runs of a weekend, weekends of a season.
//!
//! The variance between them by the method of moments (DerSimonian and Laird 1986, Controlled Clinical Trials 7, 177), the interval from the weighted
//! scatter with Student's t (Hartung and Knapp 2001, Statistics in Medicine 20, 3875), never narrower than the values' own doubts allow (the scale at
//! least 1: Röver, Knapp and Friede 2015, BMC Medical Research Methodology 15, 99). With two values t has one degree of freedom, and the interval is as
//! wide as that means. Where one of the values has no doubt of its own, all count alike.
//!
//! Own doubts must be known well, as those within a run are. Doubts from a few runs' scatter are not: weights made of them favour whichever set of runs
//! happened to agree, and the interval claims too much. Weekends are pooled alike.
//!
//! ```
//! // Two like values: t of one degree of freedom, 12.706, times the doubt of their mean.
//! let pooled = runtrue::season::pool::pool(&[(1.0, 0.2), (1.0, 0.2)]).unwrap();
//! assert!((pooled.estimate.unwrap().half_width() - 12.706 * 0.2 / 2f64.sqrt()).abs() < 1e-3);
//! ```

use crate::quantity::{Estimate, coverage_factor, mean_and_deviation};

/// Several values as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// Their mean.
    pub value: f64,
    /// The mean with its 95 % interval; `None` for a lone value without a doubt of its own.
    pub estimate: Option<Estimate>,
    /// Standard deviation between them: beyond their own doubts where all have one, else with them.
    pub between: f64,
    /// How many.
    pub count: usize,
}

/// The values as one, all counting alike: for values whose own doubts are not known well.
pub fn pool_alike(values: impl IntoIterator<Item = f64>) -> Option<Pooled> {
    pool(&values.into_iter().map(|v| (v, 0.0)).collect::<Vec<_>>())
}

/// The values, each with its standard uncertainty (0 where it is not known), as one; `None` without any.
pub fn pool(values: &[(f64, f64)]) -> Option<Pooled> {
    let count = values.len();
    let &(first, doubt) = values.first()?;
    if count == 1 {
        let estimate = (doubt > 0.0).then(|| Estimate::from_standard(first, doubt));
        return Some(Pooled { value: first, estimate, between: 0.0, count });
    }
    let factor = coverage_factor((count - 1) as f64, 0.95);
    if values.iter().any(|v| v.1 <= 0.0 || !v.1.is_finite()) {
        let (mean, deviation) = mean_and_deviation(&values.iter().map(|v| v.0).collect::<Vec<_>>())?;
        let estimate = Estimate::from_half_width(mean, factor * deviation / (count as f64).sqrt());
        // Values that do not differ at all were rounded alike: they say nothing of their doubt.
        return Some(Pooled {
            value: mean,
            estimate: (deviation > 0.0).then_some(estimate),
            between: deviation,
            count,
        });
    }
    let mean = |between: f64| {
        let weights: Vec<f64> = values.iter().map(|v| 1.0 / (v.1 * v.1 + between)).collect();
        let all: f64 = weights.iter().sum();
        let mean = values.iter().zip(&weights).map(|(v, w)| v.0 * w).sum::<f64>() / all;
        let scatter: f64 = values.iter().zip(&weights).map(|(v, w)| w * (v.0 - mean).powi(2)).sum();
        (mean, all, scatter, weights.iter().map(|w| w * w).sum::<f64>())
    };
    let (_, all, scatter, squares) = mean(0.0);
    let between = ((scatter - (count - 1) as f64) / (all - squares / all)).max(0.0);
    let (value, all, scatter, _) = mean(between);
    let scale = (scatter / (count - 1) as f64).max(1.0);
    let estimate = Estimate::from_half_width(value, factor * (scale / all).sqrt());
    Some(Pooled { value, estimate: Some(estimate), between: between.sqrt(), count })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// statsmodels 0.15.0 (`tests/reference/peers/make_pool.py`).
    #[test]
    fn random_effects_of_statsmodels() {
        let cases: serde_json::Value =
            serde_json::from_str(include_str!("../../tests/reference/peers/pool.json")).unwrap();
        for case in cases.as_array().unwrap() {
            let numbers = |of: &str| case[of].as_array().unwrap().iter().map(|v| v.as_f64().unwrap());
            let values: Vec<_> = numbers("values").zip(numbers("variances").map(f64::sqrt)).collect();
            let pooled = pool(&values).unwrap();
            let found = pooled.estimate.unwrap();
            let near = |a: f64, b: &str| assert!((a - case[b].as_f64().unwrap()).abs() < 1e-9, "{b}: {a} in {case}");
            near(pooled.between.powi(2), "tau2");
            near(found.value, "mean");
            near(found.low, "low");
            near(found.high, "high");
        }
    }

    #[test]
    fn values_without_a_doubt_of_their_own_count_alike() {
        // Mean 2, deviation 1, t of two degrees of freedom 4.303 (JCGM 100:2008, table G.2, 4.30).
        let pooled = pool(&[(1.0, 0.0), (2.0, 0.5), (3.0, 0.0)]).unwrap();
        let found = pooled.estimate.unwrap();
        assert!((found.value - 2.0).abs() < 1e-12 && (found.half_width() - 4.303 / 3f64.sqrt()).abs() < 1e-3);
        assert_eq!(pool(&[(1.0, 0.0)]).unwrap().estimate, None);
        assert_eq!(pool(&[]), None);
    }
}
