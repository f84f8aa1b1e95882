//! The season's tables: names, columns, units, what they mean and where they come from; one place for the writer, the
//! reader, `--schema` and the documentation.

use jiff::civil::Date;
use serde::{Serialize, Serializer};

use super::rows::{EffectRow, EventRow, FigureRow, KeyRow, RowOfRun, RunRow};
use crate::figure::{self, Figure};
use crate::review_file::stored::StoredLap;

/// Name and version of the data set. Columns may be added, never renamed, and keep their type and unit.
pub const FORMAT: &str = "runtrue season 1";
/// Name and version of `season.json`. Fields may be added, never renamed.
pub const ANSWERS_FORMAT: &str = "runtrue season answers 1";
/// Key of the metadata of a weekend's runs under which its logs stand, whatever the weekend is called.
pub const LOGS: &str = "logs";
/// Key beside it, of a number that stands for the folder that the weekend came from.
pub const FOLDER: &str = "folder";

/// Name of the table of runs, and of its folder; so for the others.
pub const RUNS: &str = "runs";
/// The table of laps.
pub const LAPS: &str = "laps";
/// The table of events.
pub const EVENTS: &str = "events";
/// The table of figures.
pub const FIGURES: &str = "figures";
/// The table of settings.
pub const KEYS: &str = "keys";
/// The table of effects.
pub const EFFECTS: &str = "effects";
/// All tables.
pub const TABLE_NAMES: [&str; 6] = [RUNS, LAPS, EVENTS, FIGURES, KEYS, EFFECTS];

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// UTF-8 text.
    Text,
    /// 64-bit floating point.
    Number,
    /// 32-bit signed whole number: every engine reads it as what it is.
    Whole,
    /// A day.
    Date,
}

/// Where a column's cells come from, by what they hold: from a row to its cell, `None` where the row has none.
pub enum Cells<R> {
    /// Text.
    Text(fn(&R) -> Option<&str>),
    /// Numbers.
    Number(fn(&R) -> Option<f64>),
    /// Whole numbers.
    Whole(fn(&R) -> Option<i32>),
    /// Days.
    Date(fn(&R) -> Date),
    /// The figure with this column.
    Figure(&'static str, fn(&R, &str) -> Option<f64>),
}

impl<R> Cells<R> {
    /// What the cells hold.
    pub fn kind(&self) -> Kind {
        match self {
            Cells::Text(_) => Kind::Text,
            Cells::Number(_) | Cells::Figure(..) => Kind::Number,
            Cells::Whole(_) => Kind::Whole,
            Cells::Date(_) => Kind::Date,
        }
    }
}

impl<R> Serialize for Cells<R> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.kind().serialize(serializer)
    }
}

/// A column of a table whose rows are `R`.
#[derive(Serialize)]
#[serde(bound = "")]
pub struct Column<R> {
    /// Its name.
    pub name: &'static str,
    /// What it holds, and where that comes from.
    #[serde(rename = "kind")]
    pub cells: Cells<R>,
    /// Unit of its numbers, spelled as in the logs; empty without one.
    pub unit: &'static str,
    /// What it means.
    pub about: &'static str,
}

/// A table whose rows are `R`.
#[derive(Serialize)]
#[serde(bound = "")]
pub struct Table<R> {
    /// Its name, and its folder's.
    pub name: &'static str,
    /// What a row is.
    pub row: &'static str,
    /// Its columns, without those of the partition: `year` and `weekend`.
    pub columns: Vec<Column<R>>,
}

fn text<R>(name: &'static str, cell: fn(&R) -> Option<&str>, about: &'static str) -> Column<R> {
    Column { name, cells: Cells::Text(cell), unit: "", about }
}

fn number<R>(name: &'static str, unit: &'static str, cell: fn(&R) -> Option<f64>, about: &'static str) -> Column<R> {
    Column { name, cells: Cells::Number(cell), unit, about }
}

fn whole<R>(name: &'static str, cell: fn(&R) -> Option<i32>, about: &'static str) -> Column<R> {
    Column { name, cells: Cells::Whole(cell), unit: "", about }
}

fn date<R>(cell: fn(&R) -> Date) -> Column<R> {
    Column { name: "date", cells: Cells::Date(cell), unit: "", about: "day of the weekend, from its sheet" }
}

fn run<R>(cell: fn(&R) -> Option<&str>) -> Column<R> {
    text("run", cell, "id of the run on its weekend")
}

fn car<R>(cell: fn(&R) -> Option<&str>) -> Column<R> {
    text("car", cell, "key of the car on the sheet")
}

/// One row a run, with every figure of `catalogue` by its column.
pub fn runs(catalogue: &'static [Figure]) -> Table<RunRow> {
    let mut columns: Vec<Column<RunRow>> = vec![
        date(|r| r.date),
        text("name", |r| Some(&r.name), "the weekend's name on its sheet"),
        text("track", |r| Some(&r.track), "the track's name on the sheet; without one, the weekend's name"),
        text("surface", |r| r.surface.as_deref(), "the track's surface on the sheet"),
        text("page", |r| r.page.as_deref(), "the weekend's page, as a path from the data set's folder"),
        whole("position", |r| Some(r.position), "place of the run in its weekend, from 1"),
        run(|r| r.run.id.as_deref()),
        car(|r| r.run.car.as_deref()),
        text("motor", |r| r.motor.as_deref(), "`motor.name` on the sheet; without one, the car's key"),
        text("pack", |r| r.pack.as_deref(), "`battery.name` on the sheet; without one, the car's key"),
        text("error", |r| r.run.error.as_ref()?.message.as_deref(), "why the run could not be reviewed"),
        number("ambient_c", "°C", |r| r.run.ambient_c, "air temperature"),
        whole("laps_counted", |r| r.laps_counted, "number of laps that count"),
        text("gearing", |r| r.run.gearing.as_ref()?.verdict.as_deref(), "verdict on the gearing"),
        text("motor_verdict", |r| r.run.heat.as_ref()?.motor.verdict.as_deref(), "verdict on the motor's temperature"),
        text(
            "controller_verdict",
            |r| r.run.heat.as_ref()?.controller.verdict.as_deref(),
            "verdict on the controller's temperature",
        ),
        text("battery_verdict", |r| r.run.battery.as_ref()?.verdict.as_deref(), "verdict on the battery"),
    ];
    columns.extend(catalogue.iter().map(|figure| Column {
        name: figure.column,
        cells: Cells::Figure(figure.column, RunRow::figure),
        unit: figure.unit,
        about: figure.about,
    }));
    Table { name: RUNS, row: "a run, also one that could not be reviewed", columns }
}

