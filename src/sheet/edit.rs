//! Edits of a sheet's text: values set, added and taken out, with the user's comments and order kept (`toml_edit`).

use toml_edit::{DocumentMut, Item, Table, TableLike, Value};

use super::entries::{add_car, add_run, remove_run};
use super::mistake::Mistake;
use super::{commented, read};

/// Keys whose values are text whatever they look like.
const TEXT_KEYS: [&str; 9] = ["id", "car", "log", "laps", "name", "surface", "driven", "tyre_kind", "note"];

/// Ends of keys whose values are numbers, whatever zeros stand in front: those with a unit, and counts.
const NUMBER_KEYS: [&str; 16] = [
    "_c", "_m", "_mm", "_s", "_kg", "_pct", "_deg", "_mah", "_v", "_hz", "spur", "pinion", "ratio", "turns", "cells",
    "part",
];
/// Keys that a path may have: `cars`, a car, a table of it and a key are four.
const DEEPEST: usize = 8;

/// One edit.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// The value at a path of keys and run numbers (from 0), such as `runs`, `3`, `pinion`; empty text takes it out.
    Set {
        /// Keys from the root.
        path: Vec<String>,
        /// As typed.
        text: String,
    },
    /// Takes the run with this number (from 0) off the sheet.
    RemoveRun(usize),
    /// A new run with these keys.
    AddRun(Vec<(String, String)>),
    /// A new car without settings.
    AddCar(String),
}

/// Why edits were not made.
#[derive(Debug, thiserror::Error)]
pub enum EditError {
    /// The sheet as it is is no TOML, or its edit is none.
    #[error("{}", .0.brief())]
    Toml(Box<Mistake>),
    /// The edit would put something wrong on the sheet.
    #[error("{}", .0.iter().map(Mistake::brief).collect::<Vec<_>>().join("; "))]
    Wrong(Vec<Mistake>),
    /// A path leads to a list or a table in one line.
    #[error("`{0}` holds a list: change it in the sheet's text")]
    List(String),
    /// A path does not lead to a value.
    #[error("`{0}` is no place on the sheet")]
    Place(String),
}

/// The sheet's text with `edits` made.
///
/// # Errors
/// [`EditError`]: nothing is returned that the reader would find a new mistake in.
pub fn edit(text: &str, edits: &[Edit]) -> Result<String, EditError> {
    let before = read::read(text).map_err(EditError::Toml)?;
    let mut after = text.replace("\r\n", "\n");
    for edit in edits {
        if let Edit::Set { path, text } = edit {
            after = set(&after, path, text.trim())?;
        }
    }
    // Runs keep their numbers until all values are set; a second car comes when all runs have said which is theirs.
    for edit in edits {
        match edit {
            Edit::AddRun(keys) => after = add_run(&after, keys)?,
            Edit::AddCar(name) => after = add_car(&after, name.trim())?,
            Edit::Set { .. } | Edit::RemoveRun(_) => {}
        }
    }
    let mut gone: Vec<usize> =
        edits.iter().filter_map(|e| if let Edit::RemoveRun(n) = e { Some(*n) } else { None }).collect();
    gone.sort_unstable();
    gone.dedup();
    if !gone.is_empty() {
        let mut document = parse(&after)?;
        gone.into_iter().rev().for_each(|number| remove_run(&mut document, number));
        after = document.to_string();
    }
    let sheet = read::read(&after).map_err(EditError::Toml)?;
    let all = |s: &super::Sheet| -> Vec<Mistake> {
        s.mistakes.iter().chain(s.runs.iter().filter_map(|r| r.mistake.as_ref())).cloned().collect()
    };
    let old = all(&before);
    let new: Vec<Mistake> = all(&sheet).into_iter().filter(|m| old.iter().all(|o| o.message != m.message)).collect();
    if !new.is_empty() {
        return Err(EditError::Wrong(new));
    }
    Ok(with_line_ends_of(text, after))
}

