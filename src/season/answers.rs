//! What a season tells that no weekend does: a pack's resistance, a motor's heat and power, a car's gearing by track, what a setting did.
//!
//! One weekend is read at a time, just the columns that are asked for, and is left as one value with its interval for each figure: memory does not
//! grow with the runs. Runs of a weekend share air, track and pack, so that a season's trend counts weekends and not runs.

use std::collections::BTreeMap;
use std::path::Path;

use polars::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::schema::{FIGURES, RUNS};
use super::settings::{Change, Effect, SettingEffect, effects, setting};
use super::store::{self, Partition, ReadError};
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::statistics::quantiles::median;
use crate::statistics::random_effects::{Pooled, pool};
use crate::statistics::theil_sen;
use crate::weekend::trends::Verdict;

/// Mean length of a month, days (Gregorian year of 365.2425 days).
const MONTH_DAYS: f64 = 365.2425 / 12.0;
/// Change over the season, relative, that would matter: a trend that may hide one is no steady one. Default (common practice, no source).
pub const MATTERS: f64 = 0.15;

/// A figure on one weekend: its runs as one.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OnWeekend {
    /// The weekend's partition.
    pub weekend: String,
    /// Its day.
    pub date: String,
    /// Months since the first weekend.
    pub month: f64,
    /// Runs that have the figure.
    pub runs: usize,
    /// The runs' mean.
    pub value: f64,
    /// With its 95 % interval over the runs; `null` for a lone run whose figure has none.
    pub mean: Option<Estimate>,
}

/// A figure over the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OverSeason {
    /// The figure, its unit at the end of the name.
    pub of: String,
    /// Weekend by weekend.
    pub weekends: Vec<OnWeekend>,
    /// Change a month; `null` with fewer than three weekends.
    pub per_month: Option<f64>,
    /// Lower end of its 95 % interval; `null` with fewer than five.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// What it says.
    pub verdict: Verdict,
    /// Why there is no verdict.
    pub why: Option<String>,
}

/// A pack or a motor over the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Part {
    /// Its name on the sheets; the car's key where they name none.
    pub name: String,
    /// What is asked of it.
    pub figures: Vec<OverSeason>,
}

/// One gearing of a car on one track.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GearOnTrack {
    /// The car.
    pub car: String,
    /// The track.
    pub track: String,
    /// The ratio on the sheet.
    pub set_ratio: f64,
    /// Runs with it that have one of the figures.
    pub runs: usize,
    /// Weekends with it.
    pub weekends: usize,
    /// Realised ratio, median lap, top speed and the motor above the air at the race's end, in that order; `null` where no run has it.
    pub figures: [Option<Mean>; 4],
}

/// A mean over weekends; where there is one, over its runs.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Mean {
    /// The figure.
    pub of: String,
    /// The mean.
    pub value: f64,
    /// With its 95 % interval; `null` where it is of fewer than three values.
    pub mean: Option<Estimate>,
    /// The lowest of the values.
    pub lowest: f64,
    /// The highest.
    pub highest: f64,
}

impl Mean {
    fn new(of: &str, values: &[Uncertain]) -> Option<Self> {
        let pooled = pool(values)?;
        let all = || values.iter().map(|v| v.value);
        Some(Self {
            of: of.to_owned(),
            value: pooled.value,
            mean: pooled.estimate.filter(|_| values.len() >= LEAST_FOR_MEAN),
            lowest: all().fold(f64::INFINITY, f64::min),
            highest: all().fold(f64::NEG_INFINITY, f64::max),
        })
    }
}

/// A weekend of the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Round {
    /// Its partition.
    pub weekend: String,
    /// Its name on the sheet.
    pub name: String,
    /// Its day.
    pub date: String,
    /// Its runs, those without an answer included.
    pub runs: usize,
}

/// The answers of a season.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct Answers {
    /// Weekends by day.
    pub weekends: Vec<Round>,
    /// Packs: their resistance.
    pub packs: Vec<Part>,
    /// Motors: heat above the air, the same for each watt, mean power.
    pub motors: Vec<Part>,
    /// Gearings by car and track.
    pub gearing: Vec<GearOnTrack>,
    /// Settings.
    pub settings: Vec<SettingEffect>,
}

const OF_PACKS: [&str; 1] = ["resistance_mohm"];
const OF_MOTORS: [&str; 3] = ["motor_rise_k", "motor_rise_k_per_w", "mean_w"];
/// Figures of a gearing, in the order of [`GearOnTrack::figures`].
pub const OF_GEARS: [&str; 4] = ["realised_ratio", "median_s", "top_speed_m_s", "motor_rise_k"];
/// Fewest values from which a mean has an interval that says something: with two, Student's t is 12.7.
const LEAST_FOR_MEAN: usize = 3;

/// By name and figure: weekend by weekend, day and pooled runs.
type Series = BTreeMap<(String, String), Vec<(String, i32, Pooled)>>;

