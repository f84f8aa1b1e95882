//! What became of a form: kept until the page that follows has said it.
//!
//! Each form is answered by another address (RFC 9110, 303), so that a page can be loaded again, or gone back to, without
//! being sent again.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use crate::serve::folder::secret::random_text;
use crate::serve::pages::said::Said;
use crate::serve::sheet::changes::SentField;
use crate::serve::sheet::save::Unsaved;

/// Outcomes kept: the oldest go first.
const MOST: usize = 24;

/// What was sent and not saved, to be shown again.
#[derive(Debug, Clone)]
pub enum Kept {
    /// The sheet's form, and why not.
    Form(Vec<SentField>, Unsaved),
    /// The sheet's text.
    Text(String),
    /// Lap times, in the fields of their form.
    Laps(Vec<SentField>),
}

/// What became of a form.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    /// What is said of it.
    pub said: Said,
    /// What was sent and not saved.
    pub kept: Option<Kept>,
}

impl From<Said> for Outcome {
    fn from(said: Said) -> Self {
        Self { said, kept: None }
    }
}

/// The last outcomes by their marks.
#[derive(Default)]
pub struct Outcomes {
    all: Mutex<VecDeque<(String, Arc<Outcome>)>>,
}

impl Outcomes {
    /// Keeps an outcome; gives its mark.
    pub fn keep(&self, outcome: Outcome) -> String {
        let mark = random_text();
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() == MOST {
            all.pop_front();
        }
        all.push_back((mark.clone(), Arc::new(outcome)));
        mark
    }

    /// The outcome with this mark; `None` where it is gone.
    pub fn find(&self, mark: &str) -> Option<Arc<Outcome>> {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.iter().find(|kept| kept.0 == mark).map(|kept| kept.1.clone())
    }
}
