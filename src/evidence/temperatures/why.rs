//! Why a temperature is not sound, in words.

use std::fmt::{self, Display};

use super::Part;
use crate::units::measure::{DEGREES, TEMPERATURE};
use crate::wording::{bare_value, value};

/// Why a temperature is not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// It never moved while the car was driven.
    StoodStill {
        /// Whose sensor.
        part: Part,
        /// Its reading, °C.
        at_c: f64,
        /// How long the car was driven, s.
        driven_s: f64,
    },
    /// It stopped moving under way: it is stuck, or reads no higher.
    Stopped {
        /// Whose sensor.
        part: Part,
        /// Its reading from then on, °C.
        at_c: f64,
        /// Log time at which it stopped, s.
        from_s: f64,
        /// What it should have reached at the least, °C.
        least_c: f64,
    },
    /// It stopped at its highest value and came down from it later.
    Clipped {
        /// Whose sensor.
        part: Part,
        /// The most that it reads, °C.
        most_c: f64,
        /// Log time at which it got there, s.
        from_s: f64,
    },
    /// It fell, or stayed behind, under a load that warms the part.
    CameLoose {
        /// Whose sensor.
        part: Part,
        /// Log time from which on, s.
        from_s: f64,
        /// Its reading then, °C.
        from_c: f64,
        /// Its lowest reading later, °C.
        to_c: f64,
    },
    /// It jumped.
    Jumped {
        /// Whose sensor.
        part: Part,
        /// Log time, s.
        at_s: f64,
        /// Its reading before, °C.
        from_c: f64,
        /// Its reading after, °C.
        to_c: f64,
    },
    /// It follows nothing.
    Swings {
        /// Whose sensor.
        part: Part,
        /// Typical change from one reading to the next, °C.
        by_c: f64,
    },
    /// It goes with the other part's temperature in the car's other runs.
    Exchanged,
    /// It started far below the air, the other sensor and the runs before.
    TooLow {
        /// Whose sensor.
        part: Part,
        /// Its first reading, °C.
        start_c: f64,
        /// The lowest of the others, °C.
        least_c: f64,
    },
}

impl Why {
    /// What to do about it; empty where the reason says it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::StoodStill { .. } | Self::Jumped { .. } | Self::Swings { .. } => "check the sensor's plug and cable",
            Self::Stopped { .. } => "check the sensor's plug and cable, and up to what temperature it reads",
            Self::Clipped { .. } => "use a sensor that reads higher",
            Self::CameLoose { .. } => "check the sensor's plug and where it sits",
            Self::Exchanged => "check which sensor is plugged in where, and the names of the columns",
            Self::TooLow { .. } => "check the sensor's plug, and hold a thermometer beside it before the next run",
        }
    }
}

/// A reading in a sentence.
fn degrees(reading_c: f64) -> String {
    value(reading_c, 0, TEMPERATURE)
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::StoodStill { part, at_c, driven_s } => {
                let part = part.words();
                let at = degrees(*at_c);
                write!(f, "the {part}'s sensor stood still at {at} while the car was driven for {driven_s:.0} s")
            }
            Self::Stopped { part, at_c, from_s, least_c } => write!(
                f,
                "the {}'s sensor stood still at {} from {from_s:.0} s on while the car was driven; it should have \
                 reached at least {}",
                part.words(),
                degrees(*at_c),
                degrees(*least_c)
            ),
            Self::Clipped { part, most_c, from_s } => {
                let (part, most) = (part.words(), degrees(*most_c));
                write!(f, "the {part}'s sensor reads at most {most}, and reached that at {from_s:.0} s")
            }
            Self::CameLoose { part, from_s, from_c, to_c } => write!(
                f,
                "the {}'s sensor went from {} to {} from {from_s:.0} s on, although the car was driven as hard as before",
                part.words(),
                bare_value(*from_c, 0, TEMPERATURE),
                degrees(*to_c)
            ),
            Self::Jumped { part, at_s, from_c, to_c } => write!(
                f,
                "the {}'s sensor jumped from {} to {} at {at_s:.0} s, faster than it could warm or cool",
                part.words(),
                bare_value(*from_c, 0, TEMPERATURE),
                degrees(*to_c)
            ),
            Self::Swings { part, by_c } => {
                let (part, by) = (part.words(), value(*by_c, 0, DEGREES));
                write!(f, "the {part}'s sensor swings by {by} from one reading to the next: that is noise")
            }
            Self::Exchanged => {
                f.write_str("motor and controller temperature look swapped: exchanged, they match the car's other runs")
            }
            Self::TooLow { part, start_c, least_c } => write!(
                f,
                "the {}'s sensor started at {}, while the air, the other sensor and the runs before had at least {}",
                part.words(),
                degrees(*start_c),
                degrees(*least_c)
            ),
        }
    }
}
