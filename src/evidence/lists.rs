//! Is the lap list that of this log?

use std::fmt::{self, Display};

use super::{Evidence, RunToWeigh};

/// Why a lap list is not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {}

impl Why {
    /// What to do about it; empty where the reason says it.
    pub fn advice(&self) -> &'static str {
        match *self {}
    }
}

impl Display for Why {
    fn fmt(&self, _: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {}
    }
}

/// What one run by itself says of them.
pub fn weigh(_run: &RunToWeigh) -> Vec<Evidence> {
    Vec::new()
}
