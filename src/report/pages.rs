//! The report's pages: one self-contained HTML file each, nothing loaded from elsewhere, readable without script.

use askama::Template;

use super::view::{RunView, SeasonView, WeekendView};

/// What a page with a trace carries.
#[derive(Debug, Clone, Copy)]
pub struct OfTrace {
    /// The chart library: uPlot 1.6.32 (MIT; `vendor/uplot`).
    pub charts: &'static str,
    /// Its style.
    pub style: &'static str,
    /// The trace itself.
    pub script: &'static str,
    /// Sources of script that the page allows: these two texts, by their SHA-256 (a test holds them together).
    pub hashes: &'static str,
}

/// The trace's script and style.
pub const OF_TRACE: OfTrace = OfTrace {
    charts: include_str!("vendor/uplot/uPlot.iife.min.js"),
    style: include_str!("vendor/uplot/uPlot.min.css"),
    script: include_str!("templates/trace.js"),
    hashes: "'sha256-GcjUxq2Ikpp59K5J1vcWFWbf0Lo9FcxJXpdPeH63jx8=' 'sha256-zheLD3jtTWG+zuUMxFvzul1dnzvVeHgZbarppD1YrD0='",
};

/// Filters of the templates.
#[allow(missing_docs)] // the macro's own items have no docs
pub mod filters {
    use std::fmt::{Display, Write};

    use askama::filters::{Html, Safe, escape};

    /// Literals in backticks set as code; everything escaped.
    ///
    /// # Errors
    /// If the text cannot be formatted.
    #[askama::filter_fn]
    pub fn code(text: impl Display, _: &dyn askama::Values) -> askama::Result<Safe<String>> {
        let text = text.to_string();
        let mut html = String::new();
        let parts: Vec<&str> = text.split('`').collect();
        for (n, part) in parts.iter().enumerate() {
            let escaped = escape(part, Html)?;
            match n % 2 {
                // A backtick without its pair stays as it is.
                1 if n + 1 == parts.len() => write!(html, "`{escaped}")?,
                1 => write!(html, "<code>{escaped}</code>")?,
                _ => write!(html, "{escaped}")?,
            }
        }
        Ok(Safe(html))
    }
}

#[derive(Template)]
#[template(path = "run.html", config = "src/report/askama.toml")]
struct RunPage<'a> {
    v: &'a RunView,
    of_trace: OfTrace,
}

#[derive(Template)]
#[template(path = "weekend.html", config = "src/report/askama.toml")]
struct WeekendPage<'a> {
    v: &'a WeekendView,
}

#[derive(Template)]
#[template(path = "season.html", config = "src/report/askama.toml")]
struct SeasonPage<'a> {
    v: &'a SeasonView,
}

/// HTML of a run's page.
///
/// # Errors
/// If the template cannot be filled in.
pub fn run(view: &RunView) -> Result<String, askama::Error> {
    let page = RunPage { v: view, of_trace: OF_TRACE };
    page.render()
}

/// HTML of the weekend's page.
///
/// # Errors
/// If the template cannot be filled in.
pub fn weekend(view: &WeekendView) -> Result<String, askama::Error> {
    WeekendPage { v: view }.render()
}

/// HTML of the season's page.
///
/// # Errors
/// If the template cannot be filled in.
pub fn season(view: &SeasonView) -> Result<String, askama::Error> {
    SeasonPage { v: view }.render()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scripts_are_those_that_the_pages_allow() {
        use base64::Engine;
        use sha2::Digest;
        let hash = |text: &str| base64::engine::general_purpose::STANDARD.encode(sha2::Sha256::digest(text.as_bytes()));
        let OfTrace { charts, script, hashes, .. } = OF_TRACE;
        assert_eq!(hashes, format!("'sha256-{}' 'sha256-{}'", hash(charts), hash(script)));
        assert!(!charts.contains("</script") && !script.contains("</script"));
    }
}
