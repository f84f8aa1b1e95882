//! The one table of the setup sheet's keys. The reader, the editor, the form of the local page, the starter sheet, the
//! JSON Schema and the list of what a sheet lacks are all made from [`KEYS`]: a new key is one entry here.

use crate::log::Channel;
use crate::notice::printable;
use crate::units::measure::TEMPERATURE;
use crate::units::written::carries_unit;
use crate::units::{Notation, Units};
use crate::wording::{Words, stated};

/// Race length where the sheet gives none, s. Common practice, no source: five minutes.
pub const DEFAULT_RACE_S: f64 = 300.0;
/// Motor limit where the sheet gives none, °C: neodymium magnets without a letter in their grade are rated for 80 °C
/// (makers' tables), those of motors mostly for more. The maker's figure is better.
pub const DEFAULT_MOTOR_C: f64 = 90.0;
/// Controller limit where the sheet gives none, °C. Common practice, no source.
pub const DEFAULT_CONTROLLER_C: f64 = 90.0;
/// Lowest voltage of a lithium cell under load where the sheet gives none, V (makers' tables: 2.75 to 3.0 V).
pub const DEFAULT_CELL_V: f64 = 3.0;
/// Internal ratio where the sheet gives none: direct drive, as in most pan cars. Common practice, no source.
pub const DEFAULT_INTERNAL_RATIO: f64 = 1.0;
/// Half-width of the lap length's 95 % interval where the sheet gives none, as a share of the lap length: what pacing
/// or a tape along the line gives. Common practice, no source.
pub const DEFAULT_LAP_LENGTH_SHARE: f64 = 0.01;

/// Said in place of the value of a key that is not on the sheet.
pub const NOT_SET: &str = "not set";

/// Longest key of the user's own on a page, characters.
const LONGEST_LABEL: usize = 40;

/// Full path of the units that pages and terminal show.
pub const UNITS: &str = "report.units";

/// Path of the key by which the log of a run is left out.
pub const LEFT_OUT: &str = "left_out";

/// Path of a run's or a car's note: words for people, not a setting that could have had an effect.
pub const NOTE: &str = "note";

/// The part of the sheet that a key belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    /// `[weekend]`.
    Weekend,
    /// `[track]`.
    Track,
    /// `[race]`.
    Race,
    /// `[report]`.
    Report,
    /// A table of `[cars]`. A run may state each of these keys too and then overrides its car.
    Car,
    /// An entry of `[[runs]]`.
    Run,
}

impl Table {
    /// The tables that a sheet has once, in the order of a sheet. They have no keys of the user's own.
    pub const SINGLE: [Table; 4] = [Table::Weekend, Table::Track, Table::Race, Table::Report];

    /// Its name on the sheet.
    pub const fn name(self) -> &'static str {
        match self {
            Table::Weekend => "weekend",
            Table::Track => "track",
            Table::Race => "race",
            Table::Report => "report",
            Table::Car => "cars",
            Table::Run => "runs",
        }
    }

    /// Its heading, as it is written on a sheet.
    pub fn heading(self) -> String {
        match self {
            Table::Car => "[cars.NAME]".to_owned(),
            Table::Run => "[[runs]]".to_owned(),
            single => format!("[{}]", single.name()),
        }
    }
}

/// What a key's value may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A number in the key's unit. The range is what a car or a track can have (common practice, no source, and wide).
    Number {
        /// The lowest value that is taken.
        low: f64,
        /// The highest.
        high: f64,
        /// Whether it counts things.
        whole: bool,
    },
    /// One of these words.
    Choice(&'static [&'static str]),
    /// Text; these words are offered, any other is taken as well.
    Text(&'static [&'static str]),
    /// A name or a note: text, but a bare number is taken as well.
    Name,
    /// A date, such as 2026-05-16.
    Date,
    /// The name of a car on the sheet.
    Car,
    /// A file in the weekend's folder.
    File,
}

/// When a sheet without the key should be asked for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// The log must have one of these channels, or the key would answer nothing; empty: any log will do.
    pub needs: &'static [Channel],
    /// A log with this channel knows already.
    pub unless: Option<Channel>,
}

