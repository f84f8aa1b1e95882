//! Runs kept between reviews of a folder that changes: what has not changed is not read again.

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::folder::{self, FolderError, Plan, Stamp, stamp};
use crate::laps::Laps;
use crate::review::{self, Lapped, Review, Run};
use crate::sheet::{RunPlan, Sheet};

/// A run's entry with all that its laps come from, and what was made of it: runs with their laps as each log and list alone tell them, and with
/// answers.
struct Entry {
    plan: RunPlan,
    shared: Sheet,
    stamps: [Option<Stamp>; 2],
    lapped: Vec<Lapped>,
    runs: Vec<Run>,
}

/// Runs as they were read and answered, before they are laid side by side.
#[derive(Default)]
pub struct Kept(Vec<Entry>);

impl Kept {
    /// The review of the folder `path`, for which just new and changed runs are read. `progress` is told how many runs of those are done.
    ///
    /// # Errors
    /// As [`review::review`]; what was kept stays.
    pub fn review(&mut self, path: &Path, progress: &(dyn Fn(usize, usize) + Sync)) -> Result<Review, FolderError> {
        let plan = folder::plan(path)?;
        let shared = shared(&plan.sheet);
        let mut before = std::mem::take(&mut self.0);
        for run in &plan.sheet.runs {
            // Stamps come before the reading: a file that changes meanwhile is read again.
            let stamps = [stamp(&plan.root.join(&run.log)), run.laps.as_ref().and_then(|l| stamp(&plan.root.join(l)))];
            // What could not be read may be readable now, with the same length and time.
            let sound = |e: &Entry| e.lapped.iter().all(|l| l.outcome.is_ok());
            let known =
                before.iter().position(|e| sound(e) && e.stamps == stamps && e.plan == *run && e.shared == shared);
            let new =
                || Entry { plan: run.clone(), shared: shared.clone(), stamps, lapped: Vec::new(), runs: Vec::new() };
            self.0.push(known.map_or_else(new, |at| before.swap_remove(at)));
        }
        self.read(&plan, progress);
        self.answer(&plan);
        let runs = self.0.iter().flat_map(|e| e.runs.iter().cloned()).collect();
        Ok(review::conclude(plan, runs))
    }

    /// Reads the entries that are new.
    fn read(&mut self, plan: &Plan, progress: &(dyn Fn(usize, usize) + Sync)) {
        let count = self.0.iter().filter(|e| e.lapped.is_empty()).count();
        let done = AtomicUsize::new(0);
        progress(0, count);
        self.0.par_iter_mut().filter(|e| e.lapped.is_empty()).for_each(|entry| {
            entry.lapped = review::lap_run(&plan.root, &entry.plan, &plan.sheet);
            progress(1 + done.fetch_add(1, Ordering::Relaxed), count);
        });
    }

    /// Answers the runs that are new or whose laps another run's list has moved.
    fn answer(&mut self, plan: &Plan) {
        let mut lapped: Vec<Lapped> = self.0.iter().flat_map(|e| e.lapped.iter().cloned()).collect();
        review::share_line(&mut lapped);
        let mut rest = lapped.into_iter();
        let work: Vec<(&mut Entry, Vec<Lapped>)> = self
            .0
            .iter_mut()
            .map(|entry| {
                let own = rest.by_ref().take(entry.lapped.len()).collect();
                (entry, own)
            })
            .collect();
        work.into_par_iter().for_each(|(entry, lapped)| {
            let first = |laps: &Laps| laps.first_passing;
            let old = entry.runs.iter().map(|r| r.outcome.as_ref().ok().map(|d| first(&d.laps)));
            let new = lapped.iter().map(|l| l.outcome.as_ref().ok().map(|o| first(&o.1)));
            if !old.eq(new) {
                entry.runs = lapped.into_iter().map(|l| review::answer(l, &plan.sheet)).collect();
            }
        });
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn a_changed_log_is_read_alone_and_the_rest_stays_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        crate::demo::alder_quay::invent(3).write(folder.path()).unwrap();
        let mut kept = Kept::default();
        let counts = Mutex::new(Vec::new());
        let progress = |done: usize, count: usize| counts.lock().unwrap().push((done, count));
        let all = kept.review(folder.path(), &progress).unwrap();
        counts.lock().unwrap().clear();
        let log = folder.path().join(&all.runs[2].plan.log);
        let bytes = std::fs::read(&log).unwrap();
        std::fs::write(&log, &bytes[..bytes.len() / 2]).unwrap();
        let again = kept.review(folder.path(), &progress).unwrap();
        assert_eq!(*counts.lock().unwrap(), [(0, 1), (1, 1)]);
        let fresh = review::review(folder.path(), &mut |_, _| {}).unwrap();
        let text = crate::report::json::text;
        assert_eq!(text(&again), text(&fresh));
        assert_ne!(text(&again), text(&all));
    }
}
