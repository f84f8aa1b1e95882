//! A weekend of runs in pairs: without a change, with it, and so on; and the runs that tell what the change truly did.
//!
//! The truth of a change is the mean over pairs of equal runs, one with the change and one without: the same driver's
//! chance, the same air, the same start. A review sees but one of each pair.

use std::fs;
use std::io;
use std::path::Path;

use runtrue::quantity::Estimate;
use runtrue::weekend::comparisons::comparisons;

use super::figures::{self, TrueRun};
use super::first::FirstWorld;
use super::second::SecondWorld;
use super::table::{Change, System};
use crate::reviewed::reviewed;

/// Runs of a weekend: every other one with the change.
const RUNS: usize = 6;
/// Length of the race, s.
pub const RACE_S: f64 = 240.0;
/// Name of the car.
const CAR: &str = "car";

/// A forward model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum World {
    /// `src/demo/`.
    First,
    /// `tests/world/`.
    Second,
}

/// A car on a track, ready to drive.
pub trait Garage {
    /// What the sheet says of it.
    fn sheet(&self) -> CarOnSheet;
    /// Drives the run of this number with a change made to the car.
    fn drive(&self, run: usize, changed: Option<Change>) -> DrivenRun;
}

/// What the sheet says of track and car beside the keys that are changed.
pub struct CarOnSheet {
    pub lap_length_m: f64,
    pub lap_length_plus_minus_m: f64,
    pub mass_kg: f64,
    pub internal_ratio: f64,
    pub spur: u32,
    pub pinion: u32,
    pub tyre_mm: f64,
    pub turns: f64,
    pub cells: u32,
    pub capacity_mah: f64,
}

/// A run as its files have it, and what is true of it.
pub struct DrivenRun {
    pub log: Vec<u8>,
    pub lap_list: String,
    pub air_c: f64,
    pub truth: TrueRun,
}

/// What a review claims of one figure for one change, against the truth.
#[derive(Debug, Clone)]
pub struct Outcome {
    pub world: World,
    pub system: System,
    pub change: Change,
    pub seed: u64,
    pub figure: &'static str,
    /// Whether the wheels spin out of many corners.
    pub spins_much: bool,
    /// What the change truly did.
    pub truth: f64,
    /// The figure without the change.
    pub level: f64,
    /// What the review says it did; `None` where it says nothing.
    pub found: Option<Estimate>,
}

impl Outcome {
    /// Whether the review claims that the change moved the figure.
    pub fn claimed(&self) -> bool {
        self.found.is_some_and(|found| found.low > 0.0 || found.high < 0.0)
    }

    /// Whether the change truly moved the figure.
    pub fn moves(&self) -> bool {
        self.truth.abs() > figures::least_move(self.figure, self.level)
    }

    /// Whether the figure truly moved the other way than is claimed.
    pub fn is_reversed(&self) -> bool {
        self.claimed() && self.moves() && self.found.is_some_and(|found| found.value * self.truth < 0.0)
    }

    /// Whether the interval holds the truth; true where nothing is said.
    pub fn holds(&self) -> bool {
        self.found.is_none_or(|found| found.holds(self.truth))
    }
}

/// All changes of a system, each on a weekend of its own; the runs without the change are the same in all of them.
pub fn outcomes(world: World, system: System, seed: u64, spins_much: bool) -> Vec<Outcome> {
    let garage: Box<dyn Garage> = match world {
        World::First => Box::new(FirstWorld::new(system, seed, spins_much)),
        World::Second => Box::new(SecondWorld::new(system, seed, spins_much)),
    };
    let unchanged: Vec<DrivenRun> = (0..RUNS).map(|run| garage.drive(run, None)).collect();
    let of_change = |change: Change| {
        let changed: Vec<DrivenRun> = (1..RUNS).step_by(2).map(|run| garage.drive(run, Some(change))).collect();
        let twins: Vec<&DrivenRun> = unchanged.iter().skip(1).step_by(2).collect();
        let weekend = Weekend { system, sheet: garage.sheet(), change, unchanged: &unchanged, changed: &changed };
        let claims = weekend.claims();
        let outcome = |(number, (key, found)): (usize, (&'static str, Option<Estimate>))| {
            let mean = |runs: &mut dyn Iterator<Item = f64>| runs.sum::<f64>() / changed.len() as f64;
            let level = mean(&mut twins.iter().map(|run| run.truth[number]));
            let truth = mean(&mut changed.iter().map(|run| run.truth[number])) - level;
            Outcome { world, system, change, seed, figure: key, spins_much, truth, level, found }
        };
        claims.into_iter().enumerate().map(outcome).collect::<Vec<_>>()
    };
    Change::ALL.into_iter().flat_map(of_change).collect()
}

/// A weekend to be written.
struct Weekend<'a> {
    system: System,
    sheet: CarOnSheet,
    change: Change,
    unchanged: &'a [DrivenRun],
    changed: &'a [DrivenRun],
}

