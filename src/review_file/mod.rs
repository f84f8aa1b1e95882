//! `review.json`, format `runtrue review 1`, typed both ways.
//!
//! [`written`] is the whole file as this version writes it, with its JSON Schema. [`stored`] is what a reader of such
//! files relies on, whichever version wrote them: every field may be missing. A test holds the second to the first.

pub mod stored;
pub mod written;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use crate::review::Review;

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

/// The JSON Schema of `review.json`.
pub fn schema() -> Schema {
    schema_for!(written::ReviewFile)
}

/// The text of `review.json`.
pub fn text(review: &Review) -> String {
    pretty(&written::review_file(review))
}

/// A structure as the text of a JSON file.
pub fn pretty(file: &impl Serialize) -> String {
    // The structures hold nothing that JSON cannot: serialising them does not fail.
    serde_json::to_string_pretty(file).map_or_else(|e| format!("{{\"error\": \"{e}\"}}"), |t| t + "\n")
}
