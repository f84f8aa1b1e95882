//! The rows of the season's tables, for one weekend.

use jiff::civil::Date;

use super::partition::{Origin, Partition};
use crate::review_file::stored::{SettingFile, StoredEstimate, StoredEvent, StoredLap, StoredRun};

/// A weekend as the season takes it in.
#[derive(Debug, Clone, PartialEq)]
pub struct Weekend {
    /// Its folders in the data set.
    pub partition: Partition,
    /// Where it came from.
    pub origin: Origin,
    /// Whether it had to be reviewed.
    pub reviewed_anew: bool,
    /// Its rows.
    pub rows: Rows,
}

impl Weekend {
    /// With the link to its page in the rows of its runs.
    pub fn with_page(mut self, page: Option<String>) -> Self {
        self.rows.runs.iter_mut().for_each(|run| run.page.clone_from(&page));
        self
    }
}

/// The rows of each table.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Rows {
    /// One row a run.
    pub runs: Vec<RunRow>,
    /// One row a lap.
    pub laps: Vec<RowOfRun<StoredLap>>,
    /// One row an event.
    pub events: Vec<RowOfRun<EventRow>>,
    /// One row a figure.
    pub figures: Vec<RowOfRun<FigureRow>>,
    /// One row a key of the sheet and run.
    pub keys: Vec<RowOfRun<KeyRow>>,
    /// One row an effect.
    pub effects: Vec<EffectRow>,
}

/// A row of the table of runs.
#[derive(Debug, Clone, PartialEq)]
pub struct RunRow {
    /// Day of the weekend.
    pub date: Date,
    /// The weekend's name.
    pub name: String,
    /// The track's name; the weekend's where the sheet has none.
    pub track: String,
    /// The weekend's page, from the data set's folder ([`super::page_link`]).
    pub page: Option<String>,
    /// Surface on the sheet.
    pub surface: Option<String>,
    /// Place of the run in its weekend, from 1.
    pub position: i32,
    /// The motor's name; the car's key where the sheet has none.
    pub motor: Option<String>,
    /// The pack's name; the car's key where the sheet has none.
    pub pack: Option<String>,
    /// Laps that count.
    pub laps_counted: Option<i32>,
    /// Its figures.
    pub figures: Vec<FigureRow>,
    /// The run's part of the review.
    pub run: StoredRun,
}

impl RunRow {
    /// The value of the figure that has this column.
    pub fn figure(&self, column: &str) -> Option<f64> {
        self.figures.iter().find(|figure| figure.column == column)?.estimate.value
    }
}

/// A row that belongs to a run.
#[derive(Debug, Clone, PartialEq)]
pub struct RowOfRun<T> {
    /// Day of the weekend.
    pub date: Date,
    /// The run's id.
    pub run: Option<String>,
    /// The run's car.
    pub car: Option<String>,
    /// What the row says.
    pub row: T,
}

/// Something that happened at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRow {
    /// What happened.
    pub kind: &'static str,
    /// When and where.
    pub event: StoredEvent,
}

/// A figure of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct FigureRow {
    /// Its column in the catalogue, with its unit at the end.
    pub column: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// It and its interval.
    pub estimate: StoredEstimate,
}

/// A key of the sheet as it holds for a run.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyRow {
    /// The dotted key.
    pub key: String,
    /// Its value; `None` where it is a number that JSON cannot hold.
    pub value: Option<SettingFile>,
    /// The same as text.
    pub text: String,
}

impl KeyRow {
    /// The value where it is a number.
    pub fn number(&self) -> Option<f64> {
        match self.value {
            Some(SettingFile::Number(number)) => Some(number),
            _ => None,
        }
    }
}

/// What a changed key did to a figure.
#[derive(Debug, Clone, PartialEq)]
pub struct EffectRow {
    /// Day of the weekend.
    pub date: Date,
    /// The car.
    pub car: Option<String>,
    /// The key that changed.
    pub key: Option<String>,
    /// Its first value.
    pub from: Option<String>,
    /// Its other value.
    pub to: Option<String>,
    /// The figure.
    pub figure: Option<String>,
    /// The figure with the other value less the figure with the first.
    pub difference: StoredEstimate,
    /// Keys that changed in the same runs, comma between.
    pub together_with: Option<String>,
}
