//! What a column's values look like: which channel they could be where no header says it.

use std::cell::OnceCell;

use super::body::{Body, Column, Kind};
use super::repair::is_mark;
use crate::log::Channel;
use crate::statistics::quantiles::quantile;

/// Weight of a column that moves as its channel should, before the height of its values.
const MOVES: f64 = 1e6;

/// What a column's values look like.
pub struct Shape {
    low: f64,
    /// High end of its values.
    pub high: f64,
    first: f64,
    /// Mean step between rows over the whole range: small for a temperature.
    roughness: f64,
    rising: bool,
    whole: bool,
}

/// Shapes of a body's columns, looked at when they are asked for: most headers say enough.
pub struct Shapes<'a> {
    body: &'a Body,
    seen: Vec<OnceCell<Option<Shape>>>,
}

impl<'a> Shapes<'a> {
    /// Of the columns of `body`.
    pub fn new(body: &'a Body) -> Self {
        Self { body, seen: body.columns.iter().map(|_| OnceCell::new()).collect() }
    }

    /// The shape of a column; `None` where it holds no numbers, or one and the same throughout.
    pub fn of(&self, at: usize) -> Option<&Shape> {
        self.seen[at].get_or_init(|| Shape::of(&self.body.columns[at])).as_ref()
    }
}

impl Shape {
    fn of(column: &Column) -> Option<Self> {
        if column.kind != Kind::Numbers {
            return None;
        }
        let values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite() && !is_mark(*v)).collect();
        let (low, high) = (quantile(values.iter().copied(), 0.005)?, quantile(values.iter().copied(), 0.995)?);
        let steps = || values.windows(2).map(|w| w[1] - w[0]);
        let mean_step = steps().map(f64::abs).sum::<f64>() / values.len() as f64;
        let rising = steps().all(|d| d >= 0.0) && high > low;
        Some(Self {
            low,
            high,
            first: *values.first()?,
            roughness: mean_step / (high - low),
            rising,
            whole: whole(&values),
        })
        .filter(|s| s.high > s.low)
    }

    /// How well the values fit a channel; `None` where they cannot be it. Ranges are those of a racing
    /// model car in plain units (common practice, no source).
    pub fn fits(&self, channel: Channel) -> Option<f64> {
        let slow = self.roughness < 0.01;
        let fits = match channel {
            Channel::Rpm => {
                self.low >= 0.0
                    && self.high > 2_500.0
                    && self.high < 400_000.0
                    && self.low < 0.7 * self.high
                    && !self.rising
            }
            Channel::Voltage => {
                scale_of_voltage(self.low, self.high, self.whole).is_some()
                    && self.high < 1.8 * self.low
                    && !self.rising
            }
            Channel::MotorTemperature | Channel::ControllerTemperature => {
                slow && self.first > 5.0 && self.high < 160.0 && self.high - self.low > 2.0 && self.high > 20.0
            }
            Channel::Current => {
                self.high > 5.0 && self.high < 400.0 && self.low < 0.3 * self.high && !slow && !self.rising
            }
            _ => false,
        };
        // A pack's voltage moves with every touch of the throttle; what hardly moves is rather a temperature.
        let moves = if channel == Channel::Voltage && !slow { MOVES } else { 0.0 };
        fits.then_some(self.high + moves)
    }
}

/// The decimal power that brings a pack's voltage into the range of one to eight lithium cells in series, from empty
/// under load to full (makers' tables: 2.75 to 4.35 V a cell). Scaled volts are written as whole numbers; numbers with decimals are volts.
pub fn scale_of_voltage(low: f64, high: f64, whole: bool) -> Option<&'static str> {
    let scales: &[(&str, f64)] =
        if whole { &[("mv", 0.001), ("cv", 0.01), ("dv", 0.1), ("v", 1.0)] } else { &[("v", 1.0), ("dv", 0.1)] };
    scales.iter().find(|(_, s)| low * s >= 2.0 && (2.6..36.0).contains(&(high * s))).map(|u| u.0)
}

/// Whether all readings are whole numbers.
pub fn whole(values: &[f64]) -> bool {
    values.iter().filter(|v| v.is_finite()).all(|v| v.fract() == 0.0)
}
