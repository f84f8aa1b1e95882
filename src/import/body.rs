//! The table's body, read once: lines to rows, cells to columns, and what was left out.
//!
//! A body without quotation marks is cut into pieces that are read on all cores and put together in order. With them
//! it is read from the start, since a quoted cell may hold line ends.

use rayon::prelude::*;

use super::column::{Column, Kind};
use super::dialect::{Layout, Row, is_unit_row};
use super::numbers::is_missing;
use super::pieces::{Piece, line_ends, pieces};
use super::remarks::Remark;
use super::rows::{PlainRows, QuotedRows, RowCells, RowForm};
use crate::notice::{Notice, Tally};

/// Bytes that are made up for cells that short rows lack, at most, for each byte of the text: recorders that leave
/// cells out leave out some, and a table of thousands of columns must not grow without end.
const MADE_UP_PER_BYTE: usize = 64;
/// Bytes that a cell takes that a short row lacks: a number, or an empty text.
const NUMBER_BYTES: usize = size_of::<f64>();
const TEXT_BYTES: usize = size_of::<String>();

/// The body of a log.
#[derive(Debug)]
pub struct Body {
    /// Columns, left to right.
    pub columns: Vec<Column>,
    /// Rows read, kept or not; a header written again is not one.
    pub rows_in: u64,
    /// Rows that follow a header written again.
    pub breaks: Vec<usize>,
    /// What was left out.
    pub notices: Vec<Notice>,
    lines: LineMap,
}

impl Body {
    /// Rows kept.
    pub fn rows(&self) -> usize {
        self.lines.rows
    }

    /// Line in the file of a row.
    pub fn line(&self, row: usize) -> u64 {
        self.lines.line(row)
    }
}

/// The line of each row, kept only where a row does not follow the one before on the next line.
#[derive(Debug, Default)]
struct LineMap {
    rows: usize,
    jumps: Vec<Jump>,
}

/// A row that starts a stretch of rows on consecutive lines.
#[derive(Debug)]
struct Jump {
    row: usize,
    line: u64,
}

impl LineMap {
    fn push(&mut self, line: u64) {
        self.jump_to(self.rows, line);
        self.rows += 1;
    }

    fn append(&mut self, later: LineMap) {
        let rows = self.rows;
        for jump in later.jumps {
            self.jump_to(rows + jump.row, jump.line);
        }
        self.rows += later.rows;
    }

    /// Says that `row` is on `line`, which it may be already.
    fn jump_to(&mut self, row: usize, line: u64) {
        if self.jumps.is_empty() || self.line(row) != line {
            self.jumps.push(Jump { row, line });
        }
    }

    fn line(&self, row: usize) -> u64 {
        let stretches = self.jumps.partition_point(|jump| jump.row <= row);
        stretches.checked_sub(1).map_or(0, |last| self.jumps[last].line + (row - self.jumps[last].row) as u64)
    }
}

/// Lines that were left out or kept in part.
#[derive(Default)]
struct Dropped {
    not_data: Tally,
    too_wide: Tally,
    short: Tally,
    /// Line of a last row that breaks off.
    cut: Option<u64>,
}

/// Whether quotation marks enclose cells or are plain characters, if there are any.
#[derive(Clone, Copy, PartialEq)]
enum Quotes {
    EncloseCells,
    ArePlain,
}

/// Reads the body of `text`. `time_column` is the column that must have a reading in each row.
pub fn read(text: &str, layout: &Layout, time_column: Option<usize>) -> Body {
    let rest = &text.as_bytes()[layout.body_start..];
    let has_quotes = memchr::memchr(b'"', rest).is_some();
    let quotes = if has_quotes { Quotes::EncloseCells } else { Quotes::ArePlain };
    let body = read_with(rest, layout, time_column, quotes);
    // A quotation mark that is never closed swallows the lines after it.
    if quotes == Quotes::ArePlain || body.rows_in * 2 >= line_ends(rest) as u64 {
        return body;
    }
    let mut body = read_with(rest, layout, time_column, Quotes::ArePlain);
    body.notices.push(Remark::StrayQuote.notice());
    body
}

