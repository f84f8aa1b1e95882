//! What did a changed setting really do?
//!
//! For every key of the sheet that varies between the runs of a car, each of its values is compared with the first one,
//! figure by figure: a least-squares fit over all runs of the car, with a column for each value of each key. The doubt
//! is the scatter that the columns leave (Student's t with the degrees of freedom that are left), and never less than
//! the figure's own uncertainty within the runs. With three runs a side the scatter must come from all runs of the car,
//! or chance passes for an effect. Air, pack and pace from run to run are part of that scatter. Heat is compared for a
//! race from the same start in the same air, by each run's fitted model.
//!
//! Keys that changed together cannot be told apart: each names the others. Text that differs in nearly every run is a
//! remark, not a setting.

use std::fmt::{self, Display};

use nalgebra::DVector;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::cars::cars;
use super::setups::{Column, columns, design, distinct, is_no_setup};
use crate::figure::Figure;
use crate::measure::forecast::Scene;
use crate::measure::heat::Heat;
use crate::quantity::{Estimate, Uncertain};
use crate::reason;
use crate::run::SettledRun;
use crate::sheet::Setting;
use crate::statistics::least_squares::by_singular_values;
use crate::statistics::quantiles::median;

/// Fewest runs with a figure.
const LEAST_RUNS: usize = 3;

/// What a changed key did.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The car.
    pub car: String,
    /// The sheet's key.
    pub key: String,
    /// Its first value; `None` where it was not set.
    pub from: Option<Setting>,
    /// The other value.
    pub to: Option<Setting>,
    /// Runs with the first value.
    pub runs_from: Vec<String>,
    /// Runs with the other.
    pub runs_to: Vec<String>,
    /// Effects on each figure.
    pub effects: Vec<Effect>,
    /// Keys that changed in the same runs.
    pub together_with: Vec<String>,
}

/// One effect of a change.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Effect {
    /// The figure.
    pub of: &'static Figure,
    /// With the first value: the mean of its runs.
    pub from: Option<f64>,
    /// With the other: that and the difference.
    pub to: Option<f64>,
    /// The difference, with the other keys' changes taken out.
    pub difference: Option<Estimate>,
    /// Why it cannot be had, or what it cannot be told from.
    #[serde(serialize_with = "reason::as_text")]
    #[schemars(with = "Option<String>")]
    pub why: Option<Why>,
}

/// Why an effect cannot be had, or what it cannot be told from.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// No run on one of the sides has the figure, and what it needs.
    OneSide(Option<&'static str>),
    /// Nothing is left to tell chance from the change.
    FewRuns,
    /// Other settings changed in the same runs.
    Entangled,
    /// These settings changed in exactly the same runs.
    Together(Vec<String>),
}

impl Why {
    /// The reason in words, settings called by what `names` makes of their keys.
    pub fn in_words(&self, names: impl Fn(&[String]) -> String) -> String {
        match self {
            Self::Together(keys) => format!("changed together with {}: one effect for all of them", names(keys)),
            other => other.to_string(),
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OneSide(None) => f.write_str("no run on one of the sides has this figure"),
            Self::OneSide(Some(needs)) => write!(f, "no run on one of the sides has this figure: {needs}"),
            Self::FewRuns => f.write_str("too few runs to tell the change from their scatter"),
            Self::Entangled => {
                f.write_str("other settings changed in the same runs, so it cannot be told which did it")
            }
            Self::Together(_) => f.write_str(&self.in_words(|keys| keys.join(", "))),
        }
    }
}

impl Comparison {
    /// The first value as it is shown; `None` where it was not set.
    pub fn from_shown(&self) -> Option<String> {
        self.from.as_ref().map(Setting::to_string)
    }

    /// The other value as it is shown; `None` where it was not set.
    pub fn to_shown(&self) -> Option<String> {
        self.to.as_ref().map(Setting::to_string)
    }
}

impl Effect {
    /// Whether the interval excludes zero.
    pub fn claimed(&self) -> bool {
        self.difference.is_some_and(|d| d.low > 0.0 || d.high < 0.0)
    }
}

/// The comparisons of every car, judged by the figures of `catalogue` that settings are judged by.
pub fn comparisons(runs: &[SettledRun], catalogue: &'static [Figure], race_s: f64) -> Vec<Comparison> {
    let of_car = |(car, members): (String, Vec<&SettledRun>)| {
        let known: Vec<&SettledRun> =
            members.iter().copied().filter(|run| !has_unknown_setting(run, &members)).collect();
        compare_car(&car, &known, catalogue, race_s)
    };
    cars(runs).into_iter().flat_map(of_car).collect()
}

/// Whether one of the settings that the car's runs differ in was refused in `run`: it may be anything.
fn has_unknown_setting(run: &SettledRun, members: &[&SettledRun]) -> bool {
    let differs = |key: &str, value: &Setting| members.iter().any(|m| in_run(m, key) != Some(value.by_value()));
    let refused = |(key, value): (&String, &Setting)| {
        matches!(value, Setting::Refused(_)) && !is_no_setup(key) && differs(key, value)
    };
    run.plan().settings.0.iter().any(refused)
}

