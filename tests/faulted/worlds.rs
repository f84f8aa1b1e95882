//! Sound weekends whose truth is known, from more than one world.

use runtrue::demo::alder_quay;
use runtrue::demo::manner::Manner;
use runtrue::demo::weekend::ListManner;

use super::weekend::Weekend;

/// Where a weekend comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum World {
    /// The program's own forward model.
    Demo,
    /// The same on a hot day: no fan, warm starts, and motors that go over their limits.
    HotDemo,
}

/// How much hotter the air is on a hot day, °C.
const HOTTER_AIR_C: f64 = 6.0;
/// How much warmer than usual the cars start on a hot day, °C.
const WARMER_START_C: f64 = 10.0;
/// Limit of the pan car's motor on a hot day, °C: below its peaks.
const PAN_LIMIT: (&str, &str) = ("motor_c = 85", "motor_c = 70");

impl World {
    /// All worlds.
    pub const ALL: [World; 2] = [World::Demo, World::HotDemo];

    /// Its name in a table.
    pub fn name(self) -> &'static str {
        match self {
            World::Demo => "demo",
            World::HotDemo => "hot demo",
        }
    }

    /// Whether just the faults that are about heat are put on it: the others are as they are on any day.
    pub fn is_for_heat(self) -> bool {
        self == World::HotDemo
    }

    /// The sound weekend of `seed`, plainly written.
    pub fn weekend(self, seed: u64) -> Weekend {
        let folder = tempfile::tempdir().unwrap();
        let mut weekend = self.planned(seed);
        for run in &mut weekend.runs {
            run.manner = Manner::default();
            if run.list != ListManner::None {
                run.list = ListManner::Seconds;
            }
        }
        weekend.write(folder.path()).unwrap();
        Weekend::load(folder.path())
    }

    /// Writes the sound weekend of `seed` in the manners that its recorders have.
    pub fn write(self, seed: u64, folder: &std::path::Path) {
        self.planned(seed).write(folder).unwrap();
    }

    fn planned(self, seed: u64) -> runtrue::demo::weekend::Weekend {
        let mut weekend = alder_quay::invent(seed);
        if self == World::HotDemo {
            weekend.head = weekend.head.replace(PAN_LIMIT.0, PAN_LIMIT.1);
            for run in &mut weekend.runs {
                run.drive.ambient += HOTTER_AIR_C;
                run.drive.warm += WARMER_START_C;
                run.drive.fan = 0.0;
            }
        }
        weekend
    }
}
