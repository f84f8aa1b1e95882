//! How much the local page takes in, and how long it waits.

use std::time::Duration;

/// Largest file taken, bytes: an hour of ten channels at 200 Hz has half of it.
pub const LARGEST_FILE_BYTES: u64 = 128 << 20;
/// Largest form and largest setup sheet taken, bytes.
pub const LARGEST_FORM_BYTES: usize = 4 << 20;
/// Files taken at a time: each log is read whole.
pub const FILES_AT_ONCE: usize = 2;
/// How long a file may pause while it is sent.
pub const LONGEST_PAUSE: Duration = Duration::from_secs(60);
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
