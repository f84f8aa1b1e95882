//! Units that a file may use, and what brings a written value into the channel's own unit.

use crate::log::Channel;
use crate::quantity::ABSOLUTE_ZERO_C;
use crate::units::table::{FAHRENHEIT_C, KM_H_M_S, MINUTE_S, MPH_M_S, ZERO_FAHRENHEIT_C};

/// A unit that a file may use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Canonical name: the key in `channel_names.toml`.
    pub name: &'static str,
    /// The quantity it measures.
    pub quantity: Quantity,
    /// Value in the channel's unit = written × `scale` + `offset`.
    pub scale: f64,
    /// See `scale`.
    pub offset: f64,
}

/// What kind of thing a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Seconds.
    Time,
    /// Turns a minute.
    Rpm,
    /// Electrical turns a minute.
    Erpm,
    /// Volts.
    Voltage,
    /// Amperes.
    Current,
    /// Degrees Celsius.
    Temperature,
    /// Per cent.
    Share,
    /// Metres a second.
    Speed,
    /// A quantity that no channel has: charge, energy, power.
    Other,
}

use Quantity as Q;

/// Conversions to the channels' units. Exact by definition; what people write on a sheet too is in
/// [`crate::units::table`], with its source.
const UNITS: [Unit; 28] = [
    factor("s", Q::Time, 1.0),
    factor("ms", Q::Time, 1e-3),
    factor("us", Q::Time, 1e-6),
    factor("ds", Q::Time, 0.1),
    factor("cs", Q::Time, 0.01),
    factor("min", Q::Time, MINUTE_S),
    factor("rpm", Q::Rpm, 1.0),
    factor("krpm", Q::Rpm, 1e3),
    factor("hz", Q::Rpm, 60.0),
    factor("erpm", Q::Erpm, 1.0),
    factor("v", Q::Voltage, 1.0),
    factor("mv", Q::Voltage, 1e-3),
    factor("cv", Q::Voltage, 1e-2),
    factor("dv", Q::Voltage, 1e-1),
    factor("a", Q::Current, 1.0),
    factor("ma", Q::Current, 1e-3),
    factor("ca", Q::Current, 1e-2),
    factor("da", Q::Current, 1e-1),
    factor("degc", Q::Temperature, 1.0),
    factor("ddegc", Q::Temperature, 0.1),
    Unit { offset: ZERO_FAHRENHEIT_C, ..factor("degf", Q::Temperature, FAHRENHEIT_C) },
    Unit { offset: ABSOLUTE_ZERO_C, ..factor("kelvin", Q::Temperature, 1.0) },
    factor("percent", Q::Share, 1.0),
    factor("fraction", Q::Share, 100.0),
    // A servo's pulse: 1500 µs is neutral, 500 µs more is full throttle (common practice, no source).
    Unit { offset: -300.0, ..factor("pulse_us", Q::Share, 0.2) },
    factor("m_s", Q::Speed, 1.0),
    factor("km_h", Q::Speed, KM_H_M_S),
    factor("mph", Q::Speed, MPH_M_S),
];

const fn factor(name: &'static str, quantity: Quantity, scale: f64) -> Unit {
    Unit { name, quantity, scale, offset: 0.0 }
}

impl Unit {
    /// A unit that no channel uses.
    pub const OTHER: Unit = factor("other", Q::Other, 1.0);

    /// The unit of canonical name `name`.
    pub fn named(name: &str) -> Option<Unit> {
        UNITS.into_iter().find(|unit| unit.name == name)
    }

    /// How the report writes it.
    pub fn label(self) -> &'static str {
        match self.name {
            "us" => "µs",
            "ds" => "0.1 s",
            "cs" => "0.01 s",
            "rpm" => "1/min",
            "krpm" => "1000/min",
            "erpm" => "electrical 1/min",
            "hz" => "Hz",
            "v" => "V",
            "mv" => "mV",
            "cv" => "0.01 V",
            "dv" => "0.1 V",
            "a" => "A",
            "ma" => "mA",
            "ca" => "0.01 A",
            "da" => "0.1 A",
            "degc" => "°C",
            "ddegc" => "0.1 °C",
            "degf" => "°F",
            "kelvin" => "K",
            "percent" => "%",
            "fraction" => "share of one",
            "pulse_us" => "servo pulse, µs",
            "m_s" => "m/s",
            "km_h" => "km/h",
            other => other,
        }
    }

    /// A written value in the channel's own unit.
    pub fn convert(self, written: f64) -> f64 {
        written * self.scale + self.offset
    }
}

impl Quantity {
    /// The unit in which a channel of this quantity is kept.
    pub fn own_unit(self) -> Unit {
        let name = match self {
            Q::Time => "s",
            Q::Rpm => "rpm",
            Q::Erpm => "erpm",
            Q::Voltage => "v",
            Q::Current => "a",
            Q::Temperature => "degc",
            Q::Share => "percent",
            Q::Speed => "m_s",
            Q::Other => return Unit::OTHER,
        };
        Unit::named(name).unwrap_or(Unit::OTHER)
    }
}

impl From<Channel> for Quantity {
    fn from(channel: Channel) -> Self {
        match channel {
            Channel::Time => Q::Time,
            Channel::Rpm => Q::Rpm,
            Channel::Voltage => Q::Voltage,
            Channel::Current => Q::Current,
            Channel::MotorTemperature | Channel::ControllerTemperature | Channel::Ambient => Q::Temperature,
            Channel::Throttle => Q::Share,
            Channel::WheelSpeed | Channel::GroundSpeed => Q::Speed,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    // Boiling water, the ice point, 60 mph by definition, full brake.
    #[case("degf", 212.0, 100.0)]
    #[case("kelvin", 273.15, 0.0)]
    #[case("mph", 60.0, 26.8224)]
    #[case("pulse_us", 1000.0, -100.0)]
    fn written_values_in_the_channels_units(#[case] unit: &str, #[case] written: f64, #[case] converted: f64) {
        assert!((Unit::named(unit).unwrap().convert(written) - converted).abs() < 1e-12);
    }

    #[test]
    fn every_channel_has_a_unit_of_its_own() {
        for channel in Channel::ALL {
            let unit = Quantity::from(channel).own_unit();
            assert_eq!((unit.scale, unit.offset, unit.quantity), (1.0, 0.0, Quantity::from(channel)));
        }
    }
}
