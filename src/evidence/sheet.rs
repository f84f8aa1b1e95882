//! Can the sheet's own values be true?

use std::fmt::{self, Display};

use super::{Evidence, Member, RunToWeigh};
use crate::sheet::Sheet;

/// Why a value of the sheet is not sound.
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

/// What one run by itself says of its values.
pub fn weigh(_run: &RunToWeigh) -> Vec<Evidence> {
    Vec::new()
}

/// What all runs say of values that they share.
pub fn weigh_together(_members: &mut [Member], _sheet: &Sheet) {}
