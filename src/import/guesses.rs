//! Channels told from values, where the headers do not name them.

use super::body::Body;
use super::columns::ColumnUse;
use super::names;
use super::remarks::Remark;
use super::shapes::Shapes;
use super::vocabulary::Meaning;
use crate::log::Channel;
use crate::notice::Notice;

/// Channels that are looked for by their values, the plainest shape first.
const BY_SHAPE: [Channel; 5] =
    [Channel::Rpm, Channel::Voltage, Channel::MotorTemperature, Channel::ControllerTemperature, Channel::Current];

/// Names channels from values: parts of the car and temperatures that do not say whose they are, and everything else
/// where the headers did not lead to the motor's revs.
pub fn by_values(uses: &mut [ColumnUse], body: &Body, notices: &mut Vec<Notice>) {
    let has_erpm = has(uses, Meaning::Erpm);
    let revs_named = has_erpm || has(uses, Meaning::Channel(Channel::Rpm));
    let shapes = Shapes::new(body);
    name_parts(uses, &shapes, notices);
    name_temperatures(uses, &shapes, notices);
    if has_erpm {
        pass_over_idle_revs(uses, body, notices);
    }
    if !revs_named {
        name_by_shape(uses, &shapes, notices);
    }
}

fn has(uses: &[ColumnUse], meaning: Meaning) -> bool {
    uses.iter().any(|u| u.meaning == Some(meaning))
}

/// A column headed with nothing but `Motor` or `ESC` that looks like a temperature is taken for one.
fn name_parts(uses: &mut [ColumnUse], shapes: &Shapes, notices: &mut Vec<Notice>) {
    for index in 0..uses.len() {
        let named = names::part_named(&uses[index].name).filter(|_| uses[index].may_be_guessed());
        let Some(channel) = named else { continue };
        let free = !has(uses, Meaning::Channel(channel));
        if free && shapes.shape(index).is_some_and(|s| s.fits(channel).is_some()) {
            take(&mut uses[index], channel, notices);
        }
    }
}

/// Temperatures that do not say whose they are: the hotter is the motor's, the other the controller's, where neither is
/// named.
fn name_temperatures(uses: &mut [ColumnUse], shapes: &Shapes, notices: &mut Vec<Notice>) {
    let unnamed = (0..uses.len()).filter(|&index| uses[index].meaning == Some(Meaning::Temperature));
    let mut unnamed: Vec<usize> = unnamed.collect();
    let high = |index: usize| shapes.shape(index).map_or(0.0, |s| s.range.high);
    unnamed.sort_by(|&a, &b| high(b).total_cmp(&high(a)));
    for index in unnamed {
        let free = [Channel::MotorTemperature, Channel::ControllerTemperature]
            .into_iter()
            .find(|&channel| !has(uses, Meaning::Channel(channel)));
        uses[index].meaning = free.map(Meaning::Channel);
        if let Some(channel) = free {
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

/// Gives each channel that no header names to the column whose values fit it best.
fn name_by_shape(uses: &mut [ColumnUse], shapes: &Shapes, notices: &mut Vec<Notice>) {
    for channel in BY_SHAPE {
        if has(uses, Meaning::Channel(channel)) {
            continue;
        }
        let best = (0..uses.len())
            .filter(|&index| uses[index].may_be_guessed())
            .filter_map(|index| shapes.shape(index).and_then(|s| s.fits(channel)).map(|score| (index, score)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((index, _)) = best {
            take(&mut uses[index], channel, notices);
        }
    }
}

fn take(column: &mut ColumnUse, channel: Channel, notices: &mut Vec<Notice>) {
    column.meaning = Some(Meaning::Channel(channel));
    notices.push(Remark::ChannelFromValues { column: &column.name, channel }.notice());
}
