//! Writes what `compare.py` times: a weekend of 40 runs, 8 minutes at 20 Hz, seven channels, with lap lists and sheet;
//! a long plain log and the same awkwardly written. `cargo bench --bench peers_data -- DIR`.

#[path = "../../tests/driven/mod.rs"]
mod driven;

use std::fmt::Write;
use std::path::{Path, PathBuf};

use driven::Driven;
use encoding_rs::WINDOWS_1252;
use runtrue::demo::car::CarSpec;
use runtrue::demo::manner::{Manner, TextManner, UnitManner};
use runtrue::demo::recorder::{Recorder, Rows};

/// Runs of the weekend.
const RUNS: u64 = 40;
/// Length of a run, s.
const RUN_S: f64 = 480.0;
/// Bytes of the long log.
const LONG: usize = 130_000_000;

fn main() -> std::io::Result<()> {
    let folder = std::env::args().skip(1).find(|a| !a.starts_with('-')).map(PathBuf::from);
    let Some(folder) = folder else { return Ok(()) };
    weekend(&folder.join("weekend"))?;
    let run = run(0);
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

fn run(seed: u64) -> Driven {
    let car = CarSpec::tourer();
    let track = driven::track(&car, 1);
    driven::driven_on(&car, &track, seed, |d| d.length = RUN_S)
}

fn weekend(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder.join("logs"))?;
    std::fs::create_dir_all(folder.join("laps"))?;
    let car = CarSpec::tourer();
    let mut sheet = format!(
        "[weekend]\nname = \"Forty runs\"\n[track]\nlap_length_m = {:.1}\n[race]\nlength_s = 480\n[cars.tourer]\nspur = {}\npinion = {}\ninternal_ratio = {}\ntyre_diameter_mm = {}\nmass_kg = {}\nbattery.cells = {}\nbattery.capacity_mah = 6000\n",
        driven::track(&car, 1).length,
        car.spur,
        car.pinion,
        car.internal,
        1000.0 * car.tyre,
        car.mass,
        car.cells
    );
    for seed in 0..RUNS {
        let run = run(seed);
        let id = format!("r{seed:02}");
        std::fs::write(
            folder.join(format!("logs/{id}.csv")),
            Manner::default().write(&run.rows(&Recorder::plain(20.0))),
        )?;
        let passings = run.list(f64::INFINITY).passings;
        let laps = passings.windows(2).enumerate().fold("lap,time s\n".to_owned(), |mut text, (n, w)| {
            let _ = writeln!(text, "{},{:.3}", n + 1, w[1] - w[0]);
            text
        });
        std::fs::write(folder.join(format!("laps/{id}.csv")), laps)?;
        let _ = write!(
            sheet,
            "[[runs]]\nid = \"{id}\"\nlog = \"logs/{id}.csv\"\nlaps = \"laps/{id}.csv\"\nambient_c = 24\n"
        );
    }
    std::fs::write(folder.join("weekend.toml"), sheet)
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
