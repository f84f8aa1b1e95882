//! The unit of a channel's values: as the user or the file writes it, else told from how large they are, with a notice.

use super::columns::ColumnUse;
use super::names;
use super::remarks::Remark;
use super::shapes::{ValueRange, all_whole, voltage_unit};
use super::units::{Quantity, Unit};
use super::vocabulary::Meaning;
use crate::log::Channel;
use crate::notice::Notice;
use crate::statistics::quantiles::quantile;

/// Shares of the values below the low and the high end by which a unit is told.
const ENDS: [f64; 2] = [0.02, 0.995];
/// No motor that is worth a log stays below this in a run, turns a minute: less is written in thousands (common
/// practice, no source).
const LOWEST_RPM: f64 = 150.0;
/// A motor that stays below this may be written in tens or hundreds, turns a minute (common practice, no source).
const SLOW_RPM: f64 = 2_500.0;
/// No track car is faster, m/s: 162 km/h (common practice, no source).
const FASTEST_M_S: f64 = 45.0;
/// A peak up to this is in amperes (common practice, no source).
const HIGHEST_A: f64 = 250.0;
/// A usual peak of a run, A (common practice, no source).
const USUAL_PEAK_A: f64 = 60.0;
/// Kelvin at the start of a run: from a freezing day to a motor too hot to touch.
const START_KELVIN: std::ops::Range<f64> = 250.0..420.0;
/// No motor of a run is hotter, K.
const HIGHEST_KELVIN: f64 = 470.0;
/// How much higher than its start a temperature in kelvin ends at most, as a ratio.
const KELVIN_RISE: f64 = 1.6;
/// Motor and controller do not both start above this, °C: they are in tenths.
const HIGHEST_START_C: f64 = 160.0;
/// Motor and controller both above 62 °C at the start are likelier at 62 °F or more.
const WARM_START_C: f64 = 62.0;
/// A throttle written as a share of one stays within this, with room for noise.
const SHARE_OF_ONE: f64 = 1.05;
/// A servo's pulse stays within this, µs (common practice, no source).
const PULSE_US: std::ops::Range<f64> = 700.0..2400.0;

/// The values of a channel before they are in a unit.
pub struct Written<'a> {
    /// The channel.
    pub channel: Channel,
    /// What the column is used for.
    pub column: &'a ColumnUse,
    /// Values as written, NaN where missing.
    pub values: &'a [f64],
    /// The unit written behind the numbers.
    pub cell_unit: Option<Unit>,
    /// Lowest first value of the log's temperatures: a motor may start hot, not all of them.
    pub coolest_start: f64,
    /// Cells of the pack in series, where the sheet says so.
    pub cells: Option<f64>,
}

impl Written<'_> {
    /// The unit of the values.
    pub fn unit(&self, notices: &mut Vec<Notice>) -> Unit {
        let quantity = match self.column.meaning {
            Some(Meaning::Erpm) => Quantity::Erpm,
            _ => Quantity::from(self.channel),
        };
        if let Some(unit) = self.column.unit.or(self.cell_unit) {
            let meaning = self.column.meaning.unwrap_or(Meaning::Channel(self.channel));
            if names::admits(meaning, unit) && unit.quantity != Quantity::Time {
                return unit;
            }
            let remark = Remark::UnitDoesNotFit { column: &self.column.name, channel: self.channel };
            notices.push(remark.notice());
        }
        self.unit_from_values(quantity, notices)
    }

    fn unit_from_values(&self, quantity: Quantity, notices: &mut Vec<Notice>) -> Unit {
        let (own, column) = (quantity.own_unit(), self.column.name.as_str());
        // A current may flow the other way, a motor turn backwards.
        let is_amount = matches!(quantity, Quantity::Current | Quantity::Rpm | Quantity::Erpm);
        let as_read = |v: f64| if is_amount { v.abs() } else { v };
        let values = || self.values.iter().map(|v| as_read(v * self.column.scale));
        let [Some(low), Some(high)] = ENDS.map(|share| quantile(values(), share)) else { return own };
        let told = match quantity {
            Quantity::Voltage => voltage_unit(&ValueRange { low, high, whole: all_whole(self.values) }, self.cells),
            Quantity::Current => Unit::named(current_unit(high)),
            Quantity::Rpm if high < LOWEST_RPM => Unit::named("krpm"),
            Quantity::Temperature => Unit::named(temperature_unit(self.coolest_start, high)),
            Quantity::Share => Unit::named(share_unit(low, high)),
            Quantity::Speed => Unit::named(if high > FASTEST_M_S { "km_h" } else { "m_s" }),
            _ => None,
        };
        let unit = told.unwrap_or(own);
        if quantity == Quantity::Rpm && unit == own && high > 0.0 && high < SLOW_RPM {
            notices.push(Remark::SlowRevs { column, highest: high }.notice());
        }
        if unit != own || quantity == Quantity::Speed {
            notices.push(Remark::UnitFromValues { column, unit: unit.label() }.notice());
        }
        unit
    }
}

/// A peak of amperes stays as it is; a higher one is in the unit that brings it nearest to a usual peak.
fn current_unit(high: f64) -> &'static str {
    if high <= HIGHEST_A {
        return "a";
    }
    let distance = |name: &str| Unit::named(name).map_or(f64::INFINITY, |u| (high * u.scale / USUAL_PEAK_A).ln().abs());
    ["da", "ca", "ma"].into_iter().min_by(|a, b| distance(a).total_cmp(&distance(b))).unwrap_or("a")
}

fn temperature_unit(coolest_start: f64, high: f64) -> &'static str {
    let is_kelvin = coolest_start > START_KELVIN.start
        && coolest_start < START_KELVIN.end
        && high < HIGHEST_KELVIN
        && high / coolest_start < KELVIN_RISE;
    if is_kelvin {
        "kelvin"
    } else if coolest_start > HIGHEST_START_C {
        "ddegc"
    } else if coolest_start > WARM_START_C {
        "degf"
    } else {
        "degc"
    }
}

fn share_unit(low: f64, high: f64) -> &'static str {
    if high <= SHARE_OF_ONE && low >= -SHARE_OF_ONE {
        "fraction"
    } else if low > PULSE_US.start && high < PULSE_US.end {
        "pulse_us"
    } else {
        "percent"
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(180.0, "a")]
    #[case(640.0, "da")]
    #[case(6_400.0, "ca")]
    #[case(64_000.0, "ma")]
    fn currents(#[case] high: f64, #[case] unit: &str) {
        assert_eq!(current_unit(high), unit);
    }

    #[rstest]
    #[case(25.0, 90.0, "degc")]
    #[case(77.0, 190.0, "degf")]
    #[case(250.0, 900.0, "ddegc")]
    #[case(298.0, 365.0, "kelvin")]
    fn temperatures(#[case] coolest_start: f64, #[case] high: f64, #[case] unit: &str) {
        assert_eq!(temperature_unit(coolest_start, high), unit);
    }

    #[rstest]
    #[case(-1.0, 1.0, "fraction")]
    #[case(1000.0, 2000.0, "pulse_us")]
    #[case(-40.0, 100.0, "percent")]
    fn shares(#[case] low: f64, #[case] high: f64, #[case] unit: &str) {
        assert_eq!(share_unit(low, high), unit);
    }
}
