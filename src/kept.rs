//! Runs kept between reviews of a folder that changes: what has not changed is not read again.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::folder::{Plan, Stamp, stamp};
use crate::run::{self, LappedRun, MeasuredRun};
use crate::sheet::{RunPlan, Sheet};

/// How many runs of how many are done; called from several threads.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);

/// A run's entry on the sheet with all that its laps come from, and what was made of it: runs with their laps as each
/// log and list alone tell them, and measured runs.
struct Entry {
    plan: RunPlan,
    shared: Sheet,
    stamps: [Option<Stamp>; 2],
    lapped: Vec<LappedRun>,
    measured: Vec<Arc<MeasuredRun>>,
}

/// Runs as they were lapped and measured, before the weekend is looked at whole.
#[derive(Default)]
pub struct KeptRuns(Vec<Entry>);

impl KeptRuns {
    /// The plan's runs with their laps, each from its own log and list; new and changed ones are read. `progress` is
    /// called with how many of those are done.
    pub fn lap(&mut self, plan: &Plan, progress: Progress) -> Vec<LappedRun> {
        let shared = shared(&plan.sheet);
        let mut known = std::mem::take(&mut self.0);
        for run in &plan.sheet.runs {
            // Stamps come before the reading: a file that changes meanwhile is read again.
            let stamps = [stamp(&plan.root.join(&run.log)), run.laps.as_ref().and_then(|l| stamp(&plan.root.join(l)))];
            // What could not be read may be readable now, with the same length and time.
            let sound = |e: &Entry| e.lapped.iter().all(|l| l.outcome.is_ok());
            let same = |e: &Entry| sound(e) && e.stamps == stamps && e.plan == *run && e.shared == shared;
            let entry = known.iter().position(same).map(|index| known.swap_remove(index)).unwrap_or_else(|| Entry {
                plan: run.clone(),
                shared: shared.clone(),
                stamps,
                lapped: Vec::new(),
                measured: Vec::new(),
            });
            self.0.push(entry);
        }
        self.read(&plan.root, &plan.sheet, progress);
        self.0.iter().flat_map(|e| e.lapped.iter().cloned()).collect()
    }

    /// Reads the entries that are new.
    fn read(&mut self, root: &Path, sheet: &Sheet, progress: Progress) {
        let mut unread: Vec<&mut Entry> = self.0.iter_mut().filter(|e| e.lapped.is_empty()).collect();
        let count = unread.len();
        let done = AtomicUsize::new(0);
        progress(0, count);
        // One at a time for each thread: a slow log holds up none.
        unread.par_iter_mut().with_max_len(1).for_each(|entry| {
            entry.lapped = run::lap(root, &entry.plan, sheet);
            progress(1 + done.fetch_add(1, Ordering::Relaxed), count);
        });
    }

    /// The measured runs, from `lapped` as [`KeptRuns::lap`] gave them and the car's shared line has laid them since;
    /// measured again where a run is new or its laps have moved.
    pub fn measure(&mut self, lapped: Vec<LappedRun>, sheet: &Sheet) -> Vec<Arc<MeasuredRun>> {
        let mut rest = lapped.into_iter();
        let work: Vec<(&mut Entry, Vec<LappedRun>)> = self
            .0
            .iter_mut()
            .map(|entry| {
                let own = rest.by_ref().take(entry.lapped.len()).collect();
                (entry, own)
            })
            .collect();
        work.into_par_iter().with_max_len(1).for_each(|(entry, lapped)| {
            let before = entry.measured.iter().map(|r| r.outcome.as_ref().ok().map(|done| done.laps.first_passing));
            let now = lapped.iter().map(|l| l.outcome.as_ref().ok().map(|done| done.laps.first_passing));
            if !before.eq(now) {
                entry.measured = lapped.into_par_iter().map(|l| Arc::new(run::measure(l, sheet))).collect();
            }
        });
        self.0.iter().flat_map(|e| e.measured.iter().cloned()).collect()
    }
}

/// What a run's answers take from the sheet beyond the run's own plan.
fn shared(sheet: &Sheet) -> Sheet {
    Sheet {
        surface: sheet.surface.clone(),
        lap_length_m: sheet.lap_length_m,
        race_s: sheet.race_s,
        import: sheet.import.clone(),
        ..Sheet::default()
    }
}
