//! Plain structs for the pages and the terminal: every figure worded here, nothing computed in a template.

mod answers;
mod power;
pub mod run;
pub mod season;
mod trace;
pub mod weekend;

use crate::figure::Weight;
use crate::measure::{battery, heat};
use crate::notice::{Notice, Severity, printable};
use crate::quantity::Estimate;
use crate::review::Review;
use crate::run::GearingVerdict;
use crate::weekend::findings::Finding;

pub use answers::{AnswerView, ChartView};
pub use run::{RunView, next_cells, run};
pub use season::{SeasonView, season};
pub use weekend::{Marked, WeekendView, weekend};

/// How good a verdict is, shown by shape, word and colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// As it should be.
    Good,
    /// Keep an eye on it.
    Watch,
    /// Do something.
    Act,
    /// Open.
    Open,
    /// Worth knowing, neither good nor bad.
    Plain,
}

impl Mark {
    /// Class of the page's style.
    pub fn class(self) -> &'static str {
        match self {
            Mark::Good => "ok",
            Mark::Watch => "watch",
            Mark::Act => "act",
            Mark::Open | Mark::Plain => "open",
        }
    }

    /// Shape, told apart without colour.
    pub fn shape(self) -> &'static str {
        match self {
            Mark::Good => "●",
            Mark::Watch => "◆",
            Mark::Act => "▲",
            Mark::Open => "○",
            Mark::Plain => "▪",
        }
    }
}

/// A finding on a page.
pub struct FindingView {
    /// Its mark.
    pub mark: Mark,
    /// The sentence up to its first stop: what is seen at a glance.
    pub lead: String,
    /// The rest of the sentence.
    pub rest: String,
}

/// A row of a plain table.
pub struct RowView {
    /// Cells.
    pub cells: Vec<String>,
    /// Whether the row is greyed.
    pub aside: bool,
}

/// A notice on a page or the terminal.
pub struct NoticeView {
    /// Its stable name.
    pub code: &'static str,
    /// Whether something was dropped, repaired or guessed.
    pub warning: bool,
    /// Sentence with its place and count.
    pub text: String,
    /// Advice.
    pub hint: String,
}

/// `7.04` and `± 0.05`: the interval to one digit, or two where it begins with 1 or 2, and the value to the same place.
pub fn plus_minus(m: &Estimate) -> (String, String) {
    let half = m.half_width();
    if half <= 0.0 || !half.is_finite() {
        return (format!("{:.1}", m.value), String::new());
    }
    let power = half.log10().floor();
    let lead = half / 10f64.powf(power);
    let digits = (-power + f64::from(u8::from(lead < 2.95))).clamp(0.0, 6.0) as usize;
    (format!("{:.digits$}", m.value), format!("± {half:.digits$}"))
}

/// `7.04 ± 0.05`.
pub fn with_doubt(m: &Estimate) -> String {
    let (value, doubt) = plus_minus(m);
    format!("{value} {doubt}").trim_end().to_owned()
}

/// A delimiter or a decimal mark by its name.
pub fn sign(sign: &str) -> &str {
    match sign {
        "," => "comma",
        ";" => "semicolon",
        "\t" => "tab",
        "|" => "pipe",
        "." => "point",
        other => other,
    }
}

fn optional(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "–".to_owned(), |v| format!("{v:.digits$}"))
}

/// File name of a run's page: letters, digits and dashes of its id, and its number, so that no two are alike.
pub fn page_name(index: usize, id: &str) -> String {
    let plain: String = id.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(40).collect();
    format!("run-{:02}-{plain}.html", index + 1)
}

/// File of a run's normalised log, from the report's folder, by the name of its page.
pub fn log_name(page: &str) -> String {
    format!("logs/{}", page.replace(".html", ".parquet"))
}

fn finding(finding: &Finding) -> FindingView {
    let mark = match finding.severity {
        Weight::Act => Mark::Act,
        Weight::Watch => Mark::Watch,
        Weight::Note => Mark::Plain,
    };
    let rest = if finding.detail.is_empty() { String::new() } else { format!(". {}", finding.detail) };
    FindingView { mark, lead: finding.lead.clone(), rest }
}

/// A notice in words.
pub fn notice(notice: &Notice) -> NoticeView {
    let mut text = notice.message.clone();
    if notice.count > 1 {
        text += &format!(", {} times", notice.count);
    }
    if let Some(line) = notice.line {
        text += &if notice.count > 1 { format!(", first on line {line}") } else { format!(", line {line}") };
    }
    NoticeView {
        code: notice.code,
        warning: notice.severity == Severity::Warning,
        text,
        hint: notice.hint.clone().unwrap_or_default(),
    }
}

fn gearing_mark(verdict: GearingVerdict) -> Mark {
    match verdict {
        GearingVerdict::Agrees => Mark::Good,
        GearingVerdict::Differs => Mark::Act,
        GearingVerdict::CannotTell => Mark::Open,
    }
}

fn heat_mark(verdict: heat::Verdict) -> Mark {
    match verdict {
        heat::Verdict::Within => Mark::Good,
        heat::Verdict::Close => Mark::Watch,
        heat::Verdict::Over => Mark::Act,
        heat::Verdict::CannotTell => Mark::Open,
    }
}

fn battery_mark(verdict: battery::Verdict) -> Mark {
    match verdict {
        battery::Verdict::Plenty => Mark::Good,
        battery::Verdict::Short => Mark::Watch,
        battery::Verdict::UnderFloor => Mark::Act,
        battery::Verdict::CannotTell => Mark::Open,
    }
}

/// Name of the weekend, safe to show.
pub fn weekend_name(review: &Review) -> String {
    match (&review.sheet.name, review.has_sheet) {
        (Some(name), _) => printable(name, 80),
        (None, true) => "A weekend".to_owned(),
        (None, false) => "Logs without a sheet".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(7.0391, 0.048, "7.04", "± 0.05")]
    #[case(94.0, 1.0, "94.0", "± 1.0")]
    #[case(58.0, 0.5, "58.0", "± 0.5")]
    #[case(1462.3, 21.0, "1462", "± 21")]
    #[case(3.5, 0.0, "3.5", "")]
    fn figures_with_their_interval(#[case] value: f64, #[case] half: f64, #[case] figure: &str, #[case] doubt: &str) {
        assert_eq!(plus_minus(&Estimate::from_half_width(value, half)), (figure.to_owned(), doubt.to_owned()));
    }
}
