//! Figures with their uncertainty, and the physical constants that several questions share.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Half-width of a 95 % interval of a normal distribution, in standard deviations.
pub const COVERAGE_95: f64 = 1.959_963_984_540_054;

/// Absolute zero in degrees Celsius (SI Brochure, 9th edition, 2.3.1).
pub const ABSOLUTE_ZERO_C: f64 = -273.15;

/// A measured value with its 95 % interval. The unit is that of the field that holds it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

impl Estimate {
    /// An estimate from a value and its standard uncertainty, with normal coverage.
    pub fn from_standard(value: f64, standard: f64) -> Self {
        Self::from_half_width(value, COVERAGE_95 * standard)
    }

    /// An estimate from a value and the half-width of its 95 % interval.
    pub fn from_half_width(value: f64, half_width: f64) -> Self {
        Self { value, low: value - half_width, high: value + half_width }
    }

    /// Half the width of the interval.
    pub fn half_width(&self) -> f64 {
        (self.high - self.low) / 2.0
    }

    /// Whether the interval holds `truth`.
    pub fn holds(&self, truth: f64) -> bool {
        (self.low..=self.high).contains(&truth)
    }
}

/// Factor by which a standard uncertainty with `degrees` degrees of freedom is multiplied for a
/// two-sided interval of probability `level` (Student's t; JCGM 100:2008, annex G).
///
/// Above ten thousand degrees of freedom the normal quantile is used: there the difference is
/// below 1e-4, and the library's own t quantile loses digits.
pub fn coverage_factor(degrees: f64, level: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
    let tail = 0.5 + level / 2.0;
    if degrees > 1e4 || !degrees.is_finite() {
        return Normal::standard().inverse_cdf(tail);
    }
    StudentsT::new(0.0, 1.0, degrees.max(1.0)).map_or(f64::INFINITY, |t| t.inverse_cdf(tail))
}

/// Median of the finite values; `None` without any.
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    quantile(values, 0.5)
}

/// Quantile by linear interpolation between order statistics (Hyndman and Fan 1996, type 7) of
/// the finite values; `None` without any.
pub fn quantile(values: impl IntoIterator<Item = f64>, share: f64) -> Option<f64> {
    let values = values.into_iter();
    // Room for all of them at once: a list that grows takes up to three times as much.
    let mut finite: Vec<f64> = Vec::with_capacity(values.size_hint().1.unwrap_or(0));
    finite.extend(values.filter(|v| v.is_finite()));
    if finite.is_empty() {
        return None;
    }
    let rank = share.clamp(0.0, 1.0) * (finite.len() - 1) as f64;
    let below = rank.floor() as usize;
    let (_, &mut low, above) = finite.select_nth_unstable_by(below, f64::total_cmp);
    let high = above.iter().copied().fold(f64::INFINITY, f64::min);
    let fraction = rank - below as f64;
    Some(if fraction > 0.0 { low + fraction * (high - low) } else { low })
}

/// Highest of the finite values; `None` without any.
pub fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().filter(|v| v.is_finite()).max_by(f64::total_cmp)
}

/// Mean and standard deviation (n - 1) of `values`, by two passes: a single pass over sums of squares loses all digits
/// where the values differ little. `None` for fewer than two.
pub fn mean_and_deviation(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let rough = values.iter().sum::<f64>() / n;
    // The rounding of the first mean is taken off with what it leaves behind.
    let mean = rough + values.iter().map(|v| v - rough).sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    Some((mean, (squares / (n - 1.0)).sqrt()))
}

/// Scale of a normal distribution from the median absolute deviation: 1.4826 × MAD
/// (Rousseeuw and Croux 1993). `None` without finite values.
pub fn robust_deviation(values: &[f64]) -> Option<f64> {
    let middle = median(values.iter().copied())?;
    median(values.iter().map(|v| (v - middle).abs())).map(|mad| 1.4826 * mad)
}

/// How far the top of the parabola through three values at even steps lies from the middle one, in steps, at most half a one; 0 where they have
/// no top.
pub fn top_of_parabola(before: f64, middle: f64, after: f64) -> f64 {
    let bend = before - 2.0 * middle + after;
    if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 }
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

    #[rstest]
    #[case(&[3.0, 1.0, 2.0], 0.5, 2.0)]
    #[case(&[1.0, 2.0, 3.0, 4.0], 0.5, 2.5)]
    #[case(&[1.0, f64::NAN, 3.0], 1.0, 3.0)]
    #[case(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1, 1.4)]
    fn quantiles_by_hand(#[case] values: &[f64], #[case] share: f64, #[case] expected: f64) {
        assert_eq!(quantile(values.iter().copied(), share), Some(expected));
    }
}
