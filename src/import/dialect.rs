//! Text to a table's layout: delimiter, number form, preamble, header, row of units, first row of data.
//!
//! Delimiter and number form are scored together, as in van den Burg, Nazábal and Sutton, *Wrangling
//! messy CSV files by detecting row and type patterns* (2019): share of rows of one width times share of
//! cells of a known type, here over the rows after the preamble.

use std::collections::BTreeMap;

use super::clock;
use super::names;
use super::numbers::{Grouping, NumberForm, is_missing};
use super::pieces::place;

/// Lines of the head that are looked at.
const SAMPLE_LINES: usize = 400;
/// Bytes of the head that are looked at; a single line longer than this is no log.
pub const SAMPLE_BYTES: usize = 1 << 20;
/// Rows that a body must show at its start, most of them alike, to be taken for one.
const BODY_START_ROWS: usize = 10;
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
    /// First row of data: its byte and line.
    pub body_start: usize,
    /// Line of the first row of data.
    pub body_line: u64,
    /// Cells in a row, an empty last column of trailing delimiters taken off.
    pub width: usize,
    /// A sample of the body's rows, from the head and the middle of the file.
    pub sample: Vec<Row>,
}

/// Why one way of cutting a file up was refused.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// The delimiter tried.
    pub delimiter: u8,
    /// What was wrong with it.
    pub why: String,
}

/// What the user has already stated.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stated {
    /// Delimiter.
    pub delimiter: Option<u8>,
    /// Decimal mark.
    pub decimal: Option<u8>,
}

struct Candidate {
    delimiter: u8,
    form: NumberForm,
    rows: Vec<Row>,
    body: usize,
    width: usize,
    score: f64,
}

/// Finds the layout of `text`.
///
/// # Errors
/// One reason for each delimiter tried, where none gives rows of numbers.
pub fn detect(text: &str, stated: Stated) -> Result<Layout, Vec<Refused>> {
    let head = head(text);
    let middle = middle(text);
    let mut best: Option<Candidate> = None;
    let mut refused = Vec::new();
    for delimiter in DELIMITERS.into_iter().chain(stated.delimiter) {
        if stated.delimiter.is_some_and(|d| d != delimiter) {
            continue;
        }
        // One that is not there cuts nothing, as the first that is not did.
        if !refused.is_empty() && !head.as_bytes().contains(&delimiter) {
            refused.push(Refused { delimiter, why: "is not in the file".to_owned() });
            continue;
        }
        let rows = tokenize(head, delimiter, SAMPLE_LINES);
        let more = tokenize(middle, delimiter, SAMPLE_LINES / 4);
        let forms = NumberForm::ALL.into_iter().filter(|f| stated.decimal.is_none_or(|d| d == f.decimal));
        let mut why = format!("none of {} lines looks like a row of numbers", rows.len());
        for form in forms.filter(|f| f.grouping != Grouping::Comma || delimiter != b',' || head.contains('"')) {
            match score(&rows, &more, form) {
                Ok((body, width, score)) => {
                    why = format!("scores {score:.2}");
                    if best.as_ref().is_none_or(|b| score > b.score + 1e-9) {
                        best = Some(Candidate { delimiter, form, rows: rows.clone(), body, width, score });
                    }
                }
                Err(reason) => why = reason,
            }
        }
        refused.push(Refused { delimiter, why });
    }
    let best = best.ok_or(refused)?;
    let more = tokenize(middle, best.delimiter, SAMPLE_LINES / 4);
    Ok(lay_out(best, more))
}

fn head(text: &str) -> &str {
    &text[..text.floor_char_boundary(SAMPLE_BYTES / 4)]
}

/// A piece from the middle of a long file, from a line start; numbers look different on track than at rest.
fn middle(text: &str) -> &str {
    if text.len() < SAMPLE_BYTES / 64 {
        return "";
    }
    let from = text.floor_char_boundary(text.len() / 2);
    let rest = &text[from..];
    let rest = rest.find('\n').map_or("", |at| &rest[at + 1..]);
    let piece = &rest[..rest.floor_char_boundary(SAMPLE_BYTES / 64)];
    piece.rfind('\n').map_or("", |end| &piece[..=end])
}

/// Cuts `text` into at most `most` rows; a line break in quotes does not end a row (RFC 4180).
pub fn tokenize(text: &str, delimiter: u8, most: usize) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .has_headers(false)
        .buffer_capacity(text.len().clamp(1 << 10, 1 << 16))
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    let mut record = csv::ByteRecord::new();
    while rows.len() < most && reader.read_byte_record(&mut record).unwrap_or(false) {
        let (start, line) = place(&record, text.as_bytes());
        let cells = record.iter().map(|c| String::from_utf8_lossy(c).trim().to_owned()).collect();
        rows.push(Row { cells, line, start });
    }
    rows
}

