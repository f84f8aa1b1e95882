//! The whole job on one page: plan → read and lap → weigh the evidence → lay the car's shared line →
//! measure → settle → conclude.
//!
//! Nothing downstream recomputes, and nothing upstream knows what is downstream. Runs know of each other in one thing
//! before they are measured: the line, which the runs of a car share. Pages, JSON and Parquet are made of the
//! [`Review`].

use std::path::Path;

use crate::archives_in_folder;
use crate::figure::FIGURES;
use crate::folder::{self, ConvertedCopy, FolderError, Plan, plain_path};
use crate::kept::{KeptRuns, Progress};
use crate::notice::{Notice, NoticeCode, printable};
use crate::paired_lists::PairedList;
use crate::run::SettledRun;
use crate::sheet::mistake::Mistake;
use crate::sheet::{RunPlan, Sheet};
use crate::weekend::cars::{by_car, index_before};
use crate::weekend::comparisons::Comparison;
use crate::weekend::conclude::{Conclusions, conclude};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::findings::Finding;
use crate::weekend::kept_conclusions::KeptConclusions;
use crate::weekend::line;
use crate::weekend::settle::settle;
use crate::weekend::trends::Trend;
use crate::weekend::unlaid_lists::{BestRun, UnlaidList, unlaid_lists};
use crate::weighed::{self, WeighedRun, WeighedRuns};
use crate::wording::counted;

/// Names in one remark at most.
const MOST_NAMES: usize = 6;
/// Lap lists without a run that have a remark each.
const MOST_ALONE: usize = 2;

/// The review of a weekend.
#[derive(Debug, Clone)]
pub struct Review {
    /// The sheet; empty where there is none.
    pub sheet: Sheet,
    /// Whether a sheet was there.
    pub has_sheet: bool,
    /// Runs in order.
    pub runs: Vec<ConcludedRun>,
    /// Logs in the folder that no run of the sheet names: not reviewed.
    pub unlisted: Vec<RunPlan>,
    /// Runs of the sheet whose logs are left out: not reviewed.
    pub left_out: Vec<RunPlan>,
    /// Lap lists in the folder that no run has.
    pub unlaid_lists: Vec<UnlaidList>,
    /// What rises or falls over the runs of a car.
    pub trends: Vec<Trend>,
    /// What changed settings did.
    pub comparisons: Vec<Comparison>,
    /// Findings, what to act on first.
    pub findings: Vec<Finding>,
    /// Remarks on the weekend as a whole.
    pub notices: Vec<Notice>,
}

impl Review {
    /// The same car's run before the one at `index`; `None` for its first, and without a car.
    pub fn run_before(&self, index: usize) -> Option<&ConcludedRun> {
        Some(&self.runs[index_before(index, |n| &self.runs[n].plan().car)?])
    }
}

/// Reviews the weekend in the folder `path`, or the lone log there. `progress` is called with how many runs of how many
/// have been read.
///
/// # Errors
/// [`FolderError`] where there is nothing to review; a single run that fails stays in the review with its error.
pub fn review(path: &Path, progress: Progress) -> Result<Review, FolderError> {
    review_again(path, &mut KeptRuns::default(), progress)
}

/// The review of a folder that was reviewed before: just new and changed runs are read, the rest is `kept`.
///
/// # Errors
/// As [`review`]; what was kept stays.
pub fn review_again(path: &Path, kept: &mut KeptRuns, progress: Progress) -> Result<Review, FolderError> {
    let plan = folder::plan(path)?;
    let lapped = kept.lap(&plan, progress);
    let WeighedRuns { mut runs, sheet: sound_sheet } = weighed::weigh(lapped, &plan.sheet);
    share_line(&mut runs);
    let measured = kept.measure(runs, &sound_sheet);
    let settled = settle(measured, &sound_sheet, &mut kept.heats);
    Ok(compose(plan, settled, &sound_sheet, &mut kept.conclusions))
}

/// Lays the lists of each car's runs with what all of them say of the line.
pub fn share_line(runs: &mut [WeighedRun]) {
    let read = runs.iter_mut().filter_map(|run| Some((run.plan.car.as_str(), &mut run.outcome.as_mut().ok()?.laps)));
    by_car(read).iter_mut().for_each(|(_, laps)| line::share(laps));
}

