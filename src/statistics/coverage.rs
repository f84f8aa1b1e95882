//! From a standard uncertainty to an interval: Student's t (JCGM 100:2008, annex G).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Degrees of freedom above which the normal quantile is used: there the difference is below 1e-4, and the library's
/// own t quantile loses digits.
const AS_GOOD_AS_NORMAL: f64 = 1e4;

/// Factor by which a standard uncertainty with `degrees` degrees of freedom is multiplied for a two-sided interval of
/// probability `level`. Fewer than one degree of freedom count as one.
pub fn coverage_factor(degrees: f64, level: f64) -> f64 {
    let tail = 0.5 + level / 2.0;
    if degrees > AS_GOOD_AS_NORMAL || !degrees.is_finite() {
        return Normal::standard().inverse_cdf(tail);
    }
    StudentsT::new(0.0, 1.0, degrees.max(1.0)).map_or(f64::INFINITY, |t| t.inverse_cdf(tail))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    // Student's t, two-sided: JCGM 100:2008, table G.2.
    #[case(1.0, 0.95, 12.71)]
    #[case(10.0, 0.95, 2.23)]
    #[case(16.0, 0.99, 2.92)]
    #[case(20.0, 0.9973, 3.42)]
    #[case(1e7, 0.95, 1.960)]
    fn coverage_factors_of_the_guide(#[case] degrees: f64, #[case] level: f64, #[case] k: f64) {
        assert!((coverage_factor(degrees, level) - k).abs() < 0.006);
    }
}
