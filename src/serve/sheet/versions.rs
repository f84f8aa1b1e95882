//! The sheet's last versions, kept when the page writes a new one.
//!
//! Their order is a number in the name that only grows: the clock, whose time stands behind it, may be set back.

use std::cmp::Reverse;
use std::collections::HashMap;
use std::fs::{File, Metadata};
use std::io;
use std::path::{Path, PathBuf};

use crate::folder::SHEET;
use crate::serve::folder::own::{OWN, SHEETS};
use crate::storage::{WaitingFile, WriteError, write_new};

/// Beginning of a version's name, before its number.
const NUMBERED: &str = "weekend-v";
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

/// Whether the sheet as it is becomes a version when another is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeptVersion {
    /// It does.
    Each,
    /// It does not: the page has written it itself, a moment ago.
    None,
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
    names.sort_by_cached_key(|name| Reverse((number(name), name.clone())));
    names
}

/// The number in a version's name. Versions of earlier programs have a time alone: they come before number 1.
fn number(name: &str) -> Option<u64> {
    name.strip_prefix(NUMBERED)?.split(['-', '.']).next()?.parse().ok()
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

/// Writes `sheet_bytes` as the folder's sheet; the version before is kept under the next number with the time `now`,
/// and the oldest beyond twenty goes. Gives the name of that version; `None` where there was no sheet.
///
/// # Errors
/// If the sheet is a link or write-protected, or the system refuses; the sheet and its versions are then as they were.
pub fn write(folder: &Path, sheet_bytes: &[u8], now: jiff::Timestamp, keep: KeptVersion) -> io::Result<Option<String>> {
    let sheet = folder.join(SHEET);
    let fill = |out: &mut dyn io::Write| out.write_all(sheet_bytes).map_err(|e| e.to_string());
    let before = match sheet.symlink_metadata() {
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            return write_new(&sheet, fill).map(|()| None).map_err(io::Error::other);
        }
        before => before?,
    };
    refuse_unwritable(&sheet, &before)?;
    // Both are written beside their places before one is put there.
    let new = WaitingFile::fill(&sheet, fill).map_err(io::Error::other)?;
    if keep == KeptVersion::None {
        return new.replace().map(|()| None).map_err(io::Error::other);
    }
    let (version, path) = version_of(folder, &sheet, &before, now)?;
    if version.place_if_free().map_err(io::Error::other)?.is_some() {
        return Err(io::Error::other(WriteError::Exists { path: path.display().to_string() }));
    }
    if let Err(e) = new.replace() {
        // A version of the sheet as it still is says nothing new.
        let _ = std::fs::remove_file(&path);
        return Err(io::Error::other(e));
    }
    for old in versions(folder).into_iter().skip(MOST) {
        // One that cannot be removed does no harm.
        let _ = std::fs::remove_file(place(folder).join(old));
    }
    Ok(path.file_name().map(|name| name.to_string_lossy().into_owned()))
}

/// Refuses a sheet that is a link, or that its owner or the system protects from being changed: renaming would put a
/// new file over it all the same.
fn refuse_unwritable(sheet: &Path, about: &Metadata) -> io::Result<()> {
    if about.is_symlink() {
        return Err(io::Error::other("it is a link; change the file that the link leads to"));
    }
    let protected = || io::Error::new(io::ErrorKind::PermissionDenied, "it is write-protected");
    if about.permissions().readonly() {
        return Err(protected());
    }
    match File::options().append(true).open(sheet) {
        Err(e) if e.kind() == io::ErrorKind::PermissionDenied => Err(protected()),
        other => other.map(drop),
    }
}