fn in_run(run: &SettledRun, key: &str) -> Option<String> {
    run.plan().settings.0.get(key).map(Setting::by_value)
}

fn compare_car(car: &str, members: &[&SettledRun], catalogue: &'static [Figure], race_s: f64) -> Vec<Comparison> {
    let columns = columns(members);
    let judging = catalogue.iter().filter(|f| f.used.in_effects);
    let fits: Vec<(&'static Figure, Fit)> =
        judging.map(|figure| (figure, Fit::new(values(members, figure, race_s), &columns))).collect();
    let ids = |has: &[bool]| members.iter().zip(has).filter(|(_, h)| **h).map(|(r, _)| r.plan().id.clone()).collect();
    let compare = |(index, column): (usize, &Column)| {
        let others = columns.iter().filter(|c| c.key != column.key && c.other == column.other);
        let together_with: Vec<String> = others.map(|c| c.key.clone()).collect();
        Comparison {
            car: car.to_owned(),
            key: column.key.clone(),
            from: column.from.clone(),
            to: column.to.clone(),
            runs_from: ids(&column.first),
            runs_to: ids(&column.other),
            effects: fits.iter().map(|(figure, fit)| fit.effect(figure, index, column, &together_with)).collect(),
            together_with,
        }
    };
    columns.iter().enumerate().map(compare).collect()
}

/// The line of one figure over all runs of a car that have it.
struct Fit {
    /// Each run's value; `None` where it has none.
    seen: Vec<Option<Uncertain>>,
    /// Effect of each column; `None` where it cannot be told apart from others or from the rest.
    effects: Vec<Option<Estimate>>,
    /// Runs less the columns that they tell apart.
    left: usize,
}

impl Fit {
    fn new(seen: Vec<Option<Uncertain>>, columns: &[Column]) -> Self {
        let rows: Vec<usize> = (0..seen.len()).filter(|&n| seen[n].is_some()).collect();
        let none = Fit { seen: seen.clone(), effects: vec![None; columns.len()], left: 0 };
        if rows.len() < LEAST_RUNS {
            return none;
        }
        let distinct = distinct(columns);
        let matrix = design(&distinct, &rows);
        let y = DVector::from_iterator(rows.len(), rows.iter().filter_map(|&n| seen[n].map(|s| s.value)));
        let own = rows.iter().filter_map(|&n| seen[n].map(|s| s.standard_u.powi(2))).sum::<f64>() / rows.len() as f64;
        let Some(solved) = by_singular_values(&matrix, &y, own) else { return none };
        let effect = |column: &Column| {
            let position = distinct.iter().position(|d| **d == column.other)?;
            solved.coefficients[position + 1]
        };
        Fit { effects: columns.iter().map(effect).collect(), left: solved.degrees, seen }
    }

    /// The effect of the column at `index`.
    fn effect(&self, figure: &'static Figure, index: usize, column: &Column, together: &[String]) -> Effect {
        let mean = |has: &[bool]| {
            let values: Vec<f64> =
                self.seen.iter().zip(has).filter(|(_, h)| **h).filter_map(|(s, _)| s.map(|s| s.value)).collect();
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
        };
        let (from, to) = (mean(&column.first), mean(&column.other));
        let difference = self.effects[index].filter(|_| from.is_some() && to.is_some());
        let why = if from.is_none() || to.is_none() {
            Some(Why::OneSide(figure.needs))
        } else if self.left == 0 {
            Some(Why::FewRuns)
        } else if difference.is_none() {
            Some(Why::Entangled)
        } else if !together.is_empty() {
            Some(Why::Together(together.to_vec()))
        } else {
            None
        };
        Effect { of: figure, from, to: from.zip(difference).map(|(f, d)| f + d.value).or(to), difference, why }
    }
}

/// A figure of each run; heat above the air for a race from the same start in the same air.
fn values(members: &[&SettledRun], figure: &Figure, race_s: f64) -> Vec<Option<Uncertain>> {
    if !figure.heat.is_some_and(|h| h.above_air) {
        return members.iter().map(|r| Some(figure.comparable(r)?.uncertain())).collect();
    }
    let conditions = |run: &&SettledRun| {
        let air = run.plan().ambient_c?;
        Some((air, figure.heat_in(run)?.start_c? - air))
    };
    let all: Vec<(f64, f64)> = members.iter().filter_map(conditions).collect();
    let (air, start) = (median(all.iter().map(|c| c.0)), median(all.iter().map(|c| c.1)));
    let (Some(air), Some(start)) = (air, start) else { return vec![None; members.len()] };
    members
        .par_iter()
        .map(|run| {
            figure.comparable(run)?;
            rise_from_same_start(run.plan().ambient_c.and(figure.heat_in(run))?, start, air, race_s)
        })
        .collect()
}

/// The rise that a run's fitted model gives for a race from `start` above air of `air_c`, °C: runs that started warm or
/// on another day are made alike.
fn rise_from_same_start(heat: &Heat, start: f64, air_c: f64, race_s: f64) -> Option<Uncertain> {
    let end = heat.warming.as_ref()?.imagined(&Scene::as_driven(air_c + start, air_c, race_s));
    Some(Uncertain::from(end.shifted(-air_c)))
}
