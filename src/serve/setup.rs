//! The setup sheet as a form and as text: shown, changed, put back. What was typed is saved whole or stays on the page.

use std::sync::{Arc, PoisonError};

use axum::extract::rejection::FormRejection;
use axum::extract::{Form as Sent, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::changes::{Change, Problem, changes, conflicts};
use super::form;
use super::pages::{self, mark_of};
use super::routes::{MOST_FORM, Server, Shared, apart, html, not_there, told};
use super::versions::{version, versions_against, write};
use crate::folder::{self, SHEET};
use crate::notice::{Failure, printable};
use crate::sheet::edit::{Edit, EditError, edit, with_line_ends_of};
use crate::sheet::{mistake::Mistake, read};

/// Texts of the sheet that are remembered, so that what was typed on an older page can be told from what stood there.
const REMEMBERED: usize = 64;
/// Mark of a text that a file begins with in some editors.
const BYTE_ORDER_MARK: &str = "\u{feff}";

impl Server {
    /// The sheet's text to edit: the file's, or a starter where there is none.
    pub fn sheet_text(&self) -> Result<String, Failure> {
        let failed = |e: std::io::Error| Failure { message: format!("`{SHEET}` could not be read: {e}"), hint: None };
        if self.folder().join(SHEET).exists() {
            folder::within(self.folder(), std::path::Path::new(SHEET))?;
        }
        match std::fs::read(self.folder().join(SHEET)) {
            Ok(bytes) => {
                String::from_utf8(bytes).map(|t| t.trim_start_matches(BYTE_ORDER_MARK).to_owned()).map_err(|e| {
                    Failure {
                        message: format!(
                            "`{SHEET}` is no UTF-8 text: byte {} cannot be read",
                            e.utf8_error().valid_up_to()
                        ),
                        hint: Some("save it as UTF-8 in the editor that it was written with".to_owned()),
                    }
                })
            }
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => match self.current.review() {
                Some(review) => Ok(folder::starter_for(self.folder(), &review.sheet.runs)),
                None => folder::starter(self.folder()).map_err(failed),
            },
            Err(e) => Err(failed(e)),
        }
    }

    /// Remembers a text that a page is made of; gives its mark.
    pub fn show(&self, text: String) -> String {
        let mark = mark_of(&text);
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        if shown.iter().all(|s| s.0 != mark) {
            shown.push_back((mark.clone(), text));
        }
        while shown.len() > REMEMBERED {
            shown.pop_front();
        }
        mark
    }

    fn shown_before(&self, mark: &str) -> Option<String> {
        let shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.iter().find(|s| s.0 == mark).map(|s| s.1.clone())
    }

    /// Writes what `make` gives for the sheet's text as it is now, and reviews.
    fn write_sheet<E: From<Failure>>(&self, make: impl FnOnce(&str) -> Result<Vec<u8>, E>) -> Result<(), E> {
        {
            let _one = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
            let new = make(&self.sheet_text()?)?;
            if std::fs::read(self.folder().join(SHEET)).is_ok_and(|now| now == new) {
                return Ok(());
            }
            let failed =
                |e: std::io::Error| Failure { message: format!("`{SHEET}` could not be written: {e}"), hint: None };
            write(self.folder(), &new, jiff::Timestamp::now()).map_err(failed)?;
        }
        self.current.refresh();
        Ok(())
    }

    /// `text` with the byte-order mark that the file has.
    fn as_in_the_file(&self, text: String) -> Vec<u8> {
        let marked = std::fs::read(self.folder().join(SHEET)).is_ok_and(|b| b.starts_with(BYTE_ORDER_MARK.as_bytes()));
        if marked { format!("{BYTE_ORDER_MARK}{text}").into_bytes() } else { text.into_bytes() }
    }

    /// Logs that stand on no run.
    fn unlisted(&self) -> Vec<String> {
        let review = self.current.review();
        let logs = review.iter().flat_map(|r| &r.unlisted);
        logs.map(|r| folder::plain_path(&r.log)).collect()
    }
}

/// What was typed and not saved, for a page: what it is called, and the value.
type Kept = Vec<(String, String)>;

/// Why a form was not saved.
struct Unsaved {
    problems: Vec<Problem>,
    /// What another change of the sheet left without its place.
    kept: Kept,
}

impl From<Failure> for Unsaved {
    fn from(failure: Failure) -> Self {
        Self { problems: vec![Problem { field: None, failure }], kept: Vec::new() }
    }
}

impl Unsaved {
    fn stale(kept: Kept) -> Self {
        let failure = Failure {
            message: "the sheet was changed elsewhere meanwhile; nothing was saved".to_owned(),
            hint: Some("the page shows the sheet as it is now: enter what is listed again".to_owned()),
        };
        Self { kept, ..failure.into() }
    }
}

/// Whether the sheet was saved.
#[derive(serde::Deserialize)]
pub struct Saved {
    saved: Option<String>,
}

/// The sheet as a form.
pub async fn show_form(State(server): Shared, Query(saved): Query<Saved>) -> Response {
    server.current.ready(super::routes::PATIENCE).await;
    apart(move || form_page(&server, StatusCode::OK, saved.saved.is_some(), None)).await
}

/// The form, with what was sent and not saved in it.
fn form_page(
    server: &Arc<Server>,
    status: StatusCode,
    saved: bool,
    unsaved: Option<(&[(String, String)], Unsaved)>,
) -> Response {
    let text = match server.sheet_text() {
        Ok(text) => text,
        Err(failure) => return unchangeable(&failure),
    };
    let Ok(mut form) = form::form(&text, &server.unlisted()) else {
        // Broken meanwhile: what was typed is listed above the text.
        let (sent, _) = unsaved.map_or((&[][..], None), |(sent, u)| (sent, Some(u)));
        let typed: Kept = sent.iter().filter(|f| f.0 != "base" && f.0 != "then" && !f.1.is_empty()).cloned().collect();
        return text_page(server, status, wrong_text(&text), None, &typed);
    };
    let (mut problems, mut kept) = (Vec::new(), Vec::new());
    if let Some((sent, unsaved)) = unsaved {
        if unsaved.kept.is_empty() {
            form.keep(sent, &unsaved.problems);
        }
        (problems, kept) = (unsaved.problems.into_iter().map(|p| p.failure).collect(), unsaved.kept);
    }
    let versions = versions_against(server.folder(), &text);
    let base = server.show(text);
    html(status, pages::sheet(&server.name(), &base, &form, &problems, &kept, versions, saved))
}

fn unchangeable(failure: &Failure) -> Response {
    told(StatusCode::OK, "The setup sheet cannot be changed here", failure, ("/", "To the weekend"))
}

fn text_page(
    server: &Server,
    status: StatusCode,
    problems: Vec<Failure>,
    typed: Option<&str>,
    kept: &[(String, String)],
) -> Response {
    let text = match server.sheet_text() {
        Ok(text) => text,
        Err(failure) => return unchangeable(&failure),
    };
    // Beside what was typed stands the sheet, where it is another than the one that was changed.
    let now = typed.filter(|t| *t != text).map(|_| text.clone());
    let base = server.show(text.clone());
    html(status, pages::text(&server.name(), &base, typed.unwrap_or(&text), now.as_deref(), &problems, kept))
}

fn wrong_text(text: &str) -> Vec<Failure> {
    read::read(text).err().map(|m| Failure { message: m.drawing, hint: Some(m.hint) }).into_iter().collect()
}

/// The sheet as text.
pub async fn show_text(State(server): Shared) -> Response {
    apart(move || {
        let problems = server.sheet_text().map(|t| wrong_text(&t)).unwrap_or_default();
        text_page(&server, StatusCode::OK, problems, None, &[])
    })
    .await
}

/// The fields of a form, or why they cannot be used.
pub type Fields = Result<Sent<Vec<(String, String)>>, FormRejection>;

/// The fields sent, or the page that says why they cannot be used.
fn fields(sent: Fields) -> Result<Vec<(String, String)>, Box<Response>> {
    sent.map(|Sent(fields)| fields).map_err(|e| {
        let hint = format!("a sheet has at most {} MB; go back in the browser to what was typed", MOST_FORM >> 20);
        let failure = Failure { message: e.body_text(), hint: Some(hint) };
        Box::new(told(e.status(), "That could not be used", &failure, ("/sheet", "To the setup sheet")))
    })
}

fn field<'a>(fields: &'a [(String, String)], name: &str) -> &'a str {
    fields.iter().find(|f| f.0 == name).map_or("", |f| f.1.as_str())
}

