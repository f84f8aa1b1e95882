//! Mistakes on the sheet, each with its place, drawn with the line underlined.

use std::ops::Range;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};

use crate::notice::printable;

/// Longest line that is shown, characters.
const LONGEST_LINE: usize = 200;

/// Something wrong on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Mistake {
    /// What is wrong, without a final full stop.
    pub message: String,
    /// What is allowed, or what to do.
    pub hint: String,
    /// Line, from 1.
    pub line: u64,
    /// Column, from 1, in characters.
    pub column: u64,
    /// The line with the place underlined.
    pub drawing: String,
    /// The line as it is.
    pub seen: String,
    /// Path of the key that was probably meant.
    pub meant: Option<String>,
}

impl Mistake {
    /// A mistake at the bytes `span` of the sheet's `text`.
    pub fn new(text: &str, span: Range<usize>, message: impl Into<String>, hint: impl Into<String>) -> Self {
        let (message, hint) = (message.into(), hint.into());
        let start = text.floor_char_boundary(span.start.min(text.len()));
        let end = text.floor_char_boundary(span.end.clamp(start, text.len()));
        let before = &text[..start];
        let line = before.matches('\n').count() as u64 + 1;
        let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) as u64 + 1;
        // A span over several lines would draw them all: its first line is enough.
        let end = text[start..end].find('\n').map_or(end, |length| start + length);
        let snippet = Snippet::source(text).path("weekend.toml").annotation(AnnotationKind::Primary.span(start..end));
        let drawing = Renderer::plain().render(&[Level::ERROR.primary_title(&message).element(snippet)]);
        let from = before.rfind('\n').map_or(0, |end| end + 1);
        let seen = printable(text[from..].lines().next().unwrap_or_default(), LONGEST_LINE);
        Self { message, hint, line, column, drawing, seen, meant: None }
    }

    /// The drawing with its hint.
    pub fn drawn(&self) -> String {
        format!("{}\nhint: {}", self.drawing, self.hint)
    }

    /// One line: place, message.
    pub fn brief(&self) -> String {
        format!("`weekend.toml`, line {}, column {}: {}", self.line, self.column, self.message)
    }
}

/// The mistakes found in a sheet's text so far.
pub(super) struct Mistakes<'t> {
    text: &'t str,
    pub(super) found: Vec<Mistake>,
}

impl<'t> Mistakes<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        Self { text, found: Vec::new() }
    }

    /// Adds a mistake at the bytes `span` of the text.
    pub(super) fn add(&mut self, span: Range<usize>, message: impl Into<String>, hint: impl Into<String>) {
        let mistake = self.mistake(span, message, hint);
        self.found.push(mistake);
    }

    /// Adds to the last mistake which key was probably meant.
    pub(super) fn meant(&mut self, key: &str) {
        if let Some(last) = self.found.last_mut() {
            last.meant = Some(key.to_owned());
        }
    }

    /// A mistake at the bytes `span` of the text, not added to the others.
    pub(super) fn mistake(&self, span: Range<usize>, message: impl Into<String>, hint: impl Into<String>) -> Mistake {
        Mistake::new(self.text, span, message, hint)
    }
}
