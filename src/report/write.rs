//! The report's folder: JSON, pages and tables, each written whole.

use std::path::{Path, PathBuf};

use polars::prelude::{DataFrame, df};
use rayon::prelude::*;

use super::{json, pages, view};
use crate::archive::{Form, WriteError, write_log, write_table, write_whole};
use crate::review::{Review, Run};
use crate::weekend::tables;

/// Writes the report of `review` into `folder`; returns the weekend's page.
///
/// # Errors
/// [`WriteError`], naming the file.
pub fn write(review: &Review, folder: &Path) -> Result<PathBuf, WriteError> {
    let io = |path: &Path| {
        let path = path.display().to_string();
        move |source| WriteError::Io { path, source }
    };
    let logs = folder.join("logs");
    std::fs::create_dir_all(&logs).map_err(io(&logs))?;
    text(&folder.join("review.json"), &json::text(review))?;
    review.runs.par_iter().enumerate().try_for_each(|(index, run)| {
        let name = view::page_name(index, &run.plan.id);
        page(&folder.join(&name), pages::run(&view::run(review, index)))?;
        match &run.outcome {
            Ok(done) => write_log(&done.log, Form::Parquet, &logs.join(name.replace(".html", ".parquet"))),
            Err(_) => Ok(()),
        }
    })?;
    let done = review
        .runs
        .iter()
        .filter_map(|r| r.outcome.as_ref().ok().map(|d| (r.plan.id.as_str(), r.plan.car.as_str(), &d.laps)));
    table(&folder.join("laps.parquet"), tables::laps(done))?;
    table(&folder.join("runs.parquet"), runs(&review.runs))?;
    let index = folder.join("index.html");
    page(&index, pages::weekend(&view::weekend(review)))?;
    Ok(index)
}

fn text(path: &Path, text: &str) -> Result<(), WriteError> {
    write_whole(path, |out| out.write_all(text.as_bytes()).map_err(|e| e.to_string()))
}

fn page(path: &Path, html: Result<String, askama::Error>) -> Result<(), WriteError> {
    let html = html.map_err(|e| WriteError::Format { path: path.display().to_string(), message: e.to_string() })?;
    text(path, &html)
}

fn table(path: &Path, table: polars::prelude::PolarsResult<DataFrame>) -> Result<(), WriteError> {
    let table = table.map_err(|e| WriteError::Format { path: path.display().to_string(), message: e.to_string() })?;
    write_table(&table, path)
}

/// One row a run, figures null where they could not be had.
fn runs(runs: &[Run]) -> polars::prelude::PolarsResult<DataFrame> {
    use crate::measure::Answers;
    use crate::quantity::Estimate;
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
