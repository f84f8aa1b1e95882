//! The sheet's last versions, kept when the page writes a new one.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};

use crate::folder::SHEET;
use crate::serve::folder::own::{OWN, SHEETS};
use crate::storage::write_whole;

/// Versions kept.
const MOST: usize = 20;

/// An earlier version of the sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Version {
    /// Name of its file.
    pub name: String,
    /// In how many lines it differs from the sheet.
    pub changed_lines: usize,
}

impl Version {
    /// How much it differs from the sheet, in words.
    pub fn difference(&self) -> String {
        match self.changed_lines {
            0 => "the same as the sheet now".to_owned(),
            1 => "differs in 1 line".to_owned(),
            lines => format!("differs in {lines} lines"),
        }
    }
}

fn place(folder: &Path) -> PathBuf {
    folder.join(OWN).join(SHEETS)
}

/// Names of the versions kept, the newest first.
pub fn versions(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(place(folder)).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .filter(|e| e.file_type().is_ok_and(|t| t.is_file()))
        .filter_map(|e| e.file_name().into_string().ok())
        .filter(|n| n.starts_with("weekend-") && n.ends_with(".toml"))
        .collect();
    names.sort_unstable_by(|a, b| b.cmp(a));
    names
}

/// The versions kept, the newest first, each against the sheet's text `now`.
pub fn versions_against(folder: &Path, now: &str) -> Vec<Version> {
    let compared = |name: String| {
        let text = version(folder, &name).map(|b| String::from_utf8_lossy(&b).into_owned()).unwrap_or_default();
        Version { changed_lines: changed_lines(&text, now), name }
    };
    versions(folder).into_iter().map(compared).collect()
}

/// How many lines of the one text the other does not have, the larger of both ways round.
fn changed_lines(one: &str, other: &str) -> usize {
    let mut surplus: HashMap<&str, i64> = HashMap::new();
    one.lines().for_each(|line| *surplus.entry(line).or_default() += 1);
    other.lines().for_each(|line| *surplus.entry(line).or_default() -= 1);
    let more_in_one: i64 = surplus.values().filter(|&&n| n > 0).sum();
    let more_in_other: i64 = -surplus.values().filter(|&&n| n < 0).sum::<i64>();
    usize::try_from(more_in_one.max(more_in_other)).unwrap_or(usize::MAX)
}

/// Bytes of a version that is kept; `None` for any other name.
pub fn version(folder: &Path, name: &str) -> Option<Vec<u8>> {
    let known = versions(folder).into_iter().find(|v| v == name)?;
    std::fs::read(place(folder).join(known)).ok()
}

/// Writes `sheet_bytes` as the folder's sheet; the version before is kept under the time `now`, and the oldest beyond
/// twenty goes.
///
/// # Errors
/// If the system refuses; the sheet is then as it was.
pub fn write(folder: &Path, sheet_bytes: &[u8], now: jiff::Timestamp) -> io::Result<()> {
    let sheet = folder.join(SHEET);
    let own = place(folder);
    let mut made = None;
    if sheet.exists() {
        if sheet.is_symlink() {
            return Err(io::Error::other("it is a link; change the file that the link leads to"));
        }
        std::fs::create_dir_all(&own)?;
        let stamp = format!("weekend-{}-", now.strftime("%Y-%m-%d-%H%M%S%3f"));
        // Several in one moment get a number each, the newest the highest.
        let last =
            versions(folder).into_iter().find_map(|v| v.strip_prefix(&stamp)?.strip_suffix(".toml")?.parse().ok());
        let number = last.map_or(0, |n: u32| n + 1);
        let name = format!("{stamp}{number:02}.toml");
        std::fs::copy(&sheet, own.join(&name))?;
        made = Some(name);
    }
    write_whole(&sheet, |out| out.write_all(sheet_bytes).map_err(|e| e.to_string())).map_err(io::Error::other)?;
    // With a clock that was set back the newest has not the highest name. One that cannot be removed does no harm.
    for old in versions(folder).into_iter().skip(MOST).filter(|v| Some(v) != made.as_ref()) {
        let _ = std::fs::remove_file(own.join(old));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_that_differ_are_counted() {
        assert_eq!(changed_lines("a\nb\n", "a\nb\n"), 0);
        assert_eq!(changed_lines("a\nb\n", "a\nc\n"), 1);
        assert_eq!(changed_lines("a\n", "a\nb\nb\n"), 2);
    }

    #[test]
    fn the_last_twenty_are_kept_and_no_other_file_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let now = jiff::Timestamp::UNIX_EPOCH;
        for n in 0..24 {
            write(folder.path(), format!("# {n}\n").as_bytes(), now).unwrap();
        }
        let kept = versions(folder.path());
        assert_eq!((kept.len(), version(folder.path(), &kept[0]).as_deref()), (MOST, Some(&b"# 22\n"[..])));
        assert_eq!(version(folder.path(), "../../weekend.toml"), None);
        assert_eq!(std::fs::read_to_string(folder.path().join(SHEET)).unwrap(), "# 23\n");
    }
}
