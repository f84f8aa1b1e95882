//! Which pinion was on the car: all runs of a car weighed together.
//!
//! A run shows x = ln(realised ratio / set ratio). That is one offset shared by the car's runs (lap length, tyre, drive
//! slip, driven line), which may drift as the tyres wear, plus ln(p / (p + k)) where k teeth more than the sheet's p
//! are on the car, plus the run's own scatter. The offset is a hidden random walk over the runs, kept on a grid;
//! forward and backward sums (Rabiner 1989) give the probability of each k for each run. So one odd pinion shows
//! against its neighbours even where the lap length is vague, and a run alone is held against what lap length, tyre and
//! slip can explain.

use rayon::prelude::*;

use crate::gears::set_rollout_mm;
use crate::measure::gearing::{CALIPER_MM, Fit};
use crate::measure::lap_turns::GrippedTurns;
use crate::quantity::COVERAGE_95;
use crate::run::{GearingVerdict, PinionVerdict, PinionWhy};
use crate::sheet::Settings;

/// Offset that drive slip, the flattened tyre and the driven line leave above the set ratio, and its deviation. Common
/// practice, no source: one per cent of each at the most, foam and rubber alike.
const OFFSET: f64 = 0.011;
const OFFSET_U: f64 = 0.009;
/// Where nothing tells the lap length, the offset is open to this extent.
const OPEN_U: f64 = 1.0;
/// What a run may be off its neighbours by line and slip alone, relative. Common practice, no source.
const RUN_U: f64 = 0.002;
/// How far the offset may wander from run to run: rubber, foam. Wear of foam is a few tenths of a millimetre a run.
const WANDER: [f64; 2] = [0.0015, 0.004];
/// Steady drifts that are tried for foam, relative a run, all as likely.
const DRIFTS: [f64; 7] = [-0.004, 0.0, 0.004, 0.008, 0.012, 0.016, 0.020];
/// How far they go over a weekend at the most: foam that has lost an eighth of its diameter is thrown away. Common
/// practice, no source.
const MOST_DRIFT: f64 = 0.12;
/// Probability that the sheet is right, that it is one to four teeth off for a run, and for all runs of the car alike.
const RUN_PRIOR: [f64; 5] = [0.92, 0.03, 0.006, 0.002, 0.001];
const CAR_PRIOR: [f64; 5] = [0.96, 0.015, 0.003, 0.001, 0.000_5];
/// The same of a run whose teeth are farther off than that from what all runs are off.
const FAR_PRIOR: f64 = 0.000_5;
/// Probability that something else is wrong: spur, internal ratio, tyre, lap length; the ratio may then be any within a
/// factor of e either way.
const ELSE_PRIOR: f64 = 0.002;
const ELSE_DENSITY: f64 = 0.5;
/// A verdict needs this probability.
const SURE: f64 = 0.95;
/// Where the runs speak so many times as well for another pinion in all of them, that the sheet is seldom wrong does
/// not make it right. A default.
const AGAINST: f64 = 1.5;
/// Step of the grid of offsets.
const GRID: f64 = 0.000_5;
/// Teeth off the sheet that are weighed.
const TEETH: [i32; 9] = [-4, -3, -2, -1, 0, 1, 2, 3, 4];
/// Hypotheses of a run: each number of teeth, and something else.
const CELLS: usize = TEETH.len() + 1;

/// What a run brings to the weighing.
#[derive(Debug, Clone)]
pub struct Turns<'a> {
    /// Settings of the run.
    pub settings: &'a Settings,
    /// Its turns.
    pub gripped: GrippedTurns,
}

struct Seen {
    x: f64,
    u: f64,
    pinion: f64,
}