/// `new`, whose lines end in `\n`, with the line ends of `old` where all of its are `\r\n`.
pub fn with_line_ends_of(old: &str, new: String) -> String {
    let all_returns = old.contains("\r\n") && old.matches("\r\n").count() == old.matches('\n').count();
    if all_returns { new.replace('\n', "\r\n") } else { new }
}

/// The text as a document, with runs in tables of their own.
pub(super) fn parse(text: &str) -> Result<DocumentMut, EditError> {
    let mut document = text.parse::<DocumentMut>().map_err(|e| {
        let hint = "text stands in quotes, numbers stand without and with a point";
        EditError::Toml(Box::new(Mistake::at(text, e.span().unwrap_or(0..0), e.message().to_owned(), hint)))
    })?;
    // `runs = [{ … }]` says the same as `[[runs]]` and leaves no room for more.
    if let Some(runs) = document.get_mut("runs").filter(|r| r.is_value()) {
        let tables = std::mem::take(runs).into_array_of_tables().map_err(|_| EditError::Place("runs".to_owned()))?;
        *runs = Item::ArrayOfTables(tables);
    }
    Ok(document)
}

/// A value as a form shows it: text without quotes, all else as it is written.
pub fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        other => other.clone().decorated("", "").to_string(),
    }
}

/// The text with one value set, or taken out where nothing was typed.
pub(super) fn set(text: &str, path: &[String], typed: &str) -> Result<String, EditError> {
    let place = || EditError::Place(path.join("."));
    let (key, tables) = path.split_last().filter(|_| path.len() <= DEEPEST).ok_or_else(place)?;
    let mut document = parse(text)?;
    let old = find(document.as_table(), tables).and_then(|t| t.get(key)).and_then(Item::as_value).cloned();
    if old.as_ref().map(shown).unwrap_or_default() == typed {
        return Ok(text.to_owned());
    }
    // No form shows what a list holds: it is not written over unseen.
    if matches!(old, Some(Value::Array(_) | Value::InlineTable(_))) {
        return Err(EditError::List(path.join(".")));
    }
    if old.is_none()
        && let Some(uncommented) = commented::uncomment(text, path)
    {
        document = parse(&uncommented)?;
    }
    let table = reach(document.as_table_mut(), tables).ok_or_else(place)?;
    if typed.is_empty() {
        remove_key(table, key);
    } else if let Some(value) = table.get_mut(key).and_then(Item::as_value_mut) {
        let decor = value.decor().clone();
        *value = value_of(key, typed, old.as_ref());
        *value.decor_mut() = decor;
    } else if table.contains_key(key) {
        return Err(place());
    } else {
        table.insert(key, Item::Value(value_of(key, typed, None)));
    }
    Ok(document.to_string())
}

/// Takes a value out, and leaves the comment above it to the next.
fn remove_key(table: &mut dyn TableLike, key: &str) {
    let above = |table: &dyn TableLike, key: &str| {
        table.key(key).and_then(|k| k.leaf_decor().prefix()?.as_str().map(str::to_owned)).unwrap_or_default()
    };
    let comment = above(table, key);
    let next = table.iter().map(|(k, _)| k.to_owned()).skip_while(|k| k != key).nth(1);
    table.remove(key);
    if let Some(next) = next.filter(|_| comment.contains('#')) {
        let own = above(table, &next);
        if let Some(mut key) = table.key_mut(&next) {
            key.leaf_decor_mut().set_prefix(comment + &own);
        }
    }
}

