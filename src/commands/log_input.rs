//! The log that a command was given: a file, or standard input.

use std::io::Read;
use std::path::Path;

use runtrue::import::columns::Hints;
use runtrue::import::{ReadError, read_bytes};
use runtrue::log::Log;

use super::output::Problem;

/// The path that stands for standard input or standard output.
pub const STANDARD: &str = "-";

/// The runs in the log at `path`.
pub fn read_log(path: &Path) -> Result<Vec<Log>, Problem> {
    let problem = |e: ReadError| {
        let problem = Problem::new(&e);
        match e.hint() {
            Some(hint) => problem.hint(hint),
            None => problem,
        }
    };
    if path != Path::new(STANDARD) {
        return runtrue::folder::read_log(path).map_err(problem);
    }
    let mut bytes = Vec::new();
    let read = std::io::stdin().lock().read_to_end(&mut bytes);
    read.map_err(|e| Problem::new(format!("standard input could not be read: {e}")))?;
    read_bytes(Path::new("standard input"), &bytes, &Hints::default()).map_err(problem)
}
