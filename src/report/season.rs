//! A season's answers as other programs read them, and its page, written into the data set's folder.

use std::path::{Path, PathBuf};

use schemars::{JsonSchema, Schema, schema_for};
use serde::Serialize;

use super::{pages, view, write};
use crate::review_file::pretty;
use crate::season::answers::Answers;
use crate::season::schema::ANSWERS_FORMAT;
use crate::storage::{WriteError, check_own, own_folder};
use crate::units::Units;

const ANSWERS: &str = "season.json";
const INDEX: &str = "index.html";

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

/// Checks that the answers and the page may be written into the data set's folder, before a weekend is collected.
///
/// # Errors
/// [`WriteError`], naming the file that is in the way.
pub fn check(root: &Path) -> Result<(), WriteError> {
    check_own(root, [ANSWERS, INDEX].map(Path::new))
}

/// Writes the answers of a season and its page, in `units`, into the data set's folder; returns the page.
///
/// # Errors
/// [`WriteError`], naming the file; where a file is in the way that runtrue did not write, nothing is written.
pub fn write(answers: &Answers, root: &Path, units: Units) -> Result<PathBuf, WriteError> {
    check(root)?;
    own_folder(root, Path::new(""))?;
    write::text(root, ANSWERS, &text(answers))?;
    write::page(root, INDEX, pages::season(&view::season(answers), units))?;
    Ok(root.join(INDEX))
}
