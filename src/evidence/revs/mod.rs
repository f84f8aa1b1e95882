//! Are the revs the motor's?
//!
//! By what else moves: revs that stand while the current comes and goes are stuck, and revs that are gone for some rows
//! under power are lost. By the lap: its motor turns are those that lap length, gearing and tyre need. By the car's
//! other runs: its speed is about the same in all.
//!
//! Wrong where several things on the sheet are off by one whole factor together.

mod dropouts;
pub(super) mod turns;
mod why;

pub use why::Why;

use super::frozen::{Frozen, frozen, graded};
use super::swings::{self, Swing, is_coarse};
use super::{Evidence, Member, RunToWeigh, Subject, Worth};
use crate::laps::Source;
use crate::laps::list_verdict::{ListReason, ListVerdict};
use crate::log::Channel;
use crate::sheet::Sheet;
use crate::statistics::quantiles::median;

/// No tyre of such a car is smaller, mm: a smaller one on the sheet is a radius. Common practice, no source.
const SMALLEST_TYRE_MM: f64 = 35.0;
/// Passings farther off than this share of a lap are at another place of the track. Common practice, no source.
const ELSEWHERE: f64 = 0.25;
/// The factor that a radius in place of a diameter puts the turns of a lap off by.
const BY_RADIUS: f64 = 0.5;

const REVS: Subject = Subject::Channel(Channel::Rpm);
const TYRE: Subject = Subject::Setting("tyre_diameter_mm");

/// What one run by itself says of them.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let Some(rpm) = run.log.channel(Channel::Rpm) else { return Vec::new() };
    let time = run.log.time();
    let Some(demand) = demand(run).filter(|_| !is_coarse(run)) else { return Vec::new() };
    let stuck = frozen(time, rpm, &swings::of_demand(time, demand))
        .map(|Frozen { value, share }| graded(REVS, share, Why::Stuck { rpm: value, share }));
    let lost = dropouts::lost(time, rpm, demand)
        .map(|dropouts::Lost { times, share }| graded(REVS, share, Why::DroppedOut { times, share }));
    stuck.into_iter().chain(lost).collect()
}

/// What tells that the motor drives the car: the first of current and throttle that follows the revs, where they move,
/// and is not stuck. A throttle is not what the pack gave, but it is as good here.
fn demand<'a>(run: &RunToWeigh<'a>) -> Option<&'a [f64]> {
    let time = run.log.time();
    let rpm = run.log.channel(Channel::Rpm)?;
    let revs = swings::of_revs(time, &dropouts::mended(time, rpm));
    let follows = |demand: &&[f64]| {
        let contrast = swings::contrast(time, demand, &revs, 1.0);
        contrast.is_none_or(|c| c.strength() > swings::FOLLOWS) && frozen(time, demand, &revs).is_none()
    };
    [Channel::Current, Channel::Throttle].into_iter().filter_map(|c| run.log.channel(c)).find(follows)
}

/// The revs without the rows in which they dropped out.
pub fn mended(time: &[f64], rpm: &[f64]) -> Vec<f64> {
    dropouts::mended(time, rpm)
}

/// The swings of a run's revs, without the rows in which they dropped out.
pub(super) fn swings(run: &RunToWeigh) -> Vec<Swing> {
    let time = run.log.time();
    let Some(rpm) = run.log.channel(Channel::Rpm) else { return Vec::new() };
    let lost = |demand| dropouts::lost(time, rpm, demand).is_some();
    let is_lost = dropouts::may_be_lost(time, rpm) && demand(run).is_some_and(lost);
    if is_lost { swings::of_revs(time, &dropouts::mended(time, rpm)) } else { swings::of_revs(time, rpm) }
}

