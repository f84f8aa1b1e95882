//! The unit of a channel's values: as the user or the file writes it, else told from how large they are, with a notice.

use super::columns::ColumnUse;
use super::names;
use super::remarks::Remark;
use super::shapes::{ValueRange, all_whole, current_unit, voltage_unit};
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
/// No motor or controller is hotter after a run, °C: what is higher and started above this many degrees is in °F
/// (common practice, no source).
const HIGHEST_C: f64 = 160.0;
const COLD_START_F: f64 = 41.0;
/// A start this near the air by one unit and this far from it by another is in the one, °C. Defaults, no source.
const NEAR_AIR_C: f64 = 4.0;
const FAR_FROM_AIR_C: f64 = 25.0;
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
    /// Highest value of them.
    pub hottest: f64,
    /// The air, °C, where the sheet says so.
    pub ambient_c: Option<f64>,
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
            Quantity::Current => current_unit(high),
            Quantity::Rpm if high < LOWEST_RPM => Unit::named("krpm"),
            Quantity::Temperature => Unit::named(temperature_unit(self.coolest_start, self.hottest, self.ambient_c)),
            Quantity::Share => Unit::named(share_unit(low, high)),
            Quantity::Speed => Unit::named(if high > FASTEST_M_S { "km_h" } else { "m_s" }),
            _ => None,
        };
        let unit = told.unwrap_or(own);
        if quantity == Quantity::Rpm && unit == own && high > 0.0 && high < SLOW_RPM {
            notices.push(Remark::SlowRevs { column, highest: high }.notice());
        }
        // The unit of a speed is settled by the revs.
        if unit != own && quantity != Quantity::Speed {
            notices.push(Remark::UnitFromValues { column, unit: unit.label() }.notice());
        }
        unit
    }
}

/// The unit of temperatures that start at `coolest` and reach `hottest`, in air of `ambient_c`, °C, where it is known.
fn temperature_unit(coolest: f64, hottest: f64, ambient_c: Option<f64>) -> &'static str {
    let is_kelvin = coolest > START_KELVIN.start
        && coolest < START_KELVIN.end
        && hottest < HIGHEST_KELVIN
        && hottest / coolest < KELVIN_RISE;
    let start_f = Unit::named("degf").map_or(coolest, |unit| unit.convert(coolest));
    // At the air by °F, and far above it by °C.
    let starts_at_air = |air_c: f64| (start_f - air_c).abs() < NEAR_AIR_C && coolest - air_c > FAR_FROM_AIR_C;
    if is_kelvin {
        "kelvin"
    } else if coolest > HIGHEST_START_C {
        "ddegc"
    } else if coolest > WARM_START_C
        || hottest > HIGHEST_C && coolest > COLD_START_F
        || ambient_c.is_some_and(starts_at_air)
    {
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
    #[case(25.0, 90.0, None, "degc")]
    #[case(77.0, 190.0, None, "degf")]
    #[case(250.0, 900.0, None, "ddegc")]
    #[case(298.0, 365.0, None, "kelvin")]
    // A cold day: 15 °C.
    #[case(59.0, 190.0, None, "degf")]
    #[case(59.0, 150.0, Some(15.0), "degf")]
    #[case(59.0, 100.0, Some(24.0), "degc")]
    #[case(40.0, 100.0, Some(24.0), "degc")]
    fn temperatures(#[case] coolest: f64, #[case] hottest: f64, #[case] air: Option<f64>, #[case] unit: &str) {
        assert_eq!(temperature_unit(coolest, hottest, air), unit);
    }

    #[rstest]
    #[case(-1.0, 1.0, "fraction")]
    #[case(1000.0, 2000.0, "pulse_us")]
    #[case(-40.0, 100.0, "percent")]
    fn shares(#[case] low: f64, #[case] high: f64, #[case] unit: &str) {
        assert_eq!(share_unit(low, high), unit);
    }
}
