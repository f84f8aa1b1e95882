//! The formats a normalised log can be written in.

use std::io::Write;
use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::error::ArrowError;
use arrow::ipc::writer::FileWriter;

use super::converted::{Converted, SOURCE};
use super::csv_cells::cell;
use super::parquet::batch_as_parquet;
use crate::log::Log;

/// A format for a normalised log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum LogFormat {
    /// Parquet, with the unit of each column in its metadata
    Parquet,
    /// Arrow IPC file, with the unit of each column in its metadata
    Arrow,
    /// CSV in UTF-8: comma, decimal point, units in the column names
    Csv,
}

impl LogFormat {
    /// The ending of the file's name; a CSV's tells it from the recorder's own.
    pub fn file_ending(self) -> &'static str {
        match self {
            LogFormat::Parquet => "parquet",
            LogFormat::Arrow => "arrow",
            LogFormat::Csv => "normalised.csv",
        }
    }
}

/// Writes `log` to `out`, marked as converted from the log that `mark` names.
///
/// # Errors
/// The writer's reason, in words.
pub fn write_log_to(log: &Log, format: LogFormat, mark: Converted, mut out: &mut dyn Write) -> Result<(), String> {
    if format == LogFormat::Csv {
        return write_csv(log.batch(), mark, out).map_err(|e| e.to_string());
    }
    let batch = marked(log.batch(), mark).map_err(|e| e.to_string())?;
    if format == LogFormat::Parquet {
        return out.write_all(&batch_as_parquet(&batch)?).map_err(|e| e.to_string());
    }
    let mut writer = FileWriter::try_new(&mut out, &batch.schema()).map_err(|e| e.to_string())?;
    writer.write(&batch).and_then(|()| writer.finish()).map_err(|e| e.to_string())
}

/// The batch with its source in the metadata beside its format.
fn marked(batch: &RecordBatch, mark: Converted) -> Result<RecordBatch, ArrowError> {
    let mut schema = batch.schema().as_ref().clone();
    schema.metadata.extend(mark.source_text().map(|source| (SOURCE.to_owned(), source)));
    RecordBatch::try_new(Arc::new(schema), batch.columns().to_vec())
}

fn write_csv(batch: &RecordBatch, mark: Converted, out: &mut dyn Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(out);
    let (schema, mark) = (batch.schema(), mark.column());
    writer.write_record(schema.fields().iter().map(|f| f.name()).chain([&mark]))?;
    for row in 0..batch.num_rows() {
        let cells = batch.columns().iter().map(|column| cell(column, row, |value| value.to_string()));
        writer.write_record(cells.chain([String::new()]))?;
    }
    writer.flush()?;
    Ok(())
}
