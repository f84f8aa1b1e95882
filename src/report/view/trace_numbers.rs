//! Series of numbers as text that takes little room in a page: each number is a whole multiple of a power of ten, and
//! stands as its step from the one before.
//!
//! A step is written as a variable-length quantity in base64, as source maps write theirs (ECMA-426, 2024, 6.1): the
//! lowest bit is the sign, each character holds five bits, lowest first, and its sixth says that another follows. `!`
//! stands for a number that is missing, and leaves the one before as it is. `.` and a quantity repeat the item before
//! so many times.

/// Characters of base64 by their value (RFC 4648, table 1).
const BASE64: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
/// Bits of a quantity in a character.
const BITS: u32 = 5;
/// The bit that says that another character follows.
const MORE: u64 = 1 << BITS;
/// Stands for a missing number.
const MISSING: &str = "!";
/// Begins how often the item before is repeated.
const REPEATED: char = '.';
/// Beyond that a double holds no such digits.
const GREATEST: f64 = 1e15;

/// `values` to so many digits after the point.
pub fn packed(values: impl Iterator<Item = f64>, digits: usize) -> String {
    let scale = 10f64.powi(digits as i32);
    let mut last = 0;
    let steps = values.map(|value| {
        let scaled = (value * scale).round();
        let number = (scaled.is_finite() && scaled.abs() <= GREATEST).then_some(scaled as i64)?;
        Some(number - std::mem::replace(&mut last, number))
    });
    let (mut text, mut same, mut times) = (String::new(), None, 0);
    for step in steps {
        if same == Some(step) {
            times += 1;
            continue;
        }
        push(&mut text, same, times);
        (same, times) = (Some(step), 1);
    }
    push(&mut text, same, times);
    text
}

/// Adds an item that comes so many times running, in the shorter of both ways.
fn push(text: &mut String, item: Option<Option<i64>>, times: usize) {
    let Some(step) = item else { return };
    let item = step.map_or_else(|| MISSING.to_owned(), quantity);
    *text += &item;
    let plain = item.len() * (times - 1);
    let counted = quantity(times as i64 - 1);
    if plain <= REPEATED.len_utf8() + counted.len() {
        (1..times).for_each(|_| *text += &item);
    } else {
        text.push(REPEATED);
        *text += &counted;
    }
}

fn quantity(step: i64) -> String {
    let mut left = step.unsigned_abs() << 1 | u64::from(step < 0);
    let mut text = String::new();
    loop {
        let (low, rest) = (left & (MORE - 1), left >> BITS);
        let more = if rest > 0 { MORE } else { 0 };
        text.push(char::from(BASE64[(low | more) as usize]));
        if rest == 0 {
            return text;
        }
        left = rest;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    /// Of the sample table in the specification of source maps and its widely copied worked examples: 0, 1, −1, 15 and
    /// 16, the last one by hand: 32 is `g` (0 and more) and `B` (1).
    #[rstest]
    #[case(0, "A")]
    #[case(1, "C")]
    #[case(-1, "D")]
    #[case(15, "e")]
    #[case(16, "gB")]
    #[case(-123, "3H")]
    fn quantities_are_those_of_source_maps(#[case] step: i64, #[case] text: &str) {
        assert_eq!(quantity(step), text);
    }

    #[test]
    fn steps_gaps_and_repeats() {
        let values = [0.0, 0.04, 0.08, 0.12, 0.16, 0.2, f64::NAN, f64::NAN, 0.2, 1e300];
        // 0; five steps of 4 (`I`); two missing; 0; too large.
        assert_eq!(packed(values.into_iter(), 2), "AI.I!!A!");
        assert_eq!(packed(std::iter::empty(), 2), "");
    }
}
