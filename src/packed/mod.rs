//! What is packed: a zip archive is read like a folder, a workbook like a log that was saved as text.
//!
//! Nothing is unpacked onto the drive: a file in an archive has a path through it, `runs.zip/run1.csv`, and is read from
//! there each time. So a review still writes nothing but its report, and whoever deletes the archive has deleted its
//! logs.

pub mod archive;
pub mod path;
pub mod workbook;

/// How many bytes are held at most of what is packed in one file, bytes: a weekend's logs have a tenth of it.
pub const MOST_BYTES: u64 = 256 << 20;
