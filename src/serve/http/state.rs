//! What all answers share.

use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;

use tokio::sync::Semaphore;
use tokio::sync::mpsc::UnboundedSender;

use super::guard::Guard;
use crate::report::view;
use crate::serve::folder::current::Current;
use crate::serve::limits::FILES_AT_ONCE;
use crate::serve::pages::{PageFrame, Place};
use crate::serve::sheet::save::SheetStore;
use crate::sheet::starter;

/// A running server.
pub struct Server {
    /// The folder and its review.
    pub current: Arc<Current>,
    /// The folder's sheet.
    pub sheet: SheetStore,
    /// Who may ask.
    pub guard: Guard,
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
        Self { current, sheet, guard, arrivals, more_listeners }
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
}
