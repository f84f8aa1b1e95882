//! What can be taken away: pages, JSON, tables and logs, made on demand from the current review.

use std::path::Path;

use arrow::array::RecordBatch;
use arrow::error::ArrowError;

use crate::figure::FIGURES;
use crate::folder::{self, SHEET};
use crate::notice::printable;
use crate::report::{pages, tables, view};
use crate::review::Review;
use crate::review_file;
use crate::storage;

const PAGE: &str = "text/html; charset=utf-8";
const PARQUET: &str = "application/vnd.apache.parquet";
/// Longest id of a run that is shown, in characters.
const LONGEST_ID: usize = 40;

/// Files of one kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileGroup {
    /// Heading.
    pub heading: &'static str,
    /// What they are good for, a sentence; may be empty.
    pub about: &'static str,
    /// The files.
    pub files: Vec<FileLine>,
}

/// A file in the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileLine {
    /// Name that it is asked for by.
    pub name: String,
    /// What is in it.
    pub about: String,
}

impl FileLine {
    fn new(name: impl Into<String>, about: impl Into<String>) -> Self {
        Self { name: name.into(), about: about.into() }
    }
}

/// A file to be taken away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Download {
    /// Media type.
    pub media_type: &'static str,
    /// Content.
    pub bytes: Vec<u8>,
}

/// Files by kind: those of the review where there is one, and the sheet.
pub fn groups(review: Option<&Review>, folder: &Path) -> Vec<FileGroup> {
    let mut groups = review.map(review_groups).unwrap_or_default();
    if folder.join(SHEET).is_file() {
        groups.push(FileGroup { heading: "Sheet", about: "", files: vec![FileLine::new(SHEET, "the setup sheet")] });
    }
    groups
}

fn review_groups(review: &Review) -> Vec<FileGroup> {
    let runs = || review.runs.iter().enumerate().map(|(index, run)| (view::page_name(index, &run.plan().id), run));
    let mut pages = vec![FileLine::new("index.html", "the weekend")];
    pages.extend(runs().map(|(page, run)| {
        let id = printable(&run.plan().id, LONGEST_ID);
        FileLine::new(page, format!("run {id}"))
    }));
    let logs = runs().filter(|(_, run)| run.done().is_some()).map(|(page, run)| {
        let id = printable(&run.plan().id, LONGEST_ID);
        FileLine::new(view::log_name(&page), format!("log of run {id}"))
    });
    vec![
        FileGroup {
            heading: "Pages",
            about: "Each page is one file that needs no other: keep it, or send it to somebody.",
            files: pages,
        },
        FileGroup {
            heading: "Data",
            about: "For other programs. The units are in the column names and in the Parquet field metadata.",
            files: vec![
                FileLine::new("review.json", "all answers"),
                FileLine::new("runs.parquet", "one row for each run"),
                FileLine::new("laps.parquet", "one row for each lap"),
                FileLine::new("runs.csv", "one row for each run, for a spreadsheet"),
                FileLine::new("laps.csv", "one row for each lap, for a spreadsheet"),
            ],
        },
        FileGroup {
            heading: "Logs",
            about: "Each log as it was understood: one clock, one unit for each channel.",
            files: logs.collect(),
        },
    ]
}

/// The file of that name; `None` where there is none. Names are looked for in the list, never in the file system.
pub fn download(review: Option<&Review>, folder: &Path, name: &str) -> Option<Result<Download, String>> {
    if name == SHEET {
        let sheet = folder::within(folder, Path::new(SHEET)).ok()?;
        let bytes = std::fs::read(sheet).ok()?;
        return Some(Ok(Download { media_type: "application/toml", bytes }));
    }
    let review = review?;
    match name {
        "index.html" => Some(page(pages::weekend(&view::weekend(review), review.sheet.units()))),
        "review.json" => {
            Some(Ok(Download { media_type: "application/json", bytes: review_file::text(review).into_bytes() }))
        }
        "runs.parquet" => Some(table(tables::runs(review, FIGURES))),
        "laps.parquet" => Some(table(tables::laps(review))),
        "runs.csv" => Some(csv(tables::runs(review, FIGURES))),
        "laps.csv" => Some(csv(tables::laps(review))),
        _ => run_file(review, name),
    }
}

/// A run's page or its log.
fn run_file(review: &Review, name: &str) -> Option<Result<Download, String>> {
    review.runs.iter().enumerate().find_map(|(index, run)| {
        let run_page = view::page_name(index, &run.plan().id);
        if run_page == name {
            return Some(page(pages::run(&view::run(review, index), review.sheet.units())));
        }
        let done = run.done().filter(|_| view::log_name(&run_page) == name)?;
        Some(parquet(storage::log_as_parquet(&done.log)))
    })
}

fn page(html: Result<String, askama::Error>) -> Result<Download, String> {
    let text = html.map_err(|e| e.to_string())?;
    Ok(Download { media_type: PAGE, bytes: text.into_bytes() })
}

fn table(batch: Result<RecordBatch, ArrowError>) -> Result<Download, String> {
    parquet(storage::batch_as_parquet(&batch.map_err(|e| e.to_string())?))
}

fn csv(batch: Result<RecordBatch, ArrowError>) -> Result<Download, String> {
    let bytes = storage::batch_as_csv(&batch.map_err(|e| e.to_string())?)?;
    Ok(Download { media_type: "text/csv; charset=utf-8", bytes })
}

fn parquet(bytes: Result<Vec<u8>, String>) -> Result<Download, String> {
    Ok(Download { media_type: PARQUET, bytes: bytes? })
}
