//! The setup sheet's text: read, changed from the form or as text, put back. What was typed is saved whole or not at
//! all.

use std::collections::VecDeque;
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use super::changes::{Change, Changes, Problem, SentField, changes, conflicts};
use super::form;
use super::versions::{KeptVersion, write};
use crate::fingerprint::fingerprint;
use crate::folder::{self, SHEET};
use crate::notice::{Failure, printable};
use crate::serve::folder::current::Current;
use crate::serve::limits::MOST_CHANGES;
use crate::sheet::edit::{Edit, EditError, edit, with_line_ends_of};
use crate::sheet::{mistake::Mistake, read};
use crate::units::Units;

/// Texts of the sheet that are remembered, so that what was typed on an older page can be told from what was there.
const REMEMBERED: usize = 64;
/// Mark of a text that a file begins with in some editors.
const BYTE_ORDER_MARK: &str = "\u{feff}";
/// Longest name of a field that is shown, in characters.
const LONGEST_NAME: usize = 80;
/// Why nothing was saved where another has changed the sheet.
const CHANGED_ELSEWHERE: &str = "the sheet was changed somewhere else in the meantime; nothing was saved";

/// A value that was typed and not saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TypedValue {
    /// What its field is called.
    pub called: String,
    /// What was typed; empty where there is nothing to type.
    pub value: String,
}

/// The way back to the sheet as it was before it was saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undo {
    /// The version that was kept.
    pub version: String,
    /// Mark of the sheet as it was saved: where it is another one now, this does not lead back.
    pub base: String,
}

/// Why a form was not saved.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Unsaved {
    /// What is wrong.
    pub problems: Vec<Problem>,
    /// What another change of the sheet left without its place.
    pub lost: Vec<TypedValue>,
}

impl Unsaved {
    fn changed_elsewhere(lost: Vec<TypedValue>) -> Self {
        let next = if lost.is_empty() { "choose again" } else { "enter the values listed below again" };
        let hint = format!("this page now shows the current sheet: {next}");
        Self { lost, ..Failure { message: CHANGED_ELSEWHERE.to_owned(), hint: Some(hint) }.into() }
    }
}

impl From<Failure> for Unsaved {
    fn from(failure: Failure) -> Self {
        Self { problems: vec![Problem { field: None, failure }], lost: Vec::new() }
    }
}

/// A text of the sheet that a page was made of.
struct ShownText {
    mark: String,
    text: String,
}

/// The sheet of the folder, for one writer at a time.
pub struct SheetStore {
    current: Arc<Current>,
    writing: Mutex<()>,
    /// Mark of the sheet as the last log that came in left it.
    last_dropped: Mutex<String>,
    /// The newest last.
    shown: Mutex<VecDeque<ShownText>>,
}

impl SheetStore {
    /// The sheet of the folder of `current`.
    pub fn new(current: Arc<Current>) -> Self {
        Self { current, writing: Mutex::default(), last_dropped: Mutex::default(), shown: Mutex::default() }
    }

    pub(super) fn current(&self) -> &Current {
        &self.current
    }

    pub(super) fn folder(&self) -> &Path {
        self.current.folder()
    }

    /// The sheet's text to edit: the file's, or a starter where there is none.
    ///
    /// # Errors
    /// If the sheet is there and cannot be read as text, or leads out of the folder.
    pub fn text(&self) -> Result<String, Failure> {
        let failed = |e: io::Error| Failure { message: format!("`{SHEET}` could not be read: {e}"), hint: None };
        if self.folder().join(SHEET).exists() {
            folder::within(self.folder(), Path::new(SHEET))?;
        }
        match std::fs::read(self.folder().join(SHEET)) {
            Ok(bytes) => text_of(bytes),
            Err(e) if e.kind() == io::ErrorKind::NotFound => match self.current.review() {
                Some(review) => Ok(folder::starter_for(self.folder(), &review.sheet.runs, Units::default())),
                None => folder::starter(self.folder()).map_err(failed),
            },
            Err(e) => Err(failed(e)),
        }
    }

    /// Remembers a text that a page is made of; gives its mark.
    pub fn remember(&self, text: String) -> String {
        let mark = fingerprint(&text);
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        if shown.iter().all(|s| s.mark != mark) {
            shown.push_back(ShownText { mark: mark.clone(), text });
        }
        while shown.len() > REMEMBERED {
            shown.pop_front();
        }
        mark
    }

    fn remembered(&self, mark: &str) -> Option<String> {
        let shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.iter().find(|s| s.mark == mark).map(|s| s.text.clone())
    }

    /// Logs that no run of the sheet names.
    pub fn unlisted_logs(&self) -> Vec<String> {
        let review = self.current.review();
        let logs = review.iter().flat_map(|r| &r.unlisted);
        logs.map(|r| folder::plain_path(&r.log)).collect()
    }

