//! Units that people write, read and are shown: the one table of them (`table`), numbers that carry one (`written`),
//! what each kind of quantity is shown in (`measure`), and quantities in a text that is in nobody's units yet (`marks`).

pub mod marks;
pub mod measure;
pub mod table;
pub mod written;

pub use marks::{in_notation, said};
pub use measure::{Measure, Notation};
pub use table::{Dimension, Unit};
pub use written::{Written, WrittenError, number_in};

/// Units in which pages and terminal show temperatures, lengths and speeds. JSON and tables are metric in any case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// °C, m, mm, km/h.
    #[default]
    Metric,
    /// °F, ft, in, mph.
    Us,
}

impl Units {
    /// The names of all of them, as the sheet has them.
    pub const NAMES: [&str; 2] = ["metric", "us"];

    /// Its name on the sheet.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Metric => Self::NAMES[0],
            Self::Us => Self::NAMES[1],
        }
    }

    /// The units of this name.
    pub fn named(name: &str) -> Option<Self> {
        [Self::Metric, Self::Us].into_iter().find(|units| units.name() == name)
    }
}