/// What was typed as a TOML value: of the old value's kind where there is one, else by its look. Decimal commas are taken.
fn value_of(key: &str, typed: &str, old: Option<&Value>) -> Value {
    // `6,000` may be six thousand or six: it is left as text, for the reader to refuse.
    let ambiguous = typed.rsplit_once(',').is_some_and(|(_, after)| after.len() == 3);
    // `007` is a name.
    let named = typed.len() > 1 && typed.starts_with('0') && typed.bytes().all(|b| b.is_ascii_digit());
    let number = || {
        let plain = if ambiguous { typed.to_owned() } else { typed.replace(',', ".") };
        plain
            .parse::<Value>()
            .ok()
            .filter(|v| v.is_integer() || v.as_float().is_some_and(f64::is_finite))
            .or_else(|| plain.parse::<f64>().ok().filter(|n| n.is_finite()).map(Value::from))
    };
    let counts = old.is_some_and(|o| o.is_integer() || o.is_float()) || NUMBER_KEYS.iter().any(|k| key.ends_with(k));
    if TEXT_KEYS.contains(&key) || old.is_some_and(Value::is_str) || named && !counts {
        return Value::from(typed);
    }
    if key == "date" || old.is_some_and(Value::is_datetime) {
        return typed.parse::<toml_edit::Datetime>().map_or_else(|_| Value::from(typed), Value::from);
    }
    match typed {
        "true" => Value::from(true),
        "false" => Value::from(false),
        _ => number().map_or_else(|| Value::from(typed), |v| v.decorated(" ", "")),
    }
}

/// The table under `keys`; a number is a run's.
pub(super) fn find<'a>(root: &'a Table, keys: &[String]) -> Option<&'a dyn TableLike> {
    let mut table: &dyn TableLike = root;
    let mut keys = keys.iter();
    while let Some(key) = keys.next() {
        table = match table.get(key)? {
            Item::ArrayOfTables(runs) => runs.get(keys.next()?.parse().ok()?)?,
            item => item.as_table_like()?,
        };
    }
    Some(table)
}

