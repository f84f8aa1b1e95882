//! Text to a table's layout: delimiter, number form, preamble, header, row of units, first row of data.
//!
//! Delimiter and number form are scored together, as in van den Burg, Nazábal and Sutton, *Wrangling messy CSV files by
//! detecting row and type patterns* (2019): share of rows of one width times share of cells of a known type, here over
//! the rows after the preamble.

use std::collections::BTreeMap;
use std::fmt;

use super::clock;
use super::numbers::{Grouping, NumberForm, is_missing};
use super::pieces::{Place, place};
use super::vocabulary;

/// Lines of the head that are looked at.
const SAMPLE_LINES: usize = 400;
/// Lines of the middle that are looked at: numbers look different on track than at rest.
const MIDDLE_LINES: usize = SAMPLE_LINES / 4;
/// A first line longer than this is not a log's.
pub const LONGEST_LINE_BYTES: usize = 1 << 20;
/// Bytes of the head that are looked at.
const HEAD_BYTES: usize = LONGEST_LINE_BYTES / 4;
/// Bytes of the middle that are looked at; a shorter file has no middle apart from its head.
const MIDDLE_BYTES: usize = LONGEST_LINE_BYTES / 64;
/// Rows that a body must show at its start, most of them alike, to be taken for one.
const BODY_START_ROWS: usize = 10;
/// How much better a reading must score than one that was tried before it; what is tried first is plainer.
const BETTER: f64 = 1e-9;
/// Delimiters tried, the commonest first.
const DELIMITERS: [u8; 4] = [b',', b';', b'\t', b'|'];

/// One line of a delimited file.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Cells as written, quotes taken off.
    pub cells: Vec<String>,
    /// Line in the file, from 1.
    pub line: u64,
    /// Byte at which it starts.
    pub start: usize,
}

impl Row {
    /// Cells up to the last that is not empty.
    pub fn filled_width(&self) -> usize {
        self.cells.iter().rposition(|c| !c.is_empty()).map_or(0, |last| last + 1)
    }
}

/// How a file is laid out.
#[derive(Debug, Clone)]
pub struct Layout {
    /// Character between cells.
    pub delimiter: u8,
    /// How numbers are written.
    pub form: NumberForm,
    /// Lines before the header.
    pub preamble: Vec<Row>,
    /// Names of the columns, where there are any.
    pub header: Option<Row>,
    /// Row of units under the header.
    pub units: Option<Row>,
    /// Byte at which the first row of data starts.
    pub body_start: usize,
    /// Line of the first row of data.
    pub body_line: u64,
    /// Cells in a row, an empty last column of trailing delimiters taken off.
    pub width: usize,
    /// A sample of the body's rows, from the head and the middle of the file.
    pub sample: Vec<Row>,
}

/// A delimiter that gave no table.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// The delimiter tried.
    pub delimiter: u8,
    /// What was wrong with it.
    pub why: Refusal,
}

/// Why a delimiter gave no table.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// The file does not have it.
    NotInFile,
    /// With it, no rows of numbers follow each other.
    NoRows {
        /// Lines looked at.
        lines: usize,
    },
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::NotInFile => f.write_str("not in the file"),
            Refusal::NoRows { lines: 1 } => f.write_str("no rows of numbers in 1 line"),
            Refusal::NoRows { lines } => write!(f, "no rows of numbers in {lines} lines"),
        }
    }
}

/// What the user says of the layout.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stated {
    /// Delimiter.
    pub delimiter: Option<u8>,
    /// Decimal mark.
    pub decimal: Option<u8>,
}

/// One reading of the head: a delimiter with a number form.
struct Candidate {
    delimiter: u8,
    form: NumberForm,
    rows: Vec<Row>,
    scored: Scored,
}

/// How well a reading fits.
struct Scored {
    /// First row of the body.
    body: usize,
    /// Cells in most of its rows.
    width: usize,
    /// From 0 to 1.
    score: f64,
}

/// Finds the layout of `text`.
///
/// # Errors
/// One reason for each delimiter tried, where none gives rows of numbers.
pub fn detect(text: &str, stated: Stated) -> Result<Layout, Vec<Refused>> {
    let head = &text[..text.floor_char_boundary(HEAD_BYTES)];
    let middle = middle(text);
    let mut best: Option<Candidate> = None;
    let mut refused = Vec::new();
    for delimiter in DELIMITERS.into_iter().chain(stated.delimiter) {
        if stated.delimiter.is_some_and(|d| d != delimiter) {
            continue;
        }
        // One that is not there cuts nothing, just as the first that is not there did.
        if !refused.is_empty() && !head.as_bytes().contains(&delimiter) {
            refused.push(Refused { delimiter, why: Refusal::NotInFile });
            continue;
        }
        let rows = tokenize(head, delimiter, SAMPLE_LINES);
        let more = tokenize(middle, delimiter, MIDDLE_LINES);
        let forms = NumberForm::ALL.into_iter().filter(|f| stated.decimal.is_none_or(|d| d == f.decimal));
        // A comma that parts the cells is in a number only within quotes.
        let has_comma = |f: &NumberForm| f.grouping == Grouping::Comma || f.decimal == b',';
        for form in forms.filter(|f| !has_comma(f) || delimiter != b',' || head.contains('"')) {
            let Some(scored) = score(&rows, &more, form) else { continue };
            if best.as_ref().is_none_or(|b| scored.score > b.scored.score + BETTER) {
                best = Some(Candidate { delimiter, form, rows: rows.clone(), scored });
            }
        }
        refused.push(Refused { delimiter, why: Refusal::NoRows { lines: rows.len() } });
    }
    let best = best.ok_or(refused)?;
    let more = tokenize(middle, best.delimiter, MIDDLE_LINES);
    Ok(lay_out(best, more))
}

