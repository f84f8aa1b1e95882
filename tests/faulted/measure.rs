//! Puts the faults on sound weekends, reviews them, and counts how many are caught.

use std::collections::BTreeMap;

use rayon::prelude::*;
use runtrue::kept::KeptRuns;
use runtrue::review::{review, review_again};
use runtrue::review_file::written;
use serde_json::Value;

use super::fault::{At, Fault};
use super::judge::{self, Outcome};
use super::variations::{VARIATIONS, Variation};
use super::weekend::{Folder, Weekend};
use super::worlds::World;

/// Faults that were not caught of which the words are kept.
const EXAMPLES: usize = 3;

/// What became of a fault of one strength in one world.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Faults that were put on.
    pub runs: usize,
    /// Caught.
    pub caught: usize,
    /// Of those, by a verdict that is withheld.
    pub withheld: usize,
    /// Not caught, and no answer was spoilt.
    pub harmless: usize,
    /// Not caught, and a verdict turned into a wrong one.
    pub turned: usize,
    /// With evidence against something that was not faulty.
    pub blamed: usize,
    /// What caught it, `of: worth`, and how often.
    pub by: BTreeMap<String, usize>,
    /// What was blamed wrongly, and how often.
    pub blamed_by: BTreeMap<String, usize>,
    /// What the file said where it was neither caught nor harmless.
    pub missed: Vec<String>,
}

impl Tally {
    fn add(mut self, outcome: &Outcome, place: &str) -> Self {
        self.runs += 1;
        self.caught += usize::from(outcome.caught());
        self.withheld += usize::from(outcome.withheld);
        self.harmless += usize::from(!outcome.caught() && outcome.harmless);
        self.turned += usize::from(!outcome.caught() && outcome.turned);
        self.blamed += usize::from(!outcome.blamed.is_empty());
        outcome.named.iter().for_each(|by| *self.by.entry(by.clone()).or_default() += 1);
        outcome.blamed.iter().for_each(|by| *self.blamed_by.entry(by.clone()).or_default() += 1);
        if !outcome.caught() && !outcome.harmless && self.missed.len() < EXAMPLES {
            self.missed.push(format!("{place}, {}", outcome.said));
        }
        self
    }

    fn merge(mut self, other: Self) -> Self {
        self.runs += other.runs;
        self.caught += other.caught;
        self.withheld += other.withheld;
        self.harmless += other.harmless;
        self.turned += other.turned;
        self.blamed += other.blamed;
        other.by.into_iter().for_each(|(by, n)| *self.by.entry(by).or_default() += n);
        other.blamed_by.into_iter().for_each(|(by, n)| *self.blamed_by.entry(by).or_default() += n);
        self.missed.extend(other.missed);
        self.missed.truncate(EXAMPLES);
        self
    }

    /// Share of the faults that spoilt no answer unseen: caught, or without effect.
    pub fn held(&self) -> f64 {
        (self.caught + self.harmless) as f64 / self.runs.max(1) as f64
    }
}

/// Which fault, strength and world, by their places in their lists.
pub type Cell = (usize, usize, World);

/// A weekend as `review.json` has it.
fn reviewed(folder: &mut Folder, weekend: &Weekend, kept: &mut KeptRuns) -> Value {
    let path = folder.lay(weekend);
    let review = review_again(path, kept, &|_, _| {}).unwrap();
    serde_json::from_str(&written::text(&review)).unwrap()
}

/// A run of each car, another one for each seed; just those with a list, on which every fault can be put.
fn targets(weekend: &Weekend, seed: u64) -> Vec<usize> {
    let mut cars: Vec<&str> = weekend.runs.iter().map(|r| r.car.as_str()).collect();
    cars.dedup();
    let of_car = |car: &&str| {
        let runs = weekend.runs.iter().enumerate().filter(|(_, r)| r.car == *car && r.laps.is_some());
        let runs: Vec<usize> = runs.map(|(n, _)| n).collect();
        runs.get((seed / 2) as usize % runs.len().max(1)).copied()
    };
    cars.iter().filter_map(of_car).collect()
}

/// Puts every fault on the weekends of `seeds` seeds in each world. Both cars of a weekend have the fault at once, in a
/// run of each, but for faults that are on the weekend as a whole.
pub fn caught(faults: &[Fault], worlds: &[World], seeds: u64) -> BTreeMap<Cell, Tally> {
    let weekends: Vec<(World, u64)> = (0..seeds).flat_map(|s| worlds.iter().map(move |w| (*w, s))).collect();
    let one = |(world, seed): (World, u64)| faulted_weekend(faults, world, seed);
    let merge = |mut all: BTreeMap<Cell, Tally>, one: BTreeMap<Cell, Tally>| {
        for (cell, tally) in one {
            let old = all.remove(&cell).unwrap_or_default();
            all.insert(cell, old.merge(tally));
        }
        all
    };
    // In the order of the weekends, so that the examples are the same every time.
    let each: Vec<_> = weekends.into_par_iter().with_max_len(1).map(one).collect();
    each.into_iter().fold(BTreeMap::new(), merge)
}

