//! Uncertainty budgets after the *Guide to the expression of uncertainty in measurement* (JCGM 100:2008).
//!
//! Formulas: the law of propagation with covariances (5.2.2, eq. 13) and the effective degrees of freedom of Welch and
//! Satterthwaite (annex G.4.1, eq. G.2b). Assumes a result that is linear in its inputs over their uncertainties.

use schemars::JsonSchema;
use serde::Serialize;

use crate::quantity::coverage_factor;

/// One line of a budget of relative uncertainties.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Contribution {
    /// What it comes from.
    pub what: &'static str,
    /// Its relative standard uncertainty in the result.
    pub relative_u: f64,
    /// Degrees of freedom; infinite where the uncertainty itself is taken for certain.
    #[serde(skip)]
    pub degrees: f64,
}

impl Contribution {
    /// A contribution whose uncertainty is taken for certain.
    pub fn certain(what: &'static str, relative_u: f64) -> Self {
        Self { what, relative_u, degrees: f64::INFINITY }
    }
}

/// Combined standard uncertainty of independent contributions and its effective degrees of freedom.
pub fn combine(contributions: &[(f64, f64)]) -> (f64, f64) {
    let squares: f64 = contributions.iter().map(|(u, _)| u * u).sum();
    let fourth: f64 = contributions.iter().map(|(u, degrees)| u.powi(4) / degrees).sum();
    (squares.sqrt(), if fourth > 0.0 { squares * squares / fourth } else { f64::INFINITY })
}

/// Standard uncertainty of a result with `sensitivities` to inputs of the given covariance.
pub fn propagate(sensitivities: &[f64], covariance: &[Vec<f64>]) -> f64 {
    let rows = sensitivities.iter().zip(covariance);
    rows.map(|(a, row)| a * sensitivities.iter().zip(row).map(|(b, c)| b * c).sum::<f64>()).sum::<f64>().max(0.0).sqrt()
}

/// Half-width of the relative 95 % interval of a budget.
pub fn expanded_95(budget: &[Contribution]) -> f64 {
    let (u, degrees) = combine(&budget.iter().map(|c| (c.relative_u, c.degrees)).collect::<Vec<_>>());
    coverage_factor(degrees, 0.95) * u
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn end_gauge_of_jcgm_100_h_1() {
        // JCGM 100:2008, example H.1: contributions in nm with their degrees of freedom.
        let (u, degrees) = combine(&[(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]);
        assert!((u - 31.66).abs() < 0.02, "{u}");
        assert!((degrees - 16.75).abs() < 0.05, "{degrees}");
        let k = coverage_factor(degrees.floor(), 0.99);
        assert!((k - 2.92).abs() < 0.005, "{k}");
        assert!((k * u - 92.5).abs() < 0.2, "{}", k * u);
    }

    #[test]
    fn resistance_and_reactance_of_jcgm_100_h_2() {
        // JCGM 100:2008, example H.2, table H.2: five sets of V (V), I (A), phase (rad).
        let sets = [
            [5.007, 19.663e-3, 1.0456],
            [4.994, 19.639e-3, 1.0438],
            [5.005, 19.640e-3, 1.0468],
            [4.990, 19.685e-3, 1.0428],
            [4.999, 19.678e-3, 1.0433],
        ];
        let mean: Vec<f64> = (0..3).map(|i| sets.iter().map(|s| s[i]).sum::<f64>() / 5.0).collect();
        let covariance: Vec<Vec<f64>> = (0..3)
            .map(|i| {
                (0..3).map(|j| sets.iter().map(|s| (s[i] - mean[i]) * (s[j] - mean[j])).sum::<f64>() / 20.0).collect()
            })
            .collect();
        let (v, i, phi) = (mean[0], mean[1], mean[2]);
        let (r, x, z) = (v / i * phi.cos(), v / i * phi.sin(), v / i);
        let u_r = propagate(&[r / v, -r / i, -x], &covariance);
        let u_x = propagate(&[x / v, -x / i, r], &covariance);
        let u_z = propagate(&[z / v, -z / i, 0.0], &covariance);
        for (value, expected, tolerance) in [
            (r, 127.732, 0.001),
            (x, 219.847, 0.001),
            (z, 254.260, 0.001),
            (u_r, 0.0711, 0.0002),
            (u_x, 0.2956, 0.0002),
            (u_z, 0.2363, 0.0002),
        ] {
            assert!((value - expected).abs() < tolerance, "{value} for {expected}");
        }
    }
}
