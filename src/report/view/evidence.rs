//! What log, laps and sheet are worth, as pages and terminal say it.

use super::mark::Mark;
use super::verdicts::VerdictView;
use crate::evidence::{Evidence, LAP_LENGTH, RunEvidence, Subject, Worth};
use crate::notice::printable;
use crate::review::Review;
use crate::run::SettledRun;
use crate::wording::{counted, uppercase_first};

/// Longest id of a run in a sentence.
const LONGEST_NAME: usize = 24;
/// Runs that are named one by one; more are counted.
const MOST_NAMED: usize = 4;

/// Something that is doubtful or unusable.
pub struct DoubtView {
    /// Its mark.
    pub mark: Mark,
    /// What it is and in which runs.
    pub what: String,
    /// Why, and what becomes of it.
    pub why: String,
    /// What to do about it; may be empty.
    pub hint: String,
}

/// What an answer rests on.
#[derive(Default)]
pub struct RestsOnView {
    /// What is sound, in a line; may be empty.
    pub sound: String,
    /// What is not.
    pub doubts: Vec<DoubtView>,
}

/// What is doubtful or unusable in the runs of a weekend, the worst first; runs with the same doubt stand together.
pub fn doubts(review: &Review) -> Vec<DoubtView> {
    let mut groups: Vec<(&Evidence, Vec<String>)> = Vec::new();
    for run in &review.runs {
        for evidence in run.run.evidence().into_iter().flat_map(RunEvidence::not_sound) {
            let id = printable(&run.plan().id, LONGEST_NAME);
            match groups.iter_mut().find(|(known, _)| *known == evidence) {
                Some((_, runs)) => runs.push(id),
                None => groups.push((evidence, vec![id])),
            }
        }
    }
    groups.sort_by_key(|(evidence, _)| std::cmp::Reverse(evidence.worth));
    groups.iter().map(|(evidence, runs)| doubt(evidence, &whose(evidence.of, runs, review.runs.len()))).collect()
}

/// What is doubtful or unusable in one run.
pub fn doubts_of_run(run: &SettledRun) -> Vec<DoubtView> {
    run.evidence().into_iter().flat_map(RunEvidence::not_sound).map(|evidence| doubt(evidence, "")).collect()
}

/// The runs that share a doubt, in a phrase.
fn whose(of: Subject, runs: &[String], all: usize) -> String {
    match runs {
        _ if of == Subject::Setting(LAP_LENGTH) => String::new(),
        [one] => format!(" of run {one}"),
        several if several.len() == all => " of all runs".to_owned(),
        several if several.len() <= MOST_NAMED => format!(" of runs {}", several.join(", ")),
        several => format!(" of {}", counted(several.len(), "run")),
    }
}

fn doubt(evidence: &Evidence, whose: &str) -> DoubtView {
    let label = if evidence.of == Subject::Laps { "lap list" } else { evidence.of.label() };
    let becomes = match (evidence.worth, evidence.span) {
        (Worth::Unusable, _) => ": not used, because ",
        (_, Some(_)) => ": used in part, because ",
        _ => ": in doubt, because ",
    };
    DoubtView {
        mark: if evidence.worth == Worth::Unusable { Mark::Act } else { Mark::Watch },
        what: format!("{}{whose}", uppercase_first(label)),
        why: format!("{becomes}{}", evidence.why.as_ref().map_or_else(String::new, ToString::to_string)),
        hint: evidence.why.as_ref().map_or_else(String::new, |why| why.advice().to_owned()),
    }
}

/// What an answer that rests on `subjects` has to rest on in a run.
pub fn rests_on(subjects: &[&[Subject]], run: &SettledRun) -> RestsOnView {
    let Some(evidence) = run.evidence() else { return RestsOnView::default() };
    let mut own: Vec<&Evidence> = Vec::new();
    for found in subjects.iter().flat_map(|s| s.iter()).filter_map(|s| evidence.of(*s)) {
        if !own.contains(&found) {
            own.push(found);
        }
    }
    let sound: Vec<&str> = own.iter().filter(|e| e.worth == Worth::Sound).map(|e| e.of.label()).collect();
    let doubts = own.iter().filter(|e| e.worth != Worth::Sound).map(|e| doubt(e, "")).collect();
    RestsOnView { sound: sound.join(", "), doubts }
}

/// A verdict with what its evidence is worth: a good one that rests on something doubtful says so.
pub fn in_doubt(verdict: VerdictView, subjects: &[Subject], run: &SettledRun) -> VerdictView {
    let doubtful = |s: &Subject| run.evidence().is_some_and(|e| e.worth(*s) == Worth::Doubtful);
    if verdict.mark == Mark::Open || !subjects.iter().any(doubtful) {
        return verdict;
    }
    let mark = if verdict.mark == Mark::Good { Mark::Watch } else { verdict.mark };
    VerdictView { mark, words: format!("{}, in doubt", verdict.words) }
}
