//! What should be changed next: the pinions around the one on the car, and the fan.
//!
//! For each pinion, what [`crate::measure::pinion`] says of load and top speed goes into the run's fitted heat model: the race's end is today's, and the
//! difference between two imagined races with today's loads and with the other's. Whether the fan is needed is asked where a car ran with
//! and without one: the run's race with the cooling of the other kind.

use schemars::JsonSchema;
use serde::Serialize;

use super::figures::pinion_on_car;
use super::heat::is_fan;
use crate::measure::forecast::Scene;
use crate::measure::gearing::{Gears, neighbours};
use crate::measure::pinion::Regeared;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::review::{Reviewed, Run};
use crate::sheet::Setting;
use crate::statistics::mean::mean_and_deviation;

/// What another pinion would do.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Next {
    /// Teeth of the spur.
    pub spur: f64,
    /// Teeth of the pinion.
    pub pinion: f64,
    /// FDR.
    pub ratio: f64,
    /// Rollout, mm.
    pub rollout_mm: Option<f64>,
    /// Top speed, m/s.
    pub top_speed_m_s: Option<Estimate>,
    /// Motor at the race's end, °C.
    pub motor_race_end_c: Option<Estimate>,
    /// Change of the top speed from the pinion on the car, m/s.
    pub top_speed_change_m_s: Option<Estimate>,
    /// Change of the race's end from the pinion on the car, K.
    pub motor_change_k: Option<Estimate>,
    /// Why a figure is missing.
    pub why: Option<String>,
}

/// The race with the cooling of the runs that had the fan otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WithoutFan {
    /// The key of the fan.
    pub key: String,
    /// Motor at the race's end with the fan's other setting, °C.
    pub motor_race_end_c: Estimate,
    /// Whether that is over the limit: `null` where the interval holds it.
    pub needed: Option<bool>,
}

/// How far another ratio may be from the one that was driven for its speed and heat to be told, relative: further away the driver
/// would drive otherwise. Common practice, no source.
const FURTHEST: f64 = 0.2;

/// The pinions from two below to two above the one on the car.
pub fn next(run: &Run, race_s: f64) -> Vec<Next> {
    tried(run, &neighbours(&run.plan.settings, pinion_on_car(run)), race_s)
}

/// What each of these `gears` would do on the run's car.
pub fn tried(run: &Run, gears: &[Gears], race_s: f64) -> Vec<Next> {
    let Ok(done) = &run.outcome else { return Vec::new() };
    let driven = pinion_on_car(run).and_then(|p| run.plan.settings.ratio_with(p));
    let pull = done.answers.pull(&done.log, run.plan.settings.number("mass_kg"));
    gears
        .iter()
        .map(|g| {
            let mut next = Next {
                spur: g.spur,
                pinion: g.pinion,
                ratio: g.ratio,
                rollout_mm: g.rollout_mm,
                top_speed_m_s: None,
                motor_race_end_c: None,
                top_speed_change_m_s: None,
                motor_change_k: None,
                why: None,
            };
            let change = driven.map(|d| g.ratio / d);
            if change.is_some_and(|c| (c - 1.0).abs() > FURTHEST) {
                next.why = Some(format!("further than {:.0} % from the gearing that was driven", 100.0 * FURTHEST));
                return next;
            }
            if let Some(geared) = change.zip(pull.as_ref()).and_then(|(c, p)| p.regeared(&done.laps, c)) {
                forecast(done, run, &geared, race_s, &mut next);
            }
            next.why = match () {
                () if next.top_speed_m_s.is_none() => Some("needs volts, amperes, revs and laps"),
                () if next.motor_race_end_c.is_none() => Some("the heat model could not be fitted"),
                () => None,
            }
            .map(str::to_owned);
            next
        })
        .collect()
}

