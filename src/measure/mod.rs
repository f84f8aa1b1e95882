//! The answers of one run.
//!
//! A file a question: [`gearing`], [`wheelspin`], [`heat`], [`battery`], [`power`], [`time_along_lap`],
//! [`consistency`]. Each measures a [`context::RunContext`] and gives its answer. The other files are what the
//! questions need, and what the weekend asks of a measured run: [`pinion`] what another pinion would ask of the motor,
//! [`forecast`] what the heat model says of other races.

pub mod battery;
mod ceiling;
pub mod coasting;
pub mod consistency;
pub mod context;
pub mod course;
pub mod cuts;
pub mod forecast;
pub mod gearing;
pub mod heat;
mod heat_equations;
mod heat_nodes;
pub mod heat_record;
pub mod hot_part;
pub mod lap_turns;
pub mod motion;
mod over_the_way;
pub mod pinion;
pub mod place_on_lap;
pub mod power;
pub mod regeared;
pub mod regeared_lap;
mod regeared_load;
pub mod resistance;
pub mod rests_on;
pub mod sections;
mod slip_over_ground;
pub mod time_along_lap;
pub mod warming;
pub mod wheelspin;

use context::RunContext;

use crate::evidence::RunEvidence;
use crate::laps::Laps;
use crate::log::{Channel, Log};
use crate::motor::Demand;
use crate::sheet::{RunPlan, Sheet};

/// All answers of a run, and what they were worked out from row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    /// Is the gearing the sheet's?
    pub gearing: gearing::Gearing,
    /// Did the power reach the ground?
    pub wheelspin: wheelspin::Wheelspin,
    /// How hot did the motor get?
    pub motor: heat::Heat,
    /// How hot did the controller get?
    pub controller: heat::Heat,
    /// What had the battery left?
    pub battery: battery::Battery,
    /// Where is the power?
    pub power: power::Power,
    /// What the motor was asked for, row by row; `None` without revs, volts and amperes.
    pub demand: Option<Demand>,
    /// The car's speed, row by row; `None` where nothing tells it.
    pub motion: Option<motion::Motion>,
    /// How the time went along the counted laps, or why that is not known.
    pub along: Result<time_along_lap::TimeAlongLaps, time_along_lap::Why>,
    /// How even the laps were; `None` with fewer than five that count.
    pub consistency: Option<consistency::Consistency>,
}

impl Answers {
    /// The car's pull, to ask what another pinion would do; `None` where the run does not show it. `mass_kg` is the
    /// car's, where it is known.
    pub fn pull(&self, log: &Log, mass_kg: Option<f64>) -> Option<pinion::PullModel<'_>> {
        let pack = pinion::Pack {
            volts: log.channel(Channel::Voltage)?,
            amps: log.channel(Channel::Current)?,
            ohm: self.battery.resistance_mohm.map_or(0.0, |r| r.value / 1000.0),
        };
        let throttle = log.channel(Channel::Throttle);
        pinion::PullModel::fit(self.demand.as_ref()?, self.motion.as_ref()?, &pack, throttle, mass_kg)
    }
}

/// Answers every question of a run from what is sound of its `log` and `plan`; `evidence` says why the rest is not.
pub fn measure(log: &Log, laps: &Laps, plan: &RunPlan, sheet: &Sheet, evidence: &RunEvidence) -> Answers {
    let run = RunContext::new(log, laps, plan, sheet, evidence);
    // No question needs another's answer but the last.
    let on_the_way = || (gearing::measure(&run), wheelspin::measure(&run), time_along_lap::measure(&run));
    let heat = || rayon::join(|| heat::measure_motor(&run), || heat::measure_controller(&run));
    let pack = || rayon::join(|| battery::measure(&run), || power::measure(&run));
    let ((gearing, wheelspin, along), ((motor, controller), (battery, power))) =
        rayon::join(on_the_way, || rayon::join(heat, pack));
    let consistency = consistency::measure(&run, &wheelspin);
    let RunContext { demand, motion, .. } = run;
    Answers { gearing, wheelspin, motor, controller, battery, power, demand, motion, along, consistency }
}
