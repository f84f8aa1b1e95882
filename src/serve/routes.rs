//! What the local page answers to each address. Reading and reviewing run on threads of their own; a mistake of ours in one answer is told as
//! such and leaves the others alone.

use std::collections::VecDeque;
use std::io::Write;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Path as UrlPath, Query, Request, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use http_body_util::BodyExt;
use tokio::sync::Semaphore;

use super::current::{Current, Standing};
use super::guard::{Guard, Pass};
use super::pages::{self, Page, mark_of};
use super::versions::OWN;
use super::{files, setup, take};
use crate::notice::Failure;
use crate::report::pages::OF_TRACE;
use crate::report::view;
use crate::sheet::{self, starter};

/// Largest file taken, bytes: an hour of ten channels at 200 Hz has half of it.
pub const MOST_BYTES: u64 = 128 << 20;
/// Largest form taken, bytes.
pub const MOST_FORM: usize = 4 << 20;
/// Files taken at a time.
pub const AT_ONCE: usize = 2;
/// How long a file may stand still while it is sent.
const IDLE: Duration = Duration::from_secs(60);
/// How long a page's question for news waits at most.
pub const PATIENCE: Duration = Duration::from_secs(20);

/// How long the weekend's page waits for the first review before it says that logs are being read.
const FIRST: Duration = Duration::from_secs(2);

/// A running server.
pub struct Server {
    /// The folder and its review.
    pub current: Arc<Current>,
    /// Who may ask.
    pub guard: Guard,
    /// One writer of the sheet at a time.
    pub writing: Mutex<()>,
    /// Turns of files that arrive.
    pub arrivals: Arc<Semaphore>,
    /// Texts of the sheet that pages were made of, by their marks, the newest last.
    pub shown: Mutex<VecDeque<(String, String)>>,
}

pub type Shared = State<Arc<Server>>;

/// All addresses behind the guard.
pub fn router(server: Arc<Server>) -> Router {
    Router::new()
        .route("/", get(weekend))
        .route("/index.html", get(weekend))
        .route("/sheet", get(setup::show_form).post(setup::save_form))
        .route("/sheet/text", get(setup::show_text).post(setup::save_text))
        .route("/sheet/back", post(setup::put_back))
        .route("/drop/{name}", put(drop_file))
        .route("/changes", get(changes))
        .route("/files", get(list_files))
        .route("/files/{*name}", get(download))
        .route(
            "/live.js",
            get(|| async { ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], pages::LIVE_SCRIPT) }),
        )
        .route("/favicon.ico", get(|| async { StatusCode::NO_CONTENT }))
        .route("/{page}", get(run))
        .fallback(|| async { not_there() })
        .layer(DefaultBodyLimit::max(MOST_FORM))
        .layer(middleware::from_fn_with_state(server.clone(), guard))
        .with_state(server)
}

/// Turns away whoever may not ask; gives every answer the headers that keep a page to itself.
async fn guard(State(server): Shared, request: Request, next: Next) -> Response {
    let mut response = match server.guard.check(request.method(), request.uri(), request.headers()) {
        Ok(Pass::Known) => next.run(request).await,
        Ok(Pass::Token) => exchange(&server.guard),
        Err(refusal) => {
            let failure = Failure { message: refusal.to_string(), hint: Some(refusal.hint().to_owned()) };
            told(StatusCode::FORBIDDEN, "Not for this page", &failure, ("", ""))
        }
    };
    let policy = format!(
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src 'self' {}; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
        OF_TRACE.hashes
    );
    // `no-referrer` would make a form's own Origin `null`.
    let fixed = [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    let headers = response.headers_mut();
    headers.extend(fixed.map(|(name, value)| (name, HeaderValue::from_static(value))));
    headers.extend(HeaderValue::from_str(&policy).ok().map(|p| (header::CONTENT_SECURITY_POLICY, p)));
    response
}

/// Gives the cookie for the token and goes on to the page: by the page itself, since a cookie for this site alone is not sent along with a
/// redirection that began elsewhere.
fn exchange(guard: &Guard) -> Response {
    let page = "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url=/\"><title>runtrue</title><p><a href=\"/\">To the weekend</a></p>";
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (header::SET_COOKIE, guard.set_cookie())], page)
        .into_response()
}

