//! How hot did motor and controller get, and would they last the race?
//!
//! Computed here: temperature at the start, peak and its time, time over the limit, all as the recorder's sensor read them.
//! Where the log itself lasts to the race's end, the temperature there is read off it. A forecast from a shorter run
//! needs a fitted heat model; until then it is `null` and says so.

use schemars::JsonSchema;
use serde::Serialize;

use crate::log::{Channel, Log};
use crate::quantity::{Estimate, median};

/// A forecast or a peak this near below its limit is close, K. A default (common practice, no source).
pub const CLOSE_K: f64 = 5.0;
/// Time around the race's end over which a reading is taken, s.
const WINDOW_S: f64 = 2.0;

/// Whether a part keeps under its limit to the race's end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Verdict {
    /// Under the limit.
    #[serde(rename = "within")]
    Within,
    /// Within a few kelvin of it.
    #[serde(rename = "close")]
    Close,
    /// Over it.
    #[serde(rename = "over")]
    Over,
    /// The log does not tell.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Verdict {
    /// The verdict as the report says it.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Within => "within",
            Verdict::Close => "close",
            Verdict::Over => "over",
            Verdict::CannotTell => "cannot tell",
        }
    }
}

/// The answer for one part.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Heat {
    /// At the log's start, °C.
    pub start_c: Option<f64>,
    /// Highest reading, °C.
    pub peak_c: Option<f64>,
    /// When, s.
    pub peak_at_s: Option<f64>,
    /// The limit, °C.
    pub limit_c: f64,
    /// Whether the limit is the user's own; else it is a default.
    pub limit_stated: bool,
    /// Time at or above the limit, s.
    pub over_limit_s: Option<f64>,
    /// At the race's end, °C.
    pub race_end_c: Option<Estimate>,
    /// Time constant of the warming, s.
    pub time_constant_s: Option<f64>,
    /// Whether the limit holds.
    pub verdict: Verdict,
    /// Why a figure is missing.
    pub why: Option<String>,
}

/// Reads the heat of one part off the log; `race_end_s` is the log's time of the race's end, where it is known, and the
/// car was driven until `driven_to_s`: a car that stands cools, and says nothing of a race.
pub fn measure(log: &Log, channel: Channel, limit: (f64, bool), race_end_s: Option<f64>, driven_to_s: f64) -> Heat {
    let mut heat = Heat {
        start_c: None,
        peak_c: None,
        peak_at_s: None,
        limit_c: limit.0,
        limit_stated: limit.1,
        over_limit_s: None,
        race_end_c: None,
        time_constant_s: None,
        verdict: Verdict::CannotTell,
        why: None,
    };
    let rows: Vec<(f64, f64)> = match log.channel(channel) {
        Some(values) => log.time().iter().copied().zip(values.iter().copied()).filter(|r| r.1.is_finite()).collect(),
        None => Vec::new(),
    };
    let Some(&(_, start)) = rows.first() else {
        heat.why = Some(format!("the log has no {}", channel.name().replace('_', " ")));
        return heat;
    };
    let peak = rows.iter().copied().fold(rows[0], |best, row| if row.1 > best.1 { row } else { best });
    heat.start_c = Some(start);
    heat.peak_c = Some(peak.1);
    heat.peak_at_s = Some(peak.0);
    heat.over_limit_s = Some(rows.windows(2).filter(|w| w[0].1 >= limit.0).map(|w| w[1].0 - w[0].0).sum());
    heat.race_end_c = race_end_s.filter(|end| *end <= driven_to_s).and_then(|end| at_race_end(&rows, end));
    heat.verdict = match (heat.race_end_c, peak.1) {
        (_, c) if c > limit.0 => Verdict::Over,
        (Some(end), _) if end.high > limit.0 - CLOSE_K => Verdict::Close,
        (Some(_), _) => Verdict::Within,
        (None, _) => Verdict::CannotTell,
    };
    heat.why = Some(match (heat.race_end_c, race_end_s) {
        (Some(_), _) => "the time constant needs the heat model, which this version does not have yet".to_owned(),
        (None, None) => "without laps the race's end is not known".to_owned(),
        (None, Some(_)) => {
            "the log ends before the race would; a forecast needs the heat model, which this version does not have yet"
                .to_owned()
        }
    });
    heat
}

/// Reading at the race's end, where the log lasts as long; half a step of the sensor is its doubt at least.
fn at_race_end(rows: &[(f64, f64)], end: f64) -> Option<Estimate> {
    if rows.last()?.0 < end {
        return None;
    }
    let near: Vec<f64> = rows.iter().filter(|r| (r.0 - end).abs() <= WINDOW_S).map(|r| r.1).collect();
    let value = median(near.iter().copied())?;
    let mut steps: Vec<f64> = rows.windows(2).map(|w| (w[1].1 - w[0].1).abs()).filter(|d| *d > 1e-9).collect();
    steps.sort_by(f64::total_cmp);
    let step = steps.first().copied().unwrap_or(1.0);
    let spread = near.iter().map(|v| (v - value).abs()).fold(0.0, f64::max);
    Some(Estimate::from_half_width(value, (step / 2.0).max(spread)))
}
