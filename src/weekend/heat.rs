//! What the runs of one motor have in common: how much its load heats it. Each run's fit is given what the others tell, so that its cooling
//! stands out: within one run a strong load and weak cooling look much alike.
//!
//! Heating goes with the copper load and with the speed; how it is shared between them is taken half and half (see
//! `measure::warming`). Runs share it where all keys of the motor but those of its fan are the same.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::measure::heat::{self, Heat};
use crate::quantity::Uncertain;
use crate::review::Run;
use crate::sheet::Settings;
use crate::statistics::inverse_variance;

/// What the same motor's heating scatters between runs for reasons of its own: solder, lubricant, how a lap is driven. Relative; common practice, no source.
const SCATTER: f64 = 0.06;

/// Fits the heat of each run again with what the motor's other runs tell.
pub fn share(runs: &mut [Run]) {
    let mut groups: BTreeMap<(String, bool), Vec<usize>> = BTreeMap::new();
    for (at, run) in runs.iter().enumerate() {
        let Ok(outcome) = &run.outcome else { continue };
        let motor_heat = &outcome.answers.motor;
        // A load without a current, or of a motor that never was at full demand, is on another scale.
        let kind = outcome.answers.demand.as_ref().map(|d| d.motor.at_full_demand);
        if let (Some(kind), true, false) = (kind, motor_heat.warming.is_some(), run.plan.car.is_empty()) {
            groups.entry((motor(&run.plan.car, &run.plan.settings), kind)).or_default().push(at);
        }
    }
    for members in groups.values() {
        let seen: Vec<Option<Uncertain>> = members.iter().map(|&at| of(runs, at).and_then(per_load)).collect();
        let Some(all) = pool(seen.iter().flatten().copied()) else { continue };
        let way = likeliest_way(members.iter().filter_map(|&at| of(runs, at)));
        let others = |own: usize| pool(seen.iter().enumerate().filter(|(n, _)| *n != own).filter_map(|(_, s)| *s));
        let mut motors: Vec<(usize, &mut Heat)> = runs
            .iter_mut()
            .enumerate()
            .filter_map(|(at, run)| Some((members.binary_search(&at).ok()?, run)))
            .filter_map(|(own, run)| Some((own, &mut run.outcome.as_mut().ok()?.answers.motor)))
            .collect();
        motors.par_iter_mut().for_each(|(own, motor)| {
            let load = load(motor);
            motor.cooling =
                motor.record.as_ref().zip(way).and_then(|(r, way)| r.cooling_given(all.value.exp() * load, way));
            if let Some(ln) = others(*own) {
                let heating = ln.value.exp() * load;
                heat::conclude(motor, Some(Uncertain::relative(heating, ln.standard_u.hypot(SCATTER))));
            }
        });
    }
}

/// The lag and the airflow's share that the runs together find the most likely.
fn likeliest_way<'a>(motors: impl Iterator<Item = &'a Heat>) -> Option<(f64, f64)> {
    let mut weights: Vec<((f64, f64), f64)> = Vec::new();
    for (way, weight) in motors.filter_map(|m| m.warming.as_ref()).flat_map(|w| w.ways()) {
        match weights.iter_mut().find(|w| w.0 == way) {
            Some(known) => known.1 += weight,
            None => weights.push((way, weight)),
        }
    }
    weights.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|w| w.0)
}

fn of(runs: &[Run], at: usize) -> Option<&Heat> {
    runs[at].outcome.as_ref().ok().map(|o| &o.answers.motor)
}

/// Name of the motor and how it is set, without what cools it.
fn motor(car: &str, settings: &Settings) -> String {
    let own = settings.0.iter().filter(|(k, _)| k.starts_with("motor.") && !cools(k));
    own.fold(car.to_owned(), |name, (key, value)| format!("{name}\n{key}={value}"))
}

/// Whether a key is one of the cooling, by its words.
pub fn cools(key: &str) -> bool {
    words(key).any(|w| ["fan", "fans", "cooling", "duct", "heatsink", "sink"].contains(&w.as_str()))
}

/// Whether a key is that of a fan.
pub fn is_fan(key: &str) -> bool {
    words(key).any(|w| w == "fan" || w == "fans")
}

fn words(key: &str) -> impl Iterator<Item = String> {
    key.split(|c: char| !c.is_alphanumeric()).map(str::to_lowercase)
}

/// A run's load, the mean square of the motor current and of its speed taken together (a geometric mean: half and half of small changes).
/// Copper that runs hotter takes more of it for the same current.
fn load(motor: &Heat) -> f64 {
    let course = &motor.course;
    let warmth = motor.record.as_ref().map_or(1.0, |r| 1.0 + r.coefficient / 2.0 * (r.mean_reading() - 20.0));
    warmth * if course.omega > 0.0 { (course.copper * course.omega.powf(1.5)).sqrt() } else { course.copper }
}

/// Logarithm of the heating for a unit of load.
fn per_load(motor: &Heat) -> Option<Uncertain> {
    let heating = motor.warming.as_ref()?.whole_heating();
    (heating.value > 0.0).then(|| Uncertain::new((heating.value / load(motor)).ln(), heating.relative_u()))
}

/// The runs' values as one, each with the scatter between runs beside its own uncertainty.
fn pool(seen: impl Iterator<Item = Uncertain>) -> Option<Uncertain> {
    inverse_variance::mean(seen.map(|v| Uncertain::new(v.value, v.standard_u.hypot(SCATTER))))
}
