//! What a column's values look like: which channel they could be where no header says it.

use std::cell::OnceCell;

use super::body::Body;
use super::column::{Column, Kind};
use super::marks::is_mark;
use super::repair;
use super::units::Unit;
use crate::log::Channel;
use crate::statistics::quantiles::quantile;

/// Shares of the values below the low and the high end of their range, so that lone odd ones do not count.
const ENDS: [f64; 2] = [0.005, 0.995];
/// A temperature goes through its range in at least this many mean steps.
const SLOW_STEPS: f64 = 100.0;
/// Rows by which steps are judged at most; of a longer log means over several rows are, or a finer clock would make
/// everything look slow. A run of five minutes at 20 rows a second has fewer.
const MOST_STEPS: usize = 8_000;
/// Share of the rows at the end of a log by which its end is judged.
const END_SHARE: f64 = 0.05;
/// A voltage that moves less than this under load, as a share of it, is not a pack's.
const LEAST_SAG: f64 = 0.005;
/// Share of the rows in which a throttle is full at least, where it is written as 0 to 100 %.
const FULL_THROTTLE_SHARE: f64 = 0.01;
/// A peak up to this is in amperes (common practice, no source).
const HIGHEST_A: f64 = 250.0;
/// A usual peak of a run, A (common practice, no source).
const USUAL_PEAK_A: f64 = 60.0;

/// The bulk of a column's values, as written.
pub struct ValueRange {
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Whether all are whole numbers.
    pub whole: bool,
}

/// What a column's values look like.
pub struct Shape {
    /// The bulk of its values.
    pub range: ValueRange,
    /// The bulk of their amounts: revs of a motor that turns backwards.
    amounts: ValueRange,
    /// The bulk of its values as a current that flows out of the pack.
    outward: ValueRange,
    /// Its first value.
    pub first: f64,
    /// The mean of its last values.
    pub last: f64,
    /// Mean step between rows, as a share of the range.
    roughness: f64,
    /// Whether they never fall.
    rising: bool,
    /// Whether they never rise.
    falling: bool,
    /// Share of the values that are 100 where none is higher.
    at_hundred: f64,
}

/// Shapes of a body's columns, worked out when they are asked for: most headers say enough.
pub struct Shapes<'a> {
    body: &'a Body,
    seen: Vec<OnceCell<Option<Shape>>>,
}

impl<'a> Shapes<'a> {
    /// Those of the columns of `body`.
    pub fn new(body: &'a Body) -> Self {
        Self { body, seen: body.columns.iter().map(|_| OnceCell::new()).collect() }
    }

    /// The shape of a column; `None` where it holds no numbers, or one and the same throughout.
    pub fn shape(&self, column: usize) -> Option<&Shape> {
        self.seen[column].get_or_init(|| Shape::new(&self.body.columns[column])).as_ref()
    }

    /// The values of a column.
    pub fn values(&self, column: usize) -> &[f64] {
        &self.body.columns[column].values
    }
}

impl ValueRange {
    fn new(values: &[f64], whole: bool) -> Option<Self> {
        let [low, high] = ENDS.map(|share| quantile(values.iter().copied(), share));
        Some(Self { low: low?, high: high?, whole })
    }

    /// The same in another unit.
    fn in_unit(&self, unit: Unit) -> Self {
        Self { low: unit.convert(self.low), high: unit.convert(self.high), whole: self.whole }
    }
}