fn read_with(rest: &[u8], layout: &Layout, time_column: Option<usize>, quotes: Quotes) -> Body {
    let reader = Reader {
        layout,
        time_column,
        quotes,
        often_short: rows_are_often_short(layout),
        heads: repeatable_heads(layout),
        usual_width: layout.sample.iter().map(Row::filled_width).max().unwrap_or(0),
    };
    let part = if quotes == Quotes::EncloseCells {
        let whole = Piece::last(rest, layout.body_line);
        reader.read(reader.new_part(reader.room(&whole) + 1), &whole)
    } else {
        reader.read_in_pieces(rest)
    };
    let Part { columns, rows_in, mut breaks, lines, dropped, .. } = part;
    breaks.retain(|&row| row > 0);
    Body { columns, rows_in, breaks, notices: dropped.notices(layout.width), lines }
}

/// A body, or a piece of one.
struct Part {
    columns: Vec<Column>,
    rows_in: u64,
    breaks: Vec<usize>,
    lines: LineMap,
    dropped: Dropped,
    /// Bytes that a row of so many cells lacks.
    lacking: Vec<usize>,
    /// Bytes that are made up for cells that short rows lack.
    made_up: usize,
    /// How many of them there may be.
    most_made_up: usize,
}

/// How a body is read.
struct Reader<'a> {
    layout: &'a Layout,
    time_column: Option<usize>,
    quotes: Quotes,
    /// Whether rows with fewer cells are this recorder's habit.
    often_short: bool,
    /// Rows that may be written again.
    heads: Vec<&'a Row>,
    /// Filled cells of the widest row of the sample.
    usual_width: usize,
}

impl Reader<'_> {
    fn new_part(&self, rows: usize) -> Part {
        Part::new((0..self.layout.width).map(|index| Column::from_sample(index, self.layout, rows)).collect())
    }

    /// Rows to make room for: a row takes a line, and a byte for each delimiter.
    fn room(&self, piece: &Piece) -> usize {
        piece.line_ends.min(piece.text.len() / self.layout.width.max(1))
    }

    /// Reads a body in which each line end ends a row.
    fn read_in_pieces(&self, rest: &[u8]) -> Part {
        // Whether a last line without an end is cut off is judged by all lines before it.
        let whole = rest.iter().rposition(|&b| b == b'\n').map_or(0, |end| end + 1);
        let pieces = pieces(&rest[..whole], self.layout.body_line);
        let last_line = pieces.last().map_or(self.layout.body_line, Piece::next_line);
        let mut all = self.new_part(pieces.iter().map(|p| self.room(p)).sum::<usize>() + 1);
        all = match &*pieces {
            [piece] => self.read(all, piece),
            _ => self.read_on_all_cores(all, &pieces),
        };
        self.read(all, &Piece::last(&rest[whole..], last_line))
    }

    /// Reads pieces on into `all`, each on a core.
    fn read_on_all_cores(&self, mut all: Part, pieces: &[Piece]) -> Part {
        let empty = all.empty(0);
        let read = |piece: &Piece| self.read(empty.empty(self.room(piece)), piece);
        // Some at a time: what was read of all of them at once would take the room of the log a second time. Those
        // before are put in their place while the next are read.
        let mut before: Vec<Part> = Vec::new();
        for some in pieces.chunks(2 * rayon::current_num_threads()) {
            let append = || before.drain(..).for_each(|part| all.append(part));
            let (parts, ()) = rayon::join(|| some.par_iter().map(read).collect(), append);
            before = parts;
        }
        before.into_iter().for_each(|part| all.append(part));
        all
    }

    /// Reads a piece on into `part`.
    fn read(&self, mut part: Part, piece: &Piece) -> Part {
        part.most_made_up = part.made_up + MADE_UP_PER_BYTE * piece.text.len();
        let form = RowForm { delimiter: self.layout.delimiter, numbers: self.layout.form };
        if self.quotes == Quotes::EncloseCells {
            let mut rows = QuotedRows::new(piece, form);
            while let Some(row) = rows.next(&part.columns) {
                self.take(&mut part, &row);
            }
        } else {
            let mut rows = PlainRows::new(piece, form);
            while let Some(row) = rows.next(&part.columns) {
                self.take(&mut part, &row);
            }
        }
        part
    }

    /// Takes one row.
    fn take(&self, part: &mut Part, row: &RowCells) {
        let layout = self.layout;
        if row.is_one_of(&self.heads, layout.width) {
            part.breaks.push(part.lines.rows);
            return;
        }
        part.rows_in += 1;
        if !is_data(row, self.time_column, &part.columns) {
            part.dropped.not_data.add(row.line, || row.shown());
        } else if row.width() > layout.width && row.filled_width() > layout.width {
            part.dropped.too_wide.add(row.line, || row.shown());
        } else if row.unended && self.is_cut(row, &part.columns) {
            part.dropped.cut = Some(row.line);
        } else if !part.may_be_short(row.width()) {
            part.dropped.not_data.add(row.line, || row.shown());
        } else {
            let short = row.width() < layout.width;
            if short {
                part.dropped.short.add(row.line, || row.shown());
            }
            // The last cell of a torn row may be torn itself.
            let sound = if short && !self.often_short { row.width() - 1 } else { row.width() };
            for (index, column) in part.columns.iter_mut().enumerate() {
                column.push(row.cell(index).filter(|_| index < sound), row.line);
            }
            part.lines.push(row.line);
        }
    }

    /// Whether the file's last line, without a line end, stops in the middle of a row or of its last number.
    fn is_cut(&self, row: &RowCells, columns: &[Column]) -> bool {
        let filled = row.filled_width();
        let last = || Some((columns.get(filled - 1)?, row.cell(filled - 1)?));
        filled < self.usual_width || last().is_some_and(|(column, cell)| column.breaks_off(cell.text, self.layout.form))
    }
}

