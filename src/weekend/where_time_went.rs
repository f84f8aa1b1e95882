//! Where the time went: the sections of each run, cut alike for all runs of a car, and where a run's median lap loses
//! time on that of the car's best run and of the run before.
//!
//! The laps of a car's runs are laid over each other ([`super::laid_over`]) and cut once, by their pooled median lap
//! ([`crate::measure::cuts`]). The difference of two runs' medians in a section has an interval that holds for all
//! sections together: Bonferroni's (1936, from memory), Student's t of the shorter run at 1 − 0.05 / sections. Laps
//! that follow each other are alike, so that they count for fewer ([`crate::statistics::neighbours`]). The doubt of the
//! places and of how the laps lie over each other is added.
//!
//! Two runs differ for many reasons. What a changed setting did is asked of all runs together ([`super::comparisons`]).

use std::sync::Arc;

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::cars::{by_car, index_before};
use super::kept_conclusions::KeptConclusions;
use super::laid_over::{Laid, Offset, lost_on};
use super::laid_runs::LaidRuns;
use crate::measure::cuts::{Member, slowest_points};
use crate::measure::sections::{self, Sections};
use crate::measure::time_along_lap::{TimeAlongLaps, TimeLost};
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::run::{Measured, MeasuredRun, SettledRun};
use crate::statistics::coverage::coverage_factor;
use crate::statistics::neighbours::{TakenOut, widening};
use crate::statistics::quantiles::{median, median_u};

/// Probability that one of the sections' intervals is wrong, all together.
const WRONG: f64 = 0.05;
/// Fewest laps of a run whose sections are compared with another's. Common practice, no source.
const LEAST_LAPS: usize = 5;

/// Where the time of a run went.
#[derive(Debug, Clone, PartialEq)]
pub struct WhereTimeWent {
    /// Its sections; `None` where the lap has no two slowest points.
    pub sections: Option<Sections>,
    /// The slowest counted lap against the best.
    pub worst_lap: LostLap,
    /// The median lap against that of the car's best run; `None` for that run itself, and where they do not compare.
    pub on_best_run: Option<LostRun>,
    /// The median lap against that of the car's run before.
    pub on_run_before: Option<LostRun>,
}

/// Time that one lap of a run lost on another.
#[derive(Debug, Clone, PartialEq)]
pub struct LostLap {
    /// The lap, from 1.
    pub lap: u32,
    /// The lap that it lost time on.
    pub on: u32,
    /// The time lost.
    pub lost: TimeLost,
}

/// Time that the median lap of a run lost on that of another.
#[derive(Debug, Clone, PartialEq)]
pub struct LostRun {
    /// The other run.
    pub run: String,
    /// Difference of the two runs' usual lap times, s: above zero where this run was slower. The interval is that of
    /// the laps' scatter.
    pub slower_by_s: Estimate,
    /// The time lost.
    pub lost: TimeLost,
    /// How much slower the run was in each of its sections.
    pub by_section: Vec<SectionChange>,
}

/// How much slower a section was than in another run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct SectionChange {
    /// Where it begins, share of the lap from the line.
    pub from: f64,
    /// Where it ends; below `from` where the line lies in it.
    pub to: f64,
    /// Difference of the medians, s: above zero where the run was slower. The intervals of all sections hold together
    /// with 95 %.
    pub slower_by_s: Estimate,
}

/// A run with what is compared.
struct Timed<'a> {
    index: usize,
    id: &'a str,
    measured: &'a Arc<MeasuredRun>,
    done: &'a Measured,
    along: &'a TimeAlongLaps,
}

