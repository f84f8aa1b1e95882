//! The table's body, read once: cells to columns of numbers, times and text, with what was dropped.

use rayon::prelude::*;

use super::clock;
use super::dialect::{Layout, Row, is_unit_row};
use super::names;
use super::numbers::{NumberForm, is_missing};
use super::pieces::{Piece, line_ends, pieces, place};
use crate::notice::{Notice, Tally, printable};

/// What a column's cells are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Numbers, with or without their unit.
    Numbers,
    /// Times of the day, with or without a date.
    Clock,
    /// Dates.
    Date,
    /// Anything else.
    Text,
}

/// A column as read.
#[derive(Debug)]
pub struct Column {
    /// What its cells are.
    pub kind: Kind,
    /// Numbers, or seconds; NaN where there is none. Empty for text.
    pub values: Vec<f64>,
    /// Cells of a text column.
    pub text: Vec<String>,
    /// The unit written behind its numbers.
    pub cell_unit: Option<names::Unit>,
    /// Cells that say that there is no reading.
    pub missing: Tally,
    /// Cells that are neither a reading nor say that there is none.
    pub unreadable: Tally,
    /// Decimals of the first number seen, and whether all had as many.
    decimals: Option<(usize, bool)>,
}

/// The body of a log.
#[derive(Debug)]
pub struct Body {
    /// Columns, left to right.
    pub columns: Vec<Column>,
    /// Rows read, kept or not; a header written again is none.
    pub rows_in: u64,
    /// Rows that follow a header written again.
    pub breaks: Vec<usize>,
    /// What was dropped.
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

/// Row to line, kept where the distance changes.
#[derive(Debug, Default)]
struct LineMap {
    rows: usize,
    jumps: Vec<(usize, u64)>,
}

impl LineMap {
    fn push(&mut self, line: u64) {
        if self.jumps.is_empty() || self.line(self.rows) != line {
            self.jumps.push((self.rows, line));
        }
        self.rows += 1;
    }

    fn append(&mut self, next: LineMap) {
        let rows = self.rows;
        for (row, line) in next.jumps {
            // The rows may run on as they did.
            if self.jumps.is_empty() || self.line(rows + row) != line {
                self.jumps.push((rows + row, line));
            }
        }
        self.rows += next.rows;
    }

    fn line(&self, row: usize) -> u64 {
        let at = self.jumps.partition_point(|j| j.0 <= row);
        at.checked_sub(1).map_or(0, |at| self.jumps[at].1 + (row - self.jumps[at].0) as u64)
    }
}

#[derive(Default)]
struct Dropped {
    not_data: Tally,
    too_wide: Tally,
    short: Tally,
    cut: Option<u64>,
}

/// Reads the body of `text`. `leading` is the column that must hold a reading in each row: the time's.
pub fn read(text: &str, layout: &Layout, leading: Option<usize>) -> Body {
    let mut body = read_quoted(text, layout, leading, true);
    // A quote that is never closed swallows the lines after it.
    if text.as_bytes()[layout.body_start..].contains(&b'"')
        && body.rows_in * 2 < line_ends(&text.as_bytes()[layout.body_start..]) as u64
    {
        body = read_quoted(text, layout, leading, false);
        body.notices
            .push(Notice::warning("stray-quote", "a quote is opened and never closed; quotes were read as text"));
    }
    body
}

/// A body, or a piece of one.
struct Part {
    columns: Vec<Column>,
    rows_in: u64,
    breaks: Vec<usize>,
    lines: LineMap,
    dropped: Dropped,
}

fn read_quoted(text: &str, layout: &Layout, leading: Option<usize>, quoting: bool) -> Body {
    let rest = &text.as_bytes()[layout.body_start..];
    let reader = Reader { layout, leading, quoting, often_short: often_short(layout), heads: heads(layout) };
    let part = if quoting && rest.contains(&b'"') {
        // A quoted cell may hold line ends: where it ends is known to who reads from the start.
        reader.read(reader.part(line_ends(rest) + 1), rest, layout.body_line, true)
    } else {
        reader.read_in_pieces(rest)
    };
    let Part { columns, rows_in, mut breaks, lines, dropped } = part;
    breaks.retain(|&row| row > 0);
    Body { columns, rows_in, breaks, notices: dropped.notices(layout.width), lines }
}

/// How a body is read.
struct Reader<'a> {
    layout: &'a Layout,
    leading: Option<usize>,
    quoting: bool,
    often_short: bool,
    heads: Vec<&'a Row>,
}

