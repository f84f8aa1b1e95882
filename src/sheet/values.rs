//! One value of the sheet's text set as it was typed, or taken out, with the comments around it kept.

use toml_edit::{Item, TableLike, Value};

use super::commented;
use super::document::{EditError, find, parse, reach, shown};
use super::keys::{Key, Kind, find_by_place};

/// Keys that a path may have: `cars`, a car, a table of it and a key are four.
const DEEPEST: usize = 8;

/// The text with one value set, or taken out where nothing was typed.
pub(super) fn set(keys: &[Key], text: &str, path: &[String], typed: &str) -> Result<String, EditError> {
    let no_place = || EditError::Place(path.join("."));
    let (name, tables) = path.split_last().filter(|_| path.len() <= DEEPEST).ok_or_else(no_place)?;
    let mut document = parse(keys, text)?;
    let old = find(document.as_table(), tables).and_then(|t| t.get(name)).and_then(Item::as_value).cloned();
    if old.as_ref().map(shown).unwrap_or_default() == typed {
        return Ok(text.to_owned());
    }
    // No form shows what a list holds: it is not written over unseen.
    if matches!(old, Some(Value::Array(_) | Value::InlineTable(_))) {
        return Err(EditError::List(path.join(".")));
    }
    if old.is_none()
        && let Some(uncommented) = commented::uncomment(keys, text, path)
    {
        document = parse(keys, &uncommented)?;
    }
    let table = reach(document.as_table_mut(), tables).ok_or_else(no_place)?;
    let new = || value_of(keys, path, typed, old.as_ref());
    if typed.is_empty() {
        remove_key(table, name);
    } else if let Some(value) = table.get_mut(name).and_then(Item::as_value_mut) {
        let decor = value.decor().clone();
        *value = new();
        *value.decor_mut() = decor;
    } else if table.contains_key(name) {
        return Err(no_place());
    } else {
        table.insert(name, Item::Value(new()));
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

/// What was typed as a TOML value: of the key's kind; for a key of the user's own of the old value's kind, or by its
/// look.
fn value_of(keys: &[Key], path: &[String], typed: &str, old: Option<&Value>) -> Value {
    let text = || Value::from(typed);
    match find_by_place(keys, path).map(|k| k.kind) {
        Some(Kind::Number { .. }) => number(typed).unwrap_or_else(text),
        Some(Kind::Date) => date(typed),
        Some(Kind::Choice(_) | Kind::Text(_) | Kind::Name | Kind::Car | Kind::File) => text(),
        None if old.is_some_and(Value::is_str) => text(),
        None if old.is_some_and(Value::is_datetime) => date(typed),
        None => by_look(keys, path, typed, old),
    }
}

/// The value of a key of the user's own.
fn by_look(keys: &[Key], path: &[String], typed: &str, old: Option<&Value>) -> Value {
    // `007` is a name, but where the key counts or measures something.
    let zero_in_front = typed.len() > 1 && typed.starts_with('0') && typed.bytes().all(|b| b.is_ascii_digit());
    let counts = old.is_some_and(|o| o.is_integer() || o.is_float()) || named_like_a_number(keys, path);
    match typed {
        "true" => Value::from(true),
        "false" => Value::from(false),
        _ if zero_in_front && !counts => Value::from(typed),
        _ => number(typed).unwrap_or_else(|| Value::from(typed)),
    }
}

/// Whether the key ends as that of a known number does: in a unit (`wing_mm`), or in what is counted (`front_spur`).
fn named_like_a_number(keys: &[Key], path: &[String]) -> bool {
    let end = |path: &str| path.rsplit(['.', '_']).next().map(str::to_owned);
    let own = path.last().and_then(|p| end(p));
    keys.iter().any(|k| matches!(k.kind, Kind::Number { .. }) && end(k.path) == own)
}

fn date(typed: &str) -> Value {
    typed.parse::<toml_edit::Datetime>().map_or_else(|_| Value::from(typed), Value::from)
}

/// The number that was typed; decimal commas are taken.
fn number(typed: &str) -> Option<Value> {
    // `6,000` may be six thousand or six: it is left as text, for the reader to refuse.
    let ambiguous = typed.rsplit_once(',').is_some_and(|(_, after)| after.len() == 3);
    let plain = if ambiguous { typed.to_owned() } else { typed.replace(',', ".") };
    plain
        .parse::<Value>()
        .ok()
        .filter(|v| v.is_integer() || v.as_float().is_some_and(f64::is_finite))
        .or_else(|| plain.parse::<f64>().ok().filter(|n| n.is_finite()).map(Value::from))
        .map(|v| v.decorated(" ", ""))
}
