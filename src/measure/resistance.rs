//! Resistance of the pack: how much its voltage drops for each ampere from row to row.
//!
//! R = −Σ ΔI·ΔV / Σ ΔI² over all neighbouring rows with a step of the current: the slope of a least-squares line
//! through the origin. Differences take out the open-circuit voltage and the slow polarisation, which hardly move
//! within a row's time. Regenerated current counts like any other. The interval comes from a jackknife over blocks of
//! the log ([`crate::statistics::jackknife`]), since the errors of neighbouring differences go together. Where the
//! recorder holds a channel over several rows, only rows with a new value count.
//!
//! Where the recorder averages the current over a step, or takes it a row earlier or later than the voltage, the two do
//! not move together, or do so better with the voltage of another moment: then there is no resistance.

use crate::quantity::Estimate;
use crate::statistics::jackknife::half_width_95;
use crate::statistics::quantiles::median;

/// Rows farther apart than this see the slow polarisation as well as the ohmic drop, s. Common practice, no source.
const LONGEST_STEP_S: f64 = 0.25;
/// A step between rows that lasts this many times as long as the usual one has rows missing.
const ROWS_MISSING: f64 = 1.5;
/// Steps of the current below this are mostly the recorder's own steps, A.
const LEAST_STEP_A: f64 = 2.0;
/// Fewest steps that are needed, and blocks that they are put into for the interval.
const LEAST_STEPS: usize = 100;
const BLOCKS: usize = 20;
/// Share of the voltage's movement that the current must explain: below, they were not taken at the same moment. A
/// default.
const LEAST_EXPLAINED: f64 = 0.5;
/// Where the voltage of another moment explains more of its movement by this share, voltage and current are not of one
/// moment. A default.
const CLEARLY_BETTER: f64 = 0.03;
/// Where fewer of a channel's changes than this share follow a change in the row before, the recorder holds it over two
/// rows or more. A default.
const SELDOM: f64 = 0.05;

/// A step from one row to the next.
#[derive(Clone, Copy)]
struct Step {
    amps: f64,
    volts: f64,
}

/// Ohmic resistance of the pack, mΩ, from the rows' time (s), voltage (V) and current (A); `None` where steps are too
/// few or do not go together.
pub fn resistance_mohm(time: &[f64], voltage: &[f64], current: &[f64]) -> Option<Estimate> {
    let rows = fresh_rows(voltage, current);
    let usual_s = median(rows.windows(2).map(|w| time[w[1]] - time[w[0]])).filter(|s| *s <= LONGEST_STEP_S)?;
    let steps_with = |volts: &[f64]| -> Vec<Step> {
        rows.windows(2)
            .filter(|w| time[w[1]] - time[w[0]] < ROWS_MISSING * usual_s)
            .map(|w| Step { amps: current[w[1]] - current[w[0]], volts: volts[w[1]] - volts[w[0]] })
            .filter(|s| s.amps.is_finite() && s.volts.is_finite() && s.amps.abs() >= LEAST_STEP_A)
            .collect()
    };
    let steps = steps_with(voltage);
    let explained = explained(&steps);
    // Current that goes clearly better with the voltage of another moment is a mean over the step, or late.
    let beside = volts_beside(voltage).iter().map(|volts| self::explained(&steps_with(volts))).fold(0.0, f64::max);
    if beside > explained + CLEARLY_BETTER || steps.len() < LEAST_STEPS {
        return None;
    }
    let blocks: Vec<Sums> = steps.chunks(steps.len().div_ceil(BLOCKS)).map(Sums::new).collect();
    let all = blocks.iter().fold(Sums::default(), |all, block| all.plus(block));
    let without: Vec<f64> = blocks.iter().map(|block| all.without(block).ohm()).collect();
    let estimate = Estimate::from_half_width(1000.0 * all.ohm(), 1000.0 * half_width_95(&without));
    (estimate.low > 0.0 && explained > LEAST_EXPLAINED).then_some(estimate)
}

/// Sums over steps of which the resistance is made.
#[derive(Clone, Copy, Default)]
struct Sums {
    /// −Σ ΔI·ΔV.
    drop: f64,
    /// Σ ΔI².
    squares: f64,
}

impl Sums {
    fn new(steps: &[Step]) -> Self {
        steps.iter().fold(Self::default(), |sums, s| Self {
            drop: sums.drop - s.amps * s.volts,
            squares: sums.squares + s.amps * s.amps,
        })
    }