/// Whole lines from the middle of a long file; empty for a short one.
fn middle(text: &str) -> &str {
    if text.len() < MIDDLE_BYTES {
        return "";
    }
    let from = text.floor_char_boundary(text.len() / 2);
    let rest = &text[from..];
    let rest = rest.find('\n').map_or("", |end| &rest[end + 1..]);
    let piece = &rest[..rest.floor_char_boundary(MIDDLE_BYTES)];
    piece.rfind('\n').map_or("", |end| &piece[..=end])
}

/// Cuts `text` into at most `most` rows; a line break in quotes does not end a row (RFC 4180).
pub fn tokenize(text: &str, delimiter: u8, most: usize) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .has_headers(false)
        .buffer_capacity(text.len().clamp(1 << 10, 1 << 13))
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    let mut record = csv::ByteRecord::new();
    while rows.len() < most && reader.read_byte_record(&mut record).unwrap_or(false) {
        let Place { byte, line } = place(&record, text.as_bytes());
        let cells = record.iter().map(|c| String::from_utf8_lossy(c).trim().to_owned()).collect();
        rows.push(Row { cells, line, start: byte });
    }
    rows
}

/// Where the body starts, its width, and how well this reading fits; `None` without a body.
fn score(rows: &[Row], more: &[Row], form: NumberForm) -> Option<Scored> {
    /// What a file of one column scores, where the paper gives it nothing.
    const ONE_COLUMN: f64 = 0.01;
    let body = (0..rows.len()).find(|&row| starts_body(&rows[row..], form))?;
    let all: Vec<&Row> = rows[body..].iter().chain(more).collect();
    let mut widths = BTreeMap::new();
    for row in &all {
        *widths.entry(row.cells.len()).or_insert(0usize) += 1;
    }
    let (&width, &count) = widths.iter().max_by_key(|&(width, count)| (*count, *width))?;
    let of_width: Vec<&Row> = all.iter().copied().filter(|r| r.cells.len() == width).collect();
    let typed: f64 = (0..width).map(|c| typed_share(&of_width, c, form)).sum::<f64>() / width as f64;
    // The paper's (L - 1) / L.
    let pattern = count as f64 / all.len() as f64 * ((width as f64 - 1.0) / width as f64).max(ONE_COLUMN);
    let blank_last = width > 1 && of_width.iter().all(|r| r.cells[width - 1].is_empty());
    Some(Scored { body, width: width - usize::from(blank_last), score: pattern * typed })
}

/// Whether a body starts with `rows`: the first is one of data, and six in ten of those after it are like it.
fn starts_body(rows: &[Row], form: NumberForm) -> bool {
    let width = rows[0].cells.len();
    let near = &rows[..rows.len().min(BODY_START_ROWS)];
    let alike = near.iter().filter(|r| r.cells.len() == width && is_data(r, form)).count();
    is_data(&rows[0], form) && alike * 10 >= near.len() * 6
}

/// At least half of the cells that are not blank are readings, and one at least is a number.
fn is_data(row: &Row, form: NumberForm) -> bool {
    let filled = row.cells.iter().filter(|c| !c.is_empty());
    let (mut readings, mut values, mut all) = (0, 0, 0);
    for cell in filled {
        all += 1;
        let value = is_value(cell, form);
        values += usize::from(value);
        readings += usize::from(value || is_missing(cell.as_bytes()));
    }
    values > 0 && readings * 2 >= all
}

/// Whether `cell` is a number, with or without its unit, or a time.
fn is_value(cell: &str, form: NumberForm) -> bool {
    form.parse(cell.as_bytes()).is_some()
        || clock::parse(cell).is_some()
        || form.parse_with_unit(cell).is_some_and(|(_, unit)| vocabulary::unit(unit).is_some())
}

