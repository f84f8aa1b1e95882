//! Phrases that findings, pages and the terminal share: a value with its interval, a change, a place on the lap. A
//! quantity in them is a mark (`units::marks`), which each surface reads in its units.

mod figures;
mod quantities;

pub use figures::{Ends, InFigures};
pub use quantities::{
    Digits, bare_range, bare_value, cell, change, change_each, head, in_figures, stated, symbol, tick, value, whole,
    whole_cell, with_interval,
};

/// Words for more and for less of something: `slower` and `faster`, `hotter` and `cooler`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    /// For a positive change.
    pub more: &'static str,
    /// For a negative one.
    pub less: &'static str,
    /// For none.
    pub same: &'static str,
}

impl Words {
    /// Words for more and less of something that is unchanged otherwise.
    pub const fn new(more: &'static str, less: &'static str) -> Self {
        Self { more, less, same: "unchanged" }
    }
}

/// Of a temperature.
pub const HOTTER: Words = Words::new("hotter", "cooler");
/// Of a lap.
pub const LAP_TIMES: Words = Words::new("slower", "faster");
/// Of a height: revs, a speed, a resistance.
pub const HIGHER: Words = Words::new("higher", "lower");

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