/// A key of the setup sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Key {
    /// Where it belongs.
    pub table: Table,
    /// Its dotted path below its table, such as `motor.timing_deg`.
    pub path: &'static str,
    /// What a racer calls it.
    pub label: &'static str,
    /// Unit of the number; empty where it has none.
    pub unit: &'static str,
    /// What its value may be.
    pub kind: Kind,
    /// The value that is assumed where the sheet has none.
    pub assumed: Option<f64>,
    /// A value as it would be written on a sheet.
    pub example: &'static str,
    /// What it answers, or what it is for; may be empty where the label says it all.
    pub answers: &'static str,
    /// When a sheet without it should be asked for it; `None`: never.
    pub asked: Option<Asked>,
    /// Whether the key of a car has a field in each run too, because it often changes from run to run.
    pub often_changed: bool,
    /// How a change begins a sentence, before the label: `More` drag brake, `A larger` pinion.
    pub words: Words,
}

impl Key {
    /// A key for text, to be refined by the methods below.
    pub const fn new(table: Table, path: &'static str, label: &'static str, example: &'static str) -> Self {
        Self {
            table,
            path,
            label,
            unit: "",
            kind: Kind::Text(&[]),
            assumed: None,
            example,
            answers: "",
            asked: None,
            often_changed: false,
            words: Words::new("More", "Less"),
        }
    }

    /// A number from `low` to `high`.
    pub const fn number(mut self, low: f64, high: f64, unit: &'static str) -> Self {
        (self.kind, self.unit) = (Kind::Number { low, high, whole: false }, unit);
        self
    }

    /// A whole number from `low` to `high`.
    pub const fn count(mut self, low: f64, high: f64, unit: &'static str) -> Self {
        (self.kind, self.unit) = (Kind::Number { low, high, whole: true }, unit);
        self
    }

    /// Of another kind than text.
    pub const fn kind(mut self, kind: Kind) -> Self {
        self.kind = kind;
        self
    }

    /// With the value that is assumed without it.
    pub const fn assumed(mut self, value: f64) -> Self {
        self.assumed = Some(value);
        self
    }

    /// With what it answers.
    pub const fn answers(mut self, words: &'static str) -> Self {
        self.answers = words;
        self
    }

    /// Asked for where a log has one of the channels `needs`; empty: any log.
    pub const fn asked(mut self, needs: &'static [Channel]) -> Self {
        self.asked = Some(Asked { needs, unless: None });
        self
    }

    /// The same, but not where the log has `channel`.
    pub const fn asked_unless(mut self, needs: &'static [Channel], channel: Channel) -> Self {
        self.asked = Some(Asked { needs, unless: Some(channel) });
        self
    }

    /// With other words for a change than more and less.
    pub const fn words(mut self, more: &'static str, less: &'static str) -> Self {
        self.words = Words::new(more, less);
        self
    }

    /// With a field in each run too.
    pub const fn often_changed(mut self) -> Self {
        self.often_changed = true;
        self
    }

    /// Its path with the name of its table, where the sheet has that table once (`track.lap_length_m`); a key of a car
    /// or a run is known by its path alone.
    pub fn full_path(&self) -> String {
        match self.table {
            Table::Car | Table::Run => self.path.to_owned(),
            single => format!("{}.{}", single.name(), self.path),
        }
    }

    /// Whether `path` is its full path.
    fn is_at(&self, path: &str) -> bool {
        match self.table {
            Table::Car | Table::Run => path == self.path,
            single => {
                path.strip_prefix(single.name()).and_then(|p| p.strip_prefix('.')).is_some_and(|p| p == self.path)
            }
        }
    }

    /// What it answers, and what is assumed without it, in one line.
    pub fn answers_and_assumed(&self) -> String {
        let Some(value) = self.assumed else { return self.answers.to_owned() };
        let measure = if self.unit == TEMPERATURE.symbol(Notation::Stored) { TEMPERATURE } else { self.unit.into() };
        format!("{} ({} is assumed)", self.answers, stated(value, measure))
    }
}

/// The key at a full path, such as `pinion`, `motor.timing_deg` or `track.lap_length_m`.
pub fn find(path: &str) -> Option<&'static Key> {
    find_in(KEYS, path)
}

