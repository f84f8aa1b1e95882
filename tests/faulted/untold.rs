//! Faults that no evidence in a weekend can tell, each with the reason. They are put on and counted like the others, but
//! nothing is asked of them.

/// A fault, its strength (`*` for all of them), and why it cannot be told.
pub const CANNOT_BE_TOLD: &[(&str, &str, &str)] =
    &[("list longer than the log", "1.5 times", LIST_GOES_ON), ("list longer than the log", "1.2 times", LIST_GOES_ON)];

const LIST_GOES_ON: &str =
    "because a sound list goes on just so where the recorder was switched off before the race was over";

/// Why a fault of this strength cannot be told; `None` where it can.
pub fn reason(fault: &str, strength: &str) -> Option<&'static str> {
    CANNOT_BE_TOLD.iter().find(|(f, s, _)| *f == fault && (*s == strength || *s == "*")).map(|(_, _, because)| *because)
}
