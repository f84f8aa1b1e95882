//! Motor and controller as mean values over the switching.
//!
//! At duty d the motor sees d times the pack's voltage and the pack carries d times the motor's current: d·V = k·ω +
//! I·R + u·sign(I), I_pack = d·I + I_idle. Where the current is set instead (its limit, the brake), the power balance
//! V·(I_pack − I_idle) = (k·ω + I·R + u·sign(I))·I gives the pack's current by a quadratic. The voltage u stands for
//! what switching costs. Torque: k·I less a constant and a speed-proportional part for iron and bearings. Copper: 0.393
//! % per °C (handbooks); magnets: −0.11 % per °C (makers' tables of neodymium). Turns against volts and ohms: from
//! memory of makers' tables.

use super::dice::Dice;

/// Resistance of copper, share per °C from 20 °C.
const COPPER_PER_C: f64 = 0.00393;
/// Field of the magnets, share per °C from 20 °C.
const MAGNETS_PER_C: f64 = -0.0011;
/// Timing at which a motor's constants are given, °.
const REFERENCE_TIMING_DEG: f64 = 30.0;

/// A brushless motor.
#[derive(Debug, Clone)]
pub struct Motor {
    /// Turns of the winding.
    pub turns: f64,
    /// Volts per rad/s, and newton metres per ampere, at 20 °C and 30° of timing.
    pub constant: f64,
    /// Winding, Ω at 20 °C.
    pub winding_ohm: f64,
    /// Share by which a degree of timing lowers the constant.
    pub constant_per_deg: f64,
    /// Iron and bearings at any speed, N m.
    pub rub_n_m: f64,
    /// Iron, N m per rad/s.
    pub eddy_n_m_s: f64,
    /// Share by which a degree of timing raises the iron loss.
    pub iron_per_deg: f64,
    /// Rotor, kg m².
    pub rotor_kg_m2: f64,
}

impl Motor {
    /// A motor of so many turns.
    pub fn draw(dice: &mut Dice, turns: f64) -> Self {
        let rpm_per_volt = 39_000.0 / turns * dice.between(0.95, 1.05);
        let constant = 60.0 / (std::f64::consts::TAU * rpm_per_volt);
        let at_no_load = dice.between(2.2, 4.5) * (13.5 / turns).sqrt();
        let rub = dice.between(0.3, 0.5);
        Self {
            turns,
            constant,
            winding_ohm: 0.11e-3 * turns * turns * dice.between(0.9, 1.1),
            constant_per_deg: dice.between(0.006, 0.011),
            rub_n_m: constant * at_no_load * rub,
            eddy_n_m_s: constant * at_no_load * (1.0 - rub) / 2000.0,
            iron_per_deg: dice.between(0.012, 0.03),
            rotor_kg_m2: dice.between(5e-7, 8e-7),
        }
    }
}

/// A controller.
#[derive(Debug, Clone)]
pub struct Controller {
    /// Switches and leads in the motor's way, Ω.
    pub path_ohm: f64,
    /// Most motor current, A.
    pub limit_a: f64,
    /// Motor current at full brake, A.
    pub brake_a: f64,
    /// Cost of switching, V.
    pub switching_v: f64,
    /// Receiver, servo and controller themselves, A.
    pub idle_a: f64,
}

impl Controller {
    /// Draws one.
    pub fn draw(dice: &mut Dice) -> Self {
        Self {
            path_ohm: dice.between(2.0e-3, 5.0e-3),
            limit_a: dice.between(65.0, 130.0),
            brake_a: dice.between(35.0, 80.0),
            switching_v: dice.between(0.02, 0.08),
            idle_a: dice.between(0.15, 0.45),
        }
    }
}

/// What the hand asks of the controller, as shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Command {
    /// Duty.
    Drive(f64),
    /// Share of the full brake.
    Brake(f64),
}

/// The pack as the controller sees it.
#[derive(Debug, Clone, Copy)]
pub struct Source {
    /// Volts without the ohmic drop.
    pub open_v: f64,
    /// Ω.
    pub ohm: f64,
}

