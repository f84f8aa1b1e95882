//! A value that is known beforehand, and is found to lie below a bound that is uncertain itself.

use std::f64::consts::TAU;

use statrs::distribution::{ContinuousCDF, Normal};

use crate::quantity::Uncertain;

/// Least probability of lying below the bound: a bound that far off is not believed.
const LEAST_PROBABILITY: f64 = 1e-6;

/// Mean and standard deviation of a normally distributed value times the probability that a normally distributed
/// `bound` lies above it (moments of a normal times a probit; Rasmussen and Williams 2006, 3.9, from memory).
pub fn below(value: Uncertain, bound: Uncertain) -> Uncertain {
    let variance = value.standard_u.powi(2);
    let apart = variance + bound.standard_u.powi(2);
    let z = (bound.value - value.value) / apart.sqrt();
    let below = Normal::standard().cdf(z).max(LEAST_PROBABILITY);
    let hazard = (-z * z / 2.0).exp() / TAU.sqrt() / below;
    let mean = value.value - variance * hazard / apart.sqrt();
    let left = variance - variance * variance / apart * hazard * (z + hazard);
    Uncertain::new(mean, left.max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_of_a_normal_distribution() {
        // A standard normal value below 0: mean −√(2/π), variance 1 − 2/π (textbook).
        let half = below(Uncertain::new(0.0, 1.0), Uncertain::new(0.0, 0.0));
        assert!((half.value + (2.0 / std::f64::consts::PI).sqrt()).abs() < 1e-9, "{half:?}");
        assert!((half.standard_u.powi(2) - (1.0 - 2.0 / std::f64::consts::PI)).abs() < 1e-9, "{half:?}");
    }

    #[test]
    fn a_bound_far_above_changes_nothing() {
        let same = below(Uncertain::new(0.5, 0.1), Uncertain::new(2.0, 0.1));
        assert!((same.value - 0.5).abs() < 1e-9 && (same.standard_u - 0.1).abs() < 1e-9, "{same:?}");
    }
}
