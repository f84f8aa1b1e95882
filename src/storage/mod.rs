//! Files on disk, each written whole and renamed into place: logs as Parquet, Arrow or CSV, tables as
//! Parquet and CSV. Nothing
//! is written over a file that runtrue did not write.

mod converted;
mod csv_cells;
mod log_format;
mod own_file;
mod parquet;
mod whole_file;

pub use converted::{Converted, is_converted};
pub use csv_cells::batch_as_csv;
pub use log_format::{LogFormat, write_log_to};
pub use own_file::{Own, check_own, own_folder, standing, write_own};
pub use parquet::{batch_as_parquet, log_as_parquet};
pub use whole_file::{UNFINISHED, WaitingFile, WriteError, make_readable, sweep, write_new, write_whole};