fn go_to(place: &'static str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, place)]).into_response()
}

/// Saves what was changed in the form.
pub async fn save_form(State(server): Shared, sent: Fields) -> Response {
    let fields = match fields(sent) {
        Ok(fields) => fields,
        Err(page) => return *page,
    };
    apart(move || {
        let before = server.shown_before(field(&fields, "base"));
        let saved = server.write_sheet(|now| {
            let text = changed(before.as_deref(), now, &fields)?;
            Ok(server.as_in_the_file(text))
        });
        match saved {
            Ok(()) => go_to(if field(&fields, "then") == "sheet" { "/sheet?saved=1" } else { "/" }),
            Err(unsaved) => form_page(&server, StatusCode::CONFLICT, false, Some((&fields, unsaved))),
        }
    })
    .await
}

/// The sheet's text `now` with what was changed on a page made of the text `before`.
fn changed(before: Option<&str>, now: &str, sent: &[(String, String)]) -> Result<String, Unsaved> {
    let listed =
        |changes: &[&Change]| -> Kept { changes.iter().map(|c| (printable(&c.called, 80), c.typed.clone())).collect() };
    let form_of = |text: &str| {
        form::form(text, &[]).map_err(|message| {
            Unsaved::from(Failure { message, hint: Some("mend the sheet as text first".to_owned()) })
        })
    };
    let new = form_of(now)?;
    let Some(before) = before else {
        // The page is older than this server knows: nothing tells what was typed from what stood there.
        return Err(Unsaved::stale(listed(&changes(&new, sent).0.iter().collect::<Vec<_>>())));
    };
    let old = form_of(before)?;
    let (changes, problems) = changes(&old, sent);
    let lost = conflicts(&changes, &old, &new);
    if !lost.is_empty() {
        return Err(Unsaved::stale(listed(&lost)));
    }
    // The form has room for one new run: several are listed.
    let new: Vec<&Change> = changes.iter().filter(|c| matches!(c.edit, Edit::AddRun(_))).collect();
    let kept = if new.len() > 1 { listed(&new) } else { Vec::new() };
    if !problems.is_empty() {
        return Err(Unsaved { problems, kept });
    }
    let edits: Vec<Edit> = changes.iter().map(|c| c.edit.clone()).collect();
    edit(now, &edits).map_err(|e| Unsaved { problems: blamed(now, &changes, e), kept })
}

