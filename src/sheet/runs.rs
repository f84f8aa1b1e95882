//! `[[runs]]` of the sheet: each run's plan, with what is wrong with it where it cannot be reviewed.

use std::ops::Range;
use std::path::{Path, PathBuf};

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use super::check::settings;
use super::keys::{Key, LEFT_OUT, NOTE, Table, of_table};
use super::mistake::{Mistake, Mistakes};
use super::paths::inside_folder;
use super::{RunPlan, Setting, Settings, Sheet};
use crate::notice::printable;

/// Adds the runs to a sheet whose cars are known.
pub(super) fn read_runs(keys: &[Key], entries: &DeArray, sheet: &mut Sheet, mistakes: &mut Mistakes) {
    for entry in entries.iter() {
        if let DeValue::Table(table) = entry.get_ref() {
            let run = run(keys, (table, entry.span()), sheet, mistakes);
            sheet.runs.push(run);
        } else {
            let hint = "write `[[runs]]` on a line of its own above each run, and the run's keys below it";
            mistakes.add(entry.span(), "this run is not written as a section", hint);
        }
    }
}

fn run(keys: &[Key], (table, span): (&DeTable, Range<usize>), sheet: &Sheet, mistakes: &mut Mistakes) -> RunPlan {
    let mut stated = settings(keys, table, Table::Run, mistakes);
    let (own, overrides) = split(keys, &mut stated);
    let text = |key: &str| own.text(key).map(str::to_owned);
    let log = text("log");
    let id = written_id(&own, log.as_deref()).unwrap_or_else(|| format!("run {}", sheet.runs.len() + 1));
    let car = text("car").or_else(|| only_car(sheet));
    let left_out = own.text(LEFT_OUT) == Some("yes");
    let mut blame = Blame { table, span, first: None };
    if sheet.runs.iter().any(|r| r.id == id) {
        let message = format!("two runs have the id `{}`", printable(&id, 40));
        blame.on("id", message, "give each run an id of its own", mistakes);
    }
    if !left_out {
        blame_car(car.as_deref(), sheet, &mut blame, mistakes);
    }
    let mut path = |key: &str| -> Option<PathBuf> {
        let path = inside_folder(own.text(key)?);
        let hint = "write the path from the weekend's folder, such as `logs/r1.csv`";
        path.map_err(|why| blame.on(key, format!("`{key}` {why}"), hint, mistakes)).ok()
    };
    let (log_path, laps) = (path("log"), path("laps"));
    if log.is_none() {
        blame.on("log", "this run has no log".to_owned(), "add `log = \"logs/r1.csv\"`", mistakes);
    }
    let base = car.as_ref().and_then(|c| sheet.cars.get(c)).cloned().unwrap_or_default();
    RunPlan {
        id: unused_id(id, sheet),
        car: car.unwrap_or_default(),
        log: log_path.unwrap_or_default(),
        laps,
        part: own.number("part").map(|p| p as usize),
        left_out,
        ambient_c: own.number("ambient_c"),
        settings: base.overridden(&overrides),
        mistake: blame.first,
    }
}

/// The keys that say what a run is, and those that override its car's or are the user's own, among them its note.
fn split(keys: &[Key], stated: &mut Settings) -> (Settings, Settings) {
    let all = std::mem::take(&mut stated.0);
    let is_own = |path: &str| path != NOTE && of_table(keys, Table::Run).any(|k| k.path == path);
    // A refused value stays beside the settings, where it is shown.
    let (own, others) =
        all.into_iter().partition(|(path, value)| is_own(path) && !matches!(value, Setting::Refused(_)));
    (Settings(own), Settings(others))
}

/// The first thing that is wrong with a run.
struct Blame<'a, 'i> {
    table: &'a DeTable<'i>,
    span: Range<usize>,
    first: Option<Mistake>,
}

impl Blame<'_, '_> {
    /// Blames the value of a key, or the whole run where it has none.
    fn on(&mut self, key: &str, message: String, hint: &str, mistakes: &Mistakes) {
        let span = self.table.get(key).map_or(self.span.clone(), Spanned::span);
        self.first.get_or_insert_with(|| mistakes.mistake(span, message, hint));
    }
}

fn blame_car(car: Option<&str>, sheet: &Sheet, blame: &mut Blame, mistakes: &Mistakes) {
    let known: Vec<String> = sheet.cars.keys().map(|k| format!("`{}`", printable(k, 40))).collect();
    let known = known.join(", ");
    match car {
        Some(car) if !sheet.cars.contains_key(car) => {
            let shown = printable(car, 40);
            let hint = if known.is_empty() {
                format!("add a section `[cars.{shown}]`")
            } else {
                format!("cars on the sheet are {known}")
            };
            blame.on("car", format!("the car `{shown}` is not on the sheet"), &hint, mistakes);
        }
        None if known.is_empty() => {
            let hint = "add a section `[cars.NAME]`, and `car = \"NAME\"` to the run";
            blame.on("car", "this run has no car".to_owned(), hint, mistakes);
        }
        None => {
            let hint = format!("add `car = \"…\"`; cars on the sheet are {known}");
            blame.on("car", "this run does not say which car it was".to_owned(), &hint, mistakes);
        }
        _ => {}
    }
}

fn only_car(sheet: &Sheet) -> Option<String> {
    let mut names = sheet.cars.keys();
    names.next().filter(|_| names.next().is_none()).cloned()
}

/// The run's id as it is written, or its log's name.
fn written_id(own: &Settings, log: Option<&str>) -> Option<String> {
    let written = match own.0.get("id") {
        Some(Setting::Text(text)) => Some(text.clone()),
        Some(Setting::Number(number)) => Some(number.to_string()),
        _ => None,
    };
    let stem = |log: &str| Path::new(log).file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned());
    written.or_else(|| log.map(stem)).filter(|i| !i.trim().is_empty())
}

/// The id, with a number behind it where another run has it already.
fn unused_id(id: String, sheet: &Sheet) -> String {
    let numbered = (2..).map(|n| format!("{id} ({n})"));
    let unused = |i: &String| sheet.runs.iter().all(|r| r.id != *i);
    std::iter::once(id.clone()).chain(numbered).find(unused).unwrap_or(id)
}
