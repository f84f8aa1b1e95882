//! Why a part got hotter or cooler than in another run of the car: air, start, load, and what remains, the cooling.
//!
//! The fitted models of both runs are asked what one condition of the other run would have done, all else as it was: in
//! the one it is put in, in the other taken out, and the mean of both is its part. So parts that act on each other are
//! shared between both (the two-run case of the Shapley value; from memory). What remains of the difference that was
//! measured is the cooling: a fan, a duct, dirt. Both race ends are told for the one race length of the weekend's sheet,
//! however long the runs were, so that the length of the race is no part: it makes nought of the difference.
//!
//! A run is held against the one before, and against the car's median run: that which ends the race in the middle of
//! all, so that a fan that failed some runs ago still shows.
//!
//! Wrong where a sensor moved between the runs: that looks like a change of the cooling.

use schemars::JsonSchema;
use serde::Serialize;

use super::conditions::Conditions;
use super::setups::changed_keys;
use super::shared_heat::cools;
use crate::measure::heat::Heat;
use crate::measure::hot_part::HotPart;
use crate::measure::warming::Warming;
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::run::SettledRun;
use crate::statistics::coverage::coverage_factor;

/// Standard uncertainty of an air temperature on the sheet, °C: read off a thermometer in the pits, between runs. A
/// default (common practice, no source).
const AIR_U: f64 = 0.4;
/// The same of a start temperature, read off the same sensor in both runs: half a step of a degree, evenly spread.
const START_U: f64 = 0.29;
/// What the same load heats a motor differently from run to run: grease, solder, how a lap is driven. Share of the rise;
/// common practice, no source.
const HEATING_U: f64 = 0.02;
/// Probability, two-sided, at which what remains is called the cooling: many runs are looked at.
const SURE: f64 = 0.999;
/// The least that a failed fan adds, °C: less is dirt, or a hand on the can before the start. A default.
const FAN_WORTH_K: f64 = 2.0;

/// Fewest runs that have a middle.
const LEAST_RUNS: usize = 3;

/// The cooling of both runs, as each model takes it: what it is apart from that remains.
const SAME_COOLING: f64 = 1.0;

/// A run's race end against another's.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Hotter {
    /// The other run.
    pub than: String,
    /// How much hotter the part ends the race, K.
    pub by_k: Estimate,
    /// What the air makes of it, K.
    pub air_k: Estimate,
    /// What the temperature at the start makes of it, above the air, K.
    pub start_k: Estimate,
    /// What current and speed make of it, K.
    pub load_k: Estimate,
    /// What remains: the cooling, K.
    pub cooling_k: Estimate,
    /// What the cooling says.
    pub verdict: CoolingVerdict,
}

/// Whether the cooling changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum CoolingVerdict {
    /// It got weaker, and nothing on the sheet says why.
    #[serde(rename = "check the fan")]
    CheckFan,
    /// It got weaker or stronger as a setting of the cooling was changed.
    #[serde(rename = "as it was changed")]
    AsChanged,
    /// The motor itself was changed, or how it is set: what remains may be its own heat.
    #[serde(rename = "the motor was changed")]
    MotorChanged,
    /// Nothing of the difference needs another cooling.
    #[serde(rename = "unchanged")]
    Unchanged,
}

/// A run as its model sees it.
struct Modelled<'a> {
    warming: &'a Warming,
    heat: &'a Heat,
    conditions: Conditions,
    end: Estimate,
}

impl<'a> Modelled<'a> {
    fn new(run: &'a SettledRun, part: HotPart) -> Option<Self> {
        let heat = run.heat(part)?;
        let warming = heat.warming.as_ref()?;
        let conditions = Conditions::new(heat, run.plan().ambient_c?, SAME_COOLING)?;
        Some(Self { warming, heat, conditions, end: heat.unbroken_end_c()? })
    }
}

/// One condition of another run put into these.
type Put = fn(Conditions, Conditions) -> Conditions;

