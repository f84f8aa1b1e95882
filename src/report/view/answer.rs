//! One answered question of a run, with its charts.

use super::cells::NOTHING;
use super::verdicts::VerdictView;
use crate::quantity::Estimate;
use crate::report::charts::{BESIDE, NARROW, Size, WIDE};
use crate::units::{Measure, said};
use crate::wording::{Digits, InFigures, in_figures};

/// A chart with its words.
pub struct ChartView {
    /// SVG for a wide page.
    pub wide: String,
    /// SVG for a phone.
    pub narrow: String,
    /// What it shows, for those who cannot see it.
    pub description: String,
    /// What is to be known to read it; may be empty.
    pub caption: String,
    /// Whether it says so little that two of it stand side by side.
    pub small: bool,
}

/// A chart in both proportions; none where there is nothing to draw.
pub fn chart(
    draw: impl Fn(Size) -> String,
    description: impl Into<String>,
    caption: impl Into<String>,
) -> Vec<ChartView> {
    sized(draw, WIDE, description.into(), caption.into())
}

/// A chart that says little at the page's width: it stands beside another.
pub fn small_chart(
    draw: impl Fn(Size) -> String,
    description: impl Into<String>,
    caption: impl Into<String>,
) -> Vec<ChartView> {
    sized(draw, BESIDE, description.into(), caption.into())
}

fn sized(draw: impl Fn(Size) -> String, size: Size, description: String, caption: String) -> Vec<ChartView> {
    let wide = draw(size);
    if wide.is_empty() {
        return Vec::new();
    }
    vec![ChartView { wide, narrow: draw(NARROW), description, caption, small: size == BESIDE }]
}

/// The figure that answers a question.
pub struct KeyFigure {
    /// The figure with its unit.
    pub value: String,
    /// Its 95 % interval in brackets; may be empty.
    pub interval: String,
    /// What it is.
    pub label: String,
}

impl KeyFigure {
    /// A figure without an interval, or a dash.
    pub fn plain(value: Option<String>, label: impl Into<String>) -> Self {
        let value = value.unwrap_or_else(|| NOTHING.to_owned());
        Self { value, interval: String::new(), label: label.into() }
    }

    /// A figure with its interval.
    pub fn measured(estimate: &Estimate, digits: Digits, unit: impl Into<Measure>, label: impl Into<String>) -> Self {
        let measure = unit.into();
        let shown = |n| in_figures(estimate, measure, digits, n);
        let value = said(|n| format!("{} {}", shown(n).value, measure.symbol(n)).trim_end().to_owned());
        Self { value, interval: said(|n| shown(n).range()), label: label.into() }
    }

    /// A figure that is put into words already, with its interval.
    pub fn in_figures(figures: &InFigures, unit: &str, label: impl Into<String>) -> Self {
        let value = format!("{} {unit}", figures.value).trim_end().to_owned();
        Self { value, interval: figures.range(), label: label.into() }
    }
}

/// One answered question.
pub struct AnswerView {
    /// Anchor of its section, and what it is about in a word.
    pub about: &'static str,
    /// The question.
    pub question: &'static str,
    /// Its verdict.
    pub verdict: VerdictView,
    /// The figure.
    pub figure: KeyFigure,
    /// Why, in a sentence or two.
    pub sentences: Vec<String>,
    /// What an engineer asks next.
    pub details: Vec<String>,
    /// Evidence.
    pub charts: Vec<ChartView>,
    /// What it rests on, in a line; may be empty.
    pub rests_on: String,
}

/// Why a question, or a part of it, has no answer.
pub fn not_answered(why: impl std::fmt::Display) -> String {
    format!("Not answered: {why}.")
}
