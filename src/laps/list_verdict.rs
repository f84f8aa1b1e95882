//! What a lap list is worth to its log, and why.

use std::fmt::{self, Display};

use crate::wording::counted;

/// What a lap list is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ListVerdict {
    /// It is the log's own.
    Sound,
    /// It may be; it is laid, and says nothing of the line to the car's other runs.
    Doubtful(ListReason),
    /// It cannot be, or cannot be laid: laps are found in the log instead.
    Refused(ListReason),
}

impl ListVerdict {
    /// Why the list is not sound.
    pub fn reason(&self) -> Option<&ListReason> {
        match self {
            Self::Sound => None,
            Self::Doubtful(reason) | Self::Refused(reason) => Some(reason),
        }
    }
}

/// Why a lap list is doubtful or refused. Its `Display` is the sentence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ListReason {
    /// Its laps would fit nearly as well in another order.
    AnyOrder,
    /// It fits in the order of its laps, but its passings lie farther off than the place is uncertain.
    Scatters {
        /// The farthest passing, s.
        most_s: f64,
    },
    /// Only a part of it fits.
    PartFits {
        /// Laps of the part.
        laps: usize,
        /// Laps of the list.
        of: usize,
    },
    /// A time that no lap takes was left out, and what lies beyond it.
    AbsurdTime {
        /// The time, s.
        seconds: f64,
        /// Its line in the list.
        line: u64,
    },
    /// Its lap times are not the log's.
    AnotherRun {
        /// How far a usual lap is off, s.
        lap_s: f64,
        /// How far the times are off by the sum of the laps, at the most, s.
        most_s: f64,
    },
    /// Its laps take far longer or shorter than the log's.
    OtherLapTime {
        /// Its usual lap, s.
        list_s: f64,
        /// The log's, s.
        log_s: f64,
    },
    /// Several of its times make a lap.
    Sectors {
        /// How many.
        parts: usize,
        /// A usual time of the list, s.
        list_s: f64,
        /// A usual lap of the log, s.
        log_s: f64,
    },
    /// It has as many rows as a log, or the steps of one.
    Readings {
        /// Its rows.
        rows: usize,
        /// The usual step between them, s.
        step_s: f64,
    },
    /// It has too few laps to tell which laps of the log they are.
    TooShort {
        /// Its laps.
        laps: usize,
        /// The log's.
        log_laps: usize,
    },
    /// A part of it lies beyond the log, and its laps are so much alike that it could begin at several laps of the log.
    SeveralLaps,
    /// More than half of it does not lie in the log.
    LongerThanLog {
        /// Time of the whole list, s.
        list_s: f64,
        /// Time that the log's car drives, s.
        log_s: f64,
    },
    /// The log's revs do not repeat from lap to lap.
    NoPattern,
    /// The file could not be read.
    Unreadable,
}

impl ListReason {
    /// What to do about a list that is refused.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::AnyOrder | Self::Scatters { .. } | Self::PartFits { .. } | Self::AnotherRun { .. } => {
                "check that the sheet names the log and the lap list of this run"
            }
            Self::AbsurdTime { .. } => "correct the line in the lap list",
            Self::OtherLapTime { .. } => "check that the sheet names this car's own lap list",
            Self::Sectors { .. } => "name the file with lap times",
            Self::Readings { .. } => "enter the lap list of this run under `laps`, not a log",
            Self::TooShort { .. } => "enter the list of all laps of the run, or leave it out",
            Self::SeveralLaps => "let the recorder run from before the start to after the flag",
            Self::LongerThanLog { .. } => "check that log and lap list are of the same run",
            Self::NoPattern => "check the revs first",
            Self::Unreadable => "check the file under `laps` on the sheet",
        }
    }
}

impl Display for ListReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AnyOrder => f.write_str("its laps would fit the log nearly as well in another order"),
            Self::Scatters { most_s } => {
                write!(f, "it fits the log only roughly: one passing is {} s off", seconds(*most_s))
            }
            Self::PartFits { laps, of } => write!(f, "about {laps} of its {of} laps fit the log, the others do not"),
            Self::AbsurdTime { seconds, line } => {
                write!(f, "no lap takes {seconds:.0} s (line {line}); only the laps on one side of it are used")
            }
            Self::AnotherRun { lap_s, most_s } => write!(
                f,
                "its lap times disagree with the laps in the log, by {} s a lap and up to {} s over the run, so it is \
                 probably another run's list",
                seconds(*lap_s),
                seconds(*most_s)
            ),
            Self::OtherLapTime { list_s, log_s } => write!(
                f,
                "its laps take {} s, and the log shows laps of {} s: it is probably another car's list",
                seconds(*list_s),
                seconds(*log_s)
            ),
            Self::Sectors { parts, list_s, log_s } => write!(
                f,
                "it has times of {} s, and {parts} of them make a lap of the log ({} s): they are probably sector times",
                seconds(*list_s),
                seconds(*log_s)
            ),
            Self::Readings { rows, step_s } => write!(
                f,
                "it has {rows} rows, {} s apart: it looks like a log or a table of readings, not a lap list",
                seconds(*step_s)
            ),
            Self::TooShort { laps, log_laps } => {
                write!(f, "it has only {}, which could be several of the log's {log_laps}", counted(*laps, "lap"))
            }
            Self::SeveralLaps => f.write_str(
                "a part of it is not in the log, and its laps are so much alike that it could begin at several laps of \
                 the log",
            ),
            Self::LongerThanLog { list_s, log_s } => write!(
                f,
                "it is {} s long, and the car in the log drives for {} s: most of the list cannot be of this log",
                seconds(*list_s),
                seconds(*log_s)
            ),
            Self::NoPattern => f.write_str("no laps can be seen in the log, so the list cannot be matched"),
            Self::Unreadable => f.write_str("the file could not be read as a lap list"),
        }
    }
}

/// Seconds in figures that a racer reads: to a tenth, shorter ones to a hundredth.
fn seconds(s: f64) -> String {
    if s < 1.0 { format!("{s:.2}") } else { format!("{s:.1}") }
}
