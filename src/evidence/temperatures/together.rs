//! What the car's other runs say of a run's temperatures: whether its two columns are swapped, and whether a sensor
//! starts far too low.

use rayon::prelude::*;

use super::course::Course;
use super::plain::stood_still;
use super::{Part, Why};
use crate::evidence::{Evidence, Member, RunToWeigh, Worth};

/// Runs beside the one that is judged.
const LEAST_OTHERS: usize = 2;
/// Scatter of a rise from run to run that is expected at least, relative, and in °C: fans, air, packs and drivers; the
/// steps of two readings. Common practice, no source.
const LEAST_SCATTER: f64 = 0.15;
const LEAST_SCATTER_K: f64 = 1.0;
/// How much likelier the columns must be the other way round, as a logarithm: one in ten thousand.
const SWAPPED_LN: f64 = 9.2;
/// How far off the other way round may be, in deviations of both rises together.
const FITS: f64 = 3.0;
/// Time of driving after which rises are compared, s, at the most.
const COMPARED_S: f64 = 300.0;
/// Driving that is too short to compare, s.
const SHORT_S: f64 = 60.0;
/// A sensor that starts this far below everything it could have started at is off, °C. A default: twice what sensors of
/// the trade differ by (common practice, no source).
const TOO_LOW_K: f64 = 10.0;

/// What runs say of each other's.
pub fn weigh_together(members: &mut [Member]) {
    let runs: Vec<RunToWeigh> = members.iter().map(|m| m.run).collect();
    let courses: Vec<Course> = runs.par_iter().map(Course::new).collect();
    let found: Vec<Vec<Evidence>> = (0..members.len())
        .map(|index| {
            let car = members[index].car().to_owned();
            let same = |other: &usize| *other != index && members[*other].car() == car && !car.is_empty();
            let others: Vec<usize> = (0..members.len()).filter(same).collect();
            let swapped = is_swapped(members, &courses, index, &others);
            let exchanged = swapped.then(|| {
                Part::BOTH
                    .map(|part| Evidence::unusable(part.subject(), crate::evidence::Why::Temperature(Why::Exchanged)))
            });
            let low = Part::BOTH.into_iter().filter_map(|part| too_low(members, &courses, index, &others, part));
            let still =
                Part::BOTH.into_iter().filter_map(|part| out_of_balance(members, &courses, index, &others, part));
            exchanged.into_iter().flatten().chain(low).chain(still).collect()
        })
        .collect();
    for (member, found) in members.iter_mut().zip(found) {
        found.into_iter().for_each(|e| member.evidence.add(e));
    }
}

/// Whether both sensors of a run are sound so far.
fn is_sound(member: &Member) -> bool {
    member.evidence.are_sound(&Part::BOTH.map(Part::subject))
}

/// First reading of a sensor, °C.
fn start_c(course: &Course, part: Part) -> Option<f64> {
    course.sensors[part.index()].as_ref()?.celsius.iter().copied().find(|c| c.is_finite())
}

/// How much motor and controller rose over `driven_s` of driving, °C.
fn rises(course: &Course, driven_s: f64) -> Option<[f64; 2]> {
    let mut driven = 0.0;
    let end = course.drives.iter().position(|drives| {
        driven += if *drives { course.step_s } else { 0.0 };
        driven >= driven_s
    })?;
    let rise = |part: Part| {
        let celsius = &course.sensors[part.index()].as_ref()?.celsius;
        Some(celsius[..=end].iter().rev().find(|c| c.is_finite())? - start_c(course, part)?)
    };
    Some([rise(Part::Motor)?, rise(Part::Controller)?])
}

