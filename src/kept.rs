//! Runs kept between reviews of a folder that changes: what has not changed is not read again.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::folder::{Plan, Stamp, stamp};
use crate::import::columns::Hints;
use crate::log::Log;
use crate::read_by_sheet::hints;
use crate::run::{self, LappedRun, MeasuredRun};
use crate::sheet::{RunPlan, Sheet};
use crate::weekend::kept_conclusions::KeptConclusions;
use crate::weekend::shared_heat::KeptHeats;
use crate::weighed::{self, WeighedRun};

/// Logs that wait to be asked for at most: as many as are dropped in one go, mostly.
const MOST_WAITING: usize = 8;

/// How many runs of how many are done; called from several threads.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);

/// A run's entry on the sheet with all that its laps come from, and what was made of it: runs with their laps as each
/// log and list alone tell them, and measured runs.
struct Entry {
    plan: RunPlan,
    shared: Sheet,
    stamps: [Option<Stamp>; 2],
    /// Runs of an earlier entry with the same log and laps, until this one takes them over.
    lapped_alike: Vec<LappedRun>,
    lapped: Vec<LappedRun>,
    measured: Vec<Arc<MeasuredRun>>,
}

/// A log that was read before a review asks for it, as when it was checked on its way into the folder.
pub struct ReadLog {
    /// The file, from the folder.
    pub log: PathBuf,
    /// Its stamp: a file that has changed since is read again.
    pub stamp: Stamp,
    /// What was known when it was read.
    pub hints: Hints,
    /// The runs in it.
    pub runs: Vec<Log>,
}

/// Runs as they were lapped, measured and concluded from in the review before.
#[derive(Default)]
pub struct KeptRuns {
    entries: Vec<Entry>,
    /// Logs that wait for a review that names them.
    read_logs: Vec<ReadLog>,
    /// Their heats with what a motor's runs tell of each other.
    pub heats: KeptHeats,
    /// What was concluded of them.
    pub conclusions: KeptConclusions,
}

impl KeptRuns {
    /// Hands over a log that has been read: the first review that names it does not read it again.
    /// A few wait at most, the latest: what no review asks for is read from its file when one does.
    pub fn hand_over(&mut self, log: ReadLog) {
        self.read_logs.retain(|waiting| waiting.log != log.log);
        if self.read_logs.len() == MOST_WAITING {
            self.read_logs.remove(0);
        }
        self.read_logs.push(log);
    }

    /// The plan's runs with their laps, each from its own log and list; new and changed ones are read, but for those of
    /// which only what laps do not depend on has changed. `progress` is called with how many of all these are done.
    pub fn lap(&mut self, plan: &Plan, progress: Progress) -> Vec<LappedRun> {
        let shared = shared(&plan.sheet);
        let mut known = std::mem::take(&mut self.entries);
        for run in &plan.sheet.runs {
            // Stamps come before the reading: a file that changes meanwhile is read again.
            let stamps = [stamp(&plan.root.join(&run.log)), run.laps.as_ref().and_then(|l| stamp(&plan.root.join(l)))];
            // What could not be read may be readable now, with the same length and time.
            let sound = |e: &Entry| e.lapped.iter().all(|l| l.outcome.is_ok());
            let same_files = |e: &Entry| sound(e) && e.stamps == stamps && e.shared == shared;
            let mut take = |is_it: &dyn Fn(&Entry) -> bool| {
                let found = known.iter().position(|e| same_files(e) && is_it(e));
                found.map(|index| known.swap_remove(index))
            };
            // Another run that is on the sheet as before keeps its own.
            let is_free = |e: &Entry| is_lapped_alike(&e.plan, run, &plan.sheet) && !plan.sheet.runs.contains(&e.plan);
            let entry = take(&|e| e.plan == *run).unwrap_or_else(|| Entry {
                lapped_alike: take(&is_free).map(|e| e.lapped).unwrap_or_default(),
                plan: run.clone(),
                shared: shared.clone(),
                stamps,
                lapped: Vec::new(),
                measured: Vec::new(),
            });
            self.entries.push(entry);
        }
        self.read(&plan.root, &plan.sheet, progress);
        self.entries.iter().flat_map(|e| e.lapped.iter().cloned()).collect()
    }

    /// Laps the entries that are new or changed.
    fn read(&mut self, root: &Path, sheet: &Sheet, progress: Progress) {
        let read_logs = &self.read_logs;
        let mut unread: Vec<&mut Entry> = self.entries.iter_mut().filter(|e| e.lapped.is_empty()).collect();
        let count = unread.len();
        let done = AtomicUsize::new(0);
        progress(0, count);
        // One at a time for each thread: a slow log holds up none.
        unread.par_iter_mut().with_max_len(1).for_each(|entry| {
            let known = read_logs.iter().find(|read| {
                let same_file = read.log == entry.plan.log && entry.stamps[0] == Some(read.stamp);
                same_file && read.hints == hints(&entry.plan, sheet)
            });
            entry.lapped = match std::mem::take(&mut entry.lapped_alike) {
                alike if alike.is_empty() => run::lap(root, &entry.plan, sheet, known.map(|read| read.runs.clone())),
                alike => run::planned_anew(alike, &entry.plan, sheet),
            };
            progress(1 + done.fetch_add(1, Ordering::Relaxed), count);
        });
        // A log that no run names yet waits, as long as its file stays the same.
        let named: HashSet<&Path> = self.entries.iter().map(|e| e.plan.log.as_path()).collect();
        self.read_logs
            .retain(|read| !named.contains(read.log.as_path()) && stamp(&root.join(&read.log)) == Some(read.stamp));
    }

