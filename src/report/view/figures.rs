//! How the figures of weekend and season are shown: label, unit, digits, and the words for more and less of them.

use super::cells::NOTHING;
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::weekend::figures::Figure;
use crate::wording::{self, Direction, HIGHER, HOTTER};

/// How a figure is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownFigure {
    /// What it is.
    pub label: String,
    /// Its unit.
    pub unit: &'static str,
    /// Digits after the point.
    pub digits: usize,
    /// What it is multiplied by for the reader.
    pub factor: f64,
    /// Words for more and less of it.
    pub direction: Direction,
}

impl ShownFigure {
    /// `median lap, s`: the head of a column.
    pub fn head(&self) -> String {
        if self.unit.is_empty() { self.label.clone() } else { format!("{}, {}", self.label, self.unit) }
    }

    /// An estimate of it as the reader sees it.
    fn scaled(&self, e: &Estimate) -> Estimate {
        Estimate { value: self.factor * e.value, low: self.factor * e.low, high: self.factor * e.high }
    }

    /// A change of it: `0.32 s slower (0.08 to 0.56)`.
    pub fn change(&self, change: &Estimate) -> String {
        wording::change(&self.scaled(change), self.unit, self.direction)
    }

    /// A change that repeats: `0.06 s slower each run (0.01 to 0.15)`.
    pub fn change_each(&self, change: &Estimate, each: &str) -> String {
        wording::change_each(&self.scaled(change), self.unit, self.direction, each)
    }

    /// A change for a table whose row has the unit: `0.32 slower (0.08 to 0.56)`, or a dash.
    pub fn change_cell(&self, change: Option<&Estimate>) -> String {
        change.map_or(NOTHING.to_owned(), |c| wording::change(&self.scaled(c), "", self.direction))
    }
}

/// A figure of the weekend.
pub fn of_weekend(figure: Figure) -> ShownFigure {
    let (label, unit, digits, factor) = figure.words();
    let unit = if unit == "K" { "°C" } else { unit };
    ShownFigure { label: label.to_owned(), unit, digits, factor, direction: direction(figure.name()) }
}

/// A figure of the season, by its name there.
pub fn of_season(name: &str) -> ShownFigure {
    let own = |label: &str, unit, digits| ShownFigure {
        label: label.to_owned(),
        unit,
        digits,
        factor: 1.0,
        direction: direction(name),
    };
    match name {
        "resistance_mohm" => own("pack resistance", "mΩ", 2),
        "motor_rise_k" => own("motor above the air", "°C", 1),
        "motor_rise_k_per_w" => own("motor above the air for each watt", "°C/W", 3),
        "mean_w" => own("mean power", "W", 1),
        "realised_ratio" => own("ratio on track", "", 2),
        "median_s" => own("median lap", "s", 2),
        "top_speed_m_s" => own("top speed", "m/s", 1),
        other => Figure::named(other).map_or_else(|| own(&printable(other, 40), "", 3), of_weekend),
    }
}

/// Words for more and less of a figure.
fn direction(name: &str) -> Direction {
    let words = |more, less| Direction { more, less };
    match name {
        "motor_peak_c" | "motor_rise_c" | "motor_rise_k" | "motor_rise_k_per_w" | "controller_peak_c"
        | "controller_rise_c" => HOTTER,
        "motor_cooling" => words("better", "worse"),
        "effective_tyre_mm" => words("larger", "smaller"),
        "wheelspin_share" | "used_mah_per_lap" | "mean_w" => words("more", "less"),
        "median_lap_s" | "median_s" => words("slower", "faster"),
        "coast_m_s2" | "pull_m_s2" => words("stronger", "weaker"),
        _ => HIGHER,
    }
}
