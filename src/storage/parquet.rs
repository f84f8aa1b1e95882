//! Parquet: the record batch of a log or of a table.

use arrow::array::RecordBatch;
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_writer::compute_leaves;
use parquet::basic::{Compression, Encoding};
use parquet::file::properties::WriterProperties;
use rayon::prelude::*;

use crate::log::{Channel, Log};

/// What a file's footer says of the program that made it.
pub(super) const CREATOR: &str = "runtrue";
/// Rows of a row group: the default of Parquet's own writers.
const ROWS_PER_GROUP: usize = 1 << 20;

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
    let properties = properties();
    // Mostly enough: to grow would copy what is written, and take its room again.
    let mut bytes = Vec::with_capacity(batch.get_array_memory_size() / 2);
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

/// How columns are written. No two times are the same, so that a dictionary of them would be as long as they are; their
/// bytes by significance hardly change from row to row (encoding `BYTE_STREAM_SPLIT` of the Apache Parquet format),
/// which halves a log.
fn properties() -> WriterProperties {
    let time = || Channel::Time.field().into();
    WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_created_by(CREATOR.to_owned())
        .set_column_dictionary_enabled(time(), false)
        .set_column_encoding(time(), Encoding::BYTE_STREAM_SPLIT)
        .build()
}
