//! The season's data set on disk: `TABLE/year=YEAR/weekend=WEEKEND/part-0.parquet`, Hive's way of naming partitions,
//! which any engine reads as a data set.
//!
//! A partition is one weekend and is written whole: a weekend that is gathered again replaces its own files and no
//! others.
//!
//! Parquet is read through `parquet`, column by column, and handed to polars: polars' own scan would bring an HTTP
//! client with it.

use std::collections::HashMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, Date32Array, Float64Array, Int32Array, RecordBatch, StringArray, new_null_array,
};
use arrow::datatypes::{DataType, Date32Type, Field, Float64Type, Int32Type, Schema};
use jiff::civil::{Date, date};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use polars::prelude::{Column, DataFrame, IntoColumn, NamedFrom, PolarsError, Series};

use super::partition::{Origin, PART, Partition};
use super::rows::Weekend;
use super::schema::{self, Cells, FOLDER, FORMAT, Kind, LOGS, RUNS, TABLE_NAMES, Table};
use crate::figure::FIGURES;
use crate::storage::{Own, WriteError, batch_as_parquet, check_own, own_folder, standing, write_own};

/// Why the data set could not be read.
#[derive(Debug, thiserror::Error)]
#[error("`{path}` could not be read: {message}")]
pub struct ReadError {
    /// The file.
    pub path: PathBuf,
    /// What is wrong.
    pub message: String,
}

impl ReadError {
    /// The error that polars had with a weekend's file of the table called `table`.
    pub fn from_polars(root: &Path, partition: &Partition, table: &str, e: &PolarsError) -> Self {
        Self { path: root.join(partition.file(table)), message: e.to_string() }
    }
}

/// Writes a weekend's files into the data set at `root`, over nothing but its earlier ones. Its runs go last: a weekend
/// is in the data set when it has them.
///
/// # Errors
/// [`WriteError`], naming the file; where a file is in the way that runtrue did not write, nothing is written.
pub fn write(root: &Path, weekend: &Weekend) -> Result<(), WriteError> {
    let rows = &weekend.rows;
    let file = TableFile { root, partition: &weekend.partition, origin: &weekend.origin };
    // All are made before one is written, so that a weekend's tables are of two ages for as short a time as possible.
    let files = [
        file.encode(&schema::laps(), &rows.laps)?,
        file.encode(&schema::events(), &rows.events)?,
        file.encode(&schema::figures(), &rows.figures)?,
        file.encode(&schema::keys(), &rows.keys)?,
        file.encode(&schema::effects(), &rows.effects)?,
        file.encode(&schema::runs(FIGURES), &rows.runs)?,
    ];
    check_own(root, files.iter().map(|(name, _)| name.as_path()))?;
    for (name, bytes) in files {
        own_folder(root, name.parent().unwrap_or(Path::new("")))?;
        write_own(root, &name, |out| out.write_all(&bytes).map_err(|e| e.to_string()))?;
    }
    Ok(())
}

/// Where the files of a weekend go, and what is written into their metadata.
struct TableFile<'a> {
    root: &'a Path,
    partition: &'a Partition,
    origin: &'a Origin,
}

impl TableFile<'_> {
    /// A table's file, from the data set's folder, and its bytes.
    fn encode<R>(&self, table: &Table<R>, rows: &[R]) -> Result<(PathBuf, Vec<u8>), WriteError> {
        let name = self.partition.file(table.name);
        let batch = record_batch(table, rows, self.origin).map_err(|e| e.to_string());
        match batch.and_then(|batch| batch_as_parquet(&batch)) {
            Ok(bytes) => Ok((name, bytes)),
            Err(message) => Err(WriteError::Format { path: self.root.join(name).display().to_string(), message }),
        }
    }
}

/// Whether there is a data set at `root`.
pub fn exists(root: &Path) -> bool {
    root.join(RUNS).exists()
}

