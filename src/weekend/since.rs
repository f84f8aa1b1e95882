//! What happened since the car's run before: did the change help?
//!
//! Two runs of a car differ in their median laps by what was changed, and by what car, driver, air and track do from run
//! to run anyway. How much that is comes from all runs of the car: the scatter that their settings leave (a fit with a
//! column for each value of each setting). Few runs tell it badly, so what cars of this kind do is weighed in, as a
//! number of runs of its own (the conjugate prior of a variance; Gelman et al., Bayesian Data Analysis, 2.6, from
//! memory). The interval of the change is Student's t with the degrees of freedom of both.
//!
//! Where the runs of the weekend together tell what the change does, their answer stands.

use nalgebra::DVector;
use schemars::JsonSchema;
use serde::Serialize;

use super::cars::index_before;
use super::comparisons::{Comparison, Effect};
use super::setups::{Column, changed_keys, columns, design, distinct, is_no_setup, same_value, value};
use crate::measure::hot_part::HotPart;
use crate::quantity::Estimate;
use crate::run::SettledRun;
use crate::sheet::Setting;
use crate::statistics::coverage::coverage_factor;
use crate::statistics::least_squares::by_singular_values;
use crate::statistics::quantiles::median_u;

/// What the median lap of a car scatters between equal runs, as a share of it, and for how many degrees of freedom that
/// counts beside the car's own runs. A default (common practice, no source): grip, tyres and driver move the median lap
/// by some tenths of a second in laps of 10 to 30 s.
const USUAL_SCATTER: f64 = 0.006;
const USUAL_DEGREES: f64 = 3.0;
/// Figure of the catalogue that lap times are compared by.
const LAP_TIME: &str = "median_lap_s";
/// Changes of the conditions that are worth a word: of temperatures in K, of the spun share. Defaults, no source.
const WORTH_AIR_K: f64 = 1.0;
const WORTH_START_K: f64 = 3.0;
const WORTH_SPUN: f64 = 0.01;

/// What happened since the car's run before.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Since {
    /// The car's run before.
    pub run: String,
    /// What was changed on the sheet.
    pub changed: Vec<Changed>,
    /// What changed by itself, as far as it is worth a word.
    pub by_itself: Vec<Condition>,
    /// Change of the median lap, s; its interval has in it what the car moves between equal runs.
    pub median_lap_change_s: Option<Estimate>,
    /// What the same change does to the median lap by all runs of the weekend, s; `null` where they do not tell.
    pub over_all_runs_s: Option<Estimate>,
    /// How much two equal runs of this car may differ, s: 95 of 100 pairs differ by less.
    pub equal_runs_s: Option<f64>,
    /// What the lap time did.
    pub verdict: LapVerdict,
    /// What to do with the change; `null` where nothing was changed.
    pub wish: Option<Wish>,
}

/// A setting that was changed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Changed {
    /// The sheet's key.
    pub key: String,
    /// Its value in the run before, of a number in the key's unit; `null` where it was not set.
    pub from: Option<String>,
    /// Its value now.
    pub to: Option<String>,
    /// The value in the run before as it is written on the sheet.
    #[serde(skip)]
    pub from_shown: Option<String>,
    /// The value now as it is written on the sheet.
    #[serde(skip)]
    pub to_shown: Option<String>,
}

/// Something that nobody set.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Condition {
    /// What it is.
    pub what: Nature,
    /// In the run before, in the unit of what it is.
    pub from: f64,
    /// In this run.
    pub to: f64,
}

/// What changes by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Nature {
    /// The air, °C.
    #[serde(rename = "air")]
    Air,
    /// The motor at the log's start, °C.
    #[serde(rename = "motor at the start")]
    MotorStart,
    /// Share of the laps' time in which the wheels spun.
    #[serde(rename = "wheelspin")]
    Wheelspin,
}

/// What the lap time did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum LapVerdict {
    /// Its interval lies below zero.
    #[serde(rename = "faster")]
    Faster,
    /// Its interval lies above zero.
    #[serde(rename = "slower")]
    Slower,
    /// It holds zero, or there is none.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// What to do with a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Wish {
    /// It made the car faster.
    #[serde(rename = "keep it")]
    Keep,
    /// It made the car slower.
    #[serde(rename = "put it back")]
    PutBack,
    /// Two runs do not tell.
    #[serde(rename = "run it once more to know")]
    RunAgain,
}

