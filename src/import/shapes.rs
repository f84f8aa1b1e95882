//! What a column's values look like: which channel they could be where no header says it.

use std::cell::OnceCell;

use super::body::Body;
use super::column::{Column, Kind};
use super::repair::is_mark;
use super::units::Unit;
use crate::log::Channel;
use crate::statistics::quantiles::quantile;

/// Weight of a column that moves as its channel should, before the height of its values.
const MOVES: f64 = 1e6;
/// Shares of the values below the low and the high end of their range, so that lone odd ones do not count.
const ENDS: [f64; 2] = [0.005, 0.995];
/// A temperature goes through its range in at least this many mean steps.
const SLOW_STEPS: f64 = 100.0;

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
    first: f64,
    /// Mean step between rows, as a share of the range.
    roughness: f64,
    /// Whether they never fall.
    rising: bool,
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
}

impl Shape {
    fn new(column: &Column) -> Option<Self> {
        if column.kind != Kind::Numbers {
            return None;
        }
        let values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite() && !is_mark(*v)).collect();
        let [low, high] = ENDS.map(|share| quantile(values.iter().copied(), share));
        let range = ValueRange { low: low?, high: high?, whole: all_whole(&values) };
        let steps = || values.windows(2).map(|w| w[1] - w[0]);
        let mean_step = steps().map(f64::abs).sum::<f64>() / values.len() as f64;
        let rising = steps().all(|d| d >= 0.0) && range.high > range.low;
        let roughness = mean_step / (range.high - range.low);
        Some(Self { range, first: *values.first()?, roughness, rising }).filter(|s| s.range.high > s.range.low)
    }

    /// How well the values fit a channel; `None` where they cannot be it. Ranges are those of a racing model car in
    /// plain units (common practice, no source).
    pub fn fits(&self, channel: Channel) -> Option<f64> {
        let ValueRange { low, high, .. } = self.range;
        let slow = self.roughness < 1.0 / SLOW_STEPS;
        let fits = match channel {
            // Turns a minute, from standing or nearly so to more than an idle.
            Channel::Rpm => low >= 0.0 && high > 2_500.0 && high < 400_000.0 && low < 0.7 * high && !self.rising,
            // A pack never sags to half.
            Channel::Voltage => voltage_unit(&self.range).is_some() && high < 1.8 * low && !self.rising,
            // °C, from above freezing; a motor that is driven warms.
            Channel::MotorTemperature | Channel::ControllerTemperature => {
                slow && self.first > 5.0 && high > 20.0 && high < 160.0 && high - low > 2.0
            }
            // Amperes, from little to a pull.
            Channel::Current => high > 5.0 && high < 400.0 && low < 0.3 * high && !slow && !self.rising,
            _ => false,
        };
        // A pack's voltage moves with every touch of the throttle; what hardly moves is rather a temperature.
        let moves = if channel == Channel::Voltage && !slow { MOVES } else { 0.0 };
        fits.then_some(high + moves)
    }
}

/// The unit that brings a pack's voltage into the range of one to eight lithium cells in series, from empty under load
/// to full (makers' tables: 2.75 to 4.35 V a cell). Scaled volts are written as whole numbers; numbers with decimals
/// are volts, or tenths of them.
pub fn voltage_unit(values: &ValueRange) -> Option<Unit> {
    const LOWEST_V: f64 = 2.0;
    const HIGHEST_V: std::ops::Range<f64> = 2.6..36.0;
    let names: &[&str] = if values.whole { &["mv", "cv", "dv", "v"] } else { &["v", "dv"] };
    names
        .iter()
        .filter_map(|name| Unit::named(name))
        .find(|u| values.low * u.scale >= LOWEST_V && HIGHEST_V.contains(&(values.high * u.scale)))
}

/// Whether all readings are whole numbers.
pub fn all_whole(values: &[f64]) -> bool {
    values.iter().filter(|v| v.is_finite()).all(|v| v.fract() == 0.0)
}
