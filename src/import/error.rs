//! Why a file gave no log: what is wrong, where, and what would be right.

use std::io;
use std::path::PathBuf;

use super::dialect::Refused;
use crate::packed::workbook::WorkbookError;

/// A row of a log takes about thirty bytes; a file of more than this many is not read, since all of it is held at once.
pub const MOST_BYTES: u64 = 4 << 30;
/// Rows that a log must hold: below, nothing can be measured.
pub const FEWEST_ROWS: usize = 10;
/// Columns that a log may have: recorders of whole cars write some hundreds (common practice, no source).
pub const MOST_COLUMNS: usize = 4096;

/// Why a file gave no log.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file could not be read.
    #[error("`{path}` could not be read: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A folder where a log was expected.
    #[error("`{0}` is a folder, not a log")]
    Folder(PathBuf),
    /// Nothing in it, or nothing but zeros.
    #[error("`{0}` is empty")]
    Empty(PathBuf),
    /// Too large to hold.
    #[error("`{path}` has {}; the limit is {}", gigabytes(*bytes), gigabytes(MOST_BYTES))]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size in bytes.
        bytes: u64,
    },
    /// Not text.
    #[error("`{0}` is not a log but an image or a program")]
    NotText(PathBuf),
    /// A packed file in place of a log.
    #[error("`{0}` is a packed file, not a log")]
    Archive(PathBuf),
    /// A workbook in another form than `.xlsx`, or one behind a password.
    #[error("`{0}` is a workbook of another kind, or one that is locked with a password")]
    OtherWorkbook(PathBuf),
    /// A packed file or a workbook that could not be read.
    #[error("`{path}` could not be read: {source}")]
    Packed {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: WorkbookError,
    },
    /// A line without end.
    #[error("the first line of `{0}` does not end within a million characters")]
    EndlessLine(PathBuf),
    /// No delimiter gave rows of numbers.
    #[error("there is no table of numbers in `{path}` (tried: {})", tried(refused))]
    NotALog {
        /// The file.
        path: PathBuf,
        /// What was tried, and why each was refused.
        refused: Vec<Refused>,
    },
    /// More columns than any recorder writes.
    #[error("`{path}`, line {line}: the table has {columns} columns; the limit is {MOST_COLUMNS}")]
    TooManyColumns {
        /// The file.
        path: PathBuf,
        /// Line of the header, or of the first row.
        line: u64,
        /// Columns it has.
        columns: usize,
    },
    /// The table has no usable time.
    #[error("`{path}`, line {line}: no column gives the time (columns: {columns})")]
    NoTime {
        /// The file.
        path: PathBuf,
        /// Line of the header, or of the first row.
        line: u64,
        /// The columns it has.
        columns: String,
    },
    /// The table has no channel beside the time.
    #[error(
        "`{path}`, line {line}: no column holds rpm, voltage, current or another reading of the car (columns: {columns})"
    )]
    NoChannel {
        /// The file.
        path: PathBuf,
        /// Line of the header, or of the first row.
        line: u64,
        /// The columns it has.
        columns: String,
    },
    /// Too few rows to measure anything.
    #[error("`{path}`, line {line}: {rows} usable rows from here on; at least {FEWEST_ROWS} are needed")]
    TooShort {
        /// The file.
        path: PathBuf,
        /// Line of the first row.
        line: u64,
        /// Rows kept.
        rows: usize,
    },
    /// The encoding that the sheet names is not known.
    #[error("`[import]` names the encoding `{0}`, which is not known")]
    Encoding(String),
    /// The columns could not be put together.
    #[error("the columns of `{path}` could not be put together: {source}")]
    Columns {
        /// The file.
        path: PathBuf,
        /// What Arrow said.
        source: arrow::error::ArrowError,
    },
}

/// A size for people, rounded up to a tenth, so that what is over a limit never looks as large as the limit.
fn gigabytes(bytes: u64) -> String {
    let tenths = (bytes * 10).div_ceil(1 << 30);
    format!("{} GB", tenths as f64 / 10.0)
}

fn tried(refused: &[Refused]) -> String {
    let each = refused.iter().map(|tried| {
        let name = match tried.delimiter {
            b',' => "comma".to_owned(),
            b';' => "semicolon".to_owned(),
            b'\t' => "tab".to_owned(),
            other => format!("`{}`", char::from(other)),
        };
        format!("{name}: {}", tried.why)
    });
    each.collect::<Vec<_>>().join("; ")
}

