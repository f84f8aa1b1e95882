//! The sheet's last versions, kept when the page writes a new one.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};

use crate::folder::SHEET;
use crate::storage::write_whole;

/// Folder of what this server keeps, in the weekend's folder.
pub const OWN: &str = ".runtrue";
/// Versions kept.
const MOST: usize = 20;

fn place(folder: &Path) -> PathBuf {
    folder.join(OWN).join("sheets")
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

/// The versions kept, the newest first, each with how many of its lines the sheet's text `now` does not have, and the other way round.
pub fn versions_against(folder: &Path, now: &str) -> Vec<(String, String)> {
    let of = |name: String| {
        let text = version(folder, &name).map(|b| String::from_utf8_lossy(&b).into_owned()).unwrap_or_default();
        // How many times a line stands in one text more than in the other.
        let mut more: HashMap<&str, i64> = HashMap::new();
        text.lines().for_each(|l| *more.entry(l).or_default() += 1);
        now.lines().for_each(|l| *more.entry(l).or_default() -= 1);
        let of = |sign: i64| more.values().map(|n| (sign * n).max(0)).sum::<i64>();
        let other = of(1).max(of(-1));
        let says = if other == 0 { "as it is now".to_owned() } else { format!("{other} lines are other now") };
        (name, if other == 1 { "one line is another now".to_owned() } else { says })
    };
    versions(folder).into_iter().map(of).collect()
}

/// Bytes of a version that is kept; `None` for any other name.
pub fn version(folder: &Path, name: &str) -> Option<Vec<u8>> {
    let known = versions(folder).into_iter().find(|v| v == name)?;
    std::fs::read(place(folder).join(known)).ok()
}

/// Writes `sheet_bytes` as the folder's sheet; the version before is kept under the time `now`, and the oldest beyond twenty goes.
///
/// # Errors
/// If the system refuses; the sheet is then as it was.
pub fn write(folder: &Path, sheet_bytes: &[u8], now: jiff::Timestamp) -> io::Result<()> {
    let sheet = folder.join(SHEET);
    let own = place(folder);
    let mut made = None;
    if sheet.exists() {
        if sheet.is_symlink() {
            return Err(io::Error::other("it is a link: change the file that it leads to"));
        }
        std::fs::create_dir_all(&own)?;
        let stamp = format!("weekend-{}-", now.strftime("%Y-%m-%d-%H%M%S%3f"));
        // Several in one moment are told apart by a number, the newest with the highest.
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
