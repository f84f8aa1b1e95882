//! A table to logs: which column is the time, channels in their units, rows to keep, runs apart.

use std::path::Path;

use rayon::prelude::*;

use super::body::{self, Body, Column, Kind};
use super::columns::{self, Hints, STATED, Use};
use super::dialect::Layout;
use super::names::{self, Meaning, Quantity};
use super::rate::stated_rate;
use super::{LEAST_ROWS, ReadError, clock, repair, values};
use crate::log::{Channel, ChannelSource, Extra, Log, Reading};
use crate::notice::{Notice, printable};
use crate::statistics::quantiles::median;

/// A table whose layout is known.
pub struct Table<'a> {
    /// The file, for errors.
    pub path: &'a Path,
    /// How it is laid out.
    pub layout: Layout,
    /// Encoding it was decoded from.
    pub encoding: &'static str,
    /// What the user states.
    pub hints: &'a Hints,
}

/// What became of a body's columns.
#[derive(Default)]
struct Channels {
    channels: Vec<(Channel, Vec<f64>)>,
    sources: Vec<ChannelSource>,
    /// The columns without those values.
    left: Vec<Column>,
    notices: Vec<Notice>,
}

/// Where a log's time comes from.
enum Clock {
    Column(usize),
    Index(usize, f64),
    Rate(f64),
}

