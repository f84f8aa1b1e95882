//! Is the gearing on the car the gearing on the sheet, and what did it really do on this track?
//!
//! - Set ratio = spur / pinion × internal ratio; set rollout = π·D / ratio (common practice).
//! - Realised ratio = median over counted laps of motor turns × π·D / lap length: what the set ratio would have to be for the
//!   tyre to cover the lap without slip on the stated line. Realised rollout = lap length / turns.
//! - Each lap's turns are the integral of the revs between two passings (trapezoid rule).
//!
//! The realised ratio lies above the set one by drive slip, the flattened tyre and the driven line; what is left open is a
//! budget after JCGM 100. Which pinion it was is weighed over all runs of a car together, in `weekend::gearing`.
//! Wrong where the lap length or the tyre on the sheet is another track's or another car's: then all runs of a car are off alike.
//!
//! ```
//! // Spur 116, pinion 31, internal 1.85: 6.92 motor turns a wheel turn, and a 63 mm tyre rolls out 28.6 mm.
//! let ratio = 116.0 / 31.0 * 1.85;
//! assert!((runtrue::measure::gearing::rollout_mm(63.0, ratio) - 28.59).abs() < 0.01);
//! ```

use std::f64::consts::PI;

use schemars::JsonSchema;
use serde::Serialize;

use crate::laps::odometer::Odometer;
use crate::laps::{Lap, Laps, SetAside};
use crate::quantity::{COVERAGE_95, Estimate};
use crate::sheet::{Settings, Sheet};
use crate::statistics::budget::{Contribution, expanded_95};
use crate::statistics::quantiles::{median, robust_deviation};

/// Standard uncertainty of a tyre measured with a caliper, mm: two tenths either way, evenly (common practice, no source).
pub const CALIPER_MM: f64 = 0.2 / 1.732_050_807_568_877_2;
/// Relative error of a recorder's clock: a hundred parts in a million either way (common practice, no source).
const CLOCK: f64 = 0.5e-4;

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
    /// Where the uncertainty of the realised ratio comes from.
    pub budget: Vec<Contribution>,
    /// Why a figure is missing.
    #[serde(skip)]
    pub why: Option<String>,
    /// Realised ratio of each lap, by its number; for the chart.
    pub by_lap: Vec<(u32, f64)>,
    /// Median motor turns of a lap as the car, not its spinning wheels, would have made them, and their relative
    /// standard uncertainty from this run alone.
    #[serde(skip)]
    pub evidence: Option<Evidence>,
}

/// Relative standard uncertainty of the turns that spun away. Common practice, no source: a straight line for the car through each spin.
const DRAWN_U: f64 = 0.25;

/// What one run says about its pinion, before the weekend is looked at whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Turns of a lap without wheelspin.
    pub gripped_turns: f64,
    /// Relative standard uncertainty within the run.
    pub relative_u: f64,
    /// Share of a lap's turns that spun away.
    pub spun: f64,
    /// Whether they are those of wheels that roll, by a speed over ground, and hold no drive slip.
    pub rolling: bool,
}

/// Travel of a tyre of `tyre_mm` for one motor turn, mm.
pub fn rollout_mm(tyre_mm: f64, ratio: f64) -> f64 {
    PI * tyre_mm / ratio
}

/// Travel for a motor turn by the sheet's gearing and tyre, mm; `None` where the sheet lacks one of them.
pub fn set_rollout_mm(settings: &Settings) -> Option<f64> {
    Some(rollout_mm(settings.tyre_mm()?, settings.set_ratio()?))
}

