//! Runs and cars that come onto a sheet's text and go from it, with the comments that belong to them.

use toml_edit::{ArrayOfTables, Decor, Item, Table, Value};

use super::document::{EditError, parse};
use super::keys::{Key, Table as SheetTable};
use super::values::set;

const RUNS: &str = SheetTable::Run.name();
const CARS: &str = SheetTable::Car.name();

/// A new run with these values of keys at the end of the sheet.
pub(super) fn add_run(keys: &[Key], text: &str, values: &[(String, String)]) -> Result<String, EditError> {
    let mut document = parse(keys, text)?;
    let count = document.get(RUNS).and_then(Item::as_array_of_tables).map_or(0, ArrayOfTables::len);
    if document.get(RUNS).is_none() {
        document.insert(RUNS, Item::ArrayOfTables(ArrayOfTables::new()));
    }
    let runs = document
        .get_mut(RUNS)
        .and_then(Item::as_array_of_tables_mut)
        .ok_or_else(|| EditError::Place(RUNS.to_owned()))?;
    let mut run = Table::new();
    *run.decor_mut() = Decor::new("\n", "");
    runs.push(run);
    let mut text = document.to_string();
    for (key, typed) in values.iter().filter(|v| !v.1.trim().is_empty()) {
        let mut path = vec![RUNS.to_owned(), count.to_string()];
        path.extend(key.split('.').map(str::to_owned));
        text = set(keys, &text, &path, typed.trim())?;
    }
    Ok(text)
}

/// A new car without settings below the others.
pub(super) fn add_car(keys: &[Key], text: &str, name: &str) -> Result<String, EditError> {
    let mut document = parse(keys, text)?;
    let cars = document.entry(CARS).or_insert_with(|| {
        let mut cars = Table::new();
        cars.set_implicit(true);
        Item::Table(cars)
    });
    let cars = cars.as_table_like_mut().ok_or_else(|| EditError::Place(CARS.to_owned()))?;
    if name.is_empty() || cars.contains_key(name) {
        return Ok(document.to_string());
    }
    let only = cars.iter().map(|c| c.0.to_owned()).next().filter(|_| cars.len() == 1);
    let mut car = Table::new();
    *car.decor_mut() = Decor::new("\n", "");
    cars.insert(name, Item::Table(car));
    let header = format!("\n[cars.{}]\n", toml_edit::Key::new(name));
    // Runs that name no car were the only car's: with a second one they must say so.
    if let (Some(only), Some(runs)) = (only, document.get_mut(RUNS).and_then(Item::as_array_of_tables_mut)) {
        for run in runs.iter_mut().filter(|run| !run.contains_key("car")) {
            run.insert("car", Item::Value(Value::from(only.as_str())));
        }
    }
    Ok(below_comments(&document.to_string(), &header))
}

/// Puts a new table's `header` below the comments that follow it up to a blank line: they belong to the table above,
/// such as lines to be filled in.
fn below_comments(text: &str, header: &str) -> String {
    let Some((above, below)) = text.split_once(header) else { return text.to_owned() };
    let comments: String = below.split_inclusive('\n').take_while(|l| l.trim_start().starts_with('#')).collect();
    let rest = &below[comments.len()..];
    // A comment right above the next header is that one's.
    if comments.is_empty() || !(rest.trim().is_empty() || rest.starts_with('\n')) {
        return text.to_owned();
    }
    format!("{above}{comments}{header}{rest}")
}
