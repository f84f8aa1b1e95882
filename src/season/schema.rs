//! The season's tables: names, columns, units, what they mean and where they come from; one place for the writer, the
//! reader, `--schema` and the documentation.

use jiff::civil::Date;
use serde::{Serialize, Serializer};

use super::rows::{EffectRow, EventRow, FigureRow, KeyRow, RowOfRun, RunRow};
use crate::review_file::stored::{
    StoredBattery, StoredEstimate, StoredGearing, StoredLap, StoredPartHeat, StoredPower, StoredWheelspin,
};

/// Name and version of the data set. Columns may be added, never renamed, and keep their type and unit.
pub const FORMAT: &str = "runtrue season 1";
/// Name and version of `season.json`. Fields may be added, never renamed.
pub const ANSWERS_FORMAT: &str = "runtrue season answers 1";
/// Key of the metadata of a weekend's runs under which its logs stand, whatever the weekend is called.
pub const LOGS: &str = "logs";
/// Key beside it, of a number that stands for the folder that the weekend came from.
pub const FOLDER: &str = "folder";

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
}

impl<R> Cells<R> {
    /// What the cells hold.
    pub fn kind(&self) -> Kind {
        match self {
            Cells::Text(_) => Kind::Text,
            Cells::Number(_) => Kind::Number,
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
pub struct Table<R: 'static> {
    /// Its name, and its folder's.
    pub name: &'static str,
    /// What a row is.
    pub row: &'static str,
    /// Its columns, without those of the partition: `year` and `weekend`.
    pub columns: &'static [Column<R>],
}

const fn text<R>(name: &'static str, cell: fn(&R) -> Option<&str>, about: &'static str) -> Column<R> {
    Column { name, cells: Cells::Text(cell), unit: "", about }
}

const fn number<R>(
    name: &'static str,
    unit: &'static str,
    cell: fn(&R) -> Option<f64>,
    about: &'static str,
) -> Column<R> {
    Column { name, cells: Cells::Number(cell), unit, about }
}

const fn whole<R>(name: &'static str, cell: fn(&R) -> Option<i32>, about: &'static str) -> Column<R> {
    Column { name, cells: Cells::Whole(cell), unit: "", about }
}

const fn date<R>(cell: fn(&R) -> Date) -> Column<R> {
    Column { name: "date", cells: Cells::Date(cell), unit: "", about: "day of the weekend, from its sheet" }
}

const fn run<R>(cell: fn(&R) -> Option<&str>) -> Column<R> {
    text("run", cell, "id of the run on its weekend")
}

const fn car<R>(cell: fn(&R) -> Option<&str>) -> Column<R> {
    text("car", cell, "key of the car on the sheet")
}

/// The part of a run's review about its gearing, where it has one; so for the other parts.
fn gearing(row: &RunRow) -> Option<&StoredGearing> {
    row.run.gearing.as_ref()
}

fn wheelspin(row: &RunRow) -> Option<&StoredWheelspin> {
    row.run.wheelspin.as_ref()
}

fn motor(row: &RunRow) -> Option<&StoredPartHeat> {
    row.run.heat.as_ref().map(|heat| &heat.motor)
}

fn controller(row: &RunRow) -> Option<&StoredPartHeat> {
    row.run.heat.as_ref().map(|heat| &heat.controller)
}

fn battery(row: &RunRow) -> Option<&StoredBattery> {
    row.run.battery.as_ref()
}

fn power(row: &RunRow) -> Option<&StoredPower> {
    row.run.power.as_ref()
}

/// One row a run.
pub const RUNS: Table<RunRow> = Table {
    name: "runs",
    row: "a run, also one that could not be reviewed",
    columns: &[
        date(|r| r.date),
        text("name", |r| Some(&r.name), "the weekend's name on its sheet"),
        text("track", |r| Some(&r.track), "the track's name on the sheet; without one, the weekend's name"),
        text("surface", |r| r.surface.as_deref(), "the track's surface on the sheet"),
        whole("position", |r| Some(r.position), "place of the run in its weekend, from 1"),
        run(|r| r.run.id.as_deref()),
        car(|r| r.run.car.as_deref()),
        text("motor", |r| r.motor.as_deref(), "`motor.name` on the sheet; without one, the car's key"),
        text("pack", |r| r.pack.as_deref(), "`battery.name` on the sheet; without one, the car's key"),
        text("error", |r| r.run.error.as_ref()?.message.as_deref(), "why the run could not be reviewed"),
        number("ambient_c", "°C", |r| r.run.ambient_c, "air temperature"),
        whole("laps_counted", |r| r.laps_counted, "number of laps that count"),
        number("best_s", "s", |r| r.run.laps.as_ref()?.best_s, "best of the laps that count"),
        number("median_s", "s", |r| r.run.laps.as_ref()?.median_s, "median of the laps that count"),
        number("set_ratio", "1", |r| gearing(r)?.set_ratio, "motor turns per wheel turn, from the sheet"),
        number("realised_ratio", "1", |r| gearing(r)?.realised_ratio?.value, "motor turns per wheel turn, as driven"),
        text("gearing", |r| gearing(r)?.verdict.as_deref(), "verdict on the gearing"),
        number("top_speed_m_s", "m/s", |r| power(r)?.top_speed_m_s, "highest speed of the car"),
        number("top_rpm", "1/min", |r| power(r)?.top_rpm, "highest motor revs"),
        number("mean_w", "W", |r| power(r)?.mean_w, "mean electrical power over the laps that count"),
        number("peak_w", "W", |r| power(r)?.peak_w, "highest electrical power"),
        number("motor_peak_c", "°C", |r| motor(r)?.peak_c, "highest motor temperature"),
        number("motor_race_end_c", "°C", |r| motor(r)?.race_end_c?.value, "motor temperature at the end of the race"),
        text("motor_verdict", |r| motor(r)?.verdict.as_deref(), "verdict on the motor's temperature"),
        number("controller_peak_c", "°C", |r| controller(r)?.peak_c, "highest controller temperature"),
        number(
            "controller_race_end_c",
            "°C",
            |r| controller(r)?.race_end_c?.value,
            "controller temperature at the end of the race",
        ),
        text("controller_verdict", |r| controller(r)?.verdict.as_deref(), "verdict on the controller's temperature"),
        number("resistance_mohm", "mΩ", |r| battery(r)?.resistance_mohm?.value, "ohmic resistance of the pack"),
        number("lowest_cell_v", "V", |r| battery(r)?.lowest_cell_v, "lowest cell voltage"),
        number("used_mah", "mAh", |r| battery(r)?.used_mah, "charge used in the run"),
        number("used_wh", "Wh", |r| battery(r)?.used_wh, "energy used in the run"),
        text("battery_verdict", |r| battery(r)?.verdict.as_deref(), "verdict on the battery"),
        number("wheelspin_s", "s", |r| wheelspin(r)?.seconds, "time with wheelspin"),
        number("wheelspin_share", "1", |r| wheelspin(r)?.share, "share of the lap time with wheelspin"),
    ],
};

/// One row a lap.
pub const LAPS: Table<RowOfRun<StoredLap>> = Table {
    name: "laps",
    row: "a lap",
    columns: &[
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        whole("lap", |r| r.row.lap, "number of the lap, from 1"),
        number("start_s", "s", |r| r.row.start_s, "start, in the log's time"),
        number("end_s", "s", |r| r.row.end_s, "end, in the log's time"),
        number("time_s", "s", |r| r.row.time_s, "lap time"),
        number("revs", "1", |r| r.row.revs, "motor turns over the lap"),
        text("set_aside", |r| r.row.set_aside.as_deref(), "why the lap does not count; null where it counts"),
    ],
};

/// One row an event.
pub const EVENTS: Table<RowOfRun<EventRow>> = Table {
    name: "events",
    row: "something that happened at a time: wheelspin",
    columns: &[
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
    ],
};

/// One row a figure with its interval.
pub const FIGURES: Table<RowOfRun<FigureRow>> = Table {
    name: "figures",
    row: "a figure of a run with its 95 % interval",
    columns: &[
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        text("of", |r| Some(r.row.key), "which figure it is, with its unit at the end of the name"),
        text("unit", |r| Some(r.row.unit), "unit of the three numbers"),
        number("value", "", |r| r.row.estimate.value, "the figure"),
        number("low", "", |r| r.row.estimate.low, "lower end of its 95 % interval; null where it has none"),
        number("high", "", |r| r.row.estimate.high, "upper end of its 95 % interval; null where it has none"),
    ],
};

/// One row a key of the sheet and run.
pub const KEYS: Table<RowOfRun<KeyRow>> = Table {
    name: "keys",
    row: "a setting of the sheet for a run",
    columns: &[
        date(|r| r.date),
        run(|r| r.run.as_deref()),
        car(|r| r.car.as_deref()),
        text("key", |r| Some(&r.row.key), "dotted key, such as `motor.timing_deg`"),
        number("number", "", |r| r.row.number(), "its value where it is a number, in the unit that the key names"),
        text("text", |r| Some(&r.row.text), "its value as text, whatever it is"),
    ],
};

/// One row an effect of a changed key on a weekend.
pub const EFFECTS: Table<EffectRow> = Table {
    name: "effects",
    row: "what a changed setting did to a figure on one weekend",
    columns: &[
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
    ],
};

/// Names of all tables, in the order of [`Schema::tables`].
pub const TABLE_NAMES: [&str; 6] = [RUNS.name, LAPS.name, EVENTS.name, FIGURES.name, KEYS.name, EFFECTS.name];

/// A figure of a run in the table [`FIGURES`].
pub struct RunFigure {
    /// Its key, with its unit at the end.
    pub key: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// It and its interval; `None` where the run has it not.
    pub read: fn(&RunRow) -> Option<StoredEstimate>,
}

/// A number without an interval.
fn exact(value: Option<f64>) -> Option<StoredEstimate> {
    value.map(|value| StoredEstimate { value: Some(value), low: None, high: None })
}

const fn figure(key: &'static str, unit: &'static str, read: fn(&RunRow) -> Option<StoredEstimate>) -> RunFigure {
    RunFigure { key, unit, read }
}

/// The figures of a run.
pub const FIGURES_OF_A_RUN: [RunFigure; 22] = [
    figure("realised_ratio", "1", |r| gearing(r)?.realised_ratio),
    figure("realised_rollout_mm", "mm", |r| gearing(r)?.realised_rollout_mm),
    figure("set_ratio", "1", |r| exact(gearing(r)?.set_ratio)),
    figure("best_s", "s", |r| exact(r.run.laps.as_ref()?.best_s)),
    figure("median_s", "s", |r| exact(r.run.laps.as_ref()?.median_s)),
    figure("motor_peak_c", "°C", |r| exact(motor(r)?.peak_c)),
    figure("motor_race_end_c", "°C", |r| motor(r)?.race_end_c),
    figure("controller_peak_c", "°C", |r| exact(controller(r)?.peak_c)),
    figure("controller_race_end_c", "°C", |r| controller(r)?.race_end_c),
    figure("motor_rise_k", "K", RunRow::motor_rise),
    figure("motor_rise_k_per_w", "K/W", RunRow::motor_rise_per_watt),
    figure("resistance_mohm", "mΩ", |r| battery(r)?.resistance_mohm),
    figure("lowest_cell_v", "V", |r| exact(battery(r)?.lowest_cell_v)),
    figure("used_mah", "mAh", |r| battery(r)?.used_range_mah),
    figure("race_end_used_mah", "mAh", |r| battery(r)?.race_end_used_mah),
    figure("mah_per_lap", "mAh", |r| exact(battery(r)?.mah_per_lap)),
    figure("wheelspin_share", "1", |r| exact(wheelspin(r)?.share)),
    figure("top_speed_m_s", "m/s", |r| power(r)?.top_speed_range_m_s),
    figure("top_rpm", "1/min", |r| exact(power(r)?.top_rpm)),
    figure("mean_w", "W", |r| exact(power(r)?.mean_w)),
    figure("peak_w", "W", |r| exact(power(r)?.peak_w)),
    figure("coast_m_s2", "m/s²", |r| power(r)?.coast_m_s2),
];

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
    let tables = (RUNS, LAPS, EVENTS, FIGURES, KEYS, EFFECTS);
    Schema { format: FORMAT, partitions: ["year", "weekend"], tables }
}