/// Where a weekend of the data set came from; `None` where its runs cannot be read.
pub fn origin(root: &Path, partition: &Partition) -> Option<Origin> {
    let file = File::open(root.join(partition.file(RUNS))).ok()?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).ok()?;
    let metadata = |key: &str| builder.schema().metadata().get(key).cloned().unwrap_or_default();
    let logs = metadata(LOGS).split_terminator('\n').map(str::to_owned).collect();
    Some(Origin { folder: metadata(FOLDER), logs })
}

/// Weekends in the data set, by year and day.
///
/// # Errors
/// [`ReadError`] where one of its folders cannot be listed.
pub fn partitions(root: &Path) -> Result<Vec<Partition>, ReadError> {
    let folders = |path: &Path, key: &str| -> Result<Vec<(String, PathBuf)>, ReadError> {
        let error = |e: std::io::Error| ReadError { path: path.to_owned(), message: e.to_string() };
        let mut found = Vec::new();
        for entry in std::fs::read_dir(path).map_err(error)? {
            let entry = entry.map_err(error)?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if let Some(value) = name.strip_prefix(key) {
                found.push((value.to_owned(), entry.path()));
            }
        }
        Ok(found)
    };
    let mut all = Vec::new();
    for (year, path) in folders(&root.join(RUNS), "year=")? {
        let Ok(year) = year.parse() else { continue };
        for (weekend, path) in folders(&path, "weekend=")? {
            if path.join(PART).is_file() {
                all.push(Partition { year, weekend });
            }
        }
    }
    all.sort();
    Ok(all)
}

/// Takes a weekend out of the data set: the files that runtrue wrote, and nothing that a link leads to.
///
/// # Errors
/// [`WriteError`] where one of its files is not runtrue's or cannot be removed.
pub fn remove(root: &Path, partition: &Partition) -> Result<(), WriteError> {
    // The runs go first: without them the weekend is no longer in the data set.
    let mut tables = TABLE_NAMES;
    tables.sort_by_key(|name| *name != RUNS);
    let names = tables.map(|table| partition.file(table));
    check_own(root, names.iter().map(PathBuf::as_path))?;
    for name in names {
        let path = root.join(&name);
        if standing(root, &name)? == Own::Written {
            std::fs::remove_file(&path)
                .map_err(|source| WriteError::Io { path: path.display().to_string(), source })?;
        }
        // A folder that holds something else stays.
        path.ancestors().skip(1).take(2).take_while(|folder| std::fs::remove_dir(folder).is_ok()).for_each(drop);
    }
    Ok(())
}

/// A weekend's rows of a table in Arrow; the table of runs also names the folder and the logs that it came from.
fn record_batch<R>(table: &Table<R>, rows: &[R], origin: &Origin) -> Result<RecordBatch, arrow::error::ArrowError> {
    let metadata = |pairs: &[(&str, &str)]| -> HashMap<String, String> {
        let written = pairs.iter().filter(|(_, value)| !value.is_empty());
        written.map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect()
    };
    let field = |name: &str, kind: Kind| Field::new(name, data_type(kind), true);
    let columns = table.columns.iter();
    let fields: Vec<Field> = columns
        .map(|c| field(c.name, c.cells.kind()).with_metadata(metadata(&[("unit", c.unit), ("description", c.about)])))
        .collect();
    let logs = origin.logs.iter().map(String::as_str).collect::<Vec<_>>().join("\n");
    let (folder, logs) = if table.name == RUNS { (origin.folder.as_str(), logs.as_str()) } else { ("", "") };
    let about = [("format", FORMAT), ("table", table.name), (LOGS, logs), (FOLDER, folder)];
    let schema = Schema::new(fields).with_metadata(metadata(&about));
    let arrays = table.columns.iter().map(|c| array(&c.cells, rows)).collect();
    RecordBatch::try_new(Arc::new(schema), arrays)
}

fn data_type(kind: Kind) -> DataType {
    match kind {
        Kind::Text => DataType::Utf8,
        Kind::Number => DataType::Float64,
        Kind::Whole => DataType::Int32,
        Kind::Date => DataType::Date32,
    }
}

