//! The report's pages: one self-contained HTML file each, nothing loaded from elsewhere, readable without script.

use askama::Template;

use super::view::{RunView, SeasonView, WeekendView};

/// The chart library of the trace: uPlot 1.6.32 (MIT; `vendor/uplot`).
pub const CHART_SCRIPT: &str = include_str!("vendor/uplot/uPlot.iife.min.js");
/// Its style.
pub const CHART_STYLE: &str = include_str!("vendor/uplot/uPlot.min.css");
/// The trace itself.
pub const TRACE_SCRIPT: &str = include_str!("templates/trace.js");
/// Sources of script that a run's page allows: these two texts, by their SHA-256 (a test holds them together).
pub const SCRIPT_HASHES: &str =
    "'sha256-GcjUxq2Ikpp59K5J1vcWFWbf0Lo9FcxJXpdPeH63jx8=' 'sha256-3VSkKfxAty1zNIayJ7N6uA+lk2I+0Lg2C8jLEOVGAE4='";

/// Filters of the templates.
#[allow(missing_docs)] // what the macro makes of a filter has none
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
        for (at, part) in parts.iter().enumerate() {
            let escaped = escape(part, Html)?;
            match at % 2 {
                // A backtick without its pair stays as it is.
                1 if at + 1 == parts.len() => write!(html, "`{escaped}")?,
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
    chart_script: &'static str,
    chart_style: &'static str,
    trace_script: &'static str,
    script_hashes: &'static str,
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
    let page = RunPage {
        v: view,
        chart_script: CHART_SCRIPT,
        chart_style: CHART_STYLE,
        trace_script: TRACE_SCRIPT,
        script_hashes: SCRIPT_HASHES,
    };
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
        assert_eq!(SCRIPT_HASHES, format!("'sha256-{}' 'sha256-{}'", hash(CHART_SCRIPT), hash(TRACE_SCRIPT)));
        assert!(!CHART_SCRIPT.contains("</script") && !TRACE_SCRIPT.contains("</script"));
    }
}
