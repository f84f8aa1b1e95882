//! One value from several that each have an uncertainty of their own and differ by more than it (random effects).
//!
//! The variance between them by the method of moments (DerSimonian and Laird 1986, Controlled Clinical Trials 7, 177),
//! the interval from the weighted scatter with Student's t (Hartung and Knapp 2001, Statistics in Medicine 20, 3875),
//! never narrower than the values' own uncertainties allow (the scale at least 1: Röver, Knapp and Friede 2015, BMC
//! Medical Research Methodology 15, 99). With two values t has one degree of freedom, and the interval is as wide as
//! that means. Where one of the values has no uncertainty of its own, all count alike.
//!
//! The values' own uncertainties must be well known. Uncertainties from a handful of values are not: weights made of
//! them favour whichever set happened to agree, and the interval claims too much. Pool such values alike.
//!
//! ```
//! use runtrue::quantity::Uncertain;
//! // Two like values: t of one degree of freedom, 12.706, times the uncertainty of their mean.
//! let value = Uncertain::new(1.0, 0.2);
//! let pooled = runtrue::statistics::random_effects::pool(&[value, value]).unwrap();
//! assert!((pooled.estimate.unwrap().half_width() - 12.706 * 0.2 / 2f64.sqrt()).abs() < 1e-3);
//! ```

use super::coverage::coverage_factor;
use super::mean::mean_and_deviation;
use crate::quantity::{Estimate, Uncertain};

/// Several values as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// Their mean.
    pub value: f64,
    /// The mean with its 95 % interval; `None` for a lone value without an uncertainty of its own.
    pub estimate: Option<Estimate>,
    /// Standard deviation between them: beyond their own uncertainties where all have one, else with them.
    pub between: f64,
    /// How many.
    pub count: usize,
}

/// The weighted mean under one variance between the values.
struct WeightedMean {
    mean: f64,
    /// Sum of the weights, and of their squares.
    weights: f64,
    squares: f64,
    /// Weighted squares of the distances from the mean.
    scatter: f64,
}

impl WeightedMean {
    fn new(values: &[Uncertain], between: f64) -> Self {
        let each: Vec<f64> = values.iter().map(|v| 1.0 / (v.standard_u * v.standard_u + between)).collect();
        let weights: f64 = each.iter().sum();
        let mean = values.iter().zip(&each).map(|(v, w)| v.value * w).sum::<f64>() / weights;
        let scatter = values.iter().zip(&each).map(|(v, w)| w * (v.value - mean).powi(2)).sum();
        Self { mean, weights, squares: each.iter().map(|w| w * w).sum::<f64>(), scatter }
    }
}

/// The values as one, all counting alike: for values whose own uncertainties are not well known. `None` without any.
pub fn pool_alike(values: impl IntoIterator<Item = f64>) -> Option<Pooled> {
    pool(&values.into_iter().map(|v| Uncertain::new(v, 0.0)).collect::<Vec<_>>())
}

/// The values, each with its standard uncertainty (0 where it is not known), as one; `None` without any.
pub fn pool(values: &[Uncertain]) -> Option<Pooled> {
    let count = values.len();
    let first = values.first()?;
    if count == 1 {
        let estimate = (first.standard_u > 0.0).then(|| Estimate::from(*first));
        return Some(Pooled { value: first.value, estimate, between: 0.0, count });
    }
    let degrees = (count - 1) as f64;
    let factor = coverage_factor(degrees, 0.95);
    if values.iter().any(|v| v.standard_u <= 0.0 || !v.standard_u.is_finite()) {
        let (value, between) = mean_and_deviation(&values.iter().map(|v| v.value).collect::<Vec<_>>())?;
        let estimate = Estimate::from_half_width(value, factor * between / (count as f64).sqrt());
        // Values that do not differ at all were rounded alike: they say nothing of their uncertainty.
        return Some(Pooled { value, estimate: (between > 0.0).then_some(estimate), between, count });
    }
    let fixed = WeightedMean::new(values, 0.0);
    let between = ((fixed.scatter - degrees) / (fixed.weights - fixed.squares / fixed.weights)).max(0.0);
    let random = WeightedMean::new(values, between);
    let scale = (random.scatter / degrees).max(1.0);
    let estimate = Estimate::from_half_width(random.mean, factor * (scale / random.weights).sqrt());
    Some(Pooled { value: random.mean, estimate: Some(estimate), between: between.sqrt(), count })
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
            let numbers = |key: &str| case[key].as_array().unwrap().iter().map(|v| v.as_f64().unwrap());
            let each = numbers("values").zip(numbers("variances"));
            let values: Vec<_> = each.map(|(value, variance)| Uncertain::new(value, variance.sqrt())).collect();
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
    fn values_without_an_uncertainty_of_their_own_count_alike() {
        // Mean 2, deviation 1, t of two degrees of freedom 4.303 (JCGM 100:2008, table G.2, 4.30).
        let pooled = pool(&[Uncertain::new(1.0, 0.0), Uncertain::new(2.0, 0.5), Uncertain::new(3.0, 0.0)]).unwrap();
        let found = pooled.estimate.unwrap();
        assert!((found.value - 2.0).abs() < 1e-12 && (found.half_width() - 4.303 / 3f64.sqrt()).abs() < 1e-3);
        assert_eq!(pool(&[Uncertain::new(1.0, 0.0)]).unwrap().estimate, None);
        assert_eq!(pool(&[]), None);
    }
}
