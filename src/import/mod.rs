//! Reading logs: bytes to [`Log`], without being told how they were written.
//!
//! encoding → dialect → body → columns → clock → repair. Each step returns its value and its notices; what is
//! dropped or repaired is counted with the first line it happened on.

pub mod body;
pub mod clock;
pub mod columns;
pub mod dialect;
pub mod encoding;
pub mod names;
pub mod numbers;
pub mod pieces;
pub mod rate;
pub mod repair;
pub mod shapes;
pub mod table;
pub mod values;

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use columns::Hints;
use dialect::{Refused, Stated};
use table::Table;

use crate::log::Log;
use crate::notice::Notice;

/// A row of log needs about thirty bytes; a file of more than this many is not read.
const MOST_BYTES: u64 = 4 << 30;
/// Rows that a log must hold at least: below, nothing can be measured.
pub const LEAST_ROWS: usize = 10;

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
    /// A folder or a device stands where a log was expected.
    #[error("`{0}` is no file")]
    NotAFile(PathBuf),
    /// Nothing in it.
    #[error("`{0}` is empty")]
    Empty(PathBuf),
    /// Too large to hold.
    #[error("`{path}` has {bytes} bytes; at most {MOST_BYTES} are read")]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
    },
    /// Bytes that are no text.
    #[error("`{path}` is no text: byte {at} is {byte:#04x}")]
    Binary {
        /// The file.
        path: PathBuf,
        /// First offending byte, from 0.
        at: usize,
        /// Its value.
        byte: u8,
    },
    /// A line without end.
    #[error("`{0}`: the first line has no end within a million characters")]
    EndlessLine(PathBuf),
    /// No delimiter gave rows of numbers.
    #[error("`{path}` is no log: {}", tried(refused))]
    NotALog {
        /// The file.
        path: PathBuf,
        /// What was tried, and why each was refused.
        refused: Vec<Refused>,
    },
    /// The table has no usable time.
    #[error("`{path}`, line {line}: no column gives the time ({columns})")]
    NoTime {
        /// The file.
        path: PathBuf,
        /// Line of the header, or of the first row.
        line: u64,
        /// The columns it has.
        columns: String,
    },
    /// The table has no channel beside the time.
    #[error("`{path}`, line {line}: no column is a channel ({columns})")]
    NoChannel {
        /// The file.
        path: PathBuf,
        /// Line of the header, or of the first row.
        line: u64,
        /// The columns it has.
        columns: String,
    },
    /// Too few rows to measure anything.
    #[error("`{path}`, line {line}: {rows} usable rows; at least {LEAST_ROWS} are needed")]
    TooShort {
        /// The file.
        path: PathBuf,
        /// Line of the first row.
        line: u64,
        /// Rows kept.
        rows: usize,
    },
    /// The encoding that the sheet states is not known.
    #[error("`{0}` is no encoding known to the WHATWG standard")]
    Encoding(String),
    /// The columns could not be put together.
    #[error("`{path}`: {source}")]
    Columns {
        /// The file.
        path: PathBuf,
        /// What Arrow said.
        source: arrow::error::ArrowError,
    },
}

fn tried(refused: &[Refused]) -> String {
    let each = refused.iter().map(|r| {
        let name = if r.delimiter == b'\t' { "tab".to_owned() } else { format!("`{}`", char::from(r.delimiter)) };
        format!("delimiter {name}: {}", r.why)
    });
    each.collect::<Vec<_>>().join("; ")
}

impl ReadError {
    /// What the reader can do about it.
    pub fn hint(&self) -> Option<String> {
        let hint = match self {
            ReadError::Io { .. } => "check that the file is there and may be read",
            ReadError::NotAFile(_) => "name a log file; for a folder use `runtrue review`",
            ReadError::Empty(_) => "save the log again from the controller",
            ReadError::TooLarge { .. } => "cut the file up by runs",
            ReadError::Binary { .. } => "export the log as CSV text",
            ReadError::EndlessLine(_) | ReadError::NotALog { .. } => {
                "a log is a table with a row for each moment; state `delimiter` and `decimal` in the sheet's `[import]` if it is one"
            }
            ReadError::NoTime { .. } => "name the time column in the sheet's `[import]`, or state `rate_hz` there",
            ReadError::NoChannel { .. } => {
                "name the columns in the sheet's `[import]`: `column`, `channel`, `unit`, `scale`"
            }
            ReadError::TooShort { .. } => "the recorder may have been stopped at once; check the file",
            ReadError::Encoding(_) => "use a name such as `utf-8`, `windows-1252`, `shift_jis`",
            ReadError::Columns { .. } => return None,
        };
        Some(hint.to_owned())
    }
}

