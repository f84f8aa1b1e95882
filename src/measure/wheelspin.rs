//! Did the power reach the ground?
//!
//! Driving slip = (wheel speed − car speed) / wheel speed (ISO 8855's driving slip in its wheel-based form, wording from memory); an event is slip
//! above 0.20 for 0.1 s or more while the car moves at 1 m/s or more. Telling it from revs and current needs the gripped relation of
//! the two to be learnt from the run; until then `can_tell` is false.

use schemars::JsonSchema;
use serde::Serialize;

/// One stretch of wheelspin.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Event {
    /// Log time of its start, s.
    pub start_s: f64,
    /// Log time of its end, s.
    pub end_s: f64,
    /// Lap, from 1.
    pub lap: Option<u32>,
    /// Where on the lap, as a share of its motor turns.
    pub lap_fraction: Option<f64>,
    /// Highest slip.
    pub peak_slip: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Wheelspin {
    /// Whether the log can tell.
    pub can_tell: bool,
    /// Time of all events, s.
    pub seconds: Option<f64>,
    /// Of the time between the first and the last lap line.
    pub share: Option<f64>,
    /// The events.
    pub events: Vec<Event>,
    /// Why it cannot be told.
    pub why: Option<String>,
}

impl Wheelspin {
    /// The answer of a version that does not look yet.
    pub fn not_measured() -> Self {
        let why = "telling wheelspin from revs and current is not part of this version yet".to_owned();
        Self { can_tell: false, seconds: None, share: None, events: Vec::new(), why: Some(why) }
    }
}