/// Where the time of each run went, in order; `None` where the log does not tell. Sections that were `kept` are not
/// measured again.
pub fn where_time_went(runs: &[SettledRun], laid: &LaidRuns, kept: &KeptConclusions) -> Vec<Option<WhereTimeWent>> {
    let with_time: Vec<Timed> = runs.iter().enumerate().filter_map(|(index, run)| timed(index, run)).collect();
    // A run whose log may be another's, or that no car is known of, is cut by itself.
    let has_car = |run: &Timed| runs[run.index].has_own_log() && !runs[run.index].plan().car.is_empty();
    let (of_cars, alone): (Vec<Timed>, Vec<Timed>) = with_time.into_iter().partition(has_car);
    let car_of = |index: usize| runs[index].plan().car.as_str();
    let mut all: Vec<Option<WhereTimeWent>> = runs.iter().map(|_| None).collect();
    for (_, members) in by_car(of_cars.into_iter().map(|run| (car_of(run.index), run))) {
        for (index, went) in car_time(&members, laid, kept, |index| index_before(index, car_of)) {
            all[index] = Some(went);
        }
    }
    for run in alone {
        for (index, went) in car_time(&[run], laid, kept, |_| None) {
            all[index] = Some(went);
        }
    }
    all
}

fn timed(index: usize, run: &SettledRun) -> Option<Timed<'_>> {
    let done = run.done()?;
    let along = done.answers.along.as_ref().ok()?;
    Some(Timed { index, id: &run.plan().id, measured: &run.measured, done, along })
}

/// Where the time of a car's runs went, with the index of each.
fn car_time(
    members: &[Timed],
    laid: &LaidRuns,
    kept: &KeptConclusions,
    before: impl Fn(usize) -> Option<usize> + Sync,
) -> Vec<(usize, WhereTimeWent)> {
    let Some(reference) = (0..members.len()).max_by_key(|n| members[*n].along.laps.len()) else { return Vec::new() };
    let offset = |of: &Timed, to: &Timed| {
        if of.index == to.index {
            return Some(Uncertain::new(0.0, 0.0));
        }
        laid.offset(of.index, to.index)
    };
    let behind: Vec<Option<Offset>> = members.par_iter().map(|member| offset(&members[reference], member)).collect();
    let pooled: Vec<Member> = (members.iter().zip(&behind))
        .filter_map(|(member, behind)| Some(Member { along: member.along, behind: behind.as_ref()?.value }))
        .collect();
    let cuts = slowest_points(&pooled);
    let cuts_of = |n: usize| match behind[n] {
        Some(behind) => cuts.as_ref().map(|cuts| moved(cuts, behind.value)),
        // A run that is not like the others is cut by itself.
        None => slowest_points(&[Member { along: members[n].along, behind: 0.0 }]),
    };
    let best =
        (0..members.len()).min_by(|a, b| members[*a].along.median.lap_s().total_cmp(&members[*b].along.median.lap_s()));
    let went = |(n, member): (usize, &Timed)| {
        let cuts = cuts_of(n);
        let against = |other: &Timed| lost_run(member, other, cuts.as_deref(), offset(member, other)?);
        let earlier = before(member.index).and_then(|index| members.iter().find(|other| other.index == index));
        let went = WhereTimeWent {
            sections: cuts.as_ref().and_then(|cuts| {
                let known = kept.sections(member.measured, cuts);
                known.or_else(|| sections::measure(member.along, cuts, lap_m(member.done)))
            }),
            worst_lap: worst_lap(member.along),
            on_best_run: best.filter(|best| *best != n).and_then(|best| against(&members[best])),
            on_run_before: earlier.and_then(against),
        };
        (member.index, went)
    };
    members.par_iter().enumerate().map(went).collect()
}

/// Shares of the lap by a line that is `behind`, in the same order.
fn moved(cuts: &[f64], behind: f64) -> Vec<f64> {
    cuts.iter().map(|cut| (cut + behind).rem_euclid(1.0)).collect()
}

/// Length of a lap as the car drove it, m.
fn lap_m(done: &Measured) -> Option<Uncertain> {
    let travel = done.answers.motion.as_ref()?.travel_m;
    let turns = done.laps.gripped_turns()?;
    Some(Uncertain::new(travel.value * turns, travel.standard_u * turns))
}

