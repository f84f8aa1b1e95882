//! Which weekend of the data set is which: the names of its folders, and the logs that it was made of.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::civil::Date;

use crate::fingerprint::{fingerprint, fnv_1a};
use crate::review_file::stored::StoredRun;

/// Longest name of a weekend's partition, characters: with a table's name and the year before it, it stays below the
/// 255 that file systems allow.
const LONGEST_NAME: usize = 80;
/// A weekend's file in its partition.
pub(super) const PART: &str = "part-0.parquet";

/// A weekend in the data set, as its folders name it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Partition {
    /// Year.
    pub year: i16,
    /// Day and name, in letters, digits and dashes.
    pub weekend: String,
}

impl Partition {
    /// The partition of the weekend called `name` on `date`.
    pub fn new(date: Date, name: &str) -> Self {
        Self { year: date.year(), weekend: partition_name(date, name) }
    }

    /// Its file of the table called `table`, from the data set's folder.
    pub fn file(&self, table: &str) -> PathBuf {
        Path::new(table).join(format!("year={}", self.year)).join(format!("weekend={}", self.weekend)).join(PART)
    }
}

/// Day and name in letters, digits and dashes: a folder's name on any system, and a partition's for any engine. A name
/// that does not fit into them gets a number made of it, so that it is not taken for another.
fn partition_name(date: Date, name: &str) -> String {
    let day = date.to_string();
    let lower = name.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_ascii_alphanumeric()).filter(|w| !w.is_empty()).collect();
    let plain = [day.as_str()].into_iter().chain(words.iter().copied()).collect::<Vec<_>>().join("-");
    if !words.is_empty() && plain.len() <= LONGEST_NAME && lower.is_ascii() {
        return plain;
    }
    let number = fnv_1a(name.as_bytes());
    format!("{}-{number:016x}", &plain[..plain.len().min(LONGEST_NAME - 17)])
}

/// Where a weekend of the data set came from.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Origin {
    /// A number that stands for its folder.
    pub folder: String,
    /// Its logs that could be read, each by what [`log_identity`] says of it.
    pub logs: BTreeSet<String>,
}

impl Origin {
    /// Of a weekend in `folder` with these runs.
    pub fn new(folder: &Path, runs: &[StoredRun]) -> Self {
        let real = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
        let logs = runs.iter().filter(|run| run.error.is_none()).map(log_identity).collect();
        Self { folder: fingerprint(&real.to_string_lossy()), logs }
    }
}

/// A run's log by its name, rows and duration, and by figures that no change of the sheet can move: the same weekend
/// is recognised by them under another name or date. Stored in the data set, so what goes in and how it is written
/// must stay.
fn log_identity(run: &StoredRun) -> String {
    let (reading, battery, heat) = (run.reading.as_ref(), run.battery.as_ref(), run.heat.as_ref());
    let figures = [
        reading.and_then(|r| r.rows_in),
        reading.and_then(|r| r.duration_s),
        battery.and_then(|b| b.used_wh),
        battery.and_then(|b| b.used_mah),
        battery.and_then(|b| b.lowest_v),
        heat.and_then(|h| h.motor.peak_c),
        heat.and_then(|h| h.controller.peak_c),
        run.power.as_ref().and_then(|p| p.top_rpm),
    ];
    let name = run.log.as_deref().unwrap_or_default().replace([':', '\n'], "_");
    figures.iter().fold(name, |identity, figure| identity + ":" + &figure.map_or(String::new(), |f| f.to_string()))
}
