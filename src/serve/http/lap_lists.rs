//! Lap lists by a user's word: which run one is of, and lap times that are typed.

use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::outcomes::{Kept, Outcome};
use super::respond::{html, not_found, on_own_thread};
use super::sheets::{Fields, field, fields};
use super::state::{AskedOutcome, Server};
use crate::laps::typed;
use crate::notice::{Failure, printable};
use crate::report::view;
use crate::serve::limits::LONGEST_WAIT;
use crate::serve::pages::said::Said;
use crate::serve::pages::{self, Place};
use crate::weekend::concluded_run::ConcludedRun;

/// The place on the weekend's page where it is said what became of a lap list.
const LISTS: &str = "lists";

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
            Ok(undo) => {
                let say = format!("`{}` is the lap list of run {} now", printable(list, 80), printable(run, 40));
                server.go_on("./", Said::done(LISTS, say, undo))
            }
            Err(failure) => server.go_on("./", Said::failed(LISTS, failure)),
        }
    })
    .await
}

/// The lap times that were typed, as they are read.
pub async fn show_laps(State(server): State<Arc<Server>>, Query(asked): Query<AskedOutcome>) -> Response {
    server.current.first_review(LONGEST_WAIT).await;
    on_own_thread(move || {
        let outcome = server.outcome(&asked);
        let Some(Kept::Laps(sent)) = outcome.as_ref().and_then(|outcome| outcome.kept.as_ref()) else {
            return not_found();
        };
        let (run, page, text) = (field(sent, "run"), field(sent, "page"), field(sent, "laps"));
        let frame = server.frame_after(Place::Laps, outcome.as_deref());
        html(StatusCode::OK, pages::typed::typed(frame, (run, page), text, typed::read(text).ok().as_ref()))
    })
    .await
}

/// Reads lap times that were typed, to be shown, or keeps them as the run's lap list.
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
        let shown = |said: Said| server.go_on("typed-laps", Outcome { said, kept: Some(Kept::Laps(sent.clone())) });
        let laps = match typed::read(text) {
            Ok(laps) => laps,
            Err(e) => {
                let hint = "enter one lap time a line, such as 15.8 or 0:15.8".to_owned();
                let failure = Failure { message: e.to_string(), hint: Some(hint) };
                return shown(Said::failed("read", failure));
            }
        };
        if field(&sent, "then") != "keep" {
            return shown(Said::default());
        }
        match server.sheet.keep_typed(run, &laps) {
            Ok(undo) => {
                let say = format!("kept as the lap list of run {}", printable(run, 40));
                server.go_on(&page_of(&server, run), Said::done("laps", say, undo))
            }
            Err(failure) => shown(Said::failed("keep", failure)),
        }
    })
    .await
}

/// The page of a run as it is called now: a log with several runs has got an entry for each.
fn page_of(server: &Server, run: &str) -> String {
    let review = server.current.review();
    let mut runs = review.iter().flat_map(|review| review.runs.iter().enumerate());
    let found = runs.find(|(_, r)| r.plan().id == run);
    found.map_or_else(|| "./".to_owned(), |(index, _)| view::page_name(index, run))
}
