//! Files to take away: their list, and each of them.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::respond::{failed, html, not_found, on_own_thread};
use super::state::Server;
use crate::notice::Failure;
use crate::serve::folder::files;
use crate::serve::limits::LONGEST_WAIT;
use crate::serve::pages::{self, Link, Place};

const TO_FILES: Link = Link { address: "files", text: "Back to the files" };

/// The list of files.
pub async fn list(State(server): State<Arc<Server>>) -> Response {
    server.current.first_review(LONGEST_WAIT).await;
    on_own_thread(move || {
        let groups = files::groups(server.current.review().as_deref(), server.folder());
        html(StatusCode::OK, pages::files(server.frame(Place::Files), server.shown_folder(), groups))
    })
    .await
}

/// The file that is asked for, by its name in the list. In the query: a page's own addresses go on from where it is.
#[derive(Deserialize)]
pub struct AskedFile {
    name: String,
}

/// A file, by its name in the list.
pub async fn download(State(server): State<Arc<Server>>, Query(AskedFile { name }): Query<AskedFile>) -> Response {
    server.current.first_review(LONGEST_WAIT).await;
    on_own_thread(move || match files::download(server.current.review().as_deref(), server.folder(), &name) {
        Some(Ok(file)) => {
            let base = name.rsplit('/').next().unwrap_or_default();
            let attached = format!("attachment; filename=\"{base}\"");
            let headers = [(header::CONTENT_TYPE, file.media_type.to_owned()), (header::CONTENT_DISPOSITION, attached)];
            (headers, file.bytes).into_response()
        }
        Some(Err(message)) => {
            let failure = Failure { message, hint: None };
            failed(StatusCode::INTERNAL_SERVER_ERROR, "The file could not be made", &failure, Some(TO_FILES))
        }
        None => not_found(),
    })
    .await
}
