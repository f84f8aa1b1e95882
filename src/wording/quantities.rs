//! Quantities in phrases, each a mark with its reading in every notation.

use super::figures::{InFigures, is_nought, rounded};
use super::{Words, joined};
use crate::quantity::Estimate;
use crate::units::{Measure, Notation, Units, said};

/// Digits after the point that somebody wrote, at the most: more are those of a conversion.
const MOST_WRITTEN_DIGITS: usize = 4;
/// How many digits a quantity is shown to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Digits {
    /// Those that its interval supports, as [`InFigures::new`].
    ByInterval,
    /// None after the point, and at least one of the stored unit either way, as [`InFigures::whole`].
    Whole,
}

/// A quantity in figures in one notation.
pub fn in_figures(estimate: &Estimate, measure: Measure, digits: Digits, notation: Notation) -> InFigures {
    let shown = measure.estimate(estimate, notation);
    match digits {
        Digits::ByInterval => InFigures::new(&shown),
        // One degree of the thermometer, in whatever unit it is shown.
        Digits::Whole => InFigures::whole_by(&shown, measure.factor(notation).max(1.0)),
    }
}

/// `7.04 mm (6.99 to 7.09)`.
pub fn with_interval(estimate: &Estimate, unit: impl Into<Measure>) -> String {
    sentence(estimate, unit.into(), Digits::ByInterval)
}

/// `94 °C (91 to 98)`.
pub fn whole(estimate: &Estimate, unit: impl Into<Measure>) -> String {
    sentence(estimate, unit.into(), Digits::Whole)
}

fn sentence(estimate: &Estimate, measure: Measure, digits: Digits) -> String {
    said(|n| in_figures(estimate, measure, digits, n).sentence(measure.symbol(n)))
}

/// `7.04 ± 0.05`, for the cells of a table whose head has the unit.
pub fn cell(estimate: &Estimate, unit: impl Into<Measure>) -> String {
    let measure = unit.into();
    said(|n| in_figures(estimate, measure, Digits::ByInterval, n).plus_minus())
}

/// `94 ± 3`, for the cells of a table whose head has the unit.
pub fn whole_cell(estimate: &Estimate, unit: impl Into<Measure>) -> String {
    let measure = unit.into();
    said(|n| in_figures(estimate, measure, Digits::Whole, n).plus_minus())
}

/// A value without an interval: `94 °C`. `digits` are those of the stored unit.
pub fn value(value: f64, digits: usize, unit: impl Into<Measure>) -> String {
    let measure = unit.into();
    said(|n| joined(&[&rounded_in(value, digits, measure, n), measure.symbol(n)]))
}

/// The same without its unit, where that stands beside it.
pub fn bare_value(value: f64, digits: usize, unit: impl Into<Measure>) -> String {
    let measure = unit.into();
    said(|n| rounded_in(value, digits, measure, n))
}

/// `20.5 to 20.6`, for the cells of a table whose head has the unit; one figure where both are shown alike.
pub fn bare_range(low: f64, high: f64, digits: usize, unit: impl Into<Measure>) -> String {
    let measure = unit.into();
    said(|n| {
        let [low, high] = [low, high].map(|value| rounded_in(value, digits, measure, n));
        if low == high { low } else { format!("{low} to {high}") }
    })
}

fn rounded_in(value: f64, digits: usize, measure: Measure, notation: Notation) -> String {
    let shown = measure.value(value, notation);
    match notation {
        // As JSON has always had it.
        Notation::Stored => format!("{shown:.digits$}"),
        Notation::For(_) => format!("{shown:.0$}", measure.digits(digits, notation)),
    }
}

/// A value of the sheet as it was written, in its key's unit: `214.5 m`; one that was written in another unit, and in US
/// units any, to about as many digits.
pub fn stated(value: f64, measure: Measure) -> String {
    let digits = |text: &str| text.split_once('.').map_or(0, |(_, digits)| digits.len());
    let written = value.to_string();
    let digits = Some(digits(&written)).filter(|digits| *digits <= MOST_WRITTEN_DIGITS).unwrap_or(1);
    said(|n| {
        let figure = match n {
            Notation::Stored => written.clone(),
            Notation::For(_) => without_zeros(rounded_in(value, digits, measure, n)),
        };
        joined(&[&figure, measure.symbol(n)])
    })
}

/// A figure without the zeros at its end.
fn without_zeros(figure: String) -> String {
    if figure.contains('.') { figure.trim_end_matches('0').trim_end_matches('.').to_owned() } else { figure }
}

/// The symbol of a quantity's unit, for the head of a column or the name of an axis.
pub fn symbol(measure: Measure) -> String {
    said(|n| measure.symbol(n).to_owned())
}

/// A figure beside an axis that is laid out in metric units: `shown` as such, to so many digits. In other units it has
/// one more where it would stand beside its place.
pub fn tick(shown: f64, digits: usize, measure: Measure) -> String {
    said(|n| match n {
        Notation::For(Units::Us) => {
            let metric = Notation::For(Units::Metric);
            let digits = digits as f64 - (measure.factor(n) / measure.factor(metric)).log10();
            let (value, digits) = (measure.value(measure.of_metric(shown), n), digits.round().max(0.0) as usize);
            let is_exact = is_nought(value - rounded(value, digits).parse().unwrap_or(value), digits + 3);
            rounded(value, digits + usize::from(!is_exact))
        }
        _ => format!("{shown:.digits$}"),
    })
}

