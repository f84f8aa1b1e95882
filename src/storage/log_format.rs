//! The formats a normalised log can be written in.

use std::io::Write;
use std::path::Path;

use arrow::array::{Float64Array, RecordBatch, StringArray};
use arrow::ipc::writer::FileWriter;

use super::parquet::log_as_parquet;
use super::whole_file::{WriteError, write_whole};
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

/// Writes `log` to the file `path`, whole.
///
/// # Errors
/// [`WriteError`].
pub fn write_log(log: &Log, format: LogFormat, path: &Path) -> Result<(), WriteError> {
    write_whole(path, |out| write_log_to(log, format, out))
}

/// Writes `log` to `out`.
///
/// # Errors
/// The writer's reason, in words.
pub fn write_log_to(log: &Log, format: LogFormat, mut out: &mut dyn Write) -> Result<(), String> {
    match format {
        LogFormat::Parquet => out.write_all(&log_as_parquet(log)?).map_err(|e| e.to_string()),
        LogFormat::Arrow => {
            let mut writer = FileWriter::try_new(&mut out, &log.batch().schema()).map_err(|e| e.to_string())?;
            writer.write(log.batch()).and_then(|()| writer.finish()).map_err(|e| e.to_string())
        }
        LogFormat::Csv => write_csv(log.batch(), out).map_err(|e| e.to_string()),
    }
}

fn write_csv(batch: &RecordBatch, out: &mut dyn Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(out);
    let schema = batch.schema();
    writer.write_record(schema.fields().iter().map(|f| f.name()))?;
    for row in 0..batch.num_rows() {
        let cells = batch.columns().iter().map(|column| {
            let any = column.as_any();
            if let Some(numbers) = any.downcast_ref::<Float64Array>() {
                let value = numbers.values()[row];
                if value.is_nan() { String::new() } else { value.to_string() }
            } else {
                any.downcast_ref::<StringArray>().map_or(String::new(), |t| t.value(row).to_owned())
            }
        });
        writer.write_record(cells)?;
    }
    writer.flush()?;
    Ok(())
}
