//! The setup sheet's pages: shown, saved, put back. What was typed is saved whole or stays on the page.

use std::sync::Arc;

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::outcomes::{Kept, Outcome};
use super::respond::{failed, html, not_found, on_own_thread};
use super::state::{AskedOutcome, Server};
use crate::notice::Failure;
use crate::serve::limits::{LARGEST_FORM_BYTES, LONGEST_WAIT, MOST_FIELDS, megabytes};
use crate::serve::pages::said::Said;
use crate::serve::pages::sheet::{FormPage, TextPage};
use crate::serve::pages::{Link, Place, TO_WEEKEND};
use crate::serve::sheet::changes::{FIX, SentField};
use crate::serve::sheet::field_mistakes::Fix;
use crate::serve::sheet::form;
use crate::serve::sheet::save::{TypedValue, Unsaved, mistakes_in};
use crate::serve::sheet::versions::{version, versions_against};
use crate::wording::counted;

const TO_SHEET: Link = Link { address: "sheet", text: "Open the setup sheet" };
/// The page of the form, and the place on it where it is said what became of it.
const SHEET: &str = "sheet";
/// The place on the weekend's page where it is said what became of a form that was not on it.
const TOP: &str = "top";
/// The page of the text, and the place on it.
const TEXT: &str = "sheet-text";

/// The sheet as a form.
pub async fn show_form(State(server): State<Arc<Server>>, Query(asked): Query<AskedOutcome>) -> Response {
    server.current.first_review(LONGEST_WAIT).await;
    on_own_thread(move || form_page(&server, server.outcome(&asked).as_deref())).await
}

/// The sheet as text.
pub async fn show_text(State(server): State<Arc<Server>>, Query(asked): Query<AskedOutcome>) -> Response {
    on_own_thread(move || text_page(&server, server.outcome(&asked).as_deref(), Vec::new())).await
}

/// The form, with what was sent and not saved in it.
fn form_page(server: &Server, outcome: Option<&Outcome>) -> Response {
    let text = match server.sheet.text() {
        Ok(text) => text,
        Err(failure) => return unchangeable(&failure),
    };
    let kept = outcome.and_then(|outcome| match &outcome.kept {
        Some(Kept::Form(sent, unsaved)) => Some((sent, unsaved)),
        _ => None,
    });
    let Ok(mut form) = form::form(&text, &server.sheet.unlisted_logs()) else {
        // Broken meanwhile: what was typed is listed above the text.
        return text_page(server, None, kept.map(|(sent, _)| typed_in(sent)).unwrap_or_default());
    };
    let lost = kept.map(|(_, unsaved)| unsaved.lost.clone()).unwrap_or_default();
    if let Some((sent, unsaved)) = kept.filter(|_| lost.is_empty()) {
        form.keep(sent, &unsaved.problems);
    }
    let page = FormPage {
        frame: server.frame_after(Place::Sheet, outcome),
        versions: versions_against(server.folder(), &text),
        base: server.sheet.remember(text),
        form,
        keys: form::car_keys(),
        problems: kept.map(|(_, unsaved)| unsaved.problems.clone()).unwrap_or_default(),
        lost,
    };
    html(StatusCode::OK, page.render())
}

/// What was typed in a form, by the names of its fields.
fn typed_in(sent: &[SentField]) -> Vec<TypedValue> {
    let typed = sent.iter().filter(|f| f.0 != "base" && f.0 != "then" && !f.1.is_empty());
    typed.map(|(name, value)| TypedValue { called: name.clone(), value: value.clone() }).collect()
}

/// The sheet's text, with what was typed and not saved in it, or with what was typed in a form and is `lost`.
fn text_page(server: &Server, outcome: Option<&Outcome>, lost: Vec<TypedValue>) -> Response {
    let text = match server.sheet.text() {
        Ok(text) => text,
        Err(failure) => return unchangeable(&failure),
    };
    let typed = outcome.and_then(|outcome| match &outcome.kept {
        Some(Kept::Text(typed)) => Some(typed.clone()),
        _ => None,
    });
    let page = TextPage {
        frame: server.frame_after(Place::Sheet, outcome),
        base: server.sheet.remember(text.clone()),
        mistakes: mistakes_in(typed.as_deref().unwrap_or(&text)),
        // The sheet is shown below what was typed, where it is another text.
        current: typed.as_ref().filter(|typed| **typed != text).map(|_| text.clone()),
        text: typed.unwrap_or(text),
        lost,
    };
    html(StatusCode::OK, page.render())
}

fn unchangeable(failure: &Failure) -> Response {
    failed(StatusCode::OK, "The setup sheet cannot be changed here", failure, Some(TO_WEEKEND))
}

/// The fields of a form, or why they cannot be used.
pub type Fields = Result<Form<Vec<SentField>>, FormRejection>;

