//! The figures of one weekend's runs, each with the car, track, pack and motor that the run had.

use std::path::Path;

use polars::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::partition::Partition;
use super::schema;
use super::store::{self, ReadError, day_text};
use crate::figure::FIGURES;
use crate::quantity::{COVERAGE_95, Uncertain};

/// A weekend of the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Round {
    /// Its partition.
    pub weekend: String,
    /// Its name on the sheet.
    pub name: String,
    /// Its day.
    pub date: String,
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
    const OF_RUNS: [&str; 9] = ["date", "name", "run", "car", "track", "motor", "pack", "set_ratio", "gearing"];
    const OF_FIGURES: [&str; 5] = ["run", "of", "value", "low", "high"];
    let runs = store::read(root, partition, &schema::runs(FIGURES), &OF_RUNS)?;
    let figures = store::read(root, partition, &schema::figures(), &OF_FIGURES)?;
    let error = |e: PolarsError| ReadError::from_polars(root, partition, schema::FIGURES, &e);
    let (day, round) = round(partition, &runs).map_err(error)?;
    let is_asked = asked.map(|key| col("of").eq(lit(key.to_owned()))).reduce(|a, b| a.or(b));
    let geared_otherwise = col("gearing").eq(lit("differs"));
    let joined = figures
        .lazy()
        .filter(is_asked.unwrap_or_else(|| lit(false)).and(col("value").is_not_null()))
        .join(runs.lazy(), [col("run")], [col("run")], JoinArgs::new(JoinType::Inner))
        .with_columns([
            when(geared_otherwise).then(lit(NULL)).otherwise(col("set_ratio")).alias("set_ratio"),
            ((col("high") - col("low")) / lit(2.0 * COVERAGE_95)).fill_null(lit(0.0)).alias("standard_u"),
        ])
        .collect();
    let figures = joined.and_then(|table| figures_of_runs(&table)).map_err(error)?;
    Ok(WeekendFigures { day, round, figures })
}

/// The weekend's day, and what its runs say about it.
fn round(partition: &Partition, runs: &DataFrame) -> PolarsResult<(i32, Round)> {
    let day = runs.column("date")?.i32()?.iter().next().flatten().unwrap_or(0);
    let name = runs.column("name")?.str()?.iter().next().flatten().unwrap_or(&partition.weekend).to_owned();
    Ok((day, Round { weekend: partition.weekend.clone(), name, date: day_text(day), runs: runs.height() }))
}

fn figures_of_runs(table: &DataFrame) -> PolarsResult<Vec<FigureOfRun>> {
    let text = |name: &str| table.column(name)?.str();
    let number = |name: &str| table.column(name)?.f64();
    let (run, car, track, pack, motor) = (text("run")?, text("car")?, text("track")?, text("pack")?, text("motor")?);
    let (key, set_ratio, value, standard_u) =
        (text("of")?, number("set_ratio")?, number("value")?, number("standard_u")?);
    let cell = |column: &StringChunked, row: usize| column.get(row).filter(|t| !t.is_empty()).map(str::to_owned);
    let figure = |row: usize| {
        Some(FigureOfRun {
            run: cell(run, row)?,
            car: cell(car, row),
            track: cell(track, row),
            pack: cell(pack, row),
            motor: cell(motor, row),
            set_ratio: set_ratio.get(row),
            figure: cell(key, row)?,
            value: Uncertain::new(value.get(row)?, standard_u.get(row).unwrap_or(0.0)),
        })
    };
    Ok((0..table.height()).filter_map(figure).collect())
}
