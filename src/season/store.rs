//! The season's data set on disk: `TABLE/year=Y/weekend=KEY/part-0.parquet`, Hive's way of naming partitions, which any engine reads as a data set.
//!
//! A partition is one weekend, and is written whole: a weekend that is gathered again replaces its files, and no other's.

use std::collections::HashMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, BooleanArray, Date32Array, Float64Array, Int32Array, RecordBatch, StringArray,
};
use arrow::datatypes::{DataType, Date32Type, Field, Float64Type, Int32Type, Schema};
use jiff::civil::Date;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use polars::prelude::{DataFrame, IntoColumn, NamedFrom, PolarsResult, Series};
use serde_json::Value;

use super::gather::Weekend;
use super::schema::{Column, FORMAT, Kind, RUNS, TABLES, Table};
use crate::archive::{WriteError, batch_as_parquet, write_whole};

/// A weekend in the data set.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Partition {
    /// Year.
    pub year: i16,
    /// Name of the partition.
    pub weekend: String,
}

impl Partition {
    /// The partition of a weekend.
    pub fn of(weekend: &Weekend) -> Self {
        Self { year: weekend.date.year(), weekend: weekend.key.clone() }
    }

    fn file(&self, table: &Table) -> PathBuf {
        Path::new(table.name).join(format!("year={}", self.year)).join(format!("weekend={}", self.weekend)).join(PART)
    }
}

const PART: &str = "part-0.parquet";

/// Why the data set could not be read.
#[derive(Debug, thiserror::Error)]
#[error("`{path}` could not be read: {message}")]
pub struct ReadError {
    /// The file.
    pub path: PathBuf,
    /// What is wrong.
    pub message: String,
}

/// Writes a weekend's files into the data set at `root`. Its runs go last: a weekend is in the data set when it has them.
///
/// # Errors
/// [`WriteError`].
pub fn write(root: &Path, weekend: &Weekend) -> Result<(), WriteError> {
    let partition = Partition::of(weekend);
    for (table, rows) in &weekend.rows {
        let path = root.join(partition.file(table));
        let name = path.display().to_string();
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|source| WriteError::Io { path: name.clone(), source })?;
        }
        let bytes = batch(table, rows)
            .map_err(|e| e.to_string())
            .and_then(|b| batch_as_parquet(&b))
            .map_err(|message| WriteError::Format { path: name, message })?;
        write_whole(&path, |out| out.write_all(&bytes).map_err(|e| e.to_string()))?;
    }
    Ok(())
}

/// Weekends in the data set, by year and day.
///
/// # Errors
/// If a folder of it cannot be listed.
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
    for (year, path) in folders(&root.join(RUNS.name), "year=")? {
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

/// Takes a weekend out of the data set.
///
/// # Errors
/// If one of its files cannot be removed.
pub fn remove(root: &Path, partition: &Partition) -> Result<(), WriteError> {
    // The runs go first: without them the weekend is in it no more.
    let mut tables = TABLES;
    tables.sort_by_key(|t| t.name != RUNS.name);
    for table in &tables {
        let path = root.join(partition.file(table));
        let io = |source| WriteError::Io { path: path.display().to_string(), source };
        match std::fs::remove_file(&path) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(io(e)),
            _ => {}
        }
        // A folder that holds something else stays.
        let _ = path.parent().map(std::fs::remove_dir);
    }
    Ok(())
}

fn batch(table: &Table, rows: &[Value]) -> Result<RecordBatch, arrow::error::ArrowError> {
    let about = |pairs: &[(&str, &str)]| -> HashMap<String, String> {
        let said = pairs.iter().filter(|p| !p.1.is_empty());
        said.map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
    };
    let fields: Vec<Field> = table
        .columns
        .iter()
        .map(|c| Field::new(c.name, kind(c), true).with_metadata(about(&[("unit", c.unit), ("description", c.about)])))
        .collect();
    let schema = Schema::new(fields).with_metadata(about(&[("format", FORMAT), ("table", table.name)]));
    let columns = table.columns.iter().map(|c| array(c, rows)).collect();
    RecordBatch::try_new(Arc::new(schema), columns)
}

fn kind(column: &Column) -> DataType {
    match column.kind {
        Kind::Text => DataType::Utf8,
        Kind::Number => DataType::Float64,
        Kind::Whole => DataType::Int32,
        Kind::Flag => DataType::Boolean,
        Kind::Date => DataType::Date32,
    }
}

fn array(column: &Column, rows: &[Value]) -> ArrayRef {
    let cells = rows.iter().map(|r| r.pointer(column.from).filter(|v| !v.is_null()));
    match column.kind {
        Kind::Text => Arc::new(cells.map(|c| c.and_then(Value::as_str)).collect::<StringArray>()),
        Kind::Number => Arc::new(cells.map(|c| c.and_then(Value::as_f64)).collect::<Float64Array>()),
        Kind::Whole => {
            Arc::new(cells.map(|c| c.and_then(Value::as_i64).and_then(|n| n.try_into().ok())).collect::<Int32Array>())
        }
        Kind::Flag => Arc::new(cells.map(|c| c.and_then(Value::as_bool)).collect::<BooleanArray>()),
        Kind::Date => Arc::new(cells.map(|c| c.and_then(Value::as_str).and_then(days)).collect::<Date32Array>()),
    }
}

/// Days from 1970-01-01 to the date that `text` writes.
fn days(text: &str) -> Option<i32> {
    let date: Date = text.parse().ok()?;
    Some((date - jiff::civil::date(1970, 1, 1)).get_days())
}

/// The named columns of one weekend's table: nothing else is read from its file. Dates are days from 1970-01-01.
///
/// # Errors
/// [`ReadError`] where the file is no such table.
pub fn read(root: &Path, partition: &Partition, table: &Table, columns: &[&str]) -> Result<DataFrame, ReadError> {
    let path = root.join(partition.file(table));
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
    let column = |name: &&str| {
        let parts: Option<Vec<&ArrayRef>> = batches.iter().map(|b| b.column_by_name(name)).collect();
        Ok(parts
            .map(|p| series(name, &p))
            .unwrap_or_else(|| Series::new((*name).into(), Vec::<f64>::new()))
            .into_column())
    };
    let columns: PolarsResult<Vec<_>> = columns.iter().map(column).collect();
    columns.and_then(DataFrame::new_infer_height).map_err(|e| error(e.to_string()))
}

/// Arrow's arrays as one of polars.
fn series(name: &str, parts: &[&ArrayRef]) -> Series {
    let of = |kind: &DataType| parts.first().is_some_and(|p| p.data_type() == kind);
    if of(&DataType::Utf8) {
        let cells: Vec<Option<&str>> = parts.iter().flat_map(|p| p.as_string::<i32>().iter()).collect();
        Series::new(name.into(), cells)
    } else if of(&DataType::Int32) {
        Series::new(name.into(), parts.iter().flat_map(|p| p.as_primitive::<Int32Type>().iter()).collect::<Vec<_>>())
    } else if of(&DataType::Date32) {
        Series::new(name.into(), parts.iter().flat_map(|p| p.as_primitive::<Date32Type>().iter()).collect::<Vec<_>>())
    } else {
        let numbers = parts.iter().filter(|p| p.data_type() == &DataType::Float64);
        Series::new(name.into(), numbers.flat_map(|p| p.as_primitive::<Float64Type>().iter()).collect::<Vec<_>>())
    }
}
