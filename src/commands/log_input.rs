//! The log that a command was given: a file, or standard input.

use std::io::Read;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use runtrue::import::columns::Hints;
use runtrue::import::{ReadError, read_bytes};
use runtrue::log::Log;
use runtrue::packed;
use runtrue::storage::Converted;

use super::output::Problem;

/// The path that stands for standard input or standard output.
pub const STANDARD: &str = "-";

/// The runs in the log at `path`.
pub fn read_log(path: &Path) -> Result<Vec<Log>, Problem> {
    if path == Path::new(STANDARD) { read_standard(&standard_input()?) } else { read_file(path) }
}

/// The runs in the log at `path`, with the mark for copies of it.
pub fn read_log_to_convert(path: &Path) -> Result<(Vec<Log>, Converted), Problem> {
    if path == Path::new(STANDARD) {
        let bytes = standard_input()?;
        return Ok((read_standard(&bytes)?, Converted::from_log(&bytes)));
    }
    let unread = |source| unreadable(ReadError::Io { path: path.to_owned(), source });
    if !path.is_file() {
        // In an archive, or what can be read once alone.
        let logs = read_file(path)?;
        return Ok((logs, Converted::from_log(&packed::path::read(path).map_err(unread)?)));
    }
    // Beside each other: each takes its time with a long log.
    let is_refused = AtomicBool::new(false);
    let read = || read_file(path).inspect_err(|_| is_refused.store(true, Ordering::Relaxed));
    let mark = || Converted::from_file(path, || !is_refused.load(Ordering::Relaxed));
    let (logs, mark) = rayon::join(read, mark);
    Ok((logs?, mark.map_err(unread)?))
}

fn read_file(path: &Path) -> Result<Vec<Log>, Problem> {
    runtrue::folder::read_log(path).map_err(unreadable)
}

fn standard_input() -> Result<Vec<u8>, Problem> {
    let mut bytes = Vec::new();
    let read = std::io::stdin().lock().read_to_end(&mut bytes);
    read.map_err(|e| Problem::new(format!("standard input could not be read: {e}")))?;
    Ok(bytes)
}

fn read_standard(bytes: &[u8]) -> Result<Vec<Log>, Problem> {
    read_bytes(Path::new("standard input"), bytes, &Hints::default()).map_err(unreadable)
}

fn unreadable(e: ReadError) -> Problem {
    let problem = Problem::new(&e);
    match e.hint() {
        Some(hint) => problem.hint(hint),
        None => problem,
    }
}
