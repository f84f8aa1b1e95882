//! Parquet, Arrow IPC and CSV out of a log, Parquet out of a table; whole files, written beside their place and renamed.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::time::Duration;

use arrow::array::{Float64Array, RecordBatch, StringArray};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_writer::compute_leaves;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;
use rayon::prelude::*;

use crate::log::Log;

/// Why a file could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The system refused.
    #[error("`{path}` could not be written: {source}")]
    Io {
        /// The file.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// The format refused.
    #[error("`{path}` could not be written: {message}")]
    Format {
        /// The file.
        path: String,
        /// What the writer said.
        message: String,
    },
}

/// Forms a normalised log can be written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// Parquet with units in the field metadata.
    Parquet,
    /// Arrow IPC file with units in the field metadata.
    Arrow,
    /// CSV, UTF-8, comma, decimal point; units in the column names.
    Csv,
}

/// Rows of a row group, as many as Parquet's writers are used to.
const ROWS_OF_A_GROUP: usize = 1 << 20;
/// What the names of files that are being written begin with.
pub const UNFINISHED: &str = ".runtrue-";

/// Writes `path` whole: to a file beside it that is renamed when it is complete, so that a reader sees the old or the new.
///
/// # Errors
/// If the folder cannot be written to, or `fill` fails.
pub fn write_whole(path: &Path, fill: impl FnOnce(&mut dyn Write) -> Result<(), String>) -> Result<(), WriteError> {
    let name = path.display().to_string();
    let io = |source| WriteError::Io { path: name.clone(), source };
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(folder).map_err(io)?;
    {
        let mut buffer = BufWriter::new(file.as_file_mut());
        fill(&mut buffer).map_err(|message| WriteError::Format { path: name.clone(), message })?;
        buffer.flush().map_err(io)?;
    }
    file.as_file().sync_all().map_err(io)?;
    match std::fs::metadata(path) {
        // What its owner keeps from others stays kept.
        Ok(before) => file.as_file().set_permissions(before.permissions()),
        Err(_) => readable(file.as_file()),
    }
    .map_err(io)?;
    file.persist(path).map_err(|e| io(e.error))?;
    Ok(())
}

/// Takes away what a writer that was killed left unfinished in `folder`; one that is still at work is younger than that.
pub fn sweep(folder: &Path) {
    const LEFT: Duration = Duration::from_secs(3600);
    let unfinished = |e: &std::fs::DirEntry| e.file_name().to_string_lossy().starts_with(UNFINISHED);
    let old = |e: &std::fs::DirEntry| e.metadata().ok()?.modified().ok()?.elapsed().ok().map(|age| age > LEFT);
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        if unfinished(&entry) && old(&entry) == Some(true) {
            // One that cannot be removed does no harm.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Temporary files are private; what is kept is as readable as any other file.
///
/// # Errors
/// If the system refuses.
#[cfg(unix)]
pub fn readable(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

/// Temporary files are as readable as any other file.
///
/// # Errors
/// None.
#[cfg(not(unix))]
pub fn readable(_: &File) -> io::Result<()> {
    Ok(())
}

/// Writes a log in `form`.
///
/// # Errors
/// [`WriteError`].
pub fn write_log(log: &Log, form: Form, path: &Path) -> Result<(), WriteError> {
    write_whole(path, |out| log_as(log, form, out))
}

/// Writes a log in `form` to `out`.
///
/// # Errors
/// What the writer said.
pub fn log_as(log: &Log, form: Form, mut out: &mut dyn Write) -> Result<(), String> {
    match form {
        Form::Parquet => out.write_all(&log_as_parquet(log)?).map_err(|e| e.to_string()),
        Form::Arrow => {
            let mut writer =
                arrow::ipc::writer::FileWriter::try_new(&mut out, &log.batch().schema()).map_err(|e| e.to_string())?;
            writer.write(log.batch()).and_then(|()| writer.finish()).map_err(|e| e.to_string())
        }
        Form::Csv => csv(log.batch(), out).map_err(|e| e.to_string()),
    }
}

/// A log as the bytes of a Parquet file.
///
/// # Errors
/// What the writer said.
pub fn log_as_parquet(log: &Log) -> Result<Vec<u8>, String> {
    batch_as_parquet(log.batch())
}

/// A record batch as the bytes of a Parquet file, its schema's metadata kept.
///
/// # Errors
/// What the writer said.
pub fn batch_as_parquet(batch: &RecordBatch) -> Result<Vec<u8>, String> {
    let properties =
        WriterProperties::builder().set_compression(Compression::SNAPPY).set_created_by("runtrue".to_owned()).build();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), Some(properties)).map_err(|e| e.to_string())?;
    if batch.num_rows() < ROWS_OF_A_GROUP {
        writer.write(batch).map_err(|e| e.to_string())?;
        writer.close().map_err(|e| e.to_string())?;
        return Ok(bytes);
    }
    let (mut file, groups) = writer.into_serialized_writer().map_err(|e| e.to_string())?;
    for (at, from) in (0..batch.num_rows()).step_by(ROWS_OF_A_GROUP).enumerate() {
        let rows = batch.slice(from, ROWS_OF_A_GROUP.min(batch.num_rows() - from));
        let columns = groups.create_column_writers(at).map_err(|e| e.to_string())?;
        // Each column on a core of its own.
        let work: Vec<_> = columns.into_iter().zip(rows.columns()).zip(rows.schema_ref().fields()).collect();
        let chunks = work.into_par_iter().map(|((mut column, array), field)| {
            compute_leaves(field, array)?.iter().try_for_each(|leaf| column.write(leaf))?;
            column.close()
        });
        let chunks = chunks.collect::<Result<Vec<_>, _>>().map_err(|e| e.to_string())?;
        let mut group = file.next_row_group().map_err(|e| e.to_string())?;
        chunks.into_iter().try_for_each(|c| c.append_to_row_group(&mut group)).map_err(|e| e.to_string())?;
        group.close().map_err(|e| e.to_string())?;
    }
    file.close().map_err(|e| e.to_string())?;
    Ok(bytes)
}

fn csv(batch: &RecordBatch, out: &mut dyn Write) -> Result<(), csv::Error> {
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
