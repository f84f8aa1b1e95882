//! Files that runtrue wrote itself and may write again. A file in the place of one of them that somebody else put there
//! stays, and nothing is written through a link, which may lead to anybody's file.
//!
//! A file is known by its content, not by a list beside it: a list is behind as soon as a process is killed or two
//! write at once, and the folders that earlier versions wrote have none. What tells each kind, in every version so far:
//!
//! | kind | what tells it |
//! | --- | --- |
//! | page | the generator named in its head, [`GENERATOR`]; before that, the policy and the colours at its start |
//! | JSON | its `format` begins with `runtrue ` |
//! | Parquet | its footer says that `runtrue` made it |
//! | CSV | the names of its first columns are those of the table of runs or of laps |
//! | manual page | its first lines have the title `runtrue` |
//!
//! A page that somebody has changed by hand is still a page of runtrue's.

use std::fs::File;
use std::io::{self, Read, Seek, Write};
use std::path::{Component, Path, PathBuf};

use parquet::file::reader::{FileReader, SerializedFileReader};
use serde::Deserialize;

use super::parquet::CREATOR;
use super::whole_file::{WaitingFile, WriteError, sweep};

/// What the head of a page says of its origin.
pub const GENERATOR: &str = "<meta name=\"generator\" content=\"runtrue\">";
/// What the heads of pages that name no generator have.
const EARLIER_PAGES: [&str; 2] =
    ["content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:", ":root{--paper:#fdfcf9;--ink:#1d2126"];
/// The first columns of its tables as CSV.
const TABLES: [&[u8]; 2] = [b"run,car,error,ambient_c,", b"run,car,lap,start_s,end_s,"];
/// Beginning of the formats of runtrue's JSON.
const FORMATS: &str = "runtrue ";
/// Bytes of a page or a manual page that tell where it comes from.
const HEAD_BYTES: u64 = 4096;

/// What is in the place of a file of runtrue's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Own {
    /// Nothing.
    Missing,
    /// A file that runtrue wrote.
    Written,
}

/// What is in the place of the file `name` of runtrue's in the folder `root`, which the user named and which may be
/// reached by links.
///
/// # Errors
/// [`WriteError::Link`] or [`WriteError::Foreign`] where something else is in its place or in that of one of its
/// folders; [`WriteError::Io`] where the system does not tell.
pub fn standing(root: &Path, name: &Path) -> Result<Own, WriteError> {
    let mut path = root.to_owned();
    for component in name.parent().into_iter().flat_map(Path::components) {
        path.push(component);
        match std::fs::symlink_metadata(&path) {
            Ok(about) if about.is_symlink() => return Err(WriteError::Link { path: path.display().to_string() }),
            Ok(about) if !about.is_dir() => return Err(WriteError::Foreign { path: path.display().to_string() }),
            Ok(_) => {}
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Own::Missing),
            Err(e) => return Err(WriteError::io(&path, e)),
        }
    }
    path.extend(name.file_name());
    let about = match std::fs::symlink_metadata(&path) {
        Ok(about) => about,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Own::Missing),
        Err(e) => return Err(WriteError::io(&path, e)),
    };
    if about.is_symlink() {
        return Err(WriteError::Link { path: path.display().to_string() });
    }
    // Opening a pipe would wait for ever.
    if about.is_file() && is_own(&path).map_err(|e| WriteError::io(&path, e))? {
        Ok(Own::Written)
    } else {
        Err(WriteError::Foreign { path: path.display().to_string() })
    }
}

/// Checks that every file of `names` may be written into the folder `root`, before the first is.
///
/// # Errors
/// As [`standing`].
pub fn check_own<'a>(root: &Path, names: impl IntoIterator<Item = &'a Path>) -> Result<(), WriteError> {
    names.into_iter().try_for_each(|name| standing(root, name).map(drop))
}

/// Makes the folder `name` in the folder `root`, and `root` where it is not there; what killed writers left in it goes.
///
/// # Errors
/// [`WriteError`] where a link or a file is in its place, or the system refuses.
pub fn own_folder(root: &Path, name: &Path) -> Result<PathBuf, WriteError> {
    std::fs::create_dir_all(root).map_err(|e| WriteError::io(root, e))?;
    let mut path = root.to_owned();
    for component in name.components().filter(|c| matches!(c, Component::Normal(_))) {
        path.push(component);
        match std::fs::create_dir(&path) {
            Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(WriteError::io(&path, e)),
            _ => {}
        }
        let about = std::fs::symlink_metadata(&path).map_err(|e| WriteError::io(&path, e))?;
        if about.is_symlink() {
            return Err(WriteError::Link { path: path.display().to_string() });
        }
        if !about.is_dir() {
            return Err(WriteError::Foreign { path: path.display().to_string() });
        }
    }
    sweep(&path);
    Ok(path)
}