    /// Saves what was changed in the form `sent`, which was made of the text with the mark `base`.
    ///
    /// # Errors
    /// What is wrong with what was typed, or that another has changed the same; the sheet is then as it was.
    pub fn save_form(&self, base: &str, sent: &[SentField]) -> Result<Option<Undo>, Unsaved> {
        let remembered = self.remembered(base);
        self.write(|now| {
            // A page of an earlier start is remembered by nobody, and is good where the sheet is still the same.
            let before = remembered.as_deref().or((fingerprint(now) == base).then_some(now));
            let text = changed(before, now, sent)?;
            Ok(self.with_byte_order_mark(text))
        })
    }

    /// Saves the text `typed`, which was made of the text with the mark `base`.
    ///
    /// # Errors
    /// What is wrong with the text, or that another has changed the sheet; the sheet is then as it was.
    pub fn save_text(&self, base: &str, typed: &str) -> Result<Option<Undo>, Failure> {
        self.write(|now| {
            if fingerprint(now) != base {
                let hint = "copy what you need from the current sheet below, then save again".to_owned();
                return Err(Failure { message: CHANGED_ELSEWHERE.to_owned(), hint: Some(hint) });
            }
            read::read(typed).map_err(|m| {
                let message = format!("line {} cannot be read, so nothing was saved: {}", m.line, m.message);
                Failure { message, hint: Some(m.hint) }
            })?;
            Ok(self.with_byte_order_mark(with_line_ends_of(now, typed.to_owned())))
        })
    }

    /// Puts `version_bytes` in place of the sheet, which was shown as the text with the mark `base`.
    ///
    /// # Errors
    /// That another has changed the sheet, or that it could not be written; the sheet is then as it was.
    pub fn put_back(&self, base: &str, version_bytes: Vec<u8>) -> Result<Option<Undo>, Unsaved> {
        self.write(|now| {
            if fingerprint(now) == base { Ok(version_bytes) } else { Err(Unsaved::changed_elsewhere(Vec::new())) }
        })
    }

    /// Writes what `make` gives for the sheet's text as it is now, and reviews. Gives the way back, where something
    /// changed and there was a sheet.
    pub(super) fn write<E: From<Failure>>(
        &self,
        make: impl FnOnce(&str) -> Result<Vec<u8>, E>,
    ) -> Result<Option<Undo>, E> {
        let undo = self.write_keeping(make, |_| KeptVersion::Each)?;
        self.current.refresh();
        Ok(undo)
    }

    /// The same for a log that came in, without a review: of several that come one after the other the sheet before the
    /// first is kept alone.
    pub(super) fn write_dropped(&self, make: impl FnOnce(&str) -> Result<Vec<u8>, Failure>) -> Result<(), Failure> {
        let mut last = self.last_dropped.lock().unwrap_or_else(PoisonError::into_inner);
        let keep = |now: &str| if fingerprint(now) == *last { KeptVersion::None } else { KeptVersion::Each };
        self.write_keeping(make, keep)?;
        *last = fingerprint(&self.text()?);
        Ok(())
    }

    fn write_keeping<E: From<Failure>>(
        &self,
        make: impl FnOnce(&str) -> Result<Vec<u8>, E>,
        keep: impl FnOnce(&str) -> KeptVersion,
    ) -> Result<Option<Undo>, E> {
        let _one_writer = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let now = self.text()?;
        let new = make(&now)?;
        if std::fs::read(self.folder().join(SHEET)).is_ok_and(|now| now == new) {
            return Ok(None);
        }
        let version = write(self.folder(), &new, jiff::Timestamp::now(), keep(&now)).map_err(|e| unsaved(&e))?;
        let base = text_of(new).map(|text| fingerprint(&text)).unwrap_or_default();
        Ok(version.map(|version| Undo { version, base }))
    }

    /// `text` with the byte-order mark that the file has.
    pub(super) fn with_byte_order_mark(&self, text: String) -> Vec<u8> {
        let marked = std::fs::read(self.folder().join(SHEET)).is_ok_and(|b| b.starts_with(BYTE_ORDER_MARK.as_bytes()));
        if marked { format!("{BYTE_ORDER_MARK}{text}").into_bytes() } else { text.into_bytes() }
    }
}

/// Why the sheet could not be saved, and that it is as it was.
fn unsaved(e: &io::Error) -> Failure {
    let hint = match e.kind() {
        io::ErrorKind::PermissionDenied => "allow changes to the file and its folder, then save again",
        _ => "correct that, then save again; the sheet in the folder is unchanged",
    };
    Failure { message: format!("`{SHEET}` could not be saved: {e}"), hint: Some(hint.to_owned()) }
}

/// Why a change of the page's own could not be made.
pub(super) fn unedited(error: EditError) -> Failure {
    match error {
        EditError::Toml(m) => Failure { message: m.brief(), hint: Some(m.hint) },
        EditError::Wrong(all) => {
            let messages: Vec<String> = all.into_iter().map(|m| m.message).collect();
            Failure { message: messages.join("; "), hint: Some("change it on the setup sheet's page".to_owned()) }
        }
        EditError::Place(_) | EditError::List(_) => {
            Failure { message: error.to_string(), hint: Some("change it in the sheet's text".to_owned()) }
        }
    }
}

