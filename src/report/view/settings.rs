//! Settings of a run, what differs from the car's run before, and what a change of one is called.

use super::cells::RowView;
use crate::review::Review;
use crate::sheet::Setting;
use crate::sheet::keys::{self, printable_label};
use crate::weekend::since::Changed;

/// `drag brake 3 → 10 %`, with the settings that changed in the same runs.
pub fn change(key: &str, from: Option<&str>, to: Option<&str>, together_with: &[String]) -> String {
    let change = keys::labelled_change(key, from, to);
    if together_with.is_empty() {
        return change;
    }
    format!("{change} (changed together with {})", labels(together_with))
}

/// Labels of settings, one after the other.
pub fn labels(keys: &[String]) -> String {
    keys.iter().map(|key| printable_label(key)).collect::<Vec<_>>().join(", ")
}

/// The value of a setting with its unit.
fn value_with_unit(key: &str, value: Option<&Setting>) -> String {
    let unit = keys::find(key).map_or("", |key| key.unit);
    value.map_or_else(|| keys::NOT_SET.to_owned(), |value| keys::with_unit(&value.to_string(), unit))
}

/// A setting that was changed since the car's run before: `drag brake 3 → 10 %`.
pub fn changed(changed: &Changed) -> String {
    keys::labelled_change(&changed.key, changed.from_shown.as_deref(), changed.to_shown.as_deref())
}

/// The settings of the run at `index`, those that differ from the car's run before first, and those that it no longer
/// has.
pub fn table(review: &Review, index: usize) -> Vec<RowView> {
    let new = &review.runs[index].plan().settings.0;
    let Some(before) = review.run_before(index) else {
        let row = |(key, value): (&String, &Setting)| {
            vec![printable_label(key), value_with_unit(key, Some(value)), String::new()]
        };
        return new.iter().map(|setting| RowView::plain(row(setting))).collect();
    };
    let old = &before.plan().settings.0;
    let mut keys: Vec<&String> = new.keys().chain(old.keys().filter(|key| !new.contains_key(*key))).collect();
    keys.sort_by_key(|key| old.get(*key) == new.get(*key));
    let row = |key: &String| {
        let (now, then) = (new.get(key), old.get(key));
        let before = if now == then { String::new() } else { value_with_unit(key, then) };
        RowView::plain(vec![printable_label(key), value_with_unit(key, now), before])
    };
    keys.into_iter().map(row).collect()
}