/// The table under `keys`, made where it is not there: with a header of its own in a car, as dotted keys in a run.
fn reach<'a>(root: &'a mut Table, keys: &[String]) -> Option<&'a mut dyn TableLike> {
    let mut table: &mut dyn TableLike = root;
    let mut dotted = false;
    let mut keys = keys.iter();
    while let Some(key) = keys.next() {
        if !table.contains_key(key) {
            let mut new = Table::new();
            new.set_dotted(dotted);
            // A car without a key of its own needs no header above its motor's.
            new.set_implicit(!dotted);
            table.insert(key, Item::Table(new));
        }
        table = match table.get_mut(key)? {
            Item::ArrayOfTables(runs) => {
                dotted = true;
                runs.get_mut(keys.next()?.parse().ok()?)?
            }
            item => item.as_table_like_mut()?,
        };
    }
    Some(table)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    const SHEET: &str = "# mine\n[weekend]\nname = \"Here\" # where\n\n[cars.a]  # the touring car\nspur = 116\n# the big one\npinion = 31   # teeth\n\n[cars.a.motor]\n# timing_deg = 30\n\n# first\n[[runs]]\nid = \"r1\"\nlog = \"r1.csv\"\nmotor.timing_deg = 37\n\n# second\n[[runs]]\nid = \"r2\"\nlog = \"r2.csv\"\n";

    fn path(path: &str) -> Vec<String> {
        path.split('/').map(str::to_owned).collect()
    }

    fn set_one(place: &str, typed: &str) -> String {
        edit(SHEET, &[Edit::Set { path: path(place), text: typed.to_owned() }]).unwrap()
    }

    #[rstest]
    #[case("cars/a/pinion", "32", "pinion = 31   # teeth", "pinion = 32   # teeth")]
    #[case("cars/a/pinion", "31", "", "")]
    #[case("weekend/name", "2026", "\"Here\" # where", "\"2026\" # where")]
    #[case("cars/a/motor/timing_deg", "32,5", "# timing_deg = 30", "timing_deg = 32.5")]
    #[case("runs/0/motor/timing_deg", "", "motor.timing_deg = 37\n", "")]
    #[case("runs/1/motor/timing_deg", "38", "log = \"r2.csv\"\n", "log = \"r2.csv\"\nmotor.timing_deg = 38\n")]
    #[case("runs/1/wing", "low", "log = \"r2.csv\"\n", "log = \"r2.csv\"\nwing = \"low\"\n")]
    #[case("weekend/date", "2026-05-16", "name = \"Here\" # where\n", "name = \"Here\" # where\ndate = 2026-05-16\n")]
    fn a_value_changes_and_nothing_else(
        #[case] place: &str,
        #[case] typed: &str,
        #[case] old: &str,
        #[case] new: &str,
    ) {
        assert_eq!(set_one(place, typed), SHEET.replacen(old, new, 1));
    }

    #[test]
    fn tables_are_made_where_they_are_missing() {
        let text = set_one("cars/a/battery/cells", "2");
        assert_eq!(read::read(&text).unwrap().cars["a"].number("battery.cells"), Some(2.0));
        let text = edit("", &[Edit::AddCar("pan".to_owned()), Edit::AddRun(vec![("log".into(), "x.csv".into())])]);
        let sheet = read::read(&text.unwrap()).unwrap();
        assert_eq!((sheet.cars.len(), sheet.runs[0].car.as_str(), sheet.runs[0].id.as_str()), (1, "pan", "x"));
    }

    #[test]
    fn runs_come_and_go_with_their_comments() {
        let run = vec![("id".into(), "r3".into()), ("log".into(), "r3.csv".into()), ("pinion".into(), "30".into())];
        let text = edit(SHEET, &[Edit::AddRun(run), Edit::RemoveRun(0)]).unwrap();
        assert!(text.contains("# second\n[[runs]]\nid = \"r2\"") && !text.contains("r1.csv"), "{text}");
        assert!(text.ends_with("\n[[runs]]\nid = \"r3\"\nlog = \"r3.csv\"\npinion = 30\n"), "{text}");
    }

    #[test]
    fn a_second_car_stands_below_the_comments_of_the_first() {
        let text = "[cars.a]\nspur = 1\n[cars.a.limits]\nmotor_c = 100\n# esc_c = 90\n# cell_v = 3.2\n\n# first\n[[runs]]\nlog = \"x.csv\"\n";
        let new = edit(text, &[Edit::AddCar("b c".to_owned())]).unwrap();
        assert!(new.contains("# cell_v = 3.2\n\n[cars.\"b c\"]\n\n# first\n[[runs]]"), "{new}");
    }

    #[test]
    fn a_list_is_not_written_over_and_zeros_in_front_make_a_name() {
        let set = |text: &str, place: &str, typed: &str| {
            edit(text, &[Edit::Set { path: path(place), text: typed.to_owned() }])
        };
        assert!(set("[cars.a]\ntags = [\"a\", \"b\"]\n", "cars/a/tags", "x").is_err());
        assert!(set("[cars.a]\naero = { wing = 3 }\n", "cars/a/aero", "x").is_err());
        assert!(set("[cars.a]\nspur = 1\n", "cars/a/tyre_set", "007").unwrap().contains("tyre_set = \"007\""));
    }

    #[test]
    fn a_second_car_leaves_the_runs_with_the_first() {
        let sheet = read::read(&edit(SHEET, &[Edit::AddCar("b".to_owned())]).unwrap()).unwrap();
        assert!(sheet.runs.iter().all(|r| r.car == "a" && r.mistake.is_none()));
    }

    #[rstest]
    // A comment of the user's own is no line to be filled in.
    #[case(
        "[cars.a]\nspur = 1\n[cars.a.motor]\n# turns = 13.5 # the old wind\npoles = 2\n",
        "cars/a/motor/turns",
        "8.5",
        "[cars.a]\nspur = 1\n[cars.a.motor]\n# turns = 13.5 # the old wind\npoles = 2\nturns = 8.5\n"
    )]
    #[case(
        "[cars.a]\nspur = 1\n# motor.turns = 10.5\n[cars.a.motor]\npoles = 2\n",
        "cars/a/motor/turns",
        "8.5",
        "[cars.a]\nspur = 1\n# motor.turns = 10.5\n[cars.a.motor]\npoles = 2\nturns = 8.5\n"
    )]
    #[case(
        "[cars.a]\n# of the maker\nspur = 100\npinion = 30\n",
        "cars/a/spur",
        "",
        "[cars.a]\n# of the maker\npinion = 30\n"
    )]
    #[case("cars.a = { spur = 100 }\n", "cars/a/spur", "101", "cars.a = { spur = 101 }\n")]
    #[case(
        "[cars.a]\nspur = 100\n",
        "cars/a/battery/capacity_mah",
        "6000,5",
        "[cars.a]\nspur = 100\n\n[cars.a.battery]\ncapacity_mah = 6000.5\n"
    )]
    fn odd_sheets(#[case] text: &str, #[case] place: &str, #[case] typed: &str, #[case] new: &str) {
        let text = text.replace("= 1\n", "= 100\n");
        let set = edit(&text, &[Edit::Set { path: path(place), text: typed.to_owned() }]).unwrap();
        assert_eq!(set, new.replace("= 1\n", "= 100\n"));
    }

    #[test]
    fn runs_in_one_line_are_runs() {
        let text = "[cars.a]\nspur = 100\n".to_owned();
        let text = format!("runs = [{{ log = \"a.csv\" }}]\n{text}");
        let new = edit(&text, &[Edit::AddRun(vec![("log".into(), "b.csv".into())])]).unwrap();
        assert_eq!(read::read(&new).unwrap().runs.len(), 2, "{new}");
    }

    #[test]
    fn a_heading_stays_when_its_run_goes() {
        let text = SHEET.replace("# first", "# ===== Saturday =====");
        let new = edit(&text, &[Edit::RemoveRun(0)]).unwrap();
        assert!(new.contains("# ===== Saturday =====\n# second\n[[runs]]\nid = \"r2\""), "{new}");
        let last = edit(&text, &[Edit::RemoveRun(1)]).unwrap();
        assert!(last.ends_with("\n# second\n"), "{last}");
    }

    #[test]
    fn a_path_too_deep_is_refused() {
        let path = vec!["a".to_owned(); 60_000];
        assert!(matches!(edit("", &[Edit::Set { path, text: "1".into() }]), Err(EditError::Place(_))));
    }

    #[rstest]
    #[case("cars/a/battery/capacity_mah", "6,000")]
    #[case("cars/a/pinion", "3")]
    #[case("cars/a/pinion", "three")]
    #[case("runs/1/id", "r1")]
    #[case("runs/1/log", "../x.csv")]
    #[case("runs/1/car", "b")]
    fn what_the_reader_would_refuse_is_not_written(#[case] place: &str, #[case] typed: &str) {
        let refused = edit(SHEET, &[Edit::Set { path: path(place), text: typed.to_owned() }]);
        assert!(matches!(refused, Err(EditError::Wrong(_))), "{refused:?}");
    }

    #[test]
    fn line_ends_and_a_quote_in_a_name_survive() {
        let text = SHEET.replace('\n', "\r\n");
        let new = edit(&text, &[Edit::Set { path: path("weekend/name"), text: "a \"b\" <c>".to_owned() }]).unwrap();
        assert_eq!(read::read(&new).unwrap().name.as_deref(), Some("a \"b\" <c>"));
        assert_eq!(new.matches("\r\n").count(), new.matches('\n').count());
        assert_eq!(new.matches('\n').count(), text.matches('\n').count());
    }

    #[test]
    fn a_starter_sheet_fills_its_commented_lines() {
        let text = super::super::starter::starter("x", &[("r1".into(), "r1.csv".into(), None)]);
        let new = edit(
            &text,
            &[
                Edit::Set { path: path("cars/car/pinion"), text: "31".into() },
                Edit::Set { path: path("cars/car/battery/cells"), text: "1".into() },
                Edit::Set { path: path("runs/0/ambient_c"), text: "21".into() },
            ],
        )
        .unwrap();
        assert_eq!(new.lines().count(), text.lines().count());
        assert!(new.contains("\npinion = 31\n") && new.contains("\nambient_c = 21            # air, °C\n"), "{new}");
    }
}