/// Share of a column's cells with a known type. A column that has cells of three decimals and cells of none but no
/// others has its thousands grouped, and counts nothing under this form: whoever writes decimals writes the same number
/// of them, or drops zeros at every length.
fn typed_share(rows: &[&Row], column: usize, form: NumberForm) -> f64 {
    /// Cells of three decimals from which a column may be grouped.
    const GROUPED_CELLS: usize = 3;
    let cells = || rows.iter().map(|r| r.cells[column].as_str());
    let typed = cells().filter(|c| is_missing(c.as_bytes()) || is_value(c, form)).count();
    let (mut without, mut with_three, mut others) = (0, 0, 0);
    for cell in cells().filter(|c| !c.is_empty() && form.parse(c.as_bytes()).is_some()) {
        let below_one = cell.starts_with("0.") || cell.starts_with("0,");
        match form.decimals(cell.as_bytes()) {
            0 => without += 1,
            3 if !below_one => with_three += 1,
            _ => others += 1,
        }
    }
    if without > 0 && with_three >= GROUPED_CELLS && others == 0 {
        return 0.0;
    }
    typed as f64 / rows.len().max(1) as f64
}

/// The layout of the best reading; `more` are rows from the middle of the file.
fn lay_out(best: Candidate, more: Vec<Row>) -> Layout {
    let Candidate { delimiter, form, rows, scored: Scored { body, width, .. } } = best;
    // A header may lack a name or two: one, or a quarter where there are many.
    let fits = |row: &Row| {
        let named = row.filled_width();
        named > 0 && (named.abs_diff(width) <= 1 || width >= 4 && named.abs_diff(width) <= width / 4)
    };
    let is_text = |row: &Row| {
        row.cells.iter().filter(|c| !c.is_empty() && !is_value(c, form)).count() * 2 > width.min(row.cells.len())
    };
    let above = &rows[..body];
    let (mut header, mut units, mut preamble_rows) = (None, None, body);
    if let Some(last) = above.last().filter(|r| fits(r) && is_text(r)) {
        let named_above = above.len() >= 2 && fits(&above[above.len() - 2]) && is_text(&above[above.len() - 2]);
        let has_units = named_above && is_unit_row(last);
        preamble_rows = if has_units { body - 2 } else { body - 1 };
        header = Some(rows[preamble_rows].clone());
        units = has_units.then(|| last.clone());
    }
    let first = &rows[body];
    Layout {
        delimiter,
        form,
        preamble: rows[..preamble_rows].to_vec(),
        header,
        units,
        body_start: first.start,
        body_line: first.line,
        width,
        sample: rows[body..].iter().cloned().chain(more).collect(),
    }
}

/// Whether six in ten of a row's cells that are not blank are units, in brackets or not.
pub fn is_unit_row(row: &Row) -> bool {
    let filled: Vec<&String> = row.cells.iter().filter(|c| !c.is_empty() && c.as_str() != "-").collect();
    let units = filled.iter().filter(|c| vocabulary::unit(c).is_some()).count();
    units > 0 && units * 10 >= filled.len() * 6
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    fn rows(line: impl Fn(u32) -> String) -> String {
        (0..40).map(|n| line(n) + "\n").collect()
    }

    #[rstest]
    #[case(rows(|n| format!("{}.05,{},7.41", n, n * 700)), b',', b'.', Grouping::None)]
    #[case(rows(|n| format!("{},05;{};7,41", n, n * 700)), b';', b',', Grouping::None)]
    #[case(rows(|n| format!("{n},05;{}.{:03};7,41", n + 1, n)), b';', b',', Grouping::Point)]
    #[case(rows(|n| format!("{}\t{}\t7412", n * 50, if n % 2 == 0 { "900".into() } else { format!("12.{n:03}") })), b'\t', b',', Grouping::Point)]
    #[case(rows(|n| format!("{n}.5,\"{},{:03}\",7.41", n + 1, n)), b',', b'.', Grouping::Comma)]
    #[case(rows(|n| format!("12:00:{:02},500;{};7", n, n * 500)), b';', b'.', Grouping::None)]
    #[case(rows(|n| format!("{n}.050,{},7.412", if n < 20 { "0".into() } else { format!("{n}.125") })), b',', b'.', Grouping::None)]
    fn layouts(#[case] text: String, #[case] delimiter: u8, #[case] decimal: u8, #[case] grouping: Grouping) {
        let layout = detect(&text, Stated::default()).unwrap();
        assert_eq!((layout.delimiter, layout.form), (delimiter, NumberForm { decimal, grouping }));
    }

    #[test]
    fn preamble_header_and_units_are_kept_apart() {
        let text = format!(
            "Device: X\nSample rate, 20 Hz\n\nTime,RPM,Volt\n[ms],[1/min],[V]\n{}",
            rows(|n| format!("{},{},7.4", n * 50, n))
        );
        let layout = detect(&text, Stated::default()).unwrap();
        assert_eq!(layout.header.unwrap().cells, ["Time", "RPM", "Volt"]);
        assert_eq!(layout.units.unwrap().cells, ["[ms]", "[1/min]", "[V]"]);
        assert_eq!((layout.preamble.len(), layout.body_line), (2, 6));
    }

    #[test]
    fn what_was_tried_is_named() {
        let refused = detect("Dear diary,\ntoday we raced.\n", Stated::default()).unwrap_err();
        let said: Vec<String> = refused.iter().map(|r| r.why.to_string()).collect();
        assert_eq!(said, ["no rows of numbers in 2 lines", "not in the file", "not in the file", "not in the file"]);
    }
}
