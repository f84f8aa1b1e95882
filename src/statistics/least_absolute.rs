//! The linear fit with the least sum of absolute residuals: rows that are far off pull no harder than any other.
//!
//! Least squares over and over, each row weighed by the inverse of its residual of the time before (iteratively
//! reweighted least squares: Schlossmacher 1973, J. Am. Stat. Assoc. 68, 857). Residuals below a share of the usual row
//! count as that share, so that a row that is met has no endless weight.

use nalgebra::SVector;

use super::least_squares::NormalEquations;
use super::quantiles::median;

/// How often the rows are weighed anew.
const ROUNDS: usize = 15;
/// Residuals below this share of the median |y| count as that share. A default.
const LEAST: f64 = 0.001;

/// Coefficients of `x · coefficients = y` with the least sum of absolute residuals; `None` where the rows do not tell
/// them apart.
pub fn least_absolute<const N: usize>(rows: &[(SVector<f64, N>, f64)]) -> Option<SVector<f64, N>> {
    let least = LEAST * median(rows.iter().map(|(_, y)| y.abs()))?.max(f64::MIN_POSITIVE);
    let mut best: Option<SVector<f64, N>> = None;
    for _ in 0..ROUNDS {
        let mut equations = NormalEquations::default();
        for (x, y) in rows {
            let weight = best.map_or(1.0, |best| (y - x.dot(&best)).abs().max(least));
            equations.add(x, *y, weight);
        }
        best = Some(equations.best()?);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_few_wild_rows_do_not_move_the_line() {
        // y = 3 + 2·x in eight rows of eleven, by hand.
        let row = |n: usize| {
            let x = n as f64;
            (SVector::from([1.0, x]), if n % 4 == 3 { 14.0 } else { 3.0 + 2.0 * x })
        };
        let found = least_absolute(&(0..11).map(row).collect::<Vec<_>>()).unwrap();
        assert!((found[0] - 3.0).abs() < 0.1 && (found[1] - 2.0).abs() < 0.02, "{found}");
    }
}
