//! A log in a workbook: the first worksheet that holds one is read, as if it had been saved as text.

use std::path::Path;

use super::columns::Hints;
use super::error::ReadError;
use super::remarks::Remark;
use super::table::read_text;
use crate::log::Log;
use crate::notice::{Notice, printable};
use crate::packed::workbook::{Workbook, WorkbookError};

/// What the text of a worksheet is written in.
const ENCODING: &str = "UTF-8";
/// Longest name of a worksheet that is shown, characters: what a workbook allows.
const LONGEST_NAME: usize = 31;

/// Reads the log in the workbook `bytes`; `path` is only for errors.
///
/// # Errors
/// [`ReadError`]: where no worksheet holds a log, why the first does not.
pub(super) fn read(path: &Path, bytes: &[u8], hints: &Hints) -> Result<Vec<Log>, ReadError> {
    let broken = |source: WorkbookError| ReadError::Packed { path: path.to_owned(), source };
    let mut workbook = Workbook::open(bytes).map_err(broken)?;
    let worksheets = workbook.worksheets();
    // What the user says of a text file does not hold for cells.
    let hints = Hints { encoding: None, delimiter: None, decimal: None, ..hints.clone() };
    let mut first_refusal = None;
    for name in &worksheets {
        let refused = match workbook.text(name) {
            Ok(text) if text.trim().is_empty() => continue,
            Ok(text) => {
                let notices = (worksheets.len() > 1).then(|| read_of(name, &worksheets)).into_iter().collect();
                match read_text(path, &text, ENCODING, &hints, notices) {
                    Ok(logs) => return Ok(logs),
                    Err(e) => e,
                }
            }
            Err(e) => broken(e),
        };
        first_refusal.get_or_insert(refused);
    }
    Err(first_refusal.unwrap_or_else(|| ReadError::Empty(path.to_owned())))
}

fn read_of(name: &str, worksheets: &[String]) -> Notice {
    let shown = |name: &String| format!("`{}`", printable(name, LONGEST_NAME));
    let others: Vec<String> = worksheets.iter().filter(|other| *other != name).map(shown).collect();
    Remark::Worksheet { name: &printable(name, LONGEST_NAME), others: &others.join(", ") }.notice()
}
