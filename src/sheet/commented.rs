//! Lines of a starter sheet that wait in a comment to be filled in.

use toml_edit::DocumentMut;

use super::document::find;
use super::keys::{Key, Table};
use super::starter::has_waiting_line;

/// The text with the line of the path's key taken out of its comment, where it is one that a starter sheet has; `None`
/// where there is none.
pub(super) fn uncomment(keys: &[Key], text: &str, path: &[String]) -> Option<String> {
    let mut lines: Vec<String> = text.split('\n').map(str::to_owned).collect();
    let (last, inner) = path.split_last()?;
    // In a run a key of the car's tables is written with its dots.
    let (table, key) = match path {
        [runs, _, key @ ..] if runs == Table::Run.name() => (&path[..2], key.join(".")),
        _ => (inner, last.clone()),
    };
    let head = header(&lines, table)?;
    let is_key = |line: &str| line.split('=').next().is_some_and(|k| k.trim() == key);
    let section = lines[head + 1..].iter().take_while(|l| !l.trim_start().starts_with('['));
    let found = section.enumerate().find_map(|(number, line)| {
        let rest = line.strip_prefix("# ").filter(|rest| is_key(rest))?;
        has_waiting_line(keys, line).then(|| (number, rest.to_owned()))
    });
    let (number, line) = found?;
    lines[head + 1 + number] = line;
    let new = lines.join("\n");
    // What looks like a comment may be a line of a longer text.
    let document = new.parse::<DocumentMut>().ok()?;
    find(document.as_table(), inner)?.get(last)?.is_value().then_some(new)
}

/// Whether a run on a starter sheet has this line in a comment, to be filled in.
pub(super) fn is_waiting_in_run(keys: &[Key], line: &str) -> bool {
    has_waiting_line(keys, line)
}

/// Line of the header of a table, or of the run with its number.
fn header(lines: &[String], table: &[String]) -> Option<usize> {
    let plain = |line: &str| line.split('#').next().unwrap_or_default().replace([' ', '\t'], "");
    match table {
        [runs, number] if runs == Table::Run.name() => {
            let number: usize = number.parse().ok()?;
            lines.iter().enumerate().filter(|l| plain(l.1) == Table::Run.heading()).nth(number).map(|l| l.0)
        }
        _ => {
            let wanted = format!("[{}]", table.join("."));
            lines.iter().position(|l| plain(l) == wanted)
        }
    }
}
