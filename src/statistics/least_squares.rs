//! Linear least squares: a small fit summed row by row, and one by singular values that tells which coefficients the
//! rows tell apart.

use nalgebra::{Const, DMatrix, DVector, SMatrix, SVector};

use super::coverage::coverage_factor;
use crate::quantity::Estimate;

/// Singular values below this share of the largest count as none.
const RANK: f64 = 1e-12;
/// A coefficient is told apart from the others where the rows' space holds all of its direction but this.
const APART: f64 = 1e-6;

/// The normal equations of a fit of `N` coefficients, summed row by row. What is known of the coefficients before is a
/// row like any other, so that this is a Bayesian linear regression too (Bishop 2006, 3.3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalEquations<const N: usize> {
    /// Σ x·xᵀ / variance: the inverse of the coefficients' covariance.
    pub precision: SMatrix<f64, N, N>,
    /// Σ x·y / variance.
    pub right: SVector<f64, N>,
}

/// What normal equations give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficients<const N: usize> {
    /// The best coefficients.
    pub best: SVector<f64, N>,
    /// Their covariance, where the rows' variances are true ones.
    pub covariance: SMatrix<f64, N, N>,
}

impl<const N: usize> Default for NormalEquations<N> {
    fn default() -> Self {
        Self { precision: SMatrix::zeros(), right: SVector::zeros() }
    }
}

impl<const N: usize> NormalEquations<N> {
    /// Adds a row: `x · coefficients` was seen to be `y`, with this variance.
    pub fn add(&mut self, x: &SVector<f64, N>, y: f64, variance: f64) {
        self.precision += x * x.transpose() / variance;
        self.right += x * (y / variance);
    }

    /// The best coefficients alone; `None` where the rows do not tell them apart.
    pub fn best(&self) -> Option<SVector<f64, N>> {
        Some(nalgebra::Cholesky::<f64, Const<N>>::new(self.precision)?.solve(&self.right))
    }

    /// The coefficients; `None` where the rows do not tell them apart.
    pub fn solve(&self) -> Option<Coefficients<N>> {
        let factor = nalgebra::Cholesky::<f64, Const<N>>::new(self.precision)?;
        Some(Coefficients { best: factor.solve(&self.right), covariance: factor.inverse() })
    }
}

/// The equations of both sets of rows.
impl<const N: usize> std::ops::Add for NormalEquations<N> {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { precision: self.precision + other.precision, right: self.right + other.right }
    }
}

/// The equations of the rows without those of `other`, which are among them.
impl<const N: usize> std::ops::Sub for NormalEquations<N> {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self { precision: self.precision - other.precision, right: self.right - other.right }
    }
}

/// What a fit by singular values gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Each coefficient with its 95 % interval; `None` where the rows do not tell it from others.
    pub coefficients: Vec<Option<Estimate>>,
    /// Degrees of freedom that are left: rows less the coefficients that they tell apart.
    pub degrees: usize,
    /// Sum of the squares that the coefficients leave.
    pub residual: f64,
}

/// Least squares of `matrix · coefficients = y` by singular values. The variance of a row is that of the residuals, at
/// least `own_variance`; the intervals are Student's t. `None` where the decomposition fails.
pub fn by_singular_values(matrix: &DMatrix<f64>, y: &DVector<f64>, own_variance: f64) -> Option<Fit> {
    let (rows, count) = matrix.shape();
    let svd = matrix.clone().svd(true, true);
    let (u, v_t) = (svd.u.as_ref()?, svd.v_t.as_ref()?);
    let least = RANK * svd.singular_values.max();
    let kept: Vec<usize> = (0..svd.singular_values.len()).filter(|&k| svd.singular_values[k] > least).collect();
    let degrees = rows - kept.len();
    let mut x = DVector::zeros(count);
    for &k in &kept {
        x += v_t.row(k).transpose() * (u.column(k).dot(y) / svd.singular_values[k]);
    }
    let residual = (y - matrix * &x).norm_squared();
    let coefficient = |c: usize| {
        let inside: f64 = kept.iter().map(|&k| v_t[(k, c)].powi(2)).sum();
        if degrees == 0 || inside < 1.0 - APART {
            return None;
        }
        let spread: f64 = kept.iter().map(|&k| (v_t[(k, c)] / svd.singular_values[k]).powi(2)).sum();
        let variance = (residual / degrees as f64).max(own_variance);
        Some(Estimate::from_half_width(x[c], coverage_factor(degrees as f64, 0.95) * (variance * spread).sqrt()))
    };
    Some(Fit { coefficients: (0..count).map(coefficient).collect(), degrees, residual })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    /// NIST StRD linear sets: certified estimates and their standard deviations (`tests/reference/nist`), by the
    /// residuals' own scatter.
    #[rstest]
    #[case("Norris", 36, &[(-0.262323073774029, 0.232818234301152), (1.00211681802045, 0.429796848199937e-3)])]
    #[case("Longley", 16, &[
        (-3482258.63459582, 890420.383607373), (15.0618722713733, 84.9149257747669),
        (-0.358191792925910e-1, 0.334910077722432e-1), (-2.02022980381683, 0.488399681651699),
        (-1.03322686717369, 0.214274163161675), (-0.511041056535807e-1, 0.226073200069370),
        (1829.15146461355, 455.478499142212),
    ])]
    fn least_squares_of_nist_strd(#[case] name: &str, #[case] rows: usize, #[case] certified: &[(f64, f64)]) {
        let path = format!("{}/tests/reference/nist/linear/{name}.dat", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).unwrap();
        let numbers = |l: &str| l.split_whitespace().filter_map(|w| w.parse().ok()).collect::<Vec<f64>>();
        let data: Vec<Vec<f64>> = text.lines().skip(60).map(numbers).filter(|r| r.len() == certified.len()).collect();
        assert_eq!(data.len(), rows);
        let matrix = DMatrix::from_fn(rows, certified.len(), |r, c| if c == 0 { 1.0 } else { data[r][c] });
        let fit = by_singular_values(&matrix, &DVector::from_fn(rows, |r, _| data[r][0]), 0.0).unwrap();
        let t = coverage_factor(fit.degrees as f64, 0.95);
        for (found, (value, deviation)) in fit.coefficients.iter().zip(certified) {
            let found = found.expect("a coefficient");
            assert!((found.value / value - 1.0).abs() < 1e-6, "{found:?} for {value}");
            assert!((found.half_width() / t / deviation - 1.0).abs() < 1e-6, "{found:?} for {deviation}");
        }
    }

    #[test]
    fn a_prior_is_a_row_like_any_other() {
        // A mean known as 10 ± 1 and seen as 20 ± 2: 12, with a variance of 1 / (1 + 1/4).
        let mut equations = NormalEquations::<1>::default();
        equations.add(&SVector::from([1.0]), 10.0, 1.0);
        equations.add(&SVector::from([1.0]), 20.0, 4.0);
        let found = equations.solve().unwrap();
        assert!((found.best[0] - 12.0).abs() < 1e-12 && (found.covariance[(0, 0)] - 0.8).abs() < 1e-12);
    }
}
