//! A starter `weekend.toml` for a folder of logs.

use std::path::Path;

/// Key of the car on a starter sheet.
pub const CAR: &str = "car";

/// The text of a starter sheet for `runs`: id, log and lap list, paths from the folder.
pub fn starter(name: &str, runs: &[(String, String, Option<String>)]) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let mut text = HEAD.replace("NAME", &quoted(name));
    for (id, log, laps) in runs {
        text += &format!("\n[[runs]]\nid = {}\ncar = {}\nlog = {}\n", quoted(id), quoted(CAR), quoted(log));
        match laps {
            Some(laps) => text += &format!("laps = {}\n", quoted(laps)),
            None => text += &format!("{}\n", RUN_LINES[0]),
        }
        text += &format!("{}\n{}\n", RUN_LINES[1], RUN_LINES[2]);
    }
    text
}

/// Whether a starter sheet has this line, to be filled in.
pub fn has_line(line: &str) -> bool {
    line.starts_with("# ") && HEAD.lines().chain(RUN_LINES).any(|l| l == line)
}

/// Lines of each run.
const RUN_LINES: [&str; 3] = [
    "# laps = \"laps/….csv\"       # a lap list, if there is one",
    "# ambient_c = 24            # air, °C",
    "# pinion = 32               # any key of the car, where this run differs",
];

/// Name of a weekend from its folder.
pub fn name_of(folder: &Path) -> String {
    folder
        .canonicalize()
        .ok()
        .and_then(|p| p.file_name().map(|n| n.to_string_lossy().into_owned()))
        .unwrap_or_else(|| "weekend".to_owned())
}

const HEAD: &str = r#"# Setup sheet. Take the # off a line and fill in what you know; every line answers more.

[weekend]
name = NAME
# date = 2026-05-16

[track]
# surface = "carpet"               # carpet | asphalt
# lap_length_m = 214.0             # along the driven line
# lap_length_plus_minus_m = 0.6    # how sure that is

[race]
length_s = 300                     # what heat and battery are forecast to

[cars.car]
# mass_kg = 1.35
# driven = "four"                  # four | rear
# spur = 116
# pinion = 31
# internal_ratio = 1.85            # 1.0 for direct drive
# tyre_diameter_mm = 63.0
# tyre_kind = "rubber"             # rubber | foam

[cars.car.motor]
# poles = 2
# turns = 4.5
# timing_deg = 30

[cars.car.battery]
# cells = 2                        # in series
# capacity_mah = 6000

[cars.car.limits]                  # the makers' figures go before any default
# motor_c = 90
# esc_c = 90
# cell_v = 3.0
"#;
