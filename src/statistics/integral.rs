//! Running integrals over time by the trapezoid rule.
//!
//! Straight lines between rows; rows without a value are passed over, so that the line goes across them.

/// Running integral of `values` over `time`, one value for each row: what has been gathered until there.
pub fn running_integral(time: &[f64], values: &[f64]) -> Vec<f64> {
    let mut sums = Vec::with_capacity(time.len());
    let (mut sum, mut last) = (0.0, None::<(f64, f64)>);
    for (&t, &v) in time.iter().zip(values) {
        if v.is_finite() {
            if let Some((t0, v0)) = last {
                sum += (t - t0) * (v + v0) / 2.0;
            }
            last = Some((t, v));
        }
        sums.push(sum);
    }
    sums
}

/// The running integral `sums` over the rows' `time` at the moment `t`, straight between rows, held at its ends.
pub fn integral_until(sums: &[f64], time: &[f64], t: f64) -> f64 {
    let n = time.partition_point(|&x| x <= t).clamp(1, time.len() - 1);
    let share = ((t - time[n - 1]) / (time[n] - time[n - 1])).clamp(0.0, 1.0);
    sums[n - 1] + (sums[n] - sums[n - 1]) * share
}

/// What the running integral `sums` gains from the moment `from` to the moment `to`.
pub fn integral_between(sums: &[f64], time: &[f64], from: f64, to: f64) -> f64 {
    integral_until(sums, time, to) - integral_until(sums, time, from)
}

/// The last row at or before the moment `t`; the first row where there is none.
pub fn row_until(time: &[f64], t: f64) -> usize {
    time.partition_point(|&x| x <= t).clamp(1, time.len()) - 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trapezoid_over_a_square() {
        // Trapezoid rule, four panels over x² from 0 to 1: 0.34375 (textbook value).
        let x = [0.0, 0.25, 0.5, 0.75, 1.0];
        assert_eq!(running_integral(&x, &x.map(|v| v * v)).last(), Some(&0.34375));
    }

    #[test]
    fn a_missing_value_is_bridged() {
        // 0 to 36 and back in 200 s: 3600; the missing cell lies on the line.
        let time = [0.0, 50.0, 100.0, 150.0, 200.0];
        let sums = running_integral(&time, &[0.0, f64::NAN, 36.0, 18.0, 0.0]);
        assert_eq!(sums.last(), Some(&3600.0));
        assert_eq!(integral_between(&sums, &time, 100.0, 175.0), 1350.0 + 225.0);
    }
}
