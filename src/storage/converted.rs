//! The mark of a log that `convert` wrote: it tells the copy from the recorder's own log, and says which log it is a
//! copy of, by the fingerprint of that log's bytes.
//!
//! In Parquet and Arrow it is in the metadata of the schema, as `format` and `source_fingerprint`. In CSV it is the
//! name of a last column that is empty in every row: `runtrue log 1 of 85944171f73967e8`. A comment line would be taken
//! for the header by readers that know no comments; an empty last column is read by all of them, and runtrue's own
//! reader takes it for the delimiter at the end of each line that some recorders write.
//!
//! A copy that somebody has changed still has the mark.
//!
//! ```
//! use runtrue::storage::{Converted, is_converted};
//!
//! let csv = "time_s,rpm,runtrue log 1 of 85944171f73967e8\n0,0,\n";
//! assert_eq!(Converted::of_csv(csv.as_bytes()), Some(Converted { source: Some(0x8594_4171_f739_67e8) }));
//! assert!(!is_converted(b"time_s,rpm\n0,0\n"));
//! ```

use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::Path;

use arrow::datatypes::Schema;
use arrow::ipc::reader::FileReader;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::fingerprint::{fnv_1a, fnv_1a_of_reader};
use crate::log::FORMAT;

/// Key of the source's fingerprint in the metadata of a schema.
pub(super) const SOURCE: &str = "source_fingerprint";
/// Beginning of the formats of normalised logs, without their version.
const FORMATS: &str = "runtrue log ";
/// Between format and fingerprint in the name of a CSV's last column.
const OF: &str = " of ";
/// A CSV's header is within this many bytes.
const HEAD_BYTES: u64 = 1 << 16;
/// Characters between the cells of a CSV: a spreadsheet may have written it again in its own way.
const DELIMITERS: [char; 4] = [',', ';', '\t', '|'];

/// What the mark of a converted log says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Converted {
    /// Fingerprint of the bytes of the log that it was converted from, [`fnv_1a`] of the whole file; `None` where the
    /// mark does not say, such as in the logs of a report.
    pub source: Option<u64>,
}

/// Whether the bytes of a CSV, or those at its start, are those of a log that `convert` wrote.
pub fn is_converted(csv: &[u8]) -> bool {
    Converted::of_csv(csv).is_some()
}

impl Converted {
    /// The mark for a log with these bytes. What was converted from a copy is a copy of the same log.
    pub fn from_log(bytes: &[u8]) -> Self {
        let source = Self::of_csv(bytes).and_then(|mark| mark.source);
        Self { source: source.or_else(|| Some(fnv_1a(bytes))) }
    }

    /// The mark for the log in a file, of which a piece at a time is held, as long as it `is_wanted`.
    ///
    /// # Errors
    /// If the file cannot be read, or the mark is no longer wanted.
    pub fn from_file(path: &Path, is_wanted: impl Fn() -> bool) -> io::Result<Self> {
        let (file, head) = open_with_head(path)?;
        let source = Self::of_csv(&head).and_then(|mark| mark.source);
        Ok(Self { source: Some(source.map_or_else(|| fnv_1a_of_reader(file, is_wanted), Ok)?) })
    }

    /// The mark in the bytes of a CSV, or in those at its start; `None` where it has none.
    pub fn of_csv(bytes: &[u8]) -> Option<Self> {
        let line = bytes.split(|&b| b == b'\n' || b == b'\r').next()?;
        let line = std::str::from_utf8(line).ok()?;
        let last = line.trim_end_matches(DELIMITERS).rsplit(DELIMITERS).next()?;
        let mark = last.trim().trim_matches('"').strip_prefix(FORMATS)?;
        let source = mark.split_once(OF).and_then(|(_, hex)| u64::from_str_radix(hex, 16).ok());
        Some(Self { source })
    }

    /// The mark in a file: a CSV, a Parquet or an Arrow file; `None` where it has none or is none of them.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn of_file(path: &Path) -> io::Result<Option<Self>> {
        let (file, head) = open_with_head(path)?;
        Ok(if head.starts_with(b"PAR1") {
            let parquet = ParquetRecordBatchReaderBuilder::try_new(file).ok();
            parquet.and_then(|parquet| Self::of_schema(parquet.schema()))
        } else if head.starts_with(b"ARROW1") {
            FileReader::try_new(file, None).ok().and_then(|arrow| Self::of_schema(&arrow.schema()))
        } else {
            Self::of_csv(&head)
        })
    }

    fn of_schema(schema: &Schema) -> Option<Self> {
        let metadata = schema.metadata();
        metadata.get("format").filter(|format| format.starts_with(FORMATS))?;
        let source = metadata.get(SOURCE).and_then(|hex| u64::from_str_radix(hex, 16).ok());
        Some(Self { source })
    }

    /// The fingerprint as the mark writes it.
    pub(super) fn source_text(self) -> Option<String> {
        self.source.map(|source| format!("{source:016x}"))
    }

    /// Name of the empty last column of a CSV.
    pub(super) fn column(self) -> String {
        self.source_text().map_or_else(|| FORMAT.to_owned(), |source| format!("{FORMAT}{OF}{source}"))
    }
}

/// A file at its start, and its first bytes.
fn open_with_head(path: &Path) -> io::Result<(File, Vec<u8>)> {
    let mut file = File::open(path)?;
    let mut head = Vec::new();
    (&mut file).take(HEAD_BYTES).read_to_end(&mut head)?;
    file.rewind()?;
    Ok((file, head))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    const MARK: u64 = 0x8594_4171_f739_67e8;

    #[rstest]
    #[case("time_s,rpm,runtrue log 1 of 85944171f73967e8\r\n0,0,\r\n", Some(Some(MARK)))]
    #[case("\u{feff}\"time_s\";\"rpm\";\"runtrue log 1 of 85944171f73967e8\"\n0;0;\n", Some(Some(MARK)))]
    #[case("time_s\trpm\truntrue log 1 of 85944171f73967e8\tnotes", None)]
    #[case("time_s,rpm,runtrue log 1,,\n", Some(None))]
    #[case("time_s,rpm,runtrue log 2 of nothing\n", Some(None))]
    #[case("time_s,rpm,voltage_v\n0,0,7.4\n", None)]
    #[case("time_s,rpm\n0,0\nruntrue log 1\n", None)]
    #[case("", None)]
    fn marks_of_csvs(#[case] csv: &str, #[case] source: Option<Option<u64>>) {
        assert_eq!(Converted::of_csv(csv.as_bytes()).map(|mark| mark.source), source);
    }

    #[test]
    fn a_copy_of_a_copy_is_a_copy_of_the_log() {
        let first = Converted::from_log(b"foobar");
        assert_eq!(first.source, Some(MARK));
        let copy = format!("time_s,{}\n0,\n", first.column());
        assert_eq!(Converted::from_log(copy.as_bytes()), first);
        let file = tempfile::NamedTempFile::new().unwrap();
        for bytes in [&b"foobar"[..], copy.as_bytes()] {
            std::fs::write(file.path(), bytes).unwrap();
            assert_eq!(Converted::from_file(file.path(), || true).unwrap(), first);
        }
    }
}
