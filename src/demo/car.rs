//! The cars of the invented weekend, as a forward model sees them: every constant true by decree.

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
    /// Loss torque: constant, N·m, and by speed, N·m·s.
    pub loss: (f64, f64),
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
    /// Pack: ohmic part, slow part (ohm) and its time constant, s.
    pub pack: (f64, f64, f64),
    /// Heat: winding and can, J/K, and the way between them, W/K.
    pub motor_heat: (f64, f64, f64),
    /// Cooling of the can: at rest, by the fan, by speed (W/K at 1 m/s).
    pub motor_cooling: (f64, f64, f64),
    /// Controller: heat capacity J/K, cooling W/K, resistance ohm.
    pub controller: (f64, f64, f64),
    /// Braking deceleration the driver uses, m/s².
    pub brake: f64,
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
            loss: (0.0025, 8.0e-7),
            gear_efficiency: 0.93,
            drag: 0.0125,
            rolling_resistance: 0.025,
            grip: 1.75,
            cells: 2,
            capacity: 6.0 * 3600.0,
            pack: (0.0092, 0.0042, 22.0),
            motor_heat: (24.0, 82.0, 1.8),
            motor_cooling: (0.12, 0.16, 0.008),
            controller: (75.0, 0.26, 0.0030),
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
            loss: (0.0030, 1.5e-6),
            gear_efficiency: 0.96,
            drag: 0.0095,
            rolling_resistance: 0.022,
            grip: 1.9,
            cells: 1,
            capacity: 8.0 * 3600.0,
            pack: (0.0033, 0.0016, 18.0),
            motor_heat: (24.0, 72.0, 1.6),
            motor_cooling: (0.11, 0.0, 0.007),
            controller: (60.0, 0.22, 0.0016),
            brake: 6.0,
        }
    }

    /// Motor turns for a wheel turn with `pinion` teeth.
    pub fn reduction(&self, pinion: u32) -> f64 {
        f64::from(self.spur) * self.internal / f64::from(pinion)
    }

    /// Share of the weight on the driven wheels.
    pub fn driven_share(&self) -> f64 {
        if self.four_driven { 1.0 } else { 0.62 }
    }
}

/// Open-circuit voltage of a cell over its charge, from full (0) to empty (1): an invented curve.
pub fn open_circuit(used: f64) -> f64 {
    let used = used.clamp(0.0, 1.05);
    4.19 - 0.62 * used - 0.05 * (1.0 - (-used * 25.0).exp()) - 0.5 * ((used - 0.93).max(0.0) / 0.1).powi(2)
}
