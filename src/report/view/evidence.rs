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

/// Runs that share a doubt.
struct Group<'a> {
    /// The first run's.
    evidence: &'a Evidence,
    /// Their ids.
    runs: Vec<String>,
    /// Other things that the same reason puts in doubt in the same runs.
    also: Vec<&'static str>,
    /// Whether the reason has other figures in some of them.
    figures_differ: bool,
}

/// What is doubtful or unusable in the runs of a weekend, the worst first; runs with the same doubt stand together.
pub fn doubts(review: &Review) -> Vec<DoubtView> {
    let mut groups: Vec<Group> = Vec::new();
    for run in &review.runs {
        for evidence in run.run.evidence().into_iter().flat_map(RunEvidence::not_sound) {
            let id = printable(&run.plan().id, LONGEST_NAME);
            match groups.iter_mut().find(|group| is_alike(group.evidence, evidence)) {
                Some(group) => {
                    group.figures_differ |= group.evidence.why != evidence.why;
                    group.runs.push(id);
                }
                None => groups.push(Group { evidence, runs: vec![id], also: Vec::new(), figures_differ: false }),
            }
        }
    }
    let view = |group: &Group| {
        let mut view = doubt(group, &whose(group.evidence.of, &group.runs, review.runs.len()));
        if group.figures_differ {
            // They are the first run's.
            view.why += &format!(" (run {})", group.runs[0]);
        }
        view
    };
    joined(groups).iter().map(view).collect()
}

/// The groups, the worst first; those that one reason puts in doubt in the same runs, as a current and a mass that
/// cannot both be right, are one.
fn joined(mut groups: Vec<Group>) -> Vec<Group> {
    groups.sort_by_key(|group| std::cmp::Reverse(group.evidence.worth));
    let mut joined: Vec<Group> = Vec::new();
    for group in groups {
        let same = |known: &&mut Group| {
            known.evidence.why == group.evidence.why
                && known.evidence.worth == group.evidence.worth
                && known.runs == group.runs
        };
        match joined.iter_mut().find(same) {
            Some(known) => known.also.push(name(group.evidence)),
            None => joined.push(group),
        }
    }
    joined
}

/// Whether two doubts are of one kind, on one thing.
fn is_alike(one: &Evidence, other: &Evidence) -> bool {
    let same_reason = one.why.as_ref().zip(other.why.as_ref()).is_none_or(|(one, other)| one.is_alike(other));
    one.of == other.of && one.worth == other.worth && same_reason
}

/// What is doubtful or unusable in one run.
pub fn doubts_of_run(run: &SettledRun) -> Vec<DoubtView> {
    let not_sound = run.evidence().into_iter().flat_map(RunEvidence::not_sound);
    let group = |evidence| Group { evidence, runs: Vec::new(), also: Vec::new(), figures_differ: false };
    joined(not_sound.map(group).collect()).iter().map(|group| doubt(group, "")).collect()
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

fn doubt(Group { evidence, also, .. }: &Group, whose: &str) -> DoubtView {
    let names: String = also.iter().map(|name| format!(", {name}")).collect();
    let becomes = match (evidence.worth, evidence.span) {
        (Worth::Unusable, _) => ": not used, because ",
        (_, Some(_)) => ": used in part, because ",
        _ => ": in doubt, because ",
    };
    DoubtView {
        mark: if evidence.worth == Worth::Unusable { Mark::Act } else { Mark::Watch },
        what: format!("{}{names}{whose}", uppercase_first(name(evidence))),
        why: format!("{becomes}{}", evidence.why.as_ref().map_or_else(String::new, ToString::to_string)),
        hint: evidence.why.as_ref().map_or_else(String::new, |why| why.advice().to_owned()),
    }
}

/// What an answer that rests on `subjects` has to rest on in a run, in a line; empty where it has nothing.
pub fn rests_on(subjects: &[&[Subject]], run: &SettledRun) -> String {
    let Some(evidence) = run.evidence() else { return String::new() };
    if evidence.worth(Subject::Log) == Worth::Unusable {
        return "Not used: the whole log.".to_owned();
    }
    let mut own: Vec<&Evidence> = Vec::new();
    for found in subjects.iter().flat_map(|s| s.iter()).filter_map(|s| evidence.of(*s)) {
        if !own.contains(&found) {
            own.push(found);
        }
    }
    let named = |worth: Worth| own.iter().filter(|e| e.worth == worth).map(|e| name(e)).collect::<Vec<_>>().join(", ");
    let parts = [
        ("Based on ", named(Worth::Sound)),
        ("In doubt: ", named(Worth::Doubtful)),
        ("Not used: ", named(Worth::Unusable)),
    ];
    let said = parts.into_iter().filter(|(_, names)| !names.is_empty());
    said.map(|(lead, names)| format!("{lead}{names}.")).collect::<Vec<_>>().join(" ")
}

/// What a racer calls the thing; laps that cannot be used are those of a list.
fn name(evidence: &Evidence) -> &'static str {
    match evidence.of {
        Subject::Laps if evidence.worth != Worth::Sound => "lap list",
        subject => subject.label(),
    }
}

/// A verdict with what its evidence is worth: a good one that rests on something doubtful says so.
pub fn in_doubt(verdict: VerdictView, subjects: &[Subject], run: &SettledRun) -> VerdictView {
    let is_in_doubt = run.evidence().is_some_and(|evidence| evidence.doubtful(subjects).next().is_some());
    if verdict.mark == Mark::Open || !is_in_doubt {
        return verdict;
    }
    let mark = if verdict.mark == Mark::Good { Mark::Watch } else { verdict.mark };
    VerdictView { mark, words: format!("{}, in doubt", verdict.words) }
}