fn compose(plan: Plan, settled: Vec<SettledRun>, sound_sheet: &Sheet, kept: &mut KeptConclusions) -> Review {
    let Plan { root, sheet, has_sheet, unlisted, copies, left_out, left_packed, paired, unpaired } = plan;
    let Conclusions { runs, trends, comparisons, findings } = conclude(settled, sound_sheet, FIGURES, kept);
    let unlaid_lists = unlaid_lists(&root, &unpaired, &runs, sound_sheet);
    let mut notices: Vec<Notice> = sheet.mistakes.iter().map(mistake_notice).collect();
    notices.extend(unlisted.iter().map(unlisted_notice));
    notices.extend(copies.iter().map(copy_notice));
    notices.extend(left_out_notice(&left_out));
    notices.extend(archives_in_folder::notices(&left_packed));
    notices.extend(paired_notice(&paired, has_sheet));
    match unlaid_lists.len() {
        0..=MOST_ALONE => notices.extend(unlaid_lists.iter().map(unlaid_notice)),
        _ => notices.push(many_unlaid_notice(&unlaid_lists)),
    }
    Review { sheet, has_sheet, runs, unlisted, left_out, unlaid_lists, trends, comparisons, findings, notices }
}

fn mistake_notice(mistake: &Mistake) -> Notice {
    Notice::warning(NoticeCode::Sheet, mistake.message.clone())
        .counted(Some(mistake.line), 1)
        .hint(mistake.hint.clone())
}

fn unlisted_notice(run: &RunPlan) -> Notice {
    let log = printable(&run.log.to_string_lossy(), 80);
    Notice::note(NoticeCode::NotOnTheSheet, format!("`{log}` is not on the sheet and was not reviewed"))
        .hint("add a `[[runs]]` entry that names it as `log`, or move it out of the folder")
}

/// What the sheet leaves out, in one remark.
fn left_out_notice(left_out: &[RunPlan]) -> Option<Notice> {
    let logs: Vec<String> = left_out.iter().map(|run| format!("`{}`", printable(&plain_path(&run.log), 80))).collect();
    let message = match logs.as_slice() {
        [] => return None,
        [log] => format!("{log} is left out, as the sheet says"),
        _ => format!("{} are left out, as the sheet says: {}", counted(logs.len(), "log"), named(&logs)),
    };
    Some(Notice::note(NoticeCode::LeftOut, message).hint("take `left_out` off a run on the sheet to have it reviewed"))
}

/// The first names of many.
fn named(names: &[String]) -> String {
    let more = names.len().saturating_sub(MOST_NAMES);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", names[..names.len().min(MOST_NAMES)].join(", "))
}

fn copy_notice(found: &ConvertedCopy) -> Notice {
    let name = |path: &Path| printable(&path.to_string_lossy(), 80);
    let message =
        format!("`{}` was converted from `{}` and is not reviewed as a run", name(&found.copy), name(&found.log));
    Notice::note(NoticeCode::ConvertedCopy, message)
}

/// Lists that runs have by their names, in one remark.
fn paired_notice(paired: &[PairedList], has_sheet: bool) -> Option<Notice> {
    let list = |p: &PairedList| printable(&plain_path(&p.list), 80);
    if let [one] = paired {
        let (list, run) = (list(one), printable(&one.run, 40));
        let why = if has_sheet { "; the sheet names no list for it" } else { "" };
        let message = format!("`{list}` was taken as the lap list of run {run}, because of its name{why}");
        let notice = Notice::note(NoticeCode::ListByName, message);
        return Some(notice.hint(format!("add `laps = \"{list}\"` to the run to keep it so")));
    }
    let pairs: Vec<String> = paired.iter().map(|p| format!("`{}` of {}", list(p), printable(&p.run, 40))).collect();
    let why = if has_sheet { "; the sheet names none for these runs" } else { "" };
    let lists = counted(paired.len(), "lap list");
    let message = format!("{lists} were laid on the runs of their names: {}{why}", named(&pairs));
    let notice = Notice::note(NoticeCode::ListByName, message);
    (!paired.is_empty()).then(|| notice.hint("add each as `laps` to its run to keep it so"))
}