impl Shape {
    fn new(column: &Column) -> Option<Self> {
        if column.kind != Kind::Numbers {
            return None;
        }
        let mut values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite() && !is_mark(*v)).collect();
        let first = *values.first()?;
        let whole = all_whole(&values);
        let range = ValueRange::new(&values, whole).filter(|r| r.high > r.low)?;
        let hundreds = values.iter().filter(|v| **v == 100.0).count() as f64 / values.len() as f64;
        let at_hundred = if range.high == 100.0 { hundreds } else { 0.0 };
        let end = (values.len() as f64 * (1.0 - END_SHARE)) as usize;
        let last = values[end..].iter().sum::<f64>() / (values.len() - end) as f64;
        let rising = values.windows(2).all(|w| w[1] >= w[0]);
        let falling = values.windows(2).all(|w| w[1] <= w[0]);
        let roughness = mean_step(&values) / (range.high - range.low);
        repair::turn_sign(&mut values);
        let outward = ValueRange::new(&values, whole)?;
        values.iter_mut().for_each(|v| *v = v.abs());
        let amounts = ValueRange::new(&values, whole)?;
        Some(Self { range, amounts, outward, first, last, roughness, rising, falling, at_hundred })
    }

    /// Whether the values hardly move from row to row.
    pub fn is_slow(&self) -> bool {
        self.roughness < 1.0 / SLOW_STEPS
    }

    /// How much smoother the values move than those of `other`, as a logarithm.
    pub fn smoother_than(&self, other: &Shape) -> f64 {
        (other.roughness / self.roughness).ln()
    }

    /// Whether the values may as well be a throttle in per cent: whole, and none beyond a hundred.
    pub fn may_be_throttle(&self) -> bool {
        self.range.whole && self.range.high <= 100.0 && self.range.low >= -100.0
    }

    /// Whether the values end lower than they start, with rises on the way.
    pub fn runs_down(&self) -> bool {
        self.last < self.first && !self.falling
    }

    /// The high end that tells how likely the values are a channel's, in `unit`, the channel's own where none is
    /// stated; `None` where they cannot be it. Ranges are those of a racing model car (common practice, no source).
    /// `cells` is how many the pack has in series.
    pub fn height(&self, channel: Channel, unit: Option<Unit>, cells: Option<f64>) -> Option<f64> {
        let in_unit = |range: &ValueRange| unit.map_or_else(|| range.in_unit(Unit::OTHER), |u| range.in_unit(u));
        let (values, amounts, outward) = (in_unit(&self.range), in_unit(&self.amounts), in_unit(&self.outward));
        let slow = self.is_slow();
        let (fits, height) = match channel {
            // Turns a minute, from standing or nearly so to more than an idle.
            Channel::Rpm => {
                let ValueRange { low, high, .. } = amounts;
                (high > 2_500.0 && high < 400_000.0 && low < 0.7 * high && !self.rising, high)
            }
            Channel::Voltage => {
                let ValueRange { low, high, .. } = values;
                // A pack never sags to half, and it does sag.
                let sags = high < 1.8 * low && high - low > LEAST_SAG * high;
                let in_volts = match unit {
                    Some(_) => is_pack(&values, cells).then_some(high),
                    // Slow hundredths or tenths of volts may be a temperature or a pressure; thousandths are too many.
                    None => voltage_unit(&values, cells)
                        .filter(|u| !slow || matches!(u.name, "v" | "mv"))
                        .map(|u| u.convert(high)),
                };
                (sags && !self.rising && in_volts.is_some(), in_volts.unwrap_or(high))
            }
            // °C, from above freezing; a motor that is driven warms, where a charge does nothing but fall.
            Channel::MotorTemperature | Channel::ControllerTemperature => {
                let ValueRange { low, high, .. } = values;
                let first = unit.map_or(self.first, |u| u.convert(self.first));
                let is_warm =
                    |first: f64, low: f64, high: f64| first > 5.0 && high > 20.0 && high < 160.0 && high - low > 2.0;
                let fits = slow && !self.falling;
                let fahrenheit = Unit::named("degf").filter(|_| unit.is_none());
                match fahrenheit {
                    // A sensor that is too hot for °C is in °F.
                    Some(unit) if !is_warm(first, low, high) => {
                        let [first, low, high] = [first, low, high].map(|v| unit.convert(v));
                        (fits && is_warm(first, low, high), high)
                    }
                    _ => (fits && is_warm(first, low, high), high),
                }
            }
            // Amperes, from little to a pull. What is full at 100 is a throttle.
            Channel::Current => {
                let scaled = current_unit(outward.high).filter(|_| unit.is_none() && outward.whole);
                let ValueRange { low, high, .. } = scaled.map_or(outward, |unit| self.outward.in_unit(unit));
                let is_share = self.range.whole && self.at_hundred >= FULL_THROTTLE_SHARE && self.range.low >= -100.0;
                let fits = high > 5.0 && high < 400.0 && low < 0.3 * high && !slow && !self.rising;
                (fits && !is_share, high)
            }
            _ => (false, 0.0),
        };
        fits.then_some(height)
    }
}