/// `motor, °C`: the head of a column or the name of an axis.
pub fn head(name: &str, measure: Measure) -> String {
    if measure.is_bare() { name.to_owned() } else { format!("{name}, {}", symbol(measure)) }
}

/// A change in words: `0.32 s slower (0.08 to 0.56)`; `0.9 °C cooler (± 1.8)` where its interval holds zero; `unchanged
/// (± 0.05 m/s)`.
pub fn change(estimate: &Estimate, unit: impl Into<Measure>, words: Words) -> String {
    change_each(estimate, unit, words, "")
}

/// A change that repeats: `0.06 s slower each run (0.01 to 0.15)`.
pub fn change_each(estimate: &Estimate, unit: impl Into<Measure>, words: Words, each: &str) -> String {
    let measure = unit.into().difference();
    said(|n| change_in(&measure.estimate(estimate, n), measure.symbol(n), words, each))
}

/// A change that is in the unit already.
fn change_in(estimate: &Estimate, unit: &str, words: Words, each: &str) -> String {
    let (word, up) = if estimate.value < 0.0 { (words.less, estimate.mirrored()) } else { (words.more, *estimate) };
    let figures = InFigures::new(&up);
    let half = figures.ends.as_ref().map_or("", |e| e.half.as_str());
    if figures.is_zero {
        let interval = if half.is_empty() { String::new() } else { format!("(± {})", joined(&[half, unit])) };
        return joined(&[words.same, each, &interval]);
    }
    let holds_zero = estimate.holds(0.0) && !half.is_empty();
    let interval = if holds_zero { format!("(± {half})") } else { figures.range() };
    joined(&[&figures.value, unit, word, each, &interval])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::in_notation;
    use crate::units::measure::{DEGREES, METRES, MILLIMETRES, SPEED, TEMPERATURE};
    use crate::wording::HOTTER;
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
    #[case(0.320, 0.242, "0.32 s slower (0.08 to 0.56)")]
    #[case(-0.320, 0.242, "0.32 s faster (0.08 to 0.56)")]
    #[case(-0.9, 1.8, "0.9 s faster (± 1.8)")]
    #[case(-0.004, 0.05, "unchanged (± 0.05 s)")]
    #[case(2.0, 0.0, "2.0 s slower")]
    // A value that is told from nought is never called unchanged.
    #[case(0.001, 0.0009, "0.0010 s slower (0.0001 to 0.0019)")]
    fn changes(#[case] value: f64, #[case] half: f64, #[case] expected: &str) {
        let slower = Words::new("slower", "faster");
        assert_eq!(change(&Estimate::from_half_width(value, half), "s", slower), expected);
    }

    #[rstest]
    #[case(20.0, 0, TEMPERATURE, "68")]
    #[case(10.0, 0, SPEED, "6.2")]
    #[case(0.0, 0, SPEED, "0")]
    #[case(62.0, 2, MILLIMETRES, "2.4409")]
    fn ticks_stand_at_their_place(#[case] shown: f64, #[case] digits: usize, #[case] of: Measure, #[case] us: &str) {
        assert_eq!(in_notation(&tick(shown, digits, of), Units::Us), us);
    }

    #[rstest]
    // A degree either way is a degree of the thermometer, in °F too.
    #[case(whole(&Estimate::from_half_width(94.3, 0.2), TEMPERATURE), "94 °C (93 to 95)", "202 °F (200 to 204)")]
    #[case(with_interval(&Estimate::from_half_width(28.59, 0.05), MILLIMETRES), "28.59 mm (28.54 to 28.64)", "1.1256 in (1.1236 to 1.1276)")]
    #[case(change(&Estimate::from_half_width(-2.0, 0.5), DEGREES, HOTTER), "2.0 °C cooler (1.5 to 2.5)", "3.6 °F cooler (2.7 to 4.5)")]
    #[case(change(&Estimate::from_half_width(2.0, 0.5), TEMPERATURE, HOTTER), "2.0 °C hotter (1.5 to 2.5)", "3.6 °F hotter (2.7 to 4.5)")]
    #[case(value(20.0, 1, SPEED), "72.0 km/h", "44.7 mph")]
    #[case(stated(214.0, METRES), "214 m", "702 ft")]
    #[case(stated(23.888_888_888_9, TEMPERATURE), "23.9 °C", "75 °F")]
    #[case(stated(214.5, METRES), "214.5 m", "703.7 ft")]
    #[case(head("rollout", MILLIMETRES), "rollout, mm", "rollout, in")]
    fn one_phrase_in_both_units(#[case] said: String, #[case] metric: &str, #[case] us: &str) {
        assert_eq!((in_notation(&said, Units::Metric).as_str(), in_notation(&said, Units::Us).as_str()), (metric, us));
    }

    #[test]
    fn what_is_stored_is_in_the_units_of_its_field() {
        let speed = with_interval(&Estimate::from_half_width(20.0, 0.5), SPEED);
        assert_eq!(in_notation(&speed, Notation::Stored), "20.0 m/s (19.5 to 20.5)");
        assert_eq!(in_notation(&stated(214.123_456, METRES), Notation::Stored), "214.123456 m");
    }

    #[test]
    fn a_lopsided_interval_away_from_nought_does_not_hide_its_value() {
        let slower = Words::new("slower", "faster");
        let slope = Estimate { value: 0.001, low: 0.000_9, high: 0.587 };
        assert_eq!(change(&slope, "s", slower), "0.001 s slower (0.001 to 0.587)");
    }
}
