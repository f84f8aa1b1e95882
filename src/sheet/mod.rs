//! The setup sheet, `weekend.toml`: what should be on the cars, and which log belongs to which run.
//!
//! `keys` is the one table of what a sheet may say; `read` makes a [`Sheet`] of a text, `edit` changes the text and
//! keeps its comments and order, `starter` and `schema` write out what the table says.

mod blocks;
mod check;
mod commented;
mod document;
pub mod edit;
mod entries;
mod import;
pub mod keys;
pub mod mistake;
mod paths;
pub mod read;
mod runs;
pub mod schema;
pub mod starter;
mod syntax;
mod values;

use std::collections::BTreeMap;
use std::path::PathBuf;

use mistake::Mistake;

pub use keys::{DEFAULT_CELL_V, DEFAULT_CONTROLLER_C, DEFAULT_MOTOR_C, DEFAULT_RACE_S, LEFT_OUT, NOTE};

use crate::import::columns::Rule;
use crate::units::Units;

/// A value on the sheet.
#[derive(Debug, Clone)]
pub enum Setting {
    /// A number, in the unit that the key names.
    Number(f64),
    /// A number that was written with a unit. It equals the same number without one.
    WithUnit {
        /// The value in the unit that the key names.
        value: f64,
        /// As it was written: `702 ft`.
        written: String,
    },
    /// Text.
    Text(String),
    /// True or false.
    Flag(bool),
    /// What was written and cannot be used: it is shown, and nothing is worked out from it or compared by it.
    Refused(String),
}

impl std::fmt::Display for Setting {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Setting::Number(n) => write!(f, "{n}"),
            Setting::Text(t) | Setting::Refused(t) | Setting::WithUnit { written: t, .. } => {
                f.write_str(&crate::notice::printable(t, 80))
            }
            Setting::Flag(b) => write!(f, "{b}"),
        }
    }
}

impl PartialEq for Setting {
    fn eq(&self, other: &Self) -> bool {
        match (self.as_number(), other.as_number()) {
            (Some(one), Some(other)) => one == other,
            (None, None) => match (self, other) {
                (Setting::Text(one), Setting::Text(other)) | (Setting::Refused(one), Setting::Refused(other)) => {
                    one == other
                }
                (Setting::Flag(one), Setting::Flag(other)) => one == other,
                _ => false,
            },
            _ => false,
        }
    }
}

impl Setting {
    /// The number, in the unit that the key names; `None` where it is something else.
    pub fn as_number(&self) -> Option<f64> {
        match self {
            Setting::Number(value) | Setting::WithUnit { value, .. } => Some(*value),
            Setting::Text(_) | Setting::Flag(_) | Setting::Refused(_) => None,
        }
    }

    /// Its value as text, by which runs are compared: of a number in the unit that the key names, however it was
    /// written.
    pub fn by_value(&self) -> String {
        self.as_number().map_or_else(|| self.to_string(), |value| value.to_string())
    }
}

/// Settings by their dotted key, such as `motor.timing_deg`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Settings(pub BTreeMap<String, Setting>);

impl Settings {
    /// The number under `key`.
    pub fn number(&self, key: &str) -> Option<f64> {
        self.0.get(key)?.as_number()
    }

    /// The text under `key`.
    pub fn text(&self, key: &str) -> Option<&str> {
        match self.0.get(key)? {
            Setting::Text(t) => Some(t),
            _ => None,
        }
    }

    /// These settings with those of `over` in their place.
    pub fn overridden(&self, over: &Settings) -> Settings {
        let mut all = self.clone();
        all.0.extend(over.0.clone());
        all
    }

    /// Motor turns for a wheel turn: spur / pinion × internal ratio; `None` where a figure is missing.
    pub fn set_ratio(&self) -> Option<f64> {
        self.ratio_with(self.number("pinion")?)
    }

    /// The ratio with another pinion.
    pub fn ratio_with(&self, pinion: f64) -> Option<f64> {
        Some(self.number("spur")? / pinion * self.number("internal_ratio").unwrap_or(keys::DEFAULT_INTERNAL_RATIO))
    }

    /// Tyre diameter, mm.
    pub fn tyre_mm(&self) -> Option<f64> {
        self.number("tyre_diameter_mm")
    }

    /// Whether the tyres are foam.
    pub fn foam(&self) -> bool {
        self.text("tyre_kind").is_some_and(|k| k.eq_ignore_ascii_case("foam"))
    }
}

/// A run as planned on the sheet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RunPlan {
    /// Unique name.
    pub id: String,
    /// Key of the car; empty without a sheet.
    pub car: String,
    /// The log, inside the weekend's folder.
    pub log: PathBuf,
    /// The lap list, inside the weekend's folder.
    pub laps: Option<PathBuf>,
    /// Which run of a file that holds several, from 1.
    pub part: Option<usize>,
    /// Whether its log is left out of the review.
    pub left_out: bool,
    /// Air, °C.
    pub ambient_c: Option<f64>,
    /// The car's settings with this run's own in their place.
    pub settings: Settings,
    /// What is wrong with this run's entry, where it cannot be reviewed for it.
    pub mistake: Option<Mistake>,
}

impl RunPlan {
    /// Whether the sheet gives this key of a car or a run, for the run.
    pub fn states(&self, key: &keys::Key) -> bool {
        match key.path {
            "ambient_c" => self.ambient_c.is_some(),
            "part" => self.part.is_some(),
            LEFT_OUT => self.left_out,
            "laps" => self.laps.is_some(),
            path => self.settings.0.get(path).is_some_and(|s| !matches!(s, Setting::Refused(_))),
        }
    }
}

/// The whole sheet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sheet {
    /// What it says of weekend, track and race, by path with the table in front: `track.lap_length_m`. The fields below
    /// are taken from it.
    pub stated: Settings,
    /// Name of the weekend.
    pub name: Option<String>,
    /// Date as written.
    pub date: Option<String>,
    /// Name of the track.
    pub track: Option<String>,
    /// Surface.
    pub surface: Option<String>,
    /// Lap length along the driven line, m, and the half-width of its 95 % interval.
    pub lap_length_m: Option<(f64, f64)>,
    /// Race length, s.
    pub race_s: Option<f64>,
    /// Cars by their key.
    pub cars: BTreeMap<String, Settings>,
    /// Runs in order.
    pub runs: Vec<RunPlan>,
    /// How logs are to be read, where the user states it.
    pub import: ImportPlan,
    /// What is wrong or odd with the sheet, beyond single runs.
    pub mistakes: Vec<Mistake>,
}

/// `[import]`: what the user states of the logs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ImportPlan {
    /// Columns named.
    pub rules: Vec<Rule>,
    /// Encoding label.
    pub encoding: Option<String>,
    /// Delimiter.
    pub delimiter: Option<u8>,
    /// Decimal mark.
    pub decimal: Option<u8>,
    /// Rows a second.
    pub rate_hz: Option<f64>,
}

impl Sheet {
    /// The units that pages and terminal show; metric where the sheet says nothing.
    pub fn units(&self) -> Units {
        self.stated.text(keys::UNITS).and_then(Units::named).unwrap_or_default()
    }

    /// Race length, stated or the default, s.
    pub fn race_length_s(&self) -> f64 {
        self.race_s.unwrap_or(DEFAULT_RACE_S)
    }
}
