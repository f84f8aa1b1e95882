//! Whole files: written under a temporary name in the same folder and renamed when complete, so that a reader sees the
//! old file or the new one, never half of one.

use std::fs::{File, Permissions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use tempfile::NamedTempFile;

/// Why a file could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The system refused: no such folder, no permission, a full disk.
    #[error("`{path}` could not be written: {source}")]
    Io {
        /// The file.
        path: String,
        /// The system's reason.
        source: io::Error,
    },
    /// The contents could not be put into the file's format.
    #[error("`{path}` could not be written: {message}")]
    Format {
        /// The file.
        path: String,
        /// The format's reason.
        message: String,
    },
    /// A file that must not be replaced is in its place.
    #[error("`{path}` already exists; not changed")]
    Exists {
        /// The file.
        path: String,
    },
    /// A file of somebody else's, or one that is damaged, is in the place of one of runtrue's.
    #[error("`{path}` does not look like a file that runtrue wrote; it was not changed")]
    Foreign {
        /// The file.
        path: String,
    },
    /// A link is in the place of a file or a folder of runtrue's.
    #[error("`{path}` is a link, and runtrue does not write through links")]
    Link {
        /// The link.
        path: String,
    },
}

impl WriteError {
    /// What to do about it, for a command that takes its folder by `--out`.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Foreign { .. } => "move it to another folder, or name another folder with `--out`",
            Self::Link { .. } => "remove the link, or name another folder with `--out`",
            Self::Io { .. } | Self::Format { .. } | Self::Exists { .. } => "name another folder with `--out`",
        }
    }

    /// The system's reason, with the file it was met at.
    pub(super) fn io(path: &Path, source: io::Error) -> Self {
        Self::Io { path: path.display().to_string(), source }
    }
}

/// Temporary names of files that are being written begin with this.
pub const UNFINISHED: &str = ".runtrue-";
/// A temporary file older than this was left by a writer that was killed; a living writer needs seconds.
const ABANDONED_AFTER: Duration = Duration::from_secs(3600);

/// A file that is written whole and not yet in its place. Dropped, it leaves nothing behind.
#[derive(Debug)]
pub struct WaitingFile {
    file: NamedTempFile,
    path: PathBuf,
}

impl WaitingFile {
    /// Writes what `fill` gives for the file `path`, beside its place. A file that is there passes its permissions on.
    ///
    /// # Errors
    /// [`WriteError`] if the folder cannot be written to or `fill` fails.
    pub fn fill(path: &Path, fill: impl FnOnce(&mut dyn Write) -> Result<(), String>) -> Result<Self, WriteError> {
        let io = |source| WriteError::io(path, source);
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut file = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(folder).map_err(io)?;
        {
            let mut buffer = BufWriter::new(file.as_file_mut());
            fill(&mut buffer).map_err(|message| WriteError::Format { path: path.display().to_string(), message })?;
            buffer.flush().map_err(io)?;
        }
        file.as_file().sync_all().map_err(io)?;
        match std::fs::metadata(path) {
            // A file that its owner hides from others stays hidden.
            Ok(before) => file.as_file().set_permissions(before.permissions()),
            Err(_) => make_readable(file.as_file()),
        }
        .map_err(io)?;
        Ok(Self { file, path: path.to_owned() })
    }

    /// Gives it the permissions of another file.
    ///
    /// # Errors
    /// [`WriteError::Io`] if the system refuses.
    pub fn permit(self, permissions: Permissions) -> Result<Self, WriteError> {
        self.file.as_file().set_permissions(permissions).map_err(|e| WriteError::io(&self.path, e))?;
        Ok(self)
    }

    /// Puts it in its place, over a file that is there.
    ///
    /// # Errors
    /// [`WriteError::Io`] if the system refuses; the old file, if there was one, is then unchanged.
    pub fn replace(self) -> Result<(), WriteError> {
        let Self { file, path } = self;
        file.persist(&path).map(drop).map_err(|e| WriteError::io(&path, e.error))
    }

    /// Puts it in its place where nothing is there, not even a link; gives it back where something is.
    ///
    /// # Errors
    /// [`WriteError::Io`] if the system refuses.
    pub fn place_if_free(self) -> Result<Option<Self>, WriteError> {
        let Self { file, path } = self;
        let Err(refused) = file.persist_noclobber(&path) else { return Ok(None) };
        let waiting = Self { file: refused.file, path };
        let taken = std::fs::symlink_metadata(&waiting.path).is_ok();
        match refused.error.kind() {
            io::ErrorKind::AlreadyExists => Ok(Some(waiting)),
            _ if taken => Ok(Some(waiting)),
            // Some drives know no such rename: a plain one, then.
            _ => waiting.replace().map(|()| None),
        }
    }
}

/// Writes the file `path` whole with what `fill` puts into it. A file that it replaces passes its permissions on.
///
/// # Errors
/// [`WriteError`] if the folder cannot be written to or `fill` fails; the old file, if there was one, is then
/// unchanged.
pub fn write_whole(path: &Path, fill: impl FnOnce(&mut dyn Write) -> Result<(), String>) -> Result<(), WriteError> {
    WaitingFile::fill(path, fill)?.replace()
}

/// Writes the file `path` whole where nothing is there yet.
///
/// # Errors
/// [`WriteError::Exists`] where a file, a folder or a link is there, and as [`write_whole`].
pub fn write_new(path: &Path, fill: impl FnOnce(&mut dyn Write) -> Result<(), String>) -> Result<(), WriteError> {
    match WaitingFile::fill(path, fill)?.place_if_free()? {
        None => Ok(()),
        Some(_) => Err(WriteError::Exists { path: path.display().to_string() }),
    }
}

/// Removes the temporary files that killed writers left in `folder`; those of living writers are too young to be
/// touched.
pub fn sweep(folder: &Path) {
    let unfinished = |e: &std::fs::DirEntry| e.file_name().to_string_lossy().starts_with(UNFINISHED);
    let age = |e: &std::fs::DirEntry| e.metadata().ok()?.modified().ok()?.elapsed().ok();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        if unfinished(&entry) && age(&entry).is_some_and(|age| age > ABANDONED_AFTER) {
            // One that cannot be removed does no harm.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Lets everyone on the machine read `file`; temporary files are private to their owner until then.
///
/// # Errors
/// If the system refuses.
#[cfg(unix)]
pub fn make_readable(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

/// Does nothing: here temporary files are as readable as any other file.
///
/// # Errors
/// None.
#[cfg(not(unix))]
pub fn make_readable(_: &File) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_write_that_fails_leaves_the_old_file_and_nothing_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.txt");
        write_whole(&path, |out| out.write_all(b"old").map_err(|e| e.to_string())).unwrap();
        let failed = write_whole(&path, |out| {
            out.write_all(b"ne").map_err(|e| e.to_string())?;
            Err("the disk is full".to_owned())
        });
        assert!(failed.unwrap_err().to_string().ends_with("report.txt` could not be written: the disk is full"));
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn only_old_temporary_files_are_swept() {
        let folder = tempfile::tempdir().unwrap();
        for (name, age) in [(".runtrue-old", 4000), (".runtrue-new", 10), ("log.csv", 4000)] {
            let file = File::create(folder.path().join(name)).unwrap();
            file.set_modified(std::time::SystemTime::now() - Duration::from_secs(age)).unwrap();
        }
        sweep(folder.path());
        let left = |name: &str| folder.path().join(name).exists();
        assert!(!left(".runtrue-old") && left(".runtrue-new") && left("log.csv"));
    }
}
