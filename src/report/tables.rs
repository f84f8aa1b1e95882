//! The report's tables: one row a lap, one row a run.

use polars::prelude::{DataFrame, PolarsResult, df};

use crate::measure::Answers;
use crate::quantity::Estimate;
use crate::review::Review;
use crate::weekend::tables;

/// One row a lap of the runs that could be reviewed.
///
/// # Errors
/// If the columns differ in length.
pub fn laps(review: &Review) -> PolarsResult<DataFrame> {
    let done = review.runs.iter();
    tables::laps(done.filter_map(|r| Some((r.plan.id.as_str(), r.plan.car.as_str(), &r.outcome.as_ref().ok()?.laps))))
}

/// One row a run, figures null where they could not be had.
///
/// # Errors
/// If the columns differ in length.
pub fn runs(review: &Review) -> PolarsResult<DataFrame> {
    let runs = &review.runs;
    let figure = |of: &dyn Fn(&Answers) -> Option<f64>| -> Vec<Option<f64>> {
        runs.iter().map(|r| r.outcome.as_ref().ok().and_then(|d| of(&d.answers))).collect()
    };
    let value = |m: Option<Estimate>| m.map(|m| m.value);
    let laps = |of: &dyn Fn(&crate::laps::Laps) -> Option<f64>| -> Vec<Option<f64>> {
        runs.iter().map(|r| r.outcome.as_ref().ok().and_then(|d| of(&d.laps))).collect()
    };
    df!(
        "run" => runs.iter().map(|r| r.plan.id.as_str()).collect::<Vec<_>>(),
        "car" => runs.iter().map(|r| r.plan.car.as_str()).collect::<Vec<_>>(),
        "error" => runs.iter().map(|r| r.outcome.as_ref().err().map(|e| e.message.as_str())).collect::<Vec<_>>(),
        "ambient_c" => runs.iter().map(|r| r.plan.ambient_c).collect::<Vec<_>>(),
        "best_s" => laps(&|l| l.best_s()),
        "median_s" => laps(&|l| l.median_s()),
        "set_ratio" => figure(&|a| a.gearing.set_ratio),
        "realised_ratio" => figure(&|a| value(a.gearing.realised_ratio)),
        "realised_rollout_mm" => figure(&|a| value(a.gearing.realised_rollout_mm)),
        "motor_peak_c" => figure(&|a| a.motor.peak_c),
        "controller_peak_c" => figure(&|a| a.controller.peak_c),
        "motor_race_end_c" => figure(&|a| value(a.motor.race_end_c)),
        "controller_race_end_c" => figure(&|a| value(a.controller.race_end_c)),
        "wheelspin_share" => figure(&|a| a.wheelspin.share),
        "coast_m_s2" => figure(&|a| value(a.power.coast_m_s2)),
        "wheelspin_s" => figure(&|a| a.wheelspin.seconds),
        "resistance_mohm" => figure(&|a| value(a.battery.resistance_mohm)),
        "lowest_cell_v" => figure(&|a| a.battery.lowest_cell_v),
        "used_mah" => figure(&|a| a.battery.used_mah),
        "used_wh" => figure(&|a| a.battery.used_wh),
        "top_rpm" => figure(&|a| a.power.top_rpm),
        "top_speed_m_s" => figure(&|a| a.power.top_speed_m_s),
        "mean_w" => figure(&|a| a.power.mean_w),
        "peak_w" => figure(&|a| a.power.peak_w)
    )
}
