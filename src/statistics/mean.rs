//! Mean and standard deviation.

/// Mean and standard deviation (n − 1) of `values`, by two passes: a single pass over sums of squares loses all digits
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
