//! Lines of a starter sheet that wait in a comment to be filled in.

use toml_edit::DocumentMut;

use super::edit::find;
use super::starter;

/// The text with the line of the path's key taken out of its comment, where it is one that a starter sheet has; `None` where there is none.
pub fn uncomment(text: &str, path: &[String]) -> Option<String> {
    let mut lines: Vec<String> = text.split('\n').map(str::to_owned).collect();
    let (key, table) = path.split_last()?;
    let head = header(&lines, table)?;
    let is_key = |line: &str| line.split('=').next().is_some_and(|k| k.trim() == key);
    let section = lines[head + 1..].iter().take_while(|l| !l.trim_start().starts_with('['));
    let found = section.enumerate().find_map(|(at, line)| {
        let rest = line.strip_prefix("# ").filter(|rest| is_key(rest))?;
        starter::has_line(line).then(|| (at, rest.to_owned()))
    });
    let (at, line) = found?;
    lines[head + 1 + at] = line;
    let new = lines.join("\n");
    // What looks like a comment may stand in a text of several lines.
    let document = new.parse::<DocumentMut>().ok()?;
    find(document.as_table(), table)?.get(key)?.is_value().then_some(new)
}

/// Line of the header of a table, or of the run with its number.
fn header(lines: &[String], table: &[String]) -> Option<usize> {
    let plain = |line: &str| line.split('#').next().unwrap_or_default().replace([' ', '\t'], "");
    match table {
        [runs, number] if runs == "runs" => {
            let number: usize = number.parse().ok()?;
            lines.iter().enumerate().filter(|l| plain(l.1) == "[[runs]]").nth(number).map(|l| l.0)
        }
        _ => {
            let wanted = format!("[{}]", table.join("."));
            lines.iter().position(|l| plain(l) == wanted)
        }
    }
}
