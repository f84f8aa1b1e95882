//! Does the recorder's clock keep time?
//!
//! Two clocks timed the same laps: the recorder's and the lap list's. A timing system keeps time far better than
//! a recorder (common practice, no source), so where the two disagree by more than chance it is the recorder's that is
//! off; charge, seconds and rates by the log are off alike. Without a lap list nothing tells.

use std::fmt::{self, Display};

use super::{Evidence, RunToWeigh, Subject, Why as AnyWhy};
use crate::log::Channel;
use crate::quantity::Estimate;

/// Why the recorder's clock is not sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Why {
    /// Log seconds in a second of the lap list.
    pub scale: Estimate,
}

impl Why {
    /// What to do about it.
    pub fn advice(&self) -> &'static str {
        "charge, energy and times by the log are off by as much; lap times are the list's"
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let off = 100.0 * (self.scale.value - 1.0);
        let way = if off > 0.0 { "fast" } else { "slow" };
        write!(
            f,
            "the recorder's clock runs {:.1} % {way} against the lap list (± {:.1})",
            off.abs(),
            100.0 * self.scale.half_width()
        )
    }
}

/// What the run's lap list says of its clock.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let doubt = |scale| Evidence::doubtful(Subject::Channel(Channel::Time), AnyWhy::Clock(Why { scale }));
    run.laps.clock_scale.map(doubt).into_iter().collect()
}
