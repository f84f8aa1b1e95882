//! What reviews claim over many weekends, counted, and the tables of it.

use runtrue::statistics::quantiles::median;

use super::figures::{KEYS, shown};
use super::table::{Change, System};
use super::trial::Outcome;
use crate::against::share;

/// Share of the weekends from which a change counts as one that moves a figure, and as one that is claimed.
const MOSTLY: f64 = 0.5;
/// Most figures in a row of the table: those that are claimed most often.
const MOST_SHOWN: usize = 4;

/// Outcomes that belong together.
#[derive(Clone)]
pub struct Claims<'a>(Vec<&'a Outcome>);

impl<'a> Claims<'a> {
    /// Those of all outcomes that are chosen.
    pub fn of(all: &'a [Outcome], chosen: impl Fn(&Outcome) -> bool) -> Self {
        Self(all.iter().filter(|outcome| chosen(outcome)).collect())
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Those of them that are chosen.
    pub fn only(&self, chosen: impl Fn(&Outcome) -> bool) -> Self {
        Self(self.0.iter().copied().filter(|outcome| chosen(outcome)).collect())
    }

    /// Those of which the review says something.
    pub fn said(&self) -> Self {
        self.only(|outcome| outcome.found.is_some())
    }

    /// Those of which the figure truly stays where it is.
    pub fn still(&self) -> Self {
        self.said().only(|outcome| !outcome.moves())
    }

    /// Claims that a figure moved which did not.
    pub fn wrong(&self) -> Self {
        self.still().only(|outcome| outcome.claimed() && !outcome.holds())
    }

    /// Claims.
    pub fn claimed(&self) -> Self {
        self.only(Outcome::claimed)
    }

    /// Share whose interval holds the truth.
    pub fn held(&self) -> f64 {
        share(self.0.iter().map(|outcome| outcome.holds()))
    }

    /// Share of them that are chosen.
    pub fn share(&self, chosen: impl Fn(&Outcome) -> bool) -> f64 {
        share(self.0.iter().map(|outcome| chosen(outcome)))
    }

    fn truth(&self) -> f64 {
        median(self.0.iter().map(|outcome| outcome.truth)).unwrap_or(f64::NAN)
    }

    fn found(&self) -> f64 {
        median(self.0.iter().filter_map(|outcome| Some(outcome.found?.value))).unwrap_or(f64::NAN)
    }

    /// The places of all of them, for a message.
    pub fn places(&self) -> String {
        let place = |o: &&Outcome| {
            let found = o.found.map(|e| format!("{:.4} ({:.4} to {:.4})", e.value, e.low, e.high)).unwrap_or_default();
            let Outcome { world, system, change, seed, figure, truth, level, .. } = o;
            format!("{world:?} {seed} {system:?} {change:?} {figure}: {found}, truly {truth:.4} of {level:.4}")
        };
        self.0.iter().map(place).collect::<Vec<_>>().join("\n")
    }
}

/// The table of systems and changes, in Markdown.
pub fn table_of_changes(all: &[Outcome]) -> String {
    let mut text =
        "| system | change | moves, and how often it is claimed | truly | found | interval holds | claims on \
                    what does not move |\n| --- | --- | --- | --- | --- | --- | --- |\n"
            .to_owned();
    for system in System::ALL {
        for change in Change::ALL {
            let pair = Claims::of(all, |outcome| outcome.system == system && outcome.change == change);
            text += &row_of_change(&pair, system, change);
        }
    }
    text
}

fn row_of_change(pair: &Claims, system: System, change: Change) -> String {
    let mut moved: Vec<(&str, Claims)> = KEYS
        .iter()
        .map(|key| (*key, pair.said().only(|outcome| outcome.figure == *key)))
        .filter(|(_, claims)| claims.len() > 0 && claims.share(Outcome::moves) >= MOSTLY)
        .filter(|(_, claims)| claims.share(Outcome::claimed) >= MOSTLY)
        .collect();
    moved.sort_by_key(|(_, claims)| std::cmp::Reverse(claims.claimed().len()));
    moved.truncate(MOST_SHOWN);
    let cell = |of: &dyn Fn(&str, &Claims) -> String| {
        let cells: Vec<String> = moved.iter().map(|(key, claims)| of(key, claims)).collect();
        if cells.is_empty() { "none".to_owned() } else { cells.join("; ") }
    };
    let amount = |key: &str, value: f64| {
        let (_, unit, factor) = shown(key);
        let value = value * factor;
        let digits = if value.abs() >= 100.0 {
            0
        } else if value.abs() >= 1.0 {
            1
        } else {
            2
        };
        format!("{value:+.digits$} {unit}").trim_end().to_owned()
    };
    format!(
        "| {} | {} | {} | {} | {} | {} | {} of {} |\n",
        system.name(),
        change.name(),
        cell(&|key, claims| format!("{} {} of {}", shown(key).0, claims.claimed().len(), claims.len())),
        cell(&|key, claims| amount(key, claims.truth())),
        cell(&|key, claims| amount(key, claims.found())),
        cell(&|_, claims| format!("{:.0} %", 100.0 * claims.held())),
        pair.wrong().len(),
        pair.still().len(),
    )
}

/// The table of figures over all changes, in Markdown.
pub fn table_of_figures(all: &[Outcome]) -> String {
    let mut text = "| figure | wrong claims on what does not move | does move | claimed | the wrong way | interval of \
                    claims holds | of all holds | not said |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n"
        .to_owned();
    let mut row = |name: &str, claims: Claims| {
        let (said, still) = (claims.said(), claims.still());
        let moved = said.only(Outcome::moves);
        text += &format!(
            "| {name} | {} of {} ({:.1} %) | {} | {} | {} | {:.1} % of {} | {:.1} % | {} |\n",
            claims.wrong().len(),
            still.len(),
            100.0 * claims.wrong().len() as f64 / still.len().max(1) as f64,
            moved.len(),
            moved.claimed().len(),
            moved.only(Outcome::is_reversed).len(),
            100.0 * claims.claimed().held(),
            claims.claimed().len(),
            100.0 * said.held(),
            claims.len() - said.len(),
        );
    };
    for key in KEYS {
        row(shown(key).0, Claims::of(all, |outcome| outcome.figure == key));
    }
    row("all", Claims::of(all, |_| true));
    text
}
