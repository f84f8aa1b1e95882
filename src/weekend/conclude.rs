//! What follows from the settled runs of a weekend: next changes, trends, effects of changes, findings.

use rayon::prelude::*;

use super::before::before;
use super::best_pinion::{add_measured, best_pinion};
use super::cars::{cars, index_before};
use super::comparisons::{Comparison, comparisons};
use super::concluded_run::ConcludedRun;
use super::findings::{Finding, findings_across, findings_of_run};
use super::hotter::median_run;
use super::kept_conclusions::KeptConclusions;
use super::laid_runs::LaidRuns;
use super::lap_on_lap::lap_on_lap;
use super::next::without_fan;
use super::since::{RunScatter, since};
use super::trends::{Trend, trends};
use super::where_time_went::where_time_went;
use crate::figure::Figure;
use crate::measure::hot_part::HotPart;
use crate::run::SettledRun;
use crate::sheet::Sheet;

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

/// Concludes from the runs of a weekend, with the figures of a catalogue. What was `kept` of runs that are as they were
/// is not concluded again.
pub fn conclude(
    runs: Vec<SettledRun>,
    sheet: &Sheet,
    catalogue: &'static [Figure],
    kept: &mut KeptConclusions,
) -> Conclusions {
    let race_s = sheet.race_length_s();
    let trends = trends(&runs, catalogue, race_s);
    let comparisons = comparisons(&runs, catalogue, race_s);
    let by_car = cars(&runs);
    let scatters: Vec<Option<RunScatter>> = by_car.iter().map(|(_, members)| RunScatter::of_car(members)).collect();
    let medians: Vec<Option<&SettledRun>> =
        by_car.iter().map(|(_, members)| median_run(members, HotPart::Motor)).collect();
    let known = &*kept;
    let of_run = |(index, run): (usize, &SettledRun)| {
        let car = by_car.iter().position(|c| c.0 == run.plan().car);
        let members = car.map(|car| by_car[car].1.as_slice());
        let without_fan = members.and_then(|members| without_fan(run, members, race_s));
        let before_it = index_before(index, |n| &runs[n].plan().car).map(|before| &runs[before]);
        let other = |than: &&SettledRun| than.plan().id != run.plan().id;
        let than_median = car.and_then(|car| medians[car]).filter(other);
        let concluded = known.conclude(run, before_it.into_iter().chain(than_median), race_s);
        let hotter = [before_it, than_median].map(|other| concluded.hotter_than(other?));
        let mut next = concluded.next.clone();
        if let Some(car) = car {
            add_measured(run, &by_car[car].1, scatters[car], &mut next);
        }
        let best_pinion = best_pinion(run, &next);
        let since = car.and_then(|car| since(&runs, index, scatters[car], &comparisons));
        let answers = ((next, best_pinion), without_fan, before(&runs, index, sheet), since, hotter);
        (answers, concluded)
    };
    let (each, mut concluded): (Vec<_>, Vec<_>) = runs.par_iter().enumerate().map(of_run).unzip();
    let laid = LaidRuns::new(&runs, std::mem::take(&mut kept.pairs));
    let times = where_time_went(&runs, &laid, kept);
    let laps = lap_on_lap(&runs, &times, &laid);
    for (kept, time) in concluded.iter_mut().zip(&times) {
        kept.sections = time.as_ref().and_then(|time| time.sections.clone());
    }
    *kept = KeptConclusions::new(race_s, concluded, laid.keep());
    let runs: Vec<ConcludedRun> = (runs.into_iter().zip(each).zip(times.into_iter().zip(laps)))
        .map(|((run, answers), (time, lap_on_lap))| {
            let ((next, best_pinion), without_fan, before, since, [hotter, hotter_than_median]) = answers;
            ConcludedRun {
                run,
                next,
                best_pinion,
                without_fan,
                before,
                since,
                hotter,
                hotter_than_median,
                time,
                lap_on_lap,
            }
        })
        .collect();
    let mut findings: Vec<Finding> = runs.iter().flat_map(findings_of_run).collect();
    findings.extend(findings_across(&trends, &comparisons));
    findings.sort_by_key(|f| f.severity);
    Conclusions { runs, trends, comparisons, findings }
}
