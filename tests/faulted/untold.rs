//! Faults that no evidence in a weekend can tell, each with the reason. They are put on and counted like the others,
//! but nothing is asked of them.

/// A fault, its strength (`*` for all of them), and why it cannot be told.
pub const CANNOT_BE_TOLD: &[(&str, &str, &str)] = &[
    ("list longer than the log", "1.5 times", LIST_GOES_ON),
    ("list longer than the log", "1.2 times", LIST_GOES_ON),
    ("motor temperature clipped", "8 °C below", LEVELS_OFF),
    ("motor temperature clipped", "5 °C below", LEVELS_OFF),
    ("controller temperature stuck", "from the first row", HARDLY_WARMS),
    ("controller temperature stuck", "from a fifth", HARDLY_WARMS),
    ("controller temperature stuck", "from half", HARDLY_WARMS),
    ("controller temperature comes loose at half", "*", HARDLY_WARMS),
    ("controller temperature clipped", "*", HARDLY_WARMS),
    ("voltage gain", "× 0.8", PACK_MAY_BE_USED),
    ("voltage gain", "× 0.85", PACK_MAY_BE_USED),
    ("voltage gain", "× 0.9", PACK_MAY_BE_USED),
    ("`mass_kg`", "× 2", MAY_BE_HEAVY),
    ("air of one run too high", "by 15 °C", STARTS_WARM),
    ("`battery.capacity_mah`", "÷ 10", USED_LESS),
    ("`battery.capacity_mah`", "÷ 8", USED_LESS),
];

const LEVELS_OFF: &str = "because a motor near its balance levels off as well";

const HARDLY_WARMS: &str =
    "because a controller that warms by a few degrees in whole ones may stand still for as long, or cool by as much";

const PACK_MAY_BE_USED: &str = "because a pack that was not charged rests as low";

const MAY_BE_HEAVY: &str = "because a pack that gives much more than the car takes could move one of twice the mass";

const STARTS_WARM: &str = "because a car that was driven before starts above the air, as high as that";

const USED_LESS: &str = "because some runs use less charge than that";

const LIST_GOES_ON: &str =
    "because a sound list goes on just so where the recorder was switched off before the race was over";

/// Why a fault of this strength cannot be told; `None` where it can.
pub fn reason(fault: &str, strength: &str) -> Option<&'static str> {
    CANNOT_BE_TOLD.iter().find(|(f, s, _)| *f == fault && (*s == strength || *s == "*")).map(|(_, _, because)| *because)
}
