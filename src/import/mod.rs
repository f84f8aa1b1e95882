//! Reading logs: bytes to [`Log`], whatever way they were written.
//!
//! | stage | takes | gives |
//! | --- | --- | --- |
//! | [`crate::packed`] | a workbook, a file in an archive | bytes, or text |
//! | [`encoding`] | bytes | text |
//! | [`dialect`] | text | the layout: delimiter, number form, preamble, header, units, first row |
//! | `columns`, by `names` and `channel_names.toml` | headers | what each column is used for |
//! | `body`, in `pieces` on all cores, by `rows` | text | columns of numbers, times and text, each row with its line |
//! | `time_column`, `timeline` | a column, or a rate | seconds that only run forward, and where runs start |
//! | `guesses`, by `assignment` and `shapes` | values | channels that no header names |
//! | `channels`, by `marks`, `channel_unit`, `speeds` and `repair` | columns | channels in their own units |
//! | `table` | all of it | one log for each run |
//!
//! Each stage returns its value and its notices; what was left out or repaired is counted with the first line it
//! happened on. Every sentence about it is in `remarks`, every reason why a file gives no log in [`ReadError`].

mod assignment;
mod body;
mod channel_unit;
mod channels;
pub mod clock;
mod column;
pub mod columns;
pub mod dialect;
pub mod encoding;
mod error;
mod guesses;
mod marks;
mod names;
mod numbers;
mod pieces;
mod rate;
pub(crate) mod remarks;
mod repair;
mod rows;
mod shapes;
mod speeds;
mod table;
mod time_column;
mod timeline;
mod units;
mod vocabulary;
mod workbook;

use std::fs::File;
use std::io::Read;
use std::path::Path;

use columns::Hints;
use dialect::LONGEST_LINE_BYTES;
use error::MOST_BYTES;
pub use error::ReadError;
use remarks::Remark;
use table::read_text;

use crate::log::{Channel, Log};
use crate::notice::Notice;
use crate::packed;
use crate::packed::archive::is_archive;
use crate::packed::workbook::{Packing, packing};

/// NUL bytes at the end of a file from which they are filling and not an odd character.
const PADDING_BYTES: usize = 8;
/// Bytes of a text that are looked at for control characters.
const CONTROL_HEAD_BYTES: usize = 1 << 16;
/// A text has fewer control characters than one in this many.
const CONTROL_ONE_IN: usize = 50;

/// Reads the log at `path`; one value for each run in the file.
///
/// # Errors
/// [`ReadError`], with the file, the line and what was tried.
pub fn read(path: &Path, hints: &Hints) -> Result<Vec<Log>, ReadError> {
    read_bytes(path, &bytes_of(path)?, hints)
}

/// The bytes of the log at `path`, on the drive, in an archive or from a pipe.
///
/// # Errors
/// [`ReadError`]; what its beginning shows to be no log is not read whole.
pub fn bytes_of(path: &Path) -> Result<Vec<u8>, ReadError> {
    let io = |source| ReadError::Io { path: path.to_owned(), source };
    let Ok(metadata) = std::fs::metadata(path) else {
        return packed::path::read(path).map_err(io);
    };
    if metadata.is_dir() {
        return Err(ReadError::Folder(path.to_owned()));
    }
    if metadata.len() > MOST_BYTES {
        return Err(ReadError::TooLarge { path: path.to_owned(), bytes: metadata.len() });
    }
    let mut bytes = Vec::with_capacity(metadata.len() as usize + 1);
    let mut file = File::open(path).map_err(io)?;
    (&mut file).take(2 * LONGEST_LINE_BYTES as u64).read_to_end(&mut bytes).map_err(io)?;
    refuse_early(path, &bytes)?;
    file.read_to_end(&mut bytes).map_err(io)?;
    Ok(bytes)
}

/// Refuses what need not be read whole.
fn refuse_early(path: &Path, head: &[u8]) -> Result<(), ReadError> {
    if is_archive(head) {
        return Ok(());
    }
    if head.iter().all(|&b| b == 0) {
        return Err(ReadError::Empty(path.to_owned()));
    }
    if head.len() > LONGEST_LINE_BYTES && !head[..LONGEST_LINE_BYTES].iter().any(|&b| b == b'\n' || b == b'\r') {
        return Err(ReadError::EndlessLine(path.to_owned()));
    }
    Ok(())
}

/// Reads a log from `bytes`; `path` is only for errors.
///
/// # Errors
/// [`ReadError`], with the file, the line and what was tried.
pub fn read_bytes(path: &Path, bytes: &[u8], hints: &Hints) -> Result<Vec<Log>, ReadError> {
    refuse_early(path, bytes)?;
    match packing(bytes).map_err(|e| ReadError::Packed { path: path.to_owned(), source: e.into() })? {
        Packing::Workbook => return workbook::read(path, bytes, hints),
        Packing::OtherWorkbook => return Err(ReadError::OtherWorkbook(path.to_owned())),
        Packing::Archive => return Err(ReadError::Archive(path.to_owned())),
        Packing::None => {}
    }
    let mut notices = Vec::new();
    let bytes = cut_padding(bytes, &mut notices);
    let stated = match &hints.encoding {
        Some(label) => {
            Some(encoding_rs::Encoding::for_label(label.as_bytes()).ok_or_else(|| ReadError::Encoding(label.clone()))?)
        }
        None => None,
    };
    let decoded = encoding::decode(bytes, stated);
    if is_binary(&decoded.text) {
        return Err(ReadError::NotText(path.to_owned()));
    }
    if decoded.damaged {
        notices.push(Remark::DamagedText { encoding: decoded.name }.notice());
    }
    // Some recorders end their lines with CR alone.
    let lone_cr = !decoded.text.contains('\n') && decoded.text.contains('\r');
    let text = if lone_cr { decoded.text.replace('\r', "\n").into() } else { decoded.text };
    read_text(path, &text, decoded.name, hints, notices)
}

/// Whether `header` is a name of motor revs and of nothing else.
pub fn names_revs(header: &str) -> bool {
    let named = names::header_meaning(header);
    named.certainty == names::Certainty::Known && named.meaning == Some(vocabulary::Meaning::Channel(Channel::Rpm))
}

/// Recorders that lose power leave blocks of NUL bytes at the end of a file. The second half of a UTF-16 character may
/// be one of them.
fn cut_padding<'a>(bytes: &'a [u8], notices: &mut Vec<Notice>) -> &'a [u8] {
    let end = bytes.iter().rposition(|&b| b != 0).map_or(0, |last| last + 1);
    if bytes.len() - end < PADDING_BYTES {
        return bytes;
    }
    notices.push(Remark::PaddedFile.notice().counted(None, (bytes.len() - end) as u64));
    &bytes[..end + (end % 2).min(bytes.len() - end)]
}

/// Whether `text` starts with more control characters than the stray few of a text.
fn is_binary(text: &str) -> bool {
    let head = &text.as_bytes()[..text.len().min(CONTROL_HEAD_BYTES)];
    let is_control = |b: &u8| *b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0c | 0x1a);
    head.iter().filter(|b| is_control(b)).count() * CONTROL_ONE_IN > head.len()
}
