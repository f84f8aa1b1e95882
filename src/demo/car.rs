//! The invented cars as the forward model sees them. Every constant is decreed.

/// A car in SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct CarSpec {
    /// Key in the sheet.
    pub key: &'static str,
    /// Mass ready to race, kg.
    pub mass: f64,
    /// Whether all four wheels drive.
    pub four_driven: bool,
    /// Spur teeth.
    pub spur: u32,
    /// Pinion teeth on the sheet.
    pub pinion: u32,
    /// Second reduction.
    pub internal: f64,
    /// Free tyre diameter as measured with a caliper, m.
    pub tyre: f64,
    /// Rolling circumference over pi times the free diameter at rest.
    pub rolling: f64,
    /// Relative growth of the tyre at 20 m/s.
    pub growth: f64,
    /// Diameter lost on a kilometre, m.
    pub wear: f64,
    /// Whether the tyres are foam.
    pub foam: bool,
    /// Motor constant, V·s and N·m/A.
    pub motor_constant: f64,
    /// Winding and controller resistance at 20 °C, ohm.
    pub resistance: f64,
    /// Current limit, A.
    pub current_limit: f64,
    /// Rotor inertia, kg·m².
    pub rotor: f64,
    /// Wheels' inertia as mass at the tread, kg.
    pub wheel_mass: f64,
    /// Loss torque of the motor.
    pub loss: MotorLoss,
    /// Efficiency of the drive train.
    pub gear_efficiency: f64,
    /// Air drag, N at 1 m/s.
    pub drag: f64,
    /// Rolling resistance, share of the weight.
    pub rolling_resistance: f64,
    /// Peak tyre friction.
    pub grip: f64,
    /// Cells in series.
    pub cells: u32,
    /// Capacity, A·s.
    pub capacity: f64,
    /// Resistance of the pack.
    pub pack: PackResistance,
    /// Where the motor's heat is.
    pub motor_heat: MotorHeat,
    /// How the can sheds heat.
    pub motor_cooling: MotorCooling,
    /// The controller's heat.
    pub controller: ControllerHeat,
    /// Braking deceleration the driver uses, m/s².
    pub brake: f64,
}

/// Torque that the motor loses in iron and bearings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorLoss {
    /// At any speed, N·m.
    pub constant: f64,
    /// More with speed, N·m·s.
    pub by_speed: f64,
}

/// Resistance of a pack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PackResistance {
    /// The part that acts at once, ohm.
    pub ohmic: f64,
    /// The part that builds up slowly, ohm.
    pub slow: f64,
    /// Time constant of the slow part, s.
    pub slow_s: f64,
}

/// Heat capacities of a motor and the way between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorHeat {
    /// Of the winding, J/K.
    pub winding: f64,
    /// Of the can, J/K.
    pub can: f64,
    /// From winding to can, W/K.
    pub between: f64,
}

/// Cooling of a motor's can.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorCooling {
    /// With the car at rest, W/K.
    pub still: f64,
    /// By the fan, W/K.
    pub fan: f64,
    /// By the airflow, W/K at 1 m/s.
    pub airflow: f64,
}

/// Heat of a controller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControllerHeat {
    /// Heat capacity, J/K.
    pub capacity: f64,
    /// Cooling with the car at rest, W/K.
    pub cooling: f64,
    /// Resistance that heats it, ohm.
    pub resistance: f64,
}

/// Gravity, m/s² (CGPM 1901).
pub const GRAVITY: f64 = 9.806_65;

impl CarSpec {
    /// A four-wheel-driven touring car on two cells and rubber tyres.
    pub fn tourer() -> Self {
        Self {
            key: "tourer",
            mass: 1.35,
            four_driven: true,
            spur: 116,
            pinion: 31,
            internal: 1.85,
            tyre: 0.0630,
            rolling: 0.992,
            growth: 0.004,
            wear: 0.000_03,
            foam: false,
            motor_constant: 1.62e-3,
            resistance: 0.0135,
            current_limit: 110.0,
            rotor: 1.1e-6,
            wheel_mass: 0.09,
            loss: MotorLoss { constant: 0.0025, by_speed: 8.0e-7 },
            gear_efficiency: 0.93,
            drag: 0.0125,
            rolling_resistance: 0.025,
            grip: 1.75,
            cells: 2,
            capacity: 6.0 * 3600.0,
            pack: PackResistance { ohmic: 0.0092, slow: 0.0042, slow_s: 22.0 },
            motor_heat: MotorHeat { winding: 24.0, can: 82.0, between: 1.8 },
            motor_cooling: MotorCooling { still: 0.12, fan: 0.16, airflow: 0.008 },
            controller: ControllerHeat { capacity: 75.0, cooling: 0.26, resistance: 0.0030 },
            brake: 9.0,
        }
    }

    /// A rear-wheel-driven pan car on one cell and foam tyres.
    pub fn pan() -> Self {
        Self {
            key: "pan",
            mass: 0.735,
            four_driven: false,
            spur: 80,
            pinion: 33,
            internal: 1.0,
            tyre: 0.0415,
            rolling: 1.0,
            growth: 0.010,
            wear: 0.000_15,
            foam: true,
            motor_constant: 1.45e-3,
            resistance: 0.0090,
            current_limit: 90.0,
            rotor: 1.3e-6,
            wheel_mass: 0.03,
            loss: MotorLoss { constant: 0.0030, by_speed: 1.5e-6 },
            gear_efficiency: 0.96,
            drag: 0.0095,
            rolling_resistance: 0.022,
            grip: 1.9,
            cells: 1,
            capacity: 8.0 * 3600.0,
            pack: PackResistance { ohmic: 0.0033, slow: 0.0016, slow_s: 18.0 },
            motor_heat: MotorHeat { winding: 24.0, can: 72.0, between: 1.6 },
            motor_cooling: MotorCooling { still: 0.11, fan: 0.0, airflow: 0.007 },
            controller: ControllerHeat { capacity: 60.0, cooling: 0.22, resistance: 0.0016 },
            brake: 6.0,
        }
    }

    /// Motor turns per wheel turn with `pinion` teeth.
    pub fn reduction(&self, pinion: u32) -> f64 {
        f64::from(self.spur) * self.internal / f64::from(pinion)
    }

    /// Share of the weight on the driven wheels.
    pub fn driven_share(&self) -> f64 {
        if self.four_driven { 1.0 } else { 0.62 }
    }
}

/// Open-circuit voltage of a cell, V, by the share of its charge that is used (0 full, 1 empty): an invented curve.
pub fn open_circuit(used: f64) -> f64 {
    let used = used.clamp(0.0, 1.05);
    4.19 - 0.62 * used - 0.05 * (1.0 - (-used * 25.0).exp()) - 0.5 * ((used - 0.93).max(0.0) / 0.1).powi(2)
}
