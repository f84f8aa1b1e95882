//! Lap lists by a user's word: which run one is of, and lap times that are typed.

use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::respond::{failed, html, not_found, on_own_thread, see_other};
use super::sheets::{Fields, field, fields};
use super::state::Server;
use crate::laps::typed::{self, TypedLaps};
use crate::notice::Failure;
use crate::report::view;
use crate::serve::pages::{self, Place, TO_WEEKEND};
use crate::weekend::concluded_run::ConcludedRun;

const UNPLACED: &str = "The lap list was not laid on a run";

/// Writes a lap list of the folder on the sheet, for the run that was chosen.
pub async fn choose_run(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let sent = match fields(sent) {
        Ok(sent) => sent,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        let (run, list) = (field(&sent, "run"), field(&sent, "list"));
        let path = PathBuf::from(list);
        let is_open = server.current.review().is_some_and(|r| r.unlaid_lists.iter().any(|l| l.list == path));
        let named = match is_open {
            true => server.sheet.name_list(run, list),
            false => Err(Failure {
                message: "this lap list is no longer waiting for a run".to_owned(),
                hint: Some("look at the weekend's page again".to_owned()),
            }),
        };
        match named {
            Ok(()) => see_other("./"),
            Err(failure) => failed(StatusCode::CONFLICT, UNPLACED, &failure, Some(TO_WEEKEND)),
        }
    })
    .await
}

/// Shows how typed lap times are read, or keeps them as the run's lap list.
pub async fn type_laps(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let sent = match fields(sent) {
        Ok(sent) => sent,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        let (run, page, text) = (field(&sent, "run"), field(&sent, "page"), field(&sent, "laps"));
        let is_page = |(index, r): (usize, &ConcludedRun)| r.plan().id == run && view::page_name(index, run) == page;
        if !server.current.review().is_some_and(|review| review.runs.iter().enumerate().any(is_page)) {
            return not_found();
        }
        let shown = |status, read: Option<&TypedLaps>, failure| {
            html(status, pages::typed::typed(server.frame(Place::Laps), (run, page), text, read, failure))
        };
        let laps = match typed::read(text) {
            Ok(laps) => laps,
            Err(e) => {
                let hint = "enter one lap time a line, such as 15.8 or 0:15.8".to_owned();
                let failure = Failure { message: e.to_string(), hint: Some(hint) };
                return shown(StatusCode::UNPROCESSABLE_ENTITY, None, Some(failure));
            }
        };
        if field(&sent, "then") != "keep" {
            return shown(StatusCode::OK, Some(&laps), None);
        }
        match server.sheet.keep_typed(run, &laps) {
            Ok(()) => see_other(page),
            Err(failure) => shown(StatusCode::CONFLICT, Some(&laps), Some(failure)),
        }
    })
    .await
}