/// Writes the file `name` of runtrue's whole into the folder `root`, whose folders are there: over nothing, or over a
/// file that runtrue wrote, which may be another process of it in this moment.
///
/// # Errors
/// As [`standing`], and [`WriteError::Format`] if `fill` fails; the file is then as it was.
pub fn write_own(
    root: &Path,
    name: &Path,
    fill: impl FnOnce(&mut dyn Write) -> Result<(), String>,
) -> Result<(), WriteError> {
    standing(root, name)?;
    let mut waiting = WaitingFile::fill(&root.join(name), fill)?;
    loop {
        if standing(root, name)? == Own::Written {
            return waiting.replace();
        }
        match waiting.place_if_free()? {
            None => return Ok(()),
            Some(again) => waiting = again,
        }
    }
}

/// Whether the content of the file at `path` says that runtrue wrote it.
fn is_own(path: &Path) -> io::Result<bool> {
    let mut file = File::open(path)?;
    let mut head = Vec::new();
    (&mut file).take(HEAD_BYTES).read_to_end(&mut head)?;
    let starts = |mark: &[u8]| head.trim_ascii_start().starts_with(mark);
    if head.starts_with(b"PAR1") {
        return Ok(SerializedFileReader::new(file)
            .is_ok_and(|parquet| parquet.metadata().file_metadata().created_by() == Some(CREATOR)));
    }
    if starts(b"{") {
        file.rewind()?;
        let mut text = Vec::new();
        file.read_to_end(&mut text)?;
        return Ok(serde_json::from_slice::<Named>(&text).is_ok_and(|named| named.format.starts_with(FORMATS)));
    }
    if TABLES.iter().any(|names| head.starts_with(names)) {
        return Ok(true);
    }
    let text = String::from_utf8_lossy(&head);
    if starts(b"<!doctype html>") {
        return Ok(text.contains(GENERATOR) || EARLIER_PAGES.iter().all(|mark| text.contains(mark)));
    }
    Ok(starts(b".ie ") && text.contains("\n.TH runtrue"))
}

/// A JSON file that names its format.
#[derive(Deserialize)]
struct Named {
    format: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    /// The head of a page as the first version wrote it.
    const FIRST_PAGE: &str = r#"<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<title>Alder Quay Spring Round</title>
<style>
:root{--paper:#fdfcf9;--ink:#1d2126;--soft:#626770;--rule:#dedbd3;--act:#b03f06;--watch:#7d5800;--ok:#00694d;--wash:#f3f0e8}
"#;

    #[rstest]
    #[case(FIRST_PAGE, true)]
    #[case("<!doctype html>\n<meta name=\"generator\" content=\"runtrue\">\n<p>hello", true)]
    #[case("<!doctype html>\n<meta name=\"generator\" content=\"another\">\n<p>about runtrue", false)]
    #[case("<html><body>My weekend</body></html>", false)]
    #[case("{\n  \"format\": \"runtrue review 1\",\n  \"runs\": []\n}\n", true)]
    #[case("{\"weekend\": {}, \"format\": \"runtrue season answers 1\"}", true)]
    #[case("{\"format\": \"another 7\"}", false)]
    #[case("{\"note\": \"runtrue review 1\"}", false)]
    #[case("{\"format\": \"runtrue review 1\"", false)]
    #[case(".ie \\n(.g .ds Aq \\(aq\n.el .ds Aq '\n.TH runtrue-read 1  \"runtrue 0.1.0\"", true)]
    #[case("run,car,lap,start_s,end_s,time_s\n", true)]
    #[case("run,car,notes\n", false)]
    #[case("PAR1 but no Parquet PAR1", false)]
    #[case("", false)]
    fn files_tell_where_they_come_from(#[case] content: &str, #[case] own: bool) {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("file"), content).unwrap();
        let found = standing(folder.path(), Path::new("file"));
        assert_eq!(found.is_ok_and(|found| found == Own::Written), own, "{content}");
    }

    #[test]
    fn a_folder_in_the_place_of_a_file_and_a_file_in_that_of_a_folder_stay() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("index.html")).unwrap();
        std::fs::write(folder.path().join("logs"), "").unwrap();
        for name in ["index.html", "logs/run-01.parquet"] {
            let refused = write_own(folder.path(), Path::new(name), |_| Ok(())).unwrap_err();
            assert!(matches!(refused, WriteError::Foreign { .. }), "{refused}");
        }
        assert!(matches!(own_folder(folder.path(), Path::new("logs")), Err(WriteError::Foreign { .. })));
        assert_eq!(standing(folder.path(), Path::new("new/x.html")).unwrap(), Own::Missing);
    }
}
