//! A sample rate in the lines above the header.

use super::dialect::Layout;
use super::units::Quantity;
use super::vocabulary::{unit, vocabulary};

/// Rates that recorders have, rows a second; anything else is another number. Common practice, no source.
const RATES_HZ: std::ops::RangeInclusive<f64> = 0.5..=5000.0;

/// The rows a second that a line above the header gives: `20 Hz`, or an interval with a word for it.
pub fn stated_rate(layout: &Layout) -> Option<f64> {
    let parts = &vocabulary().parts;
    layout.preamble.iter().find_map(|row| {
        let line = row.cells.join(" ").to_lowercase();
        let holds = |words: &[String]| words.iter().any(|word| line.contains(word.as_str()));
        if holds(&parts.not_rate) {
            return None;
        }
        let names_rate = holds(&parts.rate);
        let tokens: Vec<&str> = line
            .split(|c: char| c.is_whitespace() || matches!(c, ':' | '=' | '(' | ')' | '[' | ']'))
            .filter(|t| !t.is_empty())
            .collect();
        (0..tokens.len()).find_map(|token| rate_at(&tokens, token, names_rate, layout))
    })
}

/// The rate whose number is the token `number_at`. An interval counts only where the line names one.
fn rate_at(tokens: &[&str], number_at: usize, names_rate: bool, layout: &Layout) -> Option<f64> {
    let token = tokens[number_at];
    let plain = layout.form.parse(token.as_bytes()).or_else(|| token.replace(',', ".").parse::<f64>().ok());
    let (number, unit) = match (plain, layout.form.parse_with_unit(token)) {
        // `20 Hz`, or `rate [Hz]: 20`.
        (Some(number), _) => {
            let after = tokens.get(number_at + 1).and_then(|t| unit(t));
            (number, after.or_else(|| tokens[..number_at].iter().rev().find_map(|t| unit(t)))?)
        }
        (None, Some((number, spelling))) => (number, unit(spelling)?),
        _ => return None,
    };
    let rate = match unit.quantity {
        Quantity::Rpm if unit.name == "hz" => number,
        Quantity::Time if names_rate => 1.0 / (number * unit.scale),
        _ => return None,
    };
    RATES_HZ.contains(&rate).then_some(rate)
}
