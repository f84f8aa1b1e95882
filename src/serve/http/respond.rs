//! Answers that several addresses give.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::fingerprint::fingerprint;
use crate::notice::Failure;
use crate::report::pages::says_units;
use crate::serve::pages::{self, LIVE_SCRIPT, Link, Page, TO_WEEKEND};
use crate::units::Units;

/// A page, marked with what it says: its script asks for itself again and tells by the mark whether it has changed.
pub fn html(status: StatusCode, page: Page) -> Response {
    match page {
        Ok(text) => {
            // A page of figures is in its units already; what was typed is in none.
            let text = says_units(&text, Units::default());
            let seen = fingerprint(&text);
            let text = text.replacen("data-seen=\"\"", &format!("data-seen=\"{seen}\""), 1);
            (status, [(header::CONTENT_TYPE, "text/html; charset=utf-8")], text).into_response()
        }
        Err(e) => (StatusCode::INTERNAL_SERVER_ERROR, format!("the page could not be made: {e}")).into_response(),
    }
}

/// A page that says what went wrong, what to do, and where to go on.
pub fn failed(status: StatusCode, title: &str, failure: &Failure, link: Option<Link>) -> Response {
    html(status, pages::message(title, failure, link))
}

/// There is no such page.
pub fn not_found() -> Response {
    let failure = Failure {
        message: "there is no page at this address".to_owned(),
        hint: Some("the run may have another name now".to_owned()),
    };
    failed(StatusCode::NOT_FOUND, "Page not found", &failure, Some(TO_WEEKEND))
}

/// Nothing to say.
pub async fn no_content() -> StatusCode {
    StatusCode::NO_CONTENT
}

/// The script of the local page.
pub async fn live_script() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], LIVE_SCRIPT)
}

/// Goes on to another address of this page.
pub fn see_other(address: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, address.to_owned())]).into_response()
}

/// Runs `work` on a thread of its own, where it may take its time. A fault of the program in it is shown and leaves
/// other answers alone.
pub async fn on_own_thread(work: impl FnOnce() -> Response + Send + 'static) -> Response {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|_| {
        let failure = Failure {
            message: "runtrue failed here, by a fault of its own; your files are unchanged".to_owned(),
            hint: Some("the terminal window shows the details".to_owned()),
        };
        failed(StatusCode::INTERNAL_SERVER_ERROR, "Something went wrong", &failure, Some(TO_WEEKEND))
    })
}
