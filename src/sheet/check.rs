//! Values of the sheet, each checked against its key: what may be used is returned, what is wrong is gathered.

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::keys::{self, Key, Kind, Table, find_in, of_table};
use super::mistake::Mistakes;
use super::{Setting, Settings};
use crate::notice::printable;
use crate::units::table::has_one_unit;
use crate::units::{Written, WrittenError, number_in};

/// Slips of the pen within which an unknown key is taken for a known one that was misspelt.
const LIKELY_SLIPS: usize = 1;

/// The value as a finite number.
pub(super) fn number_of(value: &DeValue) -> Option<f64> {
    let number = match value {
        DeValue::Integer(i) => i64::from_str_radix(&i.as_str().replace('_', ""), i.radix()).ok()? as f64,
        DeValue::Float(f) => f.as_str().replace('_', "").parse().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}

/// What a number may be.
pub(super) struct Bounds<'a> {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) whole: bool,
    pub(super) unit: &'a str,
}

impl std::fmt::Display for Bounds<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} to {}", self.low, self.high)?;
        if self.unit.is_empty() { Ok(()) } else { write!(f, " {}", self.unit) }
    }
}

/// The number under the key `name`, if it is within its bounds.
pub(super) fn number(value: &Spanned<DeValue>, name: &str, bounds: &Bounds, mistakes: &mut Mistakes) -> Option<f64> {
    setting(value, name, bounds, mistakes).and_then(|setting| setting.as_number())
}

/// The number under the key `name`, if it is within its bounds, with its unit where it carries one.
fn setting(value: &Spanned<DeValue>, name: &str, bounds: &Bounds, mistakes: &mut Mistakes) -> Option<Setting> {
    let read = match value.get_ref() {
        DeValue::String(text) => with_unit(text, name, bounds),
        other => number_of(other).map(Setting::Number).ok_or_else(|| not_a_number(name, bounds)),
    };
    match read.and_then(|setting| within(setting, name, bounds)) {
        Ok(setting) => Some(setting),
        Err(Wrong { message, hint }) => {
            mistakes.add(value.span(), message, hint);
            None
        }
    }
}

/// What is wrong with a value, and what would be right.
struct Wrong {
    message: String,
    hint: String,
}

fn not_a_number(name: &str, bounds: &Bounds) -> Wrong {
    let how = if has_one_unit(bounds.unit) {
        " without quotes, unit or thousands separator"
    } else {
        " without a thousands separator; one with its unit goes in quotes"
    };
    let hint = format!("write a number ({bounds}){how}");
    Wrong { message: format!("`{name}` is not a number"), hint }
}

/// The number in a text, which carries its unit.
fn with_unit(text: &str, name: &str, bounds: &Bounds) -> Result<Setting, Wrong> {
    match number_in(text, bounds.unit) {
        Ok(Written { value, unit: Some(_) }) => Ok(Setting::WithUnit { value, written: text.trim().to_owned() }),
        Ok(Written { unit: None, .. }) | Err(WrittenError::NotANumber(_)) => Err(not_a_number(name, bounds)),
        // Of a number without a unit nothing but the digits can be meant.
        Err(WrittenError::UnknownUnit { wanted: None, .. }) => Err(not_a_number(name, bounds)),
        Err(why) => Err(Wrong { message: format!("`{name}` is {why}"), hint: why.hint(bounds.unit) }),
    }
}

fn within(setting: Setting, name: &str, bounds: &Bounds) -> Result<Setting, Wrong> {
    let number = setting.as_number().unwrap_or(f64::NAN);
    let shown = match &setting {
        Setting::WithUnit { written, .. } => {
            format!("`{}` ({})", printable(written, 40), keys::with_unit(&number.to_string(), bounds.unit))
        }
        _ => number.to_string(),
    };
    if bounds.whole && number.fract() != 0.0 {
        let message = format!("`{name}` is {shown}, which is not a whole number");
        return Err(Wrong { message, hint: format!("write a whole number ({bounds})") });
    }
    if !(bounds.low..=bounds.high).contains(&number) {
        let message = format!("`{name}` is {shown}, which is not possible");
        let check = if bounds.unit.is_empty() { "" } else { "; check the unit" };
        return Err(Wrong { message, hint: format!("{bounds} is possible{check}") });
    }
    Ok(setting)
}

