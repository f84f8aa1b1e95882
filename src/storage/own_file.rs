//! Files that runtrue wrote itself and may write again. A file in the place of one of them that somebody else put there
//! stays, and nothing is written through a link, which may lead to anybody's file.
//!
//! A file is known by its content, not by a list beside it: a list is behind as soon as a process is killed or two write
//! at once, and the folders that earlier versions wrote have none. What tells each kind, in every version so far:
//!
//! | kind | what tells it |
//! | --- | --- |
//! | page | the generator named in its head, [`GENERATOR`]; before that, the policy and the colours at its start |
//! | JSON | its `format` begins with `runtrue ` |
//! | Parquet | its footer says that `runtrue` made it |
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
        return Ok(SerializedFileReader::new(file).is_ok_and(|parquet| {
            parquet.metadata().file_metadata().created_by() == Some(CREATOR)
        }));
    }
    if starts(b"{") {
        file.rewind()?;
        let mut text = Vec::new();
        file.read_to_end(&mut text)?;
        return Ok(serde_json::from_slice::<Named>(&text).is_ok_and(|named| named.format.starts_with(FORMATS)));
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