/// Many lap lists without a run, in one remark.
fn many_unlaid_notice(unlaid: &[UnlaidList]) -> Notice {
    let shown = |list: &UnlaidList| {
        let name = printable(&plain_path(&list.list), 80);
        match &list.best {
            Some(BestRun { id, is_sure }) => {
                let how = if *is_sure { "fits" } else { "may fit" };
                format!("`{name}` ({how} run {})", printable(id, 40))
            }
            None => format!("`{name}`"),
        }
    };
    let names: Vec<String> = unlaid.iter().map(shown).collect();
    let message = format!("{} are used by no run: {}", counted(unlaid.len(), "lap list"), named(&names));
    Notice::warning(NoticeCode::ListWithoutRun, message)
        .hint("add each as `laps` to its run, or move it out of the folder")
}

fn unlaid_notice(unlaid: &UnlaidList) -> Notice {
    let list = printable(&plain_path(&unlaid.list), 80);
    let line = format!("add `laps = \"{list}\"` to");
    let hint = match &unlaid.best {
        Some(BestRun { id, is_sure: true }) => {
            format!("{line} run {}: it fits the log of that run only", printable(id, 40))
        }
        Some(BestRun { id, is_sure: false }) => {
            format!("{line} its run; of all logs it fits that of run {} best", printable(id, 40))
        }
        None if unlaid.open_runs.is_empty() => {
            "every run has a lap list already: correct the sheet, or move this one out of the folder".to_owned()
        }
        None => format!("{line} its run, or move it out of the folder: it fits no log of a run without a list"),
    };
    Notice::warning(NoticeCode::ListWithoutRun, format!("`{list}` is a lap list that no run uses")).hint(hint)
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;
    use crate::laps::Source;

    #[test]
    fn a_changed_log_is_read_alone_and_the_rest_stays_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        crate::demo::alder_quay::invent(3).write(folder.path()).unwrap();
        let mut kept = KeptRuns::default();
        let counts = Mutex::new(Vec::new());
        let progress = |done: usize, count: usize| counts.lock().unwrap().push((done, count));
        let all = review_again(folder.path(), &mut kept, &progress).unwrap();
        counts.lock().unwrap().clear();
        let log = folder.path().join(&all.runs[2].run.plan().log);
        let bytes = std::fs::read(&log).unwrap();
        std::fs::write(&log, &bytes[..bytes.len() / 2]).unwrap();
        let again = review_again(folder.path(), &mut kept, &progress).unwrap();
        assert_eq!(*counts.lock().unwrap(), [(0, 1), (1, 1)]);
        let fresh = review(folder.path(), &|_, _| {}).unwrap();
        let text = |review: &Review| format!("{:?} {:?} {:?}", review.trends, review.comparisons, review.findings);
        assert_eq!(text(&again), text(&fresh));
        assert_ne!(text(&again), text(&all));
    }

    #[test]
    fn a_list_that_comes_after_is_laid_by_its_name_or_told_by_its_laps() {
        let folder = tempfile::tempdir().unwrap();
        crate::demo::alder_quay::invent(3).write(folder.path()).unwrap();
        let listed = |review: &Review| -> Vec<Option<bool>> {
            review.runs.iter().map(|r| r.done().map(|d| d.laps.source == Source::List)).collect()
        };
        let named = listed(&super::review(folder.path(), &|_, _| {}).unwrap());
        let sheet = folder.path().join("weekend.toml");
        let text = std::fs::read_to_string(&sheet).unwrap();
        let without: String = text.lines().filter(|l| !l.starts_with("laps = ")).map(|l| format!("{l}\n")).collect();
        std::fs::write(&sheet, &without).unwrap();
        let all = super::review(folder.path(), &|_, _| {}).unwrap();
        assert_eq!(listed(&all), named);
        let run = &all.runs[3].plan().id;
        let by_name: Vec<&str> =
            all.notices.iter().filter(|n| n.code == NoticeCode::ListByName).map(|n| n.message.as_str()).collect();
        assert!(
            by_name.len() == 1 && by_name[0].contains("lap lists were laid on the runs of their names: "),
            "{by_name:?}"
        );
        let list = folder.path().join(all.runs[3].plan().laps.as_ref().unwrap());
        std::fs::rename(&list, folder.path().join("laps/timing.csv")).unwrap();
        let told = super::review(folder.path(), &|_, _| {}).unwrap();
        let best = told.unlaid_lists[0].best.as_ref().unwrap();
        assert_eq!((&best.id, told.unlaid_lists.len()), (run, 1));
        assert!(told.notices.iter().any(|n| n.code == NoticeCode::ListWithoutRun));
    }
}
