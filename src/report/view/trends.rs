//! Trends over the runs of a weekend or the weekends of a season, and those that have no verdict.

use super::figures::{self, ShownFigure};
use super::mark::Mark;
use super::verdicts::{self, CANNOT_TELL};
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::report::charts;
use crate::season::answers::{OverSeason, Part};
use crate::weekend::figures::Figure;
use crate::weekend::trends::{self, Trend, Verdict};

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

/// Figures whose trend cannot be told for one reason.
pub struct Unanswered {
    /// Whose they are: a car, a pack or a motor.
    pub whose: String,
    /// The figures, each by its label.
    pub figures: Vec<String>,
    /// Why.
    pub why: String,
}

impl Unanswered {
    /// `tourer: cannot tell how motor peak and median lap move (it takes five runs)`.
    pub fn sentence(&self) -> String {
        format!("{}: {CANNOT_TELL} for {} ({})", self.whose, self.figures.join(", "), self.why)
    }
}

/// A trend that has no verdict.
pub struct Open<'a> {
    /// Whose it is.
    pub whose: &'a str,
    /// Its figure, by its label.
    pub figure: String,
    /// Why it cannot be told.
    pub why: Option<&'a str>,
}

/// Trends without a verdict: the figures of one owner that share a reason as one.
pub fn unanswered<'a>(open: impl Iterator<Item = Open<'a>>) -> Vec<Unanswered> {
    let mut groups: Vec<Unanswered> = Vec::new();
    for Open { whose, figure, why } in open {
        let (whose, why) = (printable(whose, 24), why.unwrap_or("the runs do not show it"));
        match groups.iter_mut().find(|g| g.whose == whose && g.why == why) {
            Some(group) => group.figures.push(figure),
            None => groups.push(Unanswered { whose, figures: vec![figure], why: why.to_owned() }),
        }
    }
    groups
}

/// A trend of the weekend that has a verdict.
pub fn over_runs(trend: &Trend) -> TrendView {
    let figure = figures::of_weekend(trend.of);
    let slope = Slope { value: trend.per_run, low: trend.low, high: trend.high };
    let moves = trend.verdict != Verdict::Steady;
    TrendView {
        name: format!("{}, {}", printable(&trend.car, 24), figure.label),
        mark: mark_over_runs(trend),
        verdict: if moves { slope.in_words(&figure, "each run") } else { verdicts::of_trend(trend.verdict).to_owned() },
        detail: if moves { cause(trend) } else { steady(trend, &figure, &slope) },
        svg: charts::trend(trend, charts::SMALL),
    }
}

fn mark_over_runs(trend: &Trend) -> Mark {
    let falls_badly = matches!(trend.of, Figure::MotorCooling | Figure::EffectiveTyreMm);
    let worse = match trend.verdict {
        Verdict::Falling => falls_badly,
        Verdict::Rising => trend.of != Figure::MotorCooling,
        Verdict::Steady | Verdict::CannotTell => false,
    };
    match trend.of {
        // Pace is the driver's too.
        Figure::MedianLapS if trend.verdict != Verdict::Steady => Mark::Plain,
        _ if worse => Mark::Watch,
        _ => Mark::Good,
    }
}

fn cause(trend: &Trend) -> String {
    trend.cause.map_or_else(String::new, |cause| format!("Cause: {cause}."))
}

/// How little a steady figure can have moved, against what would matter.
fn steady(trend: &Trend, figure: &ShownFigure, slope: &Slope) -> String {
    let ShownFigure { unit, digits, factor, .. } = figure;
    let most = factor * slope.low.unwrap_or(0.0).abs().max(slope.high.unwrap_or(0.0).abs());
    let matters = factor * trends::matters(trend.of, &trend.values);
    format!(
        "At most {most:.*} {unit} each run either way; it would matter from {matters:.digits$} {unit} over these runs.",
        digits.max(&1)
    )
}

/// A figure over the weekends of a season that has a verdict.
pub fn over_season(part: &Part, seen: &OverSeason) -> TrendView {
    let figure = figures::of_season(&seen.of);
    let slope = seen.per_month.map(|value| Slope { value, low: seen.low, high: seen.high });
    let moves = slope.filter(|_| seen.verdict != Verdict::Steady);
    let most = seen.low.zip(seen.high).map(|(low, high)| low.abs().max(high.abs()));
    let steady = || {
        let ShownFigure { unit, digits, .. } = &figure;
        most.map_or_else(String::new, |most| format!("At most {most:.*} {unit} a month either way.", digits + 1))
    };
    TrendView {
        name: format!("{}, {}", printable(&part.name, 24), figure.label),
        // Power is the driver's and the track's choice: more of it is nothing to worry about.
        mark: if seen.verdict == Verdict::Rising && seen.of != "mean_w" { Mark::Watch } else { Mark::Good },
        verdict: moves
            .as_ref()
            .map_or_else(|| verdicts::of_trend(seen.verdict).to_owned(), |slope| slope.in_words(&figure, "a month")),
        detail: if moves.is_some() { String::new() } else { steady() },
        svg: charts::over_season(seen, figure.unit, figure.digits, charts::SMALL),
    }
}

/// A change with the interval that it may have.
#[derive(Clone, Copy)]
struct Slope {
    value: f64,
    low: Option<f64>,
    high: Option<f64>,
}

impl Slope {
    /// `0.06 s slower each run (0.01 to 0.15)`.
    fn in_words(&self, figure: &ShownFigure, each: &str) -> String {
        let (low, high) = (self.low.unwrap_or(self.value), self.high.unwrap_or(self.value));
        figure.change_each(&Estimate { value: self.value, low, high }, each)
    }
}
