//! The current review of the folder: made anew when a file of it changes, told to the pages that wait for it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};
use std::time::Duration;

use tokio::sync::watch;

use crate::folder::{self, FolderError, Stamp, stamp};
use crate::kept::KeptRuns;
use crate::notice::Failure;
use crate::review::{Review, review_again};
use crate::sheet;

/// What the folder gives at the moment.
#[derive(Clone)]
pub enum Standing {
    /// Not known yet: its first review is being made.
    Reading,
    /// No log yet.
    Empty,
    /// A review.
    Reviewed(Arc<Review>),
    /// None: a sheet that is no TOML, a folder that cannot be read.
    Failed(Failure),
}

/// What waiting pages are told.
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

/// The folder and what it gives.
pub struct Current {
    folder: PathBuf,
    standing: RwLock<Standing>,
    work: Mutex<(KeptRuns, Listing)>,
    news: watch::Sender<News>,
}

impl Current {
    /// Nothing known of `folder` yet.
    pub fn new(folder: PathBuf) -> Self {
        Self {
            folder,
            standing: RwLock::new(Standing::Reading),
            work: Mutex::default(),
            news: watch::Sender::new(News::default()),
        }
    }

    /// The weekend's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// What the folder gives at the moment.
    pub fn standing(&self) -> Standing {
        self.standing.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The review at the moment, where there is one.
    pub fn review(&self) -> Option<Arc<Review>> {
        match self.standing() {
            Standing::Reviewed(review) => Some(review),
            _ => None,
        }
    }

    /// Waits until the first review is made, `most` at the longest.
    pub async fn ready(&self, most: Duration) {
        let _ = tokio::time::timeout(most, self.news().wait_for(|n| n.version > 0)).await;
    }

    /// A receiver that wakes up with each review begun, gone on with or done.
    pub fn news(&self) -> watch::Receiver<News> {
        self.news.subscribe()
    }

    /// Reviews the folder if a file of it changed since the last time, or if one could not be read. Takes as long as reading the changed logs
    /// does. A mistake of ours in one review is told and does not end the next.
    pub fn refresh(&self) {
        let mut work: MutexGuard<(KeptRuns, Listing)> = self.work.lock().unwrap_or_else(PoisonError::into_inner);
        let now = listing(&self.folder);
        let whole = self.review().is_some_and(|r| r.runs.iter().all(|run| run.done().is_some()));
        if whole && work.1 == now {
            return;
        }
        let told = |done, count| self.news.send_modify(|n| *n = News { busy: true, done, count, ..*n });
        let made = catch_unwind(AssertUnwindSafe(|| review_again(&self.folder, &mut work.0, &told)));
        let standing = match made {
            Ok(Ok(review)) => Standing::Reviewed(Arc::new(review)),
            Ok(Err(FolderError::NoLogs(_))) => Standing::Empty,
            Ok(Err(e)) => Standing::Failed(Failure { message: e.to_string(), hint: Some(e.hint()) }),
            Err(_) => {
                work.0 = KeptRuns::default();
                let message = "runtrue made a mistake of its own on this folder; its files are as they were".to_owned();
                Standing::Failed(Failure { message, hint: Some("the terminal has the details".to_owned()) })
            }
        };
        work.1 = now;
        *self.standing.write().unwrap_or_else(PoisonError::into_inner) = standing;
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