/// Measures the gearing of a run; which pinion it was, the weekend tells.
pub fn measure(laps: &Laps, settings: &Settings, sheet: &Sheet) -> Gearing {
    let set_ratio = settings.set_ratio();
    let tyre = settings.tyre_mm();
    let mut gearing = Gearing {
        set_ratio,
        set_rollout_mm: set_rollout_mm(settings),
        realised_ratio: None,
        realised_rollout_mm: None,
        budget: Vec::new(),
        why: None,
        by_lap: Vec::new(),
        evidence: None,
    };
    let counted: Vec<&Lap> = laps.counted().collect();
    let (Some(odometer), Some(turns)) = (&laps.odometer, median(counted.iter().map(|l| l.turns))) else {
        gearing.why = Some(if laps.odometer.is_none() { "the log has no revs" } else { "no lap counts" }.to_owned());
        return gearing;
    };
    let own = own_budget(laps, &counted, odometer, turns);
    gearing.evidence = evidence(&counted, laps, &own);
    let missing: Vec<&str> = [
        ("lap_length_m", sheet.lap_length_m.is_none()),
        ("tyre_diameter_mm", tyre.is_none()),
        ("spur and pinion", set_ratio.is_none()),
    ]
    .into_iter()
    .filter_map(|(key, gone)| gone.then_some(key))
    .collect();
    if !missing.is_empty() {
        gearing.why = Some(format!("the sheet lacks {}", missing.join(", ")));
    }
    let Some((length, half_width)) = sheet.lap_length_m else { return gearing };
    let mut of_rollout = vec![Contribution::certain("lap length", half_width / COVERAGE_95 / length)];
    of_rollout.extend(own.iter().cloned());
    let rollout = length * 1000.0 / turns;
    gearing.realised_rollout_mm = Some(Estimate::from_half_width(rollout, rollout * expanded_95(&of_rollout)));
    let Some(tyre) = tyre else { return gearing };
    let per_turn = PI * tyre / 1000.0 / length;
    of_rollout.insert(1, Contribution::certain("tyre diameter", CALIPER_MM / tyre));
    let ratio = turns * per_turn;
    gearing.realised_ratio = Some(Estimate::from_half_width(ratio, ratio * expanded_95(&of_rollout)));
    gearing.budget = of_rollout;
    let whole = |l: &&Lap| !matches!(l.set_aside, Some(SetAside::MissedPassing | SetAside::Outside));
    gearing.by_lap = laps.rows.iter().filter(whole).map(|l| (l.number, l.turns * per_turn)).collect();
    gearing
}

/// Contributions of the run itself to the median's turns.
fn own_budget(laps: &Laps, counted: &[&Lap], odometer: &Odometer, turns: f64) -> Vec<Contribution> {
    let each: Vec<f64> = counted.iter().map(|l| l.turns).collect();
    let n = each.len() as f64;
    // Standard error of a median of normal values: sqrt(pi / 2) times that of their mean.
    let scatter = robust_deviation(&each).unwrap_or(0.0) / turns * (PI / 2.0).sqrt() / n.sqrt();
    let placed = laps.first_passing.map_or(0.0, |first| {
        let shifted = |by: f64| {
            median(counted.iter().map(|l| odometer.turns_at(l.end_s + by) - odometer.turns_at(l.start_s + by)))
                .unwrap_or(turns)
        };
        let (low, high) = (shifted(first.low - first.value), shifted(first.high - first.value));
        (low - turns).abs().max((high - turns).abs()) / turns / COVERAGE_95
    });
    vec![
        Contribution { what: "scatter of the laps", relative_u: scatter, degrees: (n - 1.0).max(1.0) },
        Contribution::certain("where the laps begin", placed),
        Contribution::certain("the recorder's clock", CLOCK),
    ]
}

fn evidence(counted: &[&Lap], laps: &Laps, own: &[Contribution]) -> Option<Evidence> {
    let gripped = laps.gripped.as_ref()?;
    let of_car = |l: &&Lap| gripped.turns_at(l.end_s) - gripped.turns_at(l.start_s);
    let turns = median(counted.iter().map(of_car))?;
    // How far the car went while its wheels spun is drawn, not measured.
    let spun = median(counted.iter().map(|l| (1.0 - of_car(l) / l.turns).abs()))?;
    let within = own.iter().map(|c| c.relative_u.powi(2)).sum::<f64>();
    let relative_u = (within + (DRAWN_U * spun).powi(2)).sqrt();
    Some(Evidence { gripped_turns: turns, relative_u, spun, rolling: gripped.has_ground() })
}

/// A spur and a pinion that could be on the car.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gears {
    /// Teeth of the spur.
    pub spur: f64,
    /// Teeth of the pinion.
    pub pinion: f64,
    /// FDR.
    pub ratio: f64,
    /// Rollout, mm, where the tyre is known.
    pub rollout_mm: Option<f64>,
}

/// Pinions either side of the sheet's for which a change is shown.
const NEIGHBOURS: i32 = 2;

/// A pinion (the one on the car) and those around it, the smallest first; none where the pinion or the spur is not known.
pub fn neighbours(settings: &Settings, on_car: Option<f64>) -> Vec<Gears> {
    let spur = settings.number("spur");
    (-NEIGHBOURS..=NEIGHBOURS).filter_map(|teeth| gears(settings, spur?, on_car? + f64::from(teeth))).collect()
}

/// FDR and rollout of a spur and a pinion on a car; `None` where there are no such gears.
pub fn gears(settings: &Settings, spur: f64, pinion: f64) -> Option<Gears> {
    let ratio = spur / pinion * settings.number("internal_ratio").unwrap_or(1.0);
    let rollout_mm = settings.tyre_mm().map(|d| rollout_mm(d, ratio));
    (spur > 0.0 && pinion > 0.0).then_some(Gears { spur, pinion, ratio, rollout_mm })
}
