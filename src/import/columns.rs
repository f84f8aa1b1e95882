//! What each column is used for: as the user says, else by its header.

use std::cmp::Reverse;

use super::dialect::Layout;
use super::names::{self, Certainty};
use super::remarks::Remark;
use super::units::{Quantity, Unit};
use super::vocabulary::{self, Meaning};
use crate::log::Channel;
use crate::notice::{Notice, printable};

/// Characters shown of what the user wrote.
const SHOWN: usize = 40;
/// Characters shown of a header.
const SHOWN_HEADER: usize = 80;
/// Characters shown of a list of columns.
const SHOWN_COLUMNS: usize = 300;

/// A mapping that the user states in the sheet's `[import]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rule {
    /// Header as written (case ignored), or the column's number from 1.
    pub column: String,
    /// Channel name, `erpm`, `index` or `date`; `ignore` keeps the column out of the channels.
    pub channel: Option<String>,
    /// Unit spelling.
    pub unit: Option<String>,
    /// Factor on the written value, before the unit.
    pub scale: Option<f64>,
}

/// What the user says of how a log is to be read, and of the car.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hints {
    /// The user's mappings.
    pub rules: Vec<Rule>,
    /// Encoding label of the WHATWG standard.
    pub encoding: Option<String>,
    /// Delimiter.
    pub delimiter: Option<u8>,
    /// Decimal mark.
    pub decimal: Option<u8>,
    /// Rows a second, for a log without a clock.
    pub rate_hz: Option<f64>,
    /// Magnetic poles of the motor.
    pub poles: Option<f64>,
    /// Cells of the pack in series.
    pub cells: Option<f64>,
    /// Air temperature of the run, °C.
    pub ambient_c: Option<f64>,
    /// The car's travel for a motor turn by gears and tyre, mm.
    pub rollout_mm: Option<f64>,
}

/// What a column is used for.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnUse {
    /// The column's header, or `column N`.
    pub name: String,
    /// Whether the file names it.
    pub named: bool,
    /// What it holds; `None` for a column kept under its own name.
    pub meaning: Option<Meaning>,
    /// Its unit, where written or stated.
    pub unit: Option<Unit>,
    /// The user's factor, or the header's.
    pub scale: f64,
    /// Whether the factor is the user's.
    pub scale_stated: bool,
    /// How sure the meaning is.
    pub certainty: Certainty,
}

impl ColumnUse {
    /// Whether the column is the channel's.
    pub fn is(&self, channel: Channel) -> bool {
        self.meaning == Some(Meaning::Channel(channel))
    }

    /// Whether it is free to be more than a column kept under its own name: nothing says what it is, and the user has
    /// not kept it out.
    pub fn is_free(&self) -> bool {
        self.meaning.is_none() && self.certainty < Certainty::Stated
    }

    /// Whether its values alone may say what it is: it has no name that says something else, or the whole header is in
    /// words that are not known (`strange`).
    pub fn may_be_told_by_values(&self, strange: bool) -> bool {
        self.is_free() && (strange || !self.named)
    }

    /// Keeps it out of a channel that its stated `unit` rules out.
    pub fn rule_out_by_unit(&mut self, unit: Option<Unit>, notices: &mut Vec<Notice>) {
        let (Some(meaning), Some(unit)) = (self.meaning, unit) else { return };
        if self.certainty == Certainty::Stated || names::admits(meaning, unit) {
            return;
        }
        if let Meaning::Channel(channel) = meaning {
            notices.push(Remark::RuledOutByUnit { column: &self.name, channel }.notice());
        }
        self.meaning = None;
    }
}

/// Uses of the columns as the user says and by their headers.
pub fn by_header(layout: &Layout, hints: &Hints, notices: &mut Vec<Notice>) -> Vec<ColumnUse> {
    let mut uses: Vec<ColumnUse> = (0..layout.width).map(|index| use_by_header(index, layout)).collect();
    for column in &mut uses {
        column.rule_out_by_unit(column.unit, notices);
    }
    for rule in &hints.rules {
        apply(rule, &mut uses, notices);
    }
    settle_rivals(&mut uses, notices);
    uses
}

/// The columns' names in a sentence.
pub fn column_names(uses: &[ColumnUse]) -> String {
    names_in_sentence(uses.iter().map(|u| u.name.as_str()))
}

/// Names in a sentence, as many as it can hold.
pub fn names_in_sentence<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let mut all = String::new();
    for name in names {
        if all.len() > SHOWN_COLUMNS {
            break;
        }
        all += if all.is_empty() { "`" } else { ", `" };
        all += name;
        all.push('`');
    }
    printable(&all, SHOWN_COLUMNS)
}

