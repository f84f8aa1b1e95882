//! Noise from row to row, by the second differences of a series: what bends between neighbours and not what moves.
//!
//! Of independent noise the second differences have 1 + 4 + 1 times its variance.

use super::quantiles::robust_deviation;

/// Variance of the second differences of independent noise, in variances of the noise.
const VARIANCES: f64 = 6.0;

/// Second differences of neighbouring values.
pub fn second_differences(values: &[f64]) -> Vec<f64> {
    values.windows(3).map(|w| w[0] - 2.0 * w[1] + w[2]).collect()
}

/// Standard deviation of the noise whose second differences these are, robustly; `None` without any.
pub fn noise_of(second_differences: &[f64]) -> Option<f64> {
    Some(robust_deviation(second_differences)? / VARIANCES.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_bends_nowhere() {
        // 3, −6, 3 by hand about the one row that is off by 3.
        assert_eq!(second_differences(&[0.0, 1.0, 2.0, 6.0, 4.0, 5.0]), [0.0, 3.0, -6.0, 3.0]);
        assert_eq!(noise_of(&[]), None);
    }
}
