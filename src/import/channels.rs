//! Columns to channels: values in the channel's own unit, without numbers that stand for no reading and what no such
//! car reaches.

use rayon::prelude::*;

use super::body::Body;
use super::channel_unit::Written;
use super::column::Column;
use super::columns::{ColumnUse, Hints};
use super::remarks::Remark;
use super::speeds;
use super::units::{Quantity, Unit};
use super::vocabulary::Meaning;
use super::{marks, repair};
use crate::log::{Channel, ChannelSource};
use crate::notice::Notice;
use crate::statistics::quantiles::quantile;

/// No motor that is worth a log stays below this, nor does a pack or its current: turns a minute, mV, mA (common
/// practice, no source).
const LEAST_IN_SMALL_UNITS: f64 = 150.0;
/// Poles of a motor that the sheet does not describe: brushless motors of touring and pan cars have two (common
/// practice, no source).
const USUAL_POLES: f64 = 2.0;

/// Share of the readings below the highest that counts: a wild cell above it does not matter.
const HIGHEST: f64 = 0.995;

/// What became of a body's columns.
#[derive(Default)]
pub struct Channels {
    /// Each channel's values in its own unit, in the order in which a log keeps them.
    pub channels: Vec<(Channel, Vec<f64>)>,
    /// Where they came from.
    pub sources: Vec<ChannelSource>,
    /// The columns without those values.
    pub left: Vec<Column>,
    /// What was left out, repaired or guessed.
    pub notices: Vec<Notice>,
}

/// What is known of the whole log when a column is read.
struct Reader<'a> {
    body: &'a Body,
    /// What the user says of the log and of the car.
    hints: &'a Hints,
    /// Lowest first value of the temperatures without a stated unit.
    coolest_start: f64,
    /// Highest value of them.
    hottest: f64,
}

/// One channel as read.
struct ReadChannel {
    source: ChannelSource,
    values: Vec<f64>,
}

impl Channels {
    /// Reads the channels among the columns of `body`, which are given apart from it.
    pub fn new(uses: &[ColumnUse], columns: Vec<Column>, body: &Body, hints: &Hints) -> Self {
        let (coolest_start, hottest) = extremes(uses, &columns);
        let reader = Reader { body, hints, coolest_start, hottest };
        let has_rpm = uses.iter().any(|u| u.is(Channel::Rpm));
        let channel_of = |column: &ColumnUse| match column.meaning {
            Some(Meaning::Channel(channel)) if channel != Channel::Time => Some(channel),
            Some(Meaning::Erpm) if !has_rpm => Some(Channel::Rpm),
            _ => None,
        };
        let one = |(column_use, mut column): (&ColumnUse, Column)| {
            let mut notices = Vec::new();
            let channel = channel_of(column_use).filter(|_| !column.values.is_empty());
            let read = channel.and_then(|channel| reader.read(channel, column_use, &mut column, &mut notices));
            (read, column, notices)
        };
        let mut all = Channels::default();
        let cell_units: Vec<Option<Unit>> = columns.iter().map(|column| column.cell_unit).collect();
        for (read, column, mut notices) in uses.par_iter().zip(columns).map(one).collect::<Vec<_>>() {
            if let Some(ReadChannel { source, values }) = read {
                all.channels.push((source.channel, values));
                all.sources.push(source);
            }
            all.left.push(column);
            all.notices.append(&mut notices);
        }
        for column_use in uses.iter().zip(&cell_units).filter(|(u, cells)| u.unit.or(**cells).is_none()).map(|(u, _)| u)
        {
            let said = speeds::settle_unit(column_use, &mut all.channels, &mut all.sources, hints.rollout_mm);
            all.notices.extend(said);
        }
        all.channels.sort_by_key(|c| c.0);
        all
    }
}

