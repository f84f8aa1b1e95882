//! Is the ground speed the car's, in its unit, at its time?
//!
//! By its own evidence ([`crate::laps::ground`]): a factor of a unit against gearing and tyre, the time by which it
//! follows the revs, how often it has a new value, a ratio to the revs that never changes, rows without a value. It is
//! never refused for disagreeing with the revs: that is wheelspin.
//!
//! A unit and a lag are put right and said. A speed that cannot show a short spin is left out, and the revs tell
//! wheelspin in its place.

use std::fmt::{self, Display};

use super::{Evidence, RunToWeigh, Subject, Why as AnyWhy};
use crate::laps::fixes::Lost;
use crate::laps::ground::GroundFault;
use crate::log::Channel;

/// Why the ground speed is not sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Why(GroundFault);

impl Why {
    /// Whether it is the same reason, whatever its figures.
    pub fn is_alike(&self, other: &Self) -> bool {
        std::mem::discriminant(&self.0) == std::mem::discriminant(&other.0)
    }

    /// What to do about it; empty where the reason says it.
    pub fn advice(&self) -> &'static str {
        match self.0 {
            GroundFault::Unit(_) => "check the unit of the speed column",
            GroundFault::Late(_) => "",
            GroundFault::Wanders => "check how the receiver is connected to the recorder",
            GroundFault::Slow(_) => "set the receiver to five values a second or more",
            GroundFault::FromRevs => "record a speed that a receiver measures",
            GroundFault::Lost(_) => "mount the receiver where it sees the sky",
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            GroundFault::Unit(factor) => write!(
                f,
                "the ground speed is {factor:.2} times what gearing and tyre make of the revs: that is another unit, and \
                 it was converted"
            ),
            GroundFault::Late(seconds) => {
                write!(f, "the ground speed comes {seconds:.2} s late; it was moved back by that time")
            }
            GroundFault::Wanders => f.write_str(
                "the ground speed comes late by a time that changes within the run; wheelspin is told from the revs",
            ),
            GroundFault::Slow(hz) => write!(
                f,
                "the ground speed has only {hz:.1} new values a second, too few to show a short spin; wheelspin is told \
                 from the revs"
            ),
            GroundFault::FromRevs => f.write_str(
                "the ground speed was calculated from the revs, so it shows no slip; wheelspin is told from the revs",
            ),
            GroundFault::Lost(Lost { times, share }) => {
                write!(f, "the ground speed drops out {times} times, for {:.1} % of the driving", 100.0 * share)
            }
        }
    }
}

/// What the run says of its ground speed.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let faults = run.laps.odometer.as_ref().map_or(&[][..], |odometer| odometer.ground_faults());
    let of = Subject::Channel(Channel::GroundSpeed);
    let weighed = |fault: &GroundFault| {
        let why = AnyWhy::Ground(Why(*fault));
        if fault.refuses() { Evidence::unusable(of, why) } else { Evidence::doubtful(of, why) }
    };
    faults.iter().map(weighed).collect()
}
