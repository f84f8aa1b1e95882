//! How a figure is shown: as the catalogue has it, or by its bare name where a data set holds one that is not in it.

use super::cells::NOTHING;
use crate::figure::{self, Bad, Figure, Shown, Words};
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::units::Measure;
use crate::wording;

/// A figure as it is shown.
#[derive(Debug, Clone)]
pub struct ShownFigure {
    /// What it is.
    pub label: String,
    /// Its unit, digits and factor.
    pub shown: Shown,
    /// Words for more and less of it.
    pub words: Words,
    /// Which change of it is bad.
    pub bad: Bad,
}

impl From<&Figure> for ShownFigure {
    fn from(figure: &Figure) -> Self {
        Self { label: figure.label.to_owned(), shown: figure.shown, words: figure.words, bad: figure.bad }
    }
}

impl ShownFigure {
    /// The figure of this name in a season's tables.
    pub fn named(name: &str) -> Self {
        figure::find(name).map_or_else(
            || Self {
                label: printable(name, 40),
                shown: Shown { unit: Measure::plain(""), digits: 3, factor: 1.0 },
                words: wording::HIGHER,
                bad: Bad::Neither,
            },
            Self::from,
        )
    }

    /// `median lap, s`: the head of a column.
    pub fn head(&self) -> String {
        wording::head(&self.label, self.shown.unit)
    }

    /// A change of it: `0.32 s slower (0.08 to 0.56)`.
    pub fn change(&self, change: &Estimate) -> String {
        wording::change(&self.shown.scaled(change), self.shown.unit, self.words)
    }

    /// A change that repeats: `0.06 s slower each run (0.01 to 0.15)`.
    pub fn change_each(&self, change: &Estimate, each: &str) -> String {
        wording::change_each(&self.shown.scaled(change), self.shown.unit, self.words, each)
    }

    /// A value for a table whose row has the unit, or a dash.
    pub fn value_cell(&self, value: Option<f64>) -> String {
        let Shown { unit, digits, factor } = self.shown;
        value.map_or(NOTHING.to_owned(), |v| wording::bare_value(factor * v, digits, unit))
    }

    /// A change for a table whose row has the unit: `0.32 slower (0.08 to 0.56)`, or a dash.
    pub fn change_cell(&self, change: Option<&Estimate>) -> String {
        change
            .map_or(NOTHING.to_owned(), |c| wording::change(&self.shown.scaled(c), self.shown.unit.bare(), self.words))
    }
}