impl Part {
    fn new(columns: Vec<Column>) -> Self {
        let (breaks, lines, dropped) = (Vec::new(), LineMap::default(), Dropped::default());
        let bytes = |column: &Column| if column.kind == Kind::Text { TEXT_BYTES } else { NUMBER_BYTES };
        let mut lacking = vec![0; columns.len() + 1];
        for (cells, column) in columns.iter().enumerate().rev() {
            lacking[cells] = lacking[cells + 1] + bytes(column);
        }
        Self { columns, rows_in: 0, breaks, lines, dropped, lacking, made_up: 0, most_made_up: 0 }
    }

    /// Whether there is room for what a row of `cells` lacks; takes it if so.
    fn may_be_short(&mut self, cells: usize) -> bool {
        let more = self.lacking.get(cells).copied().unwrap_or(0);
        let fits = self.made_up + more <= self.most_made_up;
        self.made_up += if fits { more } else { 0 };
        fits
    }

    /// One with the same columns, nothing in them yet, and room for `rows`.
    fn empty(&self, rows: usize) -> Part {
        Part::new(self.columns.iter().map(|c| c.empty(rows)).collect())
    }

    /// Adds what was read of later lines.
    fn append(&mut self, later: Part) {
        let rows = self.lines.rows;
        self.breaks.extend(later.breaks.into_iter().map(|row| rows + row));
        self.lines.append(later.lines);
        self.rows_in += later.rows_in;
        self.dropped.append(later.dropped);
        for (column, later) in self.columns.iter_mut().zip(later.columns) {
            column.append(later);
        }
    }
}

/// Whether more than one row in ten of the sample has fewer cells than columns.
fn rows_are_often_short(layout: &Layout) -> bool {
    let short = layout.sample.iter().filter(|r| r.cells.len() < layout.width).count();
    short * 10 > layout.sample.len()
}

/// The rows that a recorder may write again where it starts anew.
fn repeatable_heads(layout: &Layout) -> Vec<&Row> {
    let units = layout.units.as_ref().filter(|u| is_unit_row(u));
    layout.header.iter().chain(units).filter(|row| row.cells.len() > 1).collect()
}

/// A row of data has a reading or nothing in the time's column, and a reading somewhere.
fn is_data(row: &RowCells, time_column: Option<usize>, columns: &[Column]) -> bool {
    if let Some(time) = time_column {
        match row.cell(time) {
            Some(cell) if cell.value.is_some() => return true,
            Some(cell) if is_missing(cell.text) => {}
            Some(_) | None => return false,
        }
    }
    columns.iter().zip(row.cells()).any(|(column, cell)| column.kind != Kind::Text && cell.value.is_some())
}

impl Dropped {
    fn append(&mut self, later: Dropped) {
        self.not_data.append(later.not_data);
        self.too_wide.append(later.too_wide);
        self.short.append(later.short);
        self.cut = self.cut.or(later.cut);
    }

    fn notices(&self, width: usize) -> Vec<Notice> {
        let Dropped { not_data, too_wide, short, .. } = self;
        [
            Remark::NotARow { first_seen: &not_data.first_seen }.tallied(not_data),
            Remark::TooManyCells { width, first_seen: &too_wide.first_seen }.tallied(too_wide),
            Remark::TooFewCells { width, first_seen: &short.first_seen }.tallied(short),
            self.cut.map(|line| Remark::CutRow.notice().counted(Some(line), 1)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}
