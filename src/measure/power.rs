//! Where is the power?
//!
//! Computed here: highest revs, the car's top speed (revs without wheelspin × travel for a motor turn on the track, else the
//! set rollout), mean and peak electrical power from the pack (V·I). Pull by speed and coasting need the car's speed
//! taken apart from the wheels'; until then they are left out and say so.

use schemars::JsonSchema;
use serde::Serialize;

use super::gearing::Gearing;
use crate::laps::Laps;
use crate::log::{Channel, Log};
use crate::quantity::Estimate;

/// Pull at a speed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Pull {
    /// Car speed, m/s.
    pub speed_m_s: f64,
    /// Acceleration at full demand, m/s².
    pub acceleration_m_s2: Estimate,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Power {
    /// Highest motor revs, wheelspin included, turns a minute.
    pub top_rpm: Option<f64>,
    /// The car's top speed, m/s.
    pub top_speed_m_s: Option<f64>,
    /// Mean electrical power over the laps (without laps, over the log), W.
    pub mean_w: Option<f64>,
    /// Highest electrical power, W.
    pub peak_w: Option<f64>,
    /// Pull by speed.
    pub pull: Vec<Pull>,
    /// Deceleration off throttle, m/s².
    pub coast_m_s2: Option<Estimate>,
    /// Why a figure is missing.
    pub why: Option<String>,
}

/// Reads the power's figures off the log.
pub fn measure(log: &Log, laps: &Laps, gearing: &Gearing) -> Power {
    let highest = |values: &[f64]| values.iter().copied().filter(|v| v.is_finite()).max_by(f64::total_cmp);
    let top_rpm = log.channel(Channel::Rpm).and_then(highest);
    let mut why = vec![
        "pull and coasting need the car's speed apart from the wheels', which this version does not have yet"
            .to_owned(),
    ];
    // The travel for a turn must not count the turns that spun away either.
    let travel = gearing.evidence.zip(gearing.realised_rollout_mm).map(|(e, r)| {
        let counted = crate::quantity::median(laps.counted().map(|l| l.turns)).unwrap_or(e.gripped_turns);
        r.value * counted / e.gripped_turns
    });
    let travel = travel.or(gearing.set_rollout_mm);
    let ground = log.channel(Channel::GroundSpeed).and_then(highest);
    let by_revs =
        laps.gripped.as_ref().zip(travel).and_then(|(g, mm)| highest(g.rows().1).map(|rpm| rpm / 60.0 * mm / 1000.0));
    let top_speed_m_s = ground.or(by_revs);
    if top_speed_m_s.is_none() {
        why.push("the top speed needs revs and the lap length, or the gearing and the tyre".to_owned());
    }
    let watts: Option<Vec<f64>> = log
        .channel(Channel::Voltage)
        .zip(log.channel(Channel::Current))
        .map(|(v, i)| v.iter().zip(i).map(|(v, i)| v * i).collect());
    if watts.is_none() {
        why.push("the power needs voltage and current".to_owned());
    }
    let energy = watts.as_ref().map(|w| super::battery::integral(log.time(), w));
    let span = match (laps.rows.first(), laps.rows.last()) {
        (Some(first), Some(last)) => (first.start_s, last.end_s.min(log.reading.duration_s)),
        _ => (0.0, log.reading.duration_s),
    };
    let mean_w = energy.and_then(|e| {
        let row = |t: f64| log.time().partition_point(|&x| x <= t).clamp(1, log.rows()) - 1;
        let (a, b) = (row(span.0), row(span.1));
        (b > a).then(|| (e[b] - e[a]) / (log.time()[b] - log.time()[a]))
    });
    Power {
        top_rpm,
        top_speed_m_s,
        mean_w,
        peak_w: watts.as_deref().and_then(highest),
        pull: Vec::new(),
        coast_m_s2: None,
        why: Some(why.join("; ")),
    }
}
