//! Parquet: a log's record batch, or a data frame whose column names end in their units.

use std::collections::HashMap;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray, UInt32Array};
use arrow::datatypes::{DataType, Field, Schema};
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_writer::compute_leaves;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;
use polars::prelude::{Column, DataFrame, DataType as PolarsType, PolarsResult};
use rayon::prelude::*;

use super::whole_file::{WriteError, write_whole};
use crate::log::Log;

/// Rows of a row group: the default of Parquet's own writers.
const ROWS_PER_GROUP: usize = 1 << 20;

/// How the name of a table's column ends, and the unit that this stands for; the first match counts.
const UNITS_BY_ENDING: [(&str, &str); 14] = [
    ("_m_s2", "m/s²"),
    ("_m_s", "m/s"),
    ("_ratio", "1"),
    ("_share", "1"),
    ("_s", "s"),
    ("_mm", "mm"),
    ("_c", "°C"),
    ("_mohm", "mΩ"),
    ("_mah", "mAh"),
    ("_wh", "Wh"),
    ("_w", "W"),
    ("_v", "V"),
    ("revs", "1"),
    ("_rpm", "1/min"),
];

/// A log as the bytes of a Parquet file.
///
/// # Errors
/// The writer's reason, in words.
pub fn log_as_parquet(log: &Log) -> Result<Vec<u8>, String> {
    batch_as_parquet(log.batch())
}

/// A record batch as the bytes of a Parquet file, with the metadata of its schema and fields.
///
/// # Errors
/// The writer's reason, in words.
pub fn batch_as_parquet(batch: &RecordBatch) -> Result<Vec<u8>, String> {
    let properties =
        WriterProperties::builder().set_compression(Compression::SNAPPY).set_created_by("runtrue".to_owned()).build();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), Some(properties)).map_err(|e| e.to_string())?;
    if batch.num_rows() < ROWS_PER_GROUP {
        writer.write(batch).map_err(|e| e.to_string())?;
        writer.close().map_err(|e| e.to_string())?;
        return Ok(bytes);
    }
    let (mut file, groups) = writer.into_serialized_writer().map_err(|e| e.to_string())?;
    for (index, start) in (0..batch.num_rows()).step_by(ROWS_PER_GROUP).enumerate() {
        let rows = batch.slice(start, ROWS_PER_GROUP.min(batch.num_rows() - start));
        let columns = groups.create_column_writers(index).map_err(|e| e.to_string())?;
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

/// Writes a data frame to the Parquet file `path`, whole.
///
/// # Errors
/// [`WriteError`].
pub fn write_table(table: &DataFrame, path: &Path) -> Result<(), WriteError> {
    write_whole(path, |out| out.write_all(&table_as_parquet(table)?).map_err(|e| e.to_string()))
}

/// A data frame as the bytes of a Parquet file, the unit that a column's name ends in as field metadata `unit`.
///
/// # Errors
/// The writer's reason, in words.
pub fn table_as_parquet(table: &DataFrame) -> Result<Vec<u8>, String> {
    let columns: Vec<(Field, ArrayRef)> =
        table.columns().iter().map(arrow_column).collect::<PolarsResult<_>>().map_err(|e| e.to_string())?;
    let (fields, arrays): (Vec<Field>, Vec<ArrayRef>) = columns.into_iter().unzip();
    let batch = RecordBatch::try_new(Arc::new(Schema::new(fields)), arrays).map_err(|e| e.to_string())?;
    batch_as_parquet(&batch)
}

fn arrow_column(column: &Column) -> PolarsResult<(Field, ArrayRef)> {
    let series = column.as_materialized_series();
    let (kind, array): (DataType, ArrayRef) = match series.dtype() {
        PolarsType::String => (DataType::Utf8, Arc::new(series.str()?.iter().collect::<StringArray>())),
        PolarsType::UInt32 => (DataType::UInt32, Arc::new(series.u32()?.iter().collect::<UInt32Array>())),
        _ => (DataType::Float64, Arc::new(series.f64()?.iter().collect::<Float64Array>())),
    };
    let name = series.name().as_str();
    let unit = UNITS_BY_ENDING.into_iter().find(|(ending, _)| name.ends_with(ending));
    let metadata: HashMap<String, String> =
        unit.map(|(_, unit)| ("unit".to_owned(), unit.to_owned())).into_iter().collect();
    Ok((Field::new(name, kind, true).with_metadata(metadata), array))
}
