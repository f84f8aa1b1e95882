//! A weekend in plain form: its sheet as a document, its logs as tables of numbers, its lists as text. Faults are put
//! on this form, whatever world the weekend comes from, and it is laid out in a folder for the review.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use runtrue::import::read_bytes;
use runtrue::laps::lists;
use runtrue::log::Channel;
use toml_edit::{DocumentMut, Item, Table, value};

/// File name of the sheet.
const SHEET: &str = "weekend.toml";

/// A column of a log.
#[derive(Clone)]
pub struct Column {
    /// As written.
    pub header: String,
    /// What it measures; `None` for a column that no channel is made of.
    pub channel: Option<Channel>,
    /// Decimals of its cells.
    pub decimals: usize,
    /// A number for each row; NaN for an empty cell.
    pub values: Vec<f64>,
}

/// A log as a table.
#[derive(Clone)]
pub struct Record {
    /// Its columns in order.
    pub columns: Vec<Column>,
    /// Seconds of each row since the first.
    pub time_s: Vec<f64>,
}

impl Record {
    /// Reads a log in UTF-8 with a header and a comma between its numbers. Which column is which channel, and what a
    /// row's time is, comes from the reader of the program itself: it is tested elsewhere.
    fn parse(path: &str, bytes: &[u8]) -> Self {
        let mut logs = read_bytes(Path::new(path), bytes, &Default::default()).unwrap();
        assert_eq!(logs.len(), 1, "{path} holds several runs");
        let log = logs.remove(0);
        let text = String::from_utf8_lossy(bytes);
        let mut lines = text.trim_start_matches('\u{feff}').lines();
        let header: Vec<&str> = lines.next().unwrap().split(',').collect();
        let mut columns: Vec<Column> = header
            .iter()
            .map(|h| Column {
                header: (*h).to_owned(),
                channel: log.reading.channels.iter().find(|s| s.column == *h).map(|s| s.channel),
                decimals: 0,
                values: Vec::new(),
            })
            .collect();
        for line in lines {
            for (column, cell) in columns.iter_mut().zip(line.split(',')) {
                let decimals = cell.split_once('.').map_or(0, |(_, d)| d.len());
                column.decimals = column.decimals.max(decimals);
                column.values.push(cell.trim().parse().unwrap_or(f64::NAN));
            }
        }
        let rows = columns[0].values.len();
        assert!(columns.iter().all(|c| c.values.len() == rows), "{path} is not a table");
        assert!(log.rows() == rows, "{path}: {} of {rows} rows were kept", log.rows());
        Self { columns, time_s: log.time().to_vec() }
    }

    /// The column of a channel.
    pub fn column(&mut self, channel: Channel) -> Option<&mut Column> {
        self.columns.iter_mut().find(|c| c.channel == Some(channel))
    }

    /// A channel's numbers as they are written.
    pub fn values(&self, channel: Channel) -> Option<&[f64]> {
        self.columns.iter().find(|c| c.channel == Some(channel)).map(|c| c.values.as_slice())
    }

    /// The first row at or after this share of the log's time.
    pub fn row_at(&self, share: f64) -> usize {
        let wanted = share * self.time_s.last().copied().unwrap_or(0.0);
        self.time_s.partition_point(|t| *t < wanted)
    }

    fn bytes(&self) -> Vec<u8> {
        let heads: Vec<&str> = self.columns.iter().map(|c| c.header.as_str()).collect();
        let mut text = heads.join(",") + "\n";
        for row in 0..self.time_s.len() {
            for (n, column) in self.columns.iter().enumerate() {
                let (comma, cell, decimals) = (if n > 0 { "," } else { "" }, column.values[row], column.decimals);
                text += comma;
                if cell.is_finite() {
                    text += &format!("{cell:.decimals$}");
                }
            }
            text.push('\n');
        }
        text.into_bytes()
    }
}

/// A run of the sheet.
#[derive(Clone)]
pub struct Run {
    pub id: String,
    pub car: String,
    /// Path of its log.
    pub log: String,
    /// Path of its list.
    pub laps: Option<String>,
    /// The log.
    pub record: Arc<Record>,
}

/// The weekend.
#[derive(Clone)]
pub struct Weekend {
    /// Its sheet.
    pub sheet: DocumentMut,
    /// Logs and lists by their paths.
    pub files: BTreeMap<String, Arc<Vec<u8>>>,
    /// The runs of the sheet as they were read.
    pub runs: Vec<Run>,
}

