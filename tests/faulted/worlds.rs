//! Sound weekends whose truth is known, from more than one world.

use std::path::Path;

use runtrue::demo::manner::Manner;
use runtrue::demo::weekend::ListManner;
use runtrue::demo::{alder_quay, weekend as demo};
use runtrue::log::Channel::MotorTemperature;
use runtrue::statistics::quantiles::highest;

use super::weekend::Weekend;
use super::world::{self as apart, Coverage, Options};

/// Where a weekend comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum World {
    /// The program's own forward model.
    Demo,
    /// The same on a hot day: no fan, warm starts, and motors that go over their limits.
    HotDemo,
    /// The forward model apart from the program, `tests/world/`.
    Apart,
}

/// How much hotter the air is on a hot day, °C.
const HOTTER_AIR_C: f64 = 6.0;
/// How much warmer than usual the cars start on a hot day, °C.
const WARMER_START_C: f64 = 10.0;
/// Limit of the pan car's motor on a hot day, °C: below its peaks.
const PAN_LIMIT: (&str, &str) = ("motor_c = 85", "motor_c = 70");

/// Runs of each car in a weekend of the other model that faults are put on.
const APART_RUNS: usize = 4;
/// How far below a car's lowest peak the limit of its motor is set in every other of them, and the limits that a racer
/// could set, °C.
const BELOW_PEAK_C: f64 = 6.0;
const LEAST_LIMIT_C: f64 = 55.0;
const MOST_LIMIT_C: f64 = 120.0;

impl World {
    /// All worlds.
    pub const ALL: [World; 3] = [World::Demo, World::HotDemo, World::Apart];

    /// Its name in a table.
    pub fn name(self) -> &'static str {
        match self {
            World::Demo => "demo",
            World::HotDemo => "hot demo",
            World::Apart => "apart",
        }
    }

    /// Whether just the faults that are about heat are put on it: the others are as they are on any day.
    pub fn is_for_heat(self) -> bool {
        self == World::HotDemo
    }

    /// The sound weekend of `seed`, plainly written.
    pub fn weekend(self, seed: u64) -> Weekend {
        let folder = tempfile::tempdir().unwrap();
        if self == World::Apart {
            let options = Options { runs: Some(APART_RUNS), ..whole() };
            apart::Weekend::draw_with(seed, options).write(folder.path()).unwrap();
            let mut weekend = Weekend::load(folder.path());
            if seed % 2 == 1 {
                lower_motor_limits(&mut weekend);
            }
            return weekend;
        }
        let mut weekend = planned(self, seed);
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
    pub fn write(self, seed: u64, folder: &Path) {
        match self {
            World::Apart => apart::Weekend::draw_with(seed, whole()).write(folder).unwrap(),
            demo => planned(demo, seed).write(folder).unwrap(),
        }
    }
}

/// Weekends of the other model whose lists lie within their logs: one that does not is rightly doubted where its place
/// stays open.
fn whole() -> Options {
    Options { coverage: Some(Coverage::Whole), ..Options::default() }
}

/// The weekend of the program's own model.
fn planned(world: World, seed: u64) -> demo::Weekend {
    let mut weekend = alder_quay::invent(seed);
    if world == World::HotDemo {
        weekend.head = weekend.head.replace(PAN_LIMIT.0, PAN_LIMIT.1);
        for run in &mut weekend.runs {
            run.drive.ambient += HOTTER_AIR_C;
            run.drive.warm += WARMER_START_C;
            run.drive.fan = 0.0;
        }
    }
    weekend
}

/// Limits that each car's motor goes over in every run, where that leaves limits that a racer could set.
fn lower_motor_limits(weekend: &mut Weekend) {
    for run in 0..weekend.runs.len() {
        let peak = |n: usize| highest(weekend.runs[n].record.values(MotorTemperature)?);
        let peaks = weekend.of_same_car(run).into_iter().filter_map(peak);
        let limit = peaks.fold(f64::INFINITY, f64::min) - BELOW_PEAK_C;
        if (LEAST_LIMIT_C..MOST_LIMIT_C).contains(&limit) {
            let car = weekend.runs[run].car.clone();
            weekend.set_car(&car, "limits.motor_c", limit.round());
        }
    }
}
