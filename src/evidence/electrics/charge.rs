//! The charge that was used, and a current whose peaks are cut off.

use crate::evidence::swings::{Swing, highest};
use crate::statistics::integral::running_integral;

/// Ampere-seconds of a milliampere-hour.
const A_S_PER_MAH: f64 = 3.6;
/// A pack gives this many times its capacity at the most. Common practice, no source: labels are a few per cent off.
const MOST_OF_CAPACITY: f64 = 1.10;
/// Share of the rows under power at the highest value from which a current counts as cut off. Common practice, no
/// source.
const CUT_OFF: f64 = 0.10;
/// Rows at the highest value against those at each of the steps below it: a current that is not cut off has fewer.
const AGAINST_BELOW: f64 = 5.0;
/// Steps below the highest value that are looked at.
const STEPS_BELOW: usize = 5;
/// Share of the highest current above which the motor drives the car. Common practice, no source.
const DRIVING: f64 = 0.05;
/// Changes of the current below this are none, A.
const NO_CHANGE_A: f64 = 1e-6;
/// Fewest rises of the revs in a log that was driven.
const DRIVEN: usize = 3;

/// Charge of the whole log, mAh; `None` without rows.
pub fn used_mah(time: &[f64], amps: &[f64]) -> Option<f64> {
    running_integral(time, amps).last().map(|used| used / A_S_PER_MAH)
}

/// Whether a driven car's pack would have gained charge.
pub fn is_gained(used_mah: f64, revs: &[Swing]) -> bool {
    used_mah < 0.0 && revs.iter().filter(|s| s.rises()).count() >= DRIVEN
}

/// Whether a pack of `capacity_mah` cannot have given so much.
pub fn is_more_than(capacity_mah: f64, used_mah: f64) -> bool {
    used_mah > MOST_OF_CAPACITY * capacity_mah
}

/// The highest current, A, and the share of the driving that is logged at it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutOff {
    /// A.
    pub amps: f64,
    /// Share of the rows under power.
    pub share: f64,
}

/// Whether the current's peaks are cut off at one value: far more rows are at the highest than at any step below it.
pub fn cut_off(amps: &[f64]) -> Option<CutOff> {
    let top = amps.iter().copied().filter(|a| a.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let usual_top = highest(amps)?;
    // A single wild cell on top is not the recorder's range.
    if usual_top < top || top <= 0.0 {
        return None;
    }
    let driving = amps.iter().filter(|a| **a > DRIVING * top).count() as f64;
    let share = amps.iter().filter(|a| (top - **a).abs() < NO_CHANGE_A).count() as f64 / driving;
    if share < CUT_OFF {
        return None;
    }
    let changes = amps.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > NO_CHANGE_A);
    let step = changes.min_by(f64::total_cmp)?;
    let reach = STEPS_BELOW as f64 * step + NO_CHANGE_A;
    let below = amps.iter().filter(|a| top - **a > NO_CHANGE_A && top - **a < reach).count() as f64 / driving;
    (share > AGAINST_BELOW * below / STEPS_BELOW as f64).then_some(CutOff { amps: top, share })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_that_ends_in_the_midst_of_the_driving_shows_and_coarse_steps_do_not() {
        let drawn: Vec<f64> = (0..2000).map(|n| f64::from(n * 7919 % 1000) / 10.0).collect();
        assert_eq!(cut_off(&drawn), None);
        let cut: Vec<f64> = drawn.iter().map(|a| a.min(60.0)).collect();
        let found = cut_off(&cut).unwrap();
        assert!(found.amps == 60.0 && (found.share - 0.42).abs() < 0.02, "{found:?}");
        let coarse: Vec<f64> = drawn.iter().map(|a| (a / 20.0).round() * 20.0).collect();
        assert_eq!(cut_off(&coarse), None);
    }

    #[test]
    fn charge_by_hand() {
        // 36 A for 100 s: 3600 A·s are 1000 mAh.
        assert_eq!(used_mah(&[0.0, 50.0, 100.0], &[36.0, 36.0, 36.0]), Some(1000.0));
        assert!(is_more_than(900.0, 1000.0) && !is_more_than(950.0, 1000.0));
    }
}
