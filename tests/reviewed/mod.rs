//! Weekends that a test writes, as a review has them.
#![allow(dead_code)] // each user takes what it needs

use std::io;
use std::path::Path;

use runtrue::review::{Review, review};
use serde_json::Value;

/// The review of the folder that `write` fills.
pub fn reviewed(write: impl FnOnce(&Path) -> io::Result<()>) -> Review {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path()).unwrap();
    review(folder.path(), &|_, _| {}).unwrap()
}

/// The same as `review.json` says it.
pub fn said(write: impl FnOnce(&Path) -> io::Result<()>) -> Value {
    serde_json::from_str(&runtrue::review_file::text(&reviewed(write))).unwrap()
}
