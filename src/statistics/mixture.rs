//! Mixtures: what several weighted hypotheses say together.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

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

/// Most steps towards a quantile: as many halve a range to 1e-15 of itself.
const MOST_STEPS: usize = 50;
/// A quantile is found where a step is shorter than this share of the range.
const CLOSE: f64 = 1e-12;
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
    Estimate { value: quantile(components, 0.5), low: quantile(components, 0.025), high: quantile(components, 0.975) }
}

/// The value that a mixture is below with probability `p`: Newton's steps, halved ranges where they do not narrow it
/// (textbook).
fn quantile(components: &[Component], p: f64) -> f64 {
    let reach = |sign: f64| {
        let end = |c: &Component| sign * c.mean + REACH * c.variance.sqrt();
        components.iter().map(end).fold(f64::NEG_INFINITY, f64::max) * sign
    };
    let (mut low, mut high) = (reach(-1.0), reach(1.0));
    let close = CLOSE * (high - low);
    let mut x = (low + high) / 2.0;
    let mut step_before = high - low;
    for _ in 0..MOST_STEPS {
        let (below, density) = below_and_density(components, x);
        if below < p {
            low = x
        } else {
            high = x
        }
        let newton = (p - below) / density;
        let narrows = newton.abs() < step_before / 2.0 && (low..=high).contains(&(x + newton));
        let step = if narrows { newton } else { (low + high) / 2.0 - x };
        x += step;
        if step.abs() <= close {
            break;
        }
        step_before = step.abs();
    }
    x
}

/// Probability that a mixture is below `x`, and its density there.
fn below_and_density(components: &[Component], x: f64) -> (f64, f64) {
    let normal = Normal::standard();
    let of_one = |c: &Component| {
        let deviation = c.variance.sqrt().max(LEAST_DEVIATION);
        let z = (x - c.mean) / deviation;
        (c.weight * normal.cdf(z), c.weight * normal.pdf(z) / deviation)
    };
    components.iter().map(of_one).fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1))
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

    #[test]
    fn two_normals_far_apart_have_the_quantiles_of_their_halves() {
        // The median lies between them, where nothing is; 2.5 % of all are 5 % of one: 1.6449 deviations out.
        let one = |mean: f64| Component { weight: 0.5, mean, variance: 1.0 };
        let found = of_normals(&[one(-20.0), one(20.0)]);
        assert!((found.low + 21.644_853_6).abs() < 1e-6 && (found.high - 21.644_853_6).abs() < 1e-6, "{found:?}");
        assert!((-14.0..=14.0).contains(&found.value), "{found:?}");
    }

    #[test]
    fn a_certain_component_among_wide_ones() {
        let all =
            [Component { weight: 0.6, mean: 1.0, variance: 0.0 }, Component { weight: 0.4, mean: 1.0, variance: 9.0 }];
        let found = of_normals(&all);
        assert!((found.value - 1.0).abs() < 1e-6, "{found:?}");
        // 2.5 % of all are 6.25 % of the wide one: 1.5341 deviations out (table of the normal distribution).
        assert!((found.low - (1.0 - 3.0 * 1.534_12)).abs() < 1e-4, "{found:?}");
    }
}
