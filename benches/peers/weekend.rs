//! An invented weekend of one car, written as its logs, lap lists and sheet.

use std::fmt::Write;
use std::path::Path;

use runtrue::demo::car::CarSpec;
use runtrue::demo::manner::Manner;
use runtrue::demo::recorder::Recorder;

use crate::driven::{self, Driven};

/// A run of the weekend's car, `length_s` long.
pub fn run(seed: u64, length_s: f64) -> Driven {
    let car = CarSpec::tourer();
    let track = driven::track(&car, 1);
    driven::driven_on(&car, &track, seed, |d| d.length = length_s)
}

/// So many `runs`, `length_s` long, at 20 rows a second.
pub fn write_weekend(folder: &Path, runs: u64, length_s: f64) -> std::io::Result<()> {
    std::fs::create_dir_all(folder.join("logs"))?;
    std::fs::create_dir_all(folder.join("laps"))?;
    let car = CarSpec::tourer();
    let mut sheet = format!(
        "[weekend]\nname = \"Forty runs\"\n[track]\nlap_length_m = {:.1}\n[race]\nlength_s = {length_s}\n\
         [cars.tourer]\nspur = {}\npinion = {}\ninternal_ratio = {}\ntyre_diameter_mm = {}\nmass_kg = {}\n\
         battery.cells = {}\nbattery.capacity_mah = 6000\n",
        driven::track(&car, 1).length,
        car.spur,
        car.pinion,
        car.internal,
        1000.0 * car.tyre,
        car.mass,
        car.cells
    );
    for seed in 0..runs {
        let run = run(seed, length_s);
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
