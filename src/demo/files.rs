//! An invented weekend or season as files, and the folders that they may be written into: one that is not there, one
//! that is empty, and one that holds nothing but an earlier demo that nobody has changed.
//!
//! An earlier demo is known by being invented again from the seed in its `truth.json`: each file must have the same
//! bytes. A demo of a version that wrote other bytes counts as somebody's files.

use std::fs::{DirEntry, FileType};
use std::io;
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::invented::InventedFile;
use super::weekend::{TRUTH, Weekend};
use super::{alder_quay, season};
use crate::storage::{UNFINISHED, WaitingFile, WriteError, sweep};

/// Most weekends of an invented season.
const MOST_ROUNDS: usize = 12;

/// Why a demo was not written. The folder is then as it was.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The folder holds something else.
    #[error("`{path}` is already there; nothing was written")]
    Taken {
        /// What it holds.
        path: PathBuf,
    },
    /// The folder cannot be looked into.
    #[error("`{path}` could not be read: {source}")]
    Unreadable {
        /// The folder, or a file in it.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// A file could not be written.
    #[error(transparent)]
    Unwritten(#[from] WriteError),
}

impl Weekend {
    /// Writes its files into `folder`.
    ///
    /// # Errors
    /// [`DemoError`]; where the folder holds anything but an earlier demo that nobody has changed, nothing is written.
    pub fn write(&self, folder: &Path) -> Result<(), DemoError> {
        write(folder, &self.files())
    }
}

/// Writes `files`, the last of them last, into `folder`: all of them or none. What an earlier demo has more goes.
///
/// # Errors
/// [`DemoError`].
pub fn write(folder: &Path, files: &[InventedFile]) -> Result<(), DemoError> {
    let earlier = if is_empty(folder)? { Vec::new() } else { earlier_demo(folder) };
    refuse_others(folder, Path::new(""), &[files, &earlier])?;
    let mut made = Made::default();
    made.write(folder, files)?;
    let gone = earlier.iter().filter(|old| files.iter().all(|new| new.path != old.path));
    for path in gone.map(|old| folder.join(&old.path)) {
        // One that cannot be removed does no harm.
        let _ = std::fs::remove_file(&path);
        path.ancestors().skip(1).take_while(|f| *f != folder && std::fs::remove_dir(f).is_ok()).for_each(drop);
    }
    Ok(())
}

/// Whether there is nothing at `folder`, or an empty folder.
fn is_empty(folder: &Path) -> Result<bool, DemoError> {
    match std::fs::read_dir(folder) {
        Ok(mut entries) => Ok(entries.next().is_none()),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(source) => Err(DemoError::Unreadable { path: folder.to_owned(), source }),
    }
}

/// What of a demo's truth tells how to invent it again.
#[derive(Deserialize)]
struct Truth {
    seed: u64,
}

/// The files of the demo whose truth is in `folder`, as they were written; empty where there is none.
fn earlier_demo(folder: &Path) -> Vec<InventedFile> {
    let seed = |folder: &Path| -> Option<u64> {
        let text = std::fs::read(folder.join(TRUTH)).ok()?;
        Some(serde_json::from_slice::<Truth>(&text).ok()?.seed)
    };
    if let Some(seed) = seed(folder) {
        return alder_quay::invent(seed).files();
    }
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut rounds: Vec<PathBuf> = entries.map(|e| e.path()).filter(|p| p.join(TRUTH).is_file()).collect();
    rounds.sort();
    let first = rounds.first().filter(|_| rounds.len() <= MOST_ROUNDS).and_then(|round| seed(round));
    first
        .and_then(season::seed_of_first_round)
        .map_or_else(Vec::new, |seed| season::files(&season::invent(seed, rounds.len() as u8)))
}

/// Refuses whatever is in the folder `inner` of `folder` and is in none of the `demos` byte for byte.
fn refuse_others(folder: &Path, inner: &Path, demos: &[&[InventedFile]]) -> Result<(), DemoError> {
    let place = folder.join(inner);
    let unreadable = |path: &Path| {
        let path = path.to_owned();
        move |source| DemoError::Unreadable { path, source }
    };
    let entries = match std::fs::read_dir(&place) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(()),
        entries => entries.map_err(unreadable(&place))?,
    };
    let mut entries: Vec<DirEntry> = entries.collect::<Result<_, _>>().map_err(unreadable(&place))?;
    entries.retain(|e| !e.file_name().to_string_lossy().starts_with(UNFINISHED));
    entries.sort_by_key(DirEntry::file_name);
    for entry in entries {
        let (name, full) = (inner.join(entry.file_name()), entry.path());
        let kind: FileType = entry.file_type().map_err(unreadable(&full))?;
        let of_demos = || demos.iter().copied().flatten();
        if kind.is_dir() && of_demos().any(|file| file.path.starts_with(&name)) {
            refuse_others(folder, &name, demos)?;
            continue;
        }
        // A file of another name is not even read: it may be a film.
        let alike: Vec<&InventedFile> = of_demos().filter(|file| kind.is_file() && file.path == name).collect();
        let same = !alike.is_empty() && {
            let bytes = std::fs::read(&full).map_err(unreadable(&full))?;
            alike.iter().any(|file| file.bytes == bytes)
        };
        if !same {
            return Err(DemoError::Taken { path: full });
        }
    }
    Ok(())
}

/// What has been written so far. Dropped before it is done, it takes that away again.
#[derive(Default)]
struct Made {
    /// Folders that were not there before, the outer first.
    folders: Vec<PathBuf>,
    /// Files that were not there before.
    files: Vec<PathBuf>,
    done: bool,
}

impl Made {
    /// Every file is written beside its place before the first is put there: a disk that is full is met before.
    fn write(&mut self, folder: &Path, files: &[InventedFile]) -> Result<(), DemoError> {
        let mut waiting = Vec::new();
        for file in files {
            let path = folder.join(&file.path);
            self.make_folders(path.parent().unwrap_or(folder))?;
            let fill = |out: &mut dyn io::Write| out.write_all(&file.bytes).map_err(|e| e.to_string());
            waiting.push((WaitingFile::fill(&path, fill)?, path));
        }
        for (file, path) in waiting {
            // What is there was looked at: an untouched file of an earlier demo.
            match file.place_if_free()? {
                None => self.files.push(path),
                Some(file) => file.replace()?,
            }
        }
        self.done = true;
        Ok(())
    }

    fn make_folders(&mut self, folder: &Path) -> Result<(), DemoError> {
        let missing: Vec<&Path> = folder.ancestors().take_while(|f| !f.as_os_str().is_empty() && !f.exists()).collect();
        for folder in missing.into_iter().rev() {
            std::fs::create_dir(folder)
                .map_err(|source| WriteError::Io { path: folder.display().to_string(), source })?;
            self.folders.push(folder.to_owned());
        }
        sweep(folder);
        Ok(())
    }
}

impl Drop for Made {
    fn drop(&mut self) {
        if !self.done {
            // One that cannot be removed does no harm; a folder that holds something stays.
            self.files.iter().for_each(|file| drop(std::fs::remove_file(file)));
            self.folders.iter().rev().for_each(|folder| drop(std::fs::remove_dir(folder)));
        }
    }
}
