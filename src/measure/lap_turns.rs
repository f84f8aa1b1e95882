//! How many motor turns a lap takes, how well that is known, and what it tells of the car's travel for a motor turn.
//!
//! A lap's turns are the integral of the revs between two passings (trapezoid rule); the run's are the median over the
//! laps that count. What is uncertain in them is a budget after JCGM 100. Travel for a motor turn = lap length / turns
//! of the lap. The turns of the car, without those that its wheels spun, are the run's evidence for its pinion.
//!
//! Wrong where the lap length on the sheet is another track's: then the travel of all runs is off alike.

use std::f64::consts::PI;

use crate::gears::set_rollout_mm;
use crate::laps::odometer::Odometer;
use crate::laps::{Lap, Laps};
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::sheet::Settings;
use crate::statistics::budget::{Contribution, expanded_95};
use crate::statistics::quantiles::{median, robust_deviation};

/// Relative standard uncertainty of a recorder's clock: a hundred parts in a million either way (common practice, no
/// source).
const CLOCK_U: f64 = 0.5e-4;
/// Relative standard uncertainty of the turns that were spun. Common practice, no source: the car is drawn in a
/// straight line through each spin.
const DRAWN_U: f64 = 0.25;
/// Relative standard uncertainty of the rollout by the sheet as the travel: tyre growth, wear and drive slip. Common
/// practice, no source.
const SET_ROLLOUT_U: f64 = 0.01;

/// The motor turns of a run's laps.
#[derive(Debug, Clone, PartialEq)]
pub struct LapTurns {
    /// Median over the laps that count, turns of the motor.
    pub median: f64,
    /// What is uncertain in it.
    pub budget: Vec<Contribution>,
    /// The car's own turns; `None` where its wheels and its way cannot be told apart.
    pub gripped: Option<GrippedTurns>,
}

/// What one run tells of its pinion, before the weekend is looked at as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrippedTurns {
    /// Turns of a lap without wheelspin.
    pub turns: f64,
    /// Their relative standard uncertainty within the run.
    pub relative_u: f64,
    /// Share of a lap's turns that were spun.
    pub spun: f64,
}

impl LapTurns {
    /// The turns of a run's laps; `None` without revs or without a lap that counts.
    pub fn new(laps: &Laps) -> Option<Self> {
        let odometer = laps.odometer.as_ref()?;
        let counted: Vec<&Lap> = laps.counted().collect();
        let median = median(counted.iter().map(|l| l.turns))?;
        let budget = budget(laps, &counted, odometer, median);
        let gripped = gripped(&counted, laps, &budget);
        Some(Self { median, budget, gripped })
    }

    /// What is uncertain in a figure that follows from the turns and the lap length.
    pub fn budget_on_lap(&self, lap_length_m: Estimate) -> Vec<Contribution> {
        let length = Contribution::certain("lap length", Uncertain::from(lap_length_m).relative_u());
        std::iter::once(length).chain(self.budget.iter().cloned()).collect()
    }

    /// Rollout on the track: travel for a motor turn, wheelspin included, mm.
    pub fn rollout_mm(&self, lap_length_m: Estimate) -> Estimate {
        let rollout = lap_length_m.value * 1000.0 / self.median;
        Estimate::from_half_width(rollout, rollout * expanded_95(&self.budget_on_lap(lap_length_m)))
    }
}

/// What is uncertain in the median of the laps' turns.
fn budget(laps: &Laps, counted: &[&Lap], odometer: &Odometer, turns: f64) -> Vec<Contribution> {
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
        Contribution::certain("the recorder's clock", CLOCK_U),
    ]
}

fn gripped(counted: &[&Lap], laps: &Laps, budget: &[Contribution]) -> Option<GrippedTurns> {
    let car = laps.gripped.as_ref()?;
    let turns = |l: &&Lap| car.turns_at(l.end_s) - car.turns_at(l.start_s);
    let turns_a_lap = laps.gripped_turns()?;
    let spun = median(counted.iter().map(|l| (1.0 - turns(l) / l.turns).abs()))?;
    let within = budget.iter().map(|c| c.relative_u.powi(2)).sum::<f64>();
    let relative_u = (within + (DRAWN_U * spun).powi(2)).sqrt();
    Some(GrippedTurns { turns: turns_a_lap, relative_u, spun })
}

/// The car's travel for a motor turn without wheelspin, m: as the track tells it, else by the sheet; `None` where
/// neither does.
pub fn travel_m(turns: Option<&LapTurns>, lap_length_m: Option<Estimate>, settings: &Settings) -> Option<Uncertain> {
    let on_track = turns.zip(lap_length_m).and_then(|(turns, length)| {
        // The turns that were spun must not count.
        let gripped = turns.gripped?.turns;
        let rollout = turns.rollout_mm(length);
        let relative_u = Uncertain::from(rollout).relative_u();
        Some(Uncertain::relative(rollout.value * turns.median / gripped / 1000.0, relative_u))
    });
    on_track.or_else(|| Some(Uncertain::relative(set_rollout_mm(settings)? / 1000.0, SET_ROLLOUT_U)))
}