/// The same among other keys.
pub fn find_in<'k>(keys: &'k [Key], path: &str) -> Option<&'k Key> {
    keys.iter().find(|k| k.is_at(path))
}

/// The key of the value at a path from the sheet's root, such as `cars`, `tourer`, `pinion` or `runs`, `3`, `note`.
pub fn find_by_place<'k>(keys: &'k [Key], place: &[String]) -> Option<&'k Key> {
    let path = match place {
        [table, _, path @ ..] if table == Table::Car.name() || table == Table::Run.name() => path,
        whole => whole,
    };
    find_in(keys, &path.join("."))
}

/// Two values of the key at a full path, one after the other with its unit: `3 → 10 %`, `30 → 37°`, `10 % → not set`.
pub fn change(path: &str, from: Option<&str>, to: Option<&str>) -> String {
    let unit = find(path).map_or("", |key| key.unit);
    match (from, to) {
        // One unit behind both, where neither carries its own.
        (Some(from), Some(to)) if carries_unit(from, unit) || carries_unit(to, unit) => {
            format!("{} → {}", with_unit(from, unit), with_unit(to, unit))
        }
        (Some(from), Some(to)) => format!("{from} → {}", with_unit(to, unit)),
        (Some(from), None) => format!("{} → {NOT_SET}", with_unit(from, unit)),
        (None, Some(to)) => format!("{NOT_SET} → {}", with_unit(to, unit)),
        (None, None) => NOT_SET.to_owned(),
    }
}

/// The same behind what a racer calls the key: `drag brake 3 → 10 %`.
pub fn labelled_change(path: &str, from: Option<&str>, to: Option<&str>) -> String {
    format!("{} {}", printable_label(path), change(path, from, to))
}

/// A value with its unit: `10 %`, `37°`; as it is where it carries one, or where the key has none.
pub fn with_unit(value: &str, unit: &str) -> String {
    if carries_unit(value, unit) {
        return value.to_owned();
    }
    let space = if unit.is_empty() || unit == "°" { "" } else { " " };
    format!("{value}{space}{unit}")
}

/// What a racer calls the key at a full path; a key of the user's own is shown as it is written.
pub fn label(path: &str) -> &str {
    find(path).map_or(path, |k| k.label)
}

/// The label of the key at a full path for a page or a sentence: a key of the user's own is made safe to show.
pub fn printable_label(path: &str) -> String {
    printable(label(path), LONGEST_LABEL)
}

/// The keys of a table, in the order of a sheet.
pub fn of_table(keys: &[Key], table: Table) -> impl Iterator<Item = &Key> {
    keys.iter().filter(move |k| k.table == table)
}

/// The keys that a run has a field for: its own, those of its car that often change, and its note.
pub fn of_run(keys: &[Key]) -> impl Iterator<Item = &Key> {
    let own = move |is_note: bool| of_table(keys, Table::Run).filter(move |k| (k.path == NOTE) == is_note);
    own(false).chain(of_table(keys, Table::Car).filter(|k| k.often_changed)).chain(own(true))
}

/// The keys that a car has a field for: its own, and a note. Its runs without a note of their own have the car's.
pub fn of_car(keys: &[Key]) -> impl Iterator<Item = &Key> {
    of_table(keys, Table::Car).chain(of_table(keys, Table::Run).filter(|k| k.path == NOTE))
}

const REVS: &[Channel] = &[Channel::Rpm];
const AMPERES: &[Channel] = &[Channel::Current];
const ANY_LOG: &[Channel] = &[];

use Table::{Car, Race, Report, Run, Track, Weekend};