/// Reads the log at `path`; one value for each run in the file.
///
/// # Errors
/// [`ReadError`], naming the file, the line and what was tried.
pub fn read(path: &Path, hints: &Hints) -> Result<Vec<Log>, ReadError> {
    let io = |source| ReadError::Io { path: path.to_owned(), source };
    let about = std::fs::metadata(path).map_err(io)?;
    if about.is_dir() {
        return Err(ReadError::NotAFile(path.to_owned()));
    }
    if about.len() > MOST_BYTES {
        return Err(ReadError::TooLarge { path: path.to_owned(), bytes: about.len() });
    }
    let mut bytes = Vec::with_capacity(about.len() as usize + 1);
    let mut file = File::open(path).map_err(io)?;
    (&mut file).take(2 * dialect::SAMPLE_BYTES as u64).read_to_end(&mut bytes).map_err(io)?;
    refuse_early(path, &bytes)?;
    file.read_to_end(&mut bytes).map_err(io)?;
    read_bytes(path, &bytes, hints)
}

/// Refuses what need not be read whole.
fn refuse_early(path: &Path, head: &[u8]) -> Result<(), ReadError> {
    if head.iter().all(|&b| b == 0) {
        return Err(ReadError::Empty(path.to_owned()));
    }
    if head.len() > dialect::SAMPLE_BYTES && !head[..dialect::SAMPLE_BYTES].iter().any(|&b| b == b'\n' || b == b'\r') {
        return Err(ReadError::EndlessLine(path.to_owned()));
    }
    Ok(())
}

/// Reads a log from `bytes`; `path` is only named in errors.
///
/// # Errors
/// [`ReadError`], naming the file, the line and what was tried.
pub fn read_bytes(path: &Path, bytes: &[u8], hints: &Hints) -> Result<Vec<Log>, ReadError> {
    refuse_early(path, bytes)?;
    let mut notices = Vec::new();
    let bytes = cut_padding(bytes, &mut notices);
    let stated = match &hints.encoding {
        Some(label) => {
            Some(encoding_rs::Encoding::for_label(label.as_bytes()).ok_or_else(|| ReadError::Encoding(label.clone()))?)
        }
        None => None,
    };
    let decoded = encoding::decode(bytes, stated);
    if let Some(at) = first_binary(&decoded.text) {
        return Err(ReadError::Binary { path: path.to_owned(), at, byte: decoded.text.as_bytes()[at] });
    }
    if decoded.damaged {
        notices.push(Notice::warning(
            "damaged-text",
            format!("some bytes have no meaning in {} and were read as `\u{fffd}`", decoded.name),
        ));
    }
    let lone_cr = decoded.text.contains('\r') && !decoded.text.contains('\n');
    let text = if lone_cr { decoded.text.replace('\r', "\n").into() } else { decoded.text };
    let layout = dialect::detect(&text, Stated { delimiter: hints.delimiter, decimal: hints.decimal })
        .map_err(|refused| ReadError::NotALog { path: path.to_owned(), refused })?;
    let table = Table { path, layout, encoding: decoded.name, hints };
    table.read(&text, notices)
}

/// Recorders that lose power leave blocks of NUL bytes at the end of a file.
fn cut_padding<'a>(bytes: &'a [u8], notices: &mut Vec<Notice>) -> &'a [u8] {
    let end = bytes.iter().rposition(|&b| b != 0).map_or(0, |at| at + 1);
    if bytes.len() - end < 8 {
        return bytes;
    }
    notices.push(
        Notice::warning("padded-file", "NUL bytes at the end of the file were cut off")
            .at(None, (bytes.len() - end) as u64),
    );
    &bytes[..end + (end % 2).min(bytes.len() - end)]
}

/// First control character that no text holds, where they are more than a stray few.
fn first_binary(text: &str) -> Option<usize> {
    let head = &text.as_bytes()[..text.len().min(1 << 16)];
    let odd = |b: &u8| *b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0c | 0x1a);
    let count = head.iter().filter(|b| odd(b)).count();
    (count * 50 > head.len()).then(|| head.iter().position(odd).unwrap_or(0))
}
