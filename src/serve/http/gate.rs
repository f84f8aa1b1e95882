//! The gate before all addresses: turns away whoever may not ask, and gives every answer the headers that keep a page
//! to itself.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::guard::{Guard, Pass};
use super::respond::failed;
use super::state::Server;
use crate::notice::Failure;
use crate::report::pages::SCRIPTS;
use crate::serve::folder::own;

/// Answers a request if it may be asked, and seals the answer. What lies behind the gate knows nothing of the random path
/// in front of its addresses.
pub async fn gate(State(server): State<Arc<Server>>, mut request: Request, next: Next) -> Response {
    let mut response = match server.guard.check(request.method(), request.uri(), request.headers()) {
        Ok(Pass::Known) => {
            if let Some(inner) = within(request.uri(), &server.guard.room()) {
                *request.uri_mut() = inner;
            }
            next.run(request).await
        }
        Ok(Pass::Token) => {
            own::remove_opener(server.folder());
            exchange(&server.guard)
        }
        Err(refusal) => {
            let failure = Failure { message: refusal.to_string(), hint: Some(refusal.hint().to_owned()) };
            failed(StatusCode::FORBIDDEN, "No access", &failure, None)
        }
    };
    seal(&mut response);
    response
}

/// The address behind the random path; `None` where that is no address.
fn within(uri: &Uri, room: &str) -> Option<Uri> {
    let asked = uri.path_and_query()?.as_str();
    format!("/{}", asked.strip_prefix(room)?).parse().ok()
}

/// Headers that keep a page from other sites and out of stores.
fn seal(response: &mut Response) {
    let policy = format!(
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src 'self' {} {}; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
        SCRIPTS.of_all(),
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
    let page = format!(
        "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url={0}\"><title>runtrue</title><p><a href=\"{0}\">Continue to the weekend</a></p>",
        guard.room()
    );
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (header::SET_COOKIE, guard.set_cookie())], page)
        .into_response()
}
