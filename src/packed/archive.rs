//! Zip archives: what is in one, and each file in it, within bounds that hold while it is being unpacked.
//!
//! The layout is that of PKWARE's APPNOTE.TXT. What a directory says of itself is not believed: the number of entries is
//! looked at before room is made for them, and no file is read beyond the size that it is said to have.

use std::collections::HashSet;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Component, Path, PathBuf};

use zip::ZipArchive;
use zip::result::ZipError;

use super::MOST_BYTES;

/// Files of an archive that are read at most: a weekend has fewer.
pub const MOST_FILES: usize = 200;
/// Entries of an archive at most, with its folders and what other systems put beside each file.
const MOST_ENTRIES: u64 = 4096;
/// Start of an archive: the first file's header, or the end of one with nothing in it.
const STARTS: [&[u8]; 2] = [b"PK\x03\x04", b"PK\x05\x06"];
/// End of the directory with the number of entries as two bytes, which are this far behind its start.
const END: (&[u8], usize) = (b"PK\x05\x06", 10);
/// End of the directory of a large archive, with the number of entries as eight bytes.
const LARGE_END: (&[u8], usize) = (b"PK\x06\x06", 32);
/// Bytes at the end of an archive in which its directory ends: 22, a remark of 65,535 at most, and a large archive's.
const TAIL_BYTES: u64 = 22 + 65_535 + 76;
/// Names that a system leaves in archives for itself.
const LITTER: [&str; 3] = ["__MACOSX", "Thumbs.db", "desktop.ini"];

/// Why an archive, or a file in it, could not be read.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The system refused.
    #[error("{0}")]
    Io(io::Error),
    /// Not an archive, or cut, or with something wrong in it.
    #[error("the packed file is damaged or was not copied whole")]
    Damaged,
    /// More files than a weekend has.
    #[error("more than {MOST_FILES} files are packed in it")]
    TooManyFiles,
    /// More bytes than a weekend has.
    #[error("what is packed in it has more than {} MB", MOST_BYTES >> 20)]
    TooLarge,
    /// Behind a password.
    #[error("it is locked with a password")]
    Locked,
    /// Packed in a way that is not read.
    #[error("it is packed in a way that runtrue does not read")]
    OtherMethod,
    /// There is no such file in it.
    #[error("there is no such file in the packed file")]
    NotThere,
}

impl ArchiveError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Io(_) => "check that the file is there and that you may read it",
            Self::Damaged => "copy or pack it again",
            Self::TooManyFiles | Self::TooLarge => "unpack it yourself and take the logs of one weekend",
            Self::Locked => "unpack it yourself, with its password",
            Self::OtherMethod => "unpack it yourself, or pack it again as an ordinary zip",
            Self::NotThere => "look at the names in the packed file",
        }
    }
}

impl From<ZipError> for ArchiveError {
    fn from(e: ZipError) -> Self {
        match e {
            ZipError::Io(source) => Self::Io(source),
            ZipError::FileNotFound => Self::NotThere,
            ZipError::UnsupportedArchive(text) if text == ZipError::PASSWORD_REQUIRED => Self::Locked,
            ZipError::UnsupportedArchive(_) => Self::OtherMethod,
            _ => Self::Damaged,
        }
    }
}

/// What is in an archive.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Contents {
    /// Files that can be read, in the order of their names.
    pub files: Vec<PackedFile>,
    /// Names that lead out of the archive, as they are written: such a file is not read.
    pub outside: Vec<String>,
}

/// A file in an archive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackedFile {
    /// Its path in the archive.
    pub path: PathBuf,
    /// Its size unpacked, as the archive says, bytes.
    pub bytes: u64,
    /// Its place in the archive.
    index: usize,
}

/// An archive that is open.
pub struct Archive<R> {
    zip: ZipArchive<R>,
    contents: Contents,
}

impl<R: Read + Seek> Archive<R> {
    /// Opens the archive in `source`.
    ///
    /// # Errors
    /// [`ArchiveError`], where it is none, or holds more than a weekend does.
    pub fn open(source: R) -> Result<Self, ArchiveError> {
        Self::open_with(source, MOST_FILES)
    }

