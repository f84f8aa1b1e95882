//! The whole job on one page: bytes → log → laps → answers of a run → the review of the weekend. Laps know of each other in one thing: the
//! line, which the runs of a car share.
//!
//! Nothing downstream recomputes; nothing upstream knows what is downstream. Pages, JSON and Parquet are made from the
//! [`Review`] in `report` and `storage`.

use std::path::Path;

use rayon::prelude::*;

use crate::folder::{self, FolderError, Plan, hints, within};
use crate::import;
use crate::laps::lists::{self, LapList};
use crate::laps::odometer::Odometer;
use crate::laps::{self, Laps};
use crate::log::{Channel, Log};
use crate::measure::{self, Answers};
use crate::notice::{Failure, Notice, printable};
use crate::quantity::median;
use crate::sheet::mistake::Mistake;
use crate::sheet::{RunPlan, Settings, Sheet};
use crate::weekend;
use crate::weekend::before::{self, Before};
use crate::weekend::comparisons::{self, Comparison};
use crate::weekend::findings::{self, Finding};
use crate::weekend::gearing;
use crate::weekend::next::{self, Next, WithoutFan};
use crate::weekend::trends::{self, Trend};

/// Code of the notice on a log that stands on no run of the sheet.
pub const NOT_ON_THE_SHEET: &str = "not-on-the-sheet";

/// How far the lap in motor turns may be from what the sheet tells, relative.
const EXPECTED_WIDTH: f64 = 0.10;

/// What was found out about a run.
#[derive(Debug, Clone)]
pub struct Reviewed {
    /// The normalised log.
    pub log: Log,
    /// Its laps.
    pub laps: Laps,
    /// Its answers.
    pub answers: Answers,
}

/// One run of the weekend.
#[derive(Debug, Clone)]
pub struct Run {
    /// What the sheet says of it.
    pub plan: RunPlan,
    /// What was found out, or why not.
    pub outcome: Result<Reviewed, Failure>,
    /// What other pinions would do.
    pub next: Vec<Next>,
    /// The race without the fan, where the car ran with and without one.
    pub without_fan: Option<WithoutFan>,
    /// The run against the car's run before.
    pub before: Option<Before>,
}

/// A run that was read and whose laps were found.
#[derive(Debug, Clone)]
pub struct Lapped {
    /// What the sheet says of it.
    pub plan: RunPlan,
    /// Its log and laps, or why not.
    pub outcome: Result<(Log, Laps), Failure>,
}

/// The review of a weekend.
#[derive(Debug, Clone)]
pub struct Review {
    /// The sheet; empty where there is none.
    pub sheet: Sheet,
    /// Whether a sheet was there.
    pub has_sheet: bool,
    /// Runs in order.
    pub runs: Vec<Run>,
    /// Logs in the folder that no run of the sheet names: not reviewed.
    pub unlisted: Vec<RunPlan>,
    /// What rises or falls over the runs of a car.
    pub trends: Vec<Trend>,
    /// What changed keys did.
    pub comparisons: Vec<Comparison>,
    /// Findings, what to act on first.
    pub findings: Vec<Finding>,
    /// Remarks on the weekend as a whole.
    pub notices: Vec<Notice>,
}

/// Reviews the weekend in the folder `path`, or the lone log there. `progress` is told how many runs of how many are done.
///
/// # Errors
/// [`FolderError`] where there is nothing to review; a single run that fails stays in the review with its error.
pub fn review(path: &Path, progress: &mut dyn FnMut(usize, usize)) -> Result<Review, FolderError> {
    let plan = folder::plan(path)?;
    let mut lapped = Vec::new();
    let count = plan.sheet.runs.len();
    // A run knows nothing of the others yet: a few for each core at a time, so that a slow one holds up none.
    let at_once = 4 * rayon::current_num_threads();
    for (done, some) in plan.sheet.runs.chunks(at_once).enumerate() {
        progress(done * at_once, count);
        let lap = |run| lap_run(&plan.root, run, &plan.sheet);
        lapped.extend(some.par_iter().flat_map_iter(lap).collect::<Vec<_>>());
    }
    share_line(&mut lapped);
    let runs = lapped.into_par_iter().map(|run| answer(run, &plan.sheet)).collect();
    progress(count, count);
    Ok(conclude(plan, runs))
}

