//! What tells a file or a folder from another that takes its place, without reading it.

use std::path::Path;
use std::time::SystemTime;

use crate::packed::path::{PathInArchive, through_archive};

/// What tells a file from an earlier version of itself without reading it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Length, bytes.
    pub length: u64,
    /// When its contents were last changed, as the file itself says: a copy may keep the time of its original.
    pub changed: SystemTime,
    /// Which file it is to the system.
    pub identity: Identity,
}

/// Which file of a drive a name stands for: another file put in its place has another identity. All zero where the
/// system does not tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Identity {
    /// The file's number on its drive.
    number: u64,
    /// When the system last changed the file or its entry, s since 1970.
    changed_s: i64,
    /// The rest of that time, ns.
    changed_ns: i64,
}

/// The stamp of the file at `path`, that of its archive where it is in one; `None` where there is no file.
pub fn stamp(path: &Path) -> Option<Stamp> {
    let own = std::fs::metadata(path).or_else(|e| match through_archive(path) {
        Some(PathInArchive { archive, .. }) => std::fs::metadata(archive),
        None => Err(e),
    });
    let about = own.ok().filter(std::fs::Metadata::is_file)?;
    Some(Stamp { length: about.len(), changed: about.modified().ok()?, identity: identity(&about) })
}

#[cfg(unix)]
fn identity(about: &std::fs::Metadata) -> Identity {
    use std::os::unix::fs::MetadataExt;
    Identity { number: about.ino(), changed_s: about.ctime(), changed_ns: about.ctime_nsec() }
}

#[cfg(not(unix))]
fn identity(_: &std::fs::Metadata) -> Identity {
    Identity::default()
}

/// Tells the folder at `path` from another that takes its place: its number on the drive. `None` where there is no
/// folder.
#[cfg(unix)]
pub fn folder_identity(path: &Path) -> Option<u64> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|m| m.ino())
}

/// Tells the folder at `path` from another that takes its place: when it was made. `None` where there is no folder.
#[cfg(not(unix))]
pub fn folder_identity(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path).ok()?.created().ok()
}
