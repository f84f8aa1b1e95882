//! Findings and notices as pages and terminal show them.

use super::mark::Mark;
use crate::figure::Weight;
use crate::notice::{Notice, NoticeCode, Severity};
use crate::weekend::findings::Finding;

/// A finding on a page.
pub struct FindingView {
    /// Its mark.
    pub mark: Mark,
    /// What is seen at a glance.
    pub lead: String,
    /// The rest, with the mark that separates it; may be empty.
    pub rest: String,
    /// Where it leads.
    pub link: Option<String>,
}

/// A finding with its lead, which a page prints bold, and where it leads.
pub fn finding(finding: &Finding, link: Option<String>) -> FindingView {
    let mark = match finding.severity {
        Weight::Act => Mark::Act,
        Weight::Watch => Mark::Watch,
        Weight::Note => Mark::Plain,
    };
    let rest = if finding.detail.is_empty() { String::new() } else { format!(". {}", finding.detail) };
    FindingView { mark, lead: finding.lead.clone(), rest, link }
}

/// A notice on a page or the terminal.
pub struct NoticeView {
    /// Its kind.
    pub code: NoticeCode,
    /// Whether something was dropped, repaired or guessed.
    pub warning: bool,
    /// Sentence with its place and count.
    pub text: String,
    /// Advice.
    pub hint: String,
}

/// A notice in words.
pub fn notice(notice: &Notice) -> NoticeView {
    NoticeView {
        code: notice.code,
        warning: notice.severity == Severity::Warning,
        text: notice.text(),
        hint: notice.hint.clone().unwrap_or_default(),
    }
}

/// Why a run could not be reviewed.
pub struct ErrorView {
    /// What failed.
    pub message: String,
    /// What to do about it; may be empty.
    pub hint: String,
}
