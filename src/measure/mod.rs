//! The answers of one run: a file a question.

pub mod battery;
pub mod forecast;
pub mod gearing;
pub mod heat;
pub mod motion;
pub mod motor;
pub mod pinion;
pub mod power;
pub mod warming;
pub mod wheelspin;

use crate::laps::Laps;
use crate::log::{Channel, Log};
use crate::sheet::{DEFAULT_CELL_V, DEFAULT_CONTROLLER_C, DEFAULT_MOTOR_C, RunPlan, Sheet};

/// All answers of a run.
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
    pub demand: Option<motor::Demand>,
    /// The car's speed, row by row; `None` where nothing tells it.
    pub motion: Option<motion::Motion>,
}

impl Answers {
    /// The car's pull, to ask what another pinion would do; `None` where the run does not show it.
    pub fn pull(&self, log: &Log, mass_kg: Option<f64>) -> Option<pinion::Pull<'_>> {
        let pack = (log.channel(Channel::Voltage)?, log.channel(Channel::Current)?);
        let ohm = self.battery.resistance_mohm.map(|r| r.value / 1000.0);
        pinion::pull(self.demand.as_ref()?, self.motion.as_ref()?, pack, ohm, mass_kg)
    }
}

/// Answers every question of a run.
pub fn measure(log: &Log, laps: &Laps, plan: &RunPlan, sheet: &Sheet) -> Answers {
    let settings = &plan.settings;
    let limit = |key: &str, default: f64| settings.number(key).map_or((default, false), |v| (v, true));
    let race_s = sheet.race_length_s();
    let demand = motor::demand(log);
    let heat = |channel, limit| {
        heat::measure(log, laps, demand.as_ref(), heat::Part { channel, limit, ambient_c: plan.ambient_c }, race_s)
    };
    let gearing = gearing::measure(laps, settings, sheet);
    let motion = motion::motion(log, laps, &gearing, demand.as_ref());
    let power = power::measure(log, laps, motion.as_ref(), demand.as_ref());
    Answers {
        wheelspin: wheelspin::measure(
            laps,
            log.reading.rate_hz,
            gearing.realised_rollout_mm.map(|m| m.value).or(gearing.set_rollout_mm),
        ),
        motor: heat(Channel::MotorTemperature, limit("limits.motor_c", DEFAULT_MOTOR_C)),
        controller: heat(Channel::ControllerTemperature, limit("limits.esc_c", DEFAULT_CONTROLLER_C)),
        battery: battery::measure(
            log,
            laps,
            settings.number("battery.cells"),
            settings.number("battery.capacity_mah"),
            limit("limits.cell_v", DEFAULT_CELL_V).0,
            race_s,
        ),
        gearing,
        power,
        demand,
        motion,
    }
}