/// Weighs the pinions of one car's `runs` in order; `lap_length_m` with the half-width of its interval, where known.
/// Gives each run's verdict and fits; `None` for a run whose sheet lacks pinion, spur or tyre.
pub fn weigh(runs: &[Turns], lap_length_m: Option<(f64, f64)>) -> Vec<Option<PinionVerdict>> {
    // Without a lap length the offset is open, and any length serves as its unit.
    let length = lap_length_m.map_or(1.0, |l| l.0);
    let seen: Vec<Option<Seen>> = runs.iter().map(|r| see(r, length)).collect();
    let known: Vec<&Seen> = seen.iter().flatten().collect();
    let Some(first) = known.first() else { return vec![None; runs.len()] };
    let foam = runs.iter().any(|r| r.settings.foam());
    let tyre_u = runs[0].settings.tyre_mm().map_or(0.0, |d| CALIPER_MM / d);
    let (centre, spread) = match lap_length_m {
        Some((length, half_width)) => {
            (OFFSET, (OFFSET_U.powi(2) + (half_width / COVERAGE_95 / length).powi(2) + tyre_u.powi(2)).sqrt())
        }
        None => (first.x, OPEN_U),
    };
    let (drifts, wander): (&[f64], f64) = if foam { (&DRIFTS, WANDER[1]) } else { (&[0.0], WANDER[0]) };
    let grid = grid(centre, spread, drifts, wander, known.len());
    let prior: Vec<f64> = grid.iter().map(|g| normal(g - centre, spread)).collect();
    let densities: Vec<Vec<Density>> =
        known.iter().map(|run| grid.iter().map(|g| density(run, *g)).collect()).collect();
    let walks: Vec<Walk> = drifts.iter().map(|drift| Walk::new(*drift, wander)).collect();
    let of_whole = |whole: &i32| off_in_all(*whole, &densities, &prior, &walks);
    // In the order of the teeth, so that sums are the same every time.
    let wholes: Vec<Vec<[f64; CELLS]>> = TEETH.par_iter().map(of_whole).collect();
    let mut sums = vec![[0.0; CELLS]; known.len()];
    for (whole, each) in TEETH.iter().zip(&wholes) {
        let weight = CAR_PRIOR[whole.unsigned_abs() as usize];
        for (sum, likelihood) in sums.iter_mut().zip(each) {
            sum.iter_mut().zip(likelihood).for_each(|(sum, l)| *sum += weight * l);
        }
    }
    // How well the runs go with each number of teeth off in all of them, whatever was thought before.
    let evidence: Vec<f64> = wholes.iter().map(|whole| whole[0].iter().sum()).collect();
    let of_sheet = TEETH.iter().zip(&evidence).find(|e| *e.0 == 0).map_or(0.0, |e| *e.1);
    let spoken_against = evidence.iter().any(|e| *e > AGAINST * of_sheet);
    let mut at = sums.into_iter();
    let each = runs.iter().zip(&seen);
    each.map(|(run, s)| s.as_ref().and_then(|s| at.next().map(|sum| conclude(run, s, sum, spoken_against)))).collect()
}

/// Offsets from the first run's lowest to where the fastest drift has taken its highest by the last of `runs`.
fn grid(centre: f64, spread: f64, drifts: &[f64], wander: f64, runs: usize) -> Vec<f64> {
    let reach = (4.0 * spread).min(0.25);
    let steps = runs.saturating_sub(1) as f64;
    let wandered = 4.0 * wander * steps.sqrt();
    let drifted = |d: f64| (d * steps).clamp(-MOST_DRIFT, MOST_DRIFT);
    let down = drifts.iter().copied().fold(0.0, |least, d| f64::min(least, drifted(d)));
    let up = drifts.iter().copied().fold(0.0, |most, d| f64::max(most, drifted(d)));
    let (low, high) = (centre - reach - wandered + down, centre + reach + wandered + up);
    (0..=((high - low) / GRID) as usize).map(|n| low + n as f64 * GRID).collect()
}

fn see(run: &Turns, length: f64) -> Option<Seen> {
    let per_turn = length * 1000.0 / run.gripped.turns;
    let set_rollout = set_rollout_mm(run.settings)?;
    let u = (RUN_U.powi(2) + run.gripped.relative_u.powi(2)).sqrt();
    Some(Seen { x: (set_rollout / per_turn).ln(), u, pinion: run.settings.number("pinion")? })
}

fn normal(x: f64, u: f64) -> f64 {
    (-0.5 * (x / u).powi(2)).exp()
}

/// How likely what a run shows is for each number of teeth off the sheet, each as a density, so that it can be held
/// against that of something else.
type Density = [f64; TEETH.len()];

/// The densities of a run where the offset is `offset`.
fn density(run: &Seen, offset: f64) -> Density {
    TEETH.map(|teeth| {
        let expected = offset + (run.pinion / (run.pinion + f64::from(teeth)).max(1.0)).ln();
        normal(run.x - expected, run.u) / (run.u * std::f64::consts::TAU.sqrt())
    })
}

