//! Is the lap list that of this log?
//!
//! The list was weighed where it was laid ([`crate::laps::list_check`]): by how its passings find the car at one place,
//! against what the same laps in another order would. Here that is one of the run's pieces of evidence.

use std::fmt::{self, Display};
use std::mem::discriminant;

use super::{Evidence, RunToWeigh, Subject, Why as AnyWhy};
use crate::laps::list_verdict::{ListReason, ListVerdict};

/// Laps of a list whose order can be told from chance. Common practice, no source.
const FEW_LAPS: usize = 10;

/// Why a lap list is not sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// It may be the log's and is laid.
    Doubtful(ListReason),
    /// It is not laid; laps are found in the log instead.
    Refused(ListReason),
}

impl Why {
    fn reason(&self) -> &ListReason {
        match self {
            Self::Doubtful(reason) | Self::Refused(reason) => reason,
        }
    }

    /// Whether it is the same reason, whatever its figures.
    pub fn is_alike(&self, other: &Self) -> bool {
        discriminant(self) == discriminant(other) && discriminant(self.reason()) == discriminant(other.reason())
    }

    /// What to do about it.
    pub fn advice(&self) -> &'static str {
        self.reason().hint()
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.reason().fmt(f)
    }
}

/// What the run's list is worth.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let found = match run.laps.list {
        // So few laps have few orders: that they fit in another one says nothing against the list.
        Some(ListVerdict::Doubtful(ListReason::AnyOrder)) if run.laps.rows.len() < FEW_LAPS => return Vec::new(),
        Some(ListVerdict::Doubtful(reason)) => Evidence::doubtful(Subject::Laps, AnyWhy::List(Why::Doubtful(reason))),
        Some(ListVerdict::Refused(reason)) => Evidence::unusable(Subject::Laps, AnyWhy::List(Why::Refused(reason))),
        Some(ListVerdict::Sound) | None => return Vec::new(),
    };
    vec![found]
}
