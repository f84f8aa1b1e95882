//! What the readings of a run tell of the heat model's coefficients, as normal equations.
//!
//! The columns of the quick node do not depend on the cooling and those of the slow one do, so that the former are
//! summed once for all points of the grid.

use super::heat_nodes::{COUNT, Coefficients, Pairs, QUICKS, QuickColumns, SLOW, SlowColumns};
use crate::statistics::least_squares::NormalEquations;

/// What the readings tell of the coefficients.
pub(super) struct Equations {
    pub(super) normal: NormalEquations<COUNT>,
    /// Sum of the readings' squares over their variance.
    pub(super) squares: f64,
}

/// The same of the quick coefficients alone, for a variance of one.
pub(super) struct QuickEquations {
    precision: [[f64; QUICKS]; QUICKS],
    right: [f64; QUICKS],
    squares: f64,
}

impl QuickEquations {
    /// Sums the rows that have a reading.
    pub(super) fn of(quick: &QuickColumns, readings: &[f64]) -> Self {
        let mut all = Self { precision: [[0.0; QUICKS]; QUICKS], right: [0.0; QUICKS], squares: 0.0 };
        for (row, y) in quick.rows.iter().zip(readings).filter(|(_, y)| y.is_finite()) {
            for (n, value) in row.iter().enumerate() {
                all.precision[n].iter_mut().zip(row).for_each(|(sum, other)| *sum += value * other);
                all.right[n] += value * y;
            }
            all.squares += y * y;
        }
        all
    }

    /// With the slow coefficients, for readings of this variance.
    pub(super) fn with(&self, slow: &SlowColumns, quick: &QuickColumns, readings: &[f64], variance: f64) -> Equations {
        let mut rows = [[0.0; COUNT]; SLOW];
        let mut right = [0.0; SLOW];
        for ((row, quick), y) in slow.rows.iter().zip(&quick.rows).zip(readings).filter(|(_, y)| y.is_finite()) {
            for (n, value) in row.iter().enumerate() {
                rows[n][n..SLOW].iter_mut().zip(&row[n..]).for_each(|(sum, other)| *sum += value * other);
                rows[n][SLOW..].iter_mut().zip(quick).for_each(|(sum, other)| *sum += value * other);
                right[n] += value * y;
            }
        }
        let pair = |n: usize, m: usize| match (n.min(m), n.max(m)) {
            (low, high) if low < SLOW => rows[low][high] / variance,
            (low, high) => self.precision[low - SLOW][high - SLOW] / variance,
        };
        let product = |n: usize| (if n < SLOW { right[n] } else { self.right[n - SLOW] }) / variance;
        let right = Coefficients::from_fn(|n, _| product(n));
        Equations {
            normal: NormalEquations { precision: Pairs::from_fn(pair), right },
            squares: self.squares / variance,
        }
    }
}
