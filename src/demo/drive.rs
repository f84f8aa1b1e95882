//! What is done to a car before and during one run.

use std::ops::Range;

use super::car::CarSpec;

/// What is done to the car before and during one run.
#[derive(Debug, Clone, PartialEq)]
pub struct Drive {
    /// Teeth of the pinion that is really on the car.
    pub pinion: u32,
    /// Tyre diameter at the start, m.
    pub tyre: f64,
    /// Air, °C.
    pub ambient: f64,
    /// How much warmer than the air the motor is at the start, °C.
    pub warm: f64,
    /// Share of the fan's cooling that is left.
    pub fan: f64,
    /// Drag brake, share of the current limit.
    pub drag_brake: f64,
    /// What the end-bell timing does to the motor.
    pub timing: Timing,
    /// Charge used before the start, share of the capacity.
    pub used: f64,
    /// Factor on the pack's resistance.
    pub pack_age: f64,
    /// Racing time from the first passing, s.
    pub length: f64,
    /// Chance of wheelspin out of a corner.
    pub spin: f64,
    /// Share of the grip that is left where the wheels spin.
    pub spin_grip: Range<f64>,
    /// Chance of locked wheels into a corner.
    pub lock: f64,
    /// Whether the run starts on the grid, a few metres before the line, as a race does; otherwise it starts in the pit
    /// lane.
    pub from_grid: bool,
    /// Stops on the track.
    pub stops: Vec<Stop>,
}

/// What the end-bell timing does to a motor: factors on its constants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// On the motor constant.
    pub motor_constant: f64,
    /// On the loss torque.
    pub loss: f64,
}

/// A stop on the track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// The lap, 0 the first after the line.
    pub lap: usize,
    /// How long the car stands, s.
    pub seconds: f64,
}

impl Timing {
    /// The timing that the car's constants hold for.
    pub const AS_SET: Self = Self { motor_constant: 1.0, loss: 1.0 };
}

impl Drive {
    /// A run with nothing unusual about it.
    pub fn plain(car: &CarSpec) -> Self {
        Self {
            pinion: car.pinion,
            tyre: car.tyre,
            ambient: 24.0,
            warm: 3.0,
            fan: 1.0,
            drag_brake: 0.03,
            timing: Timing::AS_SET,
            used: 0.0,
            pack_age: 1.0,
            length: 300.0,
            spin: 0.02,
            spin_grip: 0.42..0.8,
            lock: 0.0,
            from_grid: false,
            stops: Vec::new(),
        }
    }
}
