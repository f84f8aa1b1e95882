//! What rises or falls over the runs of a car, and why.
//!
//! Slopes and tests: [`crate::statistics::theil_sen`]. A trend rises or falls where its 95 % interval excludes zero; it is steady where the interval holds zero and
//! is narrower than a change that would matter; else it cannot be told. Fewer than five runs have no such interval.
//!
//! Why a temperature rises is asked of the fitted heat models: what the middle run's motor would show with each run's air, cooling, load or start in
//! turn, all else as in the middle run. The cause is what explains more than half of the rise and has a trend of its own; where none does, it cannot
//! be told. So a hot day, which moves the air and not the cooling, is no dying fan.

use schemars::JsonSchema;
use serde::Serialize;

use super::cars;
use super::figures::{self, Figure};
use crate::measure::forecast::Scene;
use crate::measure::heat::Heat;
use crate::review::Run;
use crate::statistics::quantiles::median;
use crate::statistics::theil_sen::{Slope, slope_by_order};

/// Level of the intervals.
const LEVEL: f64 = 0.95;
/// Share of a rise that its cause explains at least.
const MOST: f64 = 0.5;

/// What a trend says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Verdict {
    /// Its interval lies above zero.
    #[serde(rename = "rising")]
    Rising,
    /// Its interval lies below zero.
    #[serde(rename = "falling")]
    Falling,
    /// Its interval holds zero and no change that would matter.
    #[serde(rename = "steady")]
    Steady,
    /// Too few runs, or too much scatter.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Verdict {
    /// What the 95 % interval of a slope says over `span`, where a change of `matters` would matter.
    pub fn of(interval: Option<(f64, f64)>, span: f64, matters: f64) -> Self {
        match interval {
            Some((low, _)) if low > 0.0 => Verdict::Rising,
            Some((_, high)) if high < 0.0 => Verdict::Falling,
            Some((low, high)) if low.abs().max(high.abs()) * span <= matters => Verdict::Steady,
            _ => Verdict::CannotTell,
        }
    }

    /// The verdict as the report says it.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Rising => "rising",
            Verdict::Falling => "falling",
            Verdict::Steady => "steady",
            Verdict::CannotTell => "cannot tell",
        }
    }
}

/// A trend over the runs of a car.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Trend {
    /// The figure.
    pub of: Figure,
    /// The car.
    pub car: String,
    /// Its runs that have the figure.
    pub runs: Vec<String>,
    /// The figure's values.
    pub values: Vec<f64>,
    /// Change a run.
    pub per_run: f64,
    /// Lower end of its 95 % interval; `null` where so few runs have none.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// Probability of such a trend by chance.
    pub p: f64,
    /// What it says.
    pub verdict: Verdict,
    /// What explains it: `air temperature`, `cooling`, `load`, `start` or `cannot tell`; for temperatures that rise or fall.
    pub cause: Option<&'static str>,
    /// Why there is no verdict.
    pub why: Option<String>,
}

/// The trends of every car, in the order of the figures.
pub fn trends(runs: &[Run], race_s: f64) -> Vec<Trend> {
    let of_car = |(car, members): (String, Vec<&Run>)| {
        Figure::TRENDS.into_iter().filter_map(|figure| of(&car, &members, figure, race_s)).collect::<Vec<_>>()
    };
    cars(runs).into_iter().flat_map(of_car).collect()
}

fn of(car: &str, members: &[&Run], figure: Figure, race_s: f64) -> Option<Trend> {
    let seen: Vec<(&Run, f64)> =
        members.iter().filter_map(|r| figures::of_run(r, figure).map(|(v, _)| (*r, v))).collect();
    let unit = if figure == Figure::MotorCooling { seen.first()?.1 } else { 1.0 };
    let values: Vec<f64> = seen.iter().map(|s| s.1 / unit).collect();
    let slope = slope_by_order(&values, LEVEL)?;
    let verdict = judge(&slope, figure, &values);
    let moves = matches!(verdict, Verdict::Rising | Verdict::Falling);
    let heats = matches!(figure, Figure::MotorPeakC | Figure::MotorRiseC | Figure::ControllerPeakC);
    let runs: Vec<&Run> = seen.iter().map(|s| s.0).collect();
    let cause = (moves && heats).then(|| cause(&runs, figure, slope.per_step, race_s));
    let why = match verdict {
        Verdict::CannotTell if slope.interval.is_none() => {
            Some("it takes five runs at least to tell a trend from chance")
        }
        Verdict::CannotTell => Some("the runs scatter too much to rule out a change that would matter"),
        _ => None,
    };
    Some(Trend {
        of: figure,
        car: car.to_owned(),
        runs: runs.iter().map(|r| r.plan.id.clone()).collect(),
        values,
        per_run: slope.per_step,
        low: slope.interval.map(|i| i.0),
        high: slope.interval.map(|i| i.1),
        p: slope.p,
        verdict,
        cause,
        why: why.map(str::to_owned),
    })
}