impl Reader<'_> {
    /// One column as a channel; `None` where it has no readings.
    fn read(
        &self,
        channel: Channel,
        column_use: &ColumnUse,
        column: &mut Column,
        notices: &mut Vec<Notice>,
    ) -> Option<ReadChannel> {
        let name = column_use.name.as_str();
        let mut values = std::mem::take(&mut column.values);
        let taken = marks::take_out_marks(channel, &mut values);
        self.note_taken_out(Remark::FullScaleMark { column: name, channel }, &taken, notices);
        // A recorder whose leads are the wrong way round writes a minus throughout.
        let is_amount = matches!(channel, Channel::Voltage | Channel::WheelSpeed | Channel::GroundSpeed);
        let upside_down = is_amount && !column_use.scale_stated && repair::turn_sign(&mut values);
        let unit = Written {
            channel,
            column: column_use,
            values: &values,
            cell_unit: column.cell_unit,
            coolest_start: self.coolest_start,
            hottest: self.hottest,
            ambient_c: self.hints.ambient_c,
            cells: self.hints.cells,
        };
        let unit = unit.unit(notices);
        if column.all_three_decimals() {
            read_marks_as_thousands(&mut values, unit, name, notices);
        }
        let pole_pairs = self.pole_pairs(unit, column_use, notices);
        values.iter_mut().for_each(|v| *v = unit.convert(*v * column_use.scale) / pole_pairs);
        let turned = channel == Channel::Current && !column_use.scale_stated && repair::turn_sign(&mut values);
        if turned {
            notices.push(Remark::SignTurned { column: name, channel }.notice());
        }
        if upside_down {
            notices.push(Remark::MinusThroughout { column: name, channel }.notice());
        }
        if channel == Channel::Rpm {
            let backwards = repair::take_amounts(&mut values);
            self.note_taken_out(Remark::RevsBackwards { column: name, channel }, &backwards, notices);
        }
        let odd = repair::take_out_implausible(channel, &mut values);
        self.note_taken_out(Remark::OutOfRange { column: name, channel }, &odd, notices);
        let (missing, unreadable) = (&column.missing, &column.unreadable);
        let first_seen = &missing.first_seen;
        notices.extend(Remark::MissingCells { column: name, channel, first_seen }.tallied(missing));
        let first_seen = &unreadable.first_seen;
        notices.extend(Remark::UnreadableCells { column: name, channel, first_seen }.tallied(unreadable));
        if values.iter().all(|v| v.is_nan()) {
            notices.push(Remark::NoValues { column: name, channel }.notice());
            return None;
        }
        let sign = if turned || upside_down { -1.0 } else { 1.0 };
        let scale = (unit.offset == 0.0).then_some(sign * unit.scale * column_use.scale / pole_pairs);
        let source = ChannelSource { channel, column: name.to_owned(), unit: unit.label().to_owned(), scale };
        Some(ReadChannel { source, values })
    }

    fn note_taken_out(&self, remark: Remark, taken: &repair::TakenOut, notices: &mut Vec<Notice>) {
        if taken.count > 0 {
            notices.push(remark.notice().counted(taken.first_row.map(|row| self.body.line(row)), taken.count));
        }
    }

    fn pole_pairs(&self, unit: Unit, column_use: &ColumnUse, notices: &mut Vec<Notice>) -> f64 {
        if unit.quantity != Quantity::Erpm && column_use.meaning != Some(Meaning::Erpm) {
            return 1.0;
        }
        let poles = self.hints.poles.filter(|p| *p >= 2.0);
        if poles.is_none() {
            notices.push(Remark::PolesAssumed { column: &column_use.name }.notice());
        }
        poles.unwrap_or(USUAL_POLES) / 2.0
    }
}

/// The lowest first reading of the temperatures without a stated unit and the highest of all: by them °F is told from
/// °C.
fn extremes(uses: &[ColumnUse], columns: &[Column]) -> (f64, f64) {
    let is_temperature = |u: &ColumnUse| match u.meaning {
        Some(Meaning::Channel(channel)) => Quantity::from(channel) == Quantity::Temperature,
        _ => false,
    };
    uses.iter()
        .zip(columns)
        // A stated unit settles its own column alone.
        .filter(|(u, c)| is_temperature(u) && u.unit.is_none() && c.cell_unit.is_none())
        .filter_map(|(_, c)| {
            let sound = || c.values.iter().copied().filter(|v| v.is_finite() && !marks::is_mark(*v));
            let first = sound().next()?;
            // A column that never changes has no sensor behind it.
            let moves = sound().any(|v| v != first);
            moves.then_some((first, quantile(sound(), HIGHEST)?))
        })
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(coolest, hottest), (first, high)| {
            (coolest.min(first), hottest.max(high))
        })
}

/// A whole number with a thousands separator looks like one of three decimals. Where the unit written in the file would
/// then make it absurdly small, it was one.
fn read_marks_as_thousands(values: &mut [f64], unit: Unit, column: &str, notices: &mut Vec<Notice>) {
    if !["rpm", "erpm", "mv", "ma"].contains(&unit.name) {
        return;
    }
    let high = values.iter().map(|v| v.abs()).filter(|v| v.is_finite()).fold(0.0, f64::max);
    if high > 0.0 && high < LEAST_IN_SMALL_UNITS {
        values.iter_mut().for_each(|v| *v = (*v * 1000.0).round());
        notices.push(Remark::ThousandsFromValues { column, unit: unit.label() }.notice());
    }
}