/// Whether motor and controller go with the car's other runs only the other way round. The rises over the same time of
/// driving are compared.
fn is_swapped(members: &[Member], courses: &[Course], index: usize, others: &[usize]) -> bool {
    let others: Vec<usize> = others.iter().copied().filter(|o| is_sound(&members[*o])).collect();
    if others.len() < LEAST_OTHERS || !is_sound(&members[index]) {
        return false;
    }
    let driven = |n: usize| courses[n].driven_s(0..courses[n].drives.len());
    let shortest = others.iter().map(|o| driven(*o)).fold(driven(index), f64::min).min(COMPARED_S);
    if shortest < SHORT_S {
        return false;
    }
    let Some(own) = rises(&courses[index], shortest) else { return false };
    let known: Vec<[f64; 2]> = others.iter().filter_map(|o| rises(&courses[*o], shortest)).collect();
    if known.len() < LEAST_OTHERS || known.len() < others.len() {
        return false;
    }
    let count = known.len() as f64;
    let mean = [0, 1].map(|part| known.iter().map(|r| r[part]).sum::<f64>() / count);
    let variance = [0, 1].map(|part| {
        let own = known.iter().map(|r: &[f64; 2]| (r[part] - mean[part]).powi(2)).sum::<f64>() / (count - 1.0);
        let expected = (LEAST_SCATTER * mean[part]).powi(2) + LEAST_SCATTER_K.powi(2);
        own.max(expected) * (1.0 + 1.0 / count)
    });
    let distance = |rises: [f64; 2]| -> f64 { (0..2).map(|p| (rises[p] - mean[p]).powi(2) / variance[p]).sum() };
    let (as_named, swapped) = (distance(own), distance([own[1], own[0]]));
    (as_named - swapped) / 2.0 > SWAPPED_LN && swapped < FITS * FITS
}

/// Whether a sensor starts far below the air, below the run's other sensor and below every start of the car's runs
/// before it. Nothing can be colder than the air that has been around it.
fn too_low(members: &[Member], courses: &[Course], index: usize, others: &[usize], part: Part) -> Option<Evidence> {
    let other = if part == Part::Motor { Part::Controller } else { Part::Motor };
    let own = start_c(&courses[index], part)?;
    let air = members[index].run.plan.ambient_c?;
    let beside = start_c(&courses[index], other)?;
    let before: Vec<f64> = others
        .iter()
        .filter(|o| **o < index)
        .flat_map(|o| Part::BOTH.into_iter().filter_map(|part| start_c(&courses[*o], part)))
        .collect();
    if before.len() < 2 {
        return None;
    }
    let least_c = before.into_iter().fold(air.min(beside), f64::min);
    let why = crate::evidence::Why::Temperature(Why::TooLow { part, start_c: own, least_c });
    (own < least_c - TOO_LOW_K).then(|| Evidence::unusable(part.subject(), why))
}

/// A sensor that stood still at a reading at which its part was not in balance in the car's other runs.
fn out_of_balance(
    members: &[Member],
    courses: &[Course],
    index: usize,
    others: &[usize],
    part: Part,
) -> Option<Evidence> {
    let air_c = members[index].run.plan.ambient_c?;
    let still = stood_still(&courses[index], part.index(), Some(air_c)).filter(|still| still.may_balance)?;
    let above_air = |other: &usize| {
        let member = &members[*other];
        let sound = member.evidence.worth(part.subject()) == Worth::Sound;
        let readings = courses[*other].sensors[part.index()].as_ref().filter(|_| sound)?;
        let moved = readings.quantum.is_some();
        let highest = readings.celsius.iter().copied().filter(|c| c.is_finite()).max_by(f64::total_cmp)?;
        Some(highest - member.run.plan.ambient_c.filter(|_| moved)?)
    };
    let known: Vec<f64> = others.iter().filter_map(above_air).collect();
    let (low, high) = known.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), k| (l.min(*k), h.max(*k)));
    let balance = low - TOO_LOW_K..=high + TOO_LOW_K;
    (known.len() >= LEAST_OTHERS && !balance.contains(&(still.at_c - air_c)))
        .then(|| super::stood_still(&courses[index], part, still.at_c))
}