impl Reader<'_> {
    fn part(&self, rows: usize) -> Part {
        Part {
            columns: (0..self.layout.width).map(|c| new_column(c, self.layout, rows)).collect(),
            rows_in: 0,
            breaks: Vec::new(),
            lines: LineMap::default(),
            dropped: Dropped::default(),
        }
    }

    /// Reads a body without quotes on all cores.
    fn read_in_pieces(&self, rest: &[u8]) -> Part {
        // Whether a last line without an end is cut off is judged by all lines before it.
        let whole = rest.iter().rposition(|&b| b == b'\n').map_or(0, |at| at + 1);
        let pieces = pieces(&rest[..whole], self.layout.body_line);
        let end = pieces.last().map_or(self.layout.body_line, |p| p.line + p.lines as u64);
        let mut all = self.part(pieces.iter().map(|p| p.lines).sum::<usize>() + 1);
        // Some at a time: what was read of all of them at once would take the room of the log a second time.
        for some in pieces.chunks(2 * rayon::current_num_threads()) {
            let read = |piece: &Piece| self.read(all.empty(piece.lines), piece.text, piece.line, false);
            for part in some.par_iter().map(read).collect::<Vec<_>>() {
                all.append(part);
            }
        }
        self.read(all, &rest[whole..], end, true)
    }

    /// Reads `text`, whose first line is `first_line` of the file, on into `part`; `to_end` says that the file ends with it.
    fn read(&self, mut part: Part, text: &[u8], first_line: u64, to_end: bool) -> Part {
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(self.layout.delimiter)
            .flexible(true)
            .has_headers(false)
            .quoting(self.quoting)
            .from_reader(text);
        let ended = !to_end || text.last().is_none_or(|&b| b == b'\n' || b == b'\r');
        let mut record = csv::ByteRecord::new();
        while reader.read_byte_record(&mut record).unwrap_or(false) {
            let line = place(&record, text).1 + first_line - 1;
            let last = !ended && reader.position().byte() as usize >= text.len();
            self.take(&mut part, &record, line, last);
        }
        part
    }

    /// Takes one line; `last` is the file's last without an end.
    fn take(&self, part: &mut Part, record: &csv::ByteRecord, line: u64, last: bool) {
        let layout = self.layout;
        if is_one_of(record, &self.heads, layout.width) {
            part.breaks.push(part.lines.rows);
            return;
        }
        part.rows_in += 1;
        let cells = filled_width(record);
        if !is_row(record, layout.form, self.leading, &part.columns) {
            part.dropped.not_data.add(line, || joined(record, layout.delimiter));
        } else if cells > layout.width {
            part.dropped.too_wide.add(line, || joined(record, layout.delimiter));
        } else if last && is_cut(record, layout, &part.columns) {
            part.dropped.cut = Some(line);
        } else {
            let short = record.len() < layout.width;
            if short {
                part.dropped.short.add(line, || joined(record, layout.delimiter));
            }
            // The last cell of a torn row may be torn itself.
            let sound = if short && !self.often_short { record.len() - 1 } else { record.len() };
            for (at, column) in part.columns.iter_mut().enumerate() {
                column.push(record.get(at).filter(|_| at < sound), layout.form, line);
            }
            part.lines.push(line);
        }
    }
}

impl Part {
    /// One with the same columns, nothing in them yet, and room for `rows`.
    fn empty(&self, rows: usize) -> Part {
        Part {
            columns: self.columns.iter().map(|c| c.empty(rows)).collect(),
            rows_in: 0,
            breaks: Vec::new(),
            lines: LineMap::default(),
            dropped: Dropped::default(),
        }
    }

