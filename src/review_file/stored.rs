//! `review.json` as it is read: what a reader relies on, whichever version of runtrue wrote it.
//!
//! A field that an older version did not write, or wrote as `null`, is `None`; a field that is not listed here is passed
//! over. Verdicts and reasons are text: a newer version may write one that this version does not know.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::notice::printable;

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

/// Why a file is not a review that can be read.
#[derive(Debug, thiserror::Error)]
pub enum StoredError {
    /// Another format, or none.
    #[error("{}", other_format(.0.as_deref()))]
    Format(Option<String>),
    /// It is not JSON, or a field holds another kind of value than runtrue writes.
    #[error("it is not a review as runtrue writes it: {0}")]
    Json(#[from] serde_json::Error),
    /// The part about the weekend is missing.
    #[error("it does not describe the weekend")]
    NoWeekend,
    /// No run in it.
    #[error("it has no runs")]
    NoRuns,
    /// Two runs of one id.
    #[error("it has two runs with the id `{0}`")]
    SameId(String),
}

fn other_format(format: Option<&str>) -> String {
    match format {
        Some(format) => format!("its format is `{}`, not `{FORMAT}`", printable(format, 40)),
        None => format!("it does not name its format, which must be `{FORMAT}`"),
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

/// What is looked at before the rest is read.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Head {
    format: Value,
    weekend: Value,
}

/// Reads the text of a `review.json`.
///
/// # Errors
/// [`StoredError`] where it is not JSON, not of this format, or describes no weekend with runs.
pub fn read(text: &str) -> Result<StoredReview, StoredError> {
    let head: Head = serde_json::from_str(text)?;
    if head.format != FORMAT {
        return Err(StoredError::Format(head.format.as_str().map(str::to_owned)));
    }
    if !head.weekend.is_object() {
        return Err(StoredError::NoWeekend);
    }
    checked(serde_json::from_str(text)?)
}

/// The review, if its runs can be told apart.
pub(super) fn checked(review: StoredReview) -> Result<StoredReview, StoredError> {
    if review.runs.is_empty() {
        return Err(StoredError::NoRuns);
    }
    let mut ids = BTreeSet::new();
    let id = |run: &StoredRun| run.id.clone().unwrap_or_default();
    match review.runs.iter().map(id).find(|id| !ids.insert(id.clone())) {
        Some(twice) => Err(StoredError::SameId(printable(&twice, 40))),
        None => Ok(review),
    }
}

#[cfg(test)]
mod tests {
    use schemars::schema_for;
    use serde_json::json;

    use super::*;

    /// The definition that a part of a schema stands for, without `null`.
    fn resolved<'a>(schema: &'a Value, part: &'a Value) -> &'a Value {
        if let Some(reference) = part["$ref"].as_str() {
            return resolved(schema, schema.pointer(reference.trim_start_matches('#')).unwrap());
        }
        let choices = part["anyOf"].as_array().into_iter().flatten();
        match choices.filter(|c| c["type"] != "null").collect::<Vec<_>>().as_slice() {
            [only] => resolved(schema, only),
            _ => part,
        }
    }

    /// Fields of `read` that `written` lacks.
    fn lacking(read: (&Value, &Value), written: (&Value, &Value), path: &str, found: &mut Vec<String>) {
        let (stored, file) = (resolved(read.0, read.1), resolved(written.0, written.1));
        for (name, field) in stored["properties"].as_object().into_iter().flatten() {
            match file["properties"].get(name) {
                Some(own) => lacking((read.0, field), (written.0, own), &format!("{path}/{name}"), found),
                None => found.push(format!("{path}/{name}")),
            }
        }
        if stored.get("items").is_some() {
            lacking((read.0, &stored["items"]), (written.0, &file["items"]), path, found);
        }
    }

    #[test]
    fn every_field_that_is_read_is_written() {
        let (stored, file) = (schema_for!(StoredReview).to_value(), crate::review_file::schema().to_value());
        let mut found = Vec::new();
        lacking((&stored, &stored), (&file, &file), "", &mut found);
        assert_eq!(found, Vec::<String>::new());
        // The check itself finds what is not there.
        let other = json!({ "properties": { "runs": { "items": {} } } });
        lacking((&stored, &stored), (&other, &other), "", &mut found);
        assert!(found.iter().any(|f| f == "/runs/id") && found.iter().any(|f| f == "/weekend"), "{found:?}");
    }

    #[test]
    fn older_files_lack_fields_and_newer_ones_have_more() {
        let text = r#"{ "format": "runtrue review 1", "weekend": {}, "colour": "red", "runs": [
            { "id": "r", "gearing": { "verdict": "to be seen", "set_ratio": null }, "settings": { "pinion": 31, "wing": null } }] }"#;
        let run = &read(text).unwrap().runs[0];
        assert_eq!(run.gearing.as_ref().unwrap().verdict.as_deref(), Some("to be seen"));
        assert_eq!(run.settings["pinion"].as_ref().unwrap().to_string(), "31");
        assert!(run.settings["wing"].is_none() && run.laps.is_none());
    }
}
