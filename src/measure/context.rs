//! What every question of a run may look at.

use super::course::Course;
use super::lap_turns::{LapTurns, travel_m};
use super::motion::{Motion, motion};
use crate::evidence::{self, RunEvidence, Subject};
use crate::gears::set_rollout_mm;
use crate::laps::Laps;
use crate::laps::odometer::Odometer;
use crate::log::{Channel, Log};
use crate::motor::{Demand, demand};
use crate::quantity::Estimate;
use crate::sheet::{RunPlan, Settings, Sheet};

/// A run's log, laps and sheet, with what several questions need of them, each worked out once.
#[derive(Debug, Clone)]
pub struct RunContext<'a> {
    /// The normalised log.
    pub log: &'a Log,
    /// Its laps.
    pub laps: &'a Laps,
    /// The settings of the run.
    pub settings: &'a Settings,
    /// Air, °C; `None` where nothing tells it.
    pub ambient_c: Option<f64>,
    /// Length of a lap along the driven line, m; `None` where the sheet lacks it.
    pub lap_length_m: Option<Estimate>,
    /// What log, laps and sheet are worth: says why something is missing.
    pub evidence: &'a RunEvidence,
    /// Length of the race, s.
    pub race_s: f64,
    /// When the run raced and until when it was driven.
    pub course: Course,
    /// Motor turns of a lap; `None` without revs or without a lap that counts.
    pub lap_turns: Option<LapTurns>,
    /// What the motor was asked for, row by row; `None` without revs, volts and amperes.
    pub demand: Option<Demand>,
    /// The car's speed, row by row; `None` where nothing tells the travel for a motor turn.
    pub motion: Option<Motion>,
}

impl<'a> RunContext<'a> {
    /// The context of a run that was read and whose laps were found.
    pub fn new(log: &'a Log, laps: &'a Laps, plan: &'a RunPlan, sheet: &Sheet, evidence: &'a RunEvidence) -> Self {
        let settings = &plan.settings;
        let race_s = sheet.race_length_s();
        let lap_length_m = sheet.lap_length_m.map(|(length, half_width)| Estimate::from_half_width(length, half_width));
        let revs_are_right = evidence.refusal(Subject::Channel(Channel::Rpm)).is_none();
        let lap_turns = LapTurns::new(laps).filter(|_| revs_are_right);
        let known = laps.odometer.as_ref().and_then(Odometer::motor);
        let demand = demand(log, known);
        let travel = travel_m(lap_turns.as_ref(), lap_length_m, settings);
        let motion = travel.and_then(|travel| motion(log, laps, travel, demand.as_ref()));
        let course = Course::new(laps, race_s);
        let ambient_c = plan.ambient_c;
        Self { log, laps, settings, ambient_c, lap_length_m, evidence, race_s, course, lap_turns, demand, motion }
    }

    /// Why the first of these that cannot be used cannot be; `None` where all can.
    pub fn refusal(&self, needed: &[Subject]) -> Option<evidence::Why> {
        self.evidence.first_refusal(needed).cloned()
    }

    /// Travel for a motor turn, wheelspin included, mm: as the track tells it, else by the sheet.
    pub fn rollout_mm(&self) -> Option<f64> {
        let on_track =
            self.lap_turns.as_ref().zip(self.lap_length_m).map(|(turns, length)| turns.rollout_mm(length).value);
        on_track.or_else(|| set_rollout_mm(self.settings))
    }
}
