//! Whether the voltage gives way under the current, as that of every pack does.
//!
//! A pack of lithium-polymer cells has at least about 1 mΩ a cell, with its plugs and leads; a current that rises by ΔI
//! takes at least ΔI × 1 mΩ × cells off its voltage. Less than half of that, over all rises and falls of the revs and
//! with what noise and the recorder's own step can hide, is not a pack's voltage.

use crate::evidence::frozen::{Frozen, frozen};
use crate::evidence::swings::{Contrast, FOLLOWS, Swing, contrast};
use crate::statistics::quantiles::quantile;

/// Least resistance of a cell, Ω. Common practice, no source.
const LEAST_OHM: f64 = 1e-3;
/// Share of the least sag that must show: a voltage that is a mean over some time, or late, shows less. A default.
const MUST_SHOW: f64 = 0.5;
/// Standard errors that noise may hide.
const HIDDEN_ERRORS: f64 = 3.0;
/// Steps of the recorder over which the voltage must move before its mean tells less than a step. Common practice, no
/// source.
const DITHERED: f64 = 3.0;
/// Current that a driven car takes at the least in its rises, A, where the log does not tell. Common practice, no
/// source.
const LEAST_AMPS: f64 = 20.0;
/// Changes of the voltage below this are none, V.
const NO_CHANGE_V: f64 = 1e-6;
/// Coarsest step of a recorder's voltage, V, where it never changes. Common practice, no source.
const COARSEST_STEP_V: f64 = 0.1;
/// Quantiles between which the current moves.
const LOW_AND_HIGH: (f64, f64) = (0.05, 0.95);

/// What the current does: its range over the log and its contrast between rises and falls of the revs, A.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// From a low to a high quantile.
    pub range_a: f64,
    /// Between rises and falls.
    pub contrast_a: f64,
}

impl Load {
    /// Of a current that follows the revs by `found`.
    pub fn of(amps: &[f64], found: Contrast) -> Self {
        let at = |share: f64| quantile(amps.iter().copied(), share).unwrap_or(0.0);
        Self { range_a: at(LOW_AND_HIGH.1) - at(LOW_AND_HIGH.0), contrast_a: found.mean }
    }

    /// Of a car whose current is not known.
    pub fn unknown() -> Self {
        Self { range_a: LEAST_AMPS, contrast_a: LEAST_AMPS }
    }
}

/// The smallest step of a recorder's voltage, V: the smallest change; where there is none, what its digits show.
fn step_v(volts: &[f64]) -> f64 {
    let changes = volts.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > NO_CHANGE_V);
    let by_digits = || {
        let value = volts.iter().copied().find(|v| v.is_finite()).unwrap_or(0.0);
        let in_steps = value / COARSEST_STEP_V;
        let is_round = (in_steps - in_steps.round()).abs() < NO_CHANGE_V;
        if is_round { COARSEST_STEP_V } else { COARSEST_STEP_V / 10.0 }
    };
    changes.min_by(f64::total_cmp).unwrap_or_else(by_digits)
}

/// A voltage that stands still while the load changes, and whether the load moves it by more than the recorder's step
/// for certain. Less than that may stand for a while, though hardly for the whole log.
pub fn stuck(time: &[f64], volts: &[f64], revs: &[Swing], load: Load, cells: f64) -> Option<(Frozen, bool)> {
    let is_certain = LEAST_OHM * cells * load.range_a > step_v(volts);
    let never_changes = || range(volts) < NO_CHANGE_V;
    if !is_certain && !never_changes() {
        return None;
    }
    Some((frozen(time, volts, revs)?, is_certain))
}

/// From the lowest to the highest, V.
fn range(volts: &[f64]) -> f64 {
    let finite = || volts.iter().copied().filter(|v| v.is_finite());
    finite().fold(f64::NEG_INFINITY, f64::max) - finite().fold(f64::INFINITY, f64::min)
}

/// What the voltage does, and what it would do at least, V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoSag {
    /// Fall of the voltage where the revs rise.
    pub fall_v: f64,
    /// The least fall that a pack shows.
    pub least_v: f64,
    /// The current's rise, A.
    pub amps: f64,
    /// Whether the voltage follows the load all the same, if by too little: then it is the current that is wrong.
    pub follows: bool,
}

/// A voltage that does not give way to the load; `None` where it does, or where the log does not tell.
pub fn no_sag(time: &[f64], volts: &[f64], revs: &[Swing], load: Load, cells: f64) -> Option<NoSag> {
    let found = contrast(time, volts, revs, -1.0)?;
    let least_v = LEAST_OHM * cells * load.contrast_a;
    // A voltage that moves over several steps shows what is smaller than one on average.
    let step = step_v(volts);
    let hidden_step = if range(volts) < DITHERED * step { step / 2.0 } else { 0.0 };
    let hidden = HIDDEN_ERRORS * found.error + hidden_step;
    let is_missing = -found.mean + hidden < MUST_SHOW * least_v;
    is_missing.then_some(NoSag {
        fall_v: -found.mean,
        least_v,
        amps: load.contrast_a,
        follows: -found.strength() > FOLLOWS,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forty seconds of rises and falls, one a second, and the rows' times.
    fn driven() -> (Vec<f64>, Vec<Swing>) {
        let swing = |n: usize| {
            let up = n.is_multiple_of(2);
            let (from, to) = if up { (10.0, 20.0) } else { (20.0, 10.0) };
            Swing { from_s: n as f64, to_s: n as f64 + 1.0, from, to }
        };
        ((0..2000).map(|n| f64::from(n) * 0.02).collect(), (0..40).map(swing).collect())
    }

    #[test]
    fn a_pack_gives_way_and_a_number_that_only_scatters_does_not() {
        let (time, revs) = driven();
        let load = Load { range_a: 60.0, contrast_a: 40.0 };
        let scatter = |n: usize| ((n * 7919 % 101) as f64 - 50.0) / 5000.0;
        let amps = |n: usize| if (n / 50).is_multiple_of(2) { 40.0 } else { 0.0 };
        let pack: Vec<f64> = (0..2000).map(|n| 8.4 - 0.002 * amps(n) + scatter(n)).collect();
        assert_eq!(no_sag(&time, &pack, &revs, load, 2.0), None);
        let other: Vec<f64> = (0..2000).map(|n| 6.0 + scatter(n)).collect();
        let found = no_sag(&time, &other, &revs, load, 2.0).unwrap();
        assert!((found.least_v - 0.08).abs() < 1e-12 && found.fall_v.abs() < 0.01, "{found:?}");
        // In steps of a tenth of a volt so little does not show.
        let coarse: Vec<f64> = pack.iter().map(|v| (v * 10.0).round() / 10.0).collect();
        assert_eq!(no_sag(&time, &coarse, &revs, load, 1.0), None);
    }

    #[test]
    fn a_voltage_that_stands_is_stuck_where_the_load_moves_it_by_more_than_a_step() {
        let (time, revs) = driven();
        let (fine, coarse) = (vec![8.37; 2000], vec![4.2; 2000]);
        let load = Load { range_a: 60.0, contrast_a: 40.0 };
        assert!(stuck(&time, &fine, &revs, load, 2.0).unwrap().1);
        assert!(!stuck(&time, &coarse, &revs, load, 1.0).unwrap().1);
        let moves: Vec<f64> = (0..2000).map(|n| if n < 1000 { 4.2 } else { 4.1 }).collect();
        assert_eq!(stuck(&time, &moves, &revs, load, 1.0), None);
    }
}