    fn plus(&self, other: &Self) -> Self {
        Self { drop: self.drop + other.drop, squares: self.squares + other.squares }
    }

    fn without(&self, part: &Self) -> Self {
        Self { drop: self.drop - part.drop, squares: self.squares - part.squares }
    }

    fn ohm(&self) -> f64 {
        self.drop / self.squares
    }
}

/// Share of the voltage's movement that the current explains.
fn explained(steps: &[Step]) -> f64 {
    let (iv, ii, vv) = steps
        .iter()
        .fold((0.0, 0.0, 0.0), |(iv, ii, vv), s| (iv + s.amps * s.volts, ii + s.amps * s.amps, vv + s.volts * s.volts));
    iv * iv / ii / vv
}

/// Rows in which the slower of voltage and current is new: all of them, but for recorders that hold a channel over
/// several rows.
fn fresh_rows(voltage: &[f64], current: &[f64]) -> Vec<usize> {
    // A channel that is held never changes in two rows running; one in coarse steps does.
    let held = |values: &[f64]| {
        let changes: Vec<bool> = values.windows(2).map(|w| w[0] != w[1]).collect();
        let all = changes.iter().filter(|c| **c).count();
        let running = changes.windows(2).filter(|w| w[0] && w[1]).count();
        all > LEAST_STEPS && (running as f64) < SELDOM * all as f64
    };
    match [current, voltage].into_iter().find(|values| held(values)) {
        Some(slower) => (1..slower.len()).filter(|&n| slower[n] != slower[n - 1]).collect(),
        None => (0..current.len()).collect(),
    }
}

/// The voltage of other moments than the row's: of the row before, of the one after, and the mean over the step before.
fn volts_beside(voltage: &[f64]) -> [Vec<f64>; 3] {
    let last = voltage.len() - 1;
    let before: Vec<f64> = (0..=last).map(|n| voltage[n.saturating_sub(1)]).collect();
    let after = (0..=last).map(|n| voltage[(n + 1).min(last)]).collect();
    let mean = voltage.iter().zip(&before).map(|(a, b)| (a + b) / 2.0).collect();
    [before, after, mean]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Amperes that jump as a driver's do, finely sampled: a pack of 8.6 mΩ shows 8.4 V less what they pull down.
    fn driven() -> Vec<f64> {
        let noise = |n: u32| f64::from(n.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24);
        (0..30_000).map(|n| 60.0 * noise(n / 7) * (0.8 + 0.2 * noise(n / 3))).collect()
    }

    fn pack(amperes: &[f64]) -> Vec<f64> {
        amperes.iter().map(|i| 8.4 - 0.008_6 * i).collect()
    }

    #[test]
    fn a_channel_that_is_held_over_rows_does_not_halve_the_resistance() {
        let amperes = driven();
        let rows: Vec<usize> = (0..6000).map(|n| 5 * n).collect();
        let time: Vec<f64> = (0..rows.len()).map(|n| n as f64 * 0.05).collect();
        let volts = pack(&rows.iter().map(|&r| amperes[r]).collect::<Vec<_>>());
        let held = |every: usize| (0..rows.len()).map(|n| amperes[rows[n - n % every]]).collect::<Vec<_>>();
        for every in [1, 2, 4] {
            let found = resistance_mohm(&time, &volts, &held(every)).unwrap();
            assert!((found.value - 8.6).abs() < 0.05, "{every}: {found:?}");
        }
    }

    #[test]
    fn a_current_that_is_a_mean_over_the_step_or_late_gives_no_resistance() {
        let amperes = driven();
        let time: Vec<f64> = (0..6000).map(|n| f64::from(n) * 0.05).collect();
        let volts: Vec<f64> = pack(&amperes).into_iter().step_by(5).collect();
        let mean: Vec<f64> = (0..6000usize)
            .map(|n| amperes[(5 * n).saturating_sub(4)..=5 * n].iter().sum::<f64>() / if n == 0 { 1.0 } else { 5.0 })
            .collect();
        let late: Vec<f64> = (0..6000usize).map(|n| amperes[(5 * n).saturating_sub(5)]).collect();
        assert_eq!((resistance_mohm(&time, &volts, &mean), resistance_mohm(&time, &volts, &late)), (None, None));
    }
}
