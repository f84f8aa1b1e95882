//! Runs of the sheet that are changed by a click, logs that are left out, and logs that are of two cars.

use std::path::Path;
use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::respond::{not_found, on_own_thread};
use super::sheets::{Fields, field, fields};
use super::state::Server;
use crate::serve::pages::said::Said;
use crate::serve::sheet::runs::RunChange;

/// Changes a run as the button says, and goes back to the weekend's page.
pub async fn change(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let sent = match fields(sent) {
        Ok(sent) => sent,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        let run = field(&sent, "run");
        let change = match field(&sent, "then") {
            "rename" => {
                RunChange::Rename { name: field(&sent, "name").to_owned(), car: field(&sent, "car").to_owned() }
            }
            "earlier" => RunChange::Earlier,
            "later" => RunChange::Later,
            "leave-out" => RunChange::LeaveOut,
            "put-back" => RunChange::PutBack,
            "take-off" => RunChange::TakeOff,
            _ => return not_found(),
        };
        let said = match server.sheet.change_run(run, &change) {
            Ok(done) => Said::done(place_after(run, &change, field(&sent, "name")), done.say, done.undo),
            Err(failure) => Said::failed(format!("run {run}"), failure),
        };
        server.go_on("./", said)
    })
    .await
}

/// Where a change is said: at the run, under its new name, or above all runs where it is not among them any more.
fn place_after(run: &str, change: &RunChange, new_name: &str) -> String {
    match change {
        RunChange::LeaveOut | RunChange::TakeOff | RunChange::PutBack => "runs".to_owned(),
        RunChange::Rename { .. } if !new_name.trim().is_empty() => format!("run {}", new_name.trim()),
        _ => format!("run {run}"),
    }
}

/// Leaves a log out that is not on the sheet.
pub async fn leave_out(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let sent = match fields(sent) {
        Ok(sent) => sent,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        let log = field(&sent, "leave_out");
        let is_open = |r: &crate::review::Review| r.unlisted.iter().any(|run| run.log == Path::new(log));
        if !server.current.review().is_some_and(|review| is_open(&review)) {
            return not_found();
        }
        let said = match server.sheet.leave_out(log) {
            Ok(done) => Said::done("unlisted", done.say, done.undo),
            Err(failure) => Said::failed("unlisted", failure),
        };
        server.go_on("./", said)
    })
    .await
}

/// Makes a sheet with two cars for logs that are of two packs.
pub async fn make_two_cars(State(server): State<Arc<Server>>, sent: Fields) -> Response {
    let sent = match fields(sent) {
        Ok(sent) => sent,
        Err(page) => return *page,
    };
    on_own_thread(move || {
        let said = match server.sheet.make_two_cars([field(&sent, "first"), field(&sent, "second")]) {
            Ok(done) => Said::done("two cars", done.say, done.undo),
            Err(failure) => Said::failed("two cars", failure),
        };
        server.go_on("./", said)
    })
    .await
}