/// Lays the lists of each car's runs with what all of them say of the line.
pub fn share_line(lapped: &mut [Lapped]) {
    let read = lapped.iter_mut().filter_map(|run| Some((run.plan.car.as_str(), &mut run.outcome.as_mut().ok()?.1)));
    weekend::by_car(read).iter_mut().for_each(|(_, laps)| weekend::line::share(laps));
}

/// What the runs tell together: pinions, shared heat, next changes, trends, comparisons, findings.
pub fn conclude(plan: Plan, mut runs: Vec<Run>) -> Review {
    let Plan { sheet, has_sheet, unlisted, .. } = plan;
    weigh_pinions(&mut runs, &sheet);
    weekend::heat::share(&mut runs);
    let race_s = sheet.race_length_s();
    let cars = weekend::cars(&runs);
    let of_run = |(at, r): (usize, &Run)| {
        let members = cars.iter().find(|c| c.0 == r.plan.car).map(|c| &c.1);
        let without_fan = members.and_then(|members| next::without_fan(r, members, race_s));
        (next::next(r, race_s), without_fan, before::before(&runs, at, &sheet))
    };
    let told: Vec<_> = runs.par_iter().enumerate().map(of_run).collect();
    for (run, told) in runs.iter_mut().zip(told) {
        (run.next, run.without_fan, run.before) = told;
    }
    let (trends, comparisons) = (trends::trends(&runs, race_s), comparisons::comparisons(&runs, race_s));
    let mut findings: Vec<Finding> = runs
        .iter()
        .filter_map(|r| r.outcome.as_ref().ok().map(|o| findings::of_run(r, &o.answers)))
        .flatten()
        .collect();
    findings.extend(findings::of_weekend(&trends, &comparisons));
    findings::order(&mut findings);
    let mut notices = sheet_notices(&sheet);
    notices.extend(unlisted.iter().map(not_on_the_sheet));
    Review { sheet, has_sheet, runs, unlisted, trends, comparisons, findings, notices }
}

/// Reads one entry of the sheet and finds its laps: one run, or several where the file holds several.
pub fn lap_run(folder: &Path, plan: &RunPlan, sheet: &Sheet) -> Vec<Lapped> {
    let failed = |failure: Failure| vec![Lapped { plan: plan.clone(), outcome: Err(failure) }];
    if let Some(mistake) = &plan.mistake {
        return failed(Failure { message: mistake.brief(), hint: Some(mistake.hint.clone()) });
    }
    let logs = match within(folder, &plan.log).and_then(|path| {
        import::read(&path, &hints(plan, sheet)).map_err(|e| Failure { hint: e.hint(), message: e.to_string() })
    }) {
        Ok(logs) => logs,
        Err(failure) => return failed(failure),
    };
    let (list, list_notice) = read_list(folder, plan);
    if let Some(part) = plan.part {
        let count = logs.len();
        return match logs.into_iter().nth(part - 1) {
            Some(log) => vec![find_laps(plan.clone(), log, list.as_ref(), list_notice, sheet)],
            None => failed(Failure {
                message: format!("`part = {part}`, but `{}` holds {count} runs", plan.log.display()),
                hint: Some(format!("between 1 and {count}")),
            }),
        };
    }
    let several = logs.len() > 1;
    let one = |(at, log): (usize, Log)| {
        let id = if several { format!("{}.{}", plan.id, at + 1) } else { plan.id.clone() };
        find_laps(RunPlan { id, ..plan.clone() }, log, list.as_ref(), list_notice.clone(), sheet)
    };
    logs.into_iter().enumerate().map(one).collect()
}

