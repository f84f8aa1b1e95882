//! The report's folder: JSON, pages and tables, each written whole.

use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use arrow::error::ArrowError;
use rayon::prelude::*;

use super::{pages, tables, view};
use crate::figure::FIGURES;
use crate::review::Review;
use crate::review_file;
use crate::storage::{LogFormat, WriteError, batch_as_parquet, sweep, write_log, write_whole};

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
    [folder, &logs].into_iter().for_each(sweep);
    text(&folder.join("review.json"), &review_file::text(review))?;
    review.runs.par_iter().enumerate().try_for_each(|(index, run)| {
        let name = view::page_name(index, &run.plan().id);
        page(&folder.join(&name), pages::run(&view::run(review, index)))?;
        match run.done() {
            Some(done) => write_log(&done.log, LogFormat::Parquet, &folder.join(view::log_name(&name))),
            None => Ok(()),
        }
    })?;
    table(&folder.join("laps.parquet"), tables::laps(review))?;
    table(&folder.join("runs.parquet"), tables::runs(review, FIGURES))?;
    let index = folder.join("index.html");
    page(&index, pages::weekend(&view::weekend(review)))?;
    Ok(index)
}

/// Writes a text file whole.
pub(super) fn text(path: &Path, text: &str) -> Result<(), WriteError> {
    write_whole(path, |out| out.write_all(text.as_bytes()).map_err(|e| e.to_string()))
}

/// Writes a page whole.
pub(super) fn page(path: &Path, html: Result<String, askama::Error>) -> Result<(), WriteError> {
    let html = html.map_err(|e| WriteError::Format { path: path.display().to_string(), message: e.to_string() })?;
    text(path, &html)
}

fn table(path: &Path, table: Result<RecordBatch, ArrowError>) -> Result<(), WriteError> {
    let refused = |message| WriteError::Format { path: path.display().to_string(), message };
    let bytes = batch_as_parquet(&table.map_err(|e| refused(e.to_string()))?).map_err(refused)?;
    write_whole(path, |out| out.write_all(&bytes).map_err(|e| e.to_string()))
}
