//! Workbooks (`.xlsx`, ISO/IEC 29500): each worksheet as the text that it would be if it were saved as a table.
//!
//! Values alone: a formula counts as the value that it had when the workbook was saved, colours and charts as nothing.
//! Cells are parted by tabs, decimals by a point; a row of the worksheet is a line with the same number. A date is
//! written `2026-05-16 14:03:05.1200`, a time of day or a length of time `14:03:05.1200`.

use std::fmt::Write;
use std::io::{Cursor, Read, Seek};

use calamine::{DataRef, ExcelDateTime, Reader, Xlsx};
use jiff::ToSpan;
use jiff::civil::Date;

use super::MOST_BYTES;
use super::archive::{Archive, ArchiveError, is_archive};

/// A file that every workbook of this kind has in it.
const HEART: &str = "xl/workbook.xml";
/// Files of other programs' workbooks, which are archives too.
const OTHER_HEARTS: [&str; 3] = ["content.xml", "xl/workbook.bin", "Index/Document.iwa"];
/// Start of a workbook as it was written until 2007, or of one that is locked with a password (Microsoft, MS-CFB).
const COMPOUND_FILE: &[u8] = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1";
/// Parts of a workbook: its worksheets, pictures and links (common practice, no source).
const MOST_PARTS: usize = 2000;
/// The day that has the number 0 in a workbook: it counts 29 February 1900, which was none (ISO/IEC 29500-1, 18.17.4.1).
const DAY_ZERO: Date = Date::constant(1899, 12, 30);
/// Days that can be told as a date, to the year 9999.
const DAYS: std::ops::Range<f64> = 1.0..2_958_466.0;
/// Parts of a second that are written: a day's number of 15 digits holds no more.
const PARTS_A_SECOND: f64 = 1e4;

/// What a file is, by its first bytes and what is packed in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packing {
    /// A workbook that can be read.
    Workbook,
    /// A workbook in another form, or one that is locked.
    OtherWorkbook,
    /// An archive of other files.
    Archive,
    /// Neither.
    None,
}

/// Why a workbook could not be read.
#[derive(Debug, thiserror::Error)]
pub enum WorkbookError {
    /// What it is packed in.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// One of its parts.
    #[error("the workbook is damaged or was not copied whole")]
    Damaged,
    /// Far more cells than any log has.
    #[error("the worksheet would have more than {} MB as text", MOST_BYTES >> 20)]
    TooLarge,
}

/// A workbook that is open.
pub struct Workbook<'b> {
    workbook: Xlsx<Cursor<&'b [u8]>>,
}

/// What `bytes` are.
///
/// # Errors
/// Where they begin as an archive and are none that can be opened.
pub fn packing(bytes: &[u8]) -> Result<Packing, ArchiveError> {
    if bytes.starts_with(COMPOUND_FILE) {
        return Ok(Packing::OtherWorkbook);
    }
    if is_archive(bytes) { packing_of(Cursor::new(bytes)) } else { Ok(Packing::None) }
}

/// What the archive in `source` is.
///
/// # Errors
/// Where it cannot be opened.
pub fn packing_of(source: impl Read + Seek) -> Result<Packing, ArchiveError> {
    let archive = Archive::open_with(source, MOST_PARTS)?;
    let has = |name: &str| archive.contents().files.iter().any(|f| f.path.as_os_str() == name);
    Ok(if has(HEART) {
        Packing::Workbook
    } else if OTHER_HEARTS.into_iter().any(has) {
        Packing::OtherWorkbook
    } else {
        Packing::Archive
    })
}

impl<'b> Workbook<'b> {
    /// Opens the workbook in `bytes`.
    ///
    /// # Errors
    /// [`WorkbookError`].
    pub fn open(bytes: &'b [u8]) -> Result<Self, WorkbookError> {
        // Its reader unpacks as much as there is: what there is, is looked at first.
        Archive::open_with(Cursor::new(bytes), MOST_PARTS)?.check()?;
        Ok(Self { workbook: Xlsx::new(Cursor::new(bytes)).map_err(|_| WorkbookError::Damaged)? })
    }

    /// Names of its worksheets, in their order.
    pub fn worksheets(&self) -> Vec<String> {
        self.workbook.sheet_names()
    }

    /// The worksheet `name` as text.
    ///
    /// # Errors
    /// [`WorkbookError`].
    pub fn text(&mut self, name: &str) -> Result<String, WorkbookError> {
        let mut cells = self.workbook.worksheet_cells_reader(name).map_err(|_| WorkbookError::Damaged)?;
        let mut lines = Lines::default();
        while let Some(cell) = cells.next_cell().map_err(|_| WorkbookError::Damaged)? {
            let (row, column) = cell.get_position();
            lines.put(row as usize, column as usize, cell.get_value())?;
        }
        lines.padded()
    }
}

