//! Is the gearing on the car the gearing on the sheet, and what did it really do on this track?
//!
//! - Set ratio = spur / pinion × internal ratio; set rollout = π·D / ratio ([`crate::gears`]).
//! - Realised ratio = median over the laps that count of motor turns × π·D / lap length: what the set ratio would have
//!   to be for the tyre to cover the lap without slip on the stated line. Realised rollout = lap length / turns
//!   ([`super::lap_turns`]).
//!
//! The realised ratio lies above the set one because of drive slip, the flattened tyre and the driven line; what is
//! uncertain in it is a budget after JCGM 100. Which pinion was on the car is weighed over all runs of the car
//! together, by the weekend. Wrong where the lap length or the tyre on the sheet is another track's or another car's:
//! then all runs of a car are off alike.
//!
//! ```
//! // Spur 116, pinion 31, internal 1.85, tyre 63 mm: 28.59 mm a motor turn, so that a lap of 214 m takes 7485 of them.
//! let rollout_mm = runtrue::gears::rollout_mm(63.0, 116.0 / 31.0 * 1.85);
//! assert!((214_000.0_f64 / rollout_mm - 7485.0).abs() < 5.0);
//! ```

use std::f64::consts::PI;
use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::context::RunContext;
use super::lap_turns::GrippedTurns;
use crate::evidence::{self, LAP_LENGTH, Subject};
use crate::gears::set_rollout_mm;
use crate::laps::{Lap, SetAside};
use crate::log::Channel;
use crate::quantity::Estimate;
use crate::reason::Reasons;
use crate::statistics::budget::{Contribution, expanded_95};

/// Standard uncertainty of a tyre measured with a caliper, mm: two tenths either way, evenly (common practice, no
/// source).
pub const CALIPER_MM: f64 = 0.2 / 1.732_050_807_568_877_2;

/// What on the sheet the realised ratio and the verdict rest on.
const RESTS_ON: [Subject; 5] = [
    Subject::Setting(LAP_LENGTH),
    Subject::Setting("tyre_diameter_mm"),
    Subject::Setting("pinion"),
    Subject::Setting("spur"),
    Subject::Setting("internal_ratio"),
];

/// How well one pinion fits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Fit {
    /// Teeth.
    pub pinion: f64,
    /// The set ratio it gives.
    pub ratio: f64,
    /// Probability that it is on the car.
    pub probability: f64,
}

/// Something on the sheet that the realised ratio needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needed {
    /// Length of a lap.
    LapLength,
    /// Diameter of the tyre.
    TyreDiameter,
    /// Spur and pinion.
    Gears,
}

impl Needed {
    /// What it is called.
    pub fn words(self) -> &'static str {
        match self {
            Self::LapLength => "lap length",
            Self::TyreDiameter => "tyre diameter",
            Self::Gears => "spur and pinion",
        }
    }
}

/// Why a figure of the gearing is missing.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The log has no revs.
    NoRevs,
    /// All laps are set aside, or there are none.
    NoLaps,
    /// Something is missing on the sheet.
    NotOnSheet(Vec<Needed>),
    /// Something that it needs cannot be true.
    Unusable(evidence::Why),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRevs => f.write_str("the log has no revs"),
            Self::NoLaps => f.write_str("no lap counts"),
            Self::Unusable(why) => why.fmt(f),
            Self::NotOnSheet(needed) => {
                let names: Vec<&str> = needed.iter().map(|n| n.words()).collect();
                let (last, first) = names.split_last().unwrap_or((&"", &[]));
                let and = if first.is_empty() { "" } else { " and " };
                write!(f, "enter {}{and}{last} on the sheet", first.join(", "))
            }
        }
    }
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Gearing {
    /// FDR of the sheet.
    pub set_ratio: Option<f64>,
    /// Rollout of the sheet, mm.
    pub set_rollout_mm: Option<f64>,
    /// FDR realised on the track.
    pub realised_ratio: Option<Estimate>,
    /// Travel for a motor turn on the track, mm.
    pub realised_rollout_mm: Option<Estimate>,
    /// What is uncertain in the realised ratio.
    pub budget: Vec<Contribution>,
    /// Why a figure is missing.
    #[serde(skip)]
    pub why: Option<Reasons<Why>>,
    /// Number and realised ratio of each lap, for the chart.
    pub by_lap: Vec<(u32, f64)>,
    /// What the run tells of its pinion.
    #[serde(skip)]
    pub gripped: Option<GrippedTurns>,
}

/// Measures the gearing of a run; which pinion was on the car is told by all of the car's runs together.
pub fn measure(run: &RunContext) -> Gearing {
    let (set_ratio, tyre) = (run.settings.set_ratio(), run.settings.tyre_mm());
    let mut gearing = Gearing {
        set_ratio,
        set_rollout_mm: set_rollout_mm(run.settings),
        realised_ratio: None,
        realised_rollout_mm: None,
        budget: Vec::new(),
        why: None,
        by_lap: Vec::new(),
        gripped: None,
    };
    let Some(turns) = &run.lap_turns else {
        let missing = if run.laps.odometer.is_none() { Why::NoRevs } else { Why::NoLaps };
        let refused = run.refusal(&[Subject::Channel(Channel::Rpm)]);
        gearing.why = Some(refused.map_or(missing, Why::Unusable).into());
        return gearing;
    };
    gearing.gripped = turns.gripped;
    gearing.why = not_on_sheet(run).map(Reasons::from);
    let Some(length) = run.lap_length_m else { return gearing };
    gearing.realised_rollout_mm = Some(turns.rollout_mm(length));
    let Some(tyre) = tyre else { return gearing };
    let per_turn = PI * tyre / 1000.0 / length.value;
    let mut budget = turns.budget_on_lap(length);
    budget.insert(1, Contribution::certain("tyre diameter", CALIPER_MM / tyre));
    let ratio = turns.median * per_turn;
    gearing.realised_ratio = Some(Estimate::from_half_width(ratio, ratio * expanded_95(&budget)));
    gearing.budget = budget;
    let whole = |l: &&Lap| !matches!(l.set_aside, Some(SetAside::MissedPassing | SetAside::Outside));
    gearing.by_lap = run.laps.rows.iter().filter(whole).map(|l| (l.number, l.turns * per_turn)).collect();
    gearing
}

/// What the sheet lacks for the realised ratio and the verdict.
fn not_on_sheet(run: &RunContext) -> Option<Why> {
    if let Some(refused) = run.refusal(&RESTS_ON) {
        return Some(Why::Unusable(refused));
    }
    let each = [
        (Needed::LapLength, run.lap_length_m.is_some()),
        (Needed::TyreDiameter, run.settings.tyre_mm().is_some()),
        (Needed::Gears, run.settings.set_ratio().is_some()),
    ];
    let missing: Vec<Needed> = each.into_iter().filter_map(|(needed, there)| (!there).then_some(needed)).collect();
    (!missing.is_empty()).then_some(Why::NotOnSheet(missing))
}