fn array<R>(cells: &Cells<R>, rows: &[R]) -> ArrayRef {
    match cells {
        Cells::Text(cell) => Arc::new(rows.iter().map(cell).collect::<StringArray>()),
        Cells::Number(cell) => Arc::new(rows.iter().map(cell).collect::<Float64Array>()),
        Cells::Figure(column, cell) => Arc::new(rows.iter().map(|row| cell(row, column)).collect::<Float64Array>()),
        Cells::Whole(cell) => Arc::new(rows.iter().map(cell).collect::<Int32Array>()),
        Cells::Date(cell) => Arc::new(rows.iter().map(|row| Some(days(cell(row)))).collect::<Date32Array>()),
    }
}

/// Days from 1970-01-01 to `day`.
fn days(day: Date) -> i32 {
    (day - date(1970, 1, 1)).get_days()
}

/// The day so many days after 1970-01-01, as `2026-05-16`; empty where it is beyond the calendar.
pub fn day_text(days: i32) -> String {
    let span = jiff::Span::new().try_days(days);
    span.and_then(|span| date(1970, 1, 1).checked_add(span)).map_or_else(|_| String::new(), |day| day.to_string())
}

/// The named columns of one weekend's table: nothing else is read from its file. Dates are days from 1970-01-01.
///
/// # Errors
/// [`ReadError`] where the file is missing, is not of this format, or has a column of another type.
pub fn read<R>(root: &Path, partition: &Partition, table: &Table<R>, columns: &[&str]) -> Result<DataFrame, ReadError> {
    let path = root.join(partition.file(table.name));
    let error = |message: String| ReadError { path: path.clone(), message };
    let file = File::open(&path).map_err(|e| error(e.to_string()))?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).map_err(|e| error(e.to_string()))?;
    let format = builder.schema().metadata().get("format").cloned().unwrap_or_default();
    if format != FORMAT {
        return Err(error(format!("its format is `{format}`, not `{FORMAT}`")));
    }
    let mask = ProjectionMask::columns(builder.parquet_schema(), columns.iter().copied());
    let batches = builder.with_projection(mask).build().map_err(|e| error(e.to_string()))?;
    let batches: Vec<RecordBatch> = batches.collect::<Result<_, _>>().map_err(|e| error(e.to_string()))?;
    let height: usize = batches.iter().map(RecordBatch::num_rows).sum();
    let column = |name: &str, kind: Kind| {
        let arrays: Vec<&ArrayRef> = batches.iter().filter_map(|b| b.column_by_name(name)).collect();
        let expected = data_type(kind);
        match arrays.iter().find(|a| *a.data_type() != expected) {
            Some(odd) => Err(error(format!("its column `{name}` is {}, not {expected}", odd.data_type()))),
            // A column that was added later is not in older files.
            None if arrays.is_empty() => Ok(series(name, kind, &[&new_null_array(&expected, height)])),
            None => Ok(series(name, kind, &arrays)),
        }
    };
    let asked = columns.iter().filter_map(|name| table.columns.iter().find(|c| c.name == *name));
    let asked: Vec<_> = asked.map(|c| column(c.name, c.cells.kind())).collect::<Result<_, _>>()?;
    DataFrame::new(height, asked).map_err(|e| error(e.to_string()))
}

/// Arrow's arrays as a column of polars.
fn series(name: &str, kind: Kind, arrays: &[&ArrayRef]) -> Column {
    let (name, all) = (name.into(), arrays.iter());
    let series = match kind {
        Kind::Text => Series::new(name, all.flat_map(|a| a.as_string::<i32>()).collect::<Vec<_>>()),
        Kind::Number => Series::new(name, all.flat_map(|a| a.as_primitive::<Float64Type>()).collect::<Vec<_>>()),
        Kind::Whole => Series::new(name, all.flat_map(|a| a.as_primitive::<Int32Type>()).collect::<Vec<_>>()),
        Kind::Date => Series::new(name, all.flat_map(|a| a.as_primitive::<Date32Type>()).collect::<Vec<_>>()),
    };
    series.into_column()
}
