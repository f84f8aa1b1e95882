//! Names in a weekend's folder: the sheet's, and those that a log may have.

use std::path::Path;

/// File name of the sheet in a weekend's folder.
pub const SHEET: &str = "weekend.toml";
/// Endings of file names that may be logs or lap lists.
pub const LOG_ENDINGS: [&str; 6] = ["csv", "txt", "tsv", "log", "dat", "xlsx"];

/// Whether a file's name ends as a log's does.
pub fn may_be_log(path: &Path) -> bool {
    path.extension().is_some_and(|e| LOG_ENDINGS.contains(&e.to_string_lossy().to_lowercase().as_str()))
}