fn use_by_header(index: usize, layout: &Layout) -> ColumnUse {
    let written = layout.header.as_ref().and_then(|h| h.cells.get(index)).filter(|c| !c.is_empty());
    let unit_cell = layout.units.as_ref().and_then(|u| u.cells.get(index));
    let unit_in_row = unit_cell.and_then(|c| vocabulary::unit(c));
    let Some(text) = written else {
        let name = format!("column {}", index + 1);
        let (unit, certainty) = (unit_in_row, Certainty::Unnamed);
        return ColumnUse { name, named: false, meaning: None, unit, scale: 1.0, scale_stated: false, certainty };
    };
    let header = names::header_meaning(text);
    // A unit in its own row can say what a bare header does not: `Motor`, `°C`.
    let with_unit = match (header.meaning, unit_cell) {
        (None, Some(cell)) if unit_in_row.is_some() => {
            names::header_meaning(&format!("{text} [{}]", cell.trim_matches(['[', ']', '(', ')'])))
        }
        _ => header,
    };
    let scale = names::factor(text).filter(|_| with_unit.meaning.is_some()).unwrap_or(1.0);
    ColumnUse {
        name: printable(text, SHOWN_HEADER),
        named: !names::is_placeholder(text),
        meaning: with_unit.meaning,
        unit: unit_in_row.or(header.unit),
        scale,
        scale_stated: false,
        certainty: with_unit.certainty,
    }
}

/// Puts a rule of the user's on its column.
fn apply(rule: &Rule, uses: &mut [ColumnUse], notices: &mut Vec<Notice>) {
    let Some(column) = column_of(rule, uses) else {
        let remark = Remark::ImportColumn { column: &printable(&rule.column, SHOWN), columns: &column_names(uses) };
        notices.push(remark.notice());
        return;
    };
    if let Some(channel) = &rule.channel {
        let meaning = Meaning::from_key(channel);
        if meaning.is_none() && channel != "ignore" {
            notices.push(Remark::ImportChannel { channel: &printable(channel, SHOWN) }.notice());
        }
        for other in uses.iter_mut().filter(|u| meaning.is_some() && u.meaning == meaning) {
            other.meaning = None;
        }
        uses[column].meaning = meaning;
        uses[column].certainty = Certainty::Stated;
    }
    if let Some(text) = &rule.unit {
        match vocabulary::unit(text).or_else(|| Unit::named(text)) {
            Some(unit) => uses[column].unit = Some(unit),
            None => notices.push(Remark::ImportUnit { unit: &printable(text, SHOWN) }.notice()),
        }
    }
    if let Some(scale) = rule.scale.filter(|s| s.is_finite() && *s != 0.0) {
        (uses[column].scale, uses[column].scale_stated) = (scale, true);
    }
    // A factor without a unit leads to the channel's own unit.
    if rule.scale.is_some() && rule.unit.is_none() {
        uses[column].unit = match uses[column].meaning {
            Some(Meaning::Erpm) => Some(Quantity::Erpm.own_unit()),
            Some(Meaning::Channel(channel)) => Some(Quantity::from(channel).own_unit()),
            _ => None,
        };
    }
}

/// The column that a rule names by its header or its number.
fn column_of(rule: &Rule, uses: &[ColumnUse]) -> Option<usize> {
    let wanted = rule.column.trim().to_lowercase();
    let by_number = || {
        let number = wanted.trim_start_matches(['#', ' ']).parse::<usize>().ok()?;
        number.checked_sub(1).filter(|&index| index < uses.len())
    };
    uses.iter().position(|u| u.name.trim().to_lowercase() == wanted).or_else(by_number)
}

/// Of several columns for one channel the surest keeps it, else the first; the others stay under their own names. One
/// that has nothing but its unit to go by waits for its values. Columns of time are settled by their values.
fn settle_rivals(uses: &mut [ColumnUse], notices: &mut Vec<Notice>) {
    let channels = Channel::ALL.into_iter().filter(|c| *c != Channel::Time);
    let meanings = channels.map(|c| (Meaning::Channel(c), c)).chain([(Meaning::Erpm, Channel::Rpm)]);
    for (meaning, channel) in meanings {
        let all: Vec<usize> = (0..uses.len()).filter(|&c| uses[c].meaning == Some(meaning)).collect();
        let named: Vec<usize> = all.iter().copied().filter(|&c| uses[c].certainty > Certainty::ByUnit).collect();
        let Some(&kept) = named.iter().max_by_key(|&&c| (uses[c].certainty, Reverse(c))) else { continue };
        if let Some(remark) = two_columns(&named, kept, uses, channel) {
            notices.push(remark);
        }
        all.into_iter().filter(|&column| column != kept).for_each(|column| uses[column].meaning = None);
    }
}

/// What is said where several columns look like one channel and `kept` is used; `None` where it is the only one.
pub fn two_columns(rivals: &[usize], kept: usize, uses: &[ColumnUse], channel: Channel) -> Option<Notice> {
    let &first = rivals.first()?;
    let second = if kept == first { *rivals.get(1)? } else { kept };
    let remark =
        Remark::TwoColumns { first: &uses[first].name, second: &uses[second].name, kept: &uses[kept].name, channel };
    Some(remark.notice().counted(None, rivals.len() as u64 - 1))
}