/// Lines of text that grow cell by cell.
#[derive(Default)]
struct Lines {
    text: String,
    /// Cells of each finished line.
    cells: Vec<usize>,
    /// Cells of the line that is being written.
    in_line: usize,
}

impl Lines {
    fn put(&mut self, row: usize, column: usize, value: &DataRef) -> Result<(), WorkbookError> {
        // Cells come row by row, from left to right; one out of place is passed over.
        let (has_room, is_next) = (row < MOST_BYTES as usize, row > self.cells.len() || column >= self.in_line);
        if row < self.cells.len() || !is_next || !has_room {
            return Ok(());
        }
        while self.cells.len() < row {
            self.text.push('\n');
            self.cells.push(self.in_line);
            self.in_line = 0;
        }
        let gap = (column + 1 - self.in_line).saturating_sub(usize::from(self.in_line == 0));
        if (self.text.len() + gap) as u64 > MOST_BYTES {
            return Err(WorkbookError::TooLarge);
        }
        self.text.extend(std::iter::repeat_n('\t', gap));
        self.in_line = column + 1;
        write_cell(&mut self.text, value);
        if self.text.len() as u64 > MOST_BYTES { Err(WorkbookError::TooLarge) } else { Ok(()) }
    }

    /// The text with as many cells in each line as the longest has, as a table is saved.
    fn padded(mut self) -> Result<String, WorkbookError> {
        self.cells.push(self.in_line);
        let width = self.cells.iter().copied().max().unwrap_or(0);
        let missing = |cells: &usize| if *cells == 0 { 0 } else { width - cells };
        let more: usize = self.cells.iter().map(missing).sum();
        if (self.text.len() + more) as u64 > MOST_BYTES {
            return Err(WorkbookError::TooLarge);
        }
        if more == 0 {
            return Ok(self.text);
        }
        let mut padded = String::with_capacity(self.text.len() + more + 1);
        // A cell's own line breaks were written as spaces.
        for (line, cells) in self.text.split('\n').zip(&self.cells) {
            padded.push_str(line);
            padded.extend(std::iter::repeat_n('\t', missing(cells)));
            padded.push('\n');
        }
        Ok(padded)
    }
}

fn write_cell(text: &mut String, value: &DataRef) {
    // Writing to a text cannot fail.
    let _ = match value {
        DataRef::Int(number) => write!(text, "{number}"),
        DataRef::Float(number) => write!(text, "{number}"),
        DataRef::Bool(flag) => write!(text, "{flag}"),
        DataRef::DateTime(moment) => write_moment(text, moment),
        DataRef::String(words) | DataRef::DateTimeIso(words) | DataRef::DurationIso(words) => {
            write_words(text, words);
            Ok(())
        }
        DataRef::SharedString(words) => {
            write_words(text, words);
            Ok(())
        }
        DataRef::Error(_) | DataRef::Empty => Ok(()),
    };
}

/// Words in quotes where they would be cut otherwise, and on one line.
fn write_words(text: &mut String, words: &str) {
    let plain = words.replace(['\t', '\n', '\r'], " ");
    if plain.contains('"') {
        text.push_str(&format!("\"{}\"", plain.replace('"', "\"\"")));
    } else {
        text.push_str(&plain);
    }
}

/// A number of days as a date, a time of day, or both; a length of time in hours.
fn write_moment(text: &mut String, moment: &ExcelDateTime) -> std::fmt::Result {
    let days = moment.as_f64();
    if !days.is_finite() || days < 0.0 || moment.is_duration() || !DAYS.contains(&days) {
        return if (0.0..DAYS.end).contains(&days) { write_clock(text, days) } else { write!(text, "{days}") };
    }
    // Rounded as a whole, so that a moment just before midnight does not lose its day.
    let parts = (days * 86_400.0 * PARTS_A_SECOND).round();
    let in_day = 86_400.0 * PARTS_A_SECOND;
    let Ok(date) = DAY_ZERO.checked_add(((parts / in_day).floor() as i64).days()) else {
        return write!(text, "{days}");
    };
    write!(text, "{date}")?;
    match parts % in_day {
        0.0 => Ok(()),
        rest => {
            text.push(' ');
            write_clock(text, rest / in_day)
        }
    }
}

/// Days as hours, minutes and seconds; below an hour without hours.
fn write_clock(text: &mut String, days: f64) -> std::fmt::Result {
    let parts = (days * 86_400.0 * PARTS_A_SECOND).round();
    let (minutes, seconds) =
        ((parts / PARTS_A_SECOND / 60.0).floor(), parts % (60.0 * PARTS_A_SECOND) / PARTS_A_SECOND);
    match (minutes / 60.0).floor() {
        0.0 => write!(text, "{minutes}:{seconds:07.4}"),
        hours => write!(text, "{hours}:{:02}:{seconds:07.4}", minutes % 60.0),
    }
}
