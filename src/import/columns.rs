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
}

/// What a column is used for.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnUse {
    /// The column's header, or `column N`.
    pub name: String,
    /// What it holds; `None` for a column kept under its own name.
    pub meaning: Option<Meaning>,
    /// Its unit, where written or stated.
    pub unit: Option<Unit>,
    /// The user's factor, or the header's.
    pub scale: f64,
    /// How sure the meaning is.
    pub certainty: Certainty,
}

impl ColumnUse {
    /// Whether the column is the channel's.
    pub fn is(&self, channel: Channel) -> bool {
        self.meaning == Some(Meaning::Channel(channel))
    }

    /// Whether its values may say what it is: nothing else does, and the user has not kept it out.
    pub fn may_be_guessed(&self) -> bool {
        self.meaning.is_none() && self.certainty < Certainty::Stated
    }
}

/// Uses of the columns as the user says and by their headers.
pub fn by_header(layout: &Layout, hints: &Hints, notices: &mut Vec<Notice>) -> Vec<ColumnUse> {
    let mut uses: Vec<ColumnUse> = (0..layout.width).map(|index| use_by_header(index, layout)).collect();
    for rule in &hints.rules {
        apply(rule, &mut uses, notices);
    }
    settle_rivals(&mut uses, notices);
    uses
}

/// The columns' names in a sentence.
pub fn column_names(uses: &[ColumnUse]) -> String {
    let names: Vec<String> = uses.iter().map(|u| format!("`{}`", u.name)).collect();
    printable(&names.join(", "), SHOWN_COLUMNS)
}

fn use_by_header(index: usize, layout: &Layout) -> ColumnUse {
    let written = layout.header.as_ref().and_then(|h| h.cells.get(index)).filter(|c| !c.is_empty());
    let unit_cell = layout.units.as_ref().and_then(|u| u.cells.get(index));
    let unit_in_row = unit_cell.and_then(|c| vocabulary::unit(c));
    let Some(text) = written else {
        let name = format!("column {}", index + 1);
        return ColumnUse { name, meaning: None, unit: unit_in_row, scale: 1.0, certainty: Certainty::Unnamed };
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
        meaning: with_unit.meaning,
        unit: unit_in_row.or(header.unit),
        scale,
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
    uses[column].scale = rule.scale.filter(|s| s.is_finite() && *s != 0.0).unwrap_or(1.0);
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

/// Of several columns for one channel the surest keeps it, else the first; the others stay under their own names.
/// Columns of time are settled by their values.
fn settle_rivals(uses: &mut [ColumnUse], notices: &mut Vec<Notice>) {
    for first in 0..uses.len() {
        let Some(meaning @ Meaning::Channel(channel)) = uses[first].meaning else { continue };
        if channel == Channel::Time {
            continue;
        }
        let rivals = (first + 1..uses.len()).filter(|&other| uses[other].meaning == Some(meaning));
        let Some(rival) = rivals.max_by_key(|&other| (uses[other].certainty, Reverse(other))) else { continue };
        let kept = if uses[rival].certainty > uses[first].certainty { rival } else { first };
        for other in (first..uses.len()).filter(|&other| other != kept) {
            if uses[other].meaning == Some(meaning) {
                let remark = Remark::TwoColumns {
                    first: &uses[first].name,
                    second: &uses[rival].name,
                    kept: &uses[kept].name,
                    channel,
                };
                notices.push(remark.notice());
                uses[other].meaning = None;
            }
        }
    }
}
