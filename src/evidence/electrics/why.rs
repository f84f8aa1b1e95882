//! What is said of current, voltage, cells, capacity and mass that are not sound.

use std::fmt::{self, Display};

use super::energy::{LEAST, MOST};
use crate::evidence::frozen::for_share;

/// Why current or voltage, or a value of the sheet that they contradict, is not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The current stood still while the revs rose and fell: its value, A, and for what share of the driving.
    CurrentStuck {
        /// A.
        amps: f64,
        /// Of the driving.
        share: f64,
    },
    /// The current has nothing to do with the revs: by how much it is higher while they rise, and how far that
    /// scatters, A.
    CurrentDoesNotFollow {
        /// Mean difference, A.
        more_a: f64,
        /// Half-width of its 95 % interval, A.
        half_a: f64,
    },
    /// The pack would have gained charge, mAh.
    ChargeGained(f64),
    /// The current while the car stands before its start, A.
    CurrentWhileStanding(f64),
    /// The current is cut off at its highest value, A, for a share of the driving.
    CurrentCutOff {
        /// A.
        amps: f64,
        /// Of the rows under power.
        share: f64,
    },
    /// The voltage stood still under a changing load: its value, V, and for what share of the driving.
    VoltageStuck {
        /// V.
        volts: f64,
        /// Of the driving.
        share: f64,
    },
    /// The voltage does not give way to the current.
    VoltageDoesNotSag {
        /// Rise of the current, A.
        amps: f64,
        /// What the voltage fell by, V.
        fall_v: f64,
        /// The least it must fall by, V.
        least_v: f64,
    },
    /// The voltage follows the current, but by less than any pack's would.
    MoreThanTheSag {
        /// Rise of the current, A.
        amps: f64,
        /// What the voltage fell by, V.
        fall_v: f64,
    },
    /// A cell's voltage at rest is more than a charged one has, V.
    CellTooHigh(f64),
    /// A cell's voltage at rest is less than an empty one has, V.
    CellTooLow(f64),
    /// The voltage at rest is another number of cells.
    OtherCells {
        /// V at rest.
        volts: f64,
        /// Cells on the sheet.
        stated: f64,
        /// Cells that fit.
        fits: u32,
    },
    /// The energies cannot be: the share of the pack's that the car gained.
    Energy {
        /// The share.
        share: f64,
        /// Whether the revs may be off by a factor: no lap says that they are not.
        may_be_revs: bool,
    },
    /// The same, while in the car's other runs they can.
    EnergyOfThisRun(f64),
    /// The current reads so many times what it should against the car's other runs.
    UnlikeOtherRuns(f64),
    /// The current of one of two runs is off by this factor.
    UnlikeTheOtherRun(f64),
    /// More charge was used than the pack holds, mAh; whether the energies say that the current is right.
    MoreThanCapacity {
        /// Used, mAh.
        used: f64,
        /// On the sheet, mAh.
        capacity: f64,
        /// Whether the energies say that the current is right.
        current_fits: bool,
    },
}

