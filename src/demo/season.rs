//! An invented season: one club's touring and pan car at one weekend a month, on tracks that it comes back to, with a pack that ages, a motor that
//! does not, and the same three changes tried each time.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::car::CarSpec;
use super::drive::Drive;
use super::track::Track;
use super::weekend::{PlannedRun, Weekend, plain_drive};

/// A track that the season visits: name, surface, lap length, m, whether indoors.
type Venue = (&'static str, &'static str, f64, bool);
const VENUES: [Venue; 3] = [
    ("Alder Quay", "asphalt", 214.0, false),
    ("Corran Hall", "carpet", 158.0, true),
    ("Low Meadow", "asphalt", 262.0, false),
];
/// How much a pack's resistance grows in a month, relative, by decree.
pub const PACK_AGES_A_MONTH: f64 = 0.03;
/// Drag brake on the sheet and as driven, share: as set, and as tried.
const DRAG_BRAKE: [f64; 2] = [0.03, 0.10];

/// One weekend of the season and the folder it is written to.
#[derive(Debug, Clone)]
pub struct Round {
    /// Folder, by date and track.
    pub folder: String,
    /// The weekend.
    pub weekend: Weekend,
}

/// Draws a season of `rounds` weekends, at most twelve, from `seed`.
pub fn invent(seed: u64, rounds: u8) -> Vec<Round> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5ea5);
    let tracks: Vec<Track> = VENUES.iter().map(|v| Track::invent(v.2, 20.0, &mut rng)).collect();
    (0..usize::from(rounds.min(12))).map(|month| round(seed, month, &tracks, &mut rng)).collect()
}

fn round(seed: u64, month: usize, tracks: &[Track], rng: &mut ChaCha8Rng) -> Round {
    let at = month % VENUES.len();
    let (name, surface, length, indoors) = VENUES[at];
    let date = format!("2026-{:02}-{:02}", month + 1, rng.random_range(8..22));
    // A mild climate: the year's wave outdoors, a heated hall indoors.
    let season = (std::f64::consts::TAU * (month as f64 - 3.0) / 12.0).sin();
    let air = if indoors { 20.0 } else { 17.0 + 10.0 * season } + rng.random_range(-2.0..2.0);
    let (tourer, pan) = (CarSpec::tourer(), CarSpec::pan());
    let age = 1.0 + PACK_AGES_A_MONTH * month as f64;
    let mut runs = Vec::new();
    // Pinion and drag brake are tried in turn, so that neither stands for the other.
    for (n, (pinion, brake)) in [(31, 0), (30, 0), (31, 1), (32, 0), (31, 0), (32, 1)].into_iter().enumerate() {
        let base = plain_drive(&tourer);
        let drive = Drive {
            pinion,
            drag_brake: DRAG_BRAKE[brake],
            ambient: (10.0 * (air + 0.4 * n as f64)).round() / 10.0,
            warm: rng.random_range(3.0..9.0),
            pack_age: age * (1.0 + rng.random_range(-0.01..0.01)),
            ..base
        };
        let sheet = format!("pinion = {pinion}\ndrag_brake_pct = {:.0}\n", 100.0 * DRAG_BRAKE[brake]);
        runs.push(PlannedRun { sheet, ..PlannedRun::plain(&format!("t{}", n + 1), &tourer, drive) });
    }
    for n in 0..3 {
        let base = plain_drive(&pan);
        let drive = Drive {
            pinion: 33 + n % 2,
            tyre: pan.tyre - 0.000_15 * f64::from(n),
            drag_brake: 0.02,
            spin: 0.01,
            ambient: (10.0 * air).round() / 10.0,
            ..base
        };
        let sheet = format!("pinion = {}\n", drive.pinion);
        runs.push(PlannedRun { sheet, ..PlannedRun::plain(&format!("p{}", n + 1), &pan, drive) });
    }
    let head = HEAD
        .replace("NAME", &format!("{name}, round {}", month + 1))
        .replace("DATE", &date)
        .replace("TRACK", name)
        .replace("SURFACE", surface);
    let weekend =
        Weekend { head, track: tracks[at].clone(), stated_length: length, runs, seed: seed * 100 + month as u64 };
    Round { folder: format!("{date}-{}", name.to_lowercase().replace(' ', "-")), weekend }
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
