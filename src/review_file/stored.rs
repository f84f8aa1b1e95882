//! `review.json` as it is read: what a reader relies on, whichever version of runtrue wrote it.
//!
//! A field that an older version did not write, or wrote as `null`, is `None`; a field that is not listed here is
//! passed
//! over. Verdicts and reasons are text: a newer version may write one that this version does not know.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Name and version of the format. Fields may be added, never renamed.
pub const FORMAT: &str = "runtrue review 1";

/// A value of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum SettingFile {
    /// A number.
    Number(f64),
    /// Text.
    Text(String),
    /// True or false.
    Flag(bool),
}

/// The value as text; a number with as many digits as it needs.
impl std::fmt::Display for SettingFile {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            SettingFile::Number(number) => number.fmt(f),
            SettingFile::Text(text) => f.write_str(text),
            SettingFile::Flag(flag) => flag.fmt(f),
        }
    }
}

/// A review.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredReview {
    /// The weekend.
    pub weekend: StoredWeekend,
    /// Runs in order; at least one.
    pub runs: Vec<StoredRun>,
    /// What changed settings did.
    pub comparisons: Vec<StoredComparison>,
}

/// What the sheet says of the weekend.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredWeekend {
    /// Name.
    pub name: Option<String>,
    /// Date as written on the sheet.
    pub date: Option<String>,
    /// Name of the track.
    pub track: Option<String>,
    /// Surface.
    pub surface: Option<String>,
}

/// A value with its 95 % interval.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredEstimate {
    /// Best value.
    pub value: Option<f64>,
    /// Lower end of its interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// One run. Its answers are `None` where it could not be reviewed.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredRun {
    /// Its id, unique on the weekend.
    pub id: Option<String>,
    /// Key of the car.
    pub car: Option<String>,
    /// The log's path from the weekend's folder.
    pub log: Option<String>,
    /// Air, °C.
    pub ambient_c: Option<f64>,
    /// The sheet's keys as they hold for this run.
    pub settings: BTreeMap<String, Option<SettingFile>>,
    /// Why it could not be reviewed.
    pub error: Option<StoredFailure>,
    /// How the log was read.
    pub reading: Option<StoredReading>,
    /// Its figures by their keys in the catalogue.
    pub figures: BTreeMap<String, StoredEstimate>,
    /// Laps.
    pub laps: Option<StoredLaps>,
    /// Gearing.
    pub gearing: Option<StoredGearing>,
    /// Wheelspin.
    pub wheelspin: Option<StoredWheelspin>,
    /// Heat of motor and controller.
    pub heat: Option<StoredHeat>,
    /// Battery.
    pub battery: Option<StoredBattery>,
    /// Power.
    pub power: Option<StoredPower>,
}

/// Why a run could not be reviewed.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredFailure {
    /// What failed, where, and the value seen.
    pub message: Option<String>,
}

/// How a log was read.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredReading {
    /// Lines of data in the file.
    pub rows_in: Option<f64>,
    /// From the first to the last row, s.
    pub duration_s: Option<f64>,
}

/// Laps of a run.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredLaps {
    /// Best of those that count, s.
    pub best_s: Option<f64>,
    /// Median of those that count, s.
    pub median_s: Option<f64>,
    /// All laps.
    pub rows: Vec<StoredLap>,
}

/// One lap.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredLap {
    /// Number, from 1.
    pub lap: Option<i32>,
    /// Log time of its start, s.
    pub start_s: Option<f64>,
    /// Log time of its end, s.
    pub end_s: Option<f64>,
    /// Duration, s.
    pub time_s: Option<f64>,
    /// Motor turns.
    pub revs: Option<f64>,
    /// Why it does not count; `None` where it does.
    pub set_aside: Option<String>,
}

/// Gearing.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredGearing {
    /// FDR of the sheet.
    pub set_ratio: Option<f64>,
    /// FDR realised on the track.
    pub realised_ratio: Option<StoredEstimate>,
    /// Travel for a motor turn on the track, mm.
    pub realised_rollout_mm: Option<StoredEstimate>,
    /// Whether sheet and car agree.
    pub verdict: Option<String>,
}

/// Wheelspin.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredWheelspin {
    /// Time of all events, s.
    pub seconds: Option<f64>,
    /// Share of the time between the first and the last lap line.
    pub share: Option<f64>,
    /// The events.
    pub events: Vec<StoredEvent>,
}

/// One stretch of wheelspin.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredEvent {
    /// Log time of its start, s.
    pub start_s: Option<f64>,
    /// Log time of its end, s.
    pub end_s: Option<f64>,
    /// Lap, from 1; `None` outside the laps.
    pub lap: Option<i32>,
    /// Where on the lap it starts, as a share of the lap.
    pub lap_fraction: Option<f64>,
    /// Highest slip.
    pub peak_slip: Option<f64>,
}

/// Heat of both parts.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredHeat {
    /// The motor.
    pub motor: StoredPartHeat,
    /// The controller.
    pub controller: StoredPartHeat,
}

/// Heat of the motor or the controller.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredPartHeat {
    /// Highest reading, °C.
    pub peak_c: Option<f64>,
    /// At the race's end, °C.
    pub race_end_c: Option<StoredEstimate>,
    /// Whether it stays within its limit.
    pub verdict: Option<String>,
}

/// Battery.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredBattery {
    /// Ohmic resistance of the pack, mΩ.
    pub resistance_mohm: Option<StoredEstimate>,
    /// Lowest pack voltage, V.
    pub lowest_v: Option<f64>,
    /// Lowest voltage of a cell on average, V.
    pub lowest_cell_v: Option<f64>,
    /// Charge used, mAh.
    pub used_mah: Option<f64>,
    /// The same with its interval.
    pub used_range_mah: Option<StoredEstimate>,
    /// Energy used, Wh.
    pub used_wh: Option<f64>,
    /// Charge of the middle one of the counted laps, mAh.
    pub mah_per_lap: Option<f64>,
    /// Charge used by the race's end, mAh.
    pub race_end_used_mah: Option<StoredEstimate>,
    /// Whether the pack lasts.
    pub verdict: Option<String>,
}

/// Power.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredPower {
    /// Highest motor revs, turns a minute.
    pub top_rpm: Option<f64>,
    /// The same with grip; `None` in a review from before it was told.
    pub gripping_rpm: Option<f64>,
    /// The car's top speed, m/s.
    pub top_speed_m_s: Option<f64>,
    /// The same with its interval.
    pub top_speed_range_m_s: Option<StoredEstimate>,
    /// Mean electrical power, W.
    pub mean_w: Option<f64>,
    /// Highest electrical power, W.
    pub peak_w: Option<f64>,
    /// Deceleration off throttle, m/s².
    pub coast_m_s2: Option<StoredEstimate>,
}

/// What a changed setting did.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredComparison {
    /// The car.
    pub car: Option<String>,
    /// The sheet's key.
    pub key: Option<String>,
    /// Its first value; `None` where it was not set.
    pub from: Option<SettingFile>,
    /// The other value.
    pub to: Option<SettingFile>,
    /// Effects on each figure.
    pub effects: Vec<StoredEffect>,
    /// Keys that changed in the same runs.
    pub together_with: Vec<String>,
}

/// One effect of a change.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(default)]
pub struct StoredEffect {
    /// The figure.
    pub of: Option<String>,
    /// The figure with the other value less the figure with the first.
    pub difference: Option<StoredEstimate>,
}
