//! Five systems of the trade and the seven changes that are made to each. Sizes: common practice, no source.

/// Motor, fans and class of a car.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum System {
    /// A touring car on carpet, without a fan.
    CarpetTourer,
    /// A touring car on asphalt, with a fan on motor and controller.
    AsphaltTourer,
    /// A touring car of a stock class: a motor of many turns with a large fan.
    StockTourer,
    /// A pan car on one cell in a spec class, without a fan.
    SpecPan,
    /// A pan car on one cell in an open class, with a fan on the controller.
    OpenPan,
}

/// What is changed between runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// A smaller rotor.
    Rotor,
    /// More end-bell timing.
    Timing,
    /// Another fan on the motor.
    MotorFan,
    /// Another fan on the controller.
    ControllerFan,
    /// A capacitor at the controller.
    Capacitor,
    /// A larger pinion.
    Pinion,
    /// More drag brake.
    DragBrake,
}

/// Fan whose cooling a model states, mm.
const REFERENCE_FAN_MM: f64 = 30.0;
/// A car of few teeth is changed by so many, one of many by twice as many: about one step on the track.
const MORE_TEETH: u32 = 1;
const MANY_TEETH: u32 = 45;

impl System {
    /// All of them.
    pub const ALL: [System; 5] =
        [Self::CarpetTourer, Self::AsphaltTourer, Self::StockTourer, Self::SpecPan, Self::OpenPan];

    /// Its name in a table.
    pub fn name(self) -> &'static str {
        match self {
            Self::CarpetTourer => "touring car on carpet, no fan",
            Self::AsphaltTourer => "touring car on asphalt, fans",
            Self::StockTourer => "stock touring car, large fan",
            Self::SpecPan => "pan car, spec class",
            Self::OpenPan => "pan car, open class, controller fan",
        }
    }

    /// Whether it is a touring car: four wheels driven, two cells, rubber. The others are pan cars.
    pub fn is_tourer(self) -> bool {
        matches!(self, Self::CarpetTourer | Self::AsphaltTourer | Self::StockTourer)
    }

    /// What it drives on.
    pub fn surface(self) -> &'static str {
        if self == Self::AsphaltTourer { "asphalt" } else { "carpet" }
    }

    /// Turns of the motor's winding in the second model; the first decrees its motors' constants.
    pub fn turns(self) -> f64 {
        match self {
            Self::CarpetTourer => 13.5,
            Self::AsphaltTourer => 8.5,
            Self::StockTourer => 21.5,
            Self::SpecPan => 17.5,
            Self::OpenPan => 10.5,
        }
    }

    /// A key's value before the change and after it, for a car that has this pinion.
    pub fn levels(self, change: Change, pinion: u32) -> (f64, f64) {
        let more_teeth = if pinion >= MANY_TEETH { 2 * MORE_TEETH } else { MORE_TEETH };
        match (change, self) {
            (Change::Rotor, _) => (12.5, 11.5),
            (Change::Timing, _) => (30.0, 37.0),
            (Change::MotorFan, Self::AsphaltTourer) => (30.0, 0.0),
            (Change::MotorFan, Self::StockTourer) => (40.0, 25.0),
            (Change::MotorFan, _) => (0.0, 30.0),
            (Change::ControllerFan, Self::AsphaltTourer | Self::OpenPan) => (30.0, 0.0),
            (Change::ControllerFan, _) => (0.0, 25.0),
            (Change::Capacitor, _) => (0.0, 2200.0),
            (Change::Pinion, _) => (f64::from(pinion), f64::from(pinion + more_teeth)),
            (Change::DragBrake, _) => (3.0, 10.0),
        }
    }

    /// A key's value in a run with `changed` changed.
    pub fn value(self, of: Change, changed: Option<Change>, pinion: u32) -> f64 {
        let (before, after) = self.levels(of, pinion);
        if changed == Some(of) { after } else { before }
    }
}

impl Change {
    /// All of them.
    pub const ALL: [Change; 7] = [
        Self::Rotor,
        Self::Timing,
        Self::MotorFan,
        Self::ControllerFan,
        Self::Capacitor,
        Self::Pinion,
        Self::DragBrake,
    ];

    /// Its name in a table.
    pub fn name(self) -> &'static str {
        match self {
            Self::Rotor => "rotor",
            Self::Timing => "end-bell timing",
            Self::MotorFan => "motor fan",
            Self::ControllerFan => "controller fan",
            Self::Capacitor => "capacitor",
            Self::Pinion => "pinion",
            Self::DragBrake => "drag brake",
        }
    }

    /// Its key on the sheet. The program knows none for the controller's fan and the capacitor: those are a user's own.
    pub fn key(self) -> &'static str {
        match self {
            Self::Rotor => "motor.rotor_mm",
            Self::Timing => "motor.timing_deg",
            Self::MotorFan => "motor.fan_mm",
            Self::ControllerFan => "controller_fan_mm",
            Self::Capacitor => "capacitor_uf",
            Self::Pinion => "pinion",
            Self::DragBrake => "drag_brake_pct",
        }
    }
}

/// What a smaller rotor does, as factors on the motor constant and on the rotor's inertia: the flux of a magnet goes
/// with its radius, the inertia of a cylinder with the fourth power of it.
pub fn rotor_factors(before_mm: f64, after_mm: f64) -> (f64, f64) {
    let smaller = after_mm / before_mm;
    (smaller, smaller.powi(4))
}

/// Cooling by a fan over that of one of 30 mm, as both models take it.
pub fn fan_factor(fan_mm: f64) -> f64 {
    (fan_mm / REFERENCE_FAN_MM).powf(1.5)
}
