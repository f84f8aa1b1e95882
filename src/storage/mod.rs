//! Files on disk, each written whole and renamed into place: logs as Parquet, Arrow or CSV, tables as Parquet.

mod log_format;
mod parquet;
mod whole_file;

pub use log_format::{LogFormat, write_log, write_log_to};
pub use parquet::{batch_as_parquet, log_as_parquet};
pub use whole_file::{UNFINISHED, WriteError, make_readable, sweep, write_whole};
