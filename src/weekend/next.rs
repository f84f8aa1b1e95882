//! What should be changed next: the pinions around the one on the car, and the fan.
//!
//! For each pinion, the load and the top speed that [`crate::measure::pinion`] gives go into the run's fitted heat
//! model. The temperature at the end of the race is today's plus the difference between two imagined races, one with
//! today's load and one with the other's. Whether the fan is needed is asked where a car ran with and without one: the
//! run's race with the cooling of the other runs.

use std::fmt::{self, Display};

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::shared_heat::is_fan;
use crate::gears::{Gears, neighbours};
use crate::measure::forecast::Scene;
use crate::measure::hot_part::HotPart;
use crate::measure::regeared::Regeared;
use crate::measure::regeared_lap::NoLapTime;
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::reason;
use crate::run::{Measured, SettledRun};
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
    /// Change of the median lap from the pinion on the car, s.
    pub lap_change_s: Option<Estimate>,
    /// Motor at the race's end, °C.
    pub motor_race_end_c: Option<Estimate>,
    /// The same as the car's runs with this pinion measured it, s; `null` where there are none set alike.
    pub lap_change_measured_s: Option<Estimate>,
    /// Both together, s; nought for the pinion on the car.
    pub lap_change_together_s: Option<Estimate>,
    /// Controller at the race's end, °C.
    pub controller_race_end_c: Option<Estimate>,
    /// Whether motor and controller stay under their limits.
    pub heat: HeatRoom,
    /// Change of the top speed from the pinion on the car, m/s.
    pub top_speed_change_m_s: Option<Estimate>,
    /// Change of the race's end from the pinion on the car, K.
    pub motor_change_k: Option<Estimate>,
    /// Why a figure is missing.
    #[serde(serialize_with = "reason::as_text")]
    #[schemars(with = "Option<String>")]
    pub why: Option<Why>,
}

/// Whether motor and controller stay under their limits to the race's end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum HeatRoom {
    /// Both intervals lie under the limits.
    #[serde(rename = "within")]
    Within,
    /// One lies over its limit.
    #[serde(rename = "over")]
    Over,
    /// One holds its limit, or the motor's race end is not known.
    #[serde(rename = "not sure")]
    NotSure,
}

impl HeatRoom {
    /// By the parts' race ends and their limits, °C; a controller without a forecast says nothing.
    fn of(motor: Option<(Estimate, f64)>, controller: Option<(Estimate, f64)>) -> Self {
        let ends = || motor.into_iter().chain(controller);
        if ends().any(|(end, limit)| end.low > limit) {
            Self::Over
        } else if motor.is_some() && ends().all(|(end, limit)| end.high < limit) {
            Self::Within
        } else {
            Self::NotSure
        }
    }
}

/// Why it cannot be told what another pinion would do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Its ratio is too far from the one that was driven.
    TooFar,
    /// The run does not show how the car pulls.
    NoPull,
    /// The run does not show how the motor heats.
    NoHeatModel,
    /// What it does to the lap time cannot be told.
    NoLapTime(NoLapTime),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFar => write!(f, "more than {:.0} % from the gearing that was driven", 100.0 * FURTHEST),
            Self::NoPull => f.write_str("this needs voltage, current, revs and laps"),
            Self::NoHeatModel => f.write_str("how the motor heats could not be told from this run"),
            Self::NoLapTime(NoLapTime::NeverTheLimit) => f.write_str(
                "the log shows no full throttle, so what another pinion would do to the lap time cannot be foreseen",
            ),
            Self::NoLapTime(NoLapTime::NoLap) => f.write_str("no lap has all of its rows to drive it anew"),
        }
    }
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

/// How far another ratio may be from the one that was driven for its speed and heat to be told, relative: further away
/// the driver
/// would drive otherwise. Common practice, no source.
const FURTHEST: f64 = 0.2;

/// The pinions from two below to two above the one on the car.
pub fn next(run: &SettledRun, race_s: f64) -> Vec<Next> {
    tried(run, &neighbours(&run.plan().settings, run.pinion_on_car()), race_s)
}

