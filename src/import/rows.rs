//! Lines to rows: where a row's cells are, and what those of columns are worth.
//!
//! Where no quotation mark encloses a cell, rows are cut and their numbers read in one pass. Else the CSV reader cuts
//! them.

use std::ops::Range;

use super::column::{Cell, Column, Kind};
use super::dialect::Row;
use super::numbers::NumberForm;
use super::pieces::{Piece, place};
use crate::notice::printable;

/// Characters shown of a line that was left out.
const SHOWN: usize = 40;

/// How rows are written.
#[derive(Debug, Clone, Copy)]
pub struct RowForm {
    /// Between cells.
    pub delimiter: u8,
    /// How numbers are written.
    pub numbers: NumberForm,
}

/// A row on its way into the columns.
pub struct RowCells<'t> {
    /// Line in the file, from 1.
    pub line: u64,
    /// Whether the file ends with it, without a line end.
    pub unended: bool,
    text: &'t [u8],
    cells: &'t [CutCell],
    delimiter: u8,
}

impl<'t> RowCells<'t> {
    /// How many cells it has.
    pub fn width(&self) -> usize {
        self.cells.len()
    }

    /// A cell, `None` where the row ends before it.
    pub fn cell(&self, index: usize) -> Option<Cell<'t>> {
        self.cells.get(index).map(|cut| cut.cell(self.text))
    }

    /// All cells.
    pub fn cells(&self) -> impl DoubleEndedIterator<Item = Cell<'t>> + ExactSizeIterator {
        self.cells.iter().map(|cut| cut.cell(self.text))
    }

    /// Cells up to the last that is not empty.
    pub fn filled_width(&self) -> usize {
        self.cells().rposition(|cell| !cell.text.trim_ascii().is_empty()).map_or(0, |last| last + 1)
    }

    /// Whether it is one of `heads`, of a table of `width` columns.
    pub fn is_one_of(&self, heads: &[&Row], width: usize) -> bool {
        let same = |head: &&Row| {
            self.width() >= head.cells.len().min(width)
                && self.cells().zip(&head.cells).all(|(own, head)| own.text.trim_ascii() == head.as_bytes())
        };
        heads.iter().any(same)
    }

    /// The row to be shown.
    pub fn shown(&self) -> String {
        let cells: Vec<_> = self.cells().map(|cell| String::from_utf8_lossy(cell.text)).collect();
        printable(&cells.join(&char::from(self.delimiter).to_string()), SHOWN)
    }
}

/// Where a cell is in its text, and what it is worth.
#[derive(Debug)]
struct CutCell {
    place: Range<usize>,
    value: Option<f64>,
    decimals: usize,
}

impl CutCell {
    /// The cell at `place`, in its `column` where it has one.
    fn new(text: &[u8], place: Range<usize>, column: Option<&Column>, form: NumberForm) -> Self {
        let cell = &text[place.clone()];
        let value = column.and_then(|column| column.parse(cell, form));
        let is_number = value.is_some() && column.is_some_and(|column| column.kind == Kind::Numbers);
        let decimals = if is_number { form.decimals(cell) } else { 0 };
        Self { place, value, decimals }
    }

    fn cell<'t>(&self, text: &'t [u8]) -> Cell<'t> {
        Cell { text: &text[self.place.clone()], value: self.value, decimals: self.decimals }
    }
}

/// The rows of a piece in which quotation marks are plain characters, if there are any. A CR, an LF or both end a row;
/// empty lines are none.
pub struct PlainRows<'p> {
    text: &'p [u8],
    form: RowForm,
    is_ended: bool,
    /// Where the next row, or a line end before it, begins.
    at: usize,
    /// Line of that place.
    line: u64,
    cells: Vec<CutCell>,
}

impl<'p> PlainRows<'p> {
    /// The rows of `piece`.
    pub fn new(piece: &Piece<'p>, form: RowForm) -> Self {
        let (text, line) = (piece.text, piece.first_line);
        Self { text, form, is_ended: is_ended(piece), at: 0, line, cells: Vec::new() }
    }

    /// The next row, whose cells belong to `columns`.
    pub fn next(&mut self, columns: &[Column]) -> Option<RowCells<'_>> {
        let text = self.text;
        while let Some(end @ (b'\r' | b'\n')) = text.get(self.at) {
            self.line += u64::from(*end == b'\n');
            self.at += 1;
        }
        if self.at == text.len() {
            return None;
        }
        self.cells.clear();
        loop {
            let cell = cut_cell(text, self.at, columns.get(self.cells.len()), self.form);
            self.at = cell.place.end;
            self.cells.push(cell);
            if text.get(self.at) != Some(&self.form.delimiter) {
                break;
            }
            self.at += 1;
        }
        let unended = !self.is_ended && self.at == text.len();
        Some(RowCells { line: self.line, unended, text, cells: &self.cells, delimiter: self.form.delimiter })
    }
}

/// The cell that starts at `from`.
fn cut_cell(text: &[u8], from: usize, column: Option<&Column>, form: RowForm) -> CutCell {
    let ends = |byte: &u8| *byte == form.delimiter || *byte == b'\n' || *byte == b'\r';
    if column.is_some_and(|column| column.kind == Kind::Numbers) && form.delimiter != form.numbers.decimal {
        let short = form.numbers.short_number(&text[from..]);
        if let Some(short) = short.filter(|short| text.get(from + short.length).is_none_or(ends)) {
            let place = from..from + short.length;
            return CutCell { place, value: Some(short.value), decimals: short.decimals };
        }
    }
    let end = text[from..].iter().position(ends).map_or(text.len(), |length| from + length);
    CutCell::new(text, from..end, column, form.numbers)
}

/// The rows of a piece in which quotation marks enclose cells.
pub struct QuotedRows<'p> {
    text: &'p [u8],
    first_line: u64,
    form: RowForm,
    is_ended: bool,
    reader: csv::Reader<&'p [u8]>,
    record: csv::ByteRecord,
    cells: Vec<CutCell>,
}

impl<'p> QuotedRows<'p> {
    /// The rows of `piece`.
    pub fn new(piece: &Piece<'p>, form: RowForm) -> Self {
        let (text, first_line) = (piece.text, piece.first_line);
        let mut builder = csv::ReaderBuilder::new();
        let reader = builder.delimiter(form.delimiter).flexible(true).has_headers(false).from_reader(text);
        let (record, cells) = (csv::ByteRecord::new(), Vec::new());
        Self { text, first_line, form, is_ended: is_ended(piece), reader, record, cells }
    }

    /// The next row, whose cells belong to `columns`.
    pub fn next(&mut self, columns: &[Column]) -> Option<RowCells<'_>> {
        let record = &mut self.record;
        self.reader.read_byte_record(record).ok().filter(|more| *more)?;
        let line = place(record, self.text).line + self.first_line - 1;
        let unended = !self.is_ended && self.reader.position().byte() as usize >= self.text.len();
        let (text, places) = (record.as_slice(), (0..record.len()).filter_map(|index| record.range(index)));
        self.cells.clear();
        let cell = |(index, place)| CutCell::new(text, place, columns.get(index), self.form.numbers);
        self.cells.extend(places.enumerate().map(cell));
        Some(RowCells { line, unended, text, cells: &self.cells, delimiter: self.form.delimiter })
    }
}

/// Whether what comes last in a piece is whole: it has a line end, or the file goes on.
fn is_ended(piece: &Piece) -> bool {
    !piece.ends_file || piece.text.last().is_none_or(|&b| b == b'\n' || b == b'\r')
}
