//! Reads a `review.json`, whichever version of runtrue wrote it.

use std::collections::BTreeSet;

use serde::Deserialize;
use serde_json::Value;

use super::older;
use super::stored::{FORMAT, StoredReview, StoredRun};
use crate::notice::printable;

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

/// The review, if its runs can be told apart; with the figures that an older version did not list.
pub(super) fn checked(mut review: StoredReview) -> Result<StoredReview, StoredError> {
    if review.runs.is_empty() {
        return Err(StoredError::NoRuns);
    }
    let mut ids = BTreeSet::new();
    let id = |run: &StoredRun| run.id.clone().unwrap_or_default();
    match review.runs.iter().map(id).find(|id| !ids.insert(id.clone())) {
        Some(twice) => Err(StoredError::SameId(printable(&twice, 40))),
        None => {
            for run in review.runs.iter_mut().filter(|run| run.figures.is_empty()) {
                run.figures = older::figures(run);
            }
            Ok(review)
        }
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