/// What each of these `gears` would do on the run's car.
pub fn tried(run: &SettledRun, gears: &[Gears], race_s: f64) -> Vec<Next> {
    with_gears(run, gears, race_s).into_iter().map(|(next, _)| next).collect()
}

/// The same with how the run's load would change; `None` where that is not known.
pub(super) fn with_gears(run: &SettledRun, gears: &[Gears], race_s: f64) -> Vec<(Next, Option<Regeared>)> {
    let Some(done) = run.done() else { return Vec::new() };
    let driven = run.pinion_on_car().and_then(|p| run.plan().settings.ratio_with(p));
    let pull = done.answers.pull(&done.sound_log, run.plan().settings.number("mass_kg"));
    let one = |gears: &Gears| {
        let mut next = Next::unknown(gears);
        let change = driven.map(|driven| gears.ratio / driven);
        if change.is_some_and(|change| (change - 1.0).abs() > FURTHEST) {
            next.why = Some(Why::TooFar);
            return (next, None);
        }
        let Some((pull, change)) = pull.as_ref().zip(change) else {
            next.why = Some(Why::NoPull);
            return (next, None);
        };
        let regeared = pull.regeared(&done.laps, change);
        match &regeared {
            Some(regeared) => {
                forecast(run, done, regeared, race_s, &mut next);
                let lap = pull.lap_time_change(&done.laps, change);
                next.lap_change_s = lap.ok();
                next.why = next.why.or_else(|| lap.err().map(Why::NoLapTime));
            }
            None => next.why = Some(Why::NoPull),
        }
        (next, regeared)
    };
    gears.par_iter().map(one).collect()
}

impl Next {
    /// These gears, with nothing known of what they would do.
    fn unknown(gears: &Gears) -> Self {
        Next {
            spur: gears.spur,
            pinion: gears.pinion,
            ratio: gears.ratio,
            rollout_mm: gears.rollout_mm,
            top_speed_m_s: None,
            lap_change_s: None,
            lap_change_measured_s: None,
            lap_change_together_s: None,
            controller_race_end_c: None,
            heat: HeatRoom::NotSure,
            motor_race_end_c: None,
            top_speed_change_m_s: None,
            motor_change_k: None,
            why: None,
        }
    }
}

/// Fills in speed and heat of the run with another ratio.
fn forecast(run: &SettledRun, done: &Measured, geared: &Regeared, race_s: f64, next: &mut Next) {
    if let Some(top) = done.answers.power.top_speed_range_m_s {
        next.top_speed_change_m_s = Some(geared.top_change.scaled(top.value));
        let half = top.half_width().hypot(top.value * geared.top_change.half_width());
        next.top_speed_m_s = Some(Estimate::from_half_width(top.value * (1.0 + geared.top_change.value), half));
    }
    let end_of = |part: HotPart| {
        let (change, end) = heat_change(run, part, geared, race_s)?;
        let half = end.half_width().hypot(change.half_width());
        Some((change, Estimate::from_half_width(end.value + change.value, half)))
    };
    let (motor, controller) = (end_of(HotPart::Motor), end_of(HotPart::Controller));
    next.motor_change_k = motor.map(|(change, _)| change);
    next.motor_race_end_c = motor.map(|(_, end)| end);
    next.controller_race_end_c = controller.map(|(_, end)| end);
    let beside_limit = |part: HotPart, end: Option<Estimate>| Some((end?, run.heat(part)?.limit_c));
    next.heat = HeatRoom::of(
        beside_limit(HotPart::Motor, next.motor_race_end_c),
        beside_limit(HotPart::Controller, next.controller_race_end_c),
    );
    next.why = if next.top_speed_m_s.is_none() {
        Some(Why::NoPull)
    } else if next.motor_race_end_c.is_none() {
        Some(Why::NoHeatModel)
    } else {
        None
    };
}