/// One row a lap.
pub fn laps() -> Table<RowOfRun<StoredLap>> {
    let columns: Vec<Column<RowOfRun<StoredLap>>> = vec![
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        whole("lap", |r| r.row.lap, "number of the lap, from 1"),
        number("start_s", "s", |r| r.row.start_s, "start, in the log's time"),
        number("end_s", "s", |r| r.row.end_s, "end, in the log's time"),
        number("time_s", "s", |r| r.row.time_s, "lap time"),
        number("revs", "1", |r| r.row.revs, "motor turns over the lap"),
        text("set_aside", |r| r.row.set_aside.as_deref(), "why the lap does not count; null where it counts"),
    ];
    Table { name: LAPS, row: "a lap", columns }
}

/// One row an event.
pub fn events() -> Table<RowOfRun<EventRow>> {
    let columns: Vec<Column<RowOfRun<EventRow>>> = vec![
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        text("kind", |r| Some(r.row.kind), "`wheelspin`"),
        whole("lap", |r| r.row.event.lap, "lap it happened in; null before the first lap and after the last"),
        number("start_s", "s", |r| r.row.event.start_s, "start, in the log's time"),
        number("end_s", "s", |r| r.row.event.end_s, "end, in the log's time"),
        number(
            "lap_fraction",
            "1",
            |r| r.row.event.lap_fraction,
            "where on the lap it starts, as a share of its distance",
        ),
        number("peak_slip", "1", |r| r.row.event.peak_slip, "highest driving slip in it"),
    ];
    Table { name: EVENTS, row: "something that happened at a time: wheelspin", columns }
}

/// One row a figure with its interval.
pub fn figures() -> Table<RowOfRun<FigureRow>> {
    let columns: Vec<Column<RowOfRun<FigureRow>>> = vec![
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        text("of", |r| Some(r.row.column), "which figure it is, with its unit at the end of the name"),
        text("unit", |r| Some(r.row.unit), "unit of the three numbers"),
        number("value", "", |r| r.row.estimate.value, "the figure"),
        number("low", "", |r| r.row.estimate.low, "lower end of its 95 % interval; null where it has none"),
        number("high", "", |r| r.row.estimate.high, "upper end of its 95 % interval; null where it has none"),
    ];
    Table { name: FIGURES, row: "a figure of a run with its 95 % interval", columns }
}

/// One row a key of the sheet and run.
pub fn keys() -> Table<RowOfRun<KeyRow>> {
    let columns: Vec<Column<RowOfRun<KeyRow>>> = vec![
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        text("key", |r| Some(&r.row.key), "dotted key, such as `motor.timing_deg`"),
        number("number", "", |r| r.row.number(), "its value where it is a number, in the unit that the key names"),
        text("text", |r| Some(&r.row.text), "its value as text, whatever it is"),
    ];
    Table { name: KEYS, row: "a setting of the sheet for a run", columns }
}

/// One row an effect of a changed key on a weekend.
pub fn effects() -> Table<EffectRow> {
    let columns: Vec<Column<EffectRow>> = vec![
        date(|r| r.date),
        car(|r| r.car.as_deref()),
        text("key", |r| r.key.as_deref(), "the key of the setting that changed"),
        text("from", |r| r.from.as_deref(), "its first value on the weekend; null where it was not set"),
        text("to", |r| r.to.as_deref(), "its other value; null where it was not set"),
        text("of", |r| r.figure.as_deref(), "which figure it is, with its unit at the end of the name"),
        number(
            "difference",
            "",
            |r| r.difference.value,
            "change of the figure from the first value to the other, other changed settings taken out",
        ),
        number("low", "", |r| r.difference.low, "lower end of its 95 % interval"),
        number("high", "", |r| r.difference.high, "upper end of its 95 % interval"),
        text(
            "together_with",
            |r| r.together_with.as_deref(),
            "keys that changed in the same runs, separated by commas; null where none did",
        ),
    ];
    Table { name: EFFECTS, row: "what a changed setting did to a figure on one weekend", columns }
}

/// All tables, as [`Schema`] prints them.
type Tables = (
    Table<RunRow>,
    Table<RowOfRun<StoredLap>>,
    Table<RowOfRun<EventRow>>,
    Table<RowOfRun<FigureRow>>,
    Table<RowOfRun<KeyRow>>,
    Table<EffectRow>,
);

/// The schema as `runtrue season --schema` prints it.
#[derive(Serialize)]
pub struct Schema {
    /// Name and version.
    pub format: &'static str,
    /// Columns that stand in the folders' names.
    pub partitions: [&'static str; 2],
    /// The tables.
    pub tables: Tables,
}

/// The schema.
pub fn schema() -> Schema {
    let tables = (runs(figure::FIGURES), laps(), events(), figures(), keys(), effects());
    Schema { format: FORMAT, partitions: ["year", "weekend"], tables }
}
