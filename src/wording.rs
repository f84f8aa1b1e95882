//! Phrases that findings, pages and the terminal share: a value with its interval, a change, a place on the lap.

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
    is_zero: bool,
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
        let half = estimate.half_width();
        if !half.is_finite() {
            return Self::rounded(estimate.value, 0, None);
        }
        let widest = half.max(1.0);
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

/// `7.04 mm (6.99 to 7.09)`.
pub fn with_interval(estimate: &Estimate, unit: &str) -> String {
    InFigures::new(estimate).sentence(unit)
}

/// Words for more and for less of something: `slower` and `faster`, `hotter` and `cooler`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    /// For a positive change.
    pub more: &'static str,
    /// For a negative one.
    pub less: &'static str,
}

/// Of a temperature.
pub const HOTTER: Words = Words { more: "hotter", less: "cooler" };
/// Of a lap.
pub const LAP_TIMES: Words = Words { more: "slower", less: "faster" };
/// Of a height: revs, a speed, a resistance.
pub const HIGHER: Words = Words { more: "higher", less: "lower" };

/// A change in words: `0.32 s slower (0.08 to 0.56)`; `0.9 °C cooler (± 1.8)` where its interval holds zero; `unchanged
/// (± 0.05 m/s)`.
pub fn change(estimate: &Estimate, unit: &str, words: Words) -> String {
    change_each(estimate, unit, words, "")
}

/// A change that repeats: `0.06 s slower each run (0.01 to 0.15)`.
pub fn change_each(estimate: &Estimate, unit: &str, words: Words, each: &str) -> String {
    let (word, up) = if estimate.value < 0.0 { (words.less, estimate.mirrored()) } else { (words.more, *estimate) };
    let figures = InFigures::new(&up);
    let half = figures.ends.as_ref().map_or("", |e| e.half.as_str());
    if figures.is_zero {
        let interval = if half.is_empty() { String::new() } else { format!("(± {})", joined(&[half, unit])) };
        return joined(&["unchanged", each, &interval]);
    }
    let holds_zero = estimate.holds(0.0) && !half.is_empty();
    let interval = if holds_zero { format!("(± {half})") } else { figures.range() };
    joined(&[&figures.value, unit, word, each, &interval])
}

/// A place on the lap, from its share of the lap, in words and per cent: `about three quarters round (78 %)`.
pub fn place_on_lap(share: f64) -> String {
    const PLACES: [(f64, &str); 11] = [
        (0.0, "just after the line"),
        (1.0 / 8.0, "about an eighth round"),
        (1.0 / 4.0, "about a quarter round"),
        (1.0 / 3.0, "about a third round"),
        (2.0 / 5.0, "about two fifths round"),
        (1.0 / 2.0, "about halfway round"),
        (3.0 / 5.0, "about three fifths round"),
        (2.0 / 3.0, "about two thirds round"),
        (3.0 / 4.0, "about three quarters round"),
        (7.0 / 8.0, "about seven eighths round"),
        (1.0, "just before the line"),
    ];
    let nearest = PLACES.iter().min_by(|a, b| (a.0 - share).abs().total_cmp(&(b.0 - share).abs()));
    format!("{} ({:.0} %)", nearest.map_or("", |p| p.1), 100.0 * share)
}

/// A stretch of the lap, from its shares of the lap: `between 31 and 42 % of the lap`; where the line lies in it,
/// `from 93 % of the lap over the line to 7 %`.
pub fn stretch_of_lap(from: f64, to: f64) -> String {
    let (first, last) = (100.0 * from, 100.0 * to);
    if to > from {
        format!("between {first:.0} and {last:.0} % of the lap")
    } else {
        format!("from {first:.0} % of the lap over the line to {last:.0} %")
    }
}

/// `1 run`, `2 runs`.
pub fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// A number to so many digits after the point, without a minus before nought.
fn rounded(value: f64, digits: usize) -> String {
    let value = if is_nought(value, digits) { 0.0 } else { value };
    format!("{value:.digits$}")
}

/// Whether a number shows as nought with so many digits after the point.
fn is_nought(value: f64, digits: usize) -> bool {
    value.abs() <= 0.5 * 10f64.powi(-(digits as i32))
}

fn joined(parts: &[&str]) -> String {
    let parts: Vec<&str> = parts.iter().copied().filter(|p| !p.is_empty()).collect();
    parts.join(" ")
}

/// The text with a capital at its start.
pub fn uppercase_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(7.0391, 0.048, "7.04 ± 0.05", "7.04 mm (6.99 to 7.09)")]
    #[case(94.0, 1.0, "94.0 ± 1.0", "94.0 mm (93.0 to 95.0)")]
    #[case(58.0, 0.5, "58.0 ± 0.5", "58.0 mm (57.5 to 58.5)")]
    #[case(1462.3, 21.0, "1462 ± 21", "1462 mm (1441 to 1483)")]
    #[case(3.5, 0.0, "3.5", "3.5 mm")]
    fn values_with_their_interval(#[case] value: f64, #[case] half: f64, #[case] cell: &str, #[case] sentence: &str) {
        let estimate = Estimate::from_half_width(value, half);
        assert_eq!(InFigures::new(&estimate).plus_minus(), cell);
        assert_eq!(with_interval(&estimate, "mm"), sentence);
    }

    #[rstest]
    #[case(94.3, 0.2, "94 ± 1", "(93 to 95)")]
    #[case(94.3, 3.4, "94 ± 3", "(91 to 98)")]
    fn whole_degrees(#[case] value: f64, #[case] half: f64, #[case] cell: &str, #[case] range: &str) {
        let figures = InFigures::whole(&Estimate::from_half_width(value, half));
        assert_eq!((figures.plus_minus().as_str(), figures.range().as_str()), (cell, range));
    }

    #[rstest]
    #[case(0.320, 0.242, "0.32 s slower (0.08 to 0.56)")]
    #[case(-0.320, 0.242, "0.32 s faster (0.08 to 0.56)")]
    #[case(-0.9, 1.8, "0.9 s faster (± 1.8)")]
    #[case(-0.004, 0.05, "unchanged (± 0.05 s)")]
    #[case(2.0, 0.0, "2.0 s slower")]
    // A value that is told from nought is never called unchanged.
    #[case(0.001, 0.0009, "0.0010 s slower (0.0001 to 0.0019)")]
    fn changes(#[case] value: f64, #[case] half: f64, #[case] expected: &str) {
        let slower = Words { more: "slower", less: "faster" };
        assert_eq!(change(&Estimate::from_half_width(value, half), "s", slower), expected);
    }

    #[test]
    fn a_lopsided_interval_away_from_nought_does_not_hide_its_value() {
        let slower = Words { more: "slower", less: "faster" };
        let slope = Estimate { value: 0.001, low: 0.000_9, high: 0.587 };
        assert_eq!(change(&slope, "s", slower), "0.001 s slower (0.001 to 0.587)");
    }

    #[rstest]
    #[case(0.314, 0.42, "between 31 and 42 % of the lap")]
    #[case(0.93, 0.07, "from 93 % of the lap over the line to 7 %")]
    fn stretches(#[case] from: f64, #[case] to: f64, #[case] expected: &str) {
        assert_eq!(stretch_of_lap(from, to), expected);
    }

    #[rstest]
    #[case(0.78, "about three quarters round (78 %)")]
    #[case(0.02, "just after the line (2 %)")]
    #[case(0.97, "just before the line (97 %)")]
    #[case(0.42, "about two fifths round (42 %)")]
    fn places(#[case] share: f64, #[case] expected: &str) {
        assert_eq!(place_on_lap(share), expected);
    }
}
