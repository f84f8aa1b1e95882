//! The season's tables: names, columns, units and what they mean; one place for the writer, the reader, `--schema` and the documentation.

use serde::Serialize;

/// Name and version of the data set. Columns may be added, never renamed, and keep their type and unit.
pub const FORMAT: &str = "runtrue season 1";
/// Name and version of `season.json`. Fields may be added, never renamed.
pub const ANSWERS_FORMAT: &str = "runtrue season answers 1";
/// Key of the metadata of a weekend's runs that tells its logs, whatever the weekend is called.
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

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Unit of its numbers, spelled as in the logs; empty without one.
    pub unit: &'static str,
    /// What it means.
    pub about: &'static str,
    /// Where it stands in the row's part of `review.json`, as a JSON pointer (RFC 6901).
    #[serde(skip)]
    pub from: &'static str,
}

/// A table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Table {
    /// Its name, and its folder's.
    pub name: &'static str,
    /// What a row is.
    pub row: &'static str,
    /// Its columns, without those of the partition: `year` and `weekend`.
    pub columns: &'static [Column],
}

const fn text(name: &'static str, from: &'static str, about: &'static str) -> Column {
    Column { name, kind: Kind::Text, unit: "", about, from }
}

const fn number(name: &'static str, unit: &'static str, from: &'static str, about: &'static str) -> Column {
    Column { name, kind: Kind::Number, unit, about, from }
}

const fn whole(name: &'static str, from: &'static str, about: &'static str) -> Column {
    Column { name, kind: Kind::Whole, unit: "", about, from }
}

const RUN: Column = text("run", "/id", "id of the run on its weekend");
const CAR: Column = text("car", "/car", "key of the car on the sheet");
const DATE: Column =
    Column { name: "date", kind: Kind::Date, unit: "", about: "day of the weekend, from its sheet", from: "/date" };

/// One row a run.
pub const RUNS: Table = Table {
    name: "runs",
    row: "a run, also one that could not be reviewed",
    columns: &[
        DATE,
        text("name", "/name", "the weekend's name on its sheet"),
        text("track", "/track", "the track's name on the sheet; the weekend's where it has none"),
        text("surface", "/surface", "surface on the sheet"),
        whole("position", "/position", "place of the run in its weekend, from 1"),
        RUN,
        CAR,
        text("motor", "/motor", "`motor.name` of the sheet; the car's key where it has none"),
        text("pack", "/pack", "`battery.name` of the sheet; the car's key where it has none"),
        text("error", "/error/message", "why the run could not be reviewed"),
        number("ambient_c", "°C", "/ambient_c", "air"),
        whole("laps_counted", "/laps_counted", "laps that count"),
        number("best_s", "s", "/laps/best_s", "best lap that counts"),
        number("median_s", "s", "/laps/median_s", "median lap that counts"),
        number("set_ratio", "1", "/gearing/set_ratio", "motor turns a wheel turn, from the sheet"),
        number("realised_ratio", "1", "/gearing/realised_ratio/value", "the same as driven"),
        text("gearing", "/gearing/verdict", "verdict on the gearing"),
        number("top_speed_m_s", "m/s", "/power/top_speed_m_s", "the car's highest speed"),
        number("top_rpm", "1/min", "/power/top_rpm", "highest revs"),
        number("mean_w", "W", "/power/mean_w", "mean electrical power over the laps that count"),
        number("peak_w", "W", "/power/peak_w", "highest electrical power"),
        number("motor_peak_c", "°C", "/heat/motor/peak_c", "motor's highest reading"),
        number("motor_race_end_c", "°C", "/heat/motor/race_end_c/value", "motor at the race's end"),
        text("motor_verdict", "/heat/motor/verdict", "verdict on the motor's heat"),
        number("controller_peak_c", "°C", "/heat/controller/peak_c", "controller's highest reading"),
        number("controller_race_end_c", "°C", "/heat/controller/race_end_c/value", "controller at the race's end"),
        text("controller_verdict", "/heat/controller/verdict", "verdict on the controller's heat"),
        number("resistance_mohm", "mΩ", "/battery/resistance_mohm/value", "ohmic resistance of the pack"),
        number("lowest_cell_v", "V", "/battery/lowest_cell_v", "lowest voltage of a cell"),
        number("used_mah", "mAh", "/battery/used_mah", "charge used in the run"),
        number("used_wh", "Wh", "/battery/used_wh", "energy used in the run"),
        text("battery_verdict", "/battery/verdict", "verdict on the battery"),
        number("wheelspin_s", "s", "/wheelspin/seconds", "time with wheelspin"),
        number("wheelspin_share", "1", "/wheelspin/share", "share of the laps' time with wheelspin"),
    ],
};

/// One row a lap.
pub const LAPS: Table = Table {
    name: "laps",
    row: "a lap",
    columns: &[
        DATE,
        RUN,
        CAR,
        whole("lap", "/lap", "number of the lap, from 1"),
        number("start_s", "s", "/start_s", "start on the log's clock"),
        number("end_s", "s", "/end_s", "end on the log's clock"),
        number("time_s", "s", "/time_s", "duration"),
        number("revs", "1", "/revs", "motor turns over the lap"),
        text("set_aside", "/set_aside", "why the lap is kept out of the statistics; null where it counts"),
    ],
};

