//! Where a log's time comes from: a column of time, row numbers with a rate, or a rate alone.

use std::cmp::Reverse;

use super::body::Body;
use super::clock::DAY_S;
use super::column::{Column, Kind};
use super::columns::ColumnUse;
use super::names::Certainty;
use super::remarks::Remark;
use super::timeline::RawTime;
use super::units::Quantity;
use super::vocabulary::Meaning;
use crate::log::{Channel, ChannelSource};
use crate::notice::Notice;
use crate::statistics::quantiles::median;

/// A clock whose times are later than this many days after 1970 has a date of its own.
const DATED_DAYS: f64 = 400.0;
/// Share of the steps in which a clock falls at most: it may be set back, or start again.
const FALLING_SHARE: (usize, usize) = (1, 20);
/// Share of its rows in which a column that runs like a clock goes up.
const RISING_SHARE: (usize, usize) = (19, 20);
/// Share of its rows in which a column that counts rows goes up by one.
const COUNTING_SHARE: (usize, usize) = (8, 10);
/// Share of its rows in which the steps of a clock without a name are alike.
const EVEN_SHARE: (usize, usize) = (8, 10);
/// How far a step may be from the median one to be like it, as a share of it.
const EVEN_WITHIN: f64 = 0.25;

/// Where a log's time comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TimeSource {
    /// The times in a column.
    Column(usize),
    /// The row numbers in a column, at a rate.
    RowNumbers {
        /// The column.
        column: usize,
        /// Rows a second.
        rate_hz: f64,
    },
    /// Rows a second, and nothing else.
    Rate(f64),
}

impl TimeSource {
    /// The finest of the columns that may be the time; else row numbers with a rate; else a rate alone, else a column
    /// that runs like a clock. Other columns named for time are then kept under their own names. `None` where there is
    /// no time.
    pub fn find(
        uses: &mut [ColumnUse],
        body: &Body,
        rate_hz: Option<f64>,
        notices: &mut Vec<Notice>,
    ) -> Option<TimeSource> {
        if let Some(column) = finest_named(uses, body) {
            for (_, other) in uses.iter_mut().enumerate().filter(|(index, u)| *index != column && u.is(Channel::Time)) {
                other.meaning = None;
            }
            let counts = counts_rows(&uses[column], &body.columns[column]);
            if let Some(rate_hz) = rate_hz.filter(|_| counts) {
                return Some(TimeSource::RowNumbers { column, rate_hz });
            }
            if counts {
                notices.push(Remark::UnitFromSteps { column: &uses[column].name, unit: "s" }.notice());
            }
            return Some(TimeSource::Column(column));
        }
        // Times that do not run on, such as a latency, are no clock.
        uses.iter_mut().filter(|u| u.is(Channel::Time)).for_each(|u| u.meaning = None);
        if let Some(rate_hz) = rate_hz {
            let numbers = uses.iter().position(|u| u.meaning == Some(Meaning::Index));
            let numbers = numbers.filter(|&column| rises(&body.columns[column].values));
            return Some(
                numbers.map_or(TimeSource::Rate(rate_hz), |column| TimeSource::RowNumbers { column, rate_hz }),
            );
        }
        let clock = (0..uses.len()).find(|&column| body.columns[column].kind == Kind::Clock);
        let column = clock.or_else(|| (0..uses.len()).find(|&c| runs_like_a_clock(&uses[c], &body.columns[c])))?;
        notices.push(Remark::ChannelFromValues { column: &uses[column].name, channel: Channel::Time }.notice());
        uses[column].meaning = Some(Meaning::Channel(Channel::Time));
        Some(TimeSource::Column(column))
    }

    /// The column that it takes.
    pub fn column(self) -> Option<usize> {
        match self {
            TimeSource::Column(column) | TimeSource::RowNumbers { column, .. } => Some(column),
            TimeSource::Rate(_) => None,
        }
    }