    /// Adds what was read of the lines after these.
    fn append(&mut self, next: Part) {
        let rows = self.lines.rows;
        self.breaks.extend(next.breaks.into_iter().map(|row| rows + row));
        self.lines.append(next.lines);
        self.rows_in += next.rows_in;
        self.dropped.append(next.dropped);
        for (column, next) in self.columns.iter_mut().zip(next.columns) {
            column.append(next);
        }
    }
}

fn new_column(at: usize, layout: &Layout, rows: usize) -> Column {
    let cells: Vec<&str> = layout
        .sample
        .iter()
        .filter_map(|r| r.cells.get(at))
        .map(String::as_str)
        .filter(|c| !is_missing(c.as_bytes()))
        .collect();
    let count = |test: &dyn Fn(&str) -> bool| cells.iter().filter(|c| test(c)).count() * 2;
    let with_unit = |c: &str| layout.form.parse_with_unit(c).and_then(|(_, u)| names::unit(u));
    let number = |c: &str| layout.form.parse(c.as_bytes()).is_some() || with_unit(c).is_some();
    let kind = match () {
        () if cells.is_empty() || count(&number) >= cells.len() => Kind::Numbers,
        () if count(&|c| clock::parse(c).is_some()) >= cells.len() => Kind::Clock,
        () if count(&|c| clock::date(c).is_some()) >= cells.len() => Kind::Date,
        () => Kind::Text,
    };
    let cell_unit = if kind == Kind::Numbers { cells.iter().find_map(|c| with_unit(c)) } else { None };
    Column::new(kind, cell_unit, rows)
}

impl Column {
    fn new(kind: Kind, cell_unit: Option<names::Unit>, rows: usize) -> Self {
        let (values, text) = match kind {
            Kind::Text => (Vec::new(), Vec::with_capacity(rows)),
            _ => (Vec::with_capacity(rows), Vec::new()),
        };
        Self { kind, values, text, cell_unit, missing: Tally::default(), unreadable: Tally::default(), decimals: None }
    }

    fn empty(&self, rows: usize) -> Self {
        Self::new(self.kind, self.cell_unit, rows)
    }

    /// Whether every number of the column was written with three decimals.
    pub fn all_three_decimals(&self) -> bool {
        self.decimals == Some((3, true))
    }

    fn append(&mut self, mut next: Column) {
        self.values.append(&mut next.values);
        self.text.append(&mut next.text);
        self.missing.append(next.missing);
        self.unreadable.append(next.unreadable);
        self.decimals = match (self.decimals, next.decimals) {
            (Some((first, alike)), Some((later, too))) => Some((first, alike && too && first == later)),
            (own, later) => own.or(later),
        };
    }

    fn push(&mut self, cell: Option<&[u8]>, form: NumberForm, line: u64) {
        let cell = cell.unwrap_or_default();
        let value = match self.kind {
            Kind::Text => {
                self.text.push(String::from_utf8_lossy(cell).into_owned());
                return;
            }
            _ => self.parse(cell, form),
        };
        if let (Kind::Numbers, Some(_)) = (self.kind, value) {
            let decimals = form.decimals(cell);
            let (first, alike) = self.decimals.unwrap_or((decimals, true));
            self.decimals = Some((first, alike && first == decimals));
        }
        if value.is_none() {
            if is_missing(cell) {
                self.missing.add(line, || printable(&String::from_utf8_lossy(cell), 20));
            } else {
                self.unreadable.add(line, || printable(&String::from_utf8_lossy(cell), 20));
            }
        }
        self.values.push(value.unwrap_or(f64::NAN));
    }

