//! What all answers share.

use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;

use tokio::sync::Semaphore;
use tokio::sync::mpsc::UnboundedSender;

use axum::response::Response;

use super::guard::Guard;
use super::outcomes::{Outcome, Outcomes};
use super::respond::see_other;
use crate::fingerprint::fingerprint;
use crate::report::view;
use crate::serve::folder::current::Current;
use crate::serve::limits::FILES_AT_ONCE;
use crate::serve::pages::said::{Said, WayBack};
use crate::serve::pages::{PageFrame, Place};
use crate::serve::sheet::save::SheetStore;
use crate::sheet::{read, starter};

/// A running server.
pub struct Server {
    /// The folder and its review.
    pub current: Arc<Current>,
    /// The folder's sheet.
    pub sheet: SheetStore,
    /// Who may ask.
    pub guard: Guard,
    /// What became of the last forms.
    pub outcomes: Outcomes,
    /// Turns of files that arrive.
    pub arrivals: Arc<Semaphore>,
    /// Where further addresses are handed in that the server is to answer on.
    pub more_listeners: UnboundedSender<TcpListener>,
}

impl Server {
    /// A server of `folder` that lets in whom `guard` does, and where it hands in further addresses to answer on.
    pub fn new(folder: &Path, guard: Guard, more_listeners: UnboundedSender<TcpListener>) -> Self {
        let current = Arc::new(Current::new(folder.to_owned()));
        let sheet = SheetStore::new(current.clone());
        let arrivals = Arc::new(Semaphore::new(FILES_AT_ONCE));
        Self { current, sheet, guard, outcomes: Outcomes::default(), arrivals, more_listeners }
    }

    /// The weekend's folder.
    pub fn folder(&self) -> &Path {
        self.current.folder()
    }

    /// The folder as a page shows it.
    pub fn shown_folder(&self) -> String {
        self.folder().display().to_string()
    }

    /// The frame of a page of the weekend, under the sheet's name for it or the folder's.
    pub fn frame(&self, place: Place) -> PageFrame {
        let named = self.current.review().filter(|r| r.sheet.name.is_some());
        let name = named.map_or_else(|| starter::name_of(self.folder()), |review| view::weekend_name(&review));
        PageFrame::new(name, place)
    }

    /// The same with what became of the form that led to the page.
    pub fn frame_after(&self, place: Place, outcome: Option<&Outcome>) -> PageFrame {
        self.frame(place).saying(outcome.map(|outcome| self.still_true(outcome.said.clone())))
    }

    /// The outcome that an address names.
    pub fn outcome(&self, asked: &AskedOutcome) -> Option<Arc<Outcome>> {
        self.outcomes.find(asked.said.as_deref()?)
    }

    /// Goes on to `page`, where it is said what became of a form.
    pub fn go_on(&self, page: &str, outcome: impl Into<Outcome>) -> Response {
        let mark = self.outcomes.keep(outcome.into());
        see_other(&format!("{page}?said={mark}#said"))
    }

    /// What is said, without a way back that would lose what came after.
    fn still_true(&self, mut said: Said) -> Said {
        let now = self.sheet.text().unwrap_or_default();
        let leads_back = |back: &WayBack| match back {
            WayBack::Sheet(undo) => fingerprint(&now) == undo.base,
            WayBack::Run(id) => read::read(&now).unwrap_or_default().runs.iter().any(|run| run.id == *id),
        };
        said.back = said.back.filter(leads_back);
        said
    }
}

/// The mark of an outcome, in a page's address.
#[derive(Debug, Default, serde::Deserialize)]
pub struct AskedOutcome {
    said: Option<String>,
}
