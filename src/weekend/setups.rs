//! Which settings the runs of a car differ in, as the columns of a fit over its runs.

use std::collections::BTreeSet;

use nalgebra::DMatrix;

use crate::evidence::AIR;
use crate::run::SettledRun;
use crate::sheet::{NOTE, Setting};

/// One value of one key against the key's first.
pub(super) struct Column {
    pub key: String,
    pub from: Option<Setting>,
    pub to: Option<Setting>,
    /// Whether each run has the first value, and the other.
    pub first: Vec<bool>,
    pub other: Vec<bool>,
}

/// Keys of the sheet that say nothing of the car's setup.
pub(super) fn is_no_setup(key: &str) -> bool {
    key == NOTE || key == AIR || key.starts_with("limits.")
}

/// The value of a key in a run; the pinion is the one that was on the car.
pub(super) fn value(run: &SettledRun, key: &str) -> Option<Setting> {
    if key == "pinion" {
        return run.pinion_on_car().map(Setting::Number);
    }
    run.plan().settings.0.get(key).cloned()
}

/// Whether two values are the same, in whatever unit each was written.
pub(super) fn same_value(one: &Option<Setting>, other: &Option<Setting>) -> bool {
    one == other || one.as_ref().map(Setting::by_value) == other.as_ref().map(Setting::by_value)
}

/// Each further value of each key that varies.
pub(super) fn columns(members: &[&SettledRun]) -> Vec<Column> {
    let keys: BTreeSet<&str> = members
        .iter()
        .flat_map(|r| r.plan().settings.0.keys().map(String::as_str))
        .filter(|k| !is_no_setup(k))
        .collect();
    let mut columns = Vec::new();
    for key in keys {
        let values: Vec<Option<Setting>> = members.iter().map(|r| value(r, key)).collect();
        let mut levels: Vec<Option<Setting>> = Vec::new();
        for v in &values {
            if !levels.iter().any(|l| same_value(l, v)) {
                levels.push(v.clone());
            }
        }
        let text = levels.iter().any(|l| matches!(l, Some(Setting::Text(_))));
        let remark = text && levels.len() > 2 && 2 * levels.len() > members.len();
        if levels.len() < 2 || remark {
            continue;
        }
        let has = |level: &Option<Setting>| values.iter().map(|v| same_value(v, level)).collect::<Vec<bool>>();
        for level in &levels[1..] {
            columns.push(Column {
                key: key.to_owned(),
                from: levels[0].clone(),
                to: level.clone(),
                first: has(&levels[0]),
                other: has(level),
            });
        }
    }
    columns
}

/// The runs that have each column's value: columns of the same runs are one, since whichever key it was, their effect is
/// one.
pub(super) fn distinct(columns: &[Column]) -> Vec<&Vec<bool>> {
    let mut distinct: Vec<&Vec<bool>> = Vec::new();
    for column in columns {
        if !distinct.contains(&&column.other) {
            distinct.push(&column.other);
        }
    }
    distinct
}

/// The matrix of a fit over the runs `rows`: a constant, and one for each run that has a column's value.
pub(super) fn design(distinct: &[&Vec<bool>], rows: &[usize]) -> DMatrix<f64> {
    let cell = |r: usize, c: usize| if c == 0 { 1.0 } else { f64::from(u8::from(distinct[c - 1][rows[r]])) };
    DMatrix::from_fn(rows.len(), distinct.len() + 1, cell)
}

/// The settings in which two runs differ.
pub(super) fn changed_keys(other: &SettledRun, run: &SettledRun) -> Vec<String> {
    let (before, now) = (&other.plan().settings.0, &run.plan().settings.0);
    let is_same = |key: &str| match key {
        // The one that was on the car.
        "pinion" => same_value(&value(other, key), &value(run, key)),
        _ => {
            let (one, other) = (before.get(key), now.get(key));
            one == other || one.map(Setting::by_value) == other.map(Setting::by_value)
        }
    };
    let all: BTreeSet<&String> = before.keys().chain(now.keys()).collect();
    all.into_iter().filter(|key| !is_same(key)).cloned().collect()
}
