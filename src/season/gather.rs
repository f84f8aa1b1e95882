//! Finds the weekends in folders, and reads the review of each.
//!
//! A weekend is taken from its own `review.json`, so the file alone is enough where the logs are elsewhere. Where there
//! is none, or where the sheet, a log or a lap list is newer, the weekend is reviewed again and the file left as it is.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::rows::Weekend;
use super::tabulate::{NoDate, weekend};
use crate::figure::FIGURES;
use crate::folder::{self, FolderError, Plan, SHEET, stamp};
use crate::packed::path::is_file;
use crate::review;
use crate::review_file::read::{self, StoredError};
use crate::review_file::stored::StoredReview;
use crate::review_file::written;

/// The review's file in a weekend's folder.
const REVIEW: &str = "report/review.json";

/// Why a weekend is not in the season.
#[derive(Debug, thiserror::Error)]
pub enum GatherError {
    /// It could not be reviewed.
    #[error(transparent)]
    Review(#[from] FolderError),
    /// Its review cannot be opened.
    #[error("`{path}` could not be read: {source}")]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Its review is not one.
    #[error("`{path}` could not be read: {source}")]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        source: StoredError,
    },
    /// It has no date: a season has an order.
    #[error("`{path}`: {}", no_date(.written))]
    NoDate {
        /// Its folder.
        path: PathBuf,
        /// What is written in place of a date; empty where nothing is.
        written: String,
    },
}

fn no_date(written: &str) -> String {
    if written.is_empty() {
        "the weekend has no date".to_owned()
    } else {
        format!("the weekend has no date: `{written}` is not one")
    }
}

impl GatherError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Review(e) => e.hint(),
            Self::File { .. } | Self::Content { .. } => "review the weekend again: `runtrue review`".to_owned(),
            Self::NoDate { .. } => {
                format!("write the date under `[weekend]` in {SHEET}, as `date = 2026-05-16`, and review the weekend")
            }
        }
    }
}

/// How many folders deep weekends are looked for.
const DEEPEST: usize = 3;

/// The weekends' folders in `paths`, in order: each path is one of them, or a folder that holds some.
pub fn weekends(paths: &[PathBuf]) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = Vec::new();
    for path in paths {
        let before = found.len();
        find(path, DEEPEST, &mut found);
        // A path without a weekend is kept: gathering it says what is wrong with it.
        if found.len() == before && !found.contains(path) {
            found.push(path.clone());
        }
    }
    let mut seen = Vec::new();
    found.retain(|path| {
        let real = path.canonicalize().unwrap_or_else(|_| path.clone());
        let new = !seen.contains(&real);
        seen.push(real);
        new
    });
    found
}

fn find(path: &Path, depth: usize, found: &mut Vec<PathBuf>) {
    // Logs without a sheet are a weekend without a date: not passed over, so that the racer is told.
    if path.join(SHEET).is_file() || path.join(REVIEW).is_file() || holds_logs(path) || holds_logs(&path.join("logs")) {
        found.push(path.to_owned());
    } else if depth > 0 {
        let entries = std::fs::read_dir(path).into_iter().flatten().flatten();
        // Links are not followed: one may lead back to a folder above it.
        let folders = entries.filter(|e| e.file_type().is_ok_and(|t| t.is_dir()));
        let mut folders: Vec<PathBuf> = folders.map(|e| e.path()).collect();
        folders.sort();
        folders.iter().for_each(|f| find(f, depth - 1, found));
    }
}

fn holds_logs(folder: &Path) -> bool {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|e| e.path()).any(|p| folder::may_be_log(&p) && p.is_file())
}

/// Gathers the weekend in `folder`.
///
/// # Errors
/// [`GatherError`].
pub fn gather(folder: &Path) -> Result<Weekend, GatherError> {
    let path = folder.join(REVIEW);
    let plan = folder::plan(folder);
    let kept = if is_fresh(folder, &path, &plan) { kept(folder, &path, plan.ok().as_ref())? } else { None };
    let reviewed_anew = kept.is_none();
    let review = match kept {
        Some(review) => review,
        None => {
            let review = review::review(folder, &|_, _| {})?;
            written::as_stored(&review).map_err(|source| GatherError::Content { path, source })?
        }
    };
    let no_date = |NoDate { written }| GatherError::NoDate { path: folder.to_owned(), written };
    Ok(Weekend { reviewed_anew, ..weekend(folder, review, FIGURES).map_err(no_date)? })
}

/// The review in the file at `path`; `None` where it lacks a log of the folder.
fn kept(folder: &Path, path: &Path, plan: Option<&Plan>) -> Result<Option<StoredReview>, GatherError> {
    let lacks_logs = |review: &StoredReview| plan.is_some_and(|plan| has_more_logs(folder, plan, review));
    match read_file(path) {
        Ok(review) => Ok(Some(review).filter(|review| !lacks_logs(review))),
        // Another program's review, or one without runs, is as good as none where the logs are there.
        Err(GatherError::Content { source, .. })
            if !matches!(source, StoredError::Json(_)) && lacks_logs(&StoredReview::default()) =>
        {
            Ok(None)
        }
        Err(e) => Err(e),
    }
}

fn read_file(path: &Path) -> Result<StoredReview, GatherError> {
    let text = std::fs::read_to_string(path).map_err(|source| GatherError::File { path: path.to_owned(), source })?;
    read::read(&text).map_err(|source| GatherError::Content { path: path.to_owned(), source })
}

/// Whether the review is there and no input of it is newer.
fn is_fresh(folder: &Path, review: &Path, plan: &Result<Plan, FolderError>) -> bool {
    let Some(reviewed) = stamp(review).map(|s| s.changed) else { return false };
    let newer = |path: &Path| stamp(path).is_some_and(|s| s.changed > reviewed);
    let plan = match plan {
        Ok(plan) => plan,
        // A review on its own has no logs beside it; a sheet that cannot be read is an error of the weekend.
        Err(e) => return matches!(e, FolderError::NoLogs(_)) || !folder.join(SHEET).is_file(),
    };
    let mut inputs = plan.sheet.runs.iter().flat_map(|r| std::iter::once(&r.log).chain(r.laps.as_ref()));
    !newer(&folder.join(SHEET)) && !inputs.any(|i| newer(&folder.join(i)))
}

/// Whether the folder holds a log that is not in the review, such as one copied there with its old time.
fn has_more_logs(folder: &Path, plan: &Plan, review: &StoredReview) -> bool {
    let reviewed: BTreeSet<&str> = review.runs.iter().filter_map(|run| run.log.as_deref()).collect();
    let new = |log: &Path| !reviewed.contains(folder::plain_path(log).as_str()) && is_file(&folder.join(log));
    plan.sheet.runs.iter().any(|run| new(&run.log))
}
