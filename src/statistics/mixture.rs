//! Mixtures: what several weighted hypotheses say together.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::quantity::{Estimate, Uncertain};

/// A value that has a weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighted {
    /// Its weight; all of a mixture add up to one.
    pub weight: f64,
    /// The value.
    pub value: f64,
}

/// One normal distribution of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Its weight; all of a mixture add up to one.
    pub weight: f64,
    /// Its mean.
    pub mean: f64,
    /// Its variance.
    pub variance: f64,
}

/// Steps of the bisection for a quantile: a range is narrowed to 1e-15 of itself.
const BISECTIONS: usize = 50;
/// Deviations from the outermost mean between which the quantiles are looked for.
const REACH: f64 = 6.0;
/// Least standard deviation of a component, so that a certain one has a distribution at all.
const LEAST_DEVIATION: f64 = 1e-9;

/// Mean and standard deviation of weighted values, each with the variance `inner` of its own.
pub fn moments(values: impl Iterator<Item = Weighted> + Clone, inner: f64) -> Uncertain {
    let mean: f64 = values.clone().map(|v| v.weight * v.value).sum();
    let spread: f64 = values.map(|v| v.weight * (v.value - mean).powi(2)).sum();
    Uncertain::new(mean, (spread + inner).sqrt())
}

/// A positive quantity from weighted logarithms of it, each with the standard uncertainty `own_u`.
pub fn of_logarithms(logarithms: impl Iterator<Item = Weighted> + Clone, own_u: f64) -> Estimate {
    let e = Estimate::from(moments(logarithms, own_u * own_u));
    Estimate { value: e.value.exp(), low: e.low.exp(), high: e.high.exp() }
}

/// Median and 95 % interval of a mixture of normal distributions.
pub fn of_normals(components: &[Component]) -> Estimate {
    let normal = Normal::standard();
    let below = |x: f64| {
        let share = |c: &Component| c.weight * normal.cdf((x - c.mean) / c.variance.sqrt().max(LEAST_DEVIATION));
        components.iter().map(share).sum::<f64>()
    };
    let reach = |sign: f64| {
        let end = |c: &Component| sign * c.mean + REACH * c.variance.sqrt();
        components.iter().map(end).fold(f64::NEG_INFINITY, f64::max) * sign
    };
    let quantile = |p: f64| {
        let (mut low, mut high) = (reach(-1.0), reach(1.0));
        for _ in 0..BISECTIONS {
            let middle = (low + high) / 2.0;
            if below(middle) < p { low = middle } else { high = middle }
        }
        (low + high) / 2.0
    };
    Estimate { value: quantile(0.5), low: quantile(0.025), high: quantile(0.975) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_normal_is_its_own_mixture() {
        let found = of_normals(&[Component { weight: 1.0, mean: 5.0, variance: 4.0 }]);
        let expected = Estimate::from_standard(5.0, 2.0);
        assert!((found.value - 5.0).abs() < 1e-9 && (found.low - expected.low).abs() < 1e-9, "{found:?}");
    }
}
