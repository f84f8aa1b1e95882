//! A table whose layout is known to logs: columns to time and channels, rows to keep, runs apart.

use std::collections::{HashMap, HashSet};
use std::path::Path;

use super::body::{self, Body};
use super::channels::Channels;
use super::column::Kind;
use super::columns::{self, ColumnUse, Hints, column_names};
use super::dialect::{self, Layout, Stated};
use super::error::{FEWEST_ROWS, MOST_COLUMNS, ReadError};
use super::guesses;
use super::rate::stated_rate;
use super::remarks::Remark;
use super::time_column::TimeSource;
use super::timeline::{Steps, Timeline};
use super::vocabulary::Meaning;
use crate::log::{Channel, ChannelSource, Extra, Log, Reading};
use crate::notice::Notice;

/// Reads a log from its text, which was written as `encoding`; `notices` are what was remarked so far.
///
/// # Errors
/// [`ReadError`], where there is no table, or time or channels are missing.
pub fn read_text(
    path: &Path,
    text: &str,
    encoding: &'static str,
    hints: &Hints,
    notices: Vec<Notice>,
) -> Result<Vec<Log>, ReadError> {
    let layout = dialect::detect(text, Stated { delimiter: hints.delimiter, decimal: hints.decimal })
        .map_err(|refused| ReadError::NotALog { path: path.to_owned(), refused })?;
    Table { path, layout, encoding, hints }.read(text, notices)
}

/// A table whose layout is known.
struct Table<'a> {
    /// The file, for errors.
    path: &'a Path,
    /// How it is laid out.
    layout: Layout,
    /// Encoding it was decoded from.
    encoding: &'static str,
    /// What the user says of it.
    hints: &'a Hints,
}

/// The whole table, read; to be cut into runs.
struct WholeTable {
    timeline: Timeline,
    channels: Vec<(Channel, Vec<f64>)>,
    extras: Vec<(String, Extra)>,
    sources: Vec<ChannelSource>,
    notices: Vec<Notice>,
    body: Body,
}

/// The rows of one run.
struct RunRows {
    from: usize,
    /// Whether it is the only run in the file.
    only: bool,
}

impl Table<'_> {
    /// Reads the body and makes a log of each run in it.
    ///
    /// # Errors
    /// [`ReadError`], where time or channels are missing.
    fn read(self, text: &str, mut notices: Vec<Notice>) -> Result<Vec<Log>, ReadError> {
        if self.layout.width > MOST_COLUMNS {
            let (path, line, columns) = (self.path.to_owned(), self.header_line(), self.layout.width);
            return Err(ReadError::TooManyColumns { path, line, columns });
        }
        let mut uses = columns::by_header(&self.layout, self.hints, &mut notices);
        let named_time = uses.iter().position(|u| u.is(Channel::Time));
        let mut body = body::read(text, &self.layout, named_time);
        notices.append(&mut body.notices);
        if body.rows() < FEWEST_ROWS {
            return Err(self.too_short(body.rows()));
        }
        for (column_use, column) in uses.iter_mut().zip(&body.columns) {
            column_use.rule_out_by_unit(column.cell_unit.filter(|_| column_use.unit.is_none()), &mut notices);
        }
        let rate_hz = self.hints.rate_hz.or_else(|| stated_rate(&self.layout));
        let Some(time) = TimeSource::find(&mut uses, &body, rate_hz, &mut notices) else {
            let (path, line) = (self.path.to_owned(), self.header_line());
            return Err(ReadError::NoTime { path, line, columns: column_names(&uses) });
        };
        guesses::by_values(&mut uses, &body, self.hints, &mut notices);
        let mut sources = vec![time.provenance(&uses, &body)];
        let raw = time.raw_time(&uses, &mut body, &mut notices);
        let columns = std::mem::take(&mut body.columns);
        let (mut timeline, mut read) = rayon::join(
            || Timeline::new(raw, &body.breaks, |row| body.line(row)),
            || Channels::new(&uses, columns, &body, self.hints),
        );
        notices.append(&mut timeline.notices);
        notices.append(&mut read.notices);
        body.columns = read.left;
        sources.append(&mut read.sources);
        sources.sort_by_key(|s| s.channel);
        if read.channels.is_empty() {
            let (path, line) = (self.path.to_owned(), self.header_line());
            return Err(ReadError::NoChannel { path, line, columns: column_names(&uses) });
        }
        let extras = extras(&uses, time, &mut body, &read.channels);
        notices.extend(unused(&uses, &extras));
        self.split(WholeTable { timeline, channels: read.channels, extras, sources, notices, body })
    }

    fn header_line(&self) -> u64 {
        self.layout.header.as_ref().map_or(self.layout.body_line, |h| h.line)
    }

    fn too_short(&self, rows: usize) -> ReadError {
        ReadError::TooShort { path: self.path.to_owned(), line: self.layout.body_line, rows }
    }

    /// One log for each run in the file.
    fn split(&self, mut whole: WholeTable) -> Result<Vec<Log>, ReadError> {
        let starts = std::mem::take(&mut whole.timeline.run_starts);
        let mut logs = Vec::new();
        // Taken from the end, so that nothing is copied twice.
        for &from in starts.iter().rev() {
            logs.extend(self.cut_off(&mut whole, &RunRows { from, only: starts.len() == 1 })?);
        }
        logs.reverse();
        if logs.is_empty() {
            return Err(self.too_short(0));
        }
        Ok(logs)
    }

    /// Takes the last run off the table; `None` where it is too short to measure anything.
    fn cut_off(&self, whole: &mut WholeTable, run: &RunRows) -> Result<Option<Log>, ReadError> {
        let mut seconds = split_off(&mut whole.timeline.time, run.from);
        let rows = seconds.len();
        let kept = seconds.iter().filter(|t| t.is_finite()).count();
        let keep = (kept < rows).then(|| seconds.iter().map(|t| t.is_finite()).collect::<Vec<bool>>());
        let keep = keep.as_deref();
        let tails: Vec<_> =
            whole.channels.iter_mut().map(|(c, v)| (*c, kept_rows(split_off(v, run.from), keep))).collect();
        let extras: Vec<_> =
            whole.extras.iter_mut().map(|(name, extra)| (name.clone(), kept_extra(extra, run.from, keep))).collect();
        if kept < FEWEST_ROWS {
            return Ok(None);
        }
        seconds = kept_rows(seconds, keep);
        let start = seconds.first().copied().unwrap_or(0.0);
        seconds.iter_mut().for_each(|t| *t -= start);
        let steps = Steps::between(&seconds);
        let mut notices = whole.notices.clone();
        if steps.lost_rows > 0 {
            let line = steps.first_after_lost.map(|row| whole.body.line(run.from + row));
            notices.push(Remark::LostRows.notice().counted(line, steps.lost_rows));
        }
        let reading = Reading {
            rows_in: if run.only { whole.body.rows_in } else { rows as u64 },
            rows_kept: kept as u64,
            rate_hz: if steps.mean_s > 0.0 { 1.0 / steps.mean_s } else { 0.0 },
            duration_s: seconds.last().copied().unwrap_or(0.0),
            encoding: self.encoding.to_owned(),
            delimiter: char::from(self.layout.delimiter).to_string(),
            decimal: char::from(self.layout.form.decimal).to_string(),
            channels: whole.sources.clone(),
            notices,
        };
        let mut channels = vec![(Channel::Time, seconds)];
        channels.extend(tails);
        let log = Log::new(channels, extras, reading);
        log.map(Some).map_err(|source| ReadError::Columns { path: self.path.to_owned(), source })
    }
}

