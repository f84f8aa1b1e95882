//! From a weekend's review to rows of the season's tables.

use std::path::Path;

use jiff::civil::Date;

use super::partition::{Origin, Partition};
use super::rows::{EffectRow, EventRow, FigureRow, KeyRow, RowOfRun, Rows, RunRow, Weekend};
use crate::figure::Figure;
use crate::notice::printable;
use crate::review_file::stored::{
    SettingFile, StoredComparison, StoredEstimate, StoredLap, StoredReview, StoredRun, StoredWeekend,
};
use crate::sheet::starter;

/// A season has an order, and this weekend has no date.
#[derive(Debug, Clone, PartialEq)]
pub struct NoDate {
    /// What is written in place of one; empty where nothing is.
    pub written: String,
}

/// The weekend in `folder` whose review is `review`, with the figures of `catalogue`.
///
/// # Errors
/// [`NoDate`] where the review's date is missing or cannot be read.
pub fn weekend(folder: &Path, review: StoredReview, catalogue: &[Figure]) -> Result<Weekend, NoDate> {
    let StoredReview { weekend, runs, comparisons } = review;
    let written = weekend.date.as_deref().unwrap_or_default();
    let date = written.get(..10).and_then(|day| day.parse().ok());
    let date: Date = date.ok_or_else(|| NoDate { written: printable(written, 40) })?;
    let name = weekend.name.clone().filter(|name| !name.trim().is_empty()).unwrap_or_else(|| starter::name_of(folder));
    let partition = Partition::new(date, &name);
    let origin = Origin::new(folder, &runs);
    let effects = comparisons.iter().flat_map(|c| effect_rows(date, c)).collect();
    let mut rows = Rows { effects, ..Rows::default() };
    for (index, run) in runs.into_iter().enumerate() {
        let figures = figure_rows(&run, catalogue);
        add(&mut rows, RunRow { figures, ..run_row(date, &name, &weekend, index, run) });
    }
    Ok(Weekend { partition, origin, reviewed_anew: false, rows })
}

/// Adds a run and all that belongs to it.
fn add(rows: &mut Rows, run: RunRow) {
    rows.laps.extend(run.run.laps.iter().flat_map(|laps| &laps.rows).map(|lap| row_of(&run, lap.clone())));
    let events = run.run.wheelspin.iter().flat_map(|spins| &spins.events);
    rows.events.extend(events.map(|event| row_of(&run, EventRow { kind: "wheelspin", event: event.clone() })));
    rows.figures.extend(run.figures.iter().map(|figure| row_of(&run, figure.clone())));
    rows.keys.extend(run.run.settings.iter().map(|(key, value)| {
        let text = value.as_ref().map_or(String::new(), SettingFile::to_string);
        row_of(&run, KeyRow { key: key.clone(), value: value.clone(), text })
    }));
    rows.runs.push(run);
}

/// The figures of a run that are in the catalogue, in its order.
fn figure_rows(run: &StoredRun, catalogue: &[Figure]) -> Vec<FigureRow> {
    let row = |figure: &Figure| {
        let estimate = *run.figures.get(figure.key)?;
        Some(FigureRow { column: figure.column, unit: figure.unit, estimate })
    };
    catalogue.iter().filter_map(row).collect()
}

/// A row that belongs to `run`.
fn row_of<T>(run: &RunRow, row: T) -> RowOfRun<T> {
    RowOfRun { date: run.date, run: run.run.id.clone(), car: run.run.car.clone(), row }
}

fn run_row(date: Date, name: &str, weekend: &StoredWeekend, index: usize, run: StoredRun) -> RunRow {
    let named = |key: &str| {
        let setting = run.settings.get(key).and_then(Option::as_ref).map(SettingFile::to_string);
        setting.or_else(|| run.car.clone()).filter(|name| !name.is_empty())
    };
    let counted = |rows: &[StoredLap]| rows.iter().filter(|lap| lap.set_aside.is_none()).count();
    RunRow {
        date,
        name: name.to_owned(),
        track: weekend.track.clone().unwrap_or_else(|| name.to_owned()),
        page: None,
        surface: weekend.surface.clone(),
        position: i32::try_from(index + 1).unwrap_or(i32::MAX),
        motor: named("motor.name"),
        pack: named("battery.name"),
        figures: Vec::new(),
        laps_counted: run.laps.as_ref().and_then(|laps| counted(&laps.rows).try_into().ok()),
        run,
    }
}

fn effect_rows(date: Date, comparison: &StoredComparison) -> impl Iterator<Item = EffectRow> {
    let text = |value: &Option<SettingFile>| value.as_ref().map(SettingFile::to_string);
    let together = comparison.together_with.join(", ");
    let all = EffectRow {
        date,
        car: comparison.car.clone(),
        key: comparison.key.clone(),
        from: text(&comparison.from),
        to: text(&comparison.to),
        figure: None,
        difference: StoredEstimate::default(),
        together_with: Some(together).filter(|keys| !keys.is_empty()),
    };
    comparison.effects.iter().filter_map(move |effect| {
        Some(EffectRow { figure: effect.of.clone(), difference: effect.difference?, ..all.clone() })
    })
}
