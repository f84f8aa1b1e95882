//! What follows from the settled runs of a weekend: next changes, trends, effects of changes, findings.

use rayon::prelude::*;

use super::before::{Before, before};
use super::cars::cars;
use super::comparisons::{Comparison, comparisons};
use super::findings::{Finding, findings_across, findings_of_run};
use super::next::{Next, WithoutFan, next, without_fan};
use super::trends::{Trend, trends};
use super::where_time_went::{WhereTimeWent, where_time_went};
use crate::figure::Figure;
use crate::notice::Failure;
use crate::run::{Measured, SettledRun};
use crate::sheet::{RunPlan, Sheet};

/// A run with what the weekend concludes of it.
#[derive(Debug, Clone)]
pub struct ConcludedRun {
    /// The run.
    pub run: SettledRun,
    /// What other pinions would do.
    pub next: Vec<Next>,
    /// The race without the fan, where the car ran with and without one.
    pub without_fan: Option<WithoutFan>,
    /// The run against the car's run before.
    pub before: Option<Before>,
    /// Where its time went; `None` where the log does not tell.
    pub time: Option<WhereTimeWent>,
}

impl ConcludedRun {
    /// What the sheet says of the run.
    pub fn plan(&self) -> &RunPlan {
        self.run.plan()
    }

    /// What was measured; `None` for a run that could not be reviewed.
    pub fn done(&self) -> Option<&Measured> {
        self.run.done()
    }

    /// Why the run could not be reviewed.
    pub fn failure(&self) -> Option<&Failure> {
        self.run.failure()
    }
}

/// What a weekend's runs tell together.
#[derive(Debug, Clone)]
pub struct Conclusions {
    /// The runs in order.
    pub runs: Vec<ConcludedRun>,
    /// What rises or falls over the runs of a car.
    pub trends: Vec<Trend>,
    /// What changed settings did.
    pub comparisons: Vec<Comparison>,
    /// Findings, what to act on first.
    pub findings: Vec<Finding>,
}

/// Concludes from the runs of a weekend, with the figures of a catalogue.
pub fn conclude(runs: Vec<SettledRun>, sheet: &Sheet, catalogue: &'static [Figure]) -> Conclusions {
    let race_s = sheet.race_length_s();
    let trends = trends(&runs, catalogue, race_s);
    let comparisons = comparisons(&runs, catalogue, race_s);
    let by_car = cars(&runs);
    let of_run = |(index, run): (usize, &SettledRun)| {
        let members = by_car.iter().find(|c| c.0 == run.plan().car).map(|c| c.1.as_slice());
        let without_fan = members.and_then(|members| without_fan(run, members, race_s));
        (next(run, race_s), without_fan, before(&runs, index, sheet))
    };
    let each: Vec<_> = runs.par_iter().enumerate().map(of_run).collect();
    let times = where_time_went(&runs);
    let runs: Vec<ConcludedRun> = (runs.into_iter().zip(each).zip(times))
        .map(|((run, (next, without_fan, before)), time)| ConcludedRun { run, next, without_fan, before, time })
        .collect();
    let of_run = |r: &ConcludedRun| findings_of_run(&r.run, &r.next, r.without_fan.as_ref(), r.time.as_ref());
    let mut findings: Vec<Finding> = runs.iter().flat_map(of_run).collect();
    findings.extend(findings_across(&trends, &comparisons));
    findings.sort_by_key(|f| f.severity);
    Conclusions { runs, trends, comparisons, findings }
}