/// Where the body starts, its width, and the score of this reading.
fn score(rows: &[Row], more: &[Row], form: NumberForm) -> Result<(usize, usize, f64), String> {
    let body = (0..rows.len())
        .find(|&at| starts_body(&rows[at..], form))
        .ok_or_else(|| format!("no run of rows of numbers ({form})"))?;
    let all: Vec<&Row> = rows[body..].iter().chain(more).collect();
    let mut widths = BTreeMap::new();
    for row in &all {
        *widths.entry(row.cells.len()).or_insert(0usize) += 1;
    }
    let (&width, &count) = widths.iter().max_by_key(|&(w, n)| (*n, *w)).ok_or("no rows")?;
    let of_width: Vec<&Row> = all.iter().copied().filter(|r| r.cells.len() == width).collect();
    let typed: f64 = (0..width).map(|c| typed_share(&of_width, c, form)).sum::<f64>() / width as f64;
    // The paper's (L - 1) / L, with a small share left to a file of one column.
    let pattern = count as f64 / all.len() as f64 * ((width as f64 - 1.0) / width as f64).max(0.01);
    let blank_last = width > 1 && of_width.iter().all(|r| r.cells[width - 1].is_empty());
    Ok((body, width - usize::from(blank_last), pattern * typed))
}

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
pub fn is_value(cell: &str, form: NumberForm) -> bool {
    form.parse(cell.as_bytes()).is_some()
        || clock::parse(cell).is_some()
        || form.parse_with_unit(cell).is_some_and(|(_, unit)| names::unit(unit).is_some())
}

/// Share of a column's cells with a known type. A column that has cells of three decimals and cells of none but no others is taken for a grouped one and counts nothing:
/// whoever writes decimals writes the same number of them, or drops zeros at every length.
fn typed_share(rows: &[&Row], column: usize, form: NumberForm) -> f64 {
    let cells = || rows.iter().map(|r| r.cells[column].as_str());
    let typed = cells().filter(|c| is_missing(c.as_bytes()) || is_value(c, form)).count();
    let mut lengths = [0usize; 3];
    for cell in cells().filter(|c| !c.is_empty() && form.parse(c.as_bytes()).is_some()) {
        let plain_zero = cell.starts_with("0.") || cell.starts_with("0,");
        match form.decimals(cell.as_bytes()) {
            0 => lengths[0] += 1,
            3 if !plain_zero => lengths[1] += 1,
            _ => lengths[2] += 1,
        }
    }
    if lengths[0] > 0 && lengths[1] >= 3 && lengths[2] == 0 {
        return 0.0;
    }
    typed as f64 / rows.len().max(1) as f64
}

fn lay_out(best: Candidate, more: Vec<Row>) -> Layout {
    let Candidate { delimiter, form, rows, body, width, .. } = best;
    let fits = |row: &Row| {
        let named = row.cells.iter().rposition(|c| !c.is_empty()).map_or(0, |at| at + 1);
        named > 0 && (named.abs_diff(width) <= 1 || width >= 4 && named.abs_diff(width) <= width / 4)
    };
    let is_text = |row: &Row| {
        row.cells.iter().filter(|c| !c.is_empty() && !is_value(c, form)).count() * 2 > width.min(row.cells.len())
    };
    let above: Vec<&Row> = rows[..body].iter().collect();
    let (mut header, mut units, mut cut) = (None, None, body);
    if let Some(last) = above.last().filter(|r| fits(r) && is_text(r)) {
        let named_above = above.len() >= 2 && fits(above[above.len() - 2]) && is_text(above[above.len() - 2]);
        cut = if named_above && is_unit_row(last) { body - 2 } else { body - 1 };
        header = Some(rows[cut].clone());
        units = (cut + 2 == body).then(|| (*last).clone());
    }
    let first = &rows[body];
    Layout {
        delimiter,
        form,
        preamble: rows[..cut].to_vec(),
        header,
        units,
        body_start: first.start,
        body_line: first.line,
        width,
        sample: rows[body..].iter().cloned().chain(more).collect(),
    }
}

/// Whether most of a row's cells that are not blank are units, in brackets or not.
pub fn is_unit_row(row: &Row) -> bool {
    let filled: Vec<&String> = row.cells.iter().filter(|c| !c.is_empty() && c.as_str() != "-").collect();
    let units = filled.iter().filter(|c| names::unit(c).is_some()).count();
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
    fn layouts(#[case] text: String, #[case] delimiter: u8, #[case] decimal: u8, #[case] grouping: Grouping) {
        let layout = detect(&text, Stated::default()).unwrap();
        assert_eq!((layout.delimiter, layout.form), (delimiter, NumberForm { decimal, grouping }));
    }

    #[test]
    fn preamble_header_and_units_are_told_apart() {
        let text = format!(
            "Device: X\nSample rate, 20 Hz\n\nTime,RPM,Volt\n[ms],[1/min],[V]\n{}",
            rows(|n| format!("{},{},7.4", n * 50, n))
        );
        let layout = detect(&text, Stated::default()).unwrap();
        assert_eq!(layout.header.unwrap().cells, ["Time", "RPM", "Volt"]);
        assert_eq!(layout.units.unwrap().cells, ["[ms]", "[1/min]", "[V]"]);
        assert_eq!((layout.preamble.len(), layout.body_line), (2, 6));
    }
}
