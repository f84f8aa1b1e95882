//! A new figure is one entry: one in a scratch catalogue is in the tables, in `review.json`, in the season, in trends
//! and
//! in what changes did. (That a new sheet key is one entry is held in `src/sheet/`.)

use std::path::Path;

use arrow::array::{Array, AsArray};
use arrow::datatypes::Float64Type;
use runtrue::figure::{Figure, Reading, Used};
use runtrue::report::tables;
use runtrue::review::{Review, review};
use runtrue::review_file::{read, written};
use runtrue::season::{schema, tabulate};
use runtrue::weekend::conclude::conclude;
use runtrue::weekend::kept_conclusions::KeptConclusions;

/// Laps driven, as nobody has asked for yet.
static SCRATCH: &[Figure] = &[Figure {
    key: "laps_driven",
    column: "laps_driven_count",
    about: "laps driven, also those that do not count",
    label: "laps driven",
    used: Used { in_trends: true, in_effects: true },
    read: |run| Some(Reading::plain(run.done()?.laps.rows.len() as f64, 0.5)),
    ..Figure::PLAIN
}];

fn sample() -> Review {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
    review(&folder, &|_, _| {}).unwrap()
}

#[test]
fn a_figure_of_one_entry_is_everywhere() {
    let review = sample();
    let driven: Vec<f64> = review.runs.iter().map(|r| r.done().unwrap().laps.rows.len() as f64).collect();

    let settled = review.runs.iter().map(|r| r.run.clone()).collect();
    let concluded = conclude(settled, &review.sheet, SCRATCH, &mut KeptConclusions::default());
    assert!(concluded.trends.iter().any(|t| t.car == "tourer" && t.of.key == "laps_driven" && t.values == driven[..6]));
    let effect = concluded.comparisons.iter().flat_map(|c| &c.effects).find(|e| e.of.label == "laps driven");
    assert!(effect.unwrap().from.is_some());

    let table = tables::runs(&review, SCRATCH).unwrap();
    let column = table.column_by_name("laps_driven_count").unwrap().as_primitive::<Float64Type>();
    assert_eq!(column.values().to_vec(), driven);
    let field = table.schema().field_with_name("laps_driven_count").unwrap().clone();
    assert_eq!((field.metadata()["unit"].as_str(), column.null_count()), ("1", 0));

    let text = written::pretty(&written::review_file_with(&review, SCRATCH));
    let stored = read::read(&text).unwrap();
    let weekend = tabulate::weekend(Path::new("club"), stored, SCRATCH).unwrap();
    let figures: Vec<f64> = weekend.rows.figures.iter().filter_map(|f| f.row.estimate.value).collect();
    assert_eq!(figures, driven);
    assert!(schema::runs(SCRATCH).columns.iter().any(|c| c.name == "laps_driven_count" && c.unit == "1"));
}