impl Wish {
    fn after(verdict: LapVerdict) -> Self {
        match verdict {
            LapVerdict::Faster => Self::Keep,
            LapVerdict::Slower => Self::PutBack,
            LapVerdict::CannotTell => Self::RunAgain,
        }
    }
}

impl LapVerdict {
    fn of(change: Option<Estimate>) -> Self {
        match change {
            Some(change) if change.high < 0.0 => Self::Faster,
            Some(change) if change.low > 0.0 => Self::Slower,
            _ => Self::CannotTell,
        }
    }
}

/// How much the median lap of a car scatters between equal runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunScatter {
    /// Its variance, s².
    variance: f64,
    /// Degrees of freedom.
    degrees: f64,
}

impl RunScatter {
    /// The scatter of a car's runs; `None` where none has a median lap.
    pub fn of_car(members: &[&SettledRun]) -> Option<Self> {
        let laps: Vec<Option<f64>> = members.iter().map(|run| median_lap(run)).collect();
        let rows: Vec<usize> = (0..laps.len()).filter(|&n| laps[n].is_some()).collect();
        let times: Vec<f64> = laps.iter().flatten().copied().collect();
        let usual = USUAL_SCATTER * times.iter().sum::<f64>() / (!times.is_empty()).then_some(times.len() as f64)?;
        let columns: Vec<Column> = columns(members);
        let matrix = design(&distinct(&columns), &rows);
        let (residual, degrees) = by_singular_values(&matrix, &DVector::from_vec(times), 0.0)
            .map_or((0.0, 0.0), |fit| (fit.residual, fit.degrees as f64));
        let all = USUAL_DEGREES + degrees;
        Some(Self { variance: (USUAL_DEGREES * usual * usual + residual) / all, degrees: all })
    }

    /// Half the width of the 95 % interval of the difference of the means of so many runs each, s; `None` where one has
    /// none.
    pub(super) fn half_width_of_means(&self, runs: [usize; 2]) -> Option<f64> {
        let each: f64 = runs.iter().map(|count| (*count as f64).recip()).sum();
        runs.iter().all(|count| *count > 0).then(|| coverage_factor(self.degrees, 0.95) * (self.variance * each).sqrt())
    }

    /// Half the width of the 95 % interval of the difference of two runs, s, whose medians are each known to
    /// `standard_errors`.
    fn half_width(&self, standard_errors: [f64; 2]) -> f64 {
        let within = standard_errors.iter().map(|u| u * u).sum::<f64>();
        coverage_factor(self.degrees, 0.95) * (2.0 * self.variance).max(within).sqrt()
    }
}

/// The run at `index` against the car's run before; `None` for its first. `scatter` is that of the car's runs.
pub fn since(
    runs: &[SettledRun],
    index: usize,
    scatter: Option<RunScatter>,
    comparisons: &[Comparison],
) -> Option<Since> {
    let now = &runs[index];
    let before = &runs[index_before(index, |n| &runs[n].plan().car)?];
    let changed = changed(before, now);
    let scatter = scatter.filter(|_| now.has_own_log() && before.has_own_log());
    let equal_runs_s = scatter.map(|scatter| scatter.half_width([0.0; 2]));
    let change = || {
        let difference = median_lap(now)? - median_lap(before)?;
        let half = scatter?.half_width([standard_error(now)?, standard_error(before)?]);
        Some(Estimate::from_half_width(difference, half))
    };
    let median_lap_change_s = change();
    let over_all_runs_s = known(&now.plan().car, &changed, comparisons);
    let verdict = LapVerdict::of(over_all_runs_s.or(median_lap_change_s));
    Some(Since {
        run: before.plan().id.clone(),
        by_itself: by_itself(before, now),
        median_lap_change_s,
        over_all_runs_s,
        equal_runs_s,
        verdict,
        wish: (!changed.is_empty() && median_lap_change_s.is_some()).then(|| Wish::after(verdict)),
        changed: changed.iter().map(|(key, from, to)| Changed::new(key, from, to)).collect(),
    })
}

/// A key that was changed, and its two values.
type Change = (String, Option<Setting>, Option<Setting>);