    /// The measured runs, from those that [`KeptRuns::lap`] gave, weighed and laid by the car's shared line since;
    /// measured again where a run is new, its laps have moved, or something in it is worth more or less than before.
    pub fn measure(&mut self, weighed: Vec<WeighedRun>, sheet: &Sheet) -> Vec<Arc<MeasuredRun>> {
        let mut rest = weighed.into_iter();
        let work: Vec<(&mut Entry, Vec<WeighedRun>)> = self
            .entries
            .iter_mut()
            .map(|entry| {
                let own = rest.by_ref().take(entry.lapped.len()).collect();
                (entry, own)
            })
            .collect();
        work.into_par_iter().with_max_len(1).for_each(|(entry, weighed)| {
            let before = entry.measured.iter().map(|run| {
                let done = run.outcome.as_ref().ok()?;
                Some((done.laps.first_passing, &done.evidence))
            });
            let now = weighed.iter().map(|run| {
                let done = run.outcome.as_ref().ok()?;
                Some((done.laps.first_passing, &done.evidence))
            });
            if !before.eq(now) {
                entry.measured = weighed.into_par_iter().map(|l| Arc::new(weighed::measure(l, sheet))).collect();
            }
        });
        self.entries.iter().flat_map(|e| e.measured.iter().cloned()).collect()
    }
}

/// Whether two entries have the same log and laps, read in the same way: they differ at most in what laps do not depend
/// on.
fn is_lapped_alike(one: &RunPlan, other: &RunPlan, sheet: &Sheet) -> bool {
    let same_files = one.log == other.log && one.laps == other.laps && one.part == other.part;
    same_files && one.mistake == other.mistake && hints(one, sheet) == hints(other, sheet)
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
    use crate::folder::plan;
    use crate::import;

    #[test]
    fn a_log_that_was_handed_over_is_not_read_again_unless_it_has_changed() {
        let folder = tempfile::tempdir().unwrap();
        let log = |rows: usize| (0..rows).map(|n| format!("{},{}\n", n as f64 * 0.05, 12000 + n)).collect::<String>();
        let path = folder.path().join("r1.csv");
        std::fs::write(&path, format!("time s,rpm\n{}", log(200))).unwrap();
        // The runs of another file show which one was used.
        let other = format!("time s,rpm\n{}", log(300));
        let runs = import::read_bytes(Path::new("other"), other.as_bytes(), &Hints::default()).unwrap();
        let rows = |kept: &mut KeptRuns| {
            let lapped = kept.lap(&plan(folder.path()).unwrap(), &|_, _| {});
            lapped[0].outcome.as_ref().unwrap().log.reading.rows_kept
        };
        let mut kept = KeptRuns::default();
        let handed = |stamp| ReadLog { log: "r1.csv".into(), stamp, hints: Hints::default(), runs: runs.clone() };
        kept.hand_over(handed(stamp(&path).unwrap()));
        assert_eq!(rows(&mut kept), 300);
        assert!(kept.read_logs.is_empty());
        let mut kept = KeptRuns::default();
        kept.hand_over(handed(stamp(&path).unwrap()));
        std::fs::write(&path, format!("time s,rpm\n{}", log(250))).unwrap();
        assert_eq!(rows(&mut kept), 250);
    }

    #[test]
    fn laps_are_not_found_again_for_a_note_and_are_for_another_tyre() {
        let folder = tempfile::tempdir().unwrap();
        let rows = |from: usize| {
            (from..from + 200).map(|n| format!("{},{}\n", n as f64 * 0.05, 12000 + n)).collect::<String>()
        };
        // Two runs: the clock begins anew.
        std::fs::write(folder.path().join("r.csv"), format!("time s,rpm\n{}{}", rows(0), rows(0))).unwrap();
        let lapped = |kept: &mut KeptRuns, lines: &str| {
            let car = "[cars.c]\nspur = 80\npinion = 20\ninternal_ratio = 2.0\n";
            let sheet = format!("{car}{lines}\n[[runs]]\nid = \"r\"\ncar = \"c\"\nlog = \"r.csv\"\n");
            std::fs::write(folder.path().join("weekend.toml"), sheet).unwrap();
            kept.lap(&plan(folder.path()).unwrap(), &|_, _| {})
        };
        let data = |run: &LappedRun| run.outcome.as_ref().unwrap().log.time().as_ptr();
        let mut kept = KeptRuns::default();
        let first = lapped(&mut kept, "tyre_diameter_mm = 63");
        let noted = lapped(&mut kept, "tyre_diameter_mm = 63\nnote = \"wet\"");
        let worn = lapped(&mut kept, "tyre_diameter_mm = 62");
        assert_eq!(noted.iter().map(|run| run.plan.id.as_str()).collect::<Vec<_>>(), ["r.1", "r.2"]);
        assert!(noted.iter().all(|run| run.plan.settings != first[0].plan.settings));
        assert!(first.iter().zip(&noted).all(|(first, noted)| data(first) == data(noted)));
        assert!(first.iter().zip(&worn).all(|(first, worn)| data(first) != data(worn)));
    }
}
