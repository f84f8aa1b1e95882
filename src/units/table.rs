//! The table of units: what each measures, how it is spelled, and what brings a value into the unit that the program
//! counts in. Factors are exact by definition: SI Brochure, 9th edition (2019), tables 4 and 8; the international yard
//! and pound agreement of 1959, as NIST SP 811 (2008), appendix B.8, prints it.

use crate::quantity::ABSOLUTE_ZERO_C;

/// Metres in an inch (yard and pound agreement of 1959).
pub const INCH_M: f64 = 0.0254;
/// Metres in a foot: twelve inches.
pub const FOOT_M: f64 = 0.3048;
/// Metres in a mile: 5280 feet.
pub const MILE_M: f64 = 1609.344;
/// Kilograms in a pound (yard and pound agreement of 1959).
pub const POUND_KG: f64 = 0.453_592_37;
/// Seconds in a minute and in an hour (SI Brochure, table 8).
pub const MINUTE_S: f64 = 60.0;
/// See [`MINUTE_S`].
pub const HOUR_S: f64 = 3600.0;
/// Metres a second in a kilometre an hour.
pub const KM_H_M_S: f64 = 1.0 / 3.6;
/// Metres a second in a mile an hour: [`MILE_M`] in [`HOUR_S`].
pub const MPH_M_S: f64 = 0.447_04;
/// Degrees Celsius in a degree Fahrenheit, as a difference (NIST SP 811, B.8).
pub const FAHRENHEIT_C: f64 = 5.0 / 9.0;
/// What 0 °C is in °F: the ice point.
pub const ICE_POINT_F: f64 = 32.0;
/// What 0 °F is in °C.
pub const ZERO_FAHRENHEIT_C: f64 = -160.0 / 9.0;

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// A length; counted in m.
    Length,
    /// A mass; counted in kg.
    Mass,
    /// A temperature; counted in °C.
    Temperature,
    /// A time; counted in s.
    Time,
    /// A voltage; counted in V.
    Voltage,
    /// A charge; counted in mAh.
    Charge,
    /// An angle; counted in degrees.
    Angle,
    /// A share; counted in per cent.
    Share,
    /// Teeth of a gear.
    Teeth,
    /// Turns of a winding.
    Turns,
}

/// A unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Its symbol, as the sheet's keys and the pages write it.
    pub symbol: &'static str,
    /// Further spellings, in small letters.
    spellings: &'static [&'static str],
    /// What it measures.
    pub of: Dimension,
    /// Value in the unit that the dimension is counted in = (written − `zero`) × `scale`.
    scale: f64,
    /// See `scale`.
    zero: f64,
}

const fn unit(of: Dimension, symbol: &'static str, scale: f64, spellings: &'static [&'static str]) -> Unit {
    Unit { symbol, spellings, of, scale, zero: 0.0 }
}

use Dimension as D;

/// All units, those of a dimension in the order in which a hint names them.
const UNITS: [Unit; 26] = [
    unit(D::Length, "m", 1.0, &["metre", "metres", "meter", "meters"]),
    unit(D::Length, "cm", 0.01, &[]),
    unit(D::Length, "mm", 0.001, &[]),
    unit(D::Length, "km", 1000.0, &[]),
    unit(D::Length, "in", INCH_M, &["inch", "inches", "\"", "″", "”"]),
    unit(D::Length, "ft", FOOT_M, &["foot", "feet", "'", "′", "’"]),
    unit(D::Length, "yd", 3.0 * FOOT_M, &["yard", "yards"]),
    unit(D::Length, "mi", MILE_M, &["mile", "miles"]),
    unit(D::Mass, "kg", 1.0, &["kilogram", "kilograms"]),
    unit(D::Mass, "g", 0.001, &["gram", "grams"]),
    unit(D::Mass, "lb", POUND_KG, &["lbs", "pound", "pounds"]),
    // Sixteen ounces are a pound.
    unit(D::Mass, "oz", POUND_KG / 16.0, &["ounce", "ounces"]),
    unit(D::Temperature, "°C", 1.0, &["c", "degc", "celsius", "℃", "ºc"]),
    Unit { zero: ICE_POINT_F, ..unit(D::Temperature, "°F", FAHRENHEIT_C, &["f", "degf", "fahrenheit", "℉", "ºf"]) },
    Unit { zero: -ABSOLUTE_ZERO_C, ..unit(D::Temperature, "K", 1.0, &["kelvin"]) },
    unit(D::Time, "s", 1.0, &["sec", "secs", "second", "seconds"]),
    unit(D::Time, "min", MINUTE_S, &["mins", "minute", "minutes"]),
    unit(D::Time, "h", HOUR_S, &["hour", "hours"]),
    unit(D::Voltage, "V", 1.0, &["volt", "volts"]),
    unit(D::Voltage, "mV", 0.001, &[]),
    unit(D::Charge, "mAh", 1.0, &[]),
    unit(D::Charge, "Ah", 1000.0, &[]),
    unit(D::Angle, "°", 1.0, &["deg", "degree", "degrees", "º"]),
    unit(D::Share, "%", 1.0, &["percent", "per cent"]),
    unit(D::Teeth, "teeth", 1.0, &["tooth", "t"]),
    unit(D::Turns, "turns", 1.0, &["turn", "t"]),
];

impl Dimension {
    /// What a sentence calls it: `a length`.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Mass => "a mass",
            Self::Temperature => "a temperature",
            Self::Time => "a time",
            Self::Voltage => "a voltage",
            Self::Charge => "a charge",
            Self::Angle => "an angle",
            Self::Share => "a percentage",
            Self::Teeth => "a number of teeth",
            Self::Turns => "a number of turns",
        }
    }

    /// Its units, in the order in which a hint names them.
    pub fn units(self) -> impl Iterator<Item = &'static Unit> {
        UNITS.iter().filter(move |unit| unit.of == self)
    }
}

