//! Stretches of rows in which a value is above a bound, with the moments at which it crosses the bound in a straight
//! line between rows.

use std::ops::Range;

/// Rows in a row that are above the bound.
#[derive(Debug, Clone, PartialEq)]
pub struct Above {
    /// The rows.
    pub rows: Range<usize>,
    /// When the bound was crossed on the way up; `None` where the first row is above it.
    pub from: Option<f64>,
    /// The same on the way down; `None` where the last row is above it.
    pub until: Option<f64>,
}

/// The stretches of `values`, which were at `time`, above `bound`.
pub fn above(time: &[f64], values: &[f64], bound: f64) -> Vec<Above> {
    let crossing = |n: usize| {
        let share = ((bound - values[n - 1]) / (values[n] - values[n - 1])).clamp(0.0, 1.0);
        time[n - 1] + share * (time[n] - time[n - 1])
    };
    let mut found = Vec::new();
    let mut row = 0;
    while row < values.len() {
        let first = row;
        while row < values.len() && values[row] > bound {
            row += 1;
        }
        if row > first {
            let (from, until) = ((first > 0).then(|| crossing(first)), (row < values.len()).then(|| crossing(row)));
            found.push(Above { rows: first..row, from, until });
        }
        row += 1;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_and_two_ends_by_hand() {
        let found = above(&[0.0, 1.0, 2.0, 3.0, 4.0], &[2.0, 0.0, 4.0, 0.0, 3.0], 1.0);
        assert_eq!(
            found,
            [
                Above { rows: 0..1, from: None, until: Some(0.5) },
                Above { rows: 2..3, from: Some(1.25), until: Some(2.75) },
                Above { rows: 4..5, from: Some(3.0 + 1.0 / 3.0), until: None },
            ]
        );
    }
}
