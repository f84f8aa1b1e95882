//! The report's tables, Arrow record batches with units in the field metadata: one row a lap, one row a run with every
//! figure of the catalogue.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray, UInt32Array};
use arrow::datatypes::{DataType, Field, Schema};
use arrow::error::ArrowError;

use crate::figure::Figure;
use crate::laps::Lap;
use crate::notice::Failure;
use crate::review::Review;
use crate::units::{Notation, in_notation};
use crate::weekend::concluded_run::ConcludedRun;

/// Key of the unit in a field's metadata.
const UNIT: &str = "unit";

/// One row a lap of the runs that could be reviewed.
///
/// # Errors
/// If arrow cannot put the columns together.
pub fn laps(review: &Review) -> Result<RecordBatch, ArrowError> {
    let laps: Vec<(&ConcludedRun, &Lap)> = review
        .runs
        .iter()
        .filter_map(|run| Some((run, run.done()?)))
        .flat_map(|(run, done)| done.laps.rows.iter().map(move |lap| (run, lap)))
        .collect();
    let number = |take: fn(&Lap) -> f64| numbers(laps.iter().map(|(_, lap)| Some(take(lap))));
    let numbering: ArrayRef = Arc::new(UInt32Array::from_iter_values(laps.iter().map(|(_, lap)| lap.number)));
    batch(vec![
        (Field::new("run", DataType::Utf8, false), texts(laps.iter().map(|(run, _)| Some(run.plan().id.as_str())))),
        (Field::new("car", DataType::Utf8, false), texts(laps.iter().map(|(run, _)| Some(run.plan().car.as_str())))),
        (Field::new("lap", DataType::UInt32, false), numbering),
        (with_unit("start_s", "s"), number(|lap| lap.start_s)),
        (with_unit("end_s", "s"), number(|lap| lap.end_s)),
        (with_unit("time_s", "s"), number(Lap::time_s)),
        (with_unit("revs", "1"), number(|lap| lap.turns)),
        (
            Field::new("set_aside", DataType::Utf8, true),
            texts(laps.iter().map(|(_, lap)| lap.set_aside.map(|reason| reason.words()))),
        ),
    ])
}

/// One row a run: its figures by the columns of `catalogue`, null where it does not have them.
///
/// # Errors
/// If arrow cannot put the columns together.
pub fn runs(review: &Review, catalogue: &[Figure]) -> Result<RecordBatch, ArrowError> {
    let runs = &review.runs;
    let message = |failure: &Failure| in_notation(&failure.message, Notation::Stored);
    let errors: ArrayRef = Arc::new(runs.iter().map(|r| r.failure().map(message)).collect::<StringArray>());
    let mut columns = vec![
        (Field::new("run", DataType::Utf8, false), texts(runs.iter().map(|r| Some(r.plan().id.as_str())))),
        (Field::new("car", DataType::Utf8, false), texts(runs.iter().map(|r| Some(r.plan().car.as_str())))),
        (Field::new("error", DataType::Utf8, true), errors),
        (with_unit("ambient_c", "°C"), numbers(runs.iter().map(|r| r.plan().ambient_c))),
    ];
    columns.extend(catalogue.iter().map(|figure| {
        let values = runs.iter().map(|r| (figure.read)(&r.run).map(|reading| reading.value));
        (with_unit(figure.column, figure.unit), numbers(values))
    }));
    batch(columns)
}

fn with_unit(name: &str, unit: &str) -> Field {
    let metadata = HashMap::from([(UNIT.to_owned(), unit.to_owned())]);
    Field::new(name, DataType::Float64, true).with_metadata(metadata)
}

fn numbers(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<Float64Array>())
}

fn texts<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

fn batch(columns: Vec<(Field, ArrayRef)>) -> Result<RecordBatch, ArrowError> {
    let (fields, arrays): (Vec<Field>, Vec<ArrayRef>) = columns.into_iter().unzip();
    RecordBatch::try_new(Arc::new(Schema::new(fields)), arrays)
}
