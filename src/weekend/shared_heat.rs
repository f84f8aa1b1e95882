//! What the runs of one motor have in common: how much its load heats it. Each run's heat is fitted again with what the
//! others tell, so that its cooling stands out: within one run a strong load and weak cooling look much alike.
//!
//! Heating goes with the copper load and with the speed; how it is shared between the two is taken as half and half
//! (see `measure::warming`). Runs share it where all keys of the motor are the same, apart from those of its fan.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::measure::Answers;
use crate::measure::heat::{self, Heat};
use crate::measure::heat_record::Load;
use crate::measure::warming::Shared;
use crate::quantity::Uncertain;
use crate::run::{MeasuredRun, SharedHeat};
use crate::sheet::Settings;
use crate::statistics::inverse_variance;

/// What the same motor's heating scatters between runs for reasons of its own: solder, lubricant, how a lap is driven.
/// Relative; common practice, no source.
const SCATTER: f64 = 0.06;

/// Heats that were shared in the review before, with what they were worked out from.
#[derive(Default)]
pub struct KeptHeats(Vec<KeptHeat>);

struct KeptHeat {
    run: Arc<MeasuredRun>,
    told: Told,
    heat: Arc<SharedHeat>,
}

/// What a motor's runs tell of one of them.
#[derive(Clone, Copy, PartialEq)]
struct Told {
    /// Logarithm of the heating for a unit of load, by all of them and by the others alone.
    all: Uncertain,
    others: Option<Uncertain>,
    shared: Option<Shared>,
}

/// The heat of each run's motor, fitted again with what the motor's other runs tell; `None` for a run whose heat could
/// not be fitted. A run of which they tell what they did in the review before has the heat that was `kept`.
pub fn share(runs: &[Arc<MeasuredRun>], kept: &mut KeptHeats) -> Vec<Option<Arc<SharedHeat>>> {
    let mut motors: BTreeMap<(String, bool), Vec<usize>> = BTreeMap::new();
    for (index, run) in runs.iter().enumerate() {
        if let Some(motor) = motor_name(run) {
            motors.entry(motor).or_default().push(index);
        }
    }
    let known = &*kept;
    let mut shared: Vec<Option<KeptHeat>> = runs.iter().map(|_| None).collect();
    for members in motors.into_values() {
        let members: Vec<(usize, &Heat)> =
            members.into_iter().filter_map(|m| Some((m, &measured(&runs[m])?.motor))).collect();
        let heats: Vec<&Heat> = members.iter().map(|member| member.1).collect();
        let heat = |((index, heat), told): (&(usize, &Heat), Told)| {
            let run = Arc::clone(&runs[*index]);
            let heat = known.heat(&run, told).unwrap_or_else(|| Arc::new(told.of_run(heat)));
            (*index, KeptHeat { run, told, heat })
        };
        let each: Vec<_> = members.par_iter().zip(told(&heats)).map(heat).collect();
        each.into_iter().for_each(|(index, heat)| shared[index] = Some(heat));
    }
    let heats = shared.iter().map(|kept| Some(Arc::clone(&kept.as_ref()?.heat))).collect();
    *kept = KeptHeats(shared.into_iter().flatten().collect());
    heats
}

impl KeptHeats {
    fn heat(&self, run: &Arc<MeasuredRun>, told: Told) -> Option<Arc<SharedHeat>> {
        let is_of = |kept: &&KeptHeat| Arc::ptr_eq(&kept.run, run) && kept.told == told;
        Some(Arc::clone(&self.0.iter().find(is_of)?.heat))
    }
}

/// What one motor's runs tell of each; nothing where none shows its heating.
fn told(heats: &[&Heat]) -> Vec<Told> {
    let per_load: Vec<Option<Uncertain>> = heats.iter().map(|heat| per_load(heat)).collect();
    let Some(all) = pool(per_load.iter().flatten().copied()) else { return Vec::new() };
    let shared = likeliest_flow_share(heats).and_then(|flow_share| in_common(heats, flow_share));
    let others =
        |own: usize| pool(per_load.iter().enumerate().filter(|(n, _)| *n != own).filter_map(|(_, seen)| *seen));
    (0..heats.len()).map(|own| Told { all, others: others(own), shared }).collect()
}

impl Told {
    /// The heat of a run with it.
    fn of_run(self, heat: &Heat) -> SharedHeat {
        let load = load(heat);
        let record = heat.record.as_ref().zip(self.shared);
        let cooling = record.and_then(|(record, shared)| record.cooling_given(self.all.value.exp() * load, shared));
        let mut motor = heat.clone();
        if let Some(others) = self.others {
            let heating = others.value.exp() * load;
            heat::conclude(&mut motor, Some(Uncertain::relative(heating, others.standard_u.hypot(SCATTER))));
        }
        SharedHeat { motor, cooling }
    }
}

fn measured(run: &MeasuredRun) -> Option<&Answers> {
    run.outcome.as_ref().ok().map(|done| &done.answers)
}

/// What tells a run's motor from others: its name, and whether its load is known at full demand. A load without a
/// current, or of a motor that never was at full demand, is on another scale.
fn motor_name(run: &MeasuredRun) -> Option<(String, bool)> {
    let answers = measured(run)?;
    let at_full_demand = answers.demand.as_ref()?.motor.at_full_demand;
    let fitted = answers.motor.warming.is_some() && !run.plan.car.is_empty();
    fitted.then(|| (motor(&run.plan.car, &run.plan.settings), at_full_demand))
}

/// The share of the cooling that goes with the airflow which the runs together find the most likely.
fn likeliest_flow_share(motors: &[&Heat]) -> Option<f64> {
    let mut weights: Vec<(f64, f64)> = Vec::new();
    for (share, weight) in motors.iter().filter_map(|m| m.warming.as_ref()).flat_map(|w| w.flow_shares()) {
        match weights.iter_mut().find(|w| w.0 == share) {
            Some(known) => known.1 += weight,
            None => weights.push((share, weight)),
        }
    }
    weights.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|w| w.0)
}

/// What the runs share beside their heating, as the mean of all that fit with this share of the airflow.
fn in_common(motors: &[&Heat], flow_share: f64) -> Option<Shared> {
    let each: Vec<Shared> =
        motors.iter().filter_map(|m| m.warming.as_ref()).filter_map(|w| w.shared(flow_share)).collect();
    let mean = |of: &dyn Fn(&Shared) -> f64| each.iter().map(of).sum::<f64>() / each.len() as f64;
    let quick_s = std::array::from_fn(|n| mean(&|s| s.quick_s[n]));
    (!each.is_empty()).then(|| Shared { flow_share, around: mean(&|s| s.around), quick_s })
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

/// A run's load, the mean square of the motor current and of its speed taken together (a geometric mean: half and half
/// of small changes).
/// Copper that runs hotter takes more of it for the same current.
fn load(motor: &Heat) -> f64 {
    let Load { copper, omega, .. } = motor.load;
    let warmth = motor.record.as_ref().map_or(1.0, |r| 1.0 + r.coefficient / 2.0 * (r.mean_reading() - 20.0));
    warmth * if omega > 0.0 { (copper * omega.powf(1.5)).sqrt() } else { copper }
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
