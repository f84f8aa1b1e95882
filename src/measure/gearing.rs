//! Is the gearing on the car the gearing on the sheet, and what did it really do on this track?
//!
//! - Set ratio = spur / pinion × internal ratio; set rollout = π·D / ratio ([`super::gears`]).
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
//! let rollout_mm = runtrue::measure::gears::rollout_mm(63.0, 116.0 / 31.0 * 1.85);
//! assert!((214_000.0 / rollout_mm - 7485.0).abs() < 5.0);
//! ```

use std::f64::consts::PI;
use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::context::RunContext;
use super::gears::{rollout_mm, set_rollout_mm};
use super::lap_turns::Evidence;
use crate::laps::{Lap, SetAside};
use crate::quantity::Estimate;
use crate::reason::Reasons;
use crate::statistics::budget::{Contribution, expanded_95};

/// Standard uncertainty of a tyre measured with a caliper, mm: two tenths either way, evenly (common practice, no
/// source).
pub const CALIPER_MM: f64 = 0.2 / 1.732_050_807_568_877_2;

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
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// The log has no revs.
    NoRevs,
    /// All laps are set aside, or there are none.
    NoLaps,
    /// Something is missing on the sheet.
    NotOnSheet(Vec<Needed>),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRevs => f.write_str("the log has no revs"),
            Self::NoLaps => f.write_str("no lap counts"),
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
    pub evidence: Option<Evidence>,
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
        evidence: None,
    };
    let Some(turns) = &run.lap_turns else {
        let why = if run.laps.odometer.is_none() { Why::NoRevs } else { Why::NoLaps };
        gearing.why = Some(why.into());
        return gearing;
    };
    gearing.evidence = turns.evidence;
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
    let each = [
        (Needed::LapLength, run.lap_length_m.is_some()),
        (Needed::TyreDiameter, run.settings.tyre_mm().is_some()),
        (Needed::Gears, run.settings.set_ratio().is_some()),
    ];
    let missing: Vec<Needed> = each.into_iter().filter_map(|(needed, there)| (!there).then_some(needed)).collect();
    (!missing.is_empty()).then_some(Why::NotOnSheet(missing))
}

/// Two gears of a list are never so many times as large as each other.
const FAR_APART: u32 = 3;

/// Reads numbers of teeth as racers write them: `31`, `27,28,29` or `27-33`.
///
/// # Errors
/// What of it is no number of teeth.
pub fn teeth(text: &str) -> Result<Vec<u32>, String> {
    let number = |t: &str| {
        t.trim()
            .parse::<u32>()
            .ok()
            .filter(|n| (1..=500).contains(n))
            .ok_or_else(|| format!("`{t}` is no number of teeth from 1 to 500"))
    };
    let mut all = Vec::new();
    for part in text.split(',') {
        match part.split_once('-') {
            Some((low, high)) => {
                let (low, high) = (number(low)?, number(high)?);
                if low > high {
                    return Err(format!("`{part}` runs backwards"));
                }
                all.extend(low..=high);
            }
            None => all.push(number(part)?),
        }
    }
    // `31,5` is no list of two gears but half a tooth.
    if let ([a, b], false) = (all.as_slice(), text.contains('-'))
        && a.max(b) / a.min(b) >= FAR_APART
    {
        return Err(format!("`{text}` would be {a} and {b} teeth: teeth are whole numbers"));
    }
    Ok(all)
}

/// FDR and, where the tyre is known, rollout in mm.
pub type Geared = (f64, Option<f64>);

/// FDR and rollout of `pinions` over `spurs`: a row a pinion, a cell a spur.
pub fn table(pinions: &[u32], spurs: &[u32], internal: f64, tyre_mm: Option<f64>) -> Vec<(u32, Vec<Geared>)> {
    let cell = |pinion: u32, spur: u32| {
        let ratio = f64::from(spur) / f64::from(pinion) * internal;
        (ratio, tyre_mm.map(|d| rollout_mm(d, ratio)))
    };
    pinions.iter().map(|&p| (p, spurs.iter().map(|&s| cell(p, s)).collect())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    // Common practice, no source: figures that racers quote.
    #[rstest]
    #[case(27, 110, 1.9, 7.65, 7.75)]
    #[case(28, 110, 1.9, 7.4, 7.5)]
    #[case(29, 110, 1.9, 7.15, 7.25)]
    fn final_drive_ratios_of_the_trade(
        #[case] pinion: u32,
        #[case] spur: u32,
        #[case] internal: f64,
        #[case] low: f64,
        #[case] high: f64,
    ) {
        let ratio = table(&[pinion], &[spur], internal, None)[0].1[0].0;
        assert!((low..=high).contains(&ratio), "{ratio}");
    }

    #[rstest]
    #[case("31, 32", Some(vec![31, 32]))]
    #[case("29-31,33", Some(vec![29, 30, 31, 33]))]
    #[case("31,5", None)]
    #[case("31.5", None)]
    #[case("33-29", None)]
    fn teeth_as_racers_write_them(#[case] text: &str, #[case] expected: Option<Vec<u32>>) {
        assert_eq!(teeth(text).ok(), expected);
    }

    // Common practice, no source: 33/80 on a 41.5 mm tyre rolls out about 53 mm, 23 and 24 on 92 about 33 to 35 mm.
    #[rstest]
    #[case(33, 80, 53.0, 55.0)]
    #[case(23, 92, 32.0, 33.5)]
    #[case(24, 92, 33.5, 35.0)]
    fn rollouts_of_the_trade(#[case] pinion: u32, #[case] spur: u32, #[case] low: f64, #[case] high: f64) {
        let rollout = table(&[pinion], &[spur], 1.0, Some(41.5))[0].1[0].1.unwrap();
        assert!((low..=high).contains(&rollout), "{rollout}");
    }
}