/// Currents, voltage and heat.
#[derive(Debug, Clone, Copy, Default)]
pub struct Flow {
    /// Motor, A.
    pub motor_a: f64,
    /// Pack, A; negative where it is given back.
    pub pack_a: f64,
    /// Pack, V.
    pub pack_v: f64,
    /// Heat in the winding, W.
    pub copper_w: f64,
    /// Heat in the controller, W, without what it needs idle.
    pub controller_w: f64,
}

/// Motor and controller at their present temperatures and timing.
#[derive(Debug, Clone, Copy)]
pub struct Operating {
    /// V s/rad.
    pub constant: f64,
    winding_ohm: f64,
    path_ohm: f64,
    rub_n_m: f64,
    eddy_n_m_s: f64,
    limit_a: f64,
    brake_a: f64,
    switching_v: f64,
    idle_a: f64,
}

impl Operating {
    /// At a timing (°) and temperatures of winding and magnets, °C.
    pub fn new(motor: &Motor, controller: &Controller, timing_deg: f64, winding_c: f64, magnets_c: f64) -> Self {
        let more_deg = timing_deg - REFERENCE_TIMING_DEG;
        let iron = 1.0 + motor.iron_per_deg * more_deg;
        let constant =
            motor.constant * (1.0 - motor.constant_per_deg * more_deg) * (1.0 + MAGNETS_PER_C * (magnets_c - 20.0));
        Self {
            constant,
            winding_ohm: motor.winding_ohm * (1.0 + COPPER_PER_C * (winding_c - 20.0)),
            path_ohm: controller.path_ohm,
            rub_n_m: motor.rub_n_m * iron,
            eddy_n_m_s: motor.eddy_n_m_s * iron,
            limit_a: controller.limit_a,
            brake_a: controller.brake_a,
            switching_v: controller.switching_v,
            idle_a: controller.idle_a,
        }
    }

    fn ohm(&self) -> f64 {
        self.winding_ohm + self.path_ohm
    }

    /// Torque that iron and bearings take at a motor speed (rad/s), N m.
    pub fn loss_n_m(&self, speed: f64) -> f64 {
        if speed <= 0.0 { 0.0 } else { self.rub_n_m * (speed / 20.0).min(1.0) + self.eddy_n_m_s * speed }
    }

    /// What flows at a motor speed, rad/s.
    pub fn flow(&self, source: Source, command: Command, speed: f64) -> Flow {
        let back_v = self.constant * speed;
        match command {
            Command::Drive(duty) if duty > 0.0 => {
                let full_v = duty * (source.open_v - source.ohm * self.idle_a);
                let wanted = (full_v - back_v - self.switching_v) / (self.ohm() + duty * duty * source.ohm);
                self.at_current(source, wanted.clamp(0.0, self.limit_a), back_v)
            }
            Command::Drive(_) => self.at_current(source, 0.0, back_v),
            Command::Brake(share) => {
                let shorted = (back_v - self.switching_v).max(0.0) / self.ohm();
                self.at_current(source, -(share * self.brake_a).min(shorted), back_v)
            }
        }
    }

    fn at_current(&self, source: Source, motor_a: f64, back_v: f64) -> Flow {
        let switching_w = self.switching_v * motor_a.abs();
        let power_w = (back_v + motor_a * self.ohm()) * motor_a + switching_w;
        let sum = source.open_v + source.ohm * self.idle_a;
        let under_root = sum * sum - 4.0 * source.ohm * (source.open_v * self.idle_a + power_w);
        let pack_a = (sum - under_root.max(0.0).sqrt()) / (2.0 * source.ohm);
        Flow {
            motor_a,
            pack_a,
            pack_v: source.open_v - source.ohm * pack_a,
            copper_w: self.winding_ohm * motor_a * motor_a,
            controller_w: self.path_ohm * motor_a * motor_a + switching_w,
        }
    }

    /// The hand's place that gives a torque (N m) at a speed, at a pack's voltage: what a driver has learnt.
    pub fn hand_for(&self, torque_n_m: f64, speed: f64, pack_v: f64) -> Command {
        let ampere = (torque_n_m + self.loss_n_m(speed)) / self.constant;
        if ampere >= 0.0 {
            let volt = self.constant * speed + ampere * self.ohm() + self.switching_v;
            Command::Drive((volt / pack_v).min(1.0))
        } else {
            Command::Brake((-ampere / self.brake_a).min(1.0))
        }
    }
}
