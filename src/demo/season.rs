//! An invented season: a touring car and a pan car at one weekend a month, on tracks that they come back to. One pack
//! ages, the motors do not, and the same changes are tried each time.

use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::car::CarSpec;
use super::drive::Drive;
use super::invented::InventedFile;
use super::track::Track;
use super::weekend::{PlannedRun, Weekend};

/// A track that the season visits.
struct Venue {
    name: &'static str,
    surface: &'static str,
    lap_length_m: f64,
    indoors: bool,
}

const VENUES: [Venue; 3] = [
    Venue { name: "Alder Quay", surface: "asphalt", lap_length_m: 214.0, indoors: false },
    Venue { name: "Corran Hall", surface: "carpet", lap_length_m: 158.0, indoors: true },
    Venue { name: "Low Meadow", surface: "asphalt", lap_length_m: 262.0, indoors: false },
];
/// How much a pack's resistance grows in a month, relative, as decreed.
pub const PACK_AGES_A_MONTH: f64 = 0.03;
/// Drag brake, share of the current limit.
const LITTLE_BRAKE: f64 = 0.03;
const MUCH_BRAKE: f64 = 0.10;
/// Pinion and drag brake of the touring car's runs: changed in turn, so that the effect of one is not taken for the
/// other's.
const TOURER_RUNS: [(u32, f64); 6] = [
    (31, LITTLE_BRAKE),
    (30, LITTLE_BRAKE),
    (31, MUCH_BRAKE),
    (32, LITTLE_BRAKE),
    (31, LITTLE_BRAKE),
    (32, MUCH_BRAKE),
];
/// Seeds that a season's seed has for its rounds.
const ROUNDS_OF_A_SEED: u64 = 100;
/// Runs of the pan car at each weekend.
const PAN_RUNS: u32 = 3;

/// One weekend of the season and the folder it is written to.
#[derive(Debug, Clone)]
pub struct Round {
    /// Folder, by date and track.
    pub folder: String,
    /// The weekend.
    pub weekend: Weekend,
}

/// The season of `seed` with this many `rounds`, at most twelve.
pub fn invent(seed: u64, rounds: u8) -> Vec<Round> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5ea5);
    let tracks: Vec<Track> = VENUES.iter().map(|v| Track::invent(v.lap_length_m, 20.0, &mut rng)).collect();
    (0..usize::from(rounds.min(12))).map(|month| round(seed, month, &tracks, &mut rng)).collect()
}

/// The files of a season's rounds, each in the folder of its round.
pub fn files(rounds: &[Round]) -> Vec<InventedFile> {
    let in_folder = |round: &Round, file: InventedFile| InventedFile {
        path: Path::new(&round.folder).join(file.path),
        bytes: file.bytes,
    };
    rounds.iter().flat_map(|round| round.weekend.files().into_iter().map(|file| in_folder(round, file))).collect()
}

/// The season's seed by that of its first weekend; `None` where that is not one's.
pub(super) fn seed_of_first_round(seed: u64) -> Option<u64> {
    seed.is_multiple_of(ROUNDS_OF_A_SEED).then_some(seed / ROUNDS_OF_A_SEED)
}

fn round(seed: u64, month: usize, tracks: &[Track], rng: &mut ChaCha8Rng) -> Round {
    let visited = month % VENUES.len();
    let Venue { name, surface, lap_length_m, indoors } = VENUES[visited];
    let date = format!("2026-{:02}-{:02}", month + 1, rng.random_range(8..22));
    // A mild climate: a wave over the year outdoors, a heated hall indoors.
    let season = (std::f64::consts::TAU * (month as f64 - 3.0) / 12.0).sin();
    let air = if indoors { 20.0 } else { 17.0 + 10.0 * season } + rng.random_range(-2.0..2.0);
    let pack_age = 1.0 + PACK_AGES_A_MONTH * month as f64;
    let mut runs = tourer_runs(air, pack_age, rng);
    runs.extend(pan_runs(air));
    let head = HEAD
        .replace("NAME", &format!("{name}, round {}", month + 1))
        .replace("DATE", &date)
        .replace("TRACK", name)
        .replace("SURFACE", surface);
    let weekend = Weekend {
        head,
        track: tracks[visited].clone(),
        stated_length: lap_length_m,
        runs,
        seed: seed.wrapping_mul(ROUNDS_OF_A_SEED).wrapping_add(month as u64),
    };
    Round { folder: format!("{date}-{}", name.to_lowercase().replace(' ', "-")), weekend }
}

/// The touring car: each run a little warmer than the one before, pinion and drag brake changed in turn.
fn tourer_runs(air: f64, pack_age: f64, rng: &mut ChaCha8Rng) -> Vec<PlannedRun> {
    let car = CarSpec::tourer();
    let run = |(n, (pinion, drag_brake)): (usize, (u32, f64))| {
        let drive = Drive {
            pinion,
            drag_brake,
            ambient: to_tenths(air + 0.4 * n as f64),
            warm: rng.random_range(3.0..9.0),
            pack_age: pack_age * (1.0 + rng.random_range(-0.01..0.01)),
            ..Drive::plain(&car)
        };
        let sheet = format!("pinion = {pinion}\ndrag_brake_pct = {:.0}\n", 100.0 * drag_brake);
        PlannedRun { sheet, ..PlannedRun::plain(&format!("t{}", n + 1), &car, drive) }
    };
    TOURER_RUNS.into_iter().enumerate().map(run).collect()
}

/// The pan car on foam tyres that wear, with two pinions in turn.
fn pan_runs(air: f64) -> Vec<PlannedRun> {
    let car = CarSpec::pan();
    let run = |n: u32| {
        let drive = Drive {
            pinion: 33 + n % 2,
            tyre: car.tyre - 0.000_15 * f64::from(n),
            drag_brake: 0.02,
            spin: 0.01,
            ambient: to_tenths(air),
            ..Drive::plain(&car)
        };
        let sheet = format!("pinion = {}\n", drive.pinion);
        PlannedRun { sheet, ..PlannedRun::plain(&format!("p{}", n + 1), &car, drive) }
    };
    (0..PAN_RUNS).map(run).collect()
}

fn to_tenths(value: f64) -> f64 {
    (10.0 * value).round() / 10.0
}

const HEAD: &str = r#"# An invented weekend: no such club, track or car exists.

[weekend]
name = "NAME"
date = DATE

[track]
name = "TRACK"
surface = "SURFACE"
lap_length_m = LENGTH
lap_length_plus_minus_m = 1.2

[race]
length_s = 300

[cars.tourer]
mass_kg = 1.35
driven = "four"
internal_ratio = 1.85
spur = 116
pinion = 31
tyre_diameter_mm = 63.0
tyre_kind = "rubber"

[cars.tourer.motor]
name = "blue can"
poles = 2
turns = 4.5
rotor_mm = 12.5
timing_deg = 30
fan_mm = 30

[cars.tourer.battery]
name = "pack 1"
cells = 2
capacity_mah = 6000

[cars.pan]
mass_kg = 0.735
driven = "rear"
internal_ratio = 1.0
spur = 80
pinion = 33
tyre_diameter_mm = 41.5
tyre_kind = "foam"

[cars.pan.motor]
name = "spec 10.5"
poles = 2
turns = 10.5
timing_deg = 35

[cars.pan.battery]
name = "saddle A"
cells = 1
capacity_mah = 8000
"#;