/// The answers of the data set at `root`, and the weekends of it that could not be read and are not in them.
///
/// # Errors
/// [`ReadError`] where the data set cannot be listed.
pub fn answers(root: &Path) -> Result<(Answers, Vec<ReadError>), ReadError> {
    let (mut all, mut broken) = (Answers::default(), Vec::new());
    let (mut packs, mut motors) = (Series::new(), Series::new());
    let mut gears: BTreeMap<GearKey, Vec<Geared>> = BTreeMap::new();
    let mut settings: BTreeMap<Change, Vec<Effect>> = BTreeMap::new();
    for partition in store::partitions(root)? {
        // A weekend counts whole or not at all.
        let read = figures(root, &partition).and_then(|seen| Ok((seen, effects(root, &partition)?)));
        let (seen, effects) = match read {
            Ok(read) => read,
            Err(e) => {
                broken.push(e);
                continue;
            }
        };
        all.weekends.push(seen.round.clone());
        collect(&mut packs, &partition, &seen, &OF_PACKS, |f| &f.pack);
        collect(&mut motors, &partition, &seen, &OF_MOTORS, |f| &f.motor);
        for (key, geared) in gears_of(&seen) {
            gears.entry(key).or_default().push(geared);
        }
        for (change, effect) in effects {
            settings.entry(change).or_default().push(effect);
        }
    }
    (all.packs, all.motors) = (parts(packs), parts(motors));
    all.gearing = gears.into_iter().map(gear).collect();
    all.settings = settings.into_iter().filter_map(setting).collect();
    Ok((all, broken))
}

/// A figure of a run with what the run belongs to.
struct Figure {
    run: String,
    car: Option<String>,
    track: Option<String>,
    pack: Option<String>,
    motor: Option<String>,
    set_ratio: Option<f64>,
    of: String,
    value: Uncertain,
}

/// The figures of one weekend.
struct Seen {
    day: i32,
    round: Round,
    figures: Vec<Figure>,
}

/// The figures that a season asks for, of one weekend, each with what its run belongs to.
fn figures(root: &Path, partition: &Partition) -> Result<Seen, ReadError> {
    const RUN: [&str; 9] = ["date", "name", "run", "car", "track", "motor", "pack", "set_ratio", "gearing"];
    const FIGURE: [&str; 5] = ["run", "of", "value", "low", "high"];
    let runs = store::read(root, partition, &RUNS, &RUN)?;
    let figures = store::read(root, partition, &FIGURES, &FIGURE)?;
    let asked = OF_PACKS.iter().chain(&OF_MOTORS).chain(&OF_GEARS);
    let asked = asked.map(|of| col("of").eq(lit(*of))).reduce(|a, b| a.or(b)).unwrap_or_else(|| lit(false));
    let broken = |e: PolarsError| ReadError::of(root, partition, &FIGURES, &e);
    let (day, round) = round(partition, &runs).map_err(broken)?;
    let joined = figures
        .lazy()
        .filter(asked.and(col("value").is_not_null()))
        .join(runs.lazy(), [col("run")], [col("run")], JoinArgs::new(JoinType::Inner))
        .with_columns([
            // A car that was not geared as its sheet says stands for no gearing on it.
            when(col("gearing").eq(lit("differs"))).then(lit(NULL)).otherwise(col("set_ratio")).alias("set_ratio"),
            ((col("high") - col("low")) / lit(2.0 * COVERAGE_95)).fill_null(lit(0.0)).alias("doubt"),
        ])
        .collect();
    let figures = joined.and_then(|f| rows_of(&f)).map_err(broken)?;
    Ok(Seen { day, round, figures })
}

/// The weekend's day and what its runs say of it.
fn round(partition: &Partition, runs: &DataFrame) -> PolarsResult<(i32, Round)> {
    let day = runs.column("date")?.i32()?.iter().next().flatten().unwrap_or(0);
    let name = runs.column("name")?.str()?.iter().next().flatten().unwrap_or(&partition.weekend).to_owned();
    Ok((day, Round { weekend: partition.weekend.clone(), name, date: date(day), runs: runs.height() }))
}

fn rows_of(frame: &DataFrame) -> PolarsResult<Vec<Figure>> {
    let text = |name: &str| frame.column(name)?.str();
    let number = |name: &str| frame.column(name)?.f64();
    let (run, car, track, pack, motor) = (text("run")?, text("car")?, text("track")?, text("pack")?, text("motor")?);
    let (of, ratio, value, doubt) = (text("of")?, number("set_ratio")?, number("value")?, number("doubt")?);
    let own = |column: &StringChunked, at: usize| column.get(at).filter(|t| !t.is_empty()).map(str::to_owned);
    let row = |at: usize| {
        Some(Figure {
            run: own(run, at)?,
            car: own(car, at),
            track: own(track, at),
            pack: own(pack, at),
            motor: own(motor, at),
            set_ratio: ratio.get(at),
            of: own(of, at)?,
            value: Uncertain::new(value.get(at)?, doubt.get(at).unwrap_or(0.0)),
        })
    };
    Ok((0..frame.height()).filter_map(row).collect())
}

