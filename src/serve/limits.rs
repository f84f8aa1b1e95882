//! How much the local page takes in, and how long it waits.

use std::time::Duration;

/// Largest file taken, bytes: an hour of ten channels at 200 Hz has half of it.
pub const LARGEST_FILE_BYTES: u64 = 128 << 20;
/// Largest form and largest setup sheet taken, bytes: a weekend of a hundred runs has a twentieth of it.
pub const LARGEST_FORM_BYTES: usize = 1 << 20;
/// Fields of a form at most: a hundred runs have a third of it.
pub const MOST_FIELDS: usize = 10_000;
/// Values that are changed by one form at most: each is written into the sheet by itself.
pub const MOST_CHANGES: usize = 400;
/// Files taken at a time: each log is read whole.
pub const FILES_AT_ONCE: usize = 2;
/// Least bytes a second of a file that is sent, and the time over which they are counted: what is slower holds a turn
/// for nothing.
pub const SLOWEST_BYTES_A_SECOND: u64 = 10_000;
pub const SLOWEST_OVER: Duration = Duration::from_secs(30);
/// How long a request may take to say what it asks for.
pub const LONGEST_HEAD: Duration = Duration::from_secs(10);
/// How long what still comes after a refusal is read and thrown away, so that the refusal arrives: as long as a request
/// may take to say what it asks for.
pub const LONGEST_LEAVE: Duration = LONGEST_HEAD;
/// Connections answered at a time: a browser has half a dozen.
pub const CONNECTIONS_AT_ONCE: usize = 64;
/// How long the server waits before it takes connections again where the system had no handles left.
pub const OUT_OF_HANDLES_WAIT: Duration = Duration::from_millis(200);
/// How long an answer waits at most for news of the folder, or for the first review.
pub const LONGEST_WAIT: Duration = Duration::from_secs(20);
/// How long the weekend's page waits for the first review before it says that logs are being read.
pub const FIRST_REVIEW_WAIT: Duration = Duration::from_secs(2);
/// Time between two reports of a review's progress.
pub const PROGRESS_INTERVAL: Duration = Duration::from_millis(250);

/// Whole megabytes (2²⁰ bytes) of a limit.
pub const fn megabytes(limit_bytes: u64) -> u64 {
    limit_bytes >> 20
}
