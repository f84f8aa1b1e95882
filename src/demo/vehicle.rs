//! The car in motion: longitudinal forces with a tyre force that depends on slip, rotor and wheel inertia, a motor with
//! a current limit, drag brake, a pack with an ohmic and a slow resistance, two heat nodes in the motor and one in the
//! controller.

use super::car::{CarSpec, GRAVITY, open_circuit};
use super::drive::Drive;

/// Step of the model, s.
pub const STEP: f64 = 0.000_5;

/// Share of the current limit that the brakes can use.
pub const BRAKE_SHARE: f64 = 0.8;
/// Demand nearer to zero than this is neither throttle nor brake.
const NEUTRAL: f64 = 0.02;
/// Share of the braking energy that goes back into the pack.
const REGAINED: f64 = 0.5;
/// Power that receiver and servo draw all the time, W.
const RECEIVER_W: f64 = 1.2;
/// Change of a winding's resistance, per °C.
const COPPER: f64 = 0.0039;
/// Resistance of leads and controller, which does not heat the winding, ohm.
const OUTSIDE_WINDING: f64 = 0.003;
/// Share of the loss torque's heat that arises in the winding; the rest arises in the can.
const LOSS_IN_WINDING: f64 = 0.3;
/// Share of the loss torque's heat that arises in the can.
const LOSS_IN_CAN: f64 = 0.7;
/// Time constant of the motor's temperature sensor, s.
const SENSOR_S: f64 = 3.0;
/// Cooling of the controller by the airflow, W/K at 1 m/s.
const CONTROLLER_AIRFLOW: f64 = 0.004;
/// Heat of the controller without any motor current, W.
const CONTROLLER_IDLE_W: f64 = 1.0;

/// The car's state at one moment.
pub struct Vehicle<'a> {
    /// What the car is.
    pub spec: &'a CarSpec,
    drive: &'a Drive,
    /// Of the car, m/s.
    pub speed: f64,
    /// Of the driven wheels' tread, m/s.
    pub wheel: f64,
    winding: f64,
    can: f64,
    /// The can's temperature as its sensor reads it, °C.
    pub sensor: f64,
    /// Of the controller, °C.
    pub controller: f64,
    used: f64,
    /// Voltage that the pack's slow resistance takes, V.
    slow: f64,
    /// Tyre diameter, m.
    pub tyre: f64,
    /// Of the pack, V.
    pub voltage: f64,
    /// Of the pack, A.
    pub current: f64,
}

/// What lies between motor and track.
#[derive(Clone, Copy)]
struct Gearing {
    /// Motor turns per wheel turn.
    reduction: f64,
    /// Rolling radius of the tyre, m.
    radius: f64,
}

impl Gearing {
    fn turn_per_metre(self) -> f64 {
        self.reduction / self.radius
    }
}

/// Factor of tyre force over slip: a sine of an arctangent with its peak near 0.13 (a common shape).
fn tyre_force(slip: f64) -> f64 {
    (1.55 * (12.0 * slip).atan()).sin()
}

impl<'a> Vehicle<'a> {
    /// The car at rest before its run.
    pub fn new(spec: &'a CarSpec, drive: &'a Drive) -> Self {
        let ambient = drive.ambient;
        Self {
            spec,
            drive,
            speed: 0.0,
            wheel: 0.0,
            winding: ambient + drive.warm,
            can: ambient + drive.warm,
            sensor: ambient + drive.warm,
            controller: ambient + 0.6 * drive.warm,
            used: drive.used,
            slow: 0.0,
            tyre: drive.tyre,
            voltage: f64::from(spec.cells) * open_circuit(drive.used),
            current: 0.0,
        }
    }

    fn rolling_radius(&self) -> f64 {
        self.tyre / 2.0 * self.spec.rolling * (1.0 + self.spec.growth * (self.wheel / 20.0).powi(2))
    }

    fn gearing(&self) -> Gearing {
        Gearing { reduction: self.spec.reduction(self.drive.pinion), radius: self.rolling_radius() }
    }

    /// How far the motor turns while the wheels roll a metre, rad/m.
    pub fn motor_turn_per_metre(&self) -> f64 {
        self.gearing().turn_per_metre()
    }

    /// Motor speed, rad/s.
    pub fn motor_speed(&self) -> f64 {
        let Gearing { reduction, radius } = self.gearing();
        self.wheel / radius * reduction
    }

