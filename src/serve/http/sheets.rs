//! The setup sheet's pages: shown, saved, put back. What was typed is saved whole or stays on the page.

use std::sync::Arc;

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::respond::{failed, html, not_found, on_own_thread, see_other};
use super::state::Server;
use crate::notice::Failure;
use crate::serve::limits::{LARGEST_FORM_BYTES, LONGEST_WAIT, megabytes};
use crate::serve::pages::sheet::{FormPage, TextPage};
use crate::serve::pages::{Link, Place, TO_WEEKEND};
use crate::serve::sheet::changes::SentField;
use crate::serve::sheet::form;
use crate::serve::sheet::save::{TypedValue, Unsaved, mistake_in};
use crate::serve::sheet::versions::{version, versions_against};

const TO_SHEET: Link = Link { address: "sheet", text: "Open the setup sheet" };
/// The form's page, after it was saved.
const SAVED: &str = "sheet?saved=1";

/// Whether the sheet was saved.
#[derive(serde::Deserialize)]
pub struct Saved {
    saved: Option<String>,
}

/// Why the form is shown.
enum FormState<'a> {
    /// It was asked for.
    Asked,
    /// It was saved.
    Saved,
    /// It was not: what was sent, and why it was not saved.
    Unsaved(&'a [SentField], Unsaved),
}

/// Why the text is shown.
enum TextState<'a> {
    /// It was asked for.
    Asked,
    /// It was not saved: what was typed, and why not.
    Unsaved(&'a str, Failure),
    /// A form was sent for a text that can no longer be read: what was typed in it.
    Unreadable(Vec<TypedValue>),
}

/// The sheet as a form.
pub async fn show_form(State(server): State<Arc<Server>>, Query(query): Query<Saved>) -> Response {
    server.current.first_review(LONGEST_WAIT).await;
    let state = if query.saved.is_some() { FormState::Saved } else { FormState::Asked };
    on_own_thread(move || form_page(&server, state)).await
}

/// The sheet as text.
pub async fn show_text(State(server): State<Arc<Server>>) -> Response {
    on_own_thread(move || text_page(&server, TextState::Asked)).await
}

/// The form, with what was sent and not saved in it.
fn form_page(server: &Server, state: FormState) -> Response {
    let text = match server.sheet.text() {
        Ok(text) => text,
        Err(failure) => return unchangeable(&failure),
    };
    let Ok(mut form) = form::form(&text, &server.sheet.unlisted_logs()) else {
        // Broken meanwhile: what was typed is listed above the text.
        return text_page(
            server,
            match state {
                FormState::Unsaved(sent, _) => TextState::Unreadable(typed_in(sent)),
                FormState::Asked | FormState::Saved => TextState::Asked,
            },
        );
    };
    let saved = matches!(state, FormState::Saved);
    let (mut status, mut unsaved) = (StatusCode::OK, Unsaved::default());
    if let FormState::Unsaved(sent, why) = state {
        if why.lost.is_empty() {
            form.keep(sent, &why.wrong_fields());
        }
        (status, unsaved) = (StatusCode::CONFLICT, why);
    }
    let page = FormPage {
        frame: server.frame(Place::Sheet),
        versions: versions_against(server.folder(), &text),
        base: server.sheet.remember(text),
        form,
        keys: form::car_keys(),
        problems: unsaved.problems.into_iter().map(|p| p.failure).collect(),
        lost: unsaved.lost,
        saved,
    };
    html(status, page.render())
}

/// What was typed in a form, by the names of its fields.
fn typed_in(sent: &[SentField]) -> Vec<TypedValue> {
    let typed = sent.iter().filter(|f| f.0 != "base" && f.0 != "then" && !f.1.is_empty());
    typed.map(|(name, value)| TypedValue { called: name.clone(), value: value.clone() }).collect()
}

fn text_page(server: &Server, state: TextState) -> Response {
    let text = match server.sheet.text() {
        Ok(text) => text,
        Err(failure) => return unchangeable(&failure),
    };
    let mut page = TextPage {
        frame: server.frame(Place::Sheet),
        base: server.sheet.remember(text.clone()),
        text: text.clone(),
        current: None,
        problems: Vec::new(),
        lost: Vec::new(),
    };
    let mut status = StatusCode::OK;
    match state {
        TextState::Asked => page.problems.extend(mistake_in(&text)),
        TextState::Unreadable(lost) => {
            status = StatusCode::CONFLICT;
            page.problems.extend(mistake_in(&text));
            page.lost = lost;
        }
        TextState::Unsaved(typed, failure) => {
            status = StatusCode::CONFLICT;
            page.problems.push(failure);
            page.text = typed.to_owned();
            // The sheet is shown below what was typed, where it is another text.
            page.current = Some(text).filter(|text| text != typed);
        }
    }
    html(status, page.render())
}

fn unchangeable(failure: &Failure) -> Response {
    failed(StatusCode::OK, "The setup sheet cannot be changed here", failure, Some(TO_WEEKEND))
}

/// The fields of a form, or why they cannot be used.
pub type Fields = Result<Form<Vec<SentField>>, FormRejection>;

/// The fields sent, or the page that says why they cannot be used.
pub(super) fn fields(sent: Fields) -> Result<Vec<SentField>, Box<Response>> {
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
        Ok(()) => see_other(if field(&fields, "then") == "sheet" { SAVED } else { "./" }),
        Err(unsaved) => form_page(&server, FormState::Unsaved(&fields, unsaved)),
    })
    .await
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
            Ok(()) => see_other("./"),
            Err(failure) => text_page(&server, TextState::Unsaved(&typed, failure)),
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
        match server.sheet.put_back(field(&fields, "base"), bytes) {
            Ok(()) => see_other(SAVED),
            Err(unsaved) => form_page(&server, FormState::Unsaved(&[], unsaved)),
        }
    })
    .await
}