pub fn html(status: StatusCode, page: Page) -> Response {
    match page {
        Ok(text) => {
            let seen = mark_of(&text);
            let text = text.replacen("data-seen=\"\"", &format!("data-seen=\"{seen}\""), 1);
            (status, [(header::CONTENT_TYPE, "text/html; charset=utf-8")], text).into_response()
        }
        Err(e) => (StatusCode::INTERNAL_SERVER_ERROR, format!("the page could not be made: {e}")).into_response(),
    }
}

pub fn told(status: StatusCode, title: &str, failure: &Failure, link: (&str, &str)) -> Response {
    html(status, pages::message(title, failure, link))
}

pub fn not_there() -> Response {
    let failure = Failure {
        message: "there is no such page".to_owned(),
        hint: Some("its run may have another name now".to_owned()),
    };
    told(StatusCode::NOT_FOUND, "Not there", &failure, ("/", "To the weekend"))
}

/// Runs `work` where it may take its time.
pub async fn apart(work: impl FnOnce() -> Response + Send + 'static) -> Response {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|_| {
        let message = "runtrue made a mistake of its own here; the folder is as it was".to_owned();
        let failure = Failure { message, hint: Some("the terminal has the details".to_owned()) };
        told(StatusCode::INTERNAL_SERVER_ERROR, "That went wrong", &failure, ("/", "To the weekend"))
    })
}

impl Server {
    /// The weekend's folder.
    pub fn folder(&self) -> &Path {
        self.current.folder()
    }

    /// Name of the weekend: the sheet's, or the folder's.
    pub fn name(&self) -> String {
        self.current
            .review()
            .filter(|r| r.sheet.name.is_some())
            .map_or_else(|| starter::name_of(self.folder()), |r| view::weekend_name(&r))
    }
}

/// Ids of the runs on a sheet's text, in its order.
fn listed(text: &str) -> Vec<String> {
    sheet::read::read(text).unwrap_or_default().runs.into_iter().map(|r| r.id).collect()
}

async fn weekend(State(server): Shared) -> Response {
    server.current.ready(FIRST).await;
    apart(move || match server.current.standing() {
        Standing::Reading => {
            html(StatusCode::OK, pages::reading(&server.name(), &server.folder().display().to_string()))
        }
        Standing::Empty => html(StatusCode::OK, pages::empty(&server.name(), &server.folder().display().to_string())),
        Standing::Failed(failure) => {
            told(StatusCode::OK, "The weekend cannot be reviewed", &failure, ("/sheet/text", "To the setup sheet"))
        }
        Standing::Reviewed(review) => {
            // Numbers of runs are those of the text that the form is sent back to.
            let text = server.sheet_text().unwrap_or_default();
            let listed = listed(&text);
            html(StatusCode::OK, pages::weekend(&review, &server.show(text), &listed))
        }
    })
    .await
}

/// Gears asked for.
#[derive(serde::Deserialize)]
struct Gears {
    spur: Option<String>,
    pinion: Option<String>,
}

async fn run(State(server): Shared, UrlPath(page): UrlPath<String>, Query(gears): Query<Gears>) -> Response {
    server.current.ready(PATIENCE).await;
    apart(move || {
        let Some(review) = server.current.review() else { return not_there() };
        let index = review.runs.iter().enumerate().position(|(at, r)| view::page_name(at, &r.plan().id) == page);
        index.map_or_else(not_there, |index| {
            let listed = listed(&server.sheet_text().unwrap_or_default());
            html(StatusCode::OK, pages::run(&review, index, &listed, gears.spur.as_deref(), gears.pinion.as_deref()))
        })
    })
    .await
}

/// An answer that the page's script reads.
fn fate(status: StatusCode, fate: &impl serde::Serialize) -> Response {
    (status, axum::Json(serde_json::json!(fate))).into_response()
}

fn unsent(status: StatusCode, message: String, hint: &str) -> Response {
    fate(status, &Failure { message, hint: Some(hint.to_owned()) })
}