    /// Advances by one step with `demand` from -1 (brake) to 1 (throttle) and the tyres' grip scaled by `grip`.
    pub fn step(&mut self, demand: f64, grip: f64) {
        let (spec, timing) = (self.spec, self.drive.timing);
        let (gearing, omega) = (self.gearing(), self.motor_speed());
        let constant = spec.motor_constant * timing.motor_constant;
        let resistance = spec.resistance * (1.0 + COPPER * (self.winding - 20.0));
        let back = constant * omega;
        let motor_current = self.motor_current(demand, back, resistance);
        self.discharge(motor_current * (back + motor_current * resistance));
        let loss = (spec.loss.constant * (omega / 20.0).min(1.0) + spec.loss.by_speed * omega) * timing.loss;
        let torque = constant * motor_current - loss;
        self.accelerate(torque, gearing, grip);
        self.heat(motor_current, loss * omega, resistance);
    }

    /// Current that the controller lets through against the motor's own voltage `back`.
    fn motor_current(&self, demand: f64, back: f64, resistance: f64) -> f64 {
        let limit = self.spec.current_limit;
        let wanted = if demand > NEUTRAL {
            demand * limit
        } else if demand < -NEUTRAL {
            demand * limit * BRAKE_SHARE
        } else {
            -self.drive.drag_brake * limit
        };
        if wanted >= 0.0 {
            wanted.min(((self.voltage - back) / resistance).max(0.0))
        } else {
            wanted.max(-back / resistance)
        }
    }

    /// Takes the motor's electric power, W, out of the pack, or puts a part of it back.
    fn discharge(&mut self, motor_w: f64) {
        let (pack, age) = (self.spec.pack, self.drive.pack_age);
        let open = f64::from(self.spec.cells) * open_circuit(self.used);
        let power = if motor_w < 0.0 { REGAINED * motor_w } else { motor_w } + RECEIVER_W;
        self.current = power / self.voltage;
        self.slow += (self.current * (pack.slow * age) - self.slow) * STEP / pack.slow_s;
        self.voltage = open - self.slow - self.current * (pack.ohmic * age);
        self.used += self.current * STEP / self.spec.capacity;
    }

    /// Turns the motor's torque, N·m, into speed of wheels and car.
    fn accelerate(&mut self, torque: f64, gearing: Gearing, grip: f64) {
        let spec = self.spec;
        let efficiency = if torque > 0.0 { spec.gear_efficiency } else { 1.0 / spec.gear_efficiency };
        let push = torque * gearing.reduction / gearing.radius * efficiency;
        let slip = (self.wheel - self.speed) / self.wheel.abs().max(self.speed.abs()).max(2.0);
        let load = spec.mass * GRAVITY * spec.driven_share();
        let force = spec.grip * grip * load * tyre_force(slip);
        let inertia = spec.wheel_mass + spec.rotor * gearing.turn_per_metre().powi(2);
        self.wheel = (self.wheel + (push - force) / inertia * STEP).max(0.0);
        let resist = spec.drag * self.speed * self.speed
            + spec.rolling_resistance * spec.mass * GRAVITY * (self.speed / 0.2).min(1.0);
        self.speed = (self.speed + (force - resist) / spec.mass * STEP).max(0.0);
        self.tyre -= spec.wear * self.speed * STEP / 1000.0;
    }

    /// Warms and cools motor and controller; `loss_w` is the heat of the loss torque.
    fn heat(&mut self, current: f64, loss_w: f64, resistance: f64) {
        let (heat, cooling, ambient) = (self.spec.motor_heat, self.spec.motor_cooling, self.drive.ambient);
        let across = heat.between * (self.winding - self.can);
        let copper = current * current * (resistance - OUTSIDE_WINDING).max(0.001);
        self.winding += (copper + LOSS_IN_WINDING * loss_w - across) / heat.winding * STEP;
        let shed = (cooling.still + cooling.fan * self.drive.fan + cooling.airflow * self.speed) * (self.can - ambient);
        self.can += (across + LOSS_IN_CAN * loss_w - shed) / heat.can * STEP;
        self.sensor += (self.can - self.sensor) / SENSOR_S * STEP;
        let controller = self.spec.controller;
        let warming = current * current * controller.resistance + CONTROLLER_IDLE_W;
        let shed = (controller.cooling + CONTROLLER_AIRFLOW * self.speed) * (self.controller - ambient);
        self.controller += (warming - shed) / controller.capacity * STEP;
    }
}