    /// What the recorder's clock gives. The values of its column are taken out of `body`.
    pub fn raw_time(self, uses: &[ColumnUse], body: &mut Body, notices: &mut Vec<Notice>) -> RawTime {
        match self {
            TimeSource::Rate(rate_hz) => {
                notices.push(Remark::TimeFromRate { rate_hz }.notice());
                let seconds = (0..body.rows()).map(|row| row as f64 / rate_hz).collect();
                RawTime { seconds, time_of_day: false }
            }
            TimeSource::RowNumbers { column, rate_hz } => {
                notices.push(Remark::TimeFromIndex { column: &uses[column].name, rate_hz }.notice());
                let numbers = std::mem::take(&mut body.columns[column].values);
                RawTime { seconds: numbers.into_iter().map(|n| n / rate_hz).collect(), time_of_day: false }
            }
            TimeSource::Column(column) if body.columns[column].kind != Kind::Numbers => clock_time(column, uses, body),
            TimeSource::Column(column) => {
                let unit = TimeUnit::new(&uses[column], &body.columns[column]);
                if let Some(unit) = unit.guessed {
                    notices.push(Remark::UnitFromSteps { column: &uses[column].name, unit }.notice());
                }
                let mut seconds = std::mem::take(&mut body.columns[column].values);
                // Counted from 1970 the fraction of a second would lose digits in the sums to come.
                let start = seconds.iter().copied().find(|t| t.is_finite()).unwrap_or(0.0);
                seconds.iter_mut().for_each(|t| *t = (*t - start) * unit.seconds);
                RawTime { seconds, time_of_day: false }
            }
        }
    }

    /// How the time was read, for the report.
    pub fn provenance(self, uses: &[ColumnUse], body: &Body) -> ChannelSource {
        let source = |column: &str, unit: &str, scale| ChannelSource {
            channel: Channel::Time,
            column: column.into(),
            unit: unit.into(),
            scale,
        };
        match self {
            TimeSource::Rate(rate_hz) => source("none", &format!("rows at {rate_hz} Hz"), Some(1.0 / rate_hz)),
            TimeSource::RowNumbers { column, rate_hz } => source(&uses[column].name, "rows", Some(1.0 / rate_hz)),
            TimeSource::Column(column) if body.columns[column].kind != Kind::Numbers => {
                source(&uses[column].name, "clock time", None)
            }
            TimeSource::Column(column) => {
                let unit = TimeUnit::new(&uses[column], &body.columns[column]);
                let written = uses[column].unit.or(body.columns[column].cell_unit).map_or("s", |u| u.label());
                source(&uses[column].name, unit.guessed.unwrap_or(written), Some(unit.seconds))
            }
        }
    }
}

/// The column of time that goes up in most rows. One that the user names comes before all others, a clock that runs on
/// before one that does not, and a name that says time before a unit that does. What is not named for time as a whole
/// must run on.
fn finest_named(uses: &[ColumnUse], body: &Body) -> Option<usize> {
    let values = |c: usize| &body.columns[c].values;
    let candidates = (0..uses.len()).filter(|&c| {
        uses[c].is(Channel::Time)
            && !values(c).is_empty()
            && (uses[c].certainty >= Certainty::Known || runs_on(values(c)))
    });
    candidates.max_by_key(|&c| {
        let certainty = uses[c].certainty;
        let is_named = certainty > Certainty::ByUnit;
        (certainty == Certainty::Stated, runs_on(values(c)), is_named, rising_steps(values(c)), Reverse(c))
    })
}

/// Whether values go up and seldom down.
fn runs_on(values: &[f64]) -> bool {
    let falling = values.windows(2).filter(|w| w[1] < w[0]).count();
    let rising = rising_steps(values);
    rising > 0 && is_share(rising, falling + rising, (FALLING_SHARE.1 - FALLING_SHARE.0, FALLING_SHARE.1))
}

