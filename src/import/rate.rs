//! A sample rate in the lines before the header.

use super::dialect::Layout;
use super::names::{self, Quantity};

/// A sample rate written in the preamble: `20 Hz`, or an interval with a word for it.
pub fn stated_rate(layout: &Layout) -> Option<f64> {
    const WORDS: [&str; 17] = [
        "rate",
        "interval",
        "period",
        "sampl",
        "abtast",
        "takt",
        "intervall",
        "frequen",
        "fréquen",
        "échant",
        "echant",
        "campion",
        "muestr",
        "amostr",
        "bemonster",
        "間隔",
        "采样",
    ];
    // The frequency of the motor's drive or of a servo is none of the recorder's.
    const NOT: [&str; 4] = ["pwm", "servo", "drive freq", "cpu"];
    layout.preamble.iter().find_map(|row| {
        let joined = row.cells.join(" ").to_lowercase();
        if NOT.iter().any(|w| joined.contains(w)) {
            return None;
        }
        let spoken = WORDS.iter().any(|w| joined.contains(w))
            || joined.contains("间隔")
            || joined.contains("周期")
            || joined.contains("サンプル");
        let tokens: Vec<&str> = joined
            .split(|c: char| c.is_whitespace() || matches!(c, ':' | '=' | '(' | ')' | '[' | ']'))
            .filter(|t| !t.is_empty())
            .collect();
        (0..tokens.len()).find_map(|at| rate_at(&tokens, at, spoken, layout))
    })
}

fn rate_at(tokens: &[&str], at: usize, spoken: bool, layout: &Layout) -> Option<f64> {
    let value = |text: &str| layout.form.parse(text.as_bytes()).or_else(|| text.replace(',', ".").parse::<f64>().ok());
    let (number, unit) = match (value(tokens[at]), layout.form.parse_with_unit(tokens[at])) {
        // `20 Hz`, or `rate [Hz]: 20`.
        (Some(number), _) => {
            let after = tokens.get(at + 1).and_then(|t| names::unit(t));
            (number, after.or_else(|| tokens[..at].iter().rev().find_map(|t| names::unit(t)))?)
        }
        (None, Some((number, unit))) => (number, names::unit(unit)?),
        _ => return None,
    };
    let rate = match unit.quantity {
        Quantity::Rpm if unit.name == "hz" => number,
        Quantity::Time if spoken => 1.0 / (number * unit.scale),
        _ => return None,
    };
    (0.5..=5000.0).contains(&rate).then_some(rate)
}