fn judge(slope: &Slope, figure: Figure, values: &[f64]) -> Verdict {
    Verdict::of(slope.interval, (values.len() - 1) as f64, matters(figure, values))
}

/// Change over these values of a figure that would matter.
pub fn matters(figure: Figure, values: &[f64]) -> f64 {
    figure.matters(median(values.iter().copied()).unwrap_or(1.0).abs())
}

/// One run's conditions.
#[derive(Clone, Copy)]
struct Conditions {
    air: f64,
    above: f64,
    cooling: f64,
    copper: f64,
    spin: f64,
}

/// Something that may explain a rise.
struct Candidate {
    name: &'static str,
    /// The first conditions with this of the second.
    with: fn(Conditions, Conditions) -> Conditions,
    /// What must have a trend of its own.
    own: fn(Conditions) -> f64,
}

/// What explains a temperature's change of `per_run`.
fn cause(runs: &[&Run], figure: Figure, per_run: f64, race_s: f64) -> &'static str {
    const UNKNOWN: &str = "cannot tell";
    let Some(heats) = runs.iter().map(|r| figures::heat_of(r, figure)).collect::<Option<Vec<&Heat>>>() else {
        return UNKNOWN;
    };
    let conditions = |(run, heat): (&&Run, &&Heat)| {
        let warming = heat.warming.as_ref()?;
        let air = run.plan.ambient_c?;
        let above = heat.start_c? - air;
        let spin = if heat.course.omega > 0.0 { heat.course.omega } else { 1.0 };
        Some(Conditions {
            air,
            above,
            cooling: heat.cooling.unwrap_or(warming.ln_cooling()).value.exp(),
            copper: heat.course.copper,
            spin,
        })
    };
    let Some(each) = runs.iter().zip(&heats).map(conditions).collect::<Option<Vec<Conditions>>>() else {
        return UNKNOWN;
    };
    let middle = each.len() / 2;
    let (Some(warming), base) = (&heats[middle].warming, each[middle]) else { return UNKNOWN };
    let above_air = figure == Figure::MotorRiseC;
    let shown = |c: Conditions| {
        let scene = Scene {
            start_c: c.air + c.above,
            air_c: c.air,
            copper: c.copper / base.copper,
            spin: (c.spin / base.spin).powf(1.5),
            cooling: c.cooling / base.cooling,
            seconds: race_s,
        };
        warming.imagined(&scene).value - if above_air { c.air } else { 0.0 }
    };
    let candidates = [
        Candidate { name: "air temperature", with: |b, c| Conditions { air: c.air, ..b }, own: |c| c.air },
        Candidate { name: "cooling", with: |b, c| Conditions { cooling: c.cooling, ..b }, own: |c| c.cooling },
        Candidate {
            name: "load",
            with: |b, c| Conditions { copper: c.copper, spin: c.spin, ..b },
            own: |c| c.copper * c.spin.powf(1.5),
        },
        Candidate { name: "start", with: |b, c| Conditions { above: c.above, ..b }, own: |c| c.above },
    ];
    let explains = |candidate: &Candidate| {
        let alone: Vec<f64> = each.iter().map(|c| shown((candidate.with)(base, *c))).collect();
        let share = slope_by_order(&alone, LEVEL)?.per_step / per_run;
        let (low, high) = slope_by_order(&each.iter().map(|c| (candidate.own)(*c)).collect::<Vec<_>>(), LEVEL)?.interval?;
        (share > MOST && (low > 0.0 || high < 0.0)).then_some((share, candidate.name))
    };
    let best = candidates.iter().filter_map(explains).max_by(|a, b| a.0.total_cmp(&b.0));
    best.map_or(UNKNOWN, |b| b.1)
}
