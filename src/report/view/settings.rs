//! Settings of a run, what differs from the car's run before, and what a change of one is called.

use super::cells::RowView;
use super::names::setting_label;
use crate::notice::printable;
use crate::review::Review;
use crate::sheet::{NOTE, Setting, keys};

/// Shown for a setting that a run does not have.
const NOT_SET: &str = "not set";

/// `drag brake 3 → 10 %`, with the settings that changed in the same runs.
pub fn change(key: &str, from: &str, to: &str, together_with: &[String]) -> String {
    let change = format!("{} {}", setting_label(key), keys::change(key, from, to));
    if together_with.is_empty() {
        return change;
    }
    format!("{change} (changed together with {})", labels(together_with))
}

/// Labels of settings, one after the other.
pub fn labels(keys: &[String]) -> String {
    keys.iter().map(|key| setting_label(key)).collect::<Vec<_>>().join(", ")
}

/// A value from a season's table, safe to show.
pub fn text_or_not_set(value: Option<&str>) -> String {
    value.map_or_else(|| NOT_SET.to_owned(), |text| printable(text, 24))
}

fn value_or_not_set(value: Option<&Setting>) -> String {
    value.map_or_else(|| NOT_SET.to_owned(), Setting::to_string)
}

/// The settings of the run at `index` that differ from the car's run before.
pub fn changes(review: &Review, index: usize) -> Vec<String> {
    let Some(before) = review.run_before(index) else { return Vec::new() };
    let (old, new) = (&before.plan().settings.0, &review.runs[index].plan().settings.0);
    let mut keys: Vec<&String> = old.keys().chain(new.keys()).collect();
    keys.sort();
    keys.dedup();
    keys.into_iter()
        .filter(|key| old.get(*key) != new.get(*key) && key.as_str() != NOTE)
        .map(|key| change(key, &value_or_not_set(old.get(key)), &value_or_not_set(new.get(key)), &[]))
        .collect()
}

/// The settings of the run at `index`, those that differ from the car's run before first, and those that it no longer
/// has.
pub fn table(review: &Review, index: usize) -> Vec<RowView> {
    let new = &review.runs[index].plan().settings.0;
    let Some(before) = review.run_before(index) else {
        let row = |(key, value): (&String, &Setting)| vec![setting_label(key), value.to_string(), String::new()];
        return new.iter().map(|setting| RowView::plain(row(setting))).collect();
    };
    let old = &before.plan().settings.0;
    let mut keys: Vec<&String> = new.keys().chain(old.keys().filter(|key| !new.contains_key(*key))).collect();
    keys.sort_by_key(|key| old.get(*key) == new.get(*key));
    let row = |key: &String| {
        let (now, then) = (new.get(key), old.get(key));
        let before = if now == then { String::new() } else { value_or_not_set(then) };
        RowView::plain(vec![setting_label(key), value_or_not_set(now), before])
    };
    keys.into_iter().map(row).collect()
}