impl Table<'_> {
    /// Reads the body and makes a log of each run in it.
    ///
    /// # Errors
    /// [`ReadError`], where time or channels are missing.
    pub fn read(self, text: &str, mut notices: Vec<Notice>) -> Result<Vec<Log>, ReadError> {
        let mut uses = columns::by_header(&self.layout, self.hints, &mut notices);
        let leading = uses.iter().position(|u| u.meaning == Some(Meaning::Channel(Channel::Time)));
        let mut body = body::read(text, &self.layout, leading);
        notices.append(&mut body.notices);
        if body.rows() < LEAST_ROWS {
            return Err(ReadError::TooShort {
                path: self.path.to_owned(),
                line: self.layout.body_line,
                rows: body.rows(),
            });
        }
        let clock = self.find_clock(&mut uses, &body, &mut notices)?;
        columns::by_values(&mut uses, &body, &mut notices);
        let mut sources = vec![self.time_source(&clock, &uses, &body)];
        let (raw, daily) = self.raw_time(&clock, &uses, &mut body, &mut notices);
        let columns = std::mem::take(&mut body.columns);
        let (settled, mut read) = rayon::join(
            || clock::settle(raw, &body.breaks, daily, |row| body.line(row)),
            || self.channels(&uses, columns, &body),
        );
        notices.extend(settled.notices);
        body.columns = read.left;
        notices.append(&mut read.notices);
        sources.append(&mut read.sources);
        sources.sort_by_key(|s| s.channel);
        let channels = read.channels;
        if channels.is_empty() {
            return Err(ReadError::NoChannel {
                path: self.path.to_owned(),
                line: self.header_line(),
                columns: column_names(&uses),
            });
        }
        let extras = extras(&uses, &clock, &mut body);
        self.split(&settled.time, &settled.parts, channels, extras, sources, notices, &body)
    }

    fn header_line(&self) -> u64 {
        self.layout.header.as_ref().map_or(self.layout.body_line, |h| h.line)
    }

    /// The finest of the columns that may be the time; else an index with a rate; else a rate alone.
    fn find_clock(&self, uses: &mut [Use], body: &Body, notices: &mut Vec<Notice>) -> Result<Clock, ReadError> {
        let rate = self.hints.rate_hz.or_else(|| stated_rate(&self.layout));
        let rising = |at: usize| {
            let values = &body.columns[at].values;
            let steps = values.windows(2).filter(|w| w[1] > w[0]).count();
            (values.len() > 2 && steps * 20 >= values.len() * 19).then_some(steps)
        };
        let named = (0..uses.len()).filter(|&at| {
            uses[at].meaning == Some(Meaning::Channel(Channel::Time)) && !body.columns[at].values.is_empty()
        });
        let fineness = |at: &usize| {
            (
                uses[*at].rank == 3,
                body.columns[*at].values.windows(2).filter(|w| w[1] > w[0]).count(),
                std::cmp::Reverse(*at),
            )
        };
        if let Some(at) = named.max_by_key(fineness) {
            for (other, plan) in uses.iter_mut().enumerate() {
                if other != at && plan.meaning == Some(Meaning::Channel(Channel::Time)) {
                    plan.meaning = None;
                }
            }
            if body.columns[at].kind != Kind::Numbers || !self.counts_rows(at, uses, body) {
                return Ok(Clock::Column(at));
            }
            if let Some(rate) = rate {
                return Ok(Clock::Index(at, rate));
            }
            return Err(self.no_time(uses));
        }
        if let (Some(rate), Some(at)) =
            (rate, uses.iter().position(|u| u.meaning == Some(Meaning::Index)).filter(|&at| rising(at).is_some()))
        {
            return Ok(Clock::Index(at, rate));
        }
        let clock = (0..uses.len()).find(|&at| body.columns[at].kind == Kind::Clock);
        let unnamed = (0..uses.len())
            .filter(|&at| uses[at].meaning.is_none() && uses[at].rank < 3 && body.columns[at].kind == Kind::Numbers);
        let even = |&at: &usize| {
            rising(at).is_some() && even_steps(&body.columns[at].values) && !self.counts_rows(at, uses, body)
        };
        if let Some(at) = clock.or_else(|| { unnamed }.find(even)).filter(|_| rate.is_none()) {
            notices.push(Notice::warning(
                "channel-from-values",
                format!("`{}` was taken for time by what its values look like", uses[at].name),
            ));
            uses[at].meaning = Some(Meaning::Channel(Channel::Time));
            return Ok(Clock::Column(at));
        }
        rate.map(Clock::Rate).ok_or_else(|| self.no_time(uses))
    }

    fn no_time(&self, uses: &[Use]) -> ReadError {
        ReadError::NoTime { path: self.path.to_owned(), line: self.header_line(), columns: column_names(uses) }
    }

    /// Whole numbers that go up by one: a count of rows, whatever the header says, unless a unit is given.
    fn counts_rows(&self, at: usize, uses: &[Use], body: &Body) -> bool {
        let values = &body.columns[at].values;
        let ones = values.windows(2).filter(|w| w[1] - w[0] == 1.0).count();
        uses[at].unit.is_none() && body.columns[at].cell_unit.is_none() && ones * 10 >= values.len() * 8
    }

    /// Seconds as the recorder's clock gives them, and whether it shows the time of day.
    fn raw_time(&self, clock: &Clock, uses: &[Use], body: &mut Body, notices: &mut Vec<Notice>) -> (Vec<f64>, bool) {
        match *clock {
            Clock::Rate(rate) => {
                notices.push(Notice::warning(
                    "time-from-rate",
                    format!("the log has no clock; rows were set {rate} Hz apart, so lost rows cannot show"),
                ));
                ((0..body.rows()).map(|row| row as f64 / rate).collect(), false)
            }
            Clock::Index(at, rate) => {
                notices.push(Notice::note(
                    "time-from-index",
                    format!("time is the row number in `{}` at {rate} Hz", uses[at].name),
                ));
                (std::mem::take(&mut body.columns[at].values).into_iter().map(|n| n / rate).collect(), false)
            }
            Clock::Column(at) if body.columns[at].kind != Kind::Numbers => {
                let mut raw = std::mem::take(&mut body.columns[at].values);
                let dates = uses
                    .iter()
                    .position(|u| u.meaning == Some(Meaning::Date))
                    .filter(|&d| d != at && body.columns[d].kind == Kind::Date);
                // A clock with a date of its own is not daily.
                let dated = raw.iter().any(|&t| t > 400.0 * clock::DAY_S);
                if let (Some(dates), false) = (dates, dated) {
                    raw.iter_mut().zip(&body.columns[dates].values).for_each(|(t, day)| *t += day);
                }
                // A date that never changes is no date of the rows: the clock may pass midnight beside it.
                let still = dates.is_none_or(|d| body.columns[d].values.windows(2).all(|w| w[0] == w[1]));
                (raw, still && !dated)
            }
            Clock::Column(at) => {
                let (scale, guessed) = self.time_scale(at, uses, body);
                if let Some(unit) = guessed {
                    notices.push(Notice::note(
                        "unit-from-values",
                        format!("`{}` names no unit; its steps look like {unit}", uses[at].name),
                    ));
                }
                let mut raw = std::mem::take(&mut body.columns[at].values);
                // Counted from 1970 the fraction of a second would lose digits in the sums to come.
                let start = raw.iter().copied().find(|t| t.is_finite()).unwrap_or(0.0);
                raw.iter_mut().for_each(|t| *t = (*t - start) * scale);
                (raw, false)
            }
        }
    }

    fn time_scale(&self, at: usize, uses: &[Use], body: &Body) -> (f64, Option<&'static str>) {
        let written = uses[at].unit.or(body.columns[at].cell_unit).filter(|u| u.quantity == Quantity::Time);
        if let Some(unit) = written {
            return (unit.scale * uses[at].scale, None);
        }
        let step = median(body.columns[at].values.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0)).unwrap_or(1.0)
            * uses[at].scale;
        // Recorders write between one and a thousand rows a second.
        let (scale, unit) = match step {
            s if s < 0.000_9 => (60.0, Some("minutes")),
            s if s <= 2.0 => (1.0, None),
            s if s <= 2000.0 => (1e-3, Some("ms")),
            s if s <= 2e6 => (1e-6, Some("µs")),
            _ => (1e-9, Some("ns")),
        };
        (scale * uses[at].scale, unit)
    }

    fn time_source(&self, clock: &Clock, uses: &[Use], body: &Body) -> ChannelSource {
        let (column, unit, scale) = match *clock {
            Clock::Rate(rate) => ("none".to_owned(), format!("rows at {rate} Hz"), Some(1.0 / rate)),
            Clock::Index(at, rate) => (uses[at].name.clone(), "rows".to_owned(), Some(1.0 / rate)),
            Clock::Column(at) if body.columns[at].kind != Kind::Numbers => {
                (uses[at].name.clone(), "clock time".to_owned(), None)
            }
            Clock::Column(at) => {
                let (scale, guessed) = self.time_scale(at, uses, body);
                let written = uses[at].unit.or(body.columns[at].cell_unit).map_or("s", |u| u.label());
                (uses[at].name.clone(), guessed.unwrap_or(written).to_owned(), Some(scale))
            }
        };
        ChannelSource { channel: Channel::Time, column, unit, scale }
    }

    /// Values of each channel in its own unit, marks and impossible values taken out; columns that are no channel are left.
    fn channels(&self, uses: &[Use], columns: Vec<Column>, body: &Body) -> Channels {
        let coolest_start = values::coolest_start(uses, &columns);
        let channel_of = |plan: &Use| match plan.meaning {
            Some(Meaning::Channel(channel)) if channel != Channel::Time => Some(channel),
            Some(Meaning::Erpm) if uses.iter().all(|u| u.meaning != Some(Meaning::Channel(Channel::Rpm))) => {
                Some(Channel::Rpm)
            }
            _ => None,
        };
        let one = |(plan, mut column): (&Use, Column)| {
            let channel = channel_of(plan).filter(|_| !column.values.is_empty());
            let mut notices = Vec::new();
            let read = channel.and_then(|channel| {
                self.channel(channel, plan, &mut column, coolest_start, body, &mut notices).map(|r| (channel, r))
            });
            (read, column, notices)
        };
        let mut all = Channels::default();
        for (read, column, mut notices) in uses.par_iter().zip(columns).map(one).collect::<Vec<_>>() {
            if let Some((channel, (source, values))) = read {
                all.sources.push(source);
                all.channels.push((channel, values));
            }
            all.left.push(column);
            all.notices.append(&mut notices);
        }
        all.channels.sort_by_key(|c| c.0);
        all
    }

    /// One column as a channel; `None` where it holds no reading.
    fn channel(
        &self,
        channel: Channel,
        plan: &Use,
        column: &mut Column,
        coolest_start: f64,
        body: &Body,
        notices: &mut Vec<Notice>,
    ) -> Option<(ChannelSource, Vec<f64>)> {
        let mut values = std::mem::take(&mut column.values);
        let (marked, first) = repair::take_out_marks(channel, &mut values);
        let line = |first: Option<usize>| first.map(|row| body.line(row));
        if marked > 0 {
            let what = "marks for no reading were taken out";
            notices.push(repair::notice("full-scale-mark", channel, &plan.name, what, line(first), marked));
        }
        let unit = columns::unit_of(channel, plan, &values, column.cell_unit, coolest_start, notices);
        values::ungroup(&mut values, unit, plan, column.all_three_decimals(), notices);
        let pole_pairs = self.pole_pairs(unit, plan, notices);
        values.iter_mut().for_each(|v| *v = unit.convert(*v * plan.scale) / pole_pairs);
        let turned = channel == Channel::Current && plan.rank < STATED && repair::turn(&mut values);
        if turned {
            let what = "what the motor takes stands with a minus in this file: the sign was turned";
            notices.push(repair::notice("sign-turned", channel, &plan.name, what, None, 1));
        }
        let (odd, first) = repair::take_out_implausible(channel, &mut values);
        if odd > 0 {
            let (low, high) = channel.plausible();
            let what = format!("values outside {low} to {high} {} were dropped", channel.unit());
            notices.push(repair::notice("out-of-range", channel, &plan.name, &what, line(first), odd));
        }
        values::count_cells(channel, plan, column, notices);
        if values.iter().all(|v| v.is_nan()) {
            let message = format!("`{}` ({}) holds no reading", plan.name, channel.name());
            notices.push(Notice::warning("no-values", message));
            return None;
        }
        let sign = if turned { -1.0 } else { 1.0 };
        let scale = (unit.offset == 0.0).then_some(sign * unit.scale * plan.scale / pole_pairs);
        let source = ChannelSource { channel, column: plan.name.clone(), unit: unit.label().to_owned(), scale };
        Some((source, values))
    }

    fn pole_pairs(&self, unit: names::Unit, plan: &Use, notices: &mut Vec<Notice>) -> f64 {
        if unit.quantity != Quantity::Erpm && plan.meaning != Some(Meaning::Erpm) {
            return 1.0;
        }
        let poles = self.hints.poles.filter(|p| *p >= 2.0);
        if poles.is_none() {
            let message = format!("`{}` counts electrical turns; a motor of two poles was assumed", plan.name);
            notices.push(
                Notice::warning("poles-assumed", message).hint("state `poles` in the car's `motor` table of the sheet"),
            );
        }
        poles.unwrap_or(2.0) / 2.0
    }

    /// One log for each run in the file.
    #[expect(clippy::too_many_arguments, reason = "the parts of one table, cut at the same rows")]
    fn split(
        &self,
        time: &[f64],
        parts: &[usize],
        channels: Vec<(Channel, Vec<f64>)>,
        extras: Vec<(String, Extra)>,
        sources: Vec<ChannelSource>,
        notices: Vec<Notice>,
        body: &Body,
    ) -> Result<Vec<Log>, ReadError> {
        let mut logs = Vec::new();
        let mut channels = channels;
        let mut extras = extras;
        for (part, &from) in parts.iter().enumerate().rev() {
            let to = parts.get(part + 1).copied().unwrap_or(time.len()).min(time.len());
            let keep: Vec<bool> = time[from..to].iter().map(|t| t.is_finite()).collect();
            let kept = keep.iter().filter(|k| **k).count();
            // Taken from the end, so that nothing is copied twice.
            let tails: Vec<_> = channels.iter_mut().map(|(c, v)| (*c, kept_rows(tail(v, from), &keep))).collect();
            let tail_extras: Vec<_> = extras.iter_mut().map(|(n, e)| (n.clone(), e.split_off(from, &keep))).collect();
            if kept < LEAST_ROWS {
                continue;
            }
            let start = time[from..to].iter().copied().find(|t| t.is_finite()).unwrap_or(0.0);
            let mut seconds = Vec::with_capacity(kept);
            seconds.extend(time[from..to].iter().filter(|t| t.is_finite()).map(|t| t - start));
            let (step, lost, first) = clock::lost_rows(&seconds);
            let mut notices: Vec<Notice> = notices.clone();
            if lost > 0 {
                let line = first.map(|row| body.line(from + row));
                notices.push(
                    Notice::warning("lost-rows", "rows are missing: the clock goes on without them").at(line, lost),
                );
            }
            let reading = Reading {
                rows_in: if parts.len() == 1 { body.rows_in } else { (to - from) as u64 },
                rows_kept: kept as u64,
                rate_hz: if step > 0.0 { 1.0 / step } else { 0.0 },
                duration_s: seconds.last().copied().unwrap_or(0.0),
                encoding: self.encoding.to_owned(),
                delimiter: char::from(self.layout.delimiter).to_string(),
                decimal: char::from(self.layout.form.decimal).to_string(),
                channels: sources.clone(),
                notices,
            };
            let mut all = vec![(Channel::Time, seconds)];
            all.extend(tails);
            logs.push(
                Log::new(all, tail_extras, reading)
                    .map_err(|source| ReadError::Columns { path: self.path.to_owned(), source })?,
            );
        }
        logs.reverse();
        if logs.is_empty() {
            return Err(ReadError::TooShort { path: self.path.to_owned(), line: self.layout.body_line, rows: 0 });
        }
        Ok(logs)
    }
}