/// How much hotter `part` ends a race of `race_s` in `run` than in `other`, and why; `None` where one of them has no
/// race's end, no air or a stop.
pub fn hotter(other: &SettledRun, run: &SettledRun, part: HotPart, race_s: f64) -> Option<Hotter> {
    let (then, now) = (Modelled::new(other, part)?, Modelled::new(run, part)?);
    let measured = difference(now.end, then.end);
    let by_models = |put: Put, of_load: bool| {
        let put_in = change(&then, then.conditions, put(then.conditions, now.conditions), of_load, race_s);
        let taken_out = change(&now, put(now.conditions, then.conditions), now.conditions, of_load, race_s);
        mean_of(put_in, taken_out)
    };
    let air = by_models(|c, other| Conditions { air: other.air, ..c }, false);
    let start = by_models(|c, other| Conditions { above: other.above, ..c }, false);
    let load = by_models(|c, other| Conditions { copper: other.copper, spin: other.spin, ..c }, true);
    // A degree of air is a degree at the end, but for what the copper adds; a degree at the start decays.
    let decayed = if now.conditions.above == then.conditions.above {
        0.5
    } else {
        (start.value / (now.conditions.above - then.conditions.above)).clamp(0.0, 1.0)
    };
    let air = widened(air, 2f64.sqrt() * AIR_U);
    let start = widened(start, 2f64.sqrt() * START_U.hypot(AIR_U) * decayed);
    let rise = (now.end.value - now.conditions.air).max(then.end.value - then.conditions.air).max(0.0);
    let load = widened(load, 2f64.sqrt() * HEATING_U * rise);
    let parts = [air, start, load];
    let rest = measured.value - parts.iter().map(|p| p.value).sum::<f64>();
    let rest_u = parts.iter().map(|p| p.standard_u.powi(2)).sum::<f64>() + measured.standard_u.powi(2);
    let cooling = Uncertain::new(rest, rest_u.sqrt());
    Some(Hotter {
        than: other.plan().id.clone(),
        by_k: measured.into(),
        air_k: air.into(),
        start_k: start.into(),
        load_k: load.into(),
        cooling_k: cooling.into(),
        verdict: verdict(cooling, &changed_keys(other, run)),
    })
}

/// The run of `members` whose part ends the race in the middle of all, the cooler one of two; `None` where fewer than
/// [`LEAST_RUNS`] have a race's end.
pub fn median_run<'a>(members: &[&'a SettledRun], part: HotPart) -> Option<&'a SettledRun> {
    let end = |run: &'a SettledRun| Some((run, Modelled::new(run, part)?.end.value));
    let mut all: Vec<(&SettledRun, f64)> = members.iter().filter_map(|run| end(run)).collect();
    all.sort_by(|a, b| a.1.total_cmp(&b.1));
    (all.len() >= LEAST_RUNS).then(|| all[(all.len() - 1) / 2].0)
}

/// How much hotter a race under `to` ends than under `from`, by the model of `run`.
fn change(run: &Modelled, from: Conditions, to: Conditions, of_load: bool, race_s: f64) -> Uncertain {
    let (from, to) = (from.scene(&run.conditions, race_s), to.scene(&run.conditions, race_s));
    let change = if of_load {
        run.warming.regeared(&from, &to, run.heat.record.as_ref().and_then(|r| r.expected))
    } else {
        run.warming.difference(&from, &to)
    };
    change.into()
}

fn difference(now: Estimate, then: Estimate) -> Uncertain {
    let half = now.half_width().hypot(then.half_width());
    Uncertain::new(now.value - then.value, half / COVERAGE_95)
}

/// The mean of what two models say; where they differ, that is in doubt too.
fn mean_of(one: Uncertain, other: Uncertain) -> Uncertain {
    let apart = (one.value - other.value).abs() / 2.0;
    let within = one.standard_u.hypot(other.standard_u) / 2.0;
    Uncertain::new((one.value + other.value) / 2.0, within.hypot(apart))
}

fn widened(part: Uncertain, by: f64) -> Uncertain {
    Uncertain::new(part.value, part.standard_u.hypot(by))
}

fn verdict(cooling: Uncertain, changed: &[String]) -> CoolingVerdict {
    let sure = coverage_factor(f64::INFINITY, SURE) * cooling.standard_u;
    let is_told = cooling.value.abs() > COVERAGE_95 * cooling.standard_u;
    if changed.iter().any(|key| cools(key)) {
        if is_told { CoolingVerdict::AsChanged } else { CoolingVerdict::Unchanged }
    } else if changed.iter().any(|key| key.starts_with("motor.")) {
        CoolingVerdict::MotorChanged
    } else if cooling.value - sure > FAN_WORTH_K {
        CoolingVerdict::CheckFan
    } else {
        CoolingVerdict::Unchanged
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case::dead_fan(12.0, &[], CoolingVerdict::CheckFan)]
    #[case::dead_fan_and_other_pinion(12.0, &["pinion"], CoolingVerdict::CheckFan)]
    #[case::not_sure(8.0, &[], CoolingVerdict::Unchanged)]
    #[case::cooler(-12.0, &[], CoolingVerdict::Unchanged)]
    #[case::fan_taken_off(12.0, &["motor.fan_mm"], CoolingVerdict::AsChanged)]
    #[case::more_timing(12.0, &["motor.timing_deg"], CoolingVerdict::MotorChanged)]
    fn what_remains_is_the_fan_only_where_nothing_else_can_be(
        #[case] rest_k: f64,
        #[case] changed: &[&str],
        #[case] expected: CoolingVerdict,
    ) {
        // A standard uncertainty of 2 K: 3.29 of it is 6.6 K, and 2 K more are worth a word.
        let changed: Vec<String> = changed.iter().map(|key| (*key).to_owned()).collect();
        assert_eq!(verdict(Uncertain::new(rest_k, 2.0), &changed), expected);
    }
}