/// The problems of an edit, each with the field that makes it, where it is one alone.
fn blamed(text: &str, changes: &[Change], error: EditError) -> Vec<Problem> {
    let alone = |c: &Change| {
        let Err(EditError::Wrong(mistakes)) = edit(text, std::slice::from_ref(&c.edit)) else { return Vec::new() };
        let problem = |m: Mistake| Problem {
            field: Some(c.field.clone()),
            failure: Failure { message: format!("{}: {}", printable(&c.called, 80), m.message), hint: Some(m.hint) },
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

/// Saves the sheet's text.
pub async fn save_text(State(server): Shared, sent: Fields) -> Response {
    let fields = match fields(sent) {
        Ok(fields) => fields,
        Err(page) => return *page,
    };
    apart(move || {
        if !fields.iter().any(|f| f.0 == "text") {
            return not_there();
        }
        // A browser sends its own line ends.
        let typed = field(&fields, "text").replace("\r\n", "\n");
        let saved = server.write_sheet(|now| -> Result<Vec<u8>, Failure> {
            if mark_of(now) != field(&fields, "base") {
                let message = "the sheet was changed elsewhere meanwhile; nothing was saved".to_owned();
                return Err(Failure {
                    message,
                    hint: Some("take over what you need of the sheet below, then save again".to_owned()),
                });
            }
            read::read(&typed).map_err(|m| Failure { message: m.drawing, hint: Some(m.hint) })?;
            Ok(server.as_in_the_file(with_line_ends_of(now, typed.clone())))
        });
        match saved {
            Ok(()) => go_to("/"),
            Err(failure) => text_page(&server, StatusCode::CONFLICT, vec![failure], Some(&typed), &[]),
        }
    })
    .await
}

/// Puts a version that was kept in place of the sheet.
pub async fn put_back(State(server): Shared, sent: Fields) -> Response {
    let fields = match fields(sent) {
        Ok(fields) => fields,
        Err(page) => return *page,
    };
    apart(move || {
        let Some(bytes) = version(server.folder(), field(&fields, "version")) else { return not_there() };
        let saved = server.write_sheet(|now| match mark_of(now) == field(&fields, "base") {
            true => Ok(bytes),
            false => Err(Unsaved::stale(Vec::new())),
        });
        match saved {
            Ok(()) => go_to("/sheet?saved=1"),
            Err(unsaved) => form_page(&server, StatusCode::CONFLICT, false, Some((&[], unsaved))),
        }
    })
    .await
}
