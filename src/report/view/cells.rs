//! Cells and rows of the pages' tables.

use super::mark::Mark;
use super::verdicts::VerdictView;

/// Shown where a figure could not be had.
pub const NOTHING: &str = "–";

/// A figure with its verdict.
pub struct Cell {
    /// The figure; `None` where it could not be had.
    pub value: Option<String>,
    /// Its mark.
    pub mark: Mark,
    /// The verdict in words, for those who do not see the mark.
    pub verdict: String,
}

impl Cell {
    /// A figure with its verdict.
    pub fn new(value: Option<String>, verdict: VerdictView) -> Self {
        Self { value, mark: verdict.mark, verdict: verdict.words }
    }

    /// Of a run that could not be reviewed.
    pub fn empty() -> Self {
        Self::new(None, VerdictView::cannot_tell())
    }

    /// The figure, or a dash.
    pub fn text(&self) -> &str {
        self.value.as_deref().unwrap_or(NOTHING)
    }
}

/// A row of a plain table.
pub struct RowView {
    /// Cells.
    pub cells: Vec<String>,
    /// Whether the row is greyed.
    pub aside: bool,
}

impl RowView {
    /// A row that is not greyed.
    pub fn plain(cells: Vec<String>) -> Self {
        Self { cells, aside: false }
    }
}

/// A figure to so many digits, or a dash.
pub fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |v| format!("{v:.digits$}"))
}
