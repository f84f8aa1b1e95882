//! Heat on its way out: winding → can → chassis, each but the winding to the air; the controller's switches → its case.
//!
//! Each node: C·dT/dt = heat in − sum of G·(T − T_next). To the air G = still + by speed·v^0.7 + fan (the exponent:
//! forced flow along a body, handbooks, between 0.5 laminar and 0.8 turbulent). Sizes: from the mass of such parts,
//! from memory; paths so that temperatures come out as on a track, common practice, no source.

use super::dice::Dice;

/// Fan size at which its cooling is given, mm.
const REFERENCE_FAN_MM: f64 = 30.0;

/// Cooling to the air, W/K.
#[derive(Debug, Clone, Copy)]
pub struct ToAir {
    /// Standing.
    pub still: f64,
    /// Per (m/s)^0.7.
    pub by_speed: f64,
    /// By a fan of 30 mm.
    pub fan: f64,
}

impl ToAir {
    /// Draws one, in units of its still part.
    fn draw(dice: &mut Dice, still: (f64, f64), by_speed: (f64, f64), fan: (f64, f64)) -> Self {
        Self {
            still: dice.between(still.0, still.1),
            by_speed: dice.between(by_speed.0, by_speed.1),
            fan: dice.between(fan.0, fan.1),
        }
    }

    /// At a speed raised to 0.7 and a fan, mm.
    fn at(&self, speed_07: f64, fan_mm: f64) -> f64 {
        let fan = fan_mm / REFERENCE_FAN_MM;
        self.still + self.by_speed * speed_07 + self.fan * fan * fan.sqrt()
    }
}

/// What carries the heat of a car.
#[derive(Debug, Clone)]
pub struct HeatPath {
    /// Winding, J/K.
    pub winding_j_k: f64,
    /// Can with rotor and stator, J/K.
    pub can_j_k: f64,
    /// Chassis and mount, J/K.
    pub chassis_j_k: f64,
    /// Winding to can, W/K.
    pub winding_to_can: f64,
    /// Can to chassis, W/K.
    pub can_to_chassis: f64,
    /// Can to air.
    pub can_to_air: ToAir,
    /// Chassis to air.
    pub chassis_to_air: ToAir,
    /// Share of the winding in what the motor's sensor feels.
    pub sensor_on_winding: f64,
    /// Lag of the motor's sensor, s.
    pub sensor_lag_s: f64,
    /// Switches, J/K.
    pub switches_j_k: f64,
    /// Controller's case, J/K.
    pub case_j_k: f64,
    /// Switches to case, W/K.
    pub switches_to_case: f64,
    /// Case to air.
    pub case_to_air: ToAir,
    /// Share of the switches in what the controller's sensor feels.
    pub sensor_on_switches: f64,
}

impl HeatPath {
    /// Draws one.
    pub fn draw(dice: &mut Dice) -> Self {
        Self {
            winding_j_k: dice.between(8.0, 16.0),
            can_j_k: dice.between(50.0, 80.0),
            chassis_j_k: dice.between(120.0, 400.0),
            winding_to_can: dice.between(0.9, 2.5),
            can_to_chassis: dice.between(0.05, 0.25),
            can_to_air: ToAir::draw(dice, (0.05, 0.10), (0.015, 0.035), (0.04, 0.15)),
            chassis_to_air: ToAir::draw(dice, (0.2, 0.4), (0.04, 0.1), (0.0, 0.0)),
            sensor_on_winding: dice.between(0.1, 0.7),
            sensor_lag_s: dice.between(3.0, 15.0),
            switches_j_k: dice.between(4.0, 12.0),
            case_j_k: dice.between(25.0, 60.0),
            switches_to_case: dice.between(0.6, 2.0),
            case_to_air: ToAir::draw(dice, (0.08, 0.16), (0.015, 0.05), (0.05, 0.2)),
            sensor_on_switches: dice.between(0.2, 0.8),
        }
    }
}

/// Fans that turn, mm; 0 where there is none or it stands.
#[derive(Debug, Clone, Copy, Default)]
pub struct Fans {
    /// On the motor.
    pub motor_mm: f64,
    /// On the controller.
    pub controller_mm: f64,
}

/// Heat that comes in, W.
#[derive(Debug, Clone, Copy, Default)]
pub struct HeatIn {
    /// Copper.
    pub winding_w: f64,
    /// Iron and bearings.
    pub can_w: f64,
    /// Controller.
    pub controller_w: f64,
}

/// Temperatures, °C.
#[derive(Debug, Clone, Copy, Default)]
pub struct Temperatures {
    /// Winding.
    pub winding: f64,
    /// Can and magnets.
    pub can: f64,
    /// Chassis.
    pub chassis: f64,
    /// As the motor's sensor reads.
    pub motor_sensor: f64,
    /// Switches.
    pub switches: f64,
    /// Case of the controller.
    pub case: f64,
}

impl Temperatures {
    /// All at one temperature.
    pub fn all(c: f64) -> Self {
        Self { winding: c, can: c, chassis: c, motor_sensor: c, switches: c, case: c }
    }

    /// As the controller's sensor reads.
    pub fn controller_sensor(&self, path: &HeatPath) -> f64 {
        self.case + path.sensor_on_switches * (self.switches - self.case)
    }

    /// After `dt` more seconds, at most a tenth of a second.
    pub fn step(&mut self, path: &HeatPath, dt: f64, heat: HeatIn, speed: f64, fans: Fans, air_c: f64) {
        let speed_07 = if speed > 0.01 { speed.powf(0.7) } else { 0.0 };
        let inwards = path.winding_to_can * (self.winding - self.can);
        let to_chassis = path.can_to_chassis * (self.can - self.chassis);
        let can_to_air = path.can_to_air.at(speed_07, fans.motor_mm) * (self.can - air_c);
        let chassis_to_air = path.chassis_to_air.at(speed_07, 0.0) * (self.chassis - air_c);
        let felt = self.can + path.sensor_on_winding * (self.winding - self.can);
        let to_case = path.switches_to_case * (self.switches - self.case);
        let case_to_air = path.case_to_air.at(speed_07, fans.controller_mm) * (self.case - air_c);
        self.winding += dt * (heat.winding_w - inwards) / path.winding_j_k;
        self.can += dt * (heat.can_w + inwards - to_chassis - can_to_air) / path.can_j_k;
        self.chassis += dt * (to_chassis - chassis_to_air) / path.chassis_j_k;
        self.motor_sensor += dt * (felt - self.motor_sensor) / path.sensor_lag_s;
        self.switches += dt * (heat.controller_w - to_case) / path.switches_j_k;
        self.case += dt * (to_case - case_to_air) / path.case_j_k;
    }
}
