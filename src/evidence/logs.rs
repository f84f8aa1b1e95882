//! Is the log that of this run?

use std::fmt::{self, Display};

use super::Member;

/// Why a log is not sound.
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

/// What runs say of each other's.
pub fn weigh_together(_members: &mut [Member]) {}
