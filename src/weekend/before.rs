//! What a run did against the car's run before: its top speed.
//!
//! Both speeds come from the revs and from the travel for a motor turn that the track gives, so the doubt of the lap
//! length is the same in both and drops out of their difference. What each run adds of its own stays (JCGM 100, 5.2).
//! Without a lap length nothing is known to be shared, and both intervals count in full.

use schemars::JsonSchema;
use serde::Serialize;

use super::cars::index_before;
use crate::quantity::Estimate;
use crate::run::SettledRun;
use crate::sheet::Sheet;

/// A run against the one before it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Before {
    /// The car's run before.
    pub run: String,
    /// Change of the car's top speed since, m/s.
    pub top_speed_change_m_s: Estimate,
}

/// Share of a top speed's doubt that is its run's own at least: how much of it is shared is no better known. A default.
const LEAST_OWN: f64 = 0.1;

/// The run at `index` against the car's run before, where both have a top speed.
pub fn before(runs: &[SettledRun], index: usize, sheet: &Sheet) -> Option<Before> {
    let now = top_speed(&runs[index], sheet)?;
    let before = &runs[index_before(index, |n| &runs[n].plan().car)?];
    let then = top_speed(before, sheet)?;
    let change = Estimate::from_half_width(now.value - then.value, now.half_width().hypot(then.half_width()));
    Some(Before { run: before.plan().id.clone(), top_speed_change_m_s: change })
}

/// A run's top speed with what is uncertain in it alone.
fn top_speed(run: &SettledRun, sheet: &Sheet) -> Option<Estimate> {
    let done = run.done()?;
    let top = done.answers.power.top_speed_range_m_s?;
    let on_track = done.answers.gearing.realised_rollout_mm.is_some();
    let shared = sheet.lap_length_m.filter(|_| on_track).map_or(0.0, |(l, d)| d / l * top.value);
    let own = (top.half_width().powi(2) - shared.powi(2)).max((LEAST_OWN * top.half_width()).powi(2)).sqrt();
    Some(Estimate::from_half_width(top.value, own))
}
