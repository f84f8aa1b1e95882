//! Resistance of the pack: how much its voltage drops for each ampere.
//!
//! The voltage's change over a third of a second is a weighted sum of the changes of the current at the readings around
//! its moment; R is minus the sum of the weights, by least squares. How the recorder takes the current
//! ([`crate::recorder`]) says which readings those are: one where a reading is of one moment, however late or held;
//! four where it is a mean over the row, or late by a part of one. The sum of the weights is R all the same: a recorder
//! that averages or delays a current shows a steady one as it is (the gain at rest of a filter is the sum of its
//! weights: Oppenheim and Schafer, Discrete-Time Signal Processing, 2.6). Differences take out the open-circuit voltage
//! and the slow polarisation, which hardly move in that time. Regenerated current counts like any other.
//!
//! The interval has in it: a jackknife over blocks of the log ([`crate::statistics::jackknife`]); how far the
//! resistance moves over the run, as the pack warms and empties, so that it holds the middle of the run's lowest and
//! highest; what steps twice as long see more of, which is the fast polarisation; and what more readings around change.
//!
//! There is no resistance where the voltage does not follow the current, or where the current hardly changes. A cell
//! whose voltage does not go in proportion to its current has none that holds for all currents: the figure is then that
//! of the run's own steps.

use nalgebra::SVector;

use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::jackknife::half_width_95;
use crate::statistics::least_squares::NormalEquations;
use crate::statistics::quantiles::median_step;

/// Time over which changes are taken, s. Common practice, no source: longer than any recorder's delay, shorter than
/// what a cell takes to polarise.
const STEP_S: f64 = 0.3;
/// Readings farther apart than this see the polarisation as well as the ohmic drop, s. Common practice, no source.
const LONGEST_STEP_S: f64 = 0.5;
/// Readings whose weights are told apart lie at least so far apart, s. A default.
const LEAST_APART_S: f64 = 0.02;
/// A step that lasts this many times as long as its readings should has rows missing.
const ROWS_MISSING: f64 = 1.3;
/// Parts of a reading by which its moment may be off a whole number of readings and still be that reading's.
const WHOLE: f64 = 0.25;
/// Steps in which no reading of the current changes by as much are mostly the recorder's own, A.
const LEAST_STEP_A: f64 = 2.0;
/// Fewest steps that are needed, and blocks that they are put into for the interval.
const LEAST_STEPS: usize = 100;
const BLOCKS: usize = 20;
/// Share of the voltage's movement that the current must explain. A default.
const LEAST_EXPLAINED: f64 = 0.3;
/// Relative standard uncertainty for a recorder whose voltage and current are not quite of the moments that its rows
/// say. Common practice, no source.
const RECORDER_U: f64 = 0.01;

/// Ohmic resistance of the pack, mΩ, from the rows' time (s), voltage (V) and current (A), the `rows` with a new
/// reading, and by how much the current is late, s; `None` where steps are too few or do not go together.
pub fn resistance_mohm(
    time: &[f64],
    voltage: &[f64],
    current: &[f64],
    rows: &[usize],
    late_s: f64,
) -> Option<Estimate> {
    let readings = Readings::new(time, voltage, current, rows)?;
    let late = late_s / (readings.step_s * readings.apart as f64);
    // The reading of the voltage's moment, or those around it; steps twice as long; and one more reading on each side.
    let [found, longer, wider] = if (late - late.round()).abs() < WHOLE {
        let middle = late.round() as isize;
        [
            readings.fit::<1>(STEP_S, middle),
            readings.fit::<1>(2.0 * STEP_S, middle),
            readings.fit::<3>(STEP_S, middle - 1),
        ]
    } else {
        let before = late.floor() as isize;
        [
            readings.fit::<4>(STEP_S, before - 1),
            readings.fit::<4>(2.0 * STEP_S, before - 1),
            readings.fit::<6>(STEP_S, before - 2),
        ]
    };
    let found = found?;
    let apart = |other: Option<Fit>| other.map_or(0.0, |other| (other.ohm - found.ohm).abs());
    // What longer steps or more readings change may have been missed once more.
    let over_the_run = found.moves_by / 2.0 * found.ohm.abs();
    let evenly = [over_the_run, 2.0 * apart(longer), 2.0 * apart(wider)].map(|half| half / 3f64.sqrt());
    let u = evenly.iter().fold(RECORDER_U * found.ohm, |sum, u| sum.hypot(*u));
    let estimate = Estimate::from_half_width(1000.0 * found.ohm, 1000.0 * (COVERAGE_95 * u).hypot(found.half_width));
    (estimate.low > 0.0 && found.explained > LEAST_EXPLAINED).then_some(estimate)
}