/// All keys of the setup sheet, table by table, each table in the order in which a racer would fill it in.
pub const KEYS: &[Key] = &[
    Key::new(Weekend, "name", "name", "\"Spring Round\"").answers("what report and season call this weekend"),
    Key::new(Weekend, "date", "date", "2026-05-16").kind(Kind::Date).answers("puts the weekends of a season in order"),
    Key::new(Weekend, "note", "note", "\"rain on Saturday\"").kind(Kind::Name).answers("anything worth remembering"),
    Key::new(Track, "name", "track name", "\"Alder Quay\"").answers("the season compares weekends on the same track"),
    Key::new(Track, "surface", "surface", "\"carpet\"").kind(Kind::Text(&["asphalt", "carpet"])),
    Key::new(Track, "lap_length_m", "lap length", "214.0")
        .number(5.0, 5000.0, "m")
        .answers("real rollout, real ratio and top speed; measure along the driven line")
        .asked(REVS),
    Key::new(Track, "lap_length_plus_minus_m", "lap length, plus or minus", "0.6")
        .number(0.0, 1000.0, "m")
        .answers("how closely the lap length was measured"),
    Key::new(Track, "note", "note", "\"swept on Sunday\"").kind(Kind::Name).answers("anything worth remembering"),
    Key::new(Race, "length_s", "race length", "300")
        .number(5.0, 90_000.0, "s")
        .assumed(DEFAULT_RACE_S)
        .answers("heat and battery at the end of your race")
        .asked(ANY_LOG),
    Key::new(Race, "note", "note", "\"start in two rows\"").kind(Kind::Name).answers("anything worth remembering"),
    Key::new(Report, "units", "units of pages and terminal", "\"us\"")
        .kind(Kind::Choice(&Units::NAMES))
        .answers("metric has °C, m, km/h and mm, us has °F, ft, mph and in"),
    Key::new(Car, "spur", "spur", "116")
        .words("A larger", "A smaller")
        .count(10.0, 300.0, "teeth")
        .answers("whether the car really has the gearing on the sheet")
        .asked(REVS),
    Key::new(Car, "pinion", "pinion", "31")
        .words("A larger", "A smaller")
        .count(5.0, 200.0, "teeth")
        .answers("whether the car really has the gearing on the sheet")
        .asked(REVS)
        .often_changed(),
    Key::new(Car, "internal_ratio", "internal ratio", "1.85")
        .words("A higher", "A lower")
        .number(0.2, 10.0, "")
        .assumed(DEFAULT_INTERNAL_RATIO)
        .answers("the final drive ratio; write 1 for direct drive")
        .asked(REVS),
    Key::new(Car, "tyre_diameter_mm", "tyre diameter", "63.0")
        .words("A larger", "A smaller")
        .number(15.0, 250.0, "mm")
        .answers("rollout and the ratio that was really driven")
        .asked(REVS),
    Key::new(Car, "tyre_kind", "tyres", "\"rubber\"")
        .kind(Kind::Choice(&["rubber", "foam"]))
        .answers("foam wears smaller, which is allowed for"),
    Key::new(Car, "mass_kg", "mass", "1.35")
        .words("A higher", "A lower")
        .number(0.1, 30.0, "kg")
        .answers("pull, wheelspin and what other pinions would do; weigh the car ready to race")
        .asked(AMPERES),
    Key::new(Car, "driven", "driven wheels", "\"four\"").kind(Kind::Choice(&["four", "rear"])),
    Key::new(Car, "drag_brake_pct", "drag brake", "5")
        .number(0.0, 100.0, "%")
        .answers("what drag brake does to your lap times"),
    Key::new(Car, "motor.name", "motor name", "\"A\"").kind(Kind::Name).answers("follows one motor through the season"),
    Key::new(Car, "motor.turns", "motor wind", "4.5").number(0.5, 100.0, "turns"),
    Key::new(Car, "motor.rotor_mm", "rotor", "12.5").number(1.0, 100.0, "mm").words("A larger", "A smaller"),
    Key::new(Car, "motor.timing_deg", "end-bell timing", "30")
        .number(-10.0, 90.0, "°")
        .answers("what timing does to revs and heat"),
    Key::new(Car, "motor.fan_mm", "fan", "30").number(0.0, 100.0, "mm").answers("what the fan does to the heat"),
    Key::new(Car, "motor.poles", "motor poles", "2").count(2.0, 40.0, "").answers("needed if the log gives eRPM"),
    Key::new(Car, "battery.name", "battery name", "\"1\"")
        .kind(Kind::Name)
        .answers("follows one pack through the season")
        .often_changed(),
    Key::new(Car, "battery.cells", "cells in series", "2")
        .count(1.0, 14.0, "")
        .answers("the lowest voltage of a cell")
        .asked(&[Channel::Voltage]),
    Key::new(Car, "battery.capacity_mah", "battery capacity", "6000")
        .number(50.0, 50_000.0, "mAh")
        .answers("how much the battery had left")
        .asked(AMPERES),
    Key::new(Car, "limits.motor_c", "motor limit", "95")
        .number(20.0, 250.0, "°C")
        .assumed(DEFAULT_MOTOR_C)
        .answers("heat against your motor's own limit")
        .asked(&[Channel::MotorTemperature]),
    Key::new(Car, "limits.esc_c", "controller limit", "100")
        .number(20.0, 250.0, "°C")
        .assumed(DEFAULT_CONTROLLER_C)
        .answers("heat against your controller's own limit")
        .asked(&[Channel::ControllerTemperature]),
    Key::new(Car, "limits.cell_v", "lowest cell voltage", "3.2")
        .number(0.5, 4.5, "V")
        .assumed(DEFAULT_CELL_V)
        .answers("voltage against your own limit"),
    Key::new(Run, "id", "run name", "\"r1\"").kind(Kind::Name).answers("what the report calls this run"),
    Key::new(Run, "car", "car", "\"tourer\"").kind(Kind::Car),
    Key::new(Run, "log", "log", "\"logs/r1.csv\"").kind(Kind::File),
    Key::new(Run, "laps", "lap list", "\"laps/r1.csv\"")
        .kind(Kind::File)
        .answers("the timing's lap times; without them laps are found in the log"),
    Key::new(Run, "part", "part of the log", "2")
        .count(1.0, 1000.0, "")
        .answers("which run it is, if the log holds several"),
    Key::new(Run, LEFT_OUT, "left out", "\"yes\"")
        .kind(Kind::Choice(&["yes", "no"]))
        .answers("its log stays in the folder and is not reviewed"),
    Key::new(Run, "ambient_c", "air temperature", "24")
        .number(-30.0, 60.0, "°C")
        .answers("how much of the heat comes from the weather")
        .asked_unless(&[Channel::MotorTemperature, Channel::ControllerTemperature], Channel::Ambient),
    Key::new(Run, NOTE, "note", "\"dusty after lunch\"").kind(Kind::Name).answers("anything worth remembering"),
];

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[test]
    fn a_key_is_there_once_and_its_example_is_one() {
        for key in KEYS {
            assert_eq!(find(&key.full_path()), Some(key));
            let value: toml::Table = format!("x = {}", key.example).parse().unwrap();
            let number = value["x"].as_float().or(value["x"].as_integer().map(|i| i as f64));
            match key.kind {
                Kind::Number { low, high, .. } => assert!((low..=high).contains(&number.unwrap()), "{}", key.path),
                Kind::Date => assert!(value["x"].is_datetime()),
                Kind::Choice(words) => assert!(words.contains(&value["x"].as_str().unwrap())),
                _ => assert!(value["x"].is_str(), "{}", key.path),
            }
        }
    }

    #[rstest]
    #[case("track.lap_length_m", "lap length")]
    #[case("motor.timing_deg", "end-bell timing")]
    #[case("drag_brake_pct", "drag brake")]
    // A car's own `name` is not the weekend's, and a key of the user's own is shown as it is written.
    #[case("name", "name")]
    #[case("rear_wing", "rear_wing")]
    #[case("lap_length_m", "lap_length_m")]
    fn labels(#[case] path: &str, #[case] says: &str) {
        assert_eq!(label(path), says);
    }

    #[test]
    fn a_value_is_found_by_its_place() {
        let at = |place: &str| {
            let place: Vec<String> = place.split('/').map(str::to_owned).collect();
            find_by_place(KEYS, &place).map(Key::full_path)
        };
        assert_eq!(at("cars/a/motor/poles").as_deref(), Some("motor.poles"));
        assert_eq!(at("runs/3/note").as_deref(), Some("note"));
        assert_eq!(at("track/name").as_deref(), Some("track.name"));
        assert_eq!(at("cars/a/wing"), None);
    }
}
