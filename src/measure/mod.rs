//! The answers of one run: a file a question.

pub mod battery;
pub mod budget;
pub mod gearing;
pub mod heat;
pub mod power;
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
}

/// Answers every question of a run.
pub fn measure(log: &Log, laps: &Laps, plan: &RunPlan, sheet: &Sheet) -> Answers {
    let settings = &plan.settings;
    let limit = |key: &str, default: f64| settings.number(key).map_or((default, false), |v| (v, true));
    let race_s = sheet.race_length_s();
    let race_end = laps.first_passing.map(|f| f.value + race_s);
    // The last lap is finished after the race's end, or the flag fell within it.
    let driven_to = laps.rows.last().map_or(0.0, |l| l.end_s + laps.median_s().unwrap_or(0.0));
    let gearing = gearing::measure(laps, settings, sheet);
    let power = power::measure(log, laps, &gearing);
    Answers {
        wheelspin: wheelspin::measure(
            laps,
            log.reading.rate_hz,
            gearing.realised_rollout_mm.map(|m| m.value).or(gearing.set_rollout_mm),
        ),
        motor: heat::measure(
            log,
            Channel::MotorTemperature,
            limit("limits.motor_c", DEFAULT_MOTOR_C),
            race_end,
            driven_to,
        ),
        controller: heat::measure(
            log,
            Channel::ControllerTemperature,
            limit("limits.esc_c", DEFAULT_CONTROLLER_C),
            race_end,
            driven_to,
        ),
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
    }
}
