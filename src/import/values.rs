//! The values of a channel on their way into its unit: what tells °F, grouped thousands, cells that are missing or odd.

use super::body::Column;
use super::columns::Use;
use super::names::{self, Meaning, Quantity};
use super::repair;
use crate::log::Channel;
use crate::notice::Notice;

/// The lowest first reading of the temperatures without a stated unit: by it °F is told from °C.
pub fn coolest_start(uses: &[Use], columns: &[Column]) -> f64 {
    uses.iter()
        .zip(columns)
        .filter(
            |(u, _)| matches!(u.meaning, Some(Meaning::Channel(c)) if names::quantity_of(c) == Quantity::Temperature),
        )
        // A stated unit settles its own column alone, and a column that stands still has no sensor behind it.
        .filter(|(u, c)| u.unit.is_none() && c.cell_unit.is_none())
        .filter_map(|(_, c)| {
            let sound = || c.values.iter().copied().filter(|v| v.is_finite() && !repair::is_mark(*v));
            let first = sound().next()?;
            sound().any(|v| v != first).then_some(first)
        })
        .fold(f64::INFINITY, f64::min)
}

/// A whole number cut by a thousands separator looks like one of three decimals. Where the unit written in the file would then
/// make it absurdly small, it was one.
pub fn ungroup(values: &mut [f64], unit: names::Unit, plan: &Use, three_decimals: bool, notices: &mut Vec<Notice>) {
    // No motor that is worth a log stays below this, nor does a pack or its current: turns a minute, mV, mA.
    let least = match unit.name {
        "rpm" | "erpm" | "mv" | "ma" => 150.0,
        _ => return,
    };
    let high = values.iter().copied().filter(|v| v.is_finite()).fold(0.0, f64::max);
    if three_decimals && high > 0.0 && high < least {
        values.iter_mut().for_each(|v| *v = (*v * 1000.0).round());
        let message = format!(
            "`{}` would be too small in {}; its mark was read as a thousands separator",
            plan.name,
            unit.label()
        );
        notices.push(
            Notice::warning("unit-from-values", message)
                .hint("state the column with its `scale` in the sheet's `[import]` if that is wrong"),
        );
    }
}

/// Tells how many cells of the column were odd or missing, and where first.
pub fn count_cells(channel: Channel, plan: &Use, column: &Column, notices: &mut Vec<Notice>) {
    for (tally, code, what) in [
        (&column.missing, "missing-cells", "cells without a reading"),
        (&column.unreadable, "unreadable-cells", "cells that are no number were dropped"),
    ] {
        if tally.count > 0 {
            let what = if tally.first_seen.is_empty() {
                what.to_owned()
            } else {
                format!("{what}, first `{}`", tally.first_seen)
            };
            notices.push(repair::notice(code, channel, &plan.name, &what, tally.first_line, tally.count));
        }
    }
}