/// The values from row `from` on, taken off; where those are all, without room for them a second time.
fn split_off<T>(values: &mut Vec<T>, from: usize) -> Vec<T> {
    if from == 0 { std::mem::take(values) } else { values.split_off(from) }
}

/// The values of the rows to `keep`; all without it.
fn kept_rows<T>(mut values: Vec<T>, keep: Option<&[bool]>) -> Vec<T> {
    if let Some(keep) = keep {
        let mut flags = keep.iter();
        values.retain(|_| flags.next().copied().unwrap_or(false));
    }
    values
}

fn kept_extra(extra: &mut Extra, from: usize, keep: Option<&[bool]>) -> Extra {
    match extra {
        Extra::Numbers(values) => Extra::Numbers(kept_rows(split_off(values, from), keep)),
        Extra::Text(values) => Extra::Text(kept_rows(split_off(values, from), keep)),
    }
}

/// Columns that are not channels, under their own names. What the channels took is gone from them. Of several of one
/// name the later ones have a number behind it.
fn extras(
    uses: &[ColumnUse],
    time: TimeSource,
    body: &mut Body,
    channels: &[(Channel, Vec<f64>)],
) -> Vec<(String, Extra)> {
    let mut extras = Vec::new();
    let mut names = FreeNames::new(channels);
    for (index, column_use) in uses.iter().enumerate().filter(|(index, _)| Some(*index) != time.column()) {
        let column = &mut body.columns[index];
        if column.kind == Kind::Text {
            extras.push((names.free(&column_use.name), Extra::Text(std::mem::take(&mut column.text))));
        } else if !column.values.is_empty() {
            extras.push((names.free(&column_use.name), Extra::Numbers(std::mem::take(&mut column.values))));
        }
    }
    extras
}

/// The names of a log's columns: each is there once.
struct FreeNames {
    taken: HashSet<String>,
    /// The number behind the last column of a name.
    last: HashMap<String, usize>,
}

impl FreeNames {
    fn new(channels: &[(Channel, Vec<f64>)]) -> Self {
        let channels = channels.iter().map(|(channel, _)| *channel).chain([Channel::Time]);
        Self { taken: channels.map(|c| c.field().to_owned()).collect(), last: HashMap::new() }
    }

    /// `wanted`, or with a number behind it where another column has that name already.
    fn free(&mut self, wanted: &str) -> String {
        let mut name = wanted.to_owned();
        let last = self.last.entry(name.clone()).or_insert(1);
        while !self.taken.insert(name.clone()) {
            *last += 1;
            name = format!("{wanted} ({last})");
        }
        name
    }
}

/// What is said of the columns that are kept and not used. A column of no readings, a date and a row number are none.
fn unused(uses: &[ColumnUse], extras: &[(String, Extra)]) -> Option<Notice> {
    let known: HashSet<&str> = uses
        .iter()
        .filter(|u| matches!(u.meaning, Some(Meaning::Date | Meaning::Index)))
        .map(|u| u.name.as_str())
        .collect();
    let holds_some = |extra: &Extra| match extra {
        Extra::Numbers(values) => values.iter().any(|v| v.is_finite()),
        Extra::Text(values) => values.iter().any(|v| !v.is_empty()),
    };
    let names: Vec<&str> = extras
        .iter()
        .filter(|(name, extra)| holds_some(extra) && !known.contains(name.as_str()))
        .map(|(name, _)| name.as_str())
        .collect();
    let remark = Remark::UnusedColumns { columns: &columns::names_in_sentence(names.iter().copied()) };
    (!names.is_empty()).then(|| remark.notice().counted(None, names.len() as u64))
}
