//! The season's data set on disk: `TABLE/year=Y/weekend=KEY/part-0.parquet`, Hive's way of naming partitions, which any engine reads as a data set.
//!
//! A partition is one weekend, and is written whole: a weekend that is gathered again replaces its files, and no other's.

use std::collections::{BTreeSet, HashMap};
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, Date32Array, Float64Array, Int32Array, RecordBatch, StringArray, new_null_array,
};
use arrow::datatypes::{DataType, Date32Type, Field, Float64Type, Int32Type, Schema};
use jiff::civil::Date;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use polars::prelude::{DataFrame, IntoColumn, NamedFrom, PolarsError, Series};
use serde_json::Value;

use super::gather::{Weekend, mark_of};
use super::schema::{Column, FOLDER, FORMAT, Kind, LOGS, RUNS, TABLES, Table};
use crate::storage::{WriteError, batch_as_parquet, sweep, write_whole};

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

    /// Its file of a table, from the data set's folder.
    pub fn file(&self, table: &Table) -> PathBuf {
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

impl ReadError {
    /// Of a table of a weekend, by what polars said.
    pub fn of(root: &Path, partition: &Partition, table: &Table, e: &PolarsError) -> Self {
        Self { path: root.join(partition.file(table)), message: e.to_string() }
    }
}

/// Writes a weekend's files into the data set at `root`. Its runs go last: a weekend is in the data set when it has them.
///
/// # Errors
/// [`WriteError`].
pub fn write(root: &Path, weekend: &Weekend) -> Result<(), WriteError> {
    let partition = Partition::of(weekend);
    let own = Source::of(weekend);
    let bytes = |(table, rows): &(Table, Vec<Value>)| {
        let path = root.join(partition.file(table));
        let bytes = batch(table, rows, &own).map_err(|e| e.to_string()).and_then(|b| batch_as_parquet(&b));
        match bytes {
            Ok(bytes) => Ok((path, bytes)),
            Err(message) => Err(WriteError::Format { path: path.display().to_string(), message }),
        }
    };
    // All are made before one is written: a weekend's tables are of two ages for as short a time as can be.
    for (path, bytes) in weekend.rows.iter().map(bytes).collect::<Result<Vec<_>, _>>()? {
        if let Some(folder) = path.parent() {
            let io = |source| WriteError::Io { path: path.display().to_string(), source };
            std::fs::create_dir_all(folder).map_err(io)?;
            sweep(folder);
        }
        write_whole(&path, |out| out.write_all(&bytes).map_err(|e| e.to_string()))?;
    }
    Ok(())
}

/// Whether there is a data set at `root`.
pub fn exists(root: &Path) -> bool {
    root.join(RUNS.name).exists()
}

/// Where a weekend of the data set came from.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Source {
    /// What stands for its folder.
    pub folder: String,
    /// Its logs, as [`Weekend::logs`].
    pub logs: BTreeSet<String>,
}

impl Source {
    /// Where a weekend that is gathered comes from.
    pub fn of(weekend: &Weekend) -> Self {
        Self { folder: mark_of(&weekend.folder), logs: weekend.logs.clone() }
    }
}

/// Where a weekend came from; `None` where its runs cannot be read.
pub fn source(root: &Path, partition: &Partition) -> Option<Source> {
    let file = File::open(root.join(partition.file(&RUNS))).ok()?;
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).ok()?;
    let said = |key: &str| builder.schema().metadata().get(key).cloned().unwrap_or_default();
    Some(Source { folder: said(FOLDER), logs: said(LOGS).split_terminator('\n').map(str::to_owned).collect() })
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
        path.ancestors().skip(1).take(2).take_while(|folder| std::fs::remove_dir(folder).is_ok()).for_each(drop);
    }
    Ok(())
}

fn batch(table: &Table, rows: &[Value], source: &Source) -> Result<RecordBatch, arrow::error::ArrowError> {
    let about = |pairs: &[(&str, &str)]| -> HashMap<String, String> {
        let said = pairs.iter().filter(|p| !p.1.is_empty());
        said.map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
    };
    let fields: Vec<Field> = table
        .columns
        .iter()
        .map(|c| Field::new(c.name, kind(c), true).with_metadata(about(&[("unit", c.unit), ("description", c.about)])))
        .collect();
    let logs = source.logs.iter().map(String::as_str).collect::<Vec<_>>().join("\n");
    let (folder, logs) = if *table == RUNS { (source.folder.as_str(), logs.as_str()) } else { ("", "") };
    let schema = Schema::new(fields).with_metadata(about(&[
        ("format", FORMAT),
        ("table", table.name),
        (LOGS, logs),
        (FOLDER, folder),
    ]));
    let columns = table.columns.iter().map(|c| array(c, rows)).collect();
    RecordBatch::try_new(Arc::new(schema), columns)
}

fn kind(column: &Column) -> DataType {
    match column.kind {
        Kind::Text => DataType::Utf8,
        Kind::Number => DataType::Float64,
        Kind::Whole => DataType::Int32,
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
    let height: usize = batches.iter().map(RecordBatch::num_rows).sum();
    let column = |column: &Column| {
        let parts: Vec<&ArrayRef> = batches.iter().filter_map(|b| b.column_by_name(column.name)).collect();
        match parts.iter().find(|p| p.data_type() != &kind(column)) {
            Some(odd) => Err(error(format!("`{}` is {}, not {}", column.name, odd.data_type(), kind(column)))),
            // A column that was added later is not in older files.
            None if parts.is_empty() => Ok(series(column, &[&new_null_array(&kind(column), height)])),
            None => Ok(series(column, &parts)),
        }
    };
    let asked = columns.iter().filter_map(|name| table.columns.iter().find(|c| c.name == *name));
    DataFrame::new(height, asked.map(column).collect::<Result<_, _>>()?).map_err(|e| error(e.to_string()))
}

/// Arrow's arrays as a column of polars.
fn series(column: &Column, parts: &[&ArrayRef]) -> polars::prelude::Column {
    let (name, all) = (column.name.into(), parts.iter());
    let series = match column.kind {
        Kind::Text => Series::new(name, all.flat_map(|p| p.as_string::<i32>()).collect::<Vec<_>>()),
        Kind::Number => Series::new(name, all.flat_map(|p| p.as_primitive::<Float64Type>()).collect::<Vec<_>>()),
        Kind::Whole => Series::new(name, all.flat_map(|p| p.as_primitive::<Int32Type>()).collect::<Vec<_>>()),
        Kind::Date => Series::new(name, all.flat_map(|p| p.as_primitive::<Date32Type>()).collect::<Vec<_>>()),
    };
    series.into_column()
}
