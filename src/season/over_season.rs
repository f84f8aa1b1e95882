//! How does a pack or a motor change over the season?
//!
//! The runs of a weekend are pooled into one value, and the trend goes through the weekends: runs of a weekend share
//! air, track and pack, so they are not independent of each other.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::partition::Partition;
use super::store::day_text;
use super::weekend_figures::{FigureOfRun, WeekendFigures};
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::quantiles::median;
use crate::statistics::random_effects::{Pooled, pool};
use crate::statistics::theil_sen;
use crate::weekend::trends::Verdict;

/// Mean length of a month, days (Gregorian year of 365.2425 days).
const MONTH_DAYS: f64 = 365.2425 / 12.0;
/// Change over the season, relative, that would matter: a trend that may hide one is not steady. A default (common
/// practice, no source).
pub const MATTERS: f64 = 0.15;
/// Level of the intervals.
const LEVEL: f64 = 0.95;

/// A figure on one weekend: its runs as one.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OnWeekend {
    /// The weekend's partition.
    pub weekend: String,
    /// Its day.
    pub date: String,
    /// Months since the first weekend.
    pub month: f64,
    /// Number of runs that have the figure.
    pub runs: usize,
    /// Mean of the runs.
    pub value: f64,
    /// The same with its 95 % interval; `null` for a single run whose figure has no interval.
    pub mean: Option<Estimate>,
}

/// A figure over the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OverSeason {
    /// The figure, with its unit at the end of the name.
    pub of: String,
    /// Weekend by weekend.
    pub weekends: Vec<OnWeekend>,
    /// Change per month; `null` with fewer than three weekends.
    pub per_month: Option<f64>,
    /// Lower end of its 95 % interval; `null` with fewer than five weekends.
    pub low: Option<f64>,
    /// Upper end of its 95 % interval; `null` with fewer than five weekends.
    pub high: Option<f64>,
    /// Whether it rises, falls or is steady.
    pub verdict: Verdict,
    /// Why there is no verdict.
    pub why: Option<String>,
}

/// A pack or a motor over the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Part {
    /// Its name on the sheets; without one, the car's key.
    pub name: String,
    /// Its figures.
    pub figures: Vec<OverSeason>,
}

/// A figure of a part on one weekend, its runs pooled.
struct PooledWeekend {
    weekend: String,
    /// Days from 1970-01-01.
    day: i32,
    runs: Pooled,
}

/// A part by its name, and one of its figures by its key.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct PartFigure {
    part: String,
    figure: String,
}

/// The packs, or the motors, of a season as its weekends are gone through.
pub(super) struct PartsOverSeason {
    figures: &'static [&'static str],
    part_of: fn(&FigureOfRun) -> Option<&str>,
    weekends: BTreeMap<PartFigure, Vec<PooledWeekend>>,
}

impl PartsOverSeason {
    /// None yet; of each, the `figures` are followed. `part_of` names the part that a run had.
    pub fn new(figures: &'static [&'static str], part_of: fn(&FigureOfRun) -> Option<&str>) -> Self {
        Self { figures, part_of, weekends: BTreeMap::new() }
    }

    /// Adds what a weekend says about them.
    pub fn add(&mut self, partition: &Partition, weekend: &WeekendFigures) {
        let mut values: BTreeMap<PartFigure, Vec<Uncertain>> = BTreeMap::new();
        for of_run in weekend.figures.iter().filter(|f| self.figures.contains(&f.figure.as_str())) {
            if let Some(part) = (self.part_of)(of_run) {
                let key = PartFigure { part: part.to_owned(), figure: of_run.figure.clone() };
                values.entry(key).or_default().push(of_run.value);
            }
        }
        for (key, values) in values {
            let pooled = pool(&values);
            let on_weekend = |runs| PooledWeekend { weekend: partition.weekend.clone(), day: weekend.day, runs };
            self.weekends.entry(key).or_default().extend(pooled.map(on_weekend));
        }
    }

    /// The parts by name, each with its figures over the season.
    pub fn parts(self) -> Vec<Part> {
        let mut parts: Vec<Part> = Vec::new();
        for (PartFigure { part: name, figure }, weekends) in self.weekends {
            let figure = over_season(figure, weekends);
            match parts.last_mut().filter(|part| part.name == name) {
                Some(part) => part.figures.push(figure),
                None => parts.push(Part { name, figures: vec![figure] }),
            }
        }
        parts
    }
}

fn over_season(figure: String, mut weekends: Vec<PooledWeekend>) -> OverSeason {
    weekends.sort_by_key(|weekend| weekend.day);
    let first = weekends.first().map_or(0, |weekend| weekend.day);
    let month = |day: i32| (f64::from(day) - f64::from(first)) / MONTH_DAYS;
    // Weekends on one day are one point: a slope between them would be arbitrary.
    let mut points: Vec<(f64, f64)> = Vec::new();
    for day in weekends.chunk_by(|a, b| a.day == b.day) {
        points.extend(median(day.iter().map(|weekend| weekend.runs.value)).map(|value| (month(day[0].day), value)));
    }
    let slope = theil_sen::slope(&points, LEVEL);
    let interval = slope.as_ref().and_then(|s| s.interval);
    let span = points.last().map_or(0.0, |(month, _)| *month);
    let matters = MATTERS * median(points.iter().map(|(_, value)| value.abs())).unwrap_or(0.0);
    let verdict = Verdict::from_interval(interval, span, matters);
    let why = if verdict != Verdict::CannotTell {
        None
    } else if interval.is_none() {
        Some("needs weekends on at least five different days")
    } else {
        Some("the weekends vary too much to tell a change from chance")
    };
    let on_weekend = |weekend: PooledWeekend| OnWeekend {
        weekend: weekend.weekend,
        date: day_text(weekend.day),
        month: month(weekend.day),
        runs: weekend.runs.count,
        value: weekend.runs.value,
        mean: weekend.runs.estimate,
    };
    OverSeason {
        of: figure,
        weekends: weekends.into_iter().map(on_weekend).collect(),
        per_month: slope.as_ref().map(|s| s.per_step),
        low: interval.map(|i| i.0),
        high: interval.map(|i| i.1),
        verdict,
        why: why.map(str::to_owned),
    }
}
