//! A season's answers as other programs read them, and its page, written into the data set's folder.

use std::path::{Path, PathBuf};

use schemars::{JsonSchema, Schema, schema_for};
use serde::Serialize;

use super::{pages, view, write};
use crate::review_file::pretty;
use crate::season::answers::Answers;
use crate::season::schema::ANSWERS_FORMAT;
use crate::storage::{WriteError, sweep};

/// `season.json`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(rename = "Season")]
pub struct SeasonFile {
    /// `runtrue season answers 1`.
    pub format: &'static str,
    /// The answers.
    #[serde(flatten)]
    pub answers: Answers,
}

/// The text of `season.json`.
pub fn text(answers: &Answers) -> String {
    pretty(&SeasonFile { format: ANSWERS_FORMAT, answers: answers.clone() })
}

/// The JSON Schema of `season.json`.
pub fn schema() -> Schema {
    schema_for!(SeasonFile)
}

/// Writes the answers of a season and its page into the data set's folder; returns the page.
///
/// # Errors
/// [`WriteError`], naming the file.
pub fn write(answers: &Answers, root: &Path) -> Result<PathBuf, WriteError> {
    sweep(root);
    write::text(&root.join("season.json"), &text(answers))?;
    let index = root.join("index.html");
    write::page(&index, pages::season(&view::season(answers)))?;
    Ok(index)
}
