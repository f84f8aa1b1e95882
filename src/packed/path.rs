//! Paths that may lead through an archive: `runs.zip/logs/run1.csv`.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use super::archive::{Archive, ArchiveError, Contents, is_archive};

/// Ending of an archive's name.
const ENDING: &str = "zip";

/// A path through an archive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PathInArchive {
    /// The archive.
    pub archive: PathBuf,
    /// From there on.
    pub inner: PathBuf,
}

/// Whether a file's name is that of an archive.
pub fn has_archive_name(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case(ENDING))
}

/// Whether there is an archive at `path`: a file with the name and the beginning of one.
pub fn is_archive_file(path: &Path) -> bool {
    let head = || {
        let mut head = Vec::new();
        File::open(path)?.take(4).read_to_end(&mut head)?;
        io::Result::Ok(head)
    };
    has_archive_name(path) && path.is_file() && head().is_ok_and(|head| is_archive(&head))
}

/// Where a path leads through an archive, or is one itself; `None` for any other.
pub fn through_archive(path: &Path) -> Option<PathInArchive> {
    let archive = path.ancestors().find(|part| is_archive_file(part))?;
    let inner = path.strip_prefix(archive).ok()?;
    Some(PathInArchive { archive: archive.to_owned(), inner: inner.to_owned() })
}

/// Opens the archive at `path`.
///
/// # Errors
/// [`ArchiveError`].
pub fn open(path: &Path) -> Result<Archive<BufReader<File>>, ArchiveError> {
    Archive::open(BufReader::new(File::open(path).map_err(ArchiveError::Io)?))
}

/// What is in the archive at `path`.
///
/// # Errors
/// [`ArchiveError`].
pub fn contents(path: &Path) -> Result<Contents, ArchiveError> {
    Ok(open(path)?.contents().clone())
}

/// The bytes of the file at `path`, on the drive or in an archive.
///
/// # Errors
/// If there is no such file, or it cannot be read.
pub fn read(path: &Path) -> io::Result<Vec<u8>> {
    match std::fs::metadata(path) {
        Ok(_) => std::fs::read(path),
        Err(plain) => match through_archive(path) {
            Some(PathInArchive { archive, inner }) => {
                open(&archive).and_then(|mut open| open.read(&inner)).map_err(as_io)
            }
            None => Err(plain),
        },
    }
}

fn as_io(e: ArchiveError) -> io::Error {
    match e {
        ArchiveError::Io(source) => source,
        ArchiveError::NotThere => io::Error::new(io::ErrorKind::NotFound, e),
        other => io::Error::other(other),
    }
}

/// The size of the file at `path`, on the drive or in an archive, bytes.
///
/// # Errors
/// If there is no such file.
pub fn size(path: &Path) -> io::Result<u64> {
    match std::fs::metadata(path) {
        Ok(about) => Ok(about.len()),
        Err(plain) => {
            let Some(PathInArchive { archive, inner }) = through_archive(path) else { return Err(plain) };
            let contents = contents(&archive).map_err(as_io)?;
            let found = contents.files.iter().find(|f| f.path == inner);
            found.map(|f| f.bytes).ok_or_else(|| as_io(ArchiveError::NotThere))
        }
    }
}

/// Whether there is a file at `path`, on the drive or in an archive.
pub fn is_file(path: &Path) -> bool {
    path.is_file() || size(path).is_ok_and(|_| !path.is_dir())
}
