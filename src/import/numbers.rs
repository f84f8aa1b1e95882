//! Cells to numbers, under one decimal mark and one thousands separator.

use lexical_core::{ParseFloatOptions, format::STANDARD, parse_with_options};

/// Character that may stand between groups of three digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grouping {
    /// No separators.
    None,
    /// The comma, where the point is the decimal mark.
    Comma,
    /// The point, where the comma is the decimal mark.
    Point,
    /// A blank, also the no-break and narrow ones.
    Blank,
    /// An apostrophe, straight or curved.
    Apostrophe,
}

/// How numbers are written in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NumberForm {
    /// `b'.'` or `b','`.
    pub decimal: u8,
    /// Thousands separator.
    pub grouping: Grouping,
}

impl NumberForm {
    /// Every form, the plainest first.
    pub const ALL: [NumberForm; 8] = [
        NumberForm { decimal: b'.', grouping: Grouping::None },
        NumberForm { decimal: b',', grouping: Grouping::None },
        NumberForm { decimal: b'.', grouping: Grouping::Comma },
        NumberForm { decimal: b',', grouping: Grouping::Point },
        NumberForm { decimal: b'.', grouping: Grouping::Blank },
        NumberForm { decimal: b',', grouping: Grouping::Blank },
        NumberForm { decimal: b'.', grouping: Grouping::Apostrophe },
        NumberForm { decimal: b',', grouping: Grouping::Apostrophe },
    ];

    /// The number in `cell`; `None` where it is not one in this form.
    pub fn parse(self, cell: &[u8]) -> Option<f64> {
        let cell = cell.trim_ascii();
        self.parse_plain(cell).or_else(|| {
            let ascii = cell.iter().all(u8::is_ascii);
            // A minus sign beyond ASCII, or brackets as in a balance sheet.
            let bracketed = || cell.strip_prefix(b"(").and_then(|rest| rest.strip_suffix(b")"));
            let (cell, minus) = match cell.strip_prefix("−".as_bytes()).or_else(bracketed) {
                Some(rest) => (rest, -1.0),
                None => (cell, 1.0),
            };
            // Without a separator in it, only such a minus can make a difference.
            if minus > 0.0 && !self.may_be_grouped(cell, ascii) {
                return None;
            }
            self.ungroup(cell).and_then(|plain| self.parse_plain(&plain)).map(|v| minus * v)
        })
    }

    /// Whether the cell has the thousands separator, by a quick look.
    fn may_be_grouped(self, cell: &[u8], ascii: bool) -> bool {
        match self.grouping {
            Grouping::None => false,
            Grouping::Comma => cell.contains(&b','),
            Grouping::Point => cell.contains(&b'.'),
            Grouping::Blank => !ascii || cell.contains(&b' '),
            Grouping::Apostrophe => !ascii || cell.contains(&b'\''),
        }
    }

    /// The number at the start of `text` in the shape that recorders write: a minus or none, then digits with at most
    /// one mark among them. What follows it may be anything.
    ///
    /// Whole numbers up to 2⁵³ and powers of ten up to 10²² are doubles without rounding, so that their quotient is
    /// rounded once, as the number itself would be (Clinger 1990, How to read floating point numbers accurately, PLDI).
    /// `None` for any other number, and for what is none.
    #[inline]
    pub fn short_number(self, text: &[u8]) -> Option<ShortNumber> {
        let signs = usize::from(text.first() == Some(&b'-'));
        let (mut number, mut mark, mut length) = (0u64, None, 0);
        // One more than the longest, to see that a number is longer.
        for byte in text[signs..].iter().take(SHORT + 1) {
            let digit = byte.wrapping_sub(b'0');
            if digit < 10 {
                number = number * 10 + u64::from(digit);
            } else if *byte == self.decimal && mark.is_none() {
                mark = Some(length);
            } else {
                break;
            }
            length += 1;
        }
        // A mark at either end is for the general parser to judge.
        let decimals = match mark {
            _ if length > SHORT => return None,
            Some(mark) if mark == 0 || mark + 1 == length => return None,
            Some(mark) => length - mark - 1,
            None if length == 0 || length == SHORT => return None,
            None => 0,
        };
        let value = number as f64 / POWERS_OF_TEN[decimals];
        Some(ShortNumber { value: if signs > 0 { -value } else { value }, decimals, length: signs + length })
    }