/// One row an event.
pub const EVENTS: Table = Table {
    name: "events",
    row: "something that happened at a time: wheelspin",
    columns: &[
        DATE,
        RUN,
        CAR,
        text("kind", "/kind", "`wheelspin`"),
        whole("lap", "/lap", "lap it lies in; null before the first and after the last"),
        number("start_s", "s", "/start_s", "start on the log's clock"),
        number("end_s", "s", "/end_s", "end on the log's clock"),
        number("lap_fraction", "1", "/lap_fraction", "share of the lap, by distance, where it starts"),
        number("peak_slip", "1", "/peak_slip", "highest driving slip in it"),
    ],
};

/// One row a figure with its interval.
pub const FIGURES: Table = Table {
    name: "figures",
    row: "a figure of a run with its 95 % interval",
    columns: &[
        DATE,
        RUN,
        CAR,
        text("of", "/of", "what it is, with its unit at the end of its name"),
        text("unit", "/unit", "unit of the three numbers"),
        number("value", "", "/value", "the figure"),
        number("low", "", "/low", "lower end of its 95 % interval; null where it has none"),
        number("high", "", "/high", "upper end"),
    ],
};

/// One row a key of the sheet and run.
pub const KEYS: Table = Table {
    name: "keys",
    row: "a key of the sheet as it holds for a run",
    columns: &[
        DATE,
        RUN,
        CAR,
        text("key", "/key", "dotted key, such as `motor.timing_deg`"),
        number("number", "", "/number", "its value where it is a number, in the unit that the key names"),
        text("text", "/text", "its value in words, whatever it is"),
    ],
};

/// One row an effect of a changed key on a weekend.
pub const EFFECTS: Table = Table {
    name: "effects",
    row: "what a changed key did to a figure on one weekend",
    columns: &[
        DATE,
        CAR,
        text("key", "/key", "the key that changed"),
        text("from", "/from", "its first value on the weekend; null where it was not set"),
        text("to", "/to", "its other value; null where it was not set"),
        text("of", "/of", "the figure, with its unit at the end of its name"),
        number("difference", "", "/difference", "the figure with the other value less the figure with the first"),
        number("low", "", "/low", "lower end of its 95 % interval"),
        number("high", "", "/high", "upper end"),
        text(
            "together_with",
            "/together_with",
            "keys that changed in the same runs, comma between; null where none did",
        ),
    ],
};

/// The figures of a run: name, unit, and where they stand in its part of `review.json`.
pub const FIGURES_OF_A_RUN: [(&str, &str, &str); 22] = [
    ("realised_ratio", "1", "/gearing/realised_ratio"),
    ("realised_rollout_mm", "mm", "/gearing/realised_rollout_mm"),
    ("set_ratio", "1", "/gearing/set_ratio"),
    ("best_s", "s", "/laps/best_s"),
    ("median_s", "s", "/laps/median_s"),
    ("motor_peak_c", "°C", "/heat/motor/peak_c"),
    ("motor_race_end_c", "°C", "/heat/motor/race_end_c"),
    ("controller_peak_c", "°C", "/heat/controller/peak_c"),
    ("controller_race_end_c", "°C", "/heat/controller/race_end_c"),
    ("motor_rise_k", "K", "/motor_rise_k"),
    ("motor_rise_k_per_w", "K/W", "/motor_rise_k_per_w"),
    ("resistance_mohm", "mΩ", "/battery/resistance_mohm"),
    ("lowest_cell_v", "V", "/battery/lowest_cell_v"),
    ("used_mah", "mAh", "/battery/used_range_mah"),
    ("race_end_used_mah", "mAh", "/battery/race_end_used_mah"),
    ("mah_per_lap", "mAh", "/battery/mah_per_lap"),
    ("wheelspin_share", "1", "/wheelspin/share"),
    ("top_speed_m_s", "m/s", "/power/top_speed_range_m_s"),
    ("top_rpm", "1/min", "/power/top_rpm"),
    ("mean_w", "W", "/power/mean_w"),
    ("peak_w", "W", "/power/peak_w"),
    ("coast_m_s2", "m/s²", "/power/coast_m_s2"),
];

/// All tables.
pub const TABLES: [Table; 6] = [RUNS, LAPS, EVENTS, FIGURES, KEYS, EFFECTS];

/// The schema as `runtrue season --schema` prints it.
#[derive(Debug, Serialize)]
pub struct Schema {
    /// Name and version.
    pub format: &'static str,
    /// Columns that stand in the folders' names.
    pub partitions: [&'static str; 2],
    /// The tables.
    pub tables: [Table; 6],
}

/// The schema.
pub fn schema() -> Schema {
    Schema { format: FORMAT, partitions: ["year", "weekend"], tables: TABLES }
}