/// What laps, sheet and the car's other runs say of how many turns are counted.
pub fn weigh_together(members: &mut [Member], sheet: &Sheet) {
    let usable = |m: &Member| m.evidence.worth(REVS) != Worth::Unusable;
    let ratios: Vec<Option<f64>> =
        members.iter().map(|m| turns::of_lap_over_sheet(&m.run, sheet).filter(|_| usable(m))).collect();
    let factors: Vec<Option<f64>> = ratios.iter().map(|ratio| turns::factor_of_lap((*ratio)?)).collect();
    let tops: Vec<Option<f64>> = members.iter().map(|m| turns::usual_speed(&m.run).filter(|_| usable(m))).collect();
    let cars: Vec<String> = members.iter().map(|m| m.car().to_owned()).collect();
    if are_off_in_all_cars(&cars, &ratios, &factors) {
        // Then it is the lap length, of which the sheet's own evidence tells.
        return;
    }
    let found: Vec<Vec<Evidence>> = (0..members.len())
        .map(|n| {
            let of_car = |o: &usize| cars[*o] == cars[n];
            let alike = (0..members.len()).filter(of_car).all(|o| ratios[o].is_none() || factors[o] == factors[n]);
            match factors[n] {
                Some(factor) => by_lap(&members[n].run, factor, alike),
                // Laps that fit the sheet speak louder than another run.
                None if ratios[n].is_some() && sheet.lap_length_m.is_some() && has_list(&members[n]) => Vec::new(),
                None => {
                    let others = (0..members.len()).filter(of_car).filter(|o| *o != n);
                    by_other_runs(tops[n], &others.filter_map(|o| tops[o]).collect::<Vec<_>>())
                }
            }
        })
        .collect();
    for (member, found) in members.iter_mut().zip(found) {
        found.into_iter().for_each(|e| member.evidence.add(e));
    }
}

/// Whether the laps are a list's and not found by the revs themselves.
fn has_list(member: &Member) -> bool {
    member.run.laps.source == Source::List
}

/// Whether the laps of two cars or more are off by one factor in all runs that have it.
fn are_off_in_all_cars(cars: &[String], ratios: &[Option<f64>], factors: &[Option<f64>]) -> bool {
    let with_laps = || cars.iter().zip(factors).filter(|(_, factor)| factor.is_some());
    let Some((car, factor)) = with_laps().next() else { return false };
    // A run that fits the sheet has a ratio and no factor.
    let all_alike = ratios.iter().zip(factors).all(|(ratio, f)| ratio.is_none() || f == factor);
    all_alike && with_laps().any(|(other, _)| other != car)
}

/// What the turns of a lap say that are off by a factor; `alike` is whether those of all runs of the car are.
fn by_lap(run: &RunToWeigh, factor: f64, alike: bool) -> Vec<Evidence> {
    if let Some(parts) = parts_of_a_lap(run, factor) {
        return vec![parts];
    }
    let may_be_radius = alike && factor == BY_RADIUS;
    let is_radius = may_be_radius && run.plan.settings.tyre_mm().is_some_and(|mm| mm < SMALLEST_TYRE_MM);
    let why = Why::Turns { factor, may_be_radius };
    if is_radius {
        return vec![Evidence::unusable(TYRE, why.clone().into()), Evidence::doubtful(REVS, why.into())];
    }
    let tyre = may_be_radius.then(|| Evidence::doubtful(TYRE, why.clone().into()));
    std::iter::once(Evidence::unusable(REVS, why.into())).chain(tyre).collect()
}

/// What the speeds of the car's other runs say. Of two runs either may be wrong.
fn by_other_runs(own: Option<f64>, others: &[f64]) -> Vec<Evidence> {
    let Some((own, usual)) = own.zip(median(others.iter().copied())) else { return Vec::new() };
    let Some(factor) = turns::factor_of_runs(own / usual) else { return Vec::new() };
    let agree = others.iter().all(|o| turns::factor_of_runs(o / usual).is_none());
    match others.len() {
        1 => vec![Evidence::doubtful(REVS, Why::UnlikeTheOtherRun { factor }.into())],
        _ if agree => vec![Evidence::unusable(REVS, Why::UnlikeOtherRuns { factor }.into())],
        _ => Vec::new(),
    }
}

/// A doubtful list whose laps take a whole part of the turns that the sheet needs holds parts of laps.
fn parts_of_a_lap(run: &RunToWeigh, factor: f64) -> Option<Evidence> {
    let parts = factor.recip().round();
    let Some(ListVerdict::Doubtful(ListReason::Scatters { most_s })) = run.laps.list else { return None };
    let is_laid = run.laps.source == Source::List && parts >= 2.0;
    // Where revs alone are too few, the list still finds the car at one place.
    let lap_s = run.laps.median_s().filter(|lap_s| is_laid && most_s > ELSEWHERE * lap_s)?;
    let reason = ListReason::Sectors { parts: parts as usize, list_s: lap_s, log_s: parts * lap_s };
    Some(Evidence::unusable(Subject::Laps, super::Why::List(super::lists::Why::Refused(reason))))
}

impl From<Why> for super::Why {
    fn from(why: Why) -> Self {
        Self::Revs(why)
    }
}
