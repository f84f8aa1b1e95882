//! Several values of one thing as one: the mean weighted by inverse variance (textbook).
//!
//! Right where the values differ by their stated uncertainties alone; where they may differ by more, see
//! [`super::random_effects`].

use crate::quantity::Uncertain;

/// The weighted mean and its standard uncertainty; `None` without a value of finite uncertainty.
///
/// ```
/// use runtrue::quantity::Uncertain;
/// // Weights 1 and 1/4: (10 + 20/4) / 1.25 = 12, and 1/√1.25.
/// let mean = runtrue::statistics::inverse_variance::mean([Uncertain::new(10.0, 1.0), Uncertain::new(20.0, 2.0)]);
/// let mean = mean.unwrap();
/// assert!((mean.value - 12.0).abs() < 1e-12 && (mean.standard_u - 1.25f64.sqrt().recip()).abs() < 1e-12);
/// ```
pub fn mean(values: impl IntoIterator<Item = Uncertain>) -> Option<Uncertain> {
    let (sum, weight) = values.into_iter().fold((0.0, 0.0), |(sum, weight), v| {
        let own = (v.standard_u * v.standard_u).recip();
        (sum + own * v.value, weight + own)
    });
    (weight > 0.0).then(|| Uncertain::new(sum / weight, weight.sqrt().recip()))
}