/// The text under the key `name`.
fn text(value: &Spanned<DeValue>, name: &str, mistakes: &mut Mistakes) -> Option<String> {
    if let DeValue::String(text) = value.get_ref() {
        return Some(text.to_string());
    }
    mistakes.add(value.span(), format!("`{name}` is not text"), "put it in quotes");
    None
}

fn choice(value: &Spanned<DeValue>, name: &str, words: &[&str], mistakes: &mut Mistakes) -> Option<String> {
    let written = text(value, name, mistakes)?;
    let chosen = written.trim().to_lowercase();
    if words.contains(&chosen.as_str()) {
        return Some(chosen);
    }
    let hint = format!("write `\"{}\"`", words.join("\"` or `\""));
    let message = format!("`{name}` is `{}`, which is not one of its values", printable(&written, 40));
    mistakes.add(value.span(), message, hint);
    None
}

/// A date as it is written. Text that does not look like one is kept: somebody's "second of May" is of use to people.
fn date(value: &Spanned<DeValue>, name: &str, mistakes: &mut Mistakes) -> Option<String> {
    let hint = "write the date as `2026-05-16`, without quotes";
    match value.get_ref() {
        DeValue::Datetime(date) => Some(date.to_string()),
        DeValue::String(text) => {
            let looks = text.starts_with(|c: char| c.is_ascii_digit()) && text.parse::<jiff::civil::Date>().is_err();
            if looks {
                let message = format!("`{name}` is `{}`, which is not a date", printable(text, 40));
                mistakes.add(value.span(), message, hint);
            }
            Some(text.to_string())
        }
        _ => {
            mistakes.add(value.span(), format!("`{name}` is not a date"), hint);
            None
        }
    }
}

/// Any plain value as it is written.
fn plain(value: &DeValue) -> Option<Setting> {
    match value {
        DeValue::String(text) => Some(Setting::Text(text.to_string())),
        DeValue::Boolean(flag) => Some(Setting::Flag(*flag)),
        DeValue::Datetime(date) => Some(Setting::Text(date.to_string())),
        other => number_of(other).map(Setting::Number),
    }
}

fn known(key: &Key, value: &Spanned<DeValue>, mistakes: &mut Mistakes) -> Option<Setting> {
    let name = key.path;
    match key.kind {
        Kind::Number { low, high, whole } => {
            setting(value, name, &Bounds { low, high, whole, unit: key.unit }, mistakes)
        }
        Kind::Choice(words) => choice(value, name, words, mistakes).map(Setting::Text),
        Kind::Text(_) | Kind::Car | Kind::File => text(value, name, mistakes).map(Setting::Text),
        Kind::Date => date(value, name, mistakes).map(Setting::Text),
        Kind::Name => plain(value.get_ref()),
    }
}

/// The settings of a table that the sheet has once; it has no keys of the user's own.
pub(super) fn single(keys: &[Key], table: &DeTable, place: Table, mistakes: &mut Mistakes) -> Settings {
    let mut settings = Settings::default();
    for (key, value) in table.iter() {
        let name: &str = key.get_ref();
        match of_table(keys, place).find(|k| k.path == name) {
            Some(known_key) => {
                settings.0.extend(known(known_key, value, mistakes).map(|s| (name.to_owned(), s)));
            }
            None => unknown_in_single(keys, key, place, mistakes),
        }
    }
    settings
}