    fn parse(&self, cell: &[u8], form: NumberForm) -> Option<f64> {
        let text = || std::str::from_utf8(cell).ok();
        match self.kind {
            Kind::Numbers => form.parse(cell).or_else(|| {
                let (value, unit) = form.parse_with_unit(text()?)?;
                let unit = names::unit(unit)?;
                // A recorder may change units as values grow: 950 mA, 1.2 A.
                let own = self.cell_unit.filter(|own| own.quantity == unit.quantity)?;
                Some((unit.convert(value) - own.offset) / own.scale)
            }),
            Kind::Clock => clock::parse(text()?),
            Kind::Date => clock::date(text()?),
            Kind::Text => None,
        }
    }
}

fn filled_width(record: &csv::ByteRecord) -> usize {
    (0..record.len()).rev().find(|&c| !record[c].trim_ascii().is_empty()).map_or(0, |c| c + 1)
}

fn often_short(layout: &Layout) -> bool {
    let short = layout.sample.iter().filter(|r| r.cells.len() < layout.width).count();
    short * 10 > layout.sample.len()
}

/// The rows that a recorder may write again where it starts anew.
fn heads(layout: &Layout) -> Vec<&Row> {
    let units = layout.units.as_ref().filter(|u| is_unit_row(u));
    layout.header.iter().chain(units).filter(|row| row.cells.len() > 1).collect()
}

fn is_one_of(record: &csv::ByteRecord, heads: &[&Row], width: usize) -> bool {
    let same = |row: &&Row| {
        record.len() >= row.cells.len().min(width)
            && record.iter().zip(&row.cells).all(|(a, b)| a.trim_ascii() == b.as_bytes())
    };
    heads.iter().any(same)
}

/// A row of data has a reading or nothing where the time stands, and a reading somewhere.
fn is_row(record: &csv::ByteRecord, form: NumberForm, leading: Option<usize>, columns: &[Column]) -> bool {
    match leading.map(|at| (at, record.get(at))) {
        Some((at, Some(cell))) if columns[at].parse(cell, form).is_some() => return true,
        Some((_, Some(cell))) if is_missing(cell) => {}
        Some(_) => return false,
        None => {}
    }
    columns.iter().zip(record).any(|(column, cell)| column.kind != Kind::Text && column.parse(cell, form).is_some())
}

/// Whether the file's last line, without a line end, stops in the middle of a row or of its last number.
fn is_cut(record: &csv::ByteRecord, layout: &Layout, columns: &[Column]) -> bool {
    let cells = filled_width(record);
    let usual = layout
        .sample
        .iter()
        .map(|r| r.cells.iter().rposition(|c| !c.is_empty()).map_or(0, |at| at + 1))
        .max()
        .unwrap_or(0);
    cells < usual
        || columns.get(cells - 1).is_some_and(|column| {
            column
                .decimals
                .is_some_and(|(decimals, alike)| alike && layout.form.decimals(&record[cells - 1]) != decimals)
        })
}

fn joined(record: &csv::ByteRecord, delimiter: u8) -> String {
    let cells: Vec<String> = record.iter().map(|c| String::from_utf8_lossy(c).into_owned()).collect();
    printable(&cells.join(&char::from(delimiter).to_string()), 40)
}

impl Dropped {
    fn append(&mut self, next: Dropped) {
        self.not_data.append(next.not_data);
        self.too_wide.append(next.too_wide);
        self.short.append(next.short);
        self.cut = self.cut.or(next.cut);
    }

    fn notices(self, width: usize) -> Vec<Notice> {
        let mut notices = Vec::new();
        let mut add = |tally: Tally, code, what: &str| {
            if tally.count > 0 {
                let message = format!("{what}, first `{}`", tally.first_seen);
                notices.push(Notice::warning(code, message).at(tally.first_line, tally.count));
            }
        };
        add(self.not_data, "not-a-row", "lines that are no rows of data were dropped");
        add(self.too_wide, "too-many-cells", &format!("rows of more than {width} cells were dropped"));
        add(self.short, "too-few-cells", &format!("rows of fewer than {width} cells were kept as far as they go"));
        if let Some(line) = self.cut {
            notices.push(Notice::warning("cut-row", "the last row is cut off and was dropped").at(Some(line), 1));
        }
        notices
    }
}