    /// The same with `most_files` in it at most.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn open_with(mut source: R, most_files: usize) -> Result<Self, ArchiveError> {
        if entries_at_most(&mut source).map_err(ArchiveError::Io)?.ok_or(ArchiveError::Damaged)? > MOST_ENTRIES {
            return Err(ArchiveError::TooManyFiles);
        }
        let mut zip = ZipArchive::new(source).map_err(damaged)?;
        let contents = contents(&mut zip)?;
        if contents.files.len() > most_files {
            return Err(ArchiveError::TooManyFiles);
        }
        let sizes = contents.files.iter().try_fold(0u64, |sum, file| sum.checked_add(file.bytes));
        if sizes.is_none_or(|bytes| bytes > MOST_BYTES) {
            return Err(ArchiveError::TooLarge);
        }
        Ok(Self { zip, contents })
    }

    /// What is in it.
    pub fn contents(&self) -> &Contents {
        &self.contents
    }

    /// Unpacks the file at `path` in it.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn read(&mut self, path: &Path) -> Result<Vec<u8>, ArchiveError> {
        let mut bytes = Vec::new();
        self.unpack(path, &mut bytes)?;
        Ok(bytes)
    }

    /// Unpacks the file at `path` in it to `out`; ends where it gets larger than it is said to be.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn unpack(&mut self, path: &Path, out: &mut dyn io::Write) -> Result<(), ArchiveError> {
        let file = self.contents.files.iter().find(|f| f.path == path).ok_or(ArchiveError::NotThere)?;
        let said = file.bytes;
        let mut packed = self.zip.by_index(file.index)?.take(said + 1);
        // Whatever is wrong with what is packed, the program that unpacks it says in words of its own.
        let is_odd = |e: &io::Error| !matches!(e.kind(), io::ErrorKind::PermissionDenied | io::ErrorKind::StorageFull);
        let copied = io::copy(&mut packed, out);
        match copied.map_err(|e| if is_odd(&e) { ArchiveError::Damaged } else { ArchiveError::Io(e) })? {
            bytes if bytes == said => Ok(()),
            _ => Err(ArchiveError::Damaged),
        }
    }

    /// Unpacks everything and keeps nothing: nothing in it is larger than it says, and all together not too large.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn check(&mut self) -> Result<(), ArchiveError> {
        let mut sum = 0u64;
        for index in 0..self.zip.len() {
            let entry = self.zip.by_index(index)?;
            let said = entry.size();
            sum = sum.saturating_add(said);
            if sum > MOST_BYTES {
                return Err(ArchiveError::TooLarge);
            }
            match io::copy(&mut entry.take(said + 1), &mut io::sink()) {
                Ok(bytes) if bytes == said => {}
                _ => return Err(ArchiveError::Damaged),
            }
        }
        Ok(())
    }
}

/// An archive that could not even be opened is damaged, whatever its parser says.
fn damaged(e: ZipError) -> ArchiveError {
    match ArchiveError::from(e) {
        ArchiveError::NotThere => ArchiveError::Damaged,
        ArchiveError::Io(e) if matches!(e.kind(), io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidData) => {
            ArchiveError::Damaged
        }
        other => other,
    }
}

/// Whether a file that begins with `head` is an archive.
pub fn is_archive(head: &[u8]) -> bool {
    STARTS.iter().any(|start| head.starts_with(start))
}

/// The largest number of entries that an end of the directory in `source` tells; `None` where there is no such end.
fn entries_at_most(source: &mut (impl Read + Seek)) -> io::Result<Option<u64>> {
    let length = source.seek(SeekFrom::End(0))?;
    source.seek(SeekFrom::Start(length.saturating_sub(TAIL_BYTES)))?;
    let mut tail = Vec::new();
    source.take(TAIL_BYTES).read_to_end(&mut tail)?;
    let number = |(start, behind): (&[u8], usize), size: usize| {
        let counts = tail.windows(start.len()).enumerate().filter(|(_, bytes)| *bytes == start);
        let count = counts.filter_map(|(at, _)| {
            let bytes = tail.get(at + behind..at + behind + size)?;
            Some(bytes.iter().rev().fold(0u64, |sum, byte| sum << 8 | u64::from(*byte)))
        });
        count.max()
    };
    source.seek(SeekFrom::Start(0))?;
    let large = number(LARGE_END, 8);
    // All ones say that the number is in the large archive's end.
    let small = number(END, 2).map(|count| if count == 0xffff { large.unwrap_or(u64::MAX) } else { count });
    Ok(small.map(|count| count.max(large.unwrap_or(0))))
}

fn contents<R: Read + Seek>(zip: &mut ZipArchive<R>) -> Result<Contents, ArchiveError> {
    let mut contents = Contents::default();
    let mut known = HashSet::new();
    for index in 0..zip.len() {
        let entry = zip.by_index_raw(index)?;
        if entry.is_dir() {
            continue;
        }
        let name = entry.name().to_owned();
        match inner_path(&name) {
            Some(path) if is_litter(&path) => {}
            // Of two files of one name the first counts, as the second would in a folder.
            Some(path) if !known.insert(path.clone()) => {}
            Some(path) => contents.files.push(PackedFile { path, bytes: entry.size(), index }),
            None => contents.outside.push(name),
        }
    }
    contents.files.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(contents)
}

/// The name of an entry as a path below the archive; `None` where it would lead out of it.
fn inner_path(name: &str) -> Option<PathBuf> {
    // Some systems part folders so.
    let unified = name.replace('\\', "/");
    let path = Path::new(&unified);
    let has_drive = unified.as_bytes().get(1) == Some(&b':');
    let stays = path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    if has_drive || !stays || unified.contains('\0') {
        return None;
    }
    let plain: PathBuf = path.components().filter(|part| matches!(part, Component::Normal(_))).collect();
    plain.file_name().is_some().then_some(plain)
}

/// Whether a file is hidden, or something that a system puts into archives for itself.
fn is_litter(path: &Path) -> bool {
    path.iter().map(|part| part.to_string_lossy()).any(|part| part.starts_with('.') || LITTER.contains(&&*part))
}
