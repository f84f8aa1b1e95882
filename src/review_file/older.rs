//! Figures of a review that was written before `review.json` listed them run by run.
//!
//! Those versions wrote a figure only in the answer that it belongs to. Figures that came later are not added here:
//! such
//! a file does not have them.

use std::collections::BTreeMap;

use super::stored::{StoredEstimate, StoredRun};

/// The figures of a run by their keys in the catalogue, from its answers.
pub(super) fn figures(run: &StoredRun) -> BTreeMap<String, StoredEstimate> {
    let laps = run.laps.clone().unwrap_or_default();
    let gearing = run.gearing.clone().unwrap_or_default();
    let wheelspin = run.wheelspin.clone().unwrap_or_default();
    let heat = run.heat.clone().unwrap_or_default();
    let battery = run.battery.clone().unwrap_or_default();
    let power = run.power.clone().unwrap_or_default();
    let motor_rise = heat.motor.race_end_c.zip(run.ambient_c).map(|(end, air)| mapped(end, |c| c - air));
    let watts = power.mean_w.filter(|w| *w > 0.0);
    let figures = [
        ("median_lap_s", exact(laps.median_s)),
        ("best_lap_s", exact(laps.best_s)),
        ("realised_ratio", gearing.realised_ratio),
        ("realised_rollout_mm", gearing.realised_rollout_mm),
        ("set_ratio", exact(gearing.set_ratio)),
        ("wheelspin_share", exact(wheelspin.share)),
        ("wheelspin_s", exact(wheelspin.seconds)),
        ("motor_peak_c", exact(heat.motor.peak_c)),
        ("motor_race_end_c", heat.motor.race_end_c),
        ("motor_rise_c", motor_rise),
        ("motor_rise_per_w", motor_rise.zip(watts).map(|(rise, watts)| mapped(rise, |c| c / watts))),
        ("controller_peak_c", exact(heat.controller.peak_c)),
        ("controller_race_end_c", heat.controller.race_end_c),
        ("battery_resistance_mohm", battery.resistance_mohm),
        ("lowest_cell_v", exact(battery.lowest_cell_v)),
        ("used_mah", battery.used_range_mah.or(exact(battery.used_mah))),
        ("used_wh", exact(battery.used_wh)),
        ("used_mah_per_lap", exact(battery.mah_per_lap)),
        ("race_end_used_mah", battery.race_end_used_mah),
        ("top_speed_m_s", power.top_speed_range_m_s.or(exact(power.top_speed_m_s))),
        ("top_rpm", exact(power.gripping_rpm)),
        ("mean_w", exact(power.mean_w)),
        ("peak_w", exact(power.peak_w)),
        ("coast_m_s2", power.coast_m_s2),
    ];
    figures.into_iter().filter_map(|(key, figure)| Some((key.to_owned(), figure?))).collect()
}

/// A number without an interval.
fn exact(value: Option<f64>) -> Option<StoredEstimate> {
    value.map(|value| StoredEstimate { value: Some(value), low: None, high: None })
}

/// The estimate with each of its numbers changed alike.
fn mapped(estimate: StoredEstimate, change: impl Fn(f64) -> f64) -> StoredEstimate {
    let StoredEstimate { value, low, high } = estimate;
    StoredEstimate { value: value.map(&change), low: low.map(&change), high: high.map(&change) }
}
