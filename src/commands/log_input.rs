//! The log that a command was given: a file, or standard input.

use std::io::Read;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use runtrue::import::columns::Hints;
use runtrue::import::{self, ReadError};
use runtrue::log::Log;
use runtrue::storage::Converted;

use super::output::Problem;

/// The path that stands for standard input or standard output.
pub const STANDARD: &str = "-";
/// Length of a log, in bytes, up to which more threads cost more than they save: each starts with memory of its own.
const SHORT_LOG_BYTES: u64 = 1 << 20;

/// The runs in the log at `path`.
pub fn read_log(path: &Path) -> Result<Vec<Log>, Problem> {
    read(path, &bytes_of(path)?)
}

/// The runs in the log at `path`, with the mark for copies of it.
pub fn read_log_to_convert(path: &Path) -> Result<(Vec<Log>, Converted), Problem> {
    let is_short = std::fs::metadata(path).is_ok_and(|m| m.is_file() && m.len() <= SHORT_LOG_BYTES);
    if is_short {
        // Fails only where the program has its threads already.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global();
    }
    if is_short || path == Path::new(STANDARD) || !path.is_file() {
        // Short, standard input, in an archive, or what can be read only once.
        let bytes = bytes_of(path)?;
        return Ok((read(path, &bytes)?, Converted::from_log(&bytes)));
    }
    // Beside each other, from the first byte on: each takes its time with a long log.
    let is_refused = AtomicBool::new(false);
    let read = || read_log(path).inspect_err(|_| is_refused.store(true, Ordering::Relaxed));
    let mark = || Converted::from_file(path, || !is_refused.load(Ordering::Relaxed));
    let (logs, mark) = rayon::join(read, mark);
    let unread = |source| unreadable(ReadError::Io { path: path.to_owned(), source });
    Ok((logs?, mark.map_err(unread)?))
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, Problem> {
    if path == Path::new(STANDARD) { standard_input() } else { import::bytes_of(path).map_err(unreadable) }
}

fn read(path: &Path, bytes: &[u8]) -> Result<Vec<Log>, Problem> {
    let logs = match path == Path::new(STANDARD) {
        true => import::read_bytes(Path::new("standard input"), bytes, &Hints::default()),
        false => runtrue::read_by_sheet::read_log_bytes(path, bytes),
    };
    logs.map_err(unreadable)
}

fn standard_input() -> Result<Vec<u8>, Problem> {
    let mut bytes = Vec::new();
    let read = std::io::stdin().lock().read_to_end(&mut bytes);
    read.map_err(|e| Problem::new(format!("standard input could not be read: {e}")))?;
    Ok(bytes)
}

fn unreadable(e: ReadError) -> Problem {
    let problem = Problem::new(&e);
    match e.hint() {
        Some(hint) => problem.hint(hint),
        None => problem,
    }
}