impl ReadError {
    /// What to do about it.
    pub fn hint(&self) -> Option<String> {
        let hint = match self {
            ReadError::Io { .. } => "check that the file is there and that you may read it",
            ReadError::Folder(_) => "name a log file; for a folder use `runtrue review`",
            ReadError::Empty(_) => "save the log again from the controller",
            ReadError::TooLarge { .. } => "cut the file into one file a run",
            ReadError::NotText(_) => "export the log from the recorder or its software as CSV",
            ReadError::Archive(_) => "name a file in it, such as `runs.zip/run1.csv`",
            ReadError::OtherWorkbook(_) => "save the table as `.xlsx` without a password, or as CSV",
            ReadError::Packed { path, .. } if path.extension().is_some_and(|e| e == "xlsx") => "save the table as CSV",
            ReadError::Packed { source: WorkbookError::Archive(source), .. } => source.hint(),
            ReadError::Packed { .. } => "save the table as CSV",
            ReadError::EndlessLine(_) | ReadError::NotALog { .. } => {
                "a log is a table with one row for each moment; if this is one, write its `delimiter` and `decimal` \
                 under `[import]` in the sheet"
            }
            ReadError::TooManyColumns { .. } => {
                "export only the columns of the car; if rows and columns changed places, write one row for each moment"
            }
            ReadError::NoTime { .. } => {
                "name the time column under `[import]` in the sheet, or write the rows a second there as `rate_hz`"
            }
            ReadError::NoChannel { .. } => {
                "name the columns under `[import]` in the sheet: `column`, `channel`, `unit`, `scale`"
            }
            ReadError::TooShort { .. } => "the recorder may have been stopped at once; check the file",
            ReadError::Encoding(_) => "write a name such as `utf-8`, `windows-1252` or `shift_jis`",
            ReadError::Columns { .. } => return None,
        };
        Some(hint.to_owned())
    }
}

/// One error of each kind, for tests that read all sentences.
#[cfg(test)]
pub(crate) fn one_of_each() -> Vec<ReadError> {
    use super::dialect::Refusal;
    use crate::packed::archive::ArchiveError;

    let (path, columns) = (PathBuf::from("x.csv"), "`Time`, `RPM`".to_owned());
    let refused = vec![
        Refused { delimiter: b',', why: Refusal::NoRows { lines: 3 } },
        Refused { delimiter: b';', why: Refusal::NotInFile },
        Refused { delimiter: b'\t', why: Refusal::NotInFile },
        Refused { delimiter: b'|', why: Refusal::NotInFile },
    ];
    let arrow = arrow::error::ArrowError::InvalidArgumentError("all columns must have the same length".to_owned());
    vec![
        ReadError::Io { path: path.clone(), source: io::Error::other("no such file") },
        ReadError::Folder("logs".into()),
        ReadError::Empty(path.clone()),
        ReadError::TooLarge { path: path.clone(), bytes: MOST_BYTES + 1 },
        ReadError::NotText(path.clone()),
        ReadError::Archive("runs.zip".into()),
        ReadError::OtherWorkbook("x.xls".into()),
        ReadError::Packed { path: "x.xlsx".into(), source: WorkbookError::Damaged },
        ReadError::Packed { path: "x.xlsx".into(), source: WorkbookError::TooLarge },
        ReadError::Packed { path: "x.xlsx".into(), source: ArchiveError::TooLarge.into() },
        ReadError::EndlessLine(path.clone()),
        ReadError::NotALog { path: path.clone(), refused },
        ReadError::TooManyColumns { path: path.clone(), line: 1, columns: 10_000 },
        ReadError::NoTime { path: path.clone(), line: 1, columns: columns.clone() },
        ReadError::NoChannel { path: path.clone(), line: 1, columns },
        ReadError::TooShort { path: path.clone(), line: 2, rows: 7 },
        ReadError::Encoding("latin-0".to_owned()),
        ReadError::Columns { path, source: arrow },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All sentences and hints, to be read from top to bottom.
    #[test]
    fn sentences() {
        let lines: String = one_of_each()
            .iter()
            .map(|error| {
                let hint = error.hint().map_or(String::new(), |hint| format!("\n    hint: {hint}"));
                format!("{error}{hint}\n")
            })
            .collect();
        insta::assert_snapshot!(lines);
    }
}
