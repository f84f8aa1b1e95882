//! What can be taken away: pages, JSON, tables and logs, made on demand from the current review.

use std::path::Path;

use super::pages::Group;
use crate::folder::{self, SHEET};
use crate::report::{pages, tables, view};
use crate::review::Review;
use crate::review_file;
use crate::storage;

/// Type of a file and its bytes, or why it could not be made.
pub type Made = Result<(&'static str, Vec<u8>), String>;

/// Files by kind.
pub fn groups(review: Option<&Review>, folder: &Path) -> Vec<Group> {
    let mut groups = Vec::new();
    if let Some(review) = review {
        let runs = || review.runs.iter().enumerate().map(|(at, r)| (view::page_name(at, &r.plan().id), r));
        let of_run = |what: &str, id: &str| format!("{what} run {}", crate::notice::printable(id, 40));
        let mut all = vec![("index.html".to_owned(), "the weekend".to_owned())];
        all.extend(runs().map(|(page, r)| (page, of_run("", &r.plan().id))));
        groups.push(("Pages", "Each is one file that needs no other, to keep or to send on.", all));
        let tables =
            [("review.json", "all answers"), ("runs.parquet", "one row a run"), ("laps.parquet", "one row a lap")];
        groups.push((
            "Data",
            "For other programs; units are in the names and in the Parquet fields.",
            tables.map(|(name, what)| (name.to_owned(), what.to_owned())).to_vec(),
        ));
        let logs = runs().filter(|r| r.1.done().is_some());
        let logs = logs.map(|(page, r)| (view::log_name(&page), of_run("the log of", &r.plan().id))).collect();
        groups.push(("Logs", "As they were understood: one clock, one unit a channel.", logs));
    }
    if folder.join(SHEET).is_file() {
        groups.push(("Sheet", "", vec![(SHEET.to_owned(), "the setup sheet".to_owned())]));
    }
    groups
}

/// The file of that name; `None` where there is none. Names are looked for in the list, never in the file system.
pub fn file(review: Option<&Review>, folder: &Path, name: &str) -> Option<Made> {
    const PAGE: &str = "text/html; charset=utf-8";
    const PARQUET: &str = "application/vnd.apache.parquet";
    if name == SHEET {
        let sheet = folder::within(folder, Path::new(SHEET)).ok()?;
        return std::fs::read(sheet).ok().map(|bytes| Ok(("application/toml", bytes)));
    }
    let review = review?;
    let text = |html: Result<String, askama::Error>| html.map(|t| (PAGE, t.into_bytes())).map_err(|e| e.to_string());
    let table = |table: Result<arrow::array::RecordBatch, arrow::error::ArrowError>| {
        table.map_err(|e| e.to_string()).and_then(|t| storage::batch_as_parquet(&t)).map(|b| (PARQUET, b))
    };
    match name {
        "index.html" => return Some(text(pages::weekend(&view::weekend(review)))),
        "review.json" => return Some(Ok(("application/json", review_file::text(review).into_bytes()))),
        "runs.parquet" => return Some(table(tables::runs(review, crate::figure::FIGURES))),
        "laps.parquet" => return Some(table(tables::laps(review))),
        _ => {}
    }
    review.runs.iter().enumerate().find_map(|(at, run)| {
        let page = view::page_name(at, &run.plan().id);
        if page == name {
            return Some(text(pages::run(&view::run(review, at))));
        }
        let done = run.done().filter(|_| view::log_name(&page) == name)?;
        Some(storage::log_as_parquet(&done.log).map(|b| (PARQUET, b)))
    })
}
