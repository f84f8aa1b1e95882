//! Lap lists by a user's word: which run one is of.

use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::respond::{failed, on_own_thread, see_other};
use super::sheets::{Fields, field, fields};
use super::state::Server;
use crate::notice::Failure;
use crate::serve::pages::TO_WEEKEND;

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