/// Whole numbers that go up by one: a count of rows, whatever the header says, unless a unit is given.
fn counts_rows(column_use: &ColumnUse, column: &Column) -> bool {
    let ones = column.values.windows(2).filter(|w| w[1] - w[0] == 1.0).count();
    column.kind == Kind::Numbers
        && column_use.unit.is_none()
        && column.cell_unit.is_none()
        && is_share(ones, column.values.len(), COUNTING_SHARE)
}

/// Whether a column of numbers that nothing names goes up in even steps, and not row by row.
fn runs_like_a_clock(column_use: &ColumnUse, column: &Column) -> bool {
    column_use.is_free()
        && column_use.unit.is_none_or(|u| u.quantity == Quantity::Time)
        && column.kind == Kind::Numbers
        && rises(&column.values)
        && has_even_steps(&column.values)
        && !counts_rows(column_use, column)
}

fn rising_steps(values: &[f64]) -> usize {
    values.windows(2).filter(|w| w[1] > w[0]).count()
}

fn rises(values: &[f64]) -> bool {
    values.len() > 2 && is_share(rising_steps(values), values.len(), RISING_SHARE)
}

/// Whether eight steps in ten are within a quarter of the median one.
fn has_even_steps(values: &[f64]) -> bool {
    let Some(step) = median(values.windows(2).map(|w| w[1] - w[0])) else { return false };
    let near = values.windows(2).filter(|w| ((w[1] - w[0]) - step).abs() <= EVEN_WITHIN * step).count();
    is_share(near, values.len(), EVEN_SHARE)
}

/// Whether `count` of `all` are at least the share `part` in `whole`.
fn is_share(count: usize, all: usize, (part, whole): (usize, usize)) -> bool {
    count * whole >= all * part
}

/// Clock times with the date beside them, where there is one that changes.
fn clock_time(column: usize, uses: &[ColumnUse], body: &mut Body) -> RawTime {
    let mut seconds = std::mem::take(&mut body.columns[column].values);
    let dates = uses
        .iter()
        .position(|u| u.meaning == Some(Meaning::Date))
        .filter(|&date| date != column && body.columns[date].kind == Kind::Date)
        .map(|date| &body.columns[date].values);
    // A clock with a date of its own does not start again each day.
    let dated = seconds.iter().any(|&t| t > DATED_DAYS * DAY_S);
    if let (Some(dates), false) = (dates, dated) {
        seconds.iter_mut().zip(dates).for_each(|(t, day)| *t += day);
    }
    // A date that never changes is not that of the rows: the clock may pass midnight beside it.
    let date_stands = dates.is_none_or(|dates| dates.windows(2).all(|w| w[0] == w[1]));
    RawTime { seconds, time_of_day: date_stands && !dated }
}

/// The unit of a column of time.
struct TimeUnit {
    /// Seconds in it, the column's factor included.
    seconds: f64,
    /// Its name, where it was told from the steps.
    guessed: Option<&'static str>,
}

impl TimeUnit {
    /// As written, else by the column's median step: recorders write between one and a thousand rows a second.
    fn new(column_use: &ColumnUse, column: &Column) -> Self {
        let written = column_use.unit.or(column.cell_unit).filter(|u| u.quantity == Quantity::Time);
        if let Some(unit) = written {
            return Self { seconds: unit.scale * column_use.scale, guessed: None };
        }
        let step = median(column.values.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0)).unwrap_or(1.0)
            * column_use.scale;
        let (seconds, guessed) = match step {
            s if s < 0.000_9 => (60.0, Some("minutes")),
            s if s <= 2.0 => (1.0, None),
            s if s <= 2000.0 => (1e-3, Some("ms")),
            s if s <= 2e6 => (1e-6, Some("µs")),
            _ => (1e-9, Some("ns")),
        };
        Self { seconds: seconds * column_use.scale, guessed }
    }
}