fn faulted_weekend(faults: &[Fault], world: World, seed: u64) -> BTreeMap<Cell, Tally> {
    let weekend = world.weekend(seed);
    let (mut folder, mut kept) = (Folder::new(), KeptRuns::default());
    let sound = reviewed(&mut folder, &weekend, &mut kept);
    let targets = targets(&weekend, seed);
    let mut tallies = BTreeMap::new();
    for (n, fault) in faults.iter().enumerate().filter(|(_, f)| f.is_of_heat() || !world.is_for_heat()) {
        for (m, (words, strength)) in fault.strengths.iter().enumerate() {
            let put = put_on(fault, *strength, &weekend, &targets, seed);
            if put.faulty.is_empty() {
                continue;
            }
            let review = reviewed(&mut folder, &put.weekend, &mut kept);
            let place = format!("{} {words}: {} seed {seed}", fault.name, world.name());
            let tally = put.judged(fault, &sound, &review).iter().fold(Tally::default(), |t, o| t.add(o, &place));
            tallies.insert((n, m, world), tally);
        }
    }
    tallies
}

/// A weekend with a fault.
struct Put {
    weekend: Weekend,
    /// The runs that have it, for each time it was put on.
    faulty: Vec<Vec<usize>>,
}

fn put_on(fault: &Fault, strength: f64, sound: &Weekend, targets: &[usize], seed: u64) -> Put {
    let mut put = Put { weekend: sound.clone(), faulty: Vec::new() };
    let count = if fault.on_weekend { 1 } else { targets.len() };
    for &run in &targets[..count.min(targets.len())] {
        put.faulty.extend(fault.put(&mut put.weekend, At { run, strength, seed }));
    }
    put
}

impl Put {
    fn judged(&self, fault: &Fault, sound: &Value, review: &Value) -> Vec<Outcome> {
        let id = |n: &usize| self.weekend.runs[*n].id.as_str();
        let all: Vec<usize> = self.faulty.concat();
        let others: Vec<&str> = (0..self.weekend.runs.len())
            .filter(|n| !all.contains(n))
            .map(|n| self.weekend.runs[n].id.as_str())
            .collect();
        let one = |runs: &Vec<usize>| {
            let car = &self.weekend.runs[runs[0]].car;
            let of_car = |i: &&str| self.weekend.runs.iter().any(|r| r.id == *i && r.car == *car);
            let others: Vec<&str> = others.iter().copied().filter(|i| fault.on_weekend || of_car(i)).collect();
            judge::judge(fault, sound, review, &runs.iter().map(id).collect::<Vec<_>>(), &others)
        };
        self.faulty.iter().map(one).collect()
    }
}

/// Evidence that is not sound on sound weekends.
#[derive(Debug, Clone, Default)]
pub struct FalseRemarks {
    /// Runs that were reviewed.
    pub runs: usize,
    /// Of those, runs with a remark.
    pub with_remark: usize,
    /// Of what, worth and why, and how often.
    pub by: BTreeMap<(String, String, String), usize>,
    /// Where the first few were.
    pub places: Vec<String>,
}

impl FalseRemarks {
    /// Adds the runs of a review.
    pub fn add(&mut self, review: &Value, place: &str) {
        for run in review["runs"].as_array().unwrap() {
            let remarks = judge::remarks(run);
            self.runs += 1;
            self.with_remark += usize::from(!remarks.is_empty());
            if !remarks.is_empty() && self.places.len() < EXAMPLES {
                self.places.push(format!("{place}, run {}: {remarks:?}", run["id"]));
            }
            for remark in remarks {
                *self.by.entry(remark).or_default() += 1;
            }
        }
    }
}

/// What is remarked on the sound weekends of `seeds` seeds, written in the manners of their recorders.
pub fn false_remarks(world: World, seeds: u64) -> FalseRemarks {
    let one = |seed: u64| {
        let folder = tempfile::tempdir().unwrap();
        world.write(seed, folder.path());
        (seed, of_folder(folder.path()))
    };
    let reviews: Vec<(u64, Value)> = (0..seeds).into_par_iter().map(one).collect();
    let mut remarks = FalseRemarks::default();
    reviews.iter().for_each(|(seed, review)| remarks.add(review, &format!("{} seed {seed}", world.name())));
    remarks
}

/// What is remarked on the sound weekends of `seeds` seeds in each form that is not a fault.
pub fn false_remarks_on_variations(world: World, seeds: u64) -> Vec<(&'static str, FalseRemarks)> {
    let one = |seed: u64| {
        let weekend = world.weekend(seed);
        let varied = |variation: &Variation| {
            let mut weekend = weekend.clone();
            (variation.put)(&mut weekend);
            of_folder(Folder::new().lay(&weekend))
        };
        VARIATIONS.iter().map(varied).collect::<Vec<Value>>()
    };
    let reviews: Vec<Vec<Value>> = (0..seeds).into_par_iter().map(one).collect();
    let of = |(n, variation): (usize, &Variation)| {
        let mut remarks = FalseRemarks::default();
        let place = |seed: usize| format!("{}, {} seed {seed}", world.name(), variation.name);
        reviews.iter().enumerate().for_each(|(seed, varied)| remarks.add(&varied[n], &place(seed)));
        (variation.name, remarks)
    };
    VARIATIONS.iter().enumerate().map(of).collect()
}

/// The weekend in a folder as `review.json` has it.
pub fn of_folder(folder: &std::path::Path) -> Value {
    let review = review(folder, &|_, _| {}).unwrap();
    serde_json::from_str(&written::text(&review)).unwrap()
}