fn unknown_in_single(keys: &[Key], key: &Spanned<DeString>, place: Table, mistakes: &mut Mistakes) {
    let name: &str = key.get_ref();
    let own: Vec<&str> = of_table(keys, place).map(|k| k.path).collect();
    let elsewhere = keys.iter().find(|k| k.path == name);
    let near = own.iter().find(|k| strsim::osa_distance(k, name) <= LIKELY_SLIPS);
    let hint = if let Some(near) = near {
        format!("did you mean `{near}`?")
    } else if let Some(elsewhere) = elsewhere {
        format!("it belongs below `{}`", elsewhere.table.heading())
    } else {
        format!("keys of `{}` are `{}`", place.heading(), own.join("`, `"))
    };
    let message = format!("`{}` is not a key of `{}`", printable(name, 40), place.heading());
    mistakes.add(key.span(), message, hint);
    near.iter().for_each(|near| mistakes.meant(near));
}

/// The settings of a car or a run under their dotted paths; keys of the user's own are carried along.
pub(super) fn settings(keys: &[Key], table: &DeTable, place: Table, mistakes: &mut Mistakes) -> Settings {
    let mut settings = Settings::default();
    gather(keys, table, Below { place, prefix: "" }, &mut settings, mistakes);
    settings
}

/// Where a nested table is: under a car or a run, and its path in front of its keys.
#[derive(Clone, Copy)]
struct Below<'a> {
    place: Table,
    prefix: &'a str,
}

fn gather(keys: &[Key], table: &DeTable, below: Below, settings: &mut Settings, mistakes: &mut Mistakes) {
    for (key, value) in table.iter() {
        let path = format!("{}{}", below.prefix, key.get_ref());
        if let DeValue::Table(inner) = value.get_ref() {
            let below = Below { prefix: &format!("{path}."), ..below };
            gather(keys, inner, below, settings, mistakes);
        } else if let Some(setting) = car_or_run(keys, &path, below.place, (key, value), mistakes) {
            settings.0.insert(path, setting);
        }
    }
}

fn car_or_run(
    keys: &[Key],
    path: &str,
    place: Table,
    (key, value): (&Spanned<DeString>, &Spanned<DeValue>),
    mistakes: &mut Mistakes,
) -> Option<Setting> {
    match find_in(keys, path).filter(|k| matches!(k.table, Table::Car | Table::Run)) {
        // A value of the run that cannot be used does not stand for the car's.
        Some(found) if found.table == Table::Car || place == Table::Run => {
            let refused = || Some(Setting::Refused(plain(value.get_ref())?.to_string()));
            known(found, value, mistakes).or_else(refused)
        }
        // A car may have an `id` or a `note` of its own; a number of the run would be expected to work and does not.
        Some(found) if matches!(found.kind, Kind::Number { .. }) => {
            let hint = format!("move it to a run, below `{}`", found.table.heading());
            mistakes.add(key.span(), format!("`{path}` does nothing under `{}`", place.heading()), hint);
            plain(value.get_ref())
        }
        Some(_) => plain(value.get_ref()),
        None => {
            near_miss(keys, key, path, mistakes);
            plain(value.get_ref())
        }
    }
}

/// A key that is one slip away from a known one is likely meant to be it. Names and notes are too short to be guessed.
fn near_miss(keys: &[Key], key: &Spanned<DeString>, path: &str, mistakes: &mut Mistakes) {
    let last = |path: &str| path.rsplit('.').next().unwrap_or(path).to_owned();
    let near = |k: &&Key| {
        matches!(k.table, Table::Car | Table::Run)
            && matches!(k.kind, Kind::Number { .. } | Kind::Choice(_))
            && strsim::osa_distance(&last(k.path), &last(path)) <= LIKELY_SLIPS
    };
    if let Some(near) = keys.iter().find(near) {
        let hint = format!("did you mean `{}`? It is kept as a setting of your own", near.path);
        mistakes.add(key.span(), format!("`{}` is not a known key", printable(path, 40)), hint);
        mistakes.meant(near.path);
    }
}
