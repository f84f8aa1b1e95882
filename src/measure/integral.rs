//! Running integrals over a log's rows, by the trapezoid rule; rows without a reading are passed over.

use crate::laps::Lap;

/// Running integral over time, one value for each row.
pub fn integral(time: &[f64], values: &[f64]) -> Vec<f64> {
    let mut out = Vec::with_capacity(time.len());
    let (mut sum, mut last) = (0.0, None::<(f64, f64)>);
    for (&t, &v) in time.iter().zip(values) {
        if v.is_finite() {
            if let Some((t0, v0)) = last {
                sum += (t - t0) * (v + v0) / 2.0;
            }
            last = Some((t, v));
        }
        out.push(sum);
    }
    out
}

/// Running integral at log time `t`, straight between rows.
pub fn at(sums: &[f64], time: &[f64], t: f64) -> f64 {
    let n = time.partition_point(|&x| x <= t).clamp(1, time.len() - 1);
    let share = ((t - time[n - 1]) / (time[n] - time[n - 1])).clamp(0.0, 1.0);
    sums[n - 1] + (sums[n] - sums[n - 1]) * share
}

/// What a running integral gains over a lap.
pub fn over(sums: &[f64], time: &[f64], lap: &Lap) -> f64 {
    at(sums, time, lap.end_s) - at(sums, time, lap.start_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trapezoid_over_a_square() {
        // Trapezoid rule, four panels over x² from 0 to 1: 0.34375 (textbook value).
        let x = [0.0, 0.25, 0.5, 0.75, 1.0];
        assert_eq!(integral(&x, &x.map(|v| v * v)).last(), Some(&0.34375));
    }
}
