//! What is said of revs that are not the motor's.

use std::fmt::{self, Display};

use crate::evidence::frozen::for_share;

/// Why the revs, or what the sheet says of them, are not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// They stood still while the current came and went: their value, 1/min, and for what share of the driving.
    Stuck {
        /// 1/min.
        rpm: f64,
        /// Of the driving.
        share: f64,
    },
    /// They were gone for some rows under power.
    DroppedOut {
        /// How many times.
        times: usize,
        /// Share of the rows under power.
        share: f64,
    },
    /// A lap has `factor` times the motor turns that the sheet needs.
    Turns {
        /// Turns in the log over turns by the sheet.
        factor: f64,
        /// Whether a tyre's radius in place of its diameter would explain it, too.
        may_be_radius: bool,
    },
    /// The revs are `factor` times those of the car's other runs.
    UnlikeOtherRuns {
        /// Speed over that of the other runs.
        factor: f64,
    },
    /// The revs are `factor` times those of the car's only other run.
    UnlikeTheOtherRun {
        /// Speed over that of the other run.
        factor: f64,
    },
}

impl Why {
    /// Whether the revs are right but for a whole factor.
    pub fn is_factor(&self) -> bool {
        matches!(self, Self::Turns { .. } | Self::UnlikeOtherRuns { .. } | Self::UnlikeTheOtherRun { .. })
    }

    /// What to do about it; empty where the reason says it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Stuck { .. } | Self::DroppedOut { .. } => {
                "check the sensor wire and the plug that the revs come from"
            }
            Self::Turns { may_be_radius: true, .. } => {
                "check the motor's poles, and that the tyre is entered by its diameter"
            }
            Self::Turns { .. } => "check the motor's poles, the gearing and the tyre on the sheet",
            Self::UnlikeOtherRuns { .. } | Self::UnlikeTheOtherRun { .. } => "check the motor's poles for this run",
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Stuck { rpm, share } => {
                write!(f, "the revs stay at {rpm:.0} {} while the current rises and falls", for_share(share))
            }
            Self::DroppedOut { times, share } => {
                write!(f, "the revs drop out {times} times under power, for {:.1} % of the rows", 100.0 * share)
            }
            Self::Turns { factor, may_be_radius } => {
                write!(f, "the log has {} as gearing, tyre and lap length on the sheet need", as_many(factor))?;
                f.write_str(if may_be_radius {
                    ": the poles are wrong, or the tyre's radius was entered as its diameter"
                } else {
                    ""
                })
            }
            Self::UnlikeOtherRuns { factor } => {
                write!(f, "the log has {} as the car's other runs", as_many(factor))
            }
            Self::UnlikeTheOtherRun { factor } => {
                write!(f, "the log has {} as the car's other run, and one of them is wrong", as_many(factor))
            }
        }
    }
}

/// Revs that are `factor` times as many.
fn as_many(factor: f64) -> String {
    const PARTS: [(f64, &str); 4] = [
        (1.0 / 2.0, "half as many revs"),
        (1.0 / 3.0, "a third as many revs"),
        (1.0 / 4.0, "a quarter as many revs"),
        (2.0, "twice as many revs"),
    ];
    let known = PARTS.into_iter().find(|(part, _)| (part - factor).abs() < 1e-9);
    known.map_or_else(|| format!("{factor:.1} times as many revs"), |(_, words)| words.to_owned())
}