/// Whether a number in the unit of this symbol can be in no other.
pub fn has_one_unit(symbol: &str) -> bool {
    Unit::of_symbol(symbol).is_none_or(|unit| unit.of.units().count() == 1)
}

impl Unit {
    /// The unit of this symbol.
    pub fn of_symbol(symbol: &str) -> Option<&'static Unit> {
        UNITS.iter().find(|unit| unit.symbol == symbol)
    }

    /// The unit that is spelled so; of several, one of `dimension`.
    pub fn spelled(text: &str, dimension: Dimension) -> Option<&'static Unit> {
        let plain: String = text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        let plain = plain.trim_end_matches('.').replace("° ", "°");
        let is_it = |unit: &&Unit| unit.symbol.to_lowercase() == plain || unit.spellings.contains(&plain.as_str());
        dimension.units().find(is_it).or_else(|| UNITS.iter().find(is_it))
    }

    /// All ways to spell it.
    pub fn all_spellings(&self) -> impl Iterator<Item = &'static str> {
        std::iter::once(self.symbol).chain(self.spellings.iter().copied())
    }

    /// A value in this unit as one in `other`, which measures the same.
    ///
    /// To twelve digits: so one length written in two units is one value.
    pub fn convert(&self, value: f64, other: &Unit) -> f64 {
        if self == other {
            return value;
        }
        to_twelve_digits((value - self.zero) * self.scale / other.scale + other.zero)
    }
}

fn to_twelve_digits(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    /// Values of NIST SP 811 (2008), appendices B.8 and B.9, as printed there; those in bold are exact.
    #[rstest]
    #[case(1.0, "in", "mm", 25.4)]
    #[case(1.0, "ft", "m", 0.3048)]
    #[case(1.0, "yd", "m", 0.9144)]
    #[case(1.0, "mi", "m", 1609.344)]
    #[case(1.0, "lb", "kg", 0.453_592_37)]
    #[case(1.0, "oz", "g", 28.349_523_125)]
    #[case(32.0, "°F", "°C", 0.0)]
    #[case(212.0, "°F", "°C", 100.0)]
    #[case(-40.0, "°F", "°C", -40.0)]
    #[case(273.15, "K", "°C", 0.0)]
    #[case(5.0, "min", "s", 300.0)]
    #[case(702.0, "ft", "m", 213.9696)]
    #[case(2.48, "in", "mm", 62.992)]
    fn conversions_of_nist(#[case] value: f64, #[case] from: &str, #[case] to: &str, #[case] expected: f64) {
        let unit = |symbol| Unit::of_symbol(symbol).unwrap();
        assert_eq!(unit(from).convert(value, unit(to)), expected);
    }

    #[test]
    fn speeds_of_nist() {
        assert!((MPH_M_S - MILE_M / HOUR_S).abs() < 1e-15);
        assert!((KM_H_M_S - 0.277_777_8).abs() < 5e-8);
        assert!((ZERO_FAHRENHEIT_C + ICE_POINT_F * FAHRENHEIT_C).abs() < 1e-14);
    }

    #[test]
    fn a_spelling_means_one_unit_of_its_dimension() {
        for (n, one) in UNITS.iter().enumerate() {
            let others = UNITS[n + 1..].iter().filter(|other| other.of == one.of);
            for spelling in others.flat_map(Unit::all_spellings) {
                assert!(one.all_spellings().all(|own| !own.eq_ignore_ascii_case(spelling)), "{spelling}");
            }
            assert!(one.spellings.iter().all(|spelling| spelling.to_lowercase() == *spelling), "{}", one.symbol);
        }
    }
}
