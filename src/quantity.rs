//! Values with their uncertainty, and the physical constants that several questions share.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Half-width of a 95 % interval of a normal distribution, in standard deviations.
pub const COVERAGE_95: f64 = 1.959_963_984_540_054;

/// Absolute zero in degrees Celsius (SI Brochure, 9th edition, 2.3.1).
pub const ABSOLUTE_ZERO_C: f64 = -273.15;

/// A value with its standard uncertainty: one standard deviation (JCGM 100:2008, 2.3.1). The unit is that of the field
/// that holds it.
///
/// This is what formulas work with; an [`Estimate`] is what is said. Each becomes the other by the 95 % coverage factor
/// of the normal distribution, [`COVERAGE_95`].
///
/// ```
/// use runtrue::quantity::{Estimate, Uncertain};
/// let lap = Uncertain::new(19.4, 0.1);
/// let said = Estimate::from(lap);
/// assert!((said.high - 19.596).abs() < 1e-5);
/// assert!((Uncertain::from(said).standard_u - 0.1).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertain {
    /// Best value.
    pub value: f64,
    /// Its standard uncertainty, in the value's unit; never negative, 0 where it is not known.
    pub standard_u: f64,
}

impl Uncertain {
    /// A value and its standard uncertainty.
    pub const fn new(value: f64, standard_u: f64) -> Self {
        Self { value, standard_u }
    }

    /// A value and its standard uncertainty as a share of it.
    pub fn relative(value: f64, relative_u: f64) -> Self {
        Self::new(value, relative_u * value.abs())
    }

    /// The standard uncertainty as a share of the value.
    pub fn relative_u(self) -> f64 {
        self.standard_u / self.value
    }
}

impl From<Estimate> for Uncertain {
    fn from(estimate: Estimate) -> Self {
        Self::new(estimate.value, estimate.half_width() / COVERAGE_95)
    }
}

impl From<Uncertain> for Estimate {
    fn from(uncertain: Uncertain) -> Self {
        Self::from_standard(uncertain.value, uncertain.standard_u)
    }
}

/// A measured value with its 95 % interval. The unit is that of the field that holds it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

impl Estimate {
    /// An estimate from a value and its standard uncertainty, with normal coverage.
    pub fn from_standard(value: f64, standard_u: f64) -> Self {
        Self::from_half_width(value, COVERAGE_95 * standard_u)
    }

    /// An estimate from a value and the half-width of its 95 % interval.
    pub fn from_half_width(value: f64, half_width: f64) -> Self {
        Self { value, low: value - half_width, high: value + half_width }
    }

    /// Half the width of the interval.
    pub fn half_width(&self) -> f64 {
        (self.high - self.low) / 2.0
    }

    /// The same in a unit of which `factor` make one of the old: value and interval times `factor`, which is positive.
    pub fn scaled(&self, factor: f64) -> Self {
        Self { value: factor * self.value, low: factor * self.low, high: factor * self.high }
    }

    /// Value and interval moved by `by`.
    pub fn shifted(&self, by: f64) -> Self {
        Self { value: self.value + by, low: self.low + by, high: self.high + by }
    }

    /// The same the other way: value and interval with their signs turned.
    pub fn mirrored(&self) -> Self {
        Self { value: -self.value, low: -self.high, high: -self.low }
    }

    /// Whether the interval holds `truth`.
    pub fn holds(&self, truth: f64) -> bool {
        (self.low..=self.high).contains(&truth)
    }
}
