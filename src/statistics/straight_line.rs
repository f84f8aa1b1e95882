//! The straight line of least squares through points.

/// A straight line: its slope and the point of means that it goes through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLine {
    /// Change of y for one of x.
    pub slope: f64,
    /// Mean of the points' x.
    pub mean_x: f64,
    /// Mean of their y.
    pub mean_y: f64,
    /// Squares of the points' x about their mean.
    pub xx: f64,
}

impl StraightLine {
    /// How far a point lies above the line.
    pub fn below(&self, x: f64, y: f64) -> f64 {
        y - self.mean_y - self.slope * (x - self.mean_x)
    }
}

/// The line of least squares through `(x, y)` points; its slope is NaN where all x are alike or there are no points.
pub fn straight_line<I: Iterator<Item = (f64, f64)> + Clone>(points: I) -> StraightLine {
    let n = points.clone().count() as f64;
    let (sum_x, sum_y) = points.clone().fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
    let (mean_x, mean_y) = (sum_x / n, sum_y / n);
    let (xy, xx) =
        points.fold((0.0, 0.0), |(a, b), (x, y)| (a + (x - mean_x) * (y - mean_y), b + (x - mean_x).powi(2)));
    StraightLine { slope: xy / xx, mean_x, mean_y, xx }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_points_by_hand() {
        // Means 2 and 3; Σ(x − 2)(y − 3) = 3, Σ(x − 2)² = 2.
        let line = straight_line([(1.0, 2.0), (2.0, 2.0), (3.0, 5.0)].into_iter());
        assert_eq!(line, StraightLine { slope: 1.5, mean_x: 2.0, mean_y: 3.0, xx: 2.0 });
        assert_eq!(line.below(2.0, 4.0), 1.0);
    }
}
