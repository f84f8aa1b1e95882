//! Which keys the sheet lacks that would get more answers out of these logs.

use super::concluded_run::ConcludedRun;
use crate::log::Channel;
use crate::sheet::Sheet;
use crate::sheet::keys::{Asked, KEYS, Key, Table};
use crate::sheet::starter::CAR;

/// Where on the sheet a key belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A table that the sheet has once, such as `track`.
    Table(&'static str),
    /// The car with this name.
    Car(String),
    /// The run with this id.
    Run(String),
}

/// A key that the sheet lacks.
#[derive(Debug, Clone, PartialEq)]
pub struct Lack<'k> {
    /// Where it belongs.
    pub place: Place,
    /// The key: its path, what a racer calls it, and what it would answer.
    pub key: &'k Key,
}

/// The keys that the sheet lacks, in the order of [`KEYS`]: those of the track and the race, of each car, of each run.
pub fn lacks(sheet: &Sheet, runs: &[ConcludedRun]) -> Vec<Lack<'static>> {
    lacks_of(KEYS, sheet, runs)
}

/// The same among other keys than [`KEYS`].
pub fn lacks_of<'k>(keys: &'k [Key], sheet: &Sheet, runs: &[ConcludedRun]) -> Vec<Lack<'k>> {
    let mut lacks = Vec::new();
    for key in keys {
        let Some(asked) = key.asked else { continue };
        for run in runs.iter().filter(|r| would_answer(&asked, r) && !stated(key, sheet, r)) {
            let lack = Lack { place: place(key, run), key };
            if !lacks.contains(&lack) {
                lacks.push(lack);
            }
        }
    }
    lacks
}

/// Whether the key would answer something of the run's log.
fn would_answer(asked: &Asked, run: &ConcludedRun) -> bool {
    let Some(measured) = run.done() else { return false };
    let has = |channel: &Channel| measured.log.channel(*channel).is_some();
    (asked.needs.is_empty() || asked.needs.iter().any(has)) && !asked.unless.as_ref().is_some_and(has)
}

fn stated(key: &Key, sheet: &Sheet, run: &ConcludedRun) -> bool {
    match key.table {
        Table::Car | Table::Run => run.plan().states(key),
        Table::Weekend | Table::Track | Table::Race | Table::Report => sheet.stated.0.contains_key(&key.full_path()),
    }
}

fn place(key: &Key, run: &ConcludedRun) -> Place {
    match key.table {
        Table::Car if run.plan().car.is_empty() => Place::Car(CAR.to_owned()),
        Table::Car => Place::Car(run.plan().car.clone()),
        Table::Run => Place::Run(run.plan().id.clone()),
        single => Place::Table(single.name()),
    }
}
