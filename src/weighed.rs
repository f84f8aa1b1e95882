//! Runs with what their logs, laps and sheet are worth: lapped runs come in, and what cannot be true is taken out
//! before the questions are answered.

use rayon::prelude::*;

use crate::evidence::{self, RunEvidence, RunToWeigh, Subject, Worth};
use crate::laps::{Laps, Source};
use crate::log::{Channel, Log};
use crate::measure;
use crate::notice::{Failure, NoticeCode};
use crate::run::{Lapped, LappedRun, Measured, MeasuredRun, laps_of};
use crate::sheet::{RunPlan, Sheet};

/// A run of which is known what its log, laps and sheet are worth.
#[derive(Debug, Clone)]
pub struct WeighedRun {
    /// What the sheet says of it, without what cannot be true.
    pub plan: RunPlan,
    /// What it is worth, or why the run could not be read.
    pub outcome: Result<Weighed, Failure>,
}

/// A log with its laps and what they are worth.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// The normalised log, as it was read.
    pub log: Log,
    /// The log without what cannot be true: answers are made of it.
    pub sound_log: Log,
    /// Its laps.
    pub laps: Laps,
    /// What channels, laps and sheet are worth.
    pub evidence: RunEvidence,
}

/// The runs of a weekend with what they are worth, and the sheet without what no run believes.
#[derive(Debug, Clone)]
pub struct WeighedRuns {
    /// The runs in order.
    pub runs: Vec<WeighedRun>,
    /// The sheet.
    pub sheet: Sheet,
}

/// Weighs what the runs' logs, laps and sheet are worth. Laps that were found with something that cannot be true are
/// found again without it.
pub fn weigh(runs: Vec<LappedRun>, sheet: &Sheet) -> WeighedRuns {
    let views: Vec<Option<RunToWeigh>> = runs
        .iter()
        .map(|run| {
            let Lapped { log, laps, .. } = run.outcome.as_ref().ok()?;
            Some(RunToWeigh { plan: &run.plan, log, laps })
        })
        .collect();
    let alone = |run: &LappedRun| run.outcome.as_ref().map(|lapped| lapped.alone.clone()).unwrap_or_default();
    let found = evidence::weigh_together(&views, runs.iter().map(alone).collect(), sheet);
    let sheet = evidence::sound_sheet(sheet, &found);
    let runs = runs.into_par_iter().zip(found).map(|(run, evidence)| with_evidence(run, evidence, &sheet)).collect();
    WeighedRuns { runs, sheet }
}

fn with_evidence(run: LappedRun, mut evidence: RunEvidence, sheet: &Sheet) -> WeighedRun {
    let LappedRun { plan, outcome } = run;
    let sound_plan = evidence.sound_plan(&plan);
    let outcome = outcome.map(|Lapped { log, mut laps, list, .. }| {
        let sound_log = evidence.sound_log(&log);
        let laid_wrongly = laps.source == Source::List && evidence.worth(Subject::Laps) == Worth::Unusable;
        if laid_wrongly || moves_laps(&evidence) {
            let unread = laps.notices.into_iter().filter(|n| n.code == NoticeCode::NoLapList).collect::<Vec<_>>();
            let as_read = laps.list;
            let list = list.filter(|_| !laid_wrongly);
            laps = laps_of(&log_for_laps(&evidence, &sound_log), &sound_plan.settings, list.as_deref(), sheet);
            laps.list = laps.list.or(as_read);
            // What is wrong with the revs says why laps are missing.
            if evidence.refusal(Subject::Channel(Channel::Rpm)).is_some() {
                laps.notices.clear();
            }
            laps.notices.extend(unread);
            let again = RunToWeigh { plan: &plan, log: &log, laps: &laps };
            if list.is_some() && evidence.worth(Subject::Log) != Worth::Unusable {
                evidence.weigh_laps_again(&again);
            }
        }
        Weighed { log, sound_log, laps, evidence }
    });
    WeighedRun { plan: sound_plan, outcome }
}

/// The log that laps are found in: where current or voltage are in doubt, nothing is concluded from the motor's pull.
fn log_for_laps(evidence: &RunEvidence, sound_log: &Log) -> Log {
    let kept = |channel: Channel| channel != Channel::Voltage || !pull_is_in_doubt(evidence);
    sound_log.masked(|channel| kept(channel).then_some(None))
}

fn pull_is_in_doubt(evidence: &RunEvidence) -> bool {
    !evidence.are_sound(&[Subject::Channel(Channel::Voltage), Subject::Channel(Channel::Current)])
}

/// Whether something that laps are found with is not to be used. Revs that are off by a factor still show the laps.
fn moves_laps(evidence: &RunEvidence) -> bool {
    let used = [
        Subject::Channel(Channel::Throttle),
        Subject::Channel(Channel::GroundSpeed),
        Subject::Setting("pinion"),
        Subject::Setting("spur"),
        Subject::Setting("internal_ratio"),
        Subject::Setting("tyre_diameter_mm"),
        Subject::Setting(evidence::LAP_LENGTH),
    ];
    let refused =
        |subject: Subject| evidence.of(subject).is_some_and(|e| e.worth == Worth::Unusable || e.span.is_some());
    if evidence.worth(Subject::Log) == Worth::Unusable {
        return true;
    }
    if evidence.revs_are_scaled() {
        return false;
    }
    refused(Subject::Channel(Channel::Rpm))
        || evidence.revs_have_gaps()
        || pull_is_in_doubt(evidence)
        || used.into_iter().any(refused)
}

/// Answers the questions of a run from its own log and laps.
pub fn measure(run: WeighedRun, sheet: &Sheet) -> MeasuredRun {
    let WeighedRun { plan, outcome } = run;
    let outcome = outcome.map(|Weighed { log, sound_log, laps, evidence }| {
        let answers = measure::measure(&sound_log, &laps, &plan, sheet, &evidence);
        Measured { log, sound_log, laps, evidence, answers }
    });
    MeasuredRun { plan, outcome }
}