/// The sheet as it is, beside its place as the next version, and that place. Who may read the sheet may read the
/// version.
fn version_of(
    folder: &Path,
    sheet: &Path,
    about: &Metadata,
    now: jiff::Timestamp,
) -> io::Result<(WaitingFile, PathBuf)> {
    let own = place(folder);
    if [folder.join(OWN), own.clone()].iter().any(|p| p.is_symlink()) {
        let message = format!("there is a link in `{OWN}`, where only files of runtrue belong: remove the link");
        return Err(io::Error::other(message));
    }
    std::fs::create_dir_all(&own)?;
    let next = versions(folder).iter().filter_map(|name| number(name)).max().map_or(1, |last| last.saturating_add(1));
    let path = own.join(format!("{NUMBERED}{next:04}-{}.toml", now.strftime("%Y-%m-%d-%H%M%S")));
    let bytes = std::fs::read(sheet)?;
    let version = WaitingFile::fill(&path, |out| out.write_all(&bytes).map_err(|e| e.to_string()));
    let version = version.and_then(|file| file.permit(about.permissions())).map_err(io::Error::other)?;
    Ok((version, path))
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
            write(folder.path(), format!("# {n}\n").as_bytes(), now, KeptVersion::Each).unwrap();
        }
        let kept = versions(folder.path());
        assert_eq!((kept.len(), version(folder.path(), &kept[0]).as_deref()), (MOST, Some(&b"# 22\n"[..])));
        assert_eq!(version(folder.path(), "../../weekend.toml"), None);
        assert_eq!(std::fs::read_to_string(folder.path().join(SHEET)).unwrap(), "# 23\n");
    }
    /// The texts kept, the newest first.
    fn texts(folder: &Path) -> Vec<String> {
        let text = |name: &String| String::from_utf8(version(folder, name).unwrap()).unwrap();
        versions(folder).iter().map(text).collect()
    }

    #[test]
    fn a_clock_that_was_set_back_does_not_change_the_order() {
        let folder = tempfile::tempdir().unwrap();
        let years = ["2030", "2020", "2025", "1999"].map(|y| format!("{y}-01-01T00:00:00Z").parse().unwrap());
        for (n, now) in years.into_iter().cycle().take(30).enumerate() {
            write(folder.path(), format!("{n}").as_bytes(), now, KeptVersion::Each).unwrap();
        }
        let expected: Vec<String> = (9..29).rev().map(|n| n.to_string()).collect();
        assert_eq!(texts(folder.path()), expected);
    }

    #[test]
    fn versions_that_only_have_a_time_are_older_than_any_with_a_number() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir_all(place(folder.path())).unwrap();
        for (name, text) in
            [("weekend-2099-05-16-120000000-00.toml", "b"), ("weekend-2026-05-16-120000000-00.toml", "a")]
        {
            std::fs::write(place(folder.path()).join(name), text).unwrap();
        }
        std::fs::write(folder.path().join(SHEET), "c").unwrap();
        write(folder.path(), b"d", jiff::Timestamp::UNIX_EPOCH, KeptVersion::Each).unwrap();
        write(folder.path(), b"e", jiff::Timestamp::UNIX_EPOCH, KeptVersion::Each).unwrap();
        assert_eq!(texts(folder.path()), ["d", "c", "b", "a"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_write_protected_sheet_stays_and_permissions_are_kept() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let (sheet, now) = (folder.path().join(SHEET), jiff::Timestamp::UNIX_EPOCH);
        let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        std::fs::write(&sheet, "mine").unwrap();
        for protected in [0o444, 0o400] {
            std::fs::set_permissions(&sheet, std::fs::Permissions::from_mode(protected)).unwrap();
            let refused = write(folder.path(), b"new", now, KeptVersion::Each).unwrap_err();
            assert_eq!(refused.to_string(), "it is write-protected");
            assert_eq!((std::fs::read(&sheet).unwrap().as_slice(), mode(&sheet)), (&b"mine"[..], protected));
            assert!(versions(folder.path()).is_empty());
        }
        std::fs::set_permissions(&sheet, std::fs::Permissions::from_mode(0o600)).unwrap();
        write(folder.path(), b"new", now, KeptVersion::Each).unwrap();
        let kept = place(folder.path()).join(&versions(folder.path())[0]);
        assert_eq!((mode(&sheet), mode(&kept)), (0o600, 0o600));
        assert_eq!(texts(folder.path()), ["mine"]);
    }

    #[cfg(unix)]
    #[test]
    fn nothing_is_written_over_or_through_a_link() {
        use std::os::unix::fs::symlink;
        let (folder, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (sheet, now) = (folder.path().join(SHEET), jiff::Timestamp::UNIX_EPOCH);
        // A link that leads nowhere yet is a link.
        symlink(elsewhere.path().join("later.toml"), &sheet).unwrap();
        assert!(write(folder.path(), b"new", now, KeptVersion::Each).unwrap_err().to_string().contains("it is a link"));
        assert!(sheet.is_symlink());
        std::fs::remove_file(&sheet).unwrap();
        std::fs::write(&sheet, "mine").unwrap();
        std::fs::create_dir(folder.path().join(OWN)).unwrap();
        symlink(elsewhere.path(), place(folder.path())).unwrap();
        assert!(
            write(folder.path(), b"new", now, KeptVersion::Each).unwrap_err().to_string().contains("there is a link")
        );
        assert_eq!(std::fs::read_to_string(&sheet).unwrap(), "mine");
        assert_eq!(std::fs::read_dir(elsewhere.path()).unwrap().count(), 0);
    }
}
