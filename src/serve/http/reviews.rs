//! The weekend's page and the runs' pages.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::respond::{failed, html, not_found, on_own_thread};
use super::state::{AskedOutcome, Server};
use crate::report::view;
use crate::serve::folder::current::FolderState;
use crate::serve::limits::{FIRST_REVIEW_WAIT, LONGEST_WAIT};
use crate::serve::pages::ahead::AskedRace;
use crate::serve::pages::run::AskedGears;
use crate::serve::pages::{self, Link, Place};
use crate::sheet::read;

const TO_SHEET_TEXT: Link = Link { address: "sheet-text", text: "Open the setup sheet" };

/// The weekend's page, or what the folder gives in place of a review.
pub async fn weekend(State(server): State<Arc<Server>>, Query(asked): Query<AskedOutcome>) -> Response {
    server.current.first_review(FIRST_REVIEW_WAIT).await;
    on_own_thread(move || {
        let outcome = server.outcome(&asked);
        let frame = || server.frame_after(Place::Weekend, outcome.as_deref());
        let page = match server.current.state() {
            FolderState::Reading => pages::reading(frame(), server.shown_folder()),
            FolderState::Empty => pages::empty(frame(), server.shown_folder()),
            FolderState::Failed(failure) => {
                return failed(StatusCode::OK, "The weekend cannot be reviewed", &failure, Some(TO_SHEET_TEXT));
            }
            FolderState::Reviewed(review) => {
                // Numbers of runs are those of the text that the form is sent back to.
                let text = server.sheet.text().unwrap_or_default();
                let sheet = read::read(&text).unwrap_or_default();
                let frame = frame().renamed(view::weekend_name(&review));
                pages::weekend::weekend(frame, &review, &server.sheet.remember(text), &sheet)
            }
        };
        html(StatusCode::OK, page)
    })
    .await
}

/// A run's page, by its name, with other gears tried and another race worked out.
pub async fn run(
    State(server): State<Arc<Server>>,
    Path(page): Path<String>,
    Query(asked): Query<AskedGears>,
    Query(race): Query<AskedRace>,
    Query(said): Query<AskedOutcome>,
) -> Response {
    server.current.first_review(LONGEST_WAIT).await;
    on_own_thread(move || {
        let Some(review) = server.current.review() else { return not_found() };
        let mut names = review.runs.iter().enumerate().map(|(index, r)| view::page_name(index, &r.plan().id));
        let Some(index) = names.position(|name| name == page) else { return not_found() };
        let run_ids = run_ids(&server.sheet.text().unwrap_or_default());
        let outcome = server.outcome(&said);
        let frame = server.frame_after(Place::Run, outcome.as_deref());
        html(StatusCode::OK, pages::run::run(frame, &review, index, &run_ids, &asked, &race))
    })
    .await
}

/// Ids of the runs on a sheet's text, in its order.
fn run_ids(text: &str) -> Vec<String> {
    read::read(text).unwrap_or_default().runs.into_iter().map(|r| r.id).collect()
}