impl Weekend {
    /// Reads the weekend in `folder`.
    pub fn load(folder: &Path) -> Self {
        let sheet: DocumentMut = std::fs::read_to_string(folder.join(SHEET)).unwrap().parse().unwrap();
        let mut files = BTreeMap::new();
        let mut runs = Vec::new();
        for run in sheet["runs"].as_array_of_tables().unwrap() {
            let text = |key: &str| run.get(key).and_then(Item::as_str).map(str::to_owned);
            let (log, laps) = (text("log").unwrap(), text("laps"));
            for path in [Some(&log), laps.as_ref()].into_iter().flatten() {
                files.insert(path.clone(), Arc::new(std::fs::read(folder.join(path)).unwrap()));
            }
            let record = Arc::new(Record::parse(&log, &files[&log]));
            runs.push(Run { id: text("id").unwrap(), car: text("car").unwrap(), log, laps, record });
        }
        Self { sheet, files, runs }
    }

    /// Changes the log of the run at `index`; `None` where `change` finds nothing to change.
    pub fn edit_log(&mut self, index: usize, change: impl FnOnce(&mut Record) -> Option<()>) -> Option<()> {
        let run = &mut self.runs[index];
        let mut record = (*run.record).clone();
        change(&mut record)?;
        self.files.insert(run.log.clone(), Arc::new(record.bytes()));
        run.record = Arc::new(record);
        Some(())
    }

    /// Lap times of the run's list, s.
    pub fn lap_times(&self, index: usize) -> Option<Vec<f64>> {
        let bytes = &self.files[self.runs[index].laps.as_ref()?];
        let passings = lists::parse(&String::from_utf8_lossy(bytes)).unwrap().passings;
        Some(passings.windows(2).map(|w| w[1] - w[0]).collect())
    }

    /// Puts another list in the place of the run's own.
    pub fn set_lap_times(&mut self, index: usize, times: &[f64]) -> Option<()> {
        let lines: String = times.iter().enumerate().map(|(n, t)| format!("{},{t:.3}\n", n + 1)).collect();
        let path = self.runs[index].laps.clone()?;
        self.files.insert(path, Arc::new(format!("lap,time\n{lines}").into_bytes()));
        Some(())
    }

    /// A number of the sheet as it holds for the run at `index`.
    pub fn number(&self, index: usize, path: &str) -> Option<f64> {
        let car = self.sheet.get("cars")?.get(&self.runs[index].car);
        [self.sheet["runs"].get(index), car].into_iter().flatten().find_map(|table| {
            let item = path.split('.').try_fold(table, |at, key| at.get(key))?;
            item.as_float().or(item.as_integer().map(|i| i as f64))
        })
    }

    /// Air of the run at `index`, °C.
    pub fn air_c(&self, index: usize) -> Option<f64> {
        self.number(index, "ambient_c")
    }

    /// Writes a number into the table of a car, and over it in each of the car's runs that has its own.
    pub fn set_car(&mut self, car: &str, path: &str, number: f64) {
        set(&mut self.sheet["cars"][car], path, value(number));
        for (index, run) in self.runs.iter().enumerate().filter(|(_, r)| r.car == car) {
            let table = &mut self.sheet["runs"][index];
            if path.split('.').try_fold(&*table, |at, key| at.get(key)).is_some() {
                set(table, path, value(number));
            }
            debug_assert_eq!(run.car, car);
        }
    }

    /// Writes an entry of the run at `index`.
    pub fn set_run(&mut self, index: usize, path: &str, item: Item) {
        set(&mut self.sheet["runs"][index], path, item);
    }

    /// The runs of the same car as the run at `index`, that run among them.
    pub fn of_same_car(&self, index: usize) -> Vec<usize> {
        (0..self.runs.len()).filter(|n| self.runs[*n].car == self.runs[index].car).collect()
    }
}

fn set(table: &mut Item, path: &str, item: Item) {
    let mut at = table;
    for key in path.split('.') {
        if at.is_none() {
            *at = Item::Table(Table::new());
        }
        at = &mut at[key];
    }
    *at = item;
}

/// A folder that weekends are laid out in, one after the other: files that are the same stay untouched.
pub struct Folder {
    folder: tempfile::TempDir,
    laid: BTreeMap<String, Arc<Vec<u8>>>,
}

impl Folder {
    /// An empty folder.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap(), laid: BTreeMap::new() }
    }

    /// Lays out `weekend` in place of the one before.
    pub fn lay(&mut self, weekend: &Weekend) -> &Path {
        let root = self.folder.path();
        for path in self.laid.keys().filter(|p| !weekend.files.contains_key(*p)) {
            std::fs::remove_file(root.join(path)).unwrap();
        }
        for (path, bytes) in &weekend.files {
            if self.laid.get(path).is_none_or(|old| !Arc::ptr_eq(old, bytes)) {
                let place = root.join(path);
                std::fs::create_dir_all(place.parent().unwrap()).unwrap();
                std::fs::write(place, &**bytes).unwrap();
            }
        }
        self.laid.clone_from(&weekend.files);
        std::fs::write(root.join(SHEET), weekend.sheet.to_string()).unwrap();
        root
    }
}
