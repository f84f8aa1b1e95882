//! Findings across the runs: trends, and what changed settings did.

use serde_json::json;

use super::finding::{About, Finding, short};
use crate::figure::{Figure, TrendFinding, Weight};
use crate::quantity::Estimate;
use crate::sheet::Setting;
use crate::sheet::keys::{self, Key, Kind};
use crate::weekend::comparisons::{Comparison, Effect};
use crate::weekend::trends::{Cause, Trend, Verdict};
use crate::wording::uppercase_first;
use crate::wording::with_interval;

/// The figure that a racer asks for first.
const LAP: &str = "median_lap_s";

/// Findings across the runs, unordered.
pub fn findings_across(trends: &[Trend], comparisons: &[Comparison]) -> Vec<Finding> {
    trends.iter().filter_map(trend_finding).chain(comparisons.iter().filter_map(change_finding)).collect()
}

fn trend_finding(trend: &Trend) -> Option<Finding> {
    let figure = trend.of;
    let (low, high) = trend.low.zip(trend.high)?;
    let said: TrendFinding = match trend.verdict {
        Verdict::Rising => figure.rising?,
        Verdict::Falling => figure.falling?,
        Verdict::Steady | Verdict::CannotTell => return None,
    };
    let first = trend.values.first()?.abs();
    if trend.moved().abs() < said.least.amount(first) {
        return None;
    }
    let mut detail = format!("By {}", figure.amount_each_run(Estimate { value: trend.per_run, low, high }));
    match trend.cause {
        Some(Cause::CannotTell) => detail += ". The cause cannot be told",
        Some(cause) => detail += &format!(". The cause is {}", cause.words()),
        None => {}
    }
    if !said.advice.is_empty() {
        detail += &format!(". {}", said.advice);
    }
    let lead = format!("The {}'s {}", short(&trend.car), said.lead);
    let values = json!({
        "per_run": trend.per_run, "low": trend.low, "high": trend.high, "p": trend.p, "values": trend.values,
        "cause": trend.cause,
    });
    Some(Finding::new(said.code, said.weight, About::Trend, lead, detail).with_figures(values))
}

fn change_finding(comparison: &Comparison) -> Option<Finding> {
    // Settings that changed together make one sentence, with the first of them.
    if comparison.together_with.iter().any(|key| *key < comparison.key) {
        return None;
    }
    let judged: Vec<(&Effect, Estimate)> =
        comparison.effects.iter().filter_map(|effect| Some((effect, effect.difference?))).collect();
    let claimed: Vec<(&Figure, Estimate)> =
        judged.iter().filter(|(effect, _)| effect.claimed()).map(|(effect, d)| (effect.of, *d)).collect();
    // Nothing found is worth a word only where something that matters would have been found.
    let sharp = |(effect, d): &(&Effect, Estimate)| {
        d.half_width() < effect.of.worth_acting_on(effect.from.unwrap_or(0.0).abs()) / 2.0
    };
    if judged.is_empty() || claimed.is_empty() && !judged.iter().all(sharp) {
        return None;
    }
    let car = short(&comparison.car);
    let change = change_in_words(comparison);
    let lap = claimed.iter().find(|(figure, _)| figure.key == LAP);
    let lead = match lap {
        Some((_, d)) if d.value > 0.0 => format!("{change} cost the {car} {}", with_interval(d, "s a lap")),
        Some((_, d)) => format!("{change} gained the {car} {}", with_interval(&d.mirrored(), "s a lap")),
        None if claimed.is_empty() => format!("{change} made no clear difference to the {car}"),
        None => format!("{change} made a difference to the {car}"),
    };
    let others: Vec<String> = (claimed.iter().filter(|(figure, _)| figure.key != LAP))
        .map(|(figure, d)| format!("{} {}", figure.label, figure.change_in_words(*d)))
        .collect();
    let values = json!({
        "key": comparison.key, "runs_from": comparison.runs_from, "runs_to": comparison.runs_to,
        "together_with": comparison.together_with,
    });
    let detail = uppercase_first(&others.join(", "));
    Some(Finding::new("change", Weight::Note, About::Change, lead, detail).with_figures(values))
}

/// The change of the settings: `More drag brake (3 → 10 %)`.
fn change_in_words(comparison: &Comparison) -> String {
    let key = keys::find(&comparison.key);
    let mut settings = vec![keys::printable_label(&comparison.key)];
    settings.extend(comparison.together_with.iter().map(|key| keys::printable_label(key)));
    let names = settings.join(" with ");
    let (from, to) = (comparison.from_shown(), comparison.to_shown());
    let values = keys::change(&comparison.key, from.as_deref(), to.as_deref());
    // A name that is written as a number is no amount, and of a setting of the user's own nothing tells which way is
    // more where a value is negative.
    let number = |value: &Option<Setting>| value.as_ref().and_then(Setting::as_number);
    let words = match (key, number(&comparison.from), number(&comparison.to)) {
        _ if !comparison.together_with.is_empty() => None,
        (Some(Key { kind: Kind::Number { .. }, words, .. }), Some(from), Some(to)) => {
            Some(if to > from { words.more } else { words.less })
        }
        (None, Some(from), Some(to)) if from >= 0.0 && to >= 0.0 => Some(if to > from { "More" } else { "Less" }),
        _ => None,
    };
    match words {
        Some(words) => format!("{words} {names} ({values})"),
        None => format!("{} ({values})", uppercase_first(&names)),
    }
}
