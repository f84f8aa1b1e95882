//! The current review of the folder: made anew when a file of it changes; pages that wait for it are woken.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};
use std::time::Duration;

use tokio::sync::watch;

use crate::folder::{self, FolderError, Stamp, stamp};
use crate::kept::{KeptRuns, ReadLog};
use crate::notice::Failure;
use crate::review::{Review, review_again};
use crate::sheet;

/// What the folder gives at the moment.
#[derive(Clone)]
pub enum FolderState {
    /// Not known yet: its first review is being made.
    Reading,
    /// No log yet.
    Empty,
    /// A review.
    Reviewed(Arc<Review>),
    /// No review: the sheet is not TOML, or the folder cannot be read.
    Failed(Failure),
}

/// What waiting pages get to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct News {
    /// Counts the reviews.
    pub version: u64,
    /// Whether one is being made.
    pub busy: bool,
    /// Runs read for it.
    pub done: usize,
    /// Runs to be read for it.
    pub count: usize,
}

/// Files of the folder with length and time of change.
type Listing = Vec<(Option<Stamp>, PathBuf)>;

/// What one review leaves for the next.
#[derive(Default)]
struct Work {
    /// Runs that need not be read again.
    kept: KeptRuns,
    /// The files that the last review was made from.
    files: Listing,
}

/// The folder and what it gives.
pub struct Current {
    folder: PathBuf,
    state: RwLock<FolderState>,
    work: Mutex<Work>,
    news: watch::Sender<News>,
}

impl Current {
    /// Nothing known of `folder` yet.
    pub fn new(folder: PathBuf) -> Self {
        Self {
            folder,
            state: RwLock::new(FolderState::Reading),
            work: Mutex::default(),
            news: watch::Sender::new(News::default()),
        }
    }

    /// The weekend's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// What the folder gives at the moment.
    pub fn state(&self) -> FolderState {
        self.state.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The review at the moment, where there is one.
    pub fn review(&self) -> Option<Arc<Review>> {
        match self.state() {
            FolderState::Reviewed(review) => Some(review),
            _ => None,
        }
    }

    /// Waits until the first review is made, `longest` at most.
    pub async fn first_review(&self, longest: Duration) {
        let _ = tokio::time::timeout(longest, self.news().wait_for(|n| n.version > 0)).await;
    }

    /// A receiver that wakes up with each review begun, gone on with or done.
    pub fn news(&self) -> watch::Receiver<News> {
        self.news.subscribe()
    }

    /// Hands over a log that was read on its way into the folder, so that the review does not read it again.
    pub fn hand_over(&self, log: ReadLog) {
        self.work.lock().unwrap_or_else(PoisonError::into_inner).kept.hand_over(log);
    }

    /// Reviews the folder if a file of it changed since the last time, or if one could not be read. Takes as long as
    /// reading the changed logs does. A fault of the program in one review is shown and does not end the next.
    pub fn refresh(&self) {
        let mut work: MutexGuard<Work> = self.work.lock().unwrap_or_else(PoisonError::into_inner);
        let now = listing(&self.folder);
        let whole = self.review().is_some_and(|r| r.runs.iter().all(|run| run.done().is_some()));
        if whole && work.files == now {
            return;
        }
        let progress = |done, count| self.news.send_modify(|n| *n = News { busy: true, done, count, ..*n });
        let made = catch_unwind(AssertUnwindSafe(|| review_again(&self.folder, &mut work.kept, &progress)));
        let state = match made {
            Ok(Ok(review)) => FolderState::Reviewed(Arc::new(review)),
            Ok(Err(FolderError::NoLogs(_))) => FolderState::Empty,
            Ok(Err(FolderError::Sheet(m))) => {
                let message = format!("line {} of the setup sheet cannot be read: {}\n\n{}", m.line, m.message, m.seen);
                FolderState::Failed(Failure { message, hint: Some(m.hint) })
            }
            Ok(Err(e)) => FolderState::Failed(Failure { message: e.to_string(), hint: Some(e.hint()) }),
            Err(_) => {
                work.kept = KeptRuns::default();
                let message =
                    "runtrue failed on this folder, by a fault of its own; your files are unchanged".to_owned();
                FolderState::Failed(Failure { message, hint: Some("the terminal window shows the details".to_owned()) })
            }
        };
        work.files = now;
        *self.state.write().unwrap_or_else(PoisonError::into_inner) = state;
        self.news.send_modify(|n| *n = News { version: n.version + 1, ..News::default() });
    }
}

/// The files that a review could be made from: those of the folder, and those that the sheet names, wherever they lie.
pub fn listing(folder: &Path) -> Listing {
    let mut files = folder::files(folder).unwrap_or_default();
    let sheet = folder::read_sheet_text(folder).ok().flatten().and_then(|t| sheet::read::read(&t).ok());
    let named = sheet.into_iter().flat_map(|s| s.runs).flat_map(|run| [Some(run.log), run.laps]).flatten();
    files.extend(named);
    files.sort();
    files.dedup();
    files.into_iter().map(|p| (stamp(&folder.join(&p)), p)).filter(|f| f.0.is_some()).collect()
}