/// How likely each run's hypotheses are, not normalised, where the sheet is `whole` teeth off in every run: by the
/// densities of each run at each offset, with all drifts alike.
fn off_in_all(whole: i32, densities: &[Vec<Density>], prior: &[f64], walks: &[Walk]) -> Vec<[f64; CELLS]> {
    // Off by some teeth in all, of which `whole` belong to every run of the car.
    let priors =
        TEETH.map(|teeth| RUN_PRIOR.get((teeth - whole).unsigned_abs() as usize).copied().unwrap_or(FAR_PRIOR));
    let total =
        |density: &Density| priors.iter().zip(density).map(|(p, d)| p * d).sum::<f64>() + ELSE_PRIOR * ELSE_DENSITY;
    let totals: Vec<Vec<f64>> = densities.iter().map(|run| run.iter().map(total).collect()).collect();
    let mut by_others = vec![vec![0.0; prior.len()]; densities.len()];
    walks.iter().for_each(|walk| walk.add(&totals, prior, &mut by_others));
    let of_run = |(offsets, densities): (&Vec<f64>, &Vec<Density>)| {
        let mut sums = [0.0; CELLS];
        for (by_others, density) in offsets.iter().zip(densities) {
            let teeth = priors.iter().zip(density).map(|(p, d)| p * d);
            let cells = teeth.chain([ELSE_PRIOR * ELSE_DENSITY]);
            sums.iter_mut().zip(cells).for_each(|(sum, cell)| *sum += by_others * cell);
        }
        sums
    };
    by_others.iter().zip(densities).map(of_run).collect()
}

/// How the offset goes on from run to run: a steady drift and a random walk.
struct Walk {
    /// The drift, in steps of the grid.
    shift: isize,
    /// The spread of the walk, step by step of the grid.
    kernel: Vec<f64>,
}

impl Walk {
    fn new(drift: f64, wander: f64) -> Self {
        let reach = (4.0 * wander / GRID).ceil() as isize;
        let kernel: Vec<f64> = (-reach..=reach).map(|n| normal(n as f64 * GRID, wander)).collect();
        let norm: f64 = kernel.iter().sum();
        Self { shift: (drift / GRID).round() as isize, kernel: kernel.iter().map(|k| k / norm).collect() }
    }

    /// Adds to `by_others` how likely each offset is in each run by all the other runs, not normalised; `totals` are the
    /// likelihoods of each run at each offset, and `prior` those of the offsets at the first run.
    fn add(&self, totals: &[Vec<f64>], prior: &[f64], by_others: &mut [Vec<f64>]) {
        let weighted = |by: &[f64], totals: &[f64]| by.iter().zip(totals).map(|(b, t)| b * t).collect::<Vec<f64>>();
        let mut forward = vec![prior.to_vec()];
        for run in 1..totals.len() {
            forward.push(self.step(&weighted(&forward[run - 1], &totals[run - 1]), self.shift));
        }
        let mut backward = vec![1.0; prior.len()];
        for run in (0..totals.len()).rev() {
            let both = forward[run].iter().zip(&backward);
            by_others[run].iter_mut().zip(both).for_each(|(sum, (f, b))| *sum += f * b);
            if run > 0 {
                backward = self.step(&weighted(&backward, &totals[run]), -self.shift);
            }
        }
    }

    /// The walk to the next run: what is shifted beyond the grid is lost.
    fn step(&self, weights: &[f64], shift: isize) -> Vec<f64> {
        let reach = self.kernel.len() / 2;
        // Room for the kernel and the shift at both ends.
        let room = reach + shift.unsigned_abs();
        let mut padded = vec![0.0; weights.len() + 2 * room];
        padded[room..room + weights.len()].copy_from_slice(weights);
        let first = room.saturating_add_signed(-shift) - reach;
        let mut stepped = vec![0.0; weights.len()];
        for (offset, share) in (first..).zip(&self.kernel) {
            stepped.iter_mut().zip(&padded[offset..]).for_each(|(sum, weight)| *sum += share * weight);
        }
        stepped
    }
}

