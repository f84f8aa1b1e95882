//! Time lost along the lap, as `review.json` has it.

use schemars::JsonSchema;
use serde::Serialize;

use crate::measure::Answers;
use crate::measure::time_along_lap::{PLACES, TimeLost, share_at};
use crate::quantity::Estimate;
use crate::weekend::where_time_went::{LostRun, SectionChange, WhereTimeWent};

/// Every fourth place is written: a fiftieth of the lap, finer than the doubt of a place.
const EVERY: usize = 4;
/// Times are written to a tenth of a millisecond.
const STEPS_A_SECOND: f64 = 1e4;

/// Time lost along the lap.
#[derive(Debug, Serialize, JsonSchema)]
pub struct TimeLostFile {
    /// The places of all series, share of the lap from the line.
    pub places: Vec<f64>,
    /// The slowest counted lap against the best.
    pub worst_lap: LostLapFile,
    /// The median lap against that of the car's best run; `null` for that run itself, and where they do not compare.
    pub on_best_run: Option<LostRunFile>,
    /// The median lap against that of the car's run before.
    pub on_run_before: Option<LostRunFile>,
}

/// A lap against another of the run.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LostLapFile {
    /// The lap, from 1.
    pub lap: u32,
    /// The lap that it lost time on.
    pub on: u32,
    /// Time lost so far at each place, s.
    pub seconds: Vec<f64>,
    /// Half-width of its 95 % interval, s.
    pub band_s: Vec<f64>,
}

/// A median lap against that of another run.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LostRunFile {
    /// The other run.
    pub run: String,
    /// Difference of the two runs' median laps, s: above zero where this run was slower. The interval is that of the
    /// laps' scatter.
    pub slower_by_s: Estimate,
    /// Time lost so far at each place, s.
    pub seconds: Vec<f64>,
    /// Half-width of its 95 % interval, s.
    pub band_s: Vec<f64>,
    /// How much slower each section was; empty where one of the runs has fewer than five counted laps.
    pub sections: Vec<SectionChange>,
}

/// The file's part of a run.
pub fn file(time: &WhereTimeWent) -> TimeLostFile {
    let (seconds, band_s) = series(&time.worst_lap.lost);
    TimeLostFile {
        places: (0..=PLACES).step_by(EVERY).map(share_at).collect(),
        worst_lap: LostLapFile { lap: time.worst_lap.lap, on: time.worst_lap.on, seconds, band_s },
        on_best_run: time.on_best_run.as_ref().map(lost_run),
        on_run_before: time.on_run_before.as_ref().map(lost_run),
    }
}

/// Why time lost or sections are missing; `None` where they are not.
pub fn why(answers: &Answers, has_sections: bool) -> Option<String> {
    match &answers.along {
        Err(why) => Some(why.to_string()),
        Ok(_) if !has_sections => Some("the speed has no two clear slowest points in a lap".to_owned()),
        Ok(_) => None,
    }
}

fn lost_run(lost: &LostRun) -> LostRunFile {
    let (seconds, band_s) = series(&lost.lost);
    LostRunFile {
        run: lost.run.clone(),
        slower_by_s: lost.slower_by_s,
        seconds,
        band_s,
        sections: lost.by_section.clone(),
    }
}

fn series(lost: &TimeLost) -> (Vec<f64>, Vec<f64>) {
    // Without a minus before nought.
    let short = |v: &f64| (v * STEPS_A_SECOND).round() / STEPS_A_SECOND + 0.0;
    let every = |values: &[f64]| values.iter().step_by(EVERY).map(short).collect();
    (every(&lost.seconds), every(&lost.band_s))
}