/// The readings of the current with the voltage of their rows.
struct Readings {
    time: Vec<f64>,
    volts: Vec<f64>,
    amps: Vec<f64>,
    /// Usual time from one to the next, s.
    step_s: f64,
    /// Readings from one weight to the next.
    apart: usize,
}

/// A change of the voltage, V, and those of the current at the readings around, A.
struct Step<const N: usize> {
    volts: f64,
    amps: SVector<f64, N>,
    /// When, from −½ at the log's start to ½ at its end.
    place: f64,
}

/// What a fit of the steps gives.
struct Fit {
    ohm: f64,
    /// Half of its 95 % interval by the jackknife, Ω.
    half_width: f64,
    /// How far it moves from the log's start to its end, as a share.
    moves_by: f64,
    /// Share of the voltage's movement that the current explains.
    explained: f64,
}

impl Readings {
    fn new(time: &[f64], voltage: &[f64], current: &[f64], rows: &[usize]) -> Option<Self> {
        let of = |values: &[f64]| rows.iter().map(|n| values[*n]).collect::<Vec<f64>>();
        let time = of(time);
        let step_s = median_step(&time).filter(|s| *s > 0.0 && *s <= LONGEST_STEP_S)?;
        let apart = (LEAST_APART_S / step_s).round().max(1.0) as usize;
        Some(Self { time, volts: of(voltage), amps: of(current), step_s, apart })
    }

    /// Steps over so many seconds with the `N` readings from `first` on, in weights from the row's own.
    fn steps<const N: usize>(&self, over_s: f64, first: isize) -> Vec<Step<N>> {
        let span = (over_s / self.step_s).round().max(1.0) as usize;
        let reading = |k: usize| (first + k as isize) * self.apart as isize;
        let (before, after) = (reading(0).min(0).unsigned_abs(), reading(N - 1).max(0).unsigned_abs());
        let longest_s = ROWS_MISSING * (span + before + after) as f64 * self.step_s;
        let (start, end) = (self.time[0], self.time[self.time.len() - 1]);
        let is_whole = |n: &usize| self.time[n + after] - self.time[n - span - before] < longest_s;
        let step = |n: usize| {
            let change = |k: usize| {
                let to = n.saturating_add_signed(reading(k));
                self.amps[to] - self.amps[to - span]
            };
            Step {
                volts: self.volts[n] - self.volts[n - span],
                amps: SVector::from_fn(|k, _| change(k)),
                place: (self.time[n] - start) / (end - start) - 0.5,
            }
        };
        let steps = (span + before..self.time.len().saturating_sub(after)).filter(is_whole).map(step);
        steps.filter(|s: &Step<N>| s.amps.amax() >= LEAST_STEP_A).collect()
    }

    /// The resistance by these steps; `None` where they are too few or too small.
    fn fit<const N: usize>(&self, over_s: f64, first: isize) -> Option<Fit> {
        let steps = self.steps::<N>(over_s, first);
        let size = steps.len().div_ceil(BLOCKS).max(1);
        let blocks: Vec<_> = steps.chunks(size).map(|block| equations(block, |s| (s.amps, s.volts))).collect();
        let all = blocks.iter().fold(NormalEquations::default(), |all, block| all + *block);
        if steps.len() < LEAST_STEPS {
            return None;
        }
        let weights = all.best()?;
        let without: Vec<f64> = blocks.iter().filter_map(|block| Some(-(all - *block).best()?.sum())).collect();
        // The same weights, as they are and growing over the log.
        let drop = |s: &Step<N>| s.amps.dot(&weights);
        let course = equations(&steps, |s| (SVector::from([drop(s), drop(s) * s.place]), s.volts)).best()?;
        Some(Fit {
            ohm: -weights.sum(),
            half_width: half_width_95(&without),
            moves_by: (course[1] / course[0]).abs(),
            explained: weights.dot(&all.right) / steps.iter().map(|s| s.volts * s.volts).sum::<f64>(),
        })
    }
}

