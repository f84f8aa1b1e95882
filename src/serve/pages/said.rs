//! What is said beside the button that was pressed.

use crate::notice::Failure;
use crate::serve::sheet::save::Undo;

/// The way back from something that was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WayBack {
    /// The sheet as it was before.
    Sheet(Undo),
    /// The run with this id goes from the sheet again.
    Run(String),
}

/// What became of a form, for the page that follows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Said {
    /// Name of the place on the page that the button is in.
    pub place: String,
    /// What was done, in a sentence.
    pub say: String,
    /// Why nothing was done.
    pub failure: Option<Failure>,
    /// The way back.
    pub back: Option<WayBack>,
}

impl Said {
    /// Something that was done.
    pub fn done(place: impl Into<String>, say: impl Into<String>, undo: Option<Undo>) -> Self {
        let say = say.into();
        let mut letters = say.chars();
        let say = letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect());
        Self { place: place.into(), say, failure: None, back: undo.map(WayBack::Sheet) }
    }

    /// Something that was not.
    pub fn failed(place: impl Into<String>, failure: Failure) -> Self {
        Self { place: place.into(), failure: Some(failure), ..Self::default() }
    }
}
