//! A weekend's folder somewhere else, without its report.

use std::fs;
use std::path::Path;

/// Copies all that is in a folder, but for its report.
pub fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().flatten().filter(|e| e.file_name() != "report") {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target)
        } else {
            fs::copy(entry.path(), target).map(drop).unwrap()
        }
    }
}