impl Weekend<'_> {
    /// What a review claims of the change, figure by figure.
    fn claims(&self) -> Vec<(&'static str, Option<Estimate>)> {
        let review = reviewed(|folder| self.write(folder));
        for run in &review.runs {
            assert!(run.failure().is_none(), "{:?} {:?}: {:?}", self.system, self.change, run.failure());
        }
        let settled: Vec<_> = review.runs.iter().map(|run| run.run.clone()).collect();
        let all = comparisons(&settled, figures::catalogue(), RACE_S);
        let of_change = all.iter().find(|comparison| comparison.key == self.change.key());
        let claim = |key: &'static str| {
            let effect = of_change.and_then(|c| c.effects.iter().find(|effect| effect.of.key == key));
            (key, effect.and_then(|effect| effect.difference))
        };
        figures::KEYS.iter().copied().map(claim).collect()
    }

    fn write(&self, folder: &Path) -> io::Result<()> {
        let mut sheet = self.head();
        for number in 0..RUNS {
            let with = number % 2 == 1;
            let run = if with { &self.changed[number / 2] } else { &self.unchanged[number] };
            fs::write(folder.join(format!("r{number}.csv")), &run.log)?;
            fs::write(folder.join(format!("laps{number}.csv")), &run.lap_list)?;
            // A racer's thermometer is read to half a degree.
            let air_c = (run.air_c * 2.0).round() / 2.0;
            sheet += &format!(
                "\n[[runs]]\nid = \"r{number}\"\ncar = \"{CAR}\"\nlog = \"r{number}.csv\"\nlaps = \"laps{number}.csv\"\n\
                 ambient_c = {air_c}\n"
            );
            if with {
                let after = self.system.levels(self.change, self.sheet.pinion).1;
                sheet += &format!("{} = {after}\n", self.change.key());
            }
        }
        fs::write(folder.join("weekend.toml"), sheet)
    }

    /// The sheet before its runs.
    fn head(&self) -> String {
        let CarOnSheet { lap_length_m, lap_length_plus_minus_m, mass_kg, internal_ratio, spur, pinion, .. } =
            self.sheet;
        let CarOnSheet { tyre_mm, turns, cells, capacity_mah, .. } = self.sheet;
        let (driven, tyres) = if self.system.is_tourer() { ("four", "rubber") } else { ("rear", "foam") };
        let (in_motor, of_car): (Vec<Change>, Vec<Change>) =
            Change::ALL.into_iter().partition(|change| change.key().starts_with("motor."));
        let line = |change: &Change| {
            let name = change.key().trim_start_matches("motor.");
            format!("{name} = {}\n", self.system.levels(*change, pinion).0)
        };
        let lines = |changes: &[Change]| changes.iter().map(line).collect::<String>();
        format!(
            "[weekend]\nname = \"Invented\"\n[track]\nsurface = \"{}\"\nlap_length_m = {lap_length_m:.2}\n\
             lap_length_plus_minus_m = {lap_length_plus_minus_m:.2}\n[race]\nlength_s = {RACE_S}\n[cars.{CAR}]\n\
             mass_kg = {mass_kg:.3}\ndriven = \"{driven}\"\ninternal_ratio = {internal_ratio}\nspur = {spur}\n\
             tyre_diameter_mm = {tyre_mm:.1}\ntyre_kind = \"{tyres}\"\n{}[cars.{CAR}.motor]\npoles = 2\n\
             turns = {turns}\n{}[cars.{CAR}.battery]\ncells = {cells}\ncapacity_mah = {capacity_mah:.0}\n",
            self.system.surface(),
            lines(&of_car),
            lines(&in_motor),
        )
    }
}
