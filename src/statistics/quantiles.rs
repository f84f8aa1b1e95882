//! Median, other quantiles, and the scatter that a few wild values do not move.

/// Scale of a normal distribution over its median absolute deviation (Rousseeuw and Croux 1993, J. Am. Stat. Assoc. 88,
/// 1273).
const NORMAL_OVER_MAD: f64 = 1.4826;

/// Median of the finite values; `None` without any.
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    quantile(values, 0.5)
}

/// Quantile by linear interpolation between order statistics (Hyndman and Fan 1996, type 7) of the finite values;
/// `None` without any. `share` is held to 0 to 1.
pub fn quantile(values: impl IntoIterator<Item = f64>, share: f64) -> Option<f64> {
    let values = values.into_iter();
    // Room for all of them at once: a list that grows takes up to three times as much.
    let mut room: Vec<f64> = Vec::with_capacity(values.size_hint().1.unwrap_or(0));
    quantile_in(&mut room, values, share)
}

/// The same in `room` that was used before; what it held is lost.
fn quantile_in(room: &mut Vec<f64>, values: impl IntoIterator<Item = f64>, share: f64) -> Option<f64> {
    room.clear();
    room.extend(values.into_iter().filter(|v| v.is_finite()));
    let finite = room;
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

/// The median of the finite values in `room` that was used before; what it held is lost.
pub fn median_in(room: &mut Vec<f64>, values: impl IntoIterator<Item = f64>) -> Option<f64> {
    quantile_in(room, values, 0.5)
}

/// Median step from one value to the next; `None` for fewer than two.
pub fn median_step(values: &[f64]) -> Option<f64> {
    median(values.windows(2).map(|w| w[1] - w[0]))
}

/// Highest of the finite values; `None` without any.
pub fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().filter(|v| v.is_finite()).max_by(f64::total_cmp)
}

/// Standard deviation of a normal distribution from the median absolute deviation: 1.4826 × MAD. `None` without finite
/// values.
pub fn robust_deviation(values: &[f64]) -> Option<f64> {
    robust_deviation_in(&mut Vec::with_capacity(values.len()), values)
}

/// The same in `room` that was used before; what it held is lost.
pub fn robust_deviation_in(room: &mut Vec<f64>, values: &[f64]) -> Option<f64> {
    let middle = median_in(room, values.iter().copied())?;
    deviation_about(room, values, middle)
}

/// The same about their median where that is known.
pub fn deviation_about(room: &mut Vec<f64>, values: &[f64], middle: f64) -> Option<f64> {
    median_in(room, values.iter().map(|v| (v - middle).abs())).map(|mad| NORMAL_OVER_MAD * mad)
}

/// The standard uncertainty of a median of normal values that do not depend on each other: √(π / 2 / n) times their
/// robust deviation.
pub fn median_u(values: &[f64]) -> Option<f64> {
    Some((std::f64::consts::FRAC_PI_2 / values.len() as f64).sqrt() * robust_deviation(values)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(&[3.0, 1.0, 2.0], 0.5, 2.0)]
    #[case(&[1.0, 2.0, 3.0, 4.0], 0.5, 2.5)]
    #[case(&[1.0, f64::NAN, 3.0], 1.0, 3.0)]
    #[case(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1, 1.4)]
    fn quantiles_by_hand(#[case] values: &[f64], #[case] share: f64, #[case] expected: f64) {
        assert_eq!(quantile(values.iter().copied(), share), Some(expected));
    }
}