fn worst_lap(along: &TimeAlongLaps) -> LostLap {
    let (worst, best) = (along.worst(), along.best());
    LostLap { lap: worst.lap, on: best.lap, lost: worst.along.lost_on(&best.along) }
}

/// Where the line is in a run's log, as a standard uncertainty: share of a lap.
pub(super) fn line_u(done: &Measured, along: &TimeAlongLaps) -> f64 {
    done.laps.first_passing.map_or(0.0, |first| first.half_width() / COVERAGE_95 / along.median.lap_s())
}

fn lost_run<'a>(run: &Timed<'a>, other: &Timed<'a>, cuts: Option<&[f64]>, offset: Offset) -> Option<LostRun> {
    // The line is one for both; where it is known better in one run, it is in the other.
    let line_u = line_u(run.done, run.along).min(line_u(other.done, other.along));
    let laid = |along: &'a TimeAlongLaps| Laid { median: &along.median, usual_u_s: &along.usual_u_s, line_u };
    let lost = lost_on(laid(run.along), laid(other.along), offset);
    let by_section = cuts.map(|cuts| section_changes(run, other, cuts, offset)).unwrap_or_default();
    Some(LostRun { run: other.id.to_owned(), slower_by_s: slower_by(run.along, other.along)?, lost, by_section })
}

/// How much slower a run's laps were than another's, by their medians.
fn slower_by(run: &TimeAlongLaps, other: &TimeAlongLaps) -> Option<Estimate> {
    let times = |of: &TimeAlongLaps| of.laps.iter().map(|lap| lap.along.lap_s()).collect::<Vec<f64>>();
    let u = alike_u(&times(run))?.hypot(alike_u(&times(other))?);
    let fewest = run.laps.len().min(other.laps.len());
    let factor = coverage_factor((fewest - 1) as f64, 0.95);
    Some(Estimate::from_half_width(run.median.lap_s() - other.median.lap_s(), factor * u))
}

/// How much slower each section was; empty where one of the runs has too few laps.
fn section_changes(run: &Timed, other: &Timed, cuts: &[f64], offset: Offset) -> Vec<SectionChange> {
    let fewest = run.along.laps.len().min(other.along.laps.len());
    if fewest < LEAST_LAPS {
        return Vec::new();
    }
    let level = 1.0 - WRONG / cuts.len() as f64;
    let factor = coverage_factor((fewest - 1) as f64, level);
    let change = |n: usize| {
        let ends = (cuts[n], cuts[(n + 1) % cuts.len()]);
        let own = sections::times(run.along, ends);
        let there = |by: f64| ((ends.0 + by).rem_euclid(1.0), (ends.1 + by).rem_euclid(1.0));
        let others = |by: f64| sections::times(other.along, there(by));
        let middle = |times: &[f64]| median(times.iter().copied());
        let theirs = others(offset.value);
        let value = middle(&own)? - middle(&theirs)?;
        let moved = |by: f64| Some((middle(&others(offset.value + by))? - middle(&theirs)?).abs());
        let by_offset = moved(offset.standard_u)?.max(moved(-offset.standard_u)?);
        let by_place =
            |along: &TimeAlongLaps, (from, to): (f64, f64)| along.median.between_u(&along.usual_u_s, from, to);
        let places = by_place(run.along, ends).hypot(by_place(other.along, there(offset.value)));
        let scatter = alike_u(&own)?.hypot(alike_u(&theirs)?);
        let half_width = factor * scatter.hypot(places).hypot(by_offset);
        Some(SectionChange { from: ends.0, to: ends.1, slower_by_s: Estimate::from_half_width(value, half_width) })
    };
    (0..cuts.len()).filter_map(change).collect()
}

/// Standard uncertainty of the median of values of which neighbours may be alike.
fn alike_u(values: &[f64]) -> Option<f64> {
    let middle = median(values.iter().copied())?;
    let left: Vec<f64> = values.iter().map(|v| v - middle).collect();
    Some(median_u(values)? * widening(&left, TakenOut::Middle))
}
