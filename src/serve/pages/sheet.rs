//! The setup sheet's pages: as a form, and as text.

use askama::Template;

use super::PageFrame;
use super::said::WayBack;
use crate::report::pages::filters;
use crate::serve::sheet::changes::Problem;
use crate::serve::sheet::form::Form;
use crate::serve::sheet::save::{MarkedLine, TypedValue};
use crate::serve::sheet::versions::Version;

/// The sheet as a form.
#[derive(Template)]
#[template(path = "sheet.html", config = "src/serve/askama.toml")]
pub struct FormPage {
    /// Name and place.
    pub frame: PageFrame,
    /// Mark of the text that the form is made of.
    pub base: String,
    /// The fields.
    pub form: Form,
    /// Keys to choose from for another setting of a run.
    pub keys: Vec<&'static str>,
    /// What is wrong with what was sent.
    pub problems: Vec<Problem>,
    /// What of it the form does not show.
    pub lost: Vec<TypedValue>,
    /// Earlier versions of the sheet.
    pub versions: Vec<Version>,
}

/// The sheet as text.
#[derive(Template)]
#[template(path = "text.html", config = "src/serve/askama.toml")]
pub struct TextPage {
    /// Name and place.
    pub frame: PageFrame,
    /// Mark of the sheet's text.
    pub base: String,
    /// The text to edit.
    pub text: String,
    /// The sheet, where the text to edit is another one that was not saved.
    pub current: Option<String>,
    /// What is wrong with the text.
    pub mistakes: Vec<MarkedLine>,
    /// What was typed in the form and not saved.
    pub lost: Vec<TypedValue>,
}
