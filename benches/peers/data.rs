//! Writes what `compare.py` times: a weekend of 40 runs, 8 minutes at 20 Hz, seven channels, with lap lists and sheet;
//! a long plain log and the same awkwardly written. `cargo bench --bench peers_data -- DIR`.

#[path = "../../tests/driven/mod.rs"]
mod driven;
mod weekend;

use std::path::{Path, PathBuf};

use driven::Driven;
use encoding_rs::WINDOWS_1252;
use runtrue::demo::manner::{Manner, TextManner, UnitManner};
use runtrue::demo::recorder::{Recorder, Rows};
use weekend::{run, write_weekend};

/// Runs of the weekend.
const RUNS: u64 = 40;
/// Length of a run, s.
const RUN_S: f64 = 480.0;
/// Bytes of the long log.
const LONG: usize = 130_000_000;

fn main() -> std::io::Result<()> {
    let folder = std::env::args().skip(1).find(|a| !a.starts_with('-')).map(PathBuf::from);
    let Some(folder) = folder else { return Ok(()) };
    write_weekend(&folder.join("weekend"), RUNS, RUN_S)?;
    let run = run(0, RUN_S);
    long(&folder.join("plain.csv"), &run, &Manner::default())?;
    let awkward = Manner {
        delimiter: ';',
        decimal: ',',
        units: UnitManner::Row,
        text: TextManner::plain(WINDOWS_1252),
        crlf: true,
        preamble: vec!["Recording of run 7".into(), "All channels".into()],
        missing: Some(("--", 101)),
        ..Manner::default()
    };
    long(&folder.join("awkward.csv"), &run, &awkward)
}

/// The run at 200 Hz, driven again and again until the file is long enough.
fn long(path: &Path, run: &Driven, manner: &Manner) -> std::io::Result<()> {
    let one = run.rows(&Recorder::plain(200.0));
    let times = LONG.div_ceil(manner.write(&one).len());
    let lap = one.time[one.time.len() - 1] + 0.005;
    let again = |values: &Vec<f64>| values.repeat(times);
    let rows = Rows {
        rate_hz: one.rate_hz,
        time: (0..times).flat_map(|n| one.time.iter().map(move |t| t + n as f64 * lap)).collect(),
        channels: one.channels.iter().map(|(c, v)| (*c, again(v))).collect(),
    };
    std::fs::write(path, manner.write(&rows))
}