    fn parse_plain(self, cell: &[u8]) -> Option<f64> {
        let short = self.short_number(cell).filter(|short| short.length == cell.len());
        short.map(|short| short.value).or_else(|| self.parse_any(cell))
    }

    fn parse_any(self, cell: &[u8]) -> Option<f64> {
        const POINT: ParseFloatOptions = options(b'.');
        const COMMA: ParseFloatOptions = options(b',');
        let options = if self.decimal == b'.' { &POINT } else { &COMMA };
        // A recorder starts a number with a digit or a sign: this keeps words such as `e5` out cheaply.
        cell.first().filter(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b','))?;
        parse_with_options::<f64, STANDARD>(cell, options).ok().filter(|v| v.is_finite())
    }

    /// The cell without its thousands separators; `None` unless there are three digits between them.
    fn ungroup(self, cell: &[u8]) -> Option<Vec<u8>> {
        let text = std::str::from_utf8(cell).ok()?;
        let (whole, rest) = match text.find(char::from(self.decimal)) {
            Some(mark) => text.split_at(mark),
            None => (text, ""),
        };
        let separator = |c: char| match self.grouping {
            Grouping::None => false,
            Grouping::Comma => c == ',',
            Grouping::Point => c == '.',
            Grouping::Blank => matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}'),
            Grouping::Apostrophe => matches!(c, '\'' | '\u{2019}'),
        };
        let (sign, digits) = match whole.strip_prefix(['-', '+']) {
            Some(digits) => (&whole[..1], digits),
            None => ("", whole),
        };
        let groups: Vec<&str> = digits.split(separator).collect();
        let digits_only = |g: &str| !g.is_empty() && g.bytes().all(|b| b.is_ascii_digit());
        let first = groups.first()?;
        let well_formed = digits_only(first)
            && first.len() <= 3
            && (groups.len() == 1 || !first.starts_with('0'))
            && groups[1..].iter().all(|g| g.len() == 3 && digits_only(g));
        (well_formed || groups.len() == 1).then(|| [sign, &groups.concat(), rest].concat().into_bytes())
    }

    /// Like [`NumberForm::parse`], for a cell with its unit behind the number, such as `7.41V`.
    pub fn parse_with_unit(self, cell: &str) -> Option<(f64, &str)> {
        let cell = cell.trim();
        let end = cell.char_indices().rev().find(|(_, c)| c.is_ascii_digit()).map(|(last, _)| last + 1)?;
        let (number, unit) = cell.split_at(end);
        let unit = unit.trim();
        (!unit.is_empty()).then_some(())?;
        Some((self.parse(number.as_bytes())?, unit))
    }

    /// Digits behind the decimal mark of a number written in `cell`.
    pub fn decimals(self, cell: &[u8]) -> usize {
        let cell = cell.trim_ascii();
        cell.iter().position(|&b| b == self.decimal).map_or(0, |mark| cell.len() - mark - 1)
    }
}

/// A number in the shape that recorders write.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortNumber {
    /// Its value.
    pub value: f64,
    /// Digits behind the decimal mark.
    pub decimals: usize,
    /// Bytes that it takes.
    pub length: usize,
}