/// Adds what a weekend says of packs, or of motors.
fn collect(into: &mut Series, at: &Partition, seen: &Seen, of: &[&str], part: fn(&Figure) -> &Option<String>) {
    let mut values: BTreeMap<(String, String), Vec<Uncertain>> = BTreeMap::new();
    for figure in seen.figures.iter().filter(|f| of.contains(&f.of.as_str())) {
        if let Some(name) = part(figure) {
            values.entry((name.clone(), figure.of.clone())).or_default().push(figure.value);
        }
    }
    for (key, values) in values {
        let pooled = pool(&values).map(|p| (at.weekend.clone(), seen.day, p));
        into.entry(key).or_default().extend(pooled);
    }
}

/// Parts by name, each with its figures.
fn parts(series: Series) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    for ((name, of), weekends) in series {
        let figure = over_season(of, weekends);
        match parts.last_mut().filter(|p| p.name == name) {
            Some(part) => part.figures.push(figure),
            None => parts.push(Part { name, figures: vec![figure] }),
        }
    }
    parts
}

fn over_season(of: String, mut weekends: Vec<(String, i32, Pooled)>) -> OverSeason {
    weekends.sort_by_key(|w| w.1);
    let first = weekends.first().map_or(0, |w| w.1);
    let place = |day: i32| (f64::from(day) - f64::from(first)) / MONTH_DAYS;
    // Two weekends of one day have one place: a slope between them would be any.
    let mut points: Vec<(f64, f64)> = Vec::new();
    for day in weekends.chunk_by(|a, b| a.1 == b.1) {
        points.extend(median(day.iter().map(|w| w.2.value)).map(|v| (place(day[0].1), v)));
    }
    let slope = theil_sen::slope(&points, 0.95);
    let interval = slope.as_ref().and_then(|s| s.interval);
    let span = points.last().map_or(0.0, |p| p.0);
    let matters = MATTERS * median(points.iter().map(|p| p.1.abs())).unwrap_or(0.0);
    let verdict = Verdict::from_interval(interval, span, matters);
    let why = match verdict {
        Verdict::CannotTell if interval.is_none() => {
            Some("it takes weekends on five days at least to tell a trend from chance")
        }
        Verdict::CannotTell => Some("the weekends scatter too much to rule out a change that would matter"),
        _ => None,
    };
    let on = |(weekend, day, p): (String, i32, Pooled)| OnWeekend {
        weekend,
        date: date(day),
        month: place(day),
        runs: p.count,
        value: p.value,
        mean: p.estimate,
    };
    OverSeason {
        of,
        weekends: weekends.into_iter().map(on).collect(),
        per_month: slope.as_ref().map(|s| s.per_step),
        low: interval.map(|i| i.0),
        high: interval.map(|i| i.1),
        verdict,
        why: why.map(str::to_owned),
    }
}

fn date(day: i32) -> String {
    let from = jiff::civil::date(1970, 1, 1);
    let span = jiff::Span::new().try_days(day);
    span.and_then(|s| from.checked_add(s)).map_or_else(|_| String::new(), |d| d.to_string())
}

/// Car, track, and the set ratio in steps of a thousandth.
type GearKey = (String, String, i64);

/// A gearing on one weekend: its runs, and each figure's values.
#[derive(Default)]
struct Geared {
    runs: Vec<String>,
    values: [Vec<Uncertain>; 4],
}

/// The gearings of one weekend.
fn gears_of(seen: &Seen) -> BTreeMap<GearKey, Geared> {
    let mut gears: BTreeMap<GearKey, Geared> = BTreeMap::new();
    for f in &seen.figures {
        let (Some(car), Some(track), Some(ratio)) = (&f.car, &f.track, f.set_ratio) else { continue };
        let Some(at) = OF_GEARS.iter().position(|of| *of == f.of) else { continue };
        let gear = gears.entry((car.clone(), track.clone(), (1000.0 * ratio).round() as i64)).or_default();
        gear.values[at].push(f.value);
        if !gear.runs.contains(&f.run) {
            gear.runs.push(f.run.clone());
        }
    }
    gears
}

fn gear(((car, track, ratio), weekends): (GearKey, Vec<Geared>)) -> GearOnTrack {
    let mean = |at: usize| {
        let seen: Vec<&Vec<Uncertain>> = weekends.iter().map(|w| &w.values[at]).filter(|v| !v.is_empty()).collect();
        match seen.as_slice() {
            [alone] => Mean::new(OF_GEARS[at], alone),
            // Runs of a weekend are one value: the next weekend's counts as much.
            several => {
                let means = several.iter().filter_map(|v| pool(v)).map(|p| Uncertain::new(p.value, 0.0));
                Mean::new(OF_GEARS[at], &means.collect::<Vec<_>>())
            }
        }
    };
    let runs = weekends.iter().map(|w| w.runs.len()).sum();
    let figures = [0, 1, 2, 3].map(mean);
    GearOnTrack { car, track, set_ratio: ratio as f64 / 1000.0, runs, weekends: weekends.len(), figures }
}