async fn drop_file(State(server): Shared, UrlPath(name): UrlPath<String>, request: Request) -> Response {
    let too_large = || {
        unsent(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("it has more than {} MB", MOST_BYTES >> 20),
            "copy it into the folder by hand",
        )
    };
    let length = request.headers().get(header::CONTENT_LENGTH).and_then(|l| l.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|l| l > MOST_BYTES) {
        return too_large();
    }
    // A log is read whole: so many at a time, whoever sends them; the others wait with their bytes on their own side.
    let Ok(_turn) = server.arrivals.clone().acquire_owned().await else { return not_there() };
    let broken = |e: String| {
        unsent(
            StatusCode::INTERNAL_SERVER_ERROR,
            format!("it could not be saved: {e}"),
            "is the weekend's folder writable?",
        )
    };
    let own = server.folder().join(OWN);
    let made =
        std::fs::create_dir_all(&own).and_then(|()| tempfile::Builder::new().prefix("arriving-").tempfile_in(own));
    let mut arrived = match made {
        Ok(file) => file,
        Err(e) => return broken(e.to_string()),
    };
    let (mut body, mut count) = (request.into_body(), 0);
    loop {
        let data = match tokio::time::timeout(IDLE, body.frame()).await {
            Ok(None) => break,
            Ok(Some(Ok(frame))) => frame.into_data().unwrap_or_default(),
            Ok(Some(Err(_))) | Err(_) => {
                return unsent(
                    StatusCode::BAD_REQUEST,
                    "it did not arrive whole; nothing was saved".to_owned(),
                    "drop it again",
                );
            }
        };
        count += data.len() as u64;
        if count > MOST_BYTES {
            return too_large();
        }
        if let Err(e) = arrived.write_all(&data) {
            return broken(e.to_string());
        }
    }
    let taken = apart(move || match take::take(server.folder(), &name, arrived) {
        Ok(receipt) => {
            server.current.refresh();
            fate(StatusCode::OK, &receipt)
        }
        Err(failure) => fate(StatusCode::UNPROCESSABLE_ENTITY, &failure),
    });
    taken.await
}

/// The version that a page knows.
#[derive(serde::Deserialize)]
struct Since {
    since: Option<u64>,
}

async fn changes(State(server): Shared, Query(since): Query<Since>) -> Response {
    let mut news = server.current.news();
    let stale = |n: &super::current::News| since.since != Some(n.version) || n.busy;
    let now = *news.borrow();
    // A review being made is told a few times a second.
    let wait = if now.busy { Duration::from_millis(250) } else { PATIENCE };
    if since.since == Some(now.version) {
        let _ = tokio::time::timeout(wait, news.wait_for(|n| stale(n) && *n != now)).await;
    }
    let told = *news.borrow();
    apart(move || {
        let sheet = server.sheet_text().map(|t| mark_of(&t)).unwrap_or_default();
        axum::Json(serde_json::json!({ "version": told.version, "busy": told.busy, "done": told.done, "count": told.count, "sheet": sheet }))
            .into_response()
    })
    .await
}

async fn list_files(State(server): Shared) -> Response {
    server.current.ready(PATIENCE).await;
    apart(move || {
        let groups = files::groups(server.current.review().as_deref(), server.folder());
        html(StatusCode::OK, pages::files(&server.name(), &server.folder().display().to_string(), &groups))
    })
    .await
}

async fn download(State(server): Shared, UrlPath(name): UrlPath<String>) -> Response {
    server.current.ready(PATIENCE).await;
    apart(move || match files::file(server.current.review().as_deref(), server.folder(), &name) {
        Some(Ok((kind, bytes))) => {
            let base = name.rsplit('/').next().unwrap_or_default();
            let attached = format!("attachment; filename=\"{base}\"");
            ([(header::CONTENT_TYPE, kind.to_owned()), (header::CONTENT_DISPOSITION, attached)], bytes).into_response()
        }
        Some(Err(message)) => {
            let failure = Failure { message, hint: None };
            told(StatusCode::INTERNAL_SERVER_ERROR, "That file could not be made", &failure, ("/files", "To the files"))
        }
        None => not_there(),
    })
    .await
}
