//! The sheet's file as it is written, with the user's comments and order kept (`toml_edit`): where each value is.

use toml_edit::{DocumentMut, Item, Table, TableLike, Value};

use super::keys::{Key, Table as SheetTable};
use super::mistake::Mistake;
use super::syntax;

/// Why edits were not made.
#[derive(Debug, thiserror::Error)]
pub enum EditError {
    /// The sheet as it is cannot be read, or could not be after the edit.
    #[error("{}", .0.brief())]
    Toml(Box<Mistake>),
    /// The edit would put something wrong on the sheet.
    #[error("{}", .0.iter().map(Mistake::brief).collect::<Vec<_>>().join("; "))]
    Wrong(Vec<Mistake>),
    /// A path leads to a list or a table in one line.
    #[error("`{0}` holds a list: change it in the sheet's text")]
    List(String),
    /// A path does not lead to a value.
    #[error("the sheet has no place for `{0}`")]
    Place(String),
}

/// The text as a document.
///
/// # Errors
/// The first place that is not TOML.
pub fn document(keys: &[Key], text: &str) -> Result<DocumentMut, Box<Mistake>> {
    let said = |e: toml_edit::TomlError| syntax::mistake(keys, text, e.span().unwrap_or(0..0), e.message());
    text.parse::<DocumentMut>().map_err(|e| Box::new(said(e)))
}

/// The text as a document, with runs in tables of their own.
pub(super) fn parse(keys: &[Key], text: &str) -> Result<DocumentMut, EditError> {
    let mut document = document(keys, text).map_err(EditError::Toml)?;
    // `runs = [{ … }]` says the same as `[[runs]]` and leaves no room for more.
    let name = SheetTable::Run.name();
    if let Some(runs) = document.get_mut(name).filter(|r| r.is_value()) {
        let tables = std::mem::take(runs).into_array_of_tables().map_err(|_| EditError::Place(name.to_owned()))?;
        *runs = Item::ArrayOfTables(tables);
    }
    Ok(document)
}

/// `new`, whose lines end in `\n`, with the line ends of `old` where all of its are `\r\n`.
pub fn with_line_ends_of(old: &str, new: String) -> String {
    let all_returns = old.contains("\r\n") && old.matches("\r\n").count() == old.matches('\n').count();
    if all_returns { new.replace('\n', "\r\n") } else { new }
}

/// A value as a form shows it: text without quotes, all else as it is written.
pub fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        other => other.clone().decorated("", "").to_string(),
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
pub(super) fn reach<'a>(root: &'a mut Table, keys: &[String]) -> Option<&'a mut dyn TableLike> {
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