/// A mistake in the sheet's text with the line that it is in.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedLine {
    /// Number of the line, from 1.
    pub number: u64,
    /// The line.
    pub line: String,
    /// What is wrong, and what to do.
    pub failure: Failure,
}

impl From<Mistake> for MarkedLine {
    fn from(mistake: Mistake) -> Self {
        let failure = Failure { message: mistake.message, hint: Some(mistake.hint) };
        Self { number: mistake.line, line: mistake.seen, failure }
    }
}

/// What is wrong in a sheet's text: the place where it cannot be read, or all that is wrong in it, line by line.
pub fn mistakes_in(text: &str) -> Vec<MarkedLine> {
    let mut all = match read::read(text) {
        Ok(sheet) => sheet.mistakes.into_iter().chain(sheet.runs.into_iter().filter_map(|r| r.mistake)).collect(),
        Err(mistake) => vec![*mistake],
    };
    all.sort_by_key(|mistake| mistake.line);
    all.into_iter().map(MarkedLine::from).collect()
}

/// The text of the sheet's bytes, without a byte-order mark.
fn text_of(bytes: Vec<u8>) -> Result<String, Failure> {
    let text = String::from_utf8(bytes).map_err(|e| {
        let readable = &e.as_bytes()[..e.utf8_error().valid_up_to()];
        let line = 1 + readable.iter().filter(|&&b| b == b'\n').count();
        Failure {
            message: format!("`{SHEET}`, line {line}: not saved as UTF-8 text"),
            hint: Some("open it in your editor and save it as UTF-8".to_owned()),
        }
    })?;
    Ok(text.trim_start_matches(BYTE_ORDER_MARK).to_owned())
}

/// The sheet's text `now` with what was changed on a page made of the text `before`.
fn changed(before: Option<&str>, now: &str, sent: &[SentField]) -> Result<String, Unsaved> {
    let form_of = |text: &str| {
        form::form(text, &[]).map_err(|message| {
            Unsaved::from(Failure { message, hint: Some("correct the sheet as text first".to_owned()) })
        })
    };
    let new = form_of(now)?;
    let Some(before) = before else {
        // The page is older than this server knows: nothing tells what was typed from what was there.
        return Err(Unsaved::changed_elsewhere(typed_values(&changes(&new, sent).made)));
    };
    let old = form_of(before)?;
    let Changes { made, problems } = changes(&old, sent);
    let lost = conflicts(&made, &old, &new);
    if !lost.is_empty() {
        return Err(Unsaved::changed_elsewhere(typed_values(lost)));
    }
    if made.len() > MOST_CHANGES {
        let message = format!("these are {} changes; one form takes {MOST_CHANGES}", made.len());
        let hint = Some("save a part of them first, or change the sheet as text".to_owned());
        return Err(Failure { message, hint }.into());
    }
    if !problems.is_empty() {
        return Err(Unsaved { problems, lost: several_new_runs(&made) });
    }
    let edits: Vec<Edit> = made.iter().map(|c| c.edit.clone()).collect();
    edit(now, &edits).map_err(|e| Unsaved { problems: blamed(now, &made, e), lost: several_new_runs(&made) })
}

/// The new runs where there are several: the form has room for one.
fn several_new_runs(changes: &[Change]) -> Vec<TypedValue> {
    let new: Vec<&Change> = changes.iter().filter(|c| matches!(c.edit, Edit::AddRun(_))).collect();
    if new.len() > 1 { typed_values(new) } else { Vec::new() }
}

fn typed_values<'a>(changes: impl IntoIterator<Item = &'a Change>) -> Vec<TypedValue> {
    let typed = |c: &Change| {
        let emptied = c.typed.is_empty() && matches!(c.edit, Edit::Set { .. });
        let value = if emptied { "(empty)".to_owned() } else { c.typed.clone() };
        TypedValue { called: printable(&c.called, LONGEST_NAME), value }
    };
    changes.into_iter().map(typed).collect()
}

/// The problems of an edit, each with the field that makes it, where it is one alone.
fn blamed(text: &str, changes: &[Change], error: EditError) -> Vec<Problem> {
    let alone = |c: &Change| {
        let Err(EditError::Wrong(mistakes)) = edit(text, std::slice::from_ref(&c.edit)) else { return Vec::new() };
        let called = printable(&c.called, LONGEST_NAME);
        let problem = |m: Mistake| Problem {
            field: Some(c.field.clone()),
            failure: Failure { message: format!("{called}: {}", m.message), hint: Some(m.hint) },
        };
        mistakes.into_iter().map(problem).collect()
    };
    let own: Vec<Problem> = changes.iter().flat_map(alone).collect();
    if !own.is_empty() {
        return own;
    }
    let failures = match error {
        EditError::Toml(m) => vec![Failure { message: m.brief(), hint: Some(m.hint) }],
        EditError::Wrong(all) => all.into_iter().map(|m| Failure { message: m.message, hint: Some(m.hint) }).collect(),
        EditError::Place(_) | EditError::List(_) => vec![Failure { message: error.to_string(), hint: None }],
    };
    failures.into_iter().map(|failure| Problem { field: None, failure }).collect()
}
