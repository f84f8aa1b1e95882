//! Lap times that were typed or pasted, as they were read, before they are kept.

use askama::Template;

use super::said::WayBack;
use super::{Page, PageFrame};
use crate::laps::typed::TypedLaps;
use crate::report::pages::filters;
use crate::wording::counted;

#[derive(Template)]
#[template(path = "typed.html", config = "src/serve/askama.toml")]
struct TypedPage<'a> {
    frame: PageFrame,
    run: &'a str,
    page: &'a str,
    text: &'a str,
    summary: String,
    times: Vec<String>,
    remarks: Vec<String>,
}

/// The lap times of `run`, whose page is `page`, as they were `read` from `text`.
///
/// # Errors
/// If the template cannot be filled in.
pub fn typed(frame: PageFrame, (run, page): (&str, &str), text: &str, read: Option<&TypedLaps>) -> Page {
    let seconds = |s: f64| format!("{s:.3}");
    let summary = |laps: &TypedLaps| {
        let count = counted(laps.times_s.len(), "lap");
        format!("{count}, best {} s, median {} s", seconds(laps.best_s), seconds(laps.median_s))
    };
    TypedPage {
        frame,
        run,
        page,
        text,
        summary: read.map(summary).unwrap_or_default(),
        times: read.iter().flat_map(|laps| laps.times_s.iter().map(|s| seconds(*s))).collect(),
        remarks: read.map(|laps| laps.remarks.clone()).unwrap_or_default(),
    }
    .render()
}