fn read_list(folder: &Path, plan: &RunPlan) -> (Option<LapList>, Option<Notice>) {
    let Some(path) = &plan.laps else { return (None, None) };
    let read = within(folder, path)
        .and_then(|p| lists::read(&p).map_err(|e| Failure { hint: Some(e.hint()), message: e.to_string() }));
    match read {
        Ok(list) => (Some(list), None),
        Err(failure) => {
            let notice = Notice::warning("no-lap-list", format!("{}; laps were found in the log", failure.message));
            (None, Some(notice.hint(failure.hint.unwrap_or_default())))
        }
    }
}

/// The log's motor turns, with what the sheet knows of the car that they move.
pub fn odometer(log: &Log, settings: &Settings) -> Option<Odometer> {
    Some(Odometer::new(log)?.of_car(settings.number("mass_kg"), measure::gearing::set_rollout_mm(settings)))
}

fn find_laps(mut plan: RunPlan, log: Log, list: Option<&LapList>, notice: Option<Notice>, sheet: &Sheet) -> Lapped {
    let travel_mm = measure::gearing::set_rollout_mm(&plan.settings);
    let expected = travel_mm.zip(sheet.lap_length_m).map(|(mm, (length, _))| (length * 1000.0 / mm, EXPECTED_WIDTH));
    let mut laps = laps::measure(odometer(&log, &plan.settings), list, expected);
    laps.notices.extend(notice);
    // The sheet's word goes first; a recorder may have measured the air itself.
    let air = || log.channel(Channel::Ambient).and_then(|a| median(a.iter().copied().filter(|c| c.is_finite())));
    plan.ambient_c = plan.ambient_c.or_else(air);
    Lapped { plan, outcome: Ok((log, laps)) }
}

/// Answers the questions of a run.
pub fn answer(run: Lapped, sheet: &Sheet) -> Run {
    let Lapped { plan, outcome } = run;
    let outcome = outcome.map(|(log, laps)| {
        let answers = measure::measure(&log, &laps, &plan, sheet);
        Reviewed { log, laps, answers }
    });
    Run { plan, outcome, next: Vec::new(), without_fan: None, before: None }
}

/// Weighs the pinions of each car over all its runs and writes the verdicts into their answers.
fn weigh_pinions(runs: &mut [Run], sheet: &Sheet) {
    let can = |r: &Run| r.outcome.as_ref().is_ok_and(|o| o.answers.gearing.evidence.is_some());
    let able = runs.iter().enumerate().filter(|(_, r)| can(r)).map(|(at, r)| (r.plan.car.as_str(), at));
    for (_, members) in weekend::by_car(able) {
        let evidence: Vec<gearing::Run> = members
            .iter()
            .filter_map(|&at| {
                let evidence = runs[at].outcome.as_ref().ok()?.answers.gearing.evidence?;
                Some(gearing::Run { settings: &runs[at].plan.settings, evidence })
            })
            .collect();
        let weighed = gearing::weigh(&evidence, sheet.lap_length_m);
        for (&at, result) in members.iter().zip(weighed) {
            let (Ok(outcome), Some(weighed)) = (&mut runs[at].outcome, result) else { continue };
            let gearing = &mut outcome.answers.gearing;
            (gearing.verdict, gearing.fits) = (weighed.verdict, weighed.fits);
            gearing.why = gearing.why.take().or(weighed.why.map(str::to_owned));
        }
    }
}

fn sheet_notices(sheet: &Sheet) -> Vec<Notice> {
    let of = |m: &Mistake| Notice::warning("sheet", m.message.clone()).at(Some(m.line), 1).hint(m.hint.clone());
    sheet.mistakes.iter().map(of).collect()
}

fn not_on_the_sheet(run: &RunPlan) -> Notice {
    let log = printable(&run.log.to_string_lossy(), 80);
    Notice::note(NOT_ON_THE_SHEET, format!("`{log}` stands on no run of the sheet and was not reviewed"))
        .hint("write `[[runs]]` with its `log`, or move it out of the folder")
}
