//! Lap lists in the folder that no run has, and whose log each one fits.
//!
//! Each list is laid on the log of every run that has none, as it would be if the sheet named it there, by
//! [`crate::laps::list_check`]. Its run is the one whose log it is sound on; where it is on several, or just may be,
//! the one whose own laps come nearest to the list's median. Wrong where the run of the list was not recorded: then it
//! fits no log, or, one time in a hundred, a foreign one.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::concluded_run::ConcludedRun;
use crate::laps::list_verdict::ListVerdict;
use crate::laps::lists::{self, LapList};
use crate::run::laps_of;
use crate::sheet::Sheet;
use crate::statistics::quantiles::median;

/// A lap list that no run has.
#[derive(Debug, Clone, PartialEq)]
pub struct UnlaidList {
    /// The list, from the weekend's folder.
    pub list: PathBuf,
    /// Laps in it.
    pub laps: usize,
    /// Their median, s.
    pub median_s: f64,
    /// Ids of the runs without a lap list.
    pub open_runs: Vec<String>,
    /// The one of them whose log it fits best; `None` where it fits none.
    pub best: Option<BestRun>,
}

/// The run whose log a list fits best.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BestRun {
    /// Its id.
    pub id: String,
    /// Whether the list is sound there, and on no other log.
    pub is_sure: bool,
}

/// How a list lies on a run's log: better is less.
struct Lie<'a> {
    id: &'a str,
    is_sound: bool,
    /// How far the log's own median lap is from the list's, relative.
    apart: f64,
}

/// Those of the files `found` in `folder` that can be read as lap lists, each with the run of `runs` that it fits.
pub fn unlaid_lists(folder: &Path, found: &[PathBuf], runs: &[ConcludedRun], sheet: &Sheet) -> Vec<UnlaidList> {
    let open: Vec<&ConcludedRun> =
        runs.iter().filter(|run| run.plan().laps.is_none() && run.done().is_some()).collect();
    let unlaid = |path: &PathBuf| {
        let list = lists::read(&folder.join(path)).ok()?;
        let median_s = median(list.passings.windows(2).map(|w| w[1] - w[0]))?;
        Some(UnlaidList {
            list: path.clone(),
            laps: list.passings.len() - 1,
            median_s,
            open_runs: open.iter().map(|run| run.plan().id.clone()).collect(),
            best: best_run(&list, median_s, &open, sheet),
        })
    };
    found.iter().filter_map(unlaid).collect()
}

fn best_run(list: &LapList, median_s: f64, open: &[&ConcludedRun], sheet: &Sheet) -> Option<BestRun> {
    let lies: Vec<Lie> = open.par_iter().filter_map(|run| lie(list, median_s, run, sheet)).collect();
    let is_sure = lies.iter().filter(|lie| lie.is_sound).count() == 1;
    let best = lies.iter().min_by(|a, b| b.is_sound.cmp(&a.is_sound).then(a.apart.total_cmp(&b.apart)))?;
    Some(BestRun { id: best.id.to_owned(), is_sure })
}

/// How the list lies on the run's log; `None` where it is refused there.
fn lie<'a>(list: &LapList, median_s: f64, run: &'a ConcludedRun, sheet: &Sheet) -> Option<Lie<'a>> {
    let done = run.done()?;
    let laid = laps_of(&done.sound_log, &run.plan().settings, Some(list), sheet);
    let is_sound = match laid.list? {
        ListVerdict::Sound => true,
        ListVerdict::Doubtful(_) => false,
        ListVerdict::Refused(_) => return None,
    };
    let apart = done.laps.median_s().map_or(f64::INFINITY, |own| (own / median_s - 1.0).abs());
    Some(Lie { id: &run.plan().id, is_sound, apart })
}
