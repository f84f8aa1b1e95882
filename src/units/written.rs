//! A number that may carry its unit, as people write it: `702 ft`, `2.48 in`, `75 °F`, `62`.

use std::fmt::{self, Display};

use super::table::{Dimension, Unit};
use crate::notice::printable;

/// Longest text that a message repeats, characters.
const LONGEST_SHOWN: usize = 40;

/// A number as it was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written {
    /// The value in the unit that was asked for.
    pub value: f64,
    /// The unit that stood behind it; `None` for a bare number, which is in the unit that was asked for.
    pub unit: Option<&'static Unit>,
}

/// Why a text is not a number in a unit.
#[derive(Debug, Clone, PartialEq)]
pub enum WrittenError {
    /// There is no number.
    NotANumber(String),
    /// Three digits behind a comma may be thousands or a fraction.
    Separator(String),
    /// A unit that is not known, with what measures the same as the unit that was asked for.
    UnknownUnit {
        /// The whole text.
        text: String,
        /// What stands behind the number.
        unit: String,
        /// What was asked for.
        wanted: Option<Dimension>,
    },
    /// A unit of something else.
    AnotherKind {
        /// The whole text.
        text: String,
        /// What was asked for.
        wanted: Dimension,
    },
}

impl Display for WrittenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotANumber(text) => write!(f, "`{text}`, which is not a number"),
            Self::Separator(text) => write!(f, "`{text}`, which may be thousands or a fraction"),
            Self::UnknownUnit { text, unit, wanted: Some(_) } => {
                write!(f, "`{text}`, and `{unit}` is not a unit that is known here")
            }
            Self::UnknownUnit { text, .. } => write!(f, "`{text}`, and it has no unit"),
            Self::AnotherKind { text, wanted } => write!(f, "`{text}`, which is not {}", wanted.in_words()),
        }
    }
}

impl WrittenError {
    /// What would be right: without a full stop.
    pub fn hint(&self, symbol: &str) -> String {
        match self {
            Self::Separator(_) => "write it without a separator, or with a point if a fraction is meant".to_owned(),
            _ => match Unit::of_symbol(symbol) {
                Some(unit) => {
                    let symbols: Vec<&str> = unit.of.units().map(|unit| unit.symbol).collect();
                    match symbols.as_slice() {
                        [first @ .., last] if !first.is_empty() => {
                            format!("write a number in {symbol}, or one with its unit: {} or {last}", first.join(", "))
                        }
                        _ => format!("write a number in {symbol}"),
                    }
                }
                None => "write the number alone".to_owned(),
            },
        }
    }
}

/// The number in `text`, in the unit of the symbol `symbol`: a bare one is in that unit, any other is converted. Where
/// `symbol` is empty, or none of the table, the number stands alone.
///
/// # Errors
/// [`WrittenError`].
pub fn number_in(text: &str, symbol: &str) -> Result<Written, WrittenError> {
    let text = text.trim();
    let shown = || printable(text, LONGEST_SHOWN);
    let end = text.find(|c: char| !(c.is_ascii_digit() || "+-−.,".contains(c))).unwrap_or(text.len());
    let (digits, behind) = (&text[..end], text[end..].trim());
    if digits.rsplit_once(',').is_some_and(|(_, after)| after.len() == 3) {
        return Err(WrittenError::Separator(shown()));
    }
    let number = digits.replace(',', ".").replace('−', "-").parse::<f64>().ok().filter(|n| n.is_finite());
    let value = number.ok_or_else(|| WrittenError::NotANumber(shown()))?;
    if behind.is_empty() {
        return Ok(Written { value, unit: None });
    }
    let wanted = Unit::of_symbol(symbol);
    let unknown = || {
        let (text, unit) = (shown(), printable(behind, LONGEST_SHOWN));
        WrittenError::UnknownUnit { text, unit, wanted: wanted.map(|unit| unit.of) }
    };
    let wanted = wanted.ok_or_else(unknown)?;
    let unit = Unit::spelled(behind, wanted.of).ok_or_else(unknown)?;
    if unit.of != wanted.of {
        return Err(WrittenError::AnotherKind { text: shown(), wanted: wanted.of });
    }
    let value = unit.convert(value, wanted);
    if value.is_finite() { Ok(Written { value, unit: Some(unit) }) } else { Err(WrittenError::NotANumber(shown())) }
}

/// Whether `text` is a number that carries a unit which measures the same as the unit of the symbol `symbol`.
pub fn carries_unit(text: &str, symbol: &str) -> bool {
    number_in(text, symbol).is_ok_and(|written| written.unit.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("702 ft", "m", 213.9696)]
    #[case("702'", "m", 213.9696)]
    #[case("2.48 in", "mm", 62.992)]
    #[case("2,48 in.", "mm", 62.992)]
    #[case("2.48\"", "mm", 62.992)]
    #[case("1350 g", "kg", 1.35)]
    #[case("2.9lb", "kg", 1.315_417_873)]
    #[case("77 °F", "°C", 25.0)]
    #[case("77° F", "°C", 25.0)]
    #[case("77f", "°C", 25.0)]
    #[case("−40 °F", "°C", -40.0)]
    #[case("63", "mm", 63.0)]
    #[case("63 mm", "mm", 63.0)]
    #[case("5 min", "s", 300.0)]
    #[case("4.5 T", "turns", 4.5)]
    #[case("31 teeth", "teeth", 31.0)]
    #[case("6 Ah", "mAh", 6000.0)]
    #[case("30°", "°", 30.0)]
    #[case("1.85", "", 1.85)]
    fn numbers_with_their_unit(#[case] text: &str, #[case] symbol: &str, #[case] value: f64) {
        assert_eq!(number_in(text, symbol).unwrap().value, value);
    }

    #[rstest]
    #[case("2 kg", "m", "`2 kg`, which is not a length")]
    #[case("702 fet", "m", "`702 fet`, and `fet` is not a unit that is known here")]
    #[case("1,350 g", "kg", "`1,350 g`, which may be thousands or a fraction")]
    #[case("warm", "°C", "`warm`, which is not a number")]
    #[case("1.85 mm", "", "`1.85 mm`, and it has no unit")]
    #[case("- ft", "m", "`- ft`, which is not a number")]
    #[case("1 2 ft", "m", "`1 2 ft`, and `2 ft` is not a unit that is known here")]
    fn what_is_none(#[case] text: &str, #[case] symbol: &str, #[case] said: &str) {
        assert_eq!(number_in(text, symbol).unwrap_err().to_string(), said);
    }
}
