//! What each answer rests on: channels, laps and values of the sheet. A run that lacks one of them does without it.

use crate::evidence::{AIR, LAP_LENGTH, Subject};
use crate::log::Channel;

use super::hot_part::HotPart;

const REVS: Subject = Subject::Channel(Channel::Rpm);
const VOLTS: Subject = Subject::Channel(Channel::Voltage);
const AMPERES: Subject = Subject::Channel(Channel::Current);
const CLOCK: Subject = Subject::Channel(Channel::Time);

/// The gearing.
pub const GEARING: &[Subject] = &[
    REVS,
    Subject::Laps,
    Subject::Setting(LAP_LENGTH),
    Subject::Setting("tyre_diameter_mm"),
    Subject::Setting("pinion"),
    Subject::Setting("spur"),
    Subject::Setting("internal_ratio"),
];

/// Wheelspin.
pub const WHEELSPIN: &[Subject] = &[REVS, Subject::Channel(Channel::GroundSpeed), VOLTS, AMPERES];

/// The battery.
pub const BATTERY: &[Subject] = &[
    VOLTS,
    AMPERES,
    CLOCK,
    Subject::Laps,
    Subject::Setting("battery.cells"),
    Subject::Setting("battery.capacity_mah"),
];

/// The power.
pub const POWER: &[Subject] = &[REVS, VOLTS, AMPERES, Subject::Laps, Subject::Setting(LAP_LENGTH)];

/// Where on the lap the time went.
pub const TIME: &[Subject] = &[REVS, CLOCK, Subject::Laps];

/// Other pinions.
pub const NEXT: &[Subject] = &[
    REVS,
    VOLTS,
    AMPERES,
    Subject::Channel(Channel::MotorTemperature),
    Subject::Setting(AIR),
    Subject::Setting("mass_kg"),
    Subject::Setting("pinion"),
    Subject::Setting("tyre_diameter_mm"),
    Subject::Setting("limits.motor_c"),
];

/// The heat of a part.
pub const fn heat(part: HotPart) -> &'static [Subject] {
    match part {
        HotPart::Motor => &[
            Subject::Channel(Channel::MotorTemperature),
            AMPERES,
            Subject::Laps,
            Subject::Setting(AIR),
            Subject::Setting("limits.motor_c"),
        ],
        HotPart::Controller => &[
            Subject::Channel(Channel::ControllerTemperature),
            AMPERES,
            Subject::Laps,
            Subject::Setting(AIR),
            Subject::Setting("limits.esc_c"),
        ],
    }
}
