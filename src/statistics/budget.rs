//! Uncertainty budgets after the *Guide to the expression of uncertainty in measurement* (JCGM 100:2008).
//!
//! Formulas: the law of propagation for independent inputs (5.1.2, eq. 10) and the effective degrees of freedom of
//! Welch and Satterthwaite (annex G.4.1, eq. G.2b). Assumes a result that is linear in its inputs over their
//! uncertainties.

use schemars::JsonSchema;
use serde::Serialize;

use super::coverage::coverage_factor;

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

/// A combined standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// The relative standard uncertainty.
    pub relative_u: f64,
    /// Its effective degrees of freedom.
    pub degrees: f64,
}

/// Combined standard uncertainty of independent contributions and its effective degrees of freedom.
pub fn combined(budget: &[Contribution]) -> Combined {
    let squares: f64 = budget.iter().map(|c| c.relative_u * c.relative_u).sum();
    let fourth: f64 = budget.iter().map(|c| c.relative_u.powi(4) / c.degrees).sum();
    let degrees = if fourth > 0.0 { squares * squares / fourth } else { f64::INFINITY };
    Combined { relative_u: squares.sqrt(), degrees }
}

/// Half-width of the 95 % interval of a budget, relative.
pub fn expanded_95(budget: &[Contribution]) -> f64 {
    let combined = combined(budget);
    coverage_factor(combined.degrees, 0.95) * combined.relative_u
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn end_gauge_of_jcgm_100_h_1() {
        // JCGM 100:2008, example H.1: contributions in nm with their degrees of freedom.
        let budget = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)].map(|(relative_u, degrees)| Contribution {
            what: "",
            relative_u,
            degrees,
        });
        let Combined { relative_u: u, degrees } = combined(&budget);
        assert!((u - 31.66).abs() < 0.02, "{u}");
        assert!((degrees - 16.75).abs() < 0.05, "{degrees}");
        let k = coverage_factor(degrees.floor(), 0.99);
        assert!((k - 2.92).abs() < 0.005, "{k}");
        assert!((k * u - 92.5).abs() < 0.2, "{}", k * u);
    }
}
