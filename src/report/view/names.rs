//! Names: of the weekend, of the report's files, of a setting and of a delimiter.

use crate::notice::printable;
use crate::review::Review;
use crate::sheet::{Setting, Settings};

/// File name of a run's page: letters, digits and dashes of its id, and its number, so that no two are alike.
pub fn page_name(index: usize, id: &str) -> String {
    let plain: String = id.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(40).collect();
    format!("run-{:02}-{plain}.html", index + 1)
}

/// File of a run's normalised log, from the report's folder, by the name of its page.
pub fn log_name(page: &str) -> String {
    format!("logs/{}", page.replace(".html", ".parquet"))
}

/// Name of the weekend, safe to show.
pub fn weekend_name(review: &Review) -> String {
    match (&review.sheet.name, review.has_sheet) {
        (Some(name), _) => printable(name, 80),
        (None, true) => "A weekend".to_owned(),
        (None, false) => "Logs without a sheet".to_owned(),
    }
}

/// Longest note that is shown, characters.
const LONGEST_NOTE: usize = 600;

/// A note of the sheet, safe to show on one line; `None` where there is none.
pub fn note(of: &Settings, path: &str) -> Option<String> {
    let value = of.0.get(path)?;
    let text = value_text(value);
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    (!lines.is_empty()).then(|| printable(&lines.join(" · "), LONGEST_NOTE))
}

fn value_text(value: &Setting) -> String {
    match value {
        Setting::Text(text) => text.clone(),
        other => other.to_string(),
    }
}

/// What a delimiter or a decimal mark is called.
pub fn sign_name(sign: &str) -> &str {
    match sign {
        "," => "comma",
        ";" => "semicolon",
        "\t" => "tab",
        "|" => "pipe",
        "." => "point",
        other => other,
    }
}