impl Why {
    /// What to do about it; empty where the reason says it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::CurrentStuck { .. } | Self::CurrentDoesNotFollow { .. } => {
                "check the current sensor and its plug, and that the column is the pack's current"
            }
            Self::ChargeGained(_) => "check the sign and the zero of the current: `[import]` takes a scale of -1",
            Self::CurrentWhileStanding(_) => "set the current sensor to zero with the pack unplugged",
            Self::CurrentCutOff { .. } => {
                "set the recorder to a higher range, if it has one; or the controller limits the current"
            }
            Self::VoltageStuck { .. } | Self::VoltageDoesNotSag { .. } => {
                "check that the column is the pack's voltage and not the receiver's"
            }
            Self::CellTooHigh(_) | Self::CellTooLow(_) => {
                "measure the pack with a meter and compare it with the log's first rows"
            }
            Self::OtherCells { .. } => "correct `battery.cells` on the sheet",
            Self::Energy { may_be_revs: true, .. } => {
                "weigh the car ready to race, check the unit and scale of the current, and enter the motor's poles"
            }
            Self::Energy { .. } => {
                "weigh the car ready to race, and check the unit and scale of the current, the gearing and the tyre"
            }
            Self::MoreThanTheSag { .. }
            | Self::EnergyOfThisRun(_)
            | Self::UnlikeOtherRuns(_)
            | Self::UnlikeTheOtherRun(_) => "check the unit and scale of the current in this log",
            Self::MoreThanCapacity { current_fits: true, .. } => "correct `battery.capacity_mah` on the sheet",
            Self::MoreThanCapacity { .. } => {
                "check the unit and scale of the current, and `battery.capacity_mah` on the sheet"
            }
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::CurrentStuck { amps, share } => {
                write!(f, "the current stays at {amps:.1} A {} while the revs rise and fall", for_share(share))
            }
            Self::CurrentDoesNotFollow { more_a, half_a } => write!(
                f,
                "the current does not follow the revs: while they rise it is {:.1} A {} than while they fall (± {half_a:.1})",
                more_a.abs(),
                if more_a < 0.0 { "lower" } else { "higher" }
            ),
            Self::ChargeGained(mah) => {
                write!(f, "by its current the pack would have gained {:.0} mAh in the run", mah.abs())
            }
            Self::CurrentWhileStanding(amps) => {
                write!(f, "the log has {amps:.1} A while the car stands before its start")
            }
            Self::CurrentCutOff { amps, share } => write!(
                f,
                "the current stops at {amps:.1} A for {:.0} % of the time under power, so that its peaks are cut off",
                100.0 * share
            ),
            Self::VoltageStuck { volts, share } => {
                write!(f, "the voltage stays at {volts:.2} V {} while the load changes", for_share(share))
            }
            Self::VoltageDoesNotSag { amps, fall_v, least_v } => write!(
                f,
                "with {amps:.0} A more the voltage {}, and any pack's falls by at least {least_v:.3} V",
                falls(fall_v)
            ),
            Self::MoreThanTheSag { amps, fall_v } => write!(
                f,
                "with {amps:.0} A more the voltage {}: any pack's falls by more, so the current reads too high",
                falls(fall_v)
            ),
            Self::CellTooHigh(volts) => {
                write!(
                    f,
                    "{volts:.2} V a cell at rest is more than a charged cell has (4.20 V; high-voltage cells 4.35 V)"
                )
            }
            Self::CellTooLow(volts) => {
                write!(f, "{volts:.2} V a cell at rest is less than an empty lithium cell has (3.0 V)")
            }
            Self::OtherCells { volts, stated, fits } => {
                let cells = crate::wording::counted(fits as usize, "cell");
                write!(f, "{volts:.1} V before the start means {cells}; the sheet says {stated}")
            }
            Self::Energy { share, may_be_revs } => {
                let revs =
                    if may_be_revs { "the current, the mass or the revs are" } else { "the current or the mass is" };
                write!(f, "{}. {} wrong", energies(share), crate::wording::uppercase_first(revs))
            }
            Self::EnergyOfThisRun(share) => {
                write!(f, "{}. In the car's other runs it fits, so the current is wrong", energies(share))
            }
            Self::UnlikeOtherRuns(factor) => {
                write!(f, "the current is {} what the car's other runs needed for the same acceleration", times(factor))
            }
            Self::UnlikeTheOtherRun(factor) => write!(
                f,
                "the current is {} what the car's other run needed for the same acceleration, and one of them is wrong",
                times(factor)
            ),
            Self::MoreThanCapacity { used, capacity, current_fits } => {
                write!(f, "{used:.0} mAh were used, more than the {capacity:.0} mAh of the pack on the sheet")?;
                f.write_str(if current_fits { "" } else { ": the current or the capacity is wrong" })
            }
        }
    }
}

/// What a voltage does that should fall.
fn falls(fall_v: f64) -> String {
    if fall_v > 0.0 { format!("falls by only {fall_v:.3} V") } else { "does not fall at all".to_owned() }
}

/// A current that reads `factor` times what it should, in words.
fn times(factor: f64) -> String {
    format!("about {factor:.1} times")
}

fn energies(share: f64) -> String {
    if share > LEAST {
        let most = 100.0 * MOST;
        format!(
            "by its speed the car took {:.0} % of the energy that the pack gave, where {most:.0} % is the most possible",
            100.0 * share
        )
    } else {
        let least = 100.0 * LEAST;
        format!(
            "the car took only {:.0} % of the energy that the pack gave, where {least:.0} % or more is usual",
            100.0 * share
        )
    }
}