fn conclude(run: &Turns, seen: &Seen, sums: [f64; CELLS], spoken_against: bool) -> PinionVerdict {
    let total: f64 = sums.iter().sum();
    let probability = |n: usize| if total > 0.0 { sums[n] / total } else { 0.0 };
    let fits: Vec<Fit> = TEETH
        .iter()
        .enumerate()
        .filter_map(|(n, teeth)| {
            let pinion = seen.pinion + f64::from(*teeth);
            Some(Fit { pinion, ratio: run.settings.ratio_with(pinion)?, probability: probability(n) })
        })
        .collect();
    let sheet = TEETH.iter().position(|t| *t == 0).map_or(0.0, probability);
    let other = fits.iter().filter(|f| f.pinion != seen.pinion).map(|f| f.probability).fold(0.0, f64::max);
    let verdict = if sheet >= SURE && !spoken_against {
        GearingVerdict::Agrees
    } else if other >= SURE {
        GearingVerdict::Differs
    } else {
        GearingVerdict::CannotTell
    };
    let none_fits = probability(TEETH.len()) > 0.5;
    let why = (verdict == GearingVerdict::CannotTell).then_some(if none_fits {
        PinionWhy::NoneFits
    } else {
        PinionWhy::TwoFit
    });
    PinionVerdict { verdict, fits, why }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gears::rollout_mm;
    use crate::sheet::Setting;

    fn settings(kind: &str) -> Settings {
        let numbers = [("spur", 116.0), ("pinion", 31.0), ("internal_ratio", 1.85), ("tyre_diameter_mm", 63.0)];
        let mut all: std::collections::BTreeMap<String, Setting> =
            numbers.map(|(k, v)| (k.to_owned(), Setting::Number(v))).into();
        all.insert("tyre_kind".into(), Setting::Text(kind.into()));
        Settings(all)
    }

    /// Runs of a car whose offsets and pinions are given, on a lap of 200 m.
    fn verdicts(kind: &str, runs: &[(f64, f64)], length: Option<(f64, f64)>) -> Vec<GearingVerdict> {
        let settings = settings(kind);
        let turns = |offset: f64, pinion: f64| 200_000.0 / rollout_mm(63.0, 116.0 / pinion * 1.85) * offset.exp();
        let runs: Vec<Turns> = runs
            .iter()
            .map(|&(offset, pinion)| Turns {
                settings: &settings,
                gripped: GrippedTurns { turns: turns(offset, pinion), relative_u: 0.0003, spun: 0.0 },
            })
            .collect();
        weigh(&runs, length).into_iter().map(|r| r.unwrap().verdict).collect()
    }

    use GearingVerdict::{Agrees, CannotTell, Differs};

    #[test]
    fn one_odd_pinion_shows_though_the_lap_length_is_unknown() {
        let runs = [(0.012, 31.0), (0.013, 31.0), (0.011, 32.0), (0.012, 31.0), (0.014, 31.0)];
        assert_eq!(verdicts("rubber", &runs, None), [Agrees, Agrees, Differs, Agrees, Agrees]);
    }

    #[test]
    fn one_run_alone_is_held_against_a_stated_lap() {
        assert_eq!(verdicts("rubber", &[(0.010, 31.0)], Some((200.0, 0.6))), [Agrees]);
        assert_eq!(verdicts("rubber", &[(0.010, 33.0)], Some((200.0, 0.6))), [Differs]);
    }

    #[test]
    fn between_two_pinions_it_cannot_tell() {
        assert_eq!(verdicts("rubber", &[(0.0, 31.6)], Some((200.0, 4.0))), [CannotTell]);
    }

    #[test]
    fn far_off_the_sheet_it_does_not_name_the_nearest() {
        assert_eq!(verdicts("rubber", &[(0.010, 43.0)], Some((200.0, 0.6))), [CannotTell]);
        assert_eq!(verdicts("rubber", &[(0.010, 34.0)], Some((200.0, 0.6))), [Differs]);
    }

    #[test]
    fn foam_that_wears_a_hundredth_a_run_hides_no_tooth() {
        let runs: Vec<(f64, f64)> =
            (0..7).map(|n| (0.009 + 0.0102 * f64::from(n), if n == 5 { 30.0 } else { 31.0 })).collect();
        let expected = [Agrees, Agrees, Agrees, Agrees, Agrees, Differs, Agrees];
        assert_eq!(verdicts("foam", &runs, Some((200.0, 0.6))), expected);
    }

    #[test]
    fn worn_foam_is_no_other_pinion() {
        let runs: Vec<(f64, f64)> = (0..6).map(|n| (0.012 + 0.008 * f64::from(n), 31.0)).collect();
        assert_eq!(verdicts("foam", &runs, Some((200.0, 0.6))), [Agrees; 6]);
    }
}