/// Fills in speed and heat of the run with another ratio.
fn forecast(done: &Reviewed, run: &Run, geared: &Regeared, race_s: f64, next: &mut Next) {
    let answers = &done.answers;
    if let Some(top) = answers.power.top_speed_range_m_s {
        let change = geared.top_change;
        let of = |c: f64| top.value * c;
        next.top_speed_change_m_s =
            Some(Estimate { value: of(change.value), low: of(change.low), high: of(change.high) });
        let half = top.half_width().hypot(top.value * change.half_width());
        next.top_speed_m_s = Some(Estimate::from_half_width(top.value * (1.0 + change.value), half));
    }
    let heat = &answers.motor;
    let (Some(warming), Some(end), Some(start)) = (&heat.warming, heat.race_end_c, heat.start_c) else { return };
    let now = Scene::as_driven(start, run.plan.ambient_c.unwrap_or(warming.air_c()), race_s);
    let then = Scene { copper: geared.copper, spin: geared.spin, ..now };
    let change = warming.regeared(&now, &then, heat.record.as_ref().and_then(|r| r.expected));
    next.motor_change_k = Some(change);
    let half = end.half_width().hypot(change.half_width());
    next.motor_race_end_c = Some(Estimate::from_half_width(end.value + change.value, half));
}

/// Whether a setting says that there is no fan; `None` where it is not stated.
fn off(setting: Option<&Setting>) -> Option<bool> {
    const OFF: [&str; 9] = ["none", "no", "off", "without", "", "broken", "dead", "failed", "unplugged"];
    match setting? {
        Setting::Number(n) => Some(*n == 0.0),
        Setting::Text(t) => Some(OFF.contains(&t.trim().to_lowercase().as_str())),
        Setting::Flag(on) => Some(!on),
    }
}

/// For a run with its fan on, the race without it; `None` where the car has no runs of both kinds or no fitted heat.
pub fn without_fan(run: &Run, all: &[&Run], race_s: f64) -> Option<WithoutFan> {
    let of = |r: &Run, key: &str| off(r.plan.settings.0.get(key));
    let keys = || all.iter().flat_map(|r| r.plan.settings.0.keys()).filter(|k| is_fan(k));
    let varies = |key: &String| [true, false].iter().all(|wanted| all.iter().any(|r| of(r, key) == Some(*wanted)));
    let key = keys().find(|k| varies(k))?;
    if of(run, key) != Some(false) {
        return None;
    }
    let cooling = |wanted: bool| -> Vec<f64> {
        let ln = |r: &&Run| Some(r.outcome.as_ref().ok()?.answers.motor.cooling?.value);
        all.iter().filter(|r| of(r, key) == Some(wanted)).filter_map(ln).collect()
    };
    let (with, without) = (cooling(false), cooling(true));
    if with.is_empty() || without.is_empty() {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let scatter = [&with, &without].into_iter().filter_map(|v| mean_and_deviation(v)).map(|d| d.1).fold(0.1, f64::max);
    let ln = mean(&without) - mean(&with);
    let ln_u = scatter * (1.0 / with.len() as f64 + 1.0 / without.len() as f64).sqrt();
    let heat = &run.outcome.as_ref().ok()?.answers.motor;
    let (warming, end) = (heat.warming.as_ref()?, heat.race_end_c?);
    let now = Scene::as_driven(heat.start_c?, run.plan.ambient_c.unwrap_or(warming.air_c()), race_s);
    let change = |ln: f64| warming.difference(&now, &Scene { cooling: ln.exp(), ..now });
    let (middle, low, high) =
        (change(ln), change(ln + COVERAGE_95 * ln_u).value, change(ln - COVERAGE_95 * ln_u).value);
    let half = ((high - low) / 2.0).hypot(middle.half_width()).hypot(end.half_width());
    let without = Estimate::from_half_width(end.value + middle.value, half);
    let needed = match () {
        () if without.low > heat.limit_c => Some(true),
        () if without.high < heat.limit_c => Some(false),
        () => None,
    };
    Some(WithoutFan { key: key.clone(), motor_race_end_c: without, needed })
}