/// Characters of the longest number that is read the short way, its mark among them: 15 digits stay below 2⁵³.
const SHORT: usize = 16;
/// Powers of ten, each a double without rounding.
const POWERS_OF_TEN: [f64; SHORT] =
    [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

const fn options(decimal: u8) -> ParseFloatOptions {
    ParseFloatOptions::builder()
        .decimal_point(decimal)
        .nan_string(None)
        .inf_string(None)
        .infinity_string(None)
        .build_unchecked()
}

/// Longest spelling of a cell without a reading, in bytes, brackets and blanks included.
const LONGEST_MISSING: usize = 12;

/// Spellings of a cell without a reading.
const MISSING: [&str; 38] = [
    "", "-", "--", "---", "----", "—", "–", "nan", "-nan", "+nan", "1.#qnan", "-1.#ind", "n/a", "#n/a", "na", "null",
    "none", "nil", "inf", "-inf", "+inf", "infinity", "#value!", "#div/0!", "#num!", "?", "??", "???", ".", "*", "***",
    "missing", "k.a.", "n.v.", "err", "error", "無", "无",
];

/// Whether `cell` says in one of the usual spellings that there is no reading.
pub fn is_missing(cell: &[u8]) -> bool {
    let cell = cell.trim_ascii();
    if cell.is_empty() {
        return true;
    }
    if cell.len() > LONGEST_MISSING || cell[0].is_ascii_digit() && cell[0] != b'1' {
        return false;
    }
    std::str::from_utf8(cell).is_ok_and(|text| {
        let text = text.trim().trim_matches(['<', '>', '(', ')', '[', ']']).to_lowercase();
        MISSING.contains(&text.as_str())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rstest::rstest;

    const fn form(decimal: u8, grouping: Grouping) -> NumberForm {
        NumberForm { decimal, grouping }
    }

    #[rstest]
    #[case("12.5", form(b'.', Grouping::None), Some(12.5))]
    #[case(" 12,5 ", form(b',', Grouping::None), Some(12.5))]
    #[case("12,5", form(b'.', Grouping::None), None)]
    #[case("1.234", form(b',', Grouping::Point), Some(1234.0))]
    #[case("1.234,5", form(b',', Grouping::Point), Some(1234.5))]
    #[case("12.34,5", form(b',', Grouping::Point), None)]
    #[case("0.050", form(b',', Grouping::Point), None)]
    #[case("12 345.6", form(b'.', Grouping::Blank), Some(12345.6))]
    #[case("12\u{202f}345,6", form(b',', Grouping::Blank), Some(12345.6))]
    #[case("-12'345", form(b'.', Grouping::Apostrophe), Some(-12345.0))]
    #[case("−3.5", form(b'.', Grouping::None), Some(-3.5))]
    #[case("1e3", form(b'.', Grouping::None), Some(1000.0))]
    #[case("12345", form(b'.', Grouping::Comma), Some(12345.0))]
    #[case("nan", form(b'.', Grouping::None), None)]
    #[case("12:30", form(b'.', Grouping::None), None)]
    fn numbers_as_written(#[case] cell: &str, #[case] form: NumberForm, #[case] expected: Option<f64>) {
        assert_eq!(form.parse(cell.as_bytes()), expected);
    }

    fn parse_short(text: &str) -> Option<f64> {
        let short = NumberForm::ALL[0].short_number(text.as_bytes()).filter(|short| short.length == text.len())?;
        assert_eq!(short.decimals, NumberForm::ALL[0].decimals(text.as_bytes()));
        Some(short.value)
    }

    proptest! {
        // The standard library reads every number to the nearest double.
        #[test]
        fn short_numbers_are_the_nearest_doubles(text in "-?[0-9]{1,16}(\\.[0-9]{0,9})?") {
            let found = parse_short(&text);
            prop_assert!(found.is_none_or(|v| v.to_bits() == text.parse::<f64>().unwrap().to_bits()), "{}: {:?}", text, found);
            prop_assert!(found.is_some() || text.len() > 15 || text.ends_with('.'));
        }

        #[test]
        fn what_is_no_short_number_is_left_to_the_general_parser(text in "[-+0-9.,eE ]{0,8}") {
            let short = parse_short(&text);
            prop_assert!(short.is_none() || short == NumberForm::ALL[0].parse_any(text.as_bytes()), "{}: {:?}", text, short);
        }
    }

    #[rstest]
    #[case("7.41V", Some((7.41, "V")))]
    #[case("23.5 °C", Some((23.5, "°C")))]
    #[case("7.41", None)]
    fn units_behind_numbers(#[case] cell: &str, #[case] expected: Option<(f64, &str)>) {
        assert_eq!(NumberForm::ALL[0].parse_with_unit(cell), expected);
    }
}
