//! The report's folder: JSON, pages and tables, each written whole.

use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use arrow::error::ArrowError;
use rayon::prelude::*;

use super::{pages, tables, view};
use crate::figure::FIGURES;
use crate::review::Review;
use crate::review_file;
use crate::storage::{WriteError, batch_as_csv, batch_as_parquet, check_own, log_as_parquet, own_folder, write_own};
use crate::units::Units;

/// Folder of the normalised logs in a report's folder.
const LOGS: &str = "logs";
const REVIEW: &str = "review.json";
const LAPS: [&str; 2] = ["laps.parquet", "laps.csv"];
const RUNS: [&str; 2] = ["runs.parquet", "runs.csv"];
const INDEX: &str = "index.html";

/// Writes the report of `review` into `folder`, its pages in `units`, over nothing but the files of an earlier report; returns the weekend's
/// page.
///
/// # Errors
/// [`WriteError`], naming the file; where a file is in the way that runtrue did not write, nothing is written.
pub fn write(review: &Review, folder: &Path, units: Units) -> Result<PathBuf, WriteError> {
    let page_of = |index: usize| view::page_name(index, &review.runs[index].plan().id);
    let of_runs = (0..review.runs.len()).map(page_of).flat_map(|page| [view::log_name(&page), page]);
    let names: Vec<String> =
        of_runs.chain([REVIEW, INDEX].into_iter().chain(LAPS).chain(RUNS).map(str::to_owned)).collect();
    check_own(folder, names.iter().map(Path::new))?;
    own_folder(folder, Path::new(""))?;
    own_folder(folder, Path::new(LOGS))?;
    text(folder, REVIEW, &review_file::text(review))?;
    review.runs.par_iter().enumerate().try_for_each(|(index, run)| {
        let name = page_of(index);
        page(folder, &name, pages::run(&view::run(review, index), units))?;
        match run.done() {
            Some(done) => bytes(folder, &view::log_name(&name), log_as_parquet(&done.log)),
            None => Ok(()),
        }
    })?;
    table(folder, LAPS, tables::laps(review))?;
    table(folder, RUNS, tables::runs(review, FIGURES))?;
    page(folder, INDEX, pages::weekend(&view::weekend(review), units))?;
    Ok(folder.join(INDEX))
}

/// Writes a text file whole into `folder`.
pub(super) fn text(folder: &Path, name: &str, text: &str) -> Result<(), WriteError> {
    write_own(folder, Path::new(name), |out| out.write_all(text.as_bytes()).map_err(|e| e.to_string()))
}

/// Writes a page whole into `folder`.
pub(super) fn page(folder: &Path, name: &str, html: Result<String, askama::Error>) -> Result<(), WriteError> {
    bytes(folder, name, html.map(String::into_bytes).map_err(|e| e.to_string()))
}

/// Writes a table as Parquet and as CSV.
fn table(folder: &Path, [parquet, csv]: [&str; 2], table: Result<RecordBatch, ArrowError>) -> Result<(), WriteError> {
    let table = table.map_err(|e| e.to_string());
    bytes(folder, parquet, table.clone().and_then(|table| batch_as_parquet(&table)))?;
    bytes(folder, csv, table.and_then(|table| batch_as_csv(&table)))
}

/// Writes the bytes of a file, or gives the reason why there are none.
fn bytes(folder: &Path, name: &str, made: Result<Vec<u8>, String>) -> Result<(), WriteError> {
    let refused = |message| WriteError::Format { path: folder.join(name).display().to_string(), message };
    let bytes = made.map_err(refused)?;
    write_own(folder, Path::new(name), |out| out.write_all(&bytes).map_err(|e| e.to_string()))
}
