//! The gate before all addresses: turns away whoever may not ask, and gives every answer the headers that keep a page
//! to itself.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::guard::{Guard, Pass};
use super::respond::failed;
use super::state::Server;
use crate::notice::Failure;
use crate::report::pages::SCRIPTS;

/// Answers a request if it may be asked, and seals the answer.
pub async fn gate(State(server): State<Arc<Server>>, request: Request, next: Next) -> Response {
    let mut response = match server.guard.check(request.method(), request.uri(), request.headers()) {
        Ok(Pass::Known) => next.run(request).await,
        Ok(Pass::Token) => exchange(&server.guard),
        Err(refusal) => {
            let failure = Failure { message: refusal.to_string(), hint: Some(refusal.hint().to_owned()) };
            failed(StatusCode::FORBIDDEN, "No access", &failure, None)
        }
    };
    seal(&mut response);
    response
}

/// Headers that keep a page from other sites and out of stores.
fn seal(response: &mut Response) {
    let policy = format!(
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src 'self' {}; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
        SCRIPTS.of_run()
    );
    // `no-referrer` would make a form's own Origin `null`.
    let fixed = [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    let headers = response.headers_mut();
    headers.extend(fixed.map(|(name, value)| (name, HeaderValue::from_static(value))));
    headers.extend(HeaderValue::from_str(&policy).ok().map(|p| (header::CONTENT_SECURITY_POLICY, p)));
}

/// Gives the cookie for the token and goes on to the page: by the page itself, since a cookie for this site alone is
/// not sent along with a redirection that began elsewhere.
fn exchange(guard: &Guard) -> Response {
    let page = "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url=/\"><title>runtrue</title><p><a href=\"/\">Continue to the weekend</a></p>";
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (header::SET_COOKIE, guard.set_cookie())], page)
        .into_response()
}
