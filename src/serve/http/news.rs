//! News of the folder: a question that waits until something has changed.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};

use super::respond::on_own_thread;
use super::state::Server;
use crate::fingerprint::fingerprint;
use crate::serve::folder::current::News;
use crate::serve::limits::{LONGEST_WAIT, PROGRESS_INTERVAL};

/// The version that a page knows.
#[derive(serde::Deserialize)]
pub struct Since {
    since: Option<u64>,
}

/// News since a version, waited for where there is none yet.
pub async fn changes(State(server): State<Arc<Server>>, Query(known): Query<Since>) -> Response {
    let mut news = server.current.news();
    let stale = |n: &News| known.since != Some(n.version) || n.busy;
    let now = *news.borrow();
    // The progress of a review is reported a few times a second.
    let wait = if now.busy { PROGRESS_INTERVAL } else { LONGEST_WAIT };
    if known.since == Some(now.version) {
        let _ = tokio::time::timeout(wait, news.wait_for(|n| stale(n) && *n != now)).await;
    }
    let News { version, busy, done, count } = *news.borrow();
    on_own_thread(move || {
        let sheet = server.sheet.text().map(|t| fingerprint(&t)).unwrap_or_default();
        let answer =
            serde_json::json!({ "version": version, "busy": busy, "done": done, "count": count, "sheet": sheet });
        axum::Json(answer).into_response()
    })
    .await
}
