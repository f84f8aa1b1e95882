//! Any counted lap of a run against another lap: of the run, their median, or the best lap of another run of the car.
//!
//! Where a lap lost most: the lap is cut at the line, where the lap times themselves say what was lost, and at the
//! fastest point between each two slowest ones ([`crate::measure::cuts`]). There a doubt of the place is the shortest
//! doubt of the time, and each corner is in one piece. Of the stretches those count that lost more than their interval,
//! which holds for all of them together: the three are picked from several (Bonferroni 1936, from memory).

use rayon::prelude::*;

use super::cars::index_before;
use super::laid_lap::{LaidLap, OnStretch, lay};
use super::laid_over::Offset;
use super::laid_runs::LaidRuns;
use super::where_time_went::{WhereTimeWent, line_u};
use crate::measure::time_along_lap::{PLACES, TimeAlong, TimeAlongLaps, share_at};
use crate::quantity::{Estimate, Uncertain};
use crate::run::SettledRun;
use crate::statistics::coverage::coverage_factor;

/// Other runs whose best lap is compared, the nearest first: more would weigh on a page.
const OTHERS: usize = 12;
/// Neighbours that are looked at for them.
const NEAR: usize = 200;
/// Stretches that are named.
const NAMED: usize = 3;
/// Probability that one of the stretches' intervals is wrong, all together.
const WRONG: f64 = 0.05;
/// Shortest stretch, share of the lap. Common practice, no source.
const SHORTEST: f64 = 0.03;
/// Places on either side over which a speed is taken: a hundredth of the lap each way.
const SPEED_REACH: usize = 2;
/// Most counted laps of which each is compared with each other; of more laps each is compared with the best, the
/// median and those of other runs. They would weigh on a page.
const EACH_WITH_EACH: usize = 40;

/// What a run's laps can be compared with, and where each lost most.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LapOnLap {
    /// The best laps of the car's other runs, the nearest run first.
    pub others: Vec<OtherLap>,
    /// Which of `others` is the car's best lap; `None` where this run has it.
    pub best_of_car: Option<usize>,
    /// Which of `others` is that of the car's run before.
    pub run_before: Option<usize>,
    /// What each lap was compared with; empty where the lap is not cut.
    pub compared_with: Vec<LostOn>,
    /// Where each lap lost most, where any place is clear.
    pub lost_most: Vec<LostMost>,
}

/// The best lap of another run.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherLap {
    /// Index of the run in the weekend.
    pub run: usize,
    /// The lap, from 1.
    pub lap: u32,
    /// How it lies over this run's laps; `None` where that is not known.
    pub laid: Option<LaidLap>,
}

/// Where a lap lost most on another.
#[derive(Debug, Clone, PartialEq)]
pub struct LostMost {
    /// The lap, from 1.
    pub lap: u32,
    /// What it is compared with.
    pub on: LostOn,
    /// At most three stretches, the dearest first.
    pub stretches: Vec<LostStretch>,
}

/// What a lap is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LostOn {
    /// A lap of the run, from 1.
    Lap(u32),
    /// The median of the run's laps.
    Median,
    /// One of the other runs' laps, by its index.
    Other(usize),
}

/// A stretch of the lap in which time was clearly lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LostStretch {
    /// Where it begins, share of the lap from the line.
    pub from: f64,
    /// Where it ends, above `from`.
    pub to: f64,
    /// Time lost, s; its interval holds for all stretches together.
    pub lost_s: Estimate,
}

/// What each run's laps can be compared with, in order.
pub fn lap_on_lap(runs: &[SettledRun], times: &[Option<WhereTimeWent>], laid: &LaidRuns) -> Vec<LapOnLap> {
    (0..runs.len()).into_par_iter().map(|index| of_run(runs, laid, index, times[index].as_ref())).collect()
}