/// Change of a part's temperature at the race's end with another ratio, and the temperature there today. A controller's
/// heat goes with the current alone.
fn heat_change(run: &SettledRun, part: HotPart, geared: &Regeared, race_s: f64) -> Option<(Estimate, Estimate)> {
    let heat = run.heat(part)?;
    let (warming, end, start) = (heat.warming.as_ref()?, heat.unbroken_end_c()?, heat.start_c?);
    let now = Scene::as_driven(start, run.plan().ambient_c.unwrap_or(warming.air_c()), race_s);
    if part == HotPart::Controller {
        return Some((warming.difference(&now, &Scene { copper: geared.copper, ..now }), end));
    }
    let then = Scene { copper: geared.copper, spin: geared.spin, ..now };
    Some((warming.regeared(&now, &then, heat.record.as_ref().and_then(|r| r.expected)), end))
}

/// Whether a setting says that there is no fan; `None` where it is not stated.
fn off(setting: Option<&Setting>) -> Option<bool> {
    const OFF: [&str; 9] = ["none", "no", "off", "without", "", "broken", "dead", "failed", "unplugged"];
    match setting? {
        Setting::Number(n) | Setting::WithUnit { value: n, .. } => Some(*n == 0.0),
        Setting::Text(t) => Some(OFF.contains(&t.trim().to_lowercase().as_str())),
        Setting::Flag(on) => Some(!on),
        Setting::Refused(_) => None,
    }
}

/// For a run with its fan on, the race without it; `None` where the car has no runs of both kinds or no fitted heat.
pub fn without_fan(run: &SettledRun, all: &[&SettledRun], race_s: f64) -> Option<WithoutFan> {
    let fan_off = |r: &SettledRun, key: &str| off(r.plan().settings.0.get(key));
    let keys = || all.iter().flat_map(|r| r.plan().settings.0.keys()).filter(|k| is_fan(k));
    let varies = |key: &String| [true, false].iter().all(|wanted| all.iter().any(|r| fan_off(r, key) == Some(*wanted)));
    let key = keys().find(|k| varies(k))?;
    if fan_off(run, key) != Some(false) {
        return None;
    }
    let cooling = |wanted: bool| -> Vec<f64> {
        let same = all.iter().filter(|r| fan_off(r, key) == Some(wanted));
        same.filter_map(|r| Some(r.cooling()?.value)).collect()
    };
    let without_cooling = change_of_cooling(&cooling(false), &cooling(true))?;
    let heat = run.heat(HotPart::Motor)?;
    let (warming, end) = (heat.warming.as_ref()?, heat.unbroken_end_c()?);
    let now = Scene::as_driven(heat.start_c?, run.plan().ambient_c.unwrap_or(warming.air_c()), race_s);
    let change = |ln: f64| warming.difference(&now, &Scene { cooling: ln.exp(), ..now });
    let Uncertain { value: ln, standard_u } = without_cooling;
    let middle = change(ln);
    let (low, high) = (change(ln + COVERAGE_95 * standard_u).value, change(ln - COVERAGE_95 * standard_u).value);
    let half = ((high - low) / 2.0).hypot(middle.half_width()).hypot(end.half_width());
    let without = Estimate::from_half_width(end.value + middle.value, half);
    let needed = if without.low > heat.limit_c {
        Some(true)
    } else if without.high < heat.limit_c {
        Some(false)
    } else {
        None
    };
    Some(WithoutFan { key: key.clone(), motor_race_end_c: without, needed })
}

/// Least scatter of the cooling from run to run, as a logarithm. Common practice, no source.
const LEAST_SCATTER: f64 = 0.1;

/// The cooling of the runs without the fan against those with it, as a logarithm.
fn change_of_cooling(with: &[f64], without: &[f64]) -> Option<Uncertain> {
    if with.is_empty() || without.is_empty() {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let deviations = [with, without].into_iter().filter_map(mean_and_deviation).map(|d| d.1);
    let scatter = deviations.fold(LEAST_SCATTER, f64::max);
    let standard_u = scatter * (1.0 / with.len() as f64 + 1.0 / without.len() as f64).sqrt();
    Some(Uncertain::new(mean(without) - mean(with), standard_u))
}
