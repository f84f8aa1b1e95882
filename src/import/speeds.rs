//! The unit of a speed that names none: by the revs and the travel for a motor turn.
//!
//! A car moves by its rollout for a turn of the motor, so speed over revs tells whether a speed is in m/s, km/h or
//! miles an hour. Where gears, tyre or revs are not known, nothing tells it, and a speed in the wrong unit is worse
//! than none.

use super::columns::ColumnUse;
use super::remarks::Remark;
use super::units::{Quantity, Unit};
use crate::log::{Channel, ChannelSource};
use crate::notice::Notice;
use crate::statistics::quantiles::{median, quantile};

/// Units in which speeds are written.
const UNITS: [&str; 3] = ["m_s", "km_h", "mph"];
/// How far the travel for a turn may be from the sheet's rollout, as a logarithm: less than half of the way from miles
/// an hour to km/h. Another pinion, a worn tyre and wheels that spin are within it.
const NEAR: f64 = 0.2;
/// Share of the highest revs above which the car moves briskly. Common practice, no source.
const BRISK: f64 = 0.2;
/// The quantile of the revs that counts as the highest.
const HIGHEST: f64 = 0.999;
/// Milliseconds in a minute: a metre a second over a turn a minute, in mm a turn.
const MM_A_TURN: f64 = 60_000.0;

/// Settles the unit of the speed in `column`, which names none, or takes its channel and source out where it cannot be
/// told, and says so. `rollout_mm` is the travel for a motor turn by the sheet.
pub fn settle_unit(
    column: &ColumnUse,
    channels: &mut Vec<(Channel, Vec<f64>)>,
    sources: &mut Vec<ChannelSource>,
    rollout_mm: Option<f64>,
) -> Option<Notice> {
    let place = sources.iter().position(|s| s.column == column.name && Quantity::from(s.channel) == Quantity::Speed)?;
    let channel = sources[place].channel;
    // Metres a second in the unit that the values were taken for.
    let guessed = sources[place].scale.map_or(1.0, |scale| scale.abs() / column.scale);
    let Some(unit) = rollout_mm.and_then(|rollout_mm| told(channels, channel, guessed, rollout_mm)) else {
        sources.remove(place);
        channels.retain(|(c, _)| *c != channel);
        return Some(Remark::SpeedWithoutUnit { column: &column.name, channel }.notice());
    };
    let factor = unit.scale / guessed;
    channels.iter_mut().filter(|(c, _)| *c == channel).for_each(|(_, values)| {
        values.iter_mut().for_each(|v| *v *= factor);
    });
    let source = &mut sources[place];
    source.unit = unit.label().to_owned();
    source.scale = source.scale.map(|scale| scale * factor);
    Some(Remark::UnitFromRevs { column: &column.name, unit: unit.label() }.notice())
}

/// The unit that brings the travel for a turn near `rollout_mm`, where the values were taken for a unit of
/// `guessed` metres a second.
fn told(channels: &[(Channel, Vec<f64>)], channel: Channel, guessed: f64, rollout_mm: f64) -> Option<Unit> {
    let values = |of: Channel| channels.iter().find(|(c, _)| *c == of).map(|(_, values)| values);
    let (speed, revs) = values(channel).zip(values(Channel::Rpm))?;
    let brisk = BRISK * quantile(revs.iter().copied().filter(|r| r.is_finite()), HIGHEST)?;
    let moving = |(speed, revs): &(&f64, &f64)| **revs > brisk && **speed > 0.0;
    let travel_mm = median(speed.iter().zip(revs).filter(moving).map(|(v, r)| v / r * MM_A_TURN))?;
    let off = |unit: &Unit| (travel_mm * unit.scale / guessed / rollout_mm).ln().abs();
    let units = UNITS.into_iter().filter_map(Unit::named);
    units.min_by(|a, b| off(a).total_cmp(&off(b))).filter(|unit| off(unit) < NEAR)
}
