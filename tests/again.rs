//! A folder that is reviewed again after each change says what a first review of it says: what is kept of runs that did
//! not change hides no change.

mod copied;

use std::fs;
use std::path::Path;

use copied::copy;
use rstest::rstest;
use runtrue::kept::KeptRuns;
use runtrue::report::{pages, view};
use runtrue::review::{Review, review, review_again};
use runtrue::review_file::written;
use runtrue::units::Units;

/// Text of the sample's sheet, and what is written in its place.
type Change = (&'static str, &'static str);

const NOTE: Change = ("id = \"t1\"", "id = \"t1\"\nnote = \"new tyres\"");
const TYRE: Change = ("tyre_diameter_mm = 63.0", "tyre_diameter_mm = 62.2");

#[rstest]
#[case::note(&[NOTE])]
#[case::pinion(&[("pinion = 31", "pinion = 32")])]
#[case::tyre(&[TYRE])]
#[case::tyre_and_back(&[TYRE, (TYRE.1, TYRE.0)])]
#[case::air(&[("ambient_c = 24", "ambient_c = 29")])]
#[case::lap_length(&[("lap_length_m = 214.0", "lap_length_m = 212.5")])]
#[case::fan(&[("fan_mm = 30\n", "")])]
#[case::poles(&[("poles = 2", "poles = 4")])]
#[case::name(&[("id = \"t2\"", "id = \"practice\"")])]
#[case::other_laps(&[("laps/t2.csv", "laps/t3.csv"), ("laps/t3.csv", "laps/t2.csv")])]
#[case::other_log(&[("logs/t2.csv", "logs/t1.csv")])]
#[case::one_log_twice(&[("[[runs]]\nid = \"t1\"", "[[runs]]\nid = \"t0\"\ncar = \"tourer\"\nlog = \"logs/t1.csv\"\n\n[[runs]]\nid = \"t1\"")])]
#[case::race(&[("length_s = 300", "length_s = 480")])]
#[case::one_after_the_other(&[NOTE, ("pinion = 31", "pinion = 30"), ("new tyres", "newer tyres"), ("turns = 4.5", "turns = 5.5")])]
fn what_was_kept_hides_no_change(#[case] changes: &[Change]) {
    let folder = tempfile::tempdir().unwrap();
    copy(Path::new("sample-logs/alder-quay"), folder.path());
    let path = folder.path().join("weekend.toml");
    let mut sheet = fs::read_to_string(&path).unwrap();
    let mut kept = KeptRuns::default();
    review_again(folder.path(), &mut kept, &|_, _| {}).unwrap();
    for (text, instead) in changes {
        assert!(sheet.contains(text), "{text}");
        sheet = sheet.replacen(text, instead, 1);
        fs::write(&path, &sheet).unwrap();
        let again = said(&review_again(folder.path(), &mut kept, &|_, _| {}).unwrap());
        let first = said(&review(folder.path(), &|_, _| {}).unwrap());
        let differs = again.lines().zip(first.lines()).find(|(again, first)| again != first);
        assert!(again == first, "{text} to {instead}: {differs:?}");
    }
}

/// All that a review says: `review.json` and the pages of a run of each car.
fn said(review: &Review) -> String {
    let page = |index: usize| pages::run(&view::run(review, index), Units::Metric).unwrap();
    [written::text(review), page(0), page(1), page(review.runs.len() - 1)].join("\n")
}
