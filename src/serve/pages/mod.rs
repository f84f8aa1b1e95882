//! The local page's own templates, filled in; the report's two pages with what only a running server can offer.

pub mod ahead;
pub mod run;
pub mod said;
pub mod sheet;
pub mod typed;
pub mod weekend;

use askama::Template;

use crate::notice::Failure;
use crate::report::pages::{filters, in_units};
use crate::serve::folder::files::FileGroup;
use crate::serve::limits::LARGEST_FILE_BYTES;
use crate::units::Units;
use said::Said;

/// Script of the local page.
pub const LIVE_SCRIPT: &str = include_str!("../templates/live.js");

/// A page, or why its template could not be filled in.
pub type Page = Result<String, askama::Error>;

/// Which page it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The weekend's.
    Weekend,
    /// A run's.
    Run,
    /// The setup sheet's, as a form or as text.
    Sheet,
    /// That of lap times that are typed.
    Laps,
    /// The list of files.
    Files,
    /// How to open the weekend on a phone.
    Phone,
    /// A message.
    Message,
}

/// What all pages have: a name, their place among the others, and whether they keep what is typed.
#[derive(Debug, Clone, PartialEq)]
pub struct PageFrame {
    /// Name of the weekend, or the message's title.
    pub name: String,
    /// Which page it is.
    pub place: Place,
    /// What became of the form that led here.
    pub said: Option<Said>,
}

/// A page in the list at the top.
pub struct Tab {
    /// Its address.
    pub address: &'static str,
    /// What it is called.
    pub label: &'static str,
    /// Whether it is the one that is shown.
    pub is_current: bool,
}

impl PageFrame {
    /// The frame of a page.
    pub fn new(name: impl Into<String>, place: Place) -> Self {
        Self { name: name.into(), place, said: None }
    }

    /// The same under another name.
    pub fn renamed(self, name: String) -> Self {
        Self { name, ..self }
    }

    /// The same with what became of the form that led here.
    pub fn saying(self, said: Option<Said>) -> Self {
        Self { said, ..self }
    }

    /// What is to be said in a place of the page.
    pub fn said_at(&self, place: &str) -> Option<&Said> {
        self.said.as_ref().filter(|said| said.place == place)
    }

    /// The pages at the top.
    pub fn tabs(&self) -> [Tab; 4] {
        let tab = |address, label, place| Tab { address, label, is_current: self.place == place };
        [
            tab("./", "Weekend", Place::Weekend),
            tab("sheet", "Setup sheet", Place::Sheet),
            tab("files", "Files", Place::Files),
            tab("phone", "On a phone", Place::Phone),
        ]
    }

    /// Mark for the page's script: `1` where the page keeps what is typed and never makes itself new, else empty.
    pub fn keep(&self) -> &'static str {
        if matches!(self.place, Place::Sheet | Place::Laps) { "1" } else { "" }
    }
}

/// Where to go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link {
    /// The address.
    pub address: &'static str,
    /// What the link says.
    pub text: &'static str,
}

/// To the weekend's page.
pub const TO_WEEKEND: Link = Link { address: "./", text: "Back to the weekend" };

#[derive(Template)]
#[template(path = "empty.html", config = "src/serve/askama.toml")]
struct EmptyPage {
    frame: PageFrame,
    folder: String,
    largest_file_bytes: u64,
}

/// The page of a folder without a log.
///
/// # Errors
/// If the template cannot be filled in.
pub fn empty(frame: PageFrame, folder: String) -> Page {
    EmptyPage { frame, folder, largest_file_bytes: LARGEST_FILE_BYTES }.render()
}

#[derive(Template)]
#[template(path = "reading.html", config = "src/serve/askama.toml")]
struct ReadingPage {
    frame: PageFrame,
    folder: String,
}

/// The page while the first review is being made.
///
/// # Errors
/// If the template cannot be filled in.
pub fn reading(frame: PageFrame, folder: String) -> Page {
    ReadingPage { frame, folder }.render()
}

#[derive(Template)]
#[template(path = "files.html", config = "src/serve/askama.toml")]
struct FilesPage {
    frame: PageFrame,
    folder: String,
    groups: Vec<FileGroup>,
}

/// What can be taken away.
///
/// # Errors
/// If the template cannot be filled in.
pub fn files(frame: PageFrame, folder: String, groups: Vec<FileGroup>) -> Page {
    FilesPage { frame, folder, groups }.render()
}

#[derive(Template)]
#[template(path = "phone.html", config = "src/serve/askama.toml")]
struct PhonePage {
    frame: PageFrame,
    url: Option<String>,
    code: String,
}

/// What letting a phone in means, and the button that does it.
///
/// # Errors
/// If the template cannot be filled in.
pub fn phone_closed(frame: PageFrame) -> Page {
    PhonePage { frame, url: None, code: String::new() }.render()
}

/// The address for a phone, as text and as a drawing of its code.
///
/// # Errors
/// If the template cannot be filled in.
pub fn phone_open(frame: PageFrame, url: String, code: String) -> Page {
    PhonePage { frame, url: Some(url), code }.render()
}

#[derive(Template)]
#[template(path = "message.html", config = "src/serve/askama.toml")]
struct MessagePage<'a> {
    frame: PageFrame,
    failure: &'a Failure,
    link: Option<Link>,
}

/// What went wrong, what to do, and where to go on.
///
/// # Errors
/// If the template cannot be filled in.
pub fn message(title: &str, failure: &Failure, link: Option<Link>) -> Page {
    let page = MessagePage { frame: PageFrame::new(title, Place::Message), failure, link }.render()?;
    Ok(in_units(&page, Units::default()))
}
