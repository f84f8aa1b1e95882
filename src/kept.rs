//! Runs kept between reviews of a folder that changes: what has not changed is not read again.

use std::path::Path;
use std::time::SystemTime;

use rayon::prelude::*;

use crate::folder::{self, FolderError, Plan};
use crate::review::{self, Review, Run};
use crate::sheet::{RunPlan, Sheet};

/// Length and time of change of a file; `None` where it is not there.
type Stamp = Option<(u64, SystemTime)>;

/// A run's entry with all that its answers come from, and the runs that were made of it.
struct Entry {
    plan: RunPlan,
    shared: Sheet,
    stamps: [Stamp; 2],
    runs: Vec<Run>,
}

/// Runs as they were answered, each on its own, before they are laid side by side.
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
        let mut entries: Vec<Result<Entry, Entry>> = Vec::new();
        for run in &plan.sheet.runs {
            // Stamps come before the reading: a file that changes meanwhile is read again.
            let stamps = [stamp(&plan.root.join(&run.log)), run.laps.as_ref().and_then(|l| stamp(&plan.root.join(l)))];
            let known = before.iter().position(|e| e.stamps == stamps && e.plan == *run && e.shared == shared);
            entries.push(match known {
                Some(at) => Ok(before.swap_remove(at)),
                None => Err(Entry { plan: run.clone(), shared: shared.clone(), stamps, runs: Vec::new() }),
            });
        }
        answer(&plan, &mut entries, progress);
        self.0 = entries.into_iter().map(|e| e.unwrap_or_else(|e| e)).collect();
        let runs = self.0.iter().flat_map(|e| e.runs.iter().cloned()).collect();
        Ok(review::conclude(plan, runs))
    }
}

/// Answers the entries that are new.
fn answer(plan: &Plan, entries: &mut [Result<Entry, Entry>], progress: &(dyn Fn(usize, usize) + Sync)) {
    let count = entries.iter().filter(|e| e.is_err()).count();
    let done = std::sync::atomic::AtomicUsize::new(0);
    progress(0, count);
    entries.par_iter_mut().filter_map(|e| e.as_mut().err()).for_each(|entry| {
        entry.runs = review::review_run(&plan.root, &entry.plan, &plan.sheet);
        progress(1 + done.fetch_add(1, std::sync::atomic::Ordering::Relaxed), count);
    });
}

fn stamp(path: &Path) -> Stamp {
    let about = std::fs::metadata(path).ok()?;
    Some((about.len(), about.modified().ok()?))
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
        crate::demo::weekend::invent(3).write(folder.path()).unwrap();
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
