//! A starter `weekend.toml` for a folder of logs: every key, the unknown ones in a comment with what they answer.

use std::path::Path;

use super::keys::{DEFAULT_RACE_S, KEYS, Key, Kind, Table, UNITS, of_car, of_run, of_table};
use crate::units::Units;

/// Name of the car on a starter sheet.
pub const CAR: &str = "car";
/// Column in which the remark behind a value starts.
const REMARK_COLUMN: usize = 36;

const HEAD: &str =
    "# Setup sheet. Fill in what you know and take the # in front of it away: each line gets you more answers.\n";

/// A run on a starter sheet, with paths from the weekend's folder.
#[derive(Debug, Clone, PartialEq)]
pub struct StarterRun {
    /// Its id.
    pub id: String,
    /// Its log.
    pub log: String,
    /// Its lap list, where there is one.
    pub laps: Option<String>,
}

/// The text of a starter sheet of the weekend `name`, whose pages show these `units`.
pub fn starter(name: &str, runs: &[StarterRun], units: Units) -> String {
    starter_with(KEYS, name, CAR, runs, units)
}

/// The text of a starter sheet with other keys than [`KEYS`], and another name of the `car`.
pub fn starter_with(keys: &[Key], name: &str, car_name: &str, runs: &[StarterRun], units: Units) -> String {
    let mut text = HEAD.to_owned();
    for table in Table::SINGLE {
        text += &format!("\n{}\n", table.heading());
        for key in of_table(keys, table) {
            text += &match key.full_path().as_str() {
                "weekend.name" => filled(key, &quoted(name)),
                "race.length_s" => {
                    format!("{}\n", with_remark(&format!("{} = {DEFAULT_RACE_S}", key.path), &remark(key, table)))
                }
                UNITS if units != Units::default() => filled(key, &quoted(units.name())),
                _ => waiting(key, Table::Car),
            };
        }
    }
    text += &car(keys, car_name);
    for run in runs {
        text += &format!("\n{}\n", Table::Run.heading());
        for key in of_run(keys) {
            let value = match key.path {
                "id" => Some(&run.id),
                "log" => Some(&run.log),
                "laps" => run.laps.as_ref(),
                _ => None,
            };
            text += &match value {
                Some(value) => filled(key, &quoted(value)),
                None if key.kind == Kind::Car => filled(key, &quoted(car_name)),
                None => waiting(key, Table::Run),
            };
        }
    }
    text
}

/// Whether a starter sheet has this line in a comment, to be filled in: with the example alone, or with its remark.
pub(super) fn has_waiting_line(keys: &[Key], line: &str) -> bool {
    let line = line.trim_end();
    let is_of = |key: &Key, table: Table| {
        let waiting = waiting_in(key, table);
        line == waiting.trim_end() || line == format!("# {} = {}", last(key), key.example)
    };
    keys.iter().any(|k| is_of(k, Table::Car)) || of_run(keys).any(|k| is_of(k, Table::Run))
}

/// The car's table and those in it, such as `[cars.car.motor]`, in the order of their first keys.
fn car(keys: &[Key], name: &str) -> String {
    let inner = |key: &Key| key.path.rsplit_once('.').map_or("", |(table, _)| table);
    let mut tables: Vec<&str> = Vec::new();
    for key in of_car(keys) {
        if !tables.contains(&inner(key)) {
            tables.push(inner(key));
        }
    }
    let mut text = String::new();
    for table in tables {
        let dot = if table.is_empty() { "" } else { "." };
        text += &format!("\n[{}.{}{dot}{table}]\n", Table::Car.name(), toml_edit::Key::new(name));
        text.extend(of_car(keys).filter(|k| inner(k) == table).map(|k| waiting(k, Table::Car)));
    }
    text
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// The last part of the key's path: below its own heading a key is written without the table in front.
fn last(key: &Key) -> &str {
    key.path.rsplit('.').next().unwrap_or(key.path)
}

fn filled(key: &Key, value: &str) -> String {
    format!("{} = {value}\n", key.path)
}

fn waiting(key: &Key, table: Table) -> String {
    format!("{}\n", waiting_in(key, table))
}

/// The key's line in a comment, as it is written in a run or in its own table.
fn waiting_in(key: &Key, table: Table) -> String {
    let path = if table == Table::Run { key.path } else { last(key) };
    with_remark(&format!("# {path} = {}", key.example), &remark(key, table))
}

fn with_remark(line: &str, words: &str) -> String {
    if words.is_empty() { line.to_owned() } else { format!("{line:REMARK_COLUMN$}# {words}") }
}

fn remark(key: &Key, table: Table) -> String {
    if table == Table::Run && key.table == Table::Car {
        return format!("{}, if it is not the car's; any key of the car may be here", key.label);
    }
    let joined =
        |parts: &[&str], by: &str| parts.iter().copied().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(by);
    // Where the key's name says what the label does, once is enough.
    let label = if last(key).replace('_', " ").starts_with(key.label) { "" } else { key.label };
    let words = match key.kind {
        Kind::Choice(words) | Kind::Text(words) => words.join(" or "),
        _ => String::new(),
    };
    joined(&[&joined(&[label, key.unit], ", "), &joined(&[&words, key.answers], "; ")], ": ")
}

/// Name of a weekend from its folder.
pub fn name_of(folder: &Path) -> String {
    folder
        .canonicalize()
        .ok()
        .and_then(|p| p.file_name().map(|n| n.to_string_lossy().into_owned()))
        .unwrap_or_else(|| "weekend".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::read::read;

    #[test]
    fn a_starter_sheet_reads_and_so_does_one_with_every_line_filled_in() {
        let run = StarterRun { id: "r1".into(), log: "logs/r1.csv".into(), laps: None };
        let text = starter("Spring \"Round\"", &[run], Units::Metric);
        let sheet = read(&text).unwrap();
        assert_eq!(
            (sheet.name.as_deref(), sheet.race_s, &sheet.mistakes[..]),
            (Some("Spring \"Round\""), Some(300.0), &[][..])
        );
        assert_eq!(sheet.runs[0].mistake, None);
        let lines = text.lines().map(|l| l.strip_prefix("# ").filter(|l| l.contains(" = ")).unwrap_or(l));
        let full = read(&lines.collect::<Vec<_>>().join("\n")).unwrap();
        assert_eq!(full.mistakes, []);
        for key in KEYS {
            let single = full.stated.0.contains_key(&key.full_path());
            let in_run = matches!(key.path, "id" | "car" | "log") || full.runs[0].states(key);
            assert!(single || in_run, "{}", key.path);
        }
        insta::assert_snapshot!(text);
    }
}