fn of_run(runs: &[SettledRun], laid_runs: &LaidRuns, index: usize, time: Option<&WhereTimeWent>) -> LapOnLap {
    let car = |n: usize| runs[n].plan().car.as_str();
    let best_s = |n: usize| Some(runs[n].done()?.laps.best()?.time_s());
    // The nearest first, of two as near the earlier.
    let near = (1..=NEAR).flat_map(|far| [index.checked_sub(far), Some(index + far)]).flatten();
    let mut others: Vec<usize> =
        near.filter(|&n| n < runs.len() && car(n) == car(index) && best_s(n).is_some()).take(OTHERS).collect();
    let of_car = (0..runs.len()).filter(|&n| !car(n).is_empty() && car(n) == car(index) && runs[n].has_own_log());
    let best = of_car.filter_map(|n| Some((n, best_s(n)?))).min_by(|a, b| a.1.total_cmp(&b.1)).map(|best| best.0);
    others.extend(best.filter(|best| *best != index && !others.contains(best)));
    let laps: Vec<OtherLap> = others
        .iter()
        .filter_map(|&run| {
            let lap = runs[run].done()?.laps.best()?.number;
            // Of a log that may be another run's, or of no known car, nothing says that the line is the same.
            let comparable = |n: usize| runs[n].has_own_log() && !car(n).is_empty();
            let offset = if comparable(index) && comparable(run) { laid_runs.offset(index, run) } else { None };
            Some(OtherLap { run, lap, laid: offset.and_then(|offset| laid(&runs[index], &runs[run], lap, offset)) })
        })
        .collect();
    let which = |run: Option<usize>| laps.iter().position(|lap| Some(lap.run) == run);
    let (compared_with, lost_most) = lost_most_of_run(&runs[index], time, &laps).unwrap_or_default();
    LapOnLap {
        best_of_car: which(best),
        run_before: which(index_before(index, car)),
        compared_with,
        lost_most,
        others: laps,
    }
}

fn along_of(run: &SettledRun) -> Option<&TimeAlongLaps> {
    run.done()?.answers.along.as_ref().ok()
}

/// A lap of `other`, whose line is `offset` behind, by the places of `run`.
fn laid(run: &SettledRun, other: &SettledRun, lap: u32, offset: Offset) -> Option<LaidLap> {
    let (own, others) = (along_of(run)?, along_of(other)?);
    let line_u = line_u(run.done()?, own).min(line_u(other.done()?, others));
    Some(lay(others.lap(lap)?, offset, line_u))
}

/// What each counted lap of a run is compared with, and where it lost most; `None` where the lap is not cut.
fn lost_most_of_run(
    run: &SettledRun,
    time: Option<&WhereTimeWent>,
    others: &[OtherLap],
) -> Option<(Vec<LostOn>, Vec<LostMost>)> {
    let along = along_of(run)?;
    let sections = &time?.sections.as_ref()?.sections;
    let fastest: Vec<f64> = sections.iter().map(|s| fastest_between(&along.median, s.from, s.to)).collect();
    let ends = ends(&fastest);
    let each = along.laps.len() <= EACH_WITH_EACH;
    let own = along.laps.iter().filter(|lap| each || lap.lap == along.best().lap);
    let mut laid: Vec<(LostOn, LaidLap)> = own.map(|lap| (LostOn::Lap(lap.lap), LaidLap::own(&lap.along))).collect();
    laid.push((LostOn::Median, LaidLap::own(&along.median)));
    let of_others = others.iter().enumerate().filter_map(|(n, o)| Some((LostOn::Other(n), o.laid.clone()?)));
    laid.extend(of_others);
    let factor = factor_of_all(ends.len());
    let theirs = laid.iter().map(|(_, other)| ends.iter().map(|ends| other.on_stretch(*ends)).collect());
    let theirs: Vec<Vec<OnStretch>> = theirs.collect();
    let all = along.laps.iter().flat_map(|lap| {
        let own: Vec<OnStretch> = ends.iter().map(|ends| OnStretch::new(&lap.along, *ends)).collect();
        let not_itself = laid.iter().zip(&theirs).filter(|((on, _), _)| *on != LostOn::Lap(lap.lap));
        let lost = not_itself.map(|((on, other), theirs)| {
            let lost = |n: usize| other.own_side(own[n], &lap.along, ends[n]).lost_on(&theirs[n]);
            LostMost { lap: lap.lap, on: *on, stretches: dearest(&ends, lost, factor) }
        });
        lost.collect::<Vec<LostMost>>()
    });
    let clear = all.filter(|lost| !lost.stretches.is_empty()).collect();
    Some((laid.iter().map(|(on, _)| *on).collect(), clear))
}

