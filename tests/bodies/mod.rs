//! What must hold of whatever comes in, for `any_bytes` (every CI run) and the fuzz targets in `tests/fuzz` (by the
//! hour).

use std::path::Path;

use runtrue::import::columns::Hints;
use runtrue::import::read_bytes;
use runtrue::laps::odometer::Odometer;
use runtrue::laps::{lists, typed};
use runtrue::{laps, sheet};

/// Any bytes give logs whose clocks run forwards and whose laps follow each other, or an error that says something.
#[allow(dead_code)] // each fuzz target takes one of them
pub fn log(bytes: &[u8]) {
    match read_bytes(Path::new("x.csv"), bytes, &Hints::default()) {
        Ok(logs) => {
            for log in logs {
                assert!(log.rows() >= 10);
                assert!(log.time().windows(2).all(|w| w[1] > w[0]));
                assert!(log.reading.rows_kept <= log.reading.rows_in);
                let laps = laps::measure(Odometer::new(&log), None, None);
                assert!(laps.rows.windows(2).all(|w| w[0].end_s <= w[1].start_s + 1e-9));
            }
        }
        Err(e) => assert!(!e.to_string().is_empty()),
    }
}

/// Any text is a list whose passings follow each other, or an error.
#[allow(dead_code)]
pub fn lap_list(text: &str) {
    if let Ok(laps) = typed::read(text) {
        assert!(!laps.times_s.is_empty() && laps.times_s.iter().all(|s| s.is_finite() && *s > 0.0), "{laps:?}");
    }
    if let Ok(list) = lists::parse(text) {
        assert!(list.passings.windows(2).all(|w| w[1] > w[0]), "{:?}", list.passings);
        assert!(list.passings.iter().all(|p| p.is_finite()), "{:?}", list.passings);
    }
}

/// Any text is a sheet whose runs have names, or a mistake with its line.
#[allow(dead_code)]
pub fn sheet(text: &str) {
    match sheet::read::read(text) {
        Ok(sheet) => assert!(sheet.runs.iter().all(|r| !r.id.is_empty())),
        Err(mistake) => assert!(mistake.line >= 1 && !mistake.hint.is_empty()),
    }
}
