//! The figures of one weekend's runs, each with the car, track, pack and motor that the run had.

use std::path::Path;

use polars::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::page_link::linked_page;
use super::partition::Partition;
use super::schema;
use super::store::{self, ReadError, day_text};
use crate::figure::FIGURES;
use crate::quantity::{COVERAGE_95, Uncertain};

/// How the `runs` table has a car that was not geared as its sheet says.
const GEARED_OTHERWISE: &str = "differs";

/// A weekend of the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Round {
    /// Its partition.
    pub weekend: String,
    /// Its name on the sheet.
    pub name: String,
    /// Its day.
    pub date: String,
    /// Its page, from the data set's folder, names between `/`; none where there is no such file.
    pub page: Option<String>,
    /// Number of its runs, including those that could not be reviewed.
    pub runs: usize,
}

/// A figure of a run.
pub(super) struct FigureOfRun {
    pub run: String,
    pub car: Option<String>,
    pub track: Option<String>,
    pub pack: Option<String>,
    pub motor: Option<String>,
    /// `None` where the car was not geared as its sheet says: such a run tells nothing about that gearing.
    pub set_ratio: Option<f64>,
    /// Key of the figure.
    pub figure: String,
    pub value: Uncertain,
}

/// The figures of one weekend.
pub(super) struct WeekendFigures {
    /// Days from 1970-01-01.
    pub day: i32,
    pub round: Round,
    pub figures: Vec<FigureOfRun>,
}

/// Reads the figures called `asked` of one weekend: nothing else of its tables is read.
pub(super) fn read<'a>(
    root: &Path,
    partition: &Partition,
    asked: impl Iterator<Item = &'a str>,
) -> Result<WeekendFigures, ReadError> {
    const OF_RUNS: [&str; 10] =
        ["date", "name", "page", "run", "car", "track", "motor", "pack", "set_ratio", "gearing"];
    const OF_FIGURES: [&str; 5] = ["run", "of", "value", "low", "high"];
    let runs = store::read(root, partition, &schema::runs(FIGURES), &OF_RUNS)?;
    let figures = store::read(root, partition, &schema::figures(), &OF_FIGURES)?;
    let error = |e: PolarsError| ReadError::from_polars(root, partition, schema::FIGURES, &e);
    let (day, round) = round(root, partition, &runs).map_err(error)?;
    let joined = figures_asked(&figures, asked).and_then(|asked| asked.inner_join(&runs, ["run"], ["run"]));
    let figures = joined.and_then(|table| figures_of_runs(&table)).map_err(error)?;
    Ok(WeekendFigures { day, round, figures })
}

/// The rows of these figures that have a value.
fn figures_asked<'a>(figures: &DataFrame, asked: impl Iterator<Item = &'a str>) -> PolarsResult<DataFrame> {
    let asked: Vec<&str> = asked.collect();
    let keys = figures.column("of")?.str()?;
    let is_asked: BooleanChunked = keys.iter().map(|key| key.is_some_and(|key| asked.contains(&key))).collect();
    figures.filter(&(is_asked & figures.column("value")?.is_not_null()))
}

/// The weekend's day, and what its runs say about it.
fn round(root: &Path, partition: &Partition, runs: &DataFrame) -> PolarsResult<(i32, Round)> {
    let day = runs.column("date")?.i32()?.iter().next().flatten().unwrap_or(0);
    let name = runs.column("name")?.str()?.iter().next().flatten().unwrap_or(&partition.weekend).to_owned();
    let page = runs.column("page")?.str()?.iter().next().flatten();
    let page = page.filter(|link| linked_page(root, link).is_file()).map(str::to_owned);
    Ok((day, Round { weekend: partition.weekend.clone(), name, date: day_text(day), page, runs: runs.height() }))
}

fn figures_of_runs(table: &DataFrame) -> PolarsResult<Vec<FigureOfRun>> {
    let text = |name: &str| table.column(name)?.str();
    let number = |name: &str| table.column(name)?.f64();
    let (run, car, track, pack, motor) = (text("run")?, text("car")?, text("track")?, text("pack")?, text("motor")?);
    let (key, gearing, set_ratio) = (text("of")?, text("gearing")?, number("set_ratio")?);
    let (value, low, high) = (number("value")?, number("low")?, number("high")?);
    let cell = |column: &StringChunked, row: usize| column.get(row).filter(|t| !t.is_empty()).map(str::to_owned);
    let half_width = |row: usize| Some((high.get(row)? - low.get(row)?) / 2.0);
    let figure = |row: usize| {
        Some(FigureOfRun {
            run: cell(run, row)?,
            car: cell(car, row),
            track: cell(track, row),
            pack: cell(pack, row),
            motor: cell(motor, row),
            set_ratio: set_ratio.get(row).filter(|_| gearing.get(row) != Some(GEARED_OTHERWISE)),
            figure: cell(key, row)?,
            value: Uncertain::new(value.get(row)?, half_width(row).unwrap_or(0.0) / COVERAGE_95),
        })
    };
    Ok((0..table.height()).filter_map(figure).collect())
}
