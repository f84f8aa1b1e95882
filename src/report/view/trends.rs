//! Trends over the runs of a weekend or the weekends of a season, and those that have no verdict.

use super::figures::ShownFigure;
use super::mark::Mark;
use super::verdicts::{self, CANNOT_TELL};
use crate::figure::{Bad, Shown};
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::report::charts;
use crate::season::answers::{OverSeason, Part};
use crate::weekend::trends::{Cause, Trend, Verdict};
use crate::wording;

/// A trend with a verdict.
pub struct TrendView {
    /// Whose it is and its figure.
    pub name: String,
    /// Mark of the verdict.
    pub mark: Mark,
    /// What moves and by how much, or that it is steady.
    pub verdict: String,
    /// Its cause, or how little it can have moved; may be empty.
    pub detail: String,
    /// SVG.
    pub svg: String,
}

/// Figures whose trend has no verdict, all for one reason.
pub struct Unanswered {
    /// Whose they are: a car, a pack or a motor.
    pub whose: String,
    /// The figures, each by its label.
    pub figures: Vec<String>,
    /// Why.
    pub why: String,
}

impl Unanswered {
    /// `tourer: cannot tell for motor peak, median lap (at least five runs are needed)`.
    pub fn sentence(&self) -> String {
        format!("{}: {CANNOT_TELL} for {} ({})", self.whose, self.figures.join(", "), self.why)
    }
}

/// A trend that has no verdict.
pub struct Open<'a, W> {
    /// Whose it is.
    pub whose: &'a str,
    /// Its figure, by its label.
    pub figure: String,
    /// Why it has none.
    pub why: W,
}

/// Trends without a verdict: the figures of one owner that share a reason as one.
pub fn unanswered<'a, W: PartialEq>(
    open: impl Iterator<Item = Open<'a, W>>,
    in_words: impl Fn(W) -> String,
) -> Vec<Unanswered> {
    let mut groups: Vec<(Open<'a, W>, Vec<String>)> = Vec::new();
    for trend in open {
        match groups.iter_mut().find(|(first, _)| first.whose == trend.whose && first.why == trend.why) {
            Some((_, figures)) => figures.push(trend.figure),
            None => {
                let figures = vec![trend.figure.clone()];
                groups.push((trend, figures));
            }
        }
    }
    let view = |(first, figures): (Open<'a, W>, Vec<String>)| Unanswered {
        whose: printable(first.whose, 24),
        figures,
        why: in_words(first.why),
    };
    groups.into_iter().map(view).collect()
}

/// Good, or to be watched where a figure moves the bad way; neither where no way of it is bad.
fn mark(bad: Bad, verdict: Verdict) -> Mark {
    match (verdict, bad) {
        (Verdict::Rising, Bad::Rise | Bad::Either) | (Verdict::Falling, Bad::Fall | Bad::Either) => Mark::Watch,
        (Verdict::Rising | Verdict::Falling, Bad::Neither) => Mark::Plain,
        _ => Mark::Good,
    }
}

/// A trend of the weekend that has a verdict.
pub fn over_runs(trend: &Trend) -> TrendView {
    let figure = ShownFigure::from(trend.of);
    let change = slope(trend.per_run, trend.low, trend.high);
    let moves = trend.verdict != Verdict::Steady;
    let steady = || {
        let Shown { unit, digits, factor } = figure.shown;
        let matters = factor * trend.of.worth_over(&trend.values);
        let most = most_either_way(&figure, &change, digits.max(1));
        let matters = wording::value(matters, digits, unit.difference());
        format!("{most} each run either way; it would matter from {matters} over these runs.")
    };
    TrendView {
        name: format!("{}, {}", printable(&trend.car, 24), figure.label),
        mark: mark(figure.bad, trend.verdict),
        verdict: if moves {
            figure.change_each(&change, "each run")
        } else {
            verdicts::trend(trend.verdict).to_owned()
        },
        detail: if moves { trend.cause.map_or_else(String::new, cause) } else { steady() },
        svg: charts::trend(trend, charts::SMALL),
    }
}

fn cause(cause: Cause) -> String {
    match cause {
        Cause::CannotTell => "The cause cannot be told.".to_owned(),
        cause => format!("The cause is {}.", cause.words()),
    }
}

/// A figure over the weekends of a season that has a verdict.
pub fn over_season(part: &Part, seen: &OverSeason) -> TrendView {
    let figure = ShownFigure::named(&seen.of);
    let change = seen.per_month.map(|value| slope(value, seen.low, seen.high));
    let steady = seen.verdict == Verdict::Steady;
    let most =
        |change: &Estimate| most_either_way(&figure, change, figure.shown.digits + 1) + " each month either way.";
    TrendView {
        name: format!("{}, {}", printable(&part.name, 24), figure.label),
        mark: mark(figure.bad, seen.verdict),
        verdict: match &change {
            Some(change) if !steady => figure.change_each(change, "each month"),
            _ => verdicts::trend(seen.verdict).to_owned(),
        },
        detail: change.as_ref().filter(|_| steady).map_or_else(String::new, most),
        svg: charts::over_season(seen, figure.shown.unit, figure.shown.digits, charts::SMALL),
    }
}

/// A slope with the interval that it may have.
fn slope(value: f64, low: Option<f64>, high: Option<f64>) -> Estimate {
    Estimate { value, low: low.unwrap_or(value), high: high.unwrap_or(value) }
}

/// `At most 0.04 mm`: how much a steady figure can have moved.
fn most_either_way(figure: &ShownFigure, change: &Estimate, digits: usize) -> String {
    let Shown { unit, factor, .. } = figure.shown;
    let most = factor * change.low.abs().max(change.high.abs());
    format!("At most {}", wording::value(most, digits, unit.difference()))
}
