//! Kinds of quantities that people are shown, and what each becomes in the units of a reader.

use super::Units;
use super::table::{FAHRENHEIT_C, FOOT_M, ICE_POINT_F, INCH_M, KM_H_M_S, MPH_M_S};
use crate::quantity::Estimate;

/// How quantities are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Notation {
    /// As in JSON and the tables, in the units of their fields: speeds in m/s.
    Stored,
    /// As people are shown it.
    For(Units),
}

impl From<Units> for Notation {
    fn from(units: Units) -> Self {
        Self::For(units)
    }
}

/// A unit that a quantity is shown in: shown = `factor` × value + `zero`.
#[derive(Debug, Clone, Copy, PartialEq)]
struct InUnit {
    symbol: &'static str,
    factor: f64,
    zero: f64,
}

const fn unit(symbol: &'static str, factor: f64) -> InUnit {
    InUnit { symbol, factor, zero: 0.0 }
}

/// A kind of quantity with its unit in each notation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    stored: InUnit,
    metric: InUnit,
    us: InUnit,
}

/// A thermometer's reading; the value is in °C.
pub const TEMPERATURE: Measure = Measure { us: InUnit { zero: ICE_POINT_F, ..DEGREES.us }, ..Measure::plain("°C") };
/// A difference of temperatures; the value is in °C.
pub const DEGREES: Measure = Measure { us: unit("°F", 1.0 / FAHRENHEIT_C), ..Measure::plain("°C") };
/// A difference of temperatures for a watt; the value is in °C/W.
pub const DEGREES_PER_WATT: Measure = Measure { us: unit("°F/W", 1.0 / FAHRENHEIT_C), ..Measure::plain("°C/W") };
/// The length of a lap; the value is in m.
pub const METRES: Measure = Measure { us: unit("ft", 1.0 / FOOT_M), ..Measure::plain("m") };
/// A rollout or a tyre; the value is in mm.
pub const MILLIMETRES: Measure = Measure { us: unit("in", 0.001 / INCH_M), ..Measure::plain("mm") };
/// A speed; the value is in m/s.
pub const SPEED: Measure =
    Measure { metric: unit("km/h", 1.0 / KM_H_M_S), us: unit("mph", 1.0 / MPH_M_S), ..Measure::plain("m/s") };
/// An acceleration; the value is in m/s².
pub const ACCELERATION: Measure = Measure { us: unit("ft/s²", 1.0 / FOOT_M), ..Measure::plain("m/s²") };

impl Measure {
    /// A quantity that has one unit everywhere, such as `V` or `s a lap`; an empty symbol for a bare number.
    pub const fn plain(symbol: &'static str) -> Self {
        let same = unit(symbol, 1.0);
        Self { stored: same, metric: same, us: same }
    }

    fn unit(&self, notation: Notation) -> &InUnit {
        match notation {
            Notation::Stored => &self.stored,
            Notation::For(Units::Metric) => &self.metric,
            Notation::For(Units::Us) => &self.us,
        }
    }

    /// Symbol of its unit.
    pub fn symbol(&self, notation: Notation) -> &'static str {
        self.unit(notation).symbol
    }

    /// A value as it is shown.
    pub fn value(&self, value: f64, notation: Notation) -> f64 {
        let InUnit { factor, zero, .. } = self.unit(notation);
        factor * value + zero
    }

    /// What one of the stored unit is in the shown one.
    pub fn factor(&self, notation: Notation) -> f64 {
        self.unit(notation).factor
    }

    /// A value with its interval as it is shown.
    pub fn estimate(&self, estimate: &Estimate, notation: Notation) -> Estimate {
        let shown = |value| self.value(value, notation);
        Estimate { value: shown(estimate.value), low: shown(estimate.low), high: shown(estimate.high) }
    }

    /// A value in metric units, in which charts are laid out.
    pub fn metric(&self, value: f64) -> f64 {
        self.value(value, Notation::For(Units::Metric))
    }

    /// The stored value of what is shown in metric units as `shown`.
    pub fn of_metric(&self, shown: f64) -> f64 {
        (shown - self.metric.zero) / self.metric.factor
    }

    /// Digits after the point whose step is no coarser than that of `digits` in the stored unit.
    pub fn digits(&self, digits: usize, notation: Notation) -> usize {
        (digits as f64 - self.factor(notation).log10()).ceil().max(0.0) as usize
    }

    /// The same for a difference of two values.
    pub const fn difference(self) -> Self {
        Self {
            stored: InUnit { zero: 0.0, ..self.stored },
            metric: InUnit { zero: 0.0, ..self.metric },
            us: InUnit { zero: 0.0, ..self.us },
        }
    }

    /// The same without a symbol, for a cell whose head has it.
    pub const fn bare(self) -> Self {
        Self {
            stored: InUnit { symbol: "", ..self.stored },
            metric: InUnit { symbol: "", ..self.metric },
            us: InUnit { symbol: "", ..self.us },
        }
    }

    /// Whether it has no unit.
    pub const fn is_bare(&self) -> bool {
        self.stored.symbol.is_empty()
    }
}

impl From<&'static str> for Measure {
    fn from(symbol: &'static str) -> Self {
        Self::plain(symbol)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    /// NIST SP 811 (2008), appendix B.8.
    #[rstest]
    #[case(TEMPERATURE, 100.0, 212.0)]
    #[case(TEMPERATURE, -40.0, -40.0)]
    #[case(DEGREES, 10.0, 18.0)]
    #[case(DEGREES_PER_WATT, 1.0, 1.8)]
    #[case(METRES, 0.3048, 1.0)]
    #[case(MILLIMETRES, 25.4, 1.0)]
    #[case(SPEED, 0.447_04, 1.0)]
    #[case(ACCELERATION, 9.806_65, 32.174_048_556)]
    fn in_us_units(#[case] measure: Measure, #[case] value: f64, #[case] shown: f64) {
        assert!((measure.value(value, Notation::For(Units::Us)) - shown).abs() < 1e-9);
    }

    #[test]
    fn a_speed_is_stored_in_m_s_and_shown_in_km_h() {
        assert_eq!(SPEED.symbol(Notation::Stored), "m/s");
        assert!((SPEED.value(10.0, Notation::For(Units::Metric)) - 36.0).abs() < 1e-12);
        assert!((SPEED.of_metric(36.0) - 10.0).abs() < 1e-12);
    }

    #[rstest]
    #[case(MILLIMETRES, 2, 4)]
    #[case(MILLIMETRES, 1, 3)]
    #[case(METRES, 1, 1)]
    #[case(SPEED, 1, 1)]
    #[case(TEMPERATURE, 0, 0)]
    fn digits_lose_nothing(#[case] measure: Measure, #[case] digits: usize, #[case] shown: usize) {
        assert_eq!(measure.digits(digits, Notation::For(Units::Us)), shown);
    }
}
