//! A file that is dropped on the page: received in pieces, then taken into the folder.

use std::io::Write;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Query, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use http_body_util::BodyExt;
use serde::{Deserialize, Serialize};
use tempfile::NamedTempFile;
use tokio::time::Instant;

use super::respond::{not_found, on_own_thread};
use super::state::Server;
use crate::log::Log;
use crate::notice::Failure;
use crate::serve::folder::own::arriving_file;
use crate::serve::folder::take::{self, Kind, Receipt, Taken};
use crate::serve::folder::unpack::{self, is_archive_of_files};
use crate::serve::limits::{LARGEST_FILE_BYTES, SLOWEST_BYTES_A_SECOND, SLOWEST_OVER, megabytes};
use crate::serve::pages::said::{Said, WayBack};
use crate::serve::sheet::lap_lists::ListPlace;
use crate::serve::sheet::new_logs::LogPlace;

/// Why a file did not arrive.
enum Broken {
    TooLarge,
    NotSaved(std::io::Error),
    Incomplete,
    TooSlow,
}

impl IntoResponse for Broken {
    fn into_response(self) -> Response {
        let (status, message, hint) = match self {
            Self::TooLarge => (
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("the file is larger than {} MB", megabytes(LARGEST_FILE_BYTES)),
                "copy it into the weekend's folder yourself",
            ),
            Self::NotSaved(e) => (
                StatusCode::INTERNAL_SERVER_ERROR,
                format!("the file could not be saved: {e}"),
                "check that the weekend's folder can be written to and that the disk is not full",
            ),
            Self::Incomplete => (
                StatusCode::BAD_REQUEST,
                "the file did not arrive completely; nothing was saved".to_owned(),
                "drop it again",
            ),
            Self::TooSlow => (
                StatusCode::REQUEST_TIMEOUT,
                "the file came too slowly; nothing was saved".to_owned(),
                "check the network and drop it again",
            ),
        };
        for_script(status, &Failure { message, hint: Some(hint.to_owned()) })
    }
}

/// An answer that the page's script reads.
fn for_script(status: StatusCode, answer: &impl Serialize) -> Response {
    (status, axum::Json(serde_json::json!(answer))).into_response()
}

/// The name that a file had.
#[derive(Deserialize)]
pub struct Named {
    name: String,
}

/// Takes in a file under the name that it had.
pub async fn drop_file(
    State(server): State<Arc<Server>>,
    Query(Named { name }): Query<Named>,
    request: Request,
) -> Response {
    let length = request.headers().get(header::CONTENT_LENGTH).and_then(|l| l.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|l| l > LARGEST_FILE_BYTES) {
        return Broken::TooLarge.into_response();
    }
    // A log is read whole: so many at a time, whoever sends them; the others wait with their bytes on their own side.
    let Ok(_turn) = server.arrivals.clone().acquire_owned().await else { return not_found() };
    let arrived = match arriving_file(server.folder()) {
        Ok(file) => receive(request.into_body(), file).await,
        Err(e) => Err(Broken::NotSaved(e)),
    };
    let arrived = match arrived {
        Ok(file) => file,
        Err(broken) => return broken.into_response(),
    };
    on_own_thread(move || {
        if is_archive_of_files(arrived.path()) {
            return take_archive(&server, &name, &arrived);
        }
        match take::take(server.folder(), &name, arrived) {
            Ok(taken) => {
                let receipt = placed(&server, taken);
                server.current.refresh();
                for_script(StatusCode::OK, &receipt)
            }
            Err(failure) => for_script(StatusCode::UNPROCESSABLE_ENTITY, &failure),
        }
    })
    .await
}

/// What became of each file in an archive.
#[derive(Serialize)]
struct ArchiveReceipt {
    files: Vec<PackedReceipt>,
}

/// A file in an archive and what became of it.
#[derive(Serialize)]
struct PackedReceipt {
    name: String,
    #[serde(flatten)]
    fate: Fate,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Fate {
    Taken(Receipt),
    Refused(Failure),
}

fn take_archive(server: &Server, name: &str, arrived: &NamedTempFile) -> Response {
    match unpack::take_all(server.folder(), name, arrived) {
        Ok(all) => {
            let fate = |taken: Result<Taken, Failure>| match taken {
                Ok(taken) => Fate::Taken(placed(server, taken)),
                Err(failure) => Fate::Refused(failure),
            };
            let files = all.into_iter().map(|file| PackedReceipt { name: file.name, fate: fate(file.taken) }).collect();
            server.current.refresh();
            for_script(StatusCode::OK, &ArchiveReceipt { files })
        }
        Err(failure) => for_script(StatusCode::UNPROCESSABLE_ENTITY, &failure),
    }
}

/// Hands a log over for the next review, lays a lap list on its run; gives what became of the file.
fn placed(server: &Server, taken: Taken) -> Receipt {
    taken.read_log.into_iter().for_each(|log| server.current.hand_over(log));
    let mut receipt = taken.receipt;
    match receipt.kind {
        Kind::LapList => place_list(server, &mut receipt),
        Kind::Log => place_log(server, &mut receipt, &taken.runs),
        Kind::Sheet => {}
    }
    receipt
}

/// Puts a log on the sheet, where that has one car, and says what was done.
fn place_log(server: &Server, receipt: &mut Receipt, runs: &[Log]) {
    match server.sheet.add_log(&receipt.saved, runs) {
        LogPlace::Reviewed | LogPlace::Asked(None) => {}
        LogPlace::Asked(Some(say)) => receipt.say.push(say),
        LogPlace::Added { run, say } => {
            let back = Some(WayBack::Run(run.clone()));
            let said = format!("`{}` is {say}", receipt.saved);
            let said = Said { place: "top".to_owned(), say: said, failure: None, back };
            receipt.outcome = Some(server.outcomes.keep(said.into()));
            receipt.say.push(say);
            receipt.undo_run = Some(run);
        }
    }
}

/// Lays a lap list on the run of its name, and says what was done.
fn place_list(server: &Server, receipt: &mut Receipt) {
    let say = match server.sheet.pair_list(&receipt.saved) {
        ListPlace::Laid(say) => say,
        ListPlace::Open => {
            receipt.ask_run = true;
            "no run has this name: choose its run".to_owned()
        }
        ListPlace::NoRun(why) => why.to_owned(),
    };
    receipt.say.push(say);
}

/// Writes what arrives to `file`, as long as it is not too much and does not come too slowly.
async fn receive(mut body: Body, mut file: NamedTempFile) -> Result<NamedTempFile, Broken> {
    let mut count = 0;
    let (mut window_ends, mut in_window) = (Instant::now() + SLOWEST_OVER, 0);
    loop {
        let data = match tokio::time::timeout_at(window_ends, body.frame()).await {
            Ok(None) => return Ok(file),
            Ok(Some(Ok(frame))) => frame.into_data().unwrap_or_default(),
            Ok(Some(Err(_))) => return Err(Broken::Incomplete),
            Err(_) if in_window < SLOWEST_BYTES_A_SECOND * SLOWEST_OVER.as_secs() => return Err(Broken::TooSlow),
            Err(_) => {
                (window_ends, in_window) = (Instant::now() + SLOWEST_OVER, 0);
                continue;
            }
        };
        count += data.len() as u64;
        in_window += data.len() as u64;
        if count > LARGEST_FILE_BYTES {
            return Err(Broken::TooLarge);
        }
        file.write_all(&data).map_err(Broken::NotSaved)?;
    }
}
