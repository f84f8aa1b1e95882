//! Invented weekends and seasons as files in memory.

use std::path::PathBuf;

/// A file of an invented weekend or season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InventedFile {
    /// Its path from the folder.
    pub path: PathBuf,
    /// Its content.
    pub bytes: Vec<u8>,
}
