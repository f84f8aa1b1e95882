//! A value and its interval in figures, in one unit.

use super::joined;
use crate::quantity::Estimate;

/// Digits after the point of a value that has no interval to say how many it deserves.
const DIGITS_WITHOUT_INTERVAL: usize = 1;
/// Digits after the point at the most.
const MOST_DIGITS: usize = 6;
/// An interval whose half-width begins with a figure below this is shown to two digits, else to one: rounding it to one
/// digit would change it by up to a third.
const TWO_DIGITS_BELOW: f64 = 2.95;

/// A value and its 95 % interval in figures, all to the same place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InFigures {
    /// The value.
    pub value: String,
    /// Whether the value rounds to nought.
    pub(super) is_zero: bool,
    /// The ends of the interval; `None` where it has no width.
    pub ends: Option<Ends>,
}

/// The interval of a value in figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ends {
    /// Lower end.
    pub low: String,
    /// Upper end.
    pub high: String,
    /// Half of the width.
    pub half: String,
}

impl InFigures {
    /// To the digits that the interval supports: its half-width to one digit, or to two where it begins with 1 or 2; to
    /// more where a value that its interval tells from nought would be shown as nought.
    pub fn new(estimate: &Estimate) -> Self {
        let half = estimate.half_width();
        if half <= 0.0 || !half.is_finite() {
            return Self::rounded(estimate.value, DIGITS_WITHOUT_INTERVAL, None);
        }
        let power = half.log10().floor();
        let leading = half / 10f64.powf(power);
        let mut digits =
            (-power + f64::from(u8::from(leading < TWO_DIGITS_BELOW))).clamp(0.0, MOST_DIGITS as f64) as usize;
        while !estimate.holds(0.0) && is_nought(estimate.value, digits) && digits < MOST_DIGITS {
            digits += 1;
        }
        let ends = Ends {
            low: rounded(estimate.low, digits),
            high: rounded(estimate.high, digits),
            half: rounded(half, digits),
        };
        Self::rounded(estimate.value, digits, Some(ends))
    }

    /// To so many digits after the point, without an interval.
    pub fn plain(value: f64, digits: usize) -> Self {
        Self::rounded(value, digits, None)
    }

    /// To whole numbers, with at least one either way: a thermometer tells no more.
    pub fn whole(estimate: &Estimate) -> Self {
        Self::whole_by(estimate, 1.0)
    }

    /// To whole numbers, with at least `least` either way.
    pub(super) fn whole_by(estimate: &Estimate, least: f64) -> Self {
        let half = estimate.half_width();
        if !half.is_finite() {
            return Self::rounded(estimate.value, 0, None);
        }
        let widest = half.max(least);
        let ends = Ends {
            low: rounded(estimate.low.min(estimate.value - widest), 0),
            high: rounded(estimate.high.max(estimate.value + widest), 0),
            half: rounded(widest, 0),
        };
        Self::rounded(estimate.value, 0, Some(ends))
    }

    fn rounded(value: f64, digits: usize, ends: Option<Ends>) -> Self {
        Self { value: rounded(value, digits), is_zero: is_nought(value, digits), ends }
    }

    /// With a plus before what is more than nought: `+0.32`, for a change that stands without words.
    pub fn signed(self) -> Self {
        let plus = |figure: String| {
            let more = !figure.starts_with('-') && figure.chars().any(|c| ('1'..='9').contains(&c));
            if more { format!("+{figure}") } else { figure }
        };
        let ends = self.ends.map(|e| Ends { low: plus(e.low), high: plus(e.high), half: e.half });
        Self { value: plus(self.value), ends, ..self }
    }

    /// `(6.99 to 7.09)`; empty without an interval.
    pub fn range(&self) -> String {
        self.ends.as_ref().map_or_else(String::new, |e| format!("({} to {})", e.low, e.high))
    }

    /// `7.04 ± 0.05`, for the cells of a table.
    pub fn plus_minus(&self) -> String {
        self.ends.as_ref().map_or_else(|| self.value.clone(), |e| format!("{} ± {}", self.value, e.half))
    }

    /// `7.04 mm (6.99 to 7.09)`, for a sentence.
    pub fn sentence(&self, unit: &str) -> String {
        joined(&[&self.value, unit, &self.range()])
    }
}

/// A number to so many digits after the point, without a minus before nought.
pub(super) fn rounded(value: f64, digits: usize) -> String {
    let value = if is_nought(value, digits) { 0.0 } else { value };
    format!("{value:.digits$}")
}

/// Whether a number shows as nought with so many digits after the point.
pub(super) fn is_nought(value: f64, digits: usize) -> bool {
    value.abs() <= 0.5 * 10f64.powi(-(digits as i32))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(94.3, 0.2, "94 ± 1", "(93 to 95)")]
    #[case(94.3, 3.4, "94 ± 3", "(91 to 98)")]
    fn whole_degrees(#[case] value: f64, #[case] half: f64, #[case] cell: &str, #[case] range: &str) {
        let figures = InFigures::whole(&Estimate::from_half_width(value, half));
        assert_eq!((figures.plus_minus().as_str(), figures.range().as_str()), (cell, range));
    }
}
