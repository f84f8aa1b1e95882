//! Channels told from values, where the headers do not name them.

use super::assignment::{self, Doubt, Told};
use super::body::Body;
use super::columns::{ColumnUse, Hints, two_columns};
use super::names::{self, Certainty};
use super::remarks::Remark;
use super::shapes::Shapes;
use super::vocabulary::Meaning;
use crate::log::Channel;
use crate::notice::Notice;

/// A temperature that moves less than this in a run is not a motor's or a controller's, °C or °F. Common practice, no
/// source.
const LEAST_WARMING: f64 = 2.0;

/// Names channels from values: parts of the car and temperatures that do not say whose they are, columns that nothing
/// but their unit speaks for, and columns without a name where the headers did not lead to the motor's revs. A column
/// whose name says something else stays under it, whatever its values look like.
pub fn by_values(uses: &mut [ColumnUse], body: &Body, hints: &Hints, notices: &mut Vec<Notice>) {
    let shapes = Shapes::new(body);
    name_by_unit(uses, &shapes, hints, notices);
    let has_erpm = has(uses, Meaning::Erpm);
    let revs_named = has_erpm || has(uses, Meaning::Channel(Channel::Rpm));
    name_parts(uses, &shapes, notices);
    name_temperatures(uses, &shapes, notices);
    if has_erpm {
        pass_over_idle_revs(uses, body, notices);
    }
    if !revs_named {
        name_together(uses, &shapes, hints, notices);
    }
}

fn has(uses: &[ColumnUse], meaning: Meaning) -> bool {
    uses.iter().any(|u| u.meaning == Some(meaning))
}

/// A column that says nothing but its unit is taken for a channel that no name leads to, if its values can be it.
fn name_by_unit(uses: &mut [ColumnUse], shapes: &Shapes, hints: &Hints, notices: &mut Vec<Notice>) {
    for channel in [Channel::Rpm, Channel::Voltage, Channel::Current] {
        let waits = |u: &ColumnUse| u.is(channel) && u.certainty == Certainty::ByUnit;
        let waiting: Vec<usize> = (0..uses.len()).filter(|&c| waits(&uses[c])).collect();
        let fitting: Vec<usize> = waiting
            .iter()
            .copied()
            .filter(|&c| shapes.shape(c).is_some_and(|s| s.height(channel, uses[c].unit, hints.cells).is_some()))
            .collect();
        let Some(&kept) = fitting.first() else {
            waiting.into_iter().for_each(|column| uses[column].meaning = None);
            continue;
        };
        let remark = Remark::ChannelFromUnit { column: &uses[kept].name, channel }.notice();
        notices.push(two_columns(&fitting, kept, uses, channel).unwrap_or(remark));
        waiting.into_iter().filter(|&c| c != kept).for_each(|column| uses[column].meaning = None);
    }
}

/// A column headed with nothing but `Motor` or `ESC` that looks like a temperature is taken for one.
fn name_parts(uses: &mut [ColumnUse], shapes: &Shapes, notices: &mut Vec<Notice>) {
    for channel in [Channel::MotorTemperature, Channel::ControllerTemperature] {
        if has(uses, Meaning::Channel(channel)) {
            continue;
        }
        let is_it = |&index: &usize| {
            uses[index].is_free()
                && uses[index].unit.is_none_or(|u| names::admits(Meaning::Channel(channel), u))
                && names::part_named(&uses[index].name) == Some(channel)
                && shapes.shape(index).is_some_and(|s| s.height(channel, None, None).is_some())
        };
        if let Some(index) = (0..uses.len()).find(is_it) {
            uses[index].meaning = Some(Meaning::Channel(channel));
            notices.push(Remark::ChannelFromValues { column: &uses[index].name, channel }.notice());
        }
    }
}

/// Temperatures that do not say whose they are: the hotter is the motor's, the other the controller's, where neither is
/// named.
fn name_temperatures(uses: &mut [ColumnUse], shapes: &Shapes, notices: &mut Vec<Notice>) {
    let unnamed = (0..uses.len()).filter(|&index| uses[index].meaning == Some(Meaning::Temperature));
    // What stays as it is while the car drives is the air's.
    let warms = |index: &usize| shapes.shape(*index).is_some_and(|s| s.range.high - s.range.low > LEAST_WARMING);
    let (mut unnamed, even): (Vec<usize>, Vec<usize>) = unnamed.partition(warms);
    even.into_iter().for_each(|index| uses[index].meaning = None);
    let high = |index: usize| shapes.shape(index).map_or(0.0, |s| s.range.high);
    unnamed.sort_by(|&a, &b| high(b).total_cmp(&high(a)));
    let mut free = [Channel::MotorTemperature, Channel::ControllerTemperature]
        .into_iter()
        .filter(|&channel| !has(uses, Meaning::Channel(channel)))
        .collect::<Vec<_>>()
        .into_iter();
    for index in unnamed {
        let channel = free.next();
        uses[index].meaning = channel.map(Meaning::Channel);
        if let Some(channel) = channel {
            notices.push(Remark::WhoseTemperature { column: &uses[index].name, channel }.notice());
        }
    }
}

/// A recorder that does not know the motor's poles leaves the column of its revs at zero beside the electrical ones.
fn pass_over_idle_revs(uses: &mut [ColumnUse], body: &Body, notices: &mut Vec<Notice>) {
    let idle = |index: usize| body.columns[index].values.iter().all(|v| *v == 0.0 || v.is_nan());
    if let Some(index) = (0..uses.len()).find(|&index| uses[index].is(Channel::Rpm) && idle(index)) {
        notices.push(Remark::IdleColumn { column: &uses[index].name }.notice());
        uses[index].meaning = None;
    }
}

/// Gives the channels that no header names to columns without a name, all of them together.
fn name_together(uses: &mut [ColumnUse], shapes: &Shapes, hints: &Hints, notices: &mut Vec<Notice>) {
    let strange = assignment::is_strange(uses);
    if !uses.iter().any(|u| u.may_be_told_by_values(strange)) {
        return;
    }
    for Told { column, channel, doubt } in assignment::tell(uses, shapes, hints) {
        uses[column].meaning = Some(Meaning::Channel(channel));
        let name = uses[column].name.as_str();
        let remark = match doubt {
            Some(Doubt::Other(other)) => Remark::ChannelNearlyTold { column: name, channel, other: &uses[other].name },
            Some(Doubt::LoneTemperature) => Remark::WhoseTemperature { column: name, channel },
            Some(Doubt::Throttle) => Remark::CurrentOrThrottle { column: name },
            None => Remark::ChannelFromValues { column: name, channel },
        };
        notices.push(remark.notice());
    }
}