/// The fields sent, or the page that says why they cannot be used.
pub(super) fn fields(sent: Fields) -> Result<Vec<SentField>, Box<Response>> {
    let too_many = || {
        let message = format!("the form has more than {MOST_FIELDS} fields");
        let hint = Some("change the sheet as text, a part at a time".to_owned());
        let failure = Failure { message, hint };
        Box::new(failed(StatusCode::PAYLOAD_TOO_LARGE, "The form could not be used", &failure, Some(TO_SHEET)))
    };
    if sent.as_ref().is_ok_and(|Form(fields)| fields.len() > MOST_FIELDS) {
        return Err(too_many());
    }
    sent.map(|Form(fields)| fields).map_err(|e| {
        let limit = megabytes(LARGEST_FORM_BYTES as u64);
        let (message, hint) = if e.status() == StatusCode::PAYLOAD_TOO_LARGE {
            (
                format!("the sheet is larger than {limit} MB"),
                "go back in your browser: what you typed is still there; shorten it, then save again",
            )
        } else {
            (
                "the form did not arrive as this page sends it".to_owned(),
                "go back in your browser, reload the page, then enter it again",
            )
        };
        let failure = Failure { message, hint: Some(hint.to_owned()) };
        Box::new(failed(e.status(), "The form could not be used", &failure, Some(TO_SHEET)))
    })
}

pub(super) fn field<'a>(fields: &'a [SentField], name: &str) -> &'a str {
    fields.iter().find(|f| f.0 == name).map_or("", |f| f.1.as_str())
}

/// Saves what was changed in the form.
pub async fn save_form(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let fields = match fields(sent) {
        Ok(fields) => fields,
        Err(page) => return *page,
    };
    on_own_thread(move || match server.sheet.save_form(field(&fields, "base"), &fields) {
        Ok(undo) if field(&fields, "then") == "review" => {
            let at = Some(field(&fields, "at")).filter(|at| !at.is_empty()).unwrap_or(TOP);
            server.go_on("./", Said::done(at, "saved, and the weekend reviewed again", undo))
        }
        Ok(undo) if !field(&fields, FIX).is_empty() => {
            let to = Fix::read(field(&fields, FIX)).map_or_else(|| SHEET.to_owned(), |mended| mended.to);
            server.go_on(SHEET, Said::done(to, "saved", undo))
        }
        Ok(undo) => server.go_on(SHEET, Said::done(SHEET, "Saved. The review is up to date", undo)),
        Err(unsaved) => server.go_on(SHEET, unsaved_form(fields, unsaved)),
    })
    .await
}

/// A form that was not saved, to be shown again with what was typed in it.
fn unsaved_form(sent: Vec<SentField>, unsaved: Unsaved) -> Outcome {
    let several = || Failure {
        message: format!("{} are wrong; nothing was saved", counted(unsaved.problems.len(), "value")),
        hint: Some("each is marked; the list is at the top of the page".to_owned()),
    };
    let failure = if let [one] = unsaved.problems.as_slice() { one.failure.clone() } else { several() };
    Outcome { said: Said::failed(SHEET, failure), kept: Some(Kept::Form(sent, unsaved)) }
}

/// Saves the sheet's text.
pub async fn save_text(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let fields = match fields(sent) {
        Ok(fields) => fields,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        if !fields.iter().any(|f| f.0 == "text") {
            return not_found();
        }
        // A browser sends its own line ends.
        let typed = field(&fields, "text").replace("\r\n", "\n");
        match server.sheet.save_text(field(&fields, "base"), &typed) {
            Ok(undo) => server.go_on("./", Said::done(TOP, "saved, and the weekend reviewed again", undo)),
            Err(failure) => {
                server.go_on(TEXT, Outcome { said: Said::failed(TEXT, failure), kept: Some(Kept::Text(typed)) })
            }
        }
    })
    .await
}

/// Puts a version that was kept in place of the sheet.
pub async fn put_back(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let fields = match fields(sent) {
        Ok(fields) => fields,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        let Some(bytes) = version(server.folder(), field(&fields, "version")) else { return not_found() };
        let to_weekend = field(&fields, "to") == "weekend";
        let (page, place) = if to_weekend { ("./", TOP) } else { (SHEET, SHEET) };
        match server.sheet.put_back(field(&fields, "base"), bytes) {
            Ok(undo) => server.go_on(page, Said::done(place, "the sheet is as it was before", undo)),
            Err(unsaved) if to_weekend => {
                let failure = unsaved.problems.into_iter().next().map(|p| p.failure);
                server.go_on(page, Said { place: place.to_owned(), failure, ..Said::default() })
            }
            Err(unsaved) => server.go_on(SHEET, unsaved_form(Vec::new(), unsaved)),
        }
    })
    .await
}
