//! The jackknife over blocks: the interval of a figure from the same figure without each block of the rows in turn
//! (Quenouille 1956, Biometrika 43, 353; Tukey 1958).
//!
//! Blocks of neighbouring rows are left out together, because the errors of neighbouring rows are alike: one row at a
//! time would claim too much. Wrong for figures that jump with a single row, such as a maximum.

use super::coverage::coverage_factor;

/// The figure without each of about `blocks` equal blocks of neighbouring `rows` in turn; without those blocks for
/// which there is no figure.
pub fn without_each_block<T: Copy>(rows: &[T], blocks: usize, figure: impl Fn(&[T]) -> Option<f64>) -> Vec<f64> {
    let size = rows.len().div_ceil(blocks).max(1);
    let without = |block: usize| {
        let kept = rows.iter().enumerate().filter(|(n, _)| n / size != block).map(|(_, v)| *v);
        figure(&kept.collect::<Vec<T>>())
    };
    (0..rows.len().div_ceil(size)).filter_map(without).collect()
}

/// Half-width of the 95 % interval of a figure, from the figure without each block in turn: Student's t with one degree
/// of freedom fewer than there are blocks.
pub fn half_width_95(without_each: &[f64]) -> f64 {
    let n = without_each.len() as f64;
    let mean = without_each.iter().sum::<f64>() / n;
    let deviation = ((n - 1.0) / n * without_each.iter().map(|v| (v - mean).powi(2)).sum::<f64>()).sqrt();
    coverage_factor(n - 1.0, 0.95) * deviation
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_mean_it_is_the_usual_standard_error() {
        // Blocks of one row: the jackknife of a mean is s / √n exactly. Mean 3, s² = 2.5, n = 5; t of 4 degrees 2.776.
        let rows = [1.0, 2.0, 3.0, 4.0, 5.0];
        let mean = |rows: &[f64]| Some(rows.iter().sum::<f64>() / rows.len() as f64);
        let half = half_width_95(&without_each_block(&rows, 5, mean));
        assert!((half - 2.776 * (2.5f64 / 5.0).sqrt()).abs() < 1e-3, "{half}");
    }
}
