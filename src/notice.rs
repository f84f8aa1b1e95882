//! Remarks on how an input was read, and failures of a single run: data here, rendered by each surface in its own way.

use schemars::JsonSchema;
use serde::Serialize;

/// How much a notice matters to the figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Said for completeness: nothing was lost or guessed.
    Note,
    /// Something was dropped, repaired or guessed.
    Warning,
}

/// A remark on a result that stands, with a caveat. An error means no result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Notice {
    /// Stable name of the kind of remark, in kebab case.
    pub code: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// One sentence, literals in backticks, without a final full stop.
    pub message: String,
    /// First line of the file it happened on, counted from 1.
    pub line: Option<u64>,
    /// How often it happened.
    pub count: u64,
    /// What the reader can do about it.
    pub hint: Option<String>,
}

impl Notice {
    /// A note that happened once.
    pub fn note(code: &'static str, message: impl Into<String>) -> Self {
        Self { code, severity: Severity::Note, message: message.into(), line: None, count: 1, hint: None }
    }

    /// A warning that happened once.
    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::note(code, message) }
    }

    /// The same notice with the first line it happened on and how often.
    pub fn at(mut self, line: Option<u64>, count: u64) -> Self {
        self.line = line;
        self.count = count;
        self
    }

    /// The same notice with advice.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// Why a run could not be reviewed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Failure {
    /// What failed, where, and the value seen.
    pub message: String,
    /// What to do about it.
    pub hint: Option<String>,
}

/// Counts how often something happened and remembers the first place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// How often.
    pub count: u64,
    /// Line of the first time, counted from 1.
    pub first_line: Option<u64>,
    /// What was seen the first time.
    pub first_seen: String,
}

impl Tally {
    /// Counts one more; `seen` is asked for just the first time.
    pub fn add(&mut self, line: u64, seen: impl FnOnce() -> String) {
        if self.count == 0 {
            self.first_line = Some(line);
            self.first_seen = seen();
        }
        self.count += 1;
    }

    /// Adds what was counted after these.
    pub fn append(&mut self, next: Tally) {
        if self.count == 0 {
            *self = next;
        } else {
            self.count += next.count;
        }
    }
}

/// `text` made safe to print on one line: control characters as escapes, cut after `most` characters.
pub fn printable(text: &str, most: usize) -> String {
    let mut out = String::new();
    for (at, c) in text.chars().enumerate() {
        if at == most {
            out.push('…');
            break;
        }
        if c.is_control() || is_bidi_control(c) {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    out
}

/// Marks that reorder text on screen (Unicode Standard Annex 9) and can make a name look like another.
fn is_bidi_control(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}