impl Changed {
    fn new(key: &str, from: &Option<Setting>, to: &Option<Setting>) -> Self {
        let by_value = |value: &Option<Setting>| value.as_ref().map(Setting::by_value);
        let shown = |value: &Option<Setting>| value.as_ref().map(Setting::to_string);
        let key = key.to_owned();
        Self { key, from: by_value(from), to: by_value(to), from_shown: shown(from), to_shown: shown(to) }
    }
}

/// The settings that differ; a refused value says nothing of a change.
fn changed(before: &SettledRun, now: &SettledRun) -> Vec<Change> {
    let is_refused = |run: &SettledRun, key: &str| matches!(run.plan().settings.0.get(key), Some(Setting::Refused(_)));
    let counts = |key: &String| !is_no_setup(key) && ![before, now].iter().any(|run| is_refused(run, key));
    let change = |key: String| (key.clone(), value(before, &key), value(now, &key));
    changed_keys(before, now).into_iter().filter(counts).map(change).collect()
}

/// What all runs of the weekend say of one changed setting; `None` for several, and where they do not tell.
fn known(car: &str, changed: &[Change], comparisons: &[Comparison]) -> Option<Estimate> {
    let [(key, from, to)] = changed else { return None };
    let of_key = || comparisons.iter().filter(|c| c.car == car && c.key == *key);
    let lap_time = |effect: &&Effect| effect.of.key == LAP_TIME && effect.why.is_none();
    let effect = |c: &Comparison| c.effects.iter().find(lap_time).and_then(|effect| effect.difference);
    let is = |c: &&Comparison, one, other| same_value(&c.from, one) && same_value(&c.to, other);
    let forwards = of_key().find(|c| is(c, from, to)).and_then(effect);
    forwards.or_else(|| of_key().find(|c| is(c, to, from)).and_then(effect).map(|e| e.mirrored()))
}

fn by_itself(before: &SettledRun, now: &SettledRun) -> Vec<Condition> {
    let air = |run: &SettledRun| run.plan().ambient_c;
    let start = |run: &SettledRun| run.heat(HotPart::Motor)?.start_c;
    let spun = |run: &SettledRun| run.done()?.answers.wheelspin.share;
    type Read<'a> = &'a dyn Fn(&SettledRun) -> Option<f64>;
    let all: [(Nature, Read, f64); 3] = [
        (Nature::Air, &air, WORTH_AIR_K),
        (Nature::MotorStart, &start, WORTH_START_K),
        (Nature::Wheelspin, &spun, WORTH_SPUN),
    ];
    let condition = |(what, read, worth): (Nature, Read, f64)| {
        let (from, to) = read(before).zip(read(now))?;
        ((to - from).abs() >= worth).then_some(Condition { what, from, to })
    };
    all.into_iter().filter_map(condition).collect()
}

fn median_lap(run: &SettledRun) -> Option<f64> {
    run.done()?.laps.median_s()
}

/// Standard error of a run's median lap by the scatter of its laps, s.
fn standard_error(run: &SettledRun) -> Option<f64> {
    median_u(&run.done()?.laps.counted().map(|lap| lap.time_s()).collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_of_the_usual_alone_is_three_degrees_of_it() {
        // One run tells nothing of its own: 0.6 % of 10 s, by Student's t of three degrees (3.18; JCGM 100, G.2).
        let scatter = RunScatter { variance: (USUAL_SCATTER * 10.0f64).powi(2), degrees: USUAL_DEGREES };
        assert!((scatter.half_width([0.0; 2]) - 3.18 * 0.06 * 2f64.sqrt()).abs() < 1e-3);
        // Laps that scatter more than runs do count instead.
        assert!((scatter.half_width([0.3, 0.4]) - 3.18 * 0.5).abs() < 2e-3);
    }

    #[test]
    fn a_change_is_told_by_its_interval() {
        let verdict = |low, high| LapVerdict::of(Some(Estimate { value: (low + high) / 2.0, low, high }));
        assert_eq!(verdict(-0.3, -0.1), LapVerdict::Faster);
        assert_eq!(verdict(0.1, 0.3), LapVerdict::Slower);
        assert_eq!(verdict(-0.1, 0.3), LapVerdict::CannotTell);
        assert_eq!(LapVerdict::of(None), LapVerdict::CannotTell);
    }
}
