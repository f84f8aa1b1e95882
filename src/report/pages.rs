//! The report's pages: one self-contained HTML file each, nothing loaded from elsewhere, readable without script.

use askama::Template;

use super::view::{RunView, SeasonView, WeekendView};
use crate::units::Units;
use crate::units::marks::as_html;

/// The scripts of the pages, and by which hash a page allows each: its SHA-256 (a test holds them together).
#[derive(Debug, Clone, Copy)]
pub struct Scripts {
    /// Switches the page's units.
    pub units: &'static str,
    /// Saves charts as pictures.
    pub picture: &'static str,
    /// The chart library of the trace: uPlot 1.6.32 (MIT; `vendor/uplot`).
    pub charts: &'static str,
    /// Its style.
    pub chart_style: &'static str,
    /// The trace itself.
    pub trace: &'static str,
    hashes: ScriptHashes,
}

#[derive(Debug, Clone, Copy)]
struct ScriptHashes {
    units: &'static str,
    picture: &'static str,
    charts: &'static str,
    trace: &'static str,
}

/// The pages' scripts.
pub const SCRIPTS: Scripts = Scripts {
    units: include_str!("templates/units.js"),
    picture: include_str!("templates/picture.js"),
    charts: include_str!("vendor/uplot/uPlot.iife.min.js"),
    chart_style: include_str!("vendor/uplot/uPlot.min.css"),
    trace: concat!(include_str!("templates/trace_laps.js"), include_str!("templates/trace.js")),
    hashes: ScriptHashes {
        units: "WVCb+pueqiliTgoMRhxg/vBIMPhZ+D9d837JR1B1jrc=",
        picture: "RYsdlQ9od0vRP6SKCz93ccANekHPYJziPQcWKBedH9A=",
        charts: "GcjUxq2Ikpp59K5J1vcWFWbf0Lo9FcxJXpdPeH63jx8=",
        trace: "x4EpJUfU/R5i06gkTN6S1Bu1aFojkPbhuAg6N/CwLtk=",
    },
};

impl Scripts {
    /// Sources of script that a run's page allows.
    pub fn of_run(&self) -> String {
        let ScriptHashes { charts, trace, .. } = self.hashes;
        format!("{} 'sha256-{charts}' 'sha256-{trace}'", self.of_charts())
    }

    /// Sources of script that a page with charts and no trace allows.
    pub fn of_charts(&self) -> String {
        format!("'sha256-{}'", self.hashes.picture)
    }

    /// Sources of script that every page allows, before its own.
    pub fn of_all(&self) -> String {
        format!("'sha256-{}'", self.hashes.units)
    }
}

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

    /// A table's cell: a number is not parted from the sign before it where the cell is too narrow for one line.
    ///
    /// # Errors
    /// If the text cannot be formatted.
    #[askama::filter_fn]
    pub fn cell(text: impl Display, _: &dyn askama::Values) -> askama::Result<Safe<String>> {
        let bound = text.to_string().replace("± ", "±\u{a0}");
        Ok(Safe(escape(bound, Html)?.to_string()))
    }
}

#[derive(Template)]
#[template(path = "run.html", config = "src/report/askama.toml")]
struct RunPage<'a> {
    v: &'a RunView,
    scripts: Scripts,
}

#[derive(Template)]
#[template(path = "weekend.html", config = "src/report/askama.toml")]
struct WeekendPage<'a> {
    v: &'a WeekendView,
    scripts: Scripts,
}

#[derive(Template)]
#[template(path = "season.html", config = "src/report/askama.toml")]
struct SeasonPage<'a> {
    v: &'a SeasonView,
    scripts: Scripts,
}

/// HTML of a run's page in these units.
///
/// # Errors
/// If the template cannot be filled in.
pub fn run(view: &RunView, units: Units) -> Result<String, askama::Error> {
    Ok(in_units(&RunPage { v: view, scripts: SCRIPTS }.render()?, units))
}

/// HTML of the weekend's page in these units.
///
/// # Errors
/// If the template cannot be filled in.
pub fn weekend(view: &WeekendView, units: Units) -> Result<String, askama::Error> {
    Ok(in_units(&WeekendPage { v: view, scripts: SCRIPTS }.render()?, units))
}

/// HTML of the season's page in these units.
///
/// # Errors
/// If the template cannot be filled in.
pub fn season(view: &SeasonView, units: Units) -> Result<String, askama::Error> {
    Ok(in_units(&SeasonPage { v: view, scripts: SCRIPTS }.render()?, units))
}

/// A page whose quantities are in `units` until its switch is used.
pub fn in_units(page: &str, units: Units) -> String {
    as_html(&says_units(page, units), units)
}

/// A page without quantities that says with which units its switch begins; one that says so already stays as it is.
pub fn says_units(page: &str, units: Units) -> String {
    page.replacen(NO_UNITS, &format!("data-units=\"{}\"", units.name()), 1)
}

/// Stands in the templates where a page says in which units it is.
const NO_UNITS: &str = "data-units=\"\"";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scripts_are_those_that_the_pages_allow() {
        use base64::Engine;
        use sha2::Digest;
        let hash = |text: &str| base64::engine::general_purpose::STANDARD.encode(sha2::Sha256::digest(text.as_bytes()));
        let Scripts { units, picture, charts, trace, hashes, .. } = SCRIPTS;
        let known = [(units, hashes.units), (picture, hashes.picture), (charts, hashes.charts), (trace, hashes.trace)];
        for (script, known) in known {
            assert_eq!(known, hash(script), "{}", script.lines().next().unwrap_or_default());
            assert!(!script.contains("</script"));
        }
    }
}
