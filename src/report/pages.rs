//! The report's pages: one self-contained HTML file each, nothing loaded from elsewhere, readable without script.

use askama::Template;

use super::view::{RunView, WeekendView};

#[derive(Template)]
#[template(path = "run.html", config = "src/report/askama.toml")]
struct RunPage<'a> {
    v: &'a RunView,
}

#[derive(Template)]
#[template(path = "weekend.html", config = "src/report/askama.toml")]
struct WeekendPage<'a> {
    v: &'a WeekendView,
}

/// HTML of a run's page.
///
/// # Errors
/// If the template cannot be filled in.
pub fn run(view: &RunView) -> Result<String, askama::Error> {
    RunPage { v: view }.render()
}

/// HTML of the weekend's page.
///
/// # Errors
/// If the template cannot be filled in.
pub fn weekend(view: &WeekendView) -> Result<String, askama::Error> {
    WeekendPage { v: view }.render()
}