/// The fastest point between two places of the lap; round the line, where the second is before the first.
fn fastest_between(lap: &TimeAlong, from: f64, to: f64) -> f64 {
    let length = (to - from).rem_euclid(1.0);
    let places = (length * PLACES as f64) as usize;
    let shares = (0..=places).map(|place| (from + share_at(place)).rem_euclid(1.0));
    let speed = |share: &f64| lap.speed_around(*share, SPEED_REACH);
    shares.max_by(|a, b| speed(a).total_cmp(&speed(b))).unwrap_or(from)
}

/// The stretches between the cuts, with the line as one more; what is too short to time goes to the next.
fn ends(cuts: &[f64]) -> Vec<(f64, f64)> {
    let mut all: Vec<f64> = cuts.iter().copied().chain([0.0, 1.0]).collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|next, before| *next < 1.0 && *next - *before < SHORTEST);
    if all.len() > 2 && 1.0 - all[all.len() - 2] < SHORTEST {
        all.remove(all.len() - 2);
    }
    all.windows(2).map(|pair| (pair[0], pair[1])).collect()
}

/// Half-widths of so many stretches' intervals that hold together, in standard uncertainties.
fn factor_of_all(stretches: usize) -> f64 {
    coverage_factor(f64::INFINITY, 1.0 - WRONG / stretches as f64)
}

/// The stretches in which a lap clearly lost most, where it `lost` so much on each, with intervals of `factor` standard
/// uncertainties.
fn dearest(ends: &[(f64, f64)], lost: impl Fn(usize) -> Uncertain, factor: f64) -> Vec<LostStretch> {
    let stretch = |(n, &(from, to)): (usize, &(f64, f64))| {
        let lost = lost(n);
        LostStretch { from, to, lost_s: Estimate::from_half_width(lost.value, factor * lost.standard_u) }
    };
    let mut clear: Vec<LostStretch> =
        ends.iter().enumerate().map(stretch).filter(|stretch| stretch.lost_s.low > 0.0).collect();
    clear.sort_by(|a, b| b.lost_s.value.total_cmp(&a.lost_s.value));
    clear.truncate(NAMED);
    clear
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weekend::laid_lap::tests::lap;

    #[test]
    fn the_dearest_stretches_are_those_that_lost_more_than_their_doubt() {
        let (slow, fast) = (lap([5.5, 6.01, 4.2]), lap([5.0, 6.0, 4.0]));
        let ends = ends(&[0.3, 0.7]);
        let lost_on = |lap: &TimeAlong, other: &TimeAlong| {
            let other = LaidLap::own(other);
            let lost = |n: usize| OnStretch::new(lap, ends[n]).lost_on(&other.on_stretch(ends[n]));
            dearest(&ends, lost, factor_of_all(ends.len()))
        };
        let lost = lost_on(&slow, &fast);
        let places: Vec<(f64, f64)> = lost.iter().map(|s| (s.from, s.to)).collect();
        assert_eq!(places, [(0.0, 0.3), (0.7, 1.0)]);
        assert!((lost[0].lost_s.value - 0.5).abs() < 1e-9 && (lost[1].lost_s.value - 0.2).abs() < 1e-9);
        // 2.394 (three at 95 % together) · √2 · 0.04 · √(0.3 · 0.7) by hand.
        assert!((lost[0].lost_s.half_width() - 0.062_06).abs() < 1e-3, "{:?}", lost[0]);
        assert!(lost_on(&fast, &slow).is_empty());
    }

    #[test]
    fn the_lap_is_cut_where_it_is_fastest_and_at_the_line() {
        // The parts go at 0.06, 0.0667 and 0.075 laps a second.
        let cut = fastest_between(&lap([5.0, 6.0, 4.0]), 0.5, 0.1);
        assert!(cut > 0.7, "{cut}");
        assert_eq!(ends(&[0.3, 0.7]), [(0.0, 0.3), (0.3, 0.7), (0.7, 1.0)]);
        assert_eq!(ends(&[0.01, 0.5, 0.99]), [(0.0, 0.5), (0.5, 1.0)]);
    }
}