/// Normal equations of steps, of which `row` gives what is known and what was seen.
fn equations<const N: usize, const M: usize>(
    steps: &[Step<N>],
    row: impl Fn(&Step<N>) -> (SVector<f64, M>, f64),
) -> NormalEquations<M> {
    steps.iter().map(row).fold(NormalEquations::default(), |mut equations, (known, seen)| {
        equations.add(&known, seen, 1.0);
        equations
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recorder::{CurrentTaking, rows_with_a_reading};
    use rstest::rstest;

    /// Samples between two rows, which are a twentieth of a second apart.
    const SAMPLES_A_ROW: usize = 25;

    /// Amperes of a finger that goes somewhere else three times a second, 500 a second.
    fn driven() -> Vec<f64> {
        let noise = |n: u32| f64::from(n.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24);
        let (mut amps, mut level) = (0.0, 0);
        let next = |n: u32| {
            if noise(n) < 0.006 {
                level += 1;
            }
            amps += 0.05 * (60.0 * noise(900_001 + level) - amps);
            amps
        };
        (0..60_000).map(next).collect()
    }

    /// What is found of a pack that shows `volts` at each sample where the recorder takes the current as `taken`.
    fn found(volts: impl Fn(&[f64], usize) -> f64, taken: impl Fn(&[f64], usize) -> f64) -> Option<Estimate> {
        let amps = driven();
        let samples: Vec<usize> = (8..amps.len() / SAMPLES_A_ROW - 4).map(|n| SAMPLES_A_ROW * n).collect();
        let time: Vec<f64> = samples.iter().map(|s| *s as f64 / 500.0).collect();
        let volts: Vec<f64> = samples.iter().map(|s| volts(&amps, *s)).collect();
        let current: Vec<f64> = samples.iter().map(|s| taken(&amps, *s)).collect();
        let rows = rows_with_a_reading(&volts, &current);
        let taking = CurrentTaking::of_readings(&time, &volts, &current, rows.clone());
        resistance_mohm(&time, &volts, &current, &rows, taking.map_or(0.0, |taking| taking.late_s.value))
    }

    #[rstest]
    #[case::of_the_row(|amps: &[f64], at: usize| amps[at], 0.01)]
    #[case::a_row_late(|amps: &[f64], at: usize| amps[at - 25], 0.01)]
    #[case::a_third_of_a_row_late(|amps: &[f64], at: usize| amps[at - 8], 0.03)]
    #[case::a_mean_over_the_row(|amps: &[f64], at: usize| amps[at - 24..=at].iter().sum::<f64>() / 25.0, 0.03)]
    #[case::a_mean_over_four_rows(|amps: &[f64], at: usize| amps[at - 99..=at].iter().sum::<f64>() / 100.0, 0.15)]
    #[case::held_over_two_rows(|amps: &[f64], at: usize| amps[at - at % 50], 0.01)]
    #[case::held_over_four_rows(|amps: &[f64], at: usize| amps[at - at % 100], 0.01)]
    fn however_the_current_is_taken(#[case] taken: fn(&[f64], usize) -> f64, #[case] off: f64) {
        let found = found(|amps, at| 8.4 - 0.0086 * amps[at], taken).unwrap();
        assert!((found.value / 8.6 - 1.0).abs() < off && found.holds(8.6), "{found:?}");
    }

    #[test]
    fn the_interval_has_the_run_in_it() {
        let ohm = |at: usize| 0.008 + 0.002 * at as f64 / 60_000.0;
        let found = found(|amps, at| 8.4 - ohm(at) * amps[at], |amps, at| amps[at]).unwrap();
        assert!(found.holds(9.0) && found.half_width() > 1.0 && found.half_width() < 1.5, "{found:?}");
    }

    #[test]
    fn a_current_of_another_run_gives_none() {
        assert_eq!(found(|amps, at| 8.4 - 0.0086 * amps[at], |amps, at| amps[(7 * at + 1001) % amps.len()]), None);
    }
}
