//! The sheet's last versions, kept when the page writes a new one.

use std::io;
use std::path::{Path, PathBuf};

use crate::archive::write_whole;
use crate::folder::SHEET;

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
        .filter_map(|e| e.file_name().into_string().ok())
        .filter(|n| n.starts_with("weekend-") && n.ends_with(".toml"))
        .collect();
    names.sort_unstable_by(|a, b| b.cmp(a));
    names
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
        std::fs::copy(&sheet, own.join(format!("{stamp}{number:02}.toml")))?;
    }
    write_whole(&sheet, |out| out.write_all(sheet_bytes).map_err(|e| e.to_string())).map_err(io::Error::other)?;
    for old in versions(folder).into_iter().skip(MOST) {
        std::fs::remove_file(own.join(old))?;
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