/// What stands from `from` on; where that is all, without a second room for it.
fn tail<T>(values: &mut Vec<T>, from: usize) -> Vec<T> {
    if from == 0 { std::mem::take(values) } else { values.split_off(from) }
}

fn kept_rows(mut values: Vec<f64>, keep: &[bool]) -> Vec<f64> {
    if keep.iter().any(|k| !k) {
        let mut flags = keep.iter();
        values.retain(|_| flags.next().copied().unwrap_or(false));
    }
    values
}

impl Extra {
    fn split_off(&mut self, from: usize, keep: &[bool]) -> Extra {
        match self {
            Extra::Numbers(values) => Extra::Numbers(kept_rows(tail(values, from), keep)),
            Extra::Text(values) => {
                let mut flags = keep.iter();
                let mut kept = tail(values, from);
                kept.retain(|_| flags.next().copied().unwrap_or(false));
                Extra::Text(kept)
            }
        }
    }
}

/// Columns that are no channel, under their own names.
fn extras(uses: &[Use], clock: &Clock, body: &mut Body) -> Vec<(String, Extra)> {
    let time = match *clock {
        Clock::Column(at) | Clock::Index(at, _) => Some(at),
        Clock::Rate(_) => None,
    };
    let mut extras = Vec::new();
    for (at, plan) in uses.iter().enumerate().filter(|(at, _)| Some(*at) != time) {
        let column = &mut body.columns[at];
        if column.kind == Kind::Text {
            extras.push((plan.name.clone(), Extra::Text(std::mem::take(&mut column.text))));
        } else if !column.values.is_empty() {
            extras.push((plan.name.clone(), Extra::Numbers(std::mem::take(&mut column.values))));
        }
    }
    extras
}

fn column_names(uses: &[Use]) -> String {
    let names: Vec<String> = uses.iter().map(|u| format!("`{}`", u.name)).collect();
    printable(&format!("columns {}", names.join(", ")), 300)
}

/// Whether nine steps in ten are within a quarter of the median one.
fn even_steps(values: &[f64]) -> bool {
    let Some(step) = median(values.windows(2).map(|w| w[1] - w[0])) else { return false };
    let near = values.windows(2).filter(|w| ((w[1] - w[0]) - step).abs() <= 0.25 * step).count();
    near * 10 >= values.len() * 8
}