/// The mean step between values, or between means over several where there are very many.
fn mean_step(values: &[f64]) -> f64 {
    let rows = values.len().div_ceil(MOST_STEPS);
    let mean = |some: &[f64]| some.iter().sum::<f64>() / some.len() as f64;
    let means: Vec<f64> = values.chunks(rows).map(mean).collect();
    means.windows(2).map(|w| (w[1] - w[0]).abs()).sum::<f64>() / means.len() as f64
}

/// Volts of a lithium cell: under a heavy load, and what one that was charged has at least and at most (makers' tables:
/// 2.75 to 4.35 V, with room for a worn cell and for the meter).
const CELL_LOADED_V: f64 = 2.0;
const CELL_CHARGED_V: std::ops::RangeInclusive<f64> = 2.6..=4.4;
/// Cells in series of a model's pack at most (common practice, no source).
const MOST_CELLS: f64 = 14.0;

/// Whether volts are those of a pack of `cells` in series, or of any number where that is not known.
pub fn is_pack(volts: &ValueRange, cells: Option<f64>) -> bool {
    let fewest = (volts.high / CELL_CHARGED_V.end()).ceil().max(1.0);
    let most = (volts.high / CELL_CHARGED_V.start()).min(volts.low / CELL_LOADED_V).floor().min(MOST_CELLS);
    match cells {
        Some(cells) => (fewest..=most).contains(&cells),
        None => fewest <= most,
    }
}

/// The unit that brings a pack's voltage into the range of its cells, else into that of one to eight. Scaled volts are
/// written as whole numbers; numbers with decimals are volts, or tenths of them.
pub fn voltage_unit(values: &ValueRange, cells: Option<f64>) -> Option<Unit> {
    const LOWEST_V: f64 = 2.0;
    const HIGHEST_V: std::ops::Range<f64> = 2.6..36.0;
    let names: &[&str] = if values.whole { &["mv", "cv", "dv", "v"] } else { &["v", "dv"] };
    let find = |fits: &dyn Fn(&ValueRange) -> bool| {
        names.iter().filter_map(|name| Unit::named(name)).find(|unit| fits(&values.in_unit(*unit)))
    };
    find(&|volts| cells.is_some() && is_pack(volts, cells))
        .or_else(|| find(&|volts| is_pack(volts, None)))
        .or_else(|| find(&|volts| volts.low >= LOWEST_V && HIGHEST_V.contains(&volts.high)))
}

/// The unit of a current with the peak `high`: amperes stay as they are, which is `None`; a higher one is in the unit
/// that brings it nearest to a usual peak.
pub fn current_unit(high: f64) -> Option<Unit> {
    let distance = |unit: &Unit| (high * unit.scale / USUAL_PEAK_A).ln().abs();
    let units = ["da", "ca", "ma"].into_iter().filter_map(Unit::named).filter(|_| high > HIGHEST_A);
    units.min_by(|a, b| distance(a).total_cmp(&distance(b)))
}

/// Whether all readings are whole numbers.
pub fn all_whole(values: &[f64]) -> bool {
    values.iter().filter(|v| v.is_finite()).all(|v| v.fract() == 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(180.0, None)]
    #[case(640.0, Some("da"))]
    #[case(6_400.0, Some("ca"))]
    #[case(64_000.0, Some("ma"))]
    fn currents(#[case] high: f64, #[case] unit: Option<&str>) {
        assert_eq!(current_unit(high).map(|u| u.name), unit);
    }

    #[rstest]
    #[case(6.2, 8.4, false, None, "v")]
    #[case(62.0, 84.0, false, None, "dv")]
    #[case(6_200.0, 8_400.0, true, None, "mv")]
    #[case(4_500.0, 8_400.0, true, None, "mv")]
    // Twelve cells, which as tenths would be less than two cells have and more than one.
    #[case(44.1, 50.4, false, None, "v")]
    // As tenths they would be one cell's, but the sheet has nine.
    #[case(26.0, 38.0, true, Some(9.0), "v")]
    fn units_of_a_packs_voltage(
        #[case] low: f64,
        #[case] high: f64,
        #[case] whole: bool,
        #[case] cells: Option<f64>,
        #[case] unit: &str,
    ) {
        assert_eq!(voltage_unit(&ValueRange { low, high, whole }, cells).map(|u| u.name), Some(unit));
    }
}
