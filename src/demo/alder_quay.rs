//! The invented weekend of the sample logs: which car drives when, what goes wrong, and how each recorder writes its
//! file.

use encoding_rs::{UTF_8, UTF_16LE, WINDOWS_1252};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::car::CarSpec;
use super::drive::{Drive, Stop, Timing};
use super::manner::{ClockManner, ColumnNames, ENGLISH, Manner, Scale, TextManner, UnitManner};
use super::recorder::Recorder;
use super::track::Track;
use super::weekend::{ListManner, PlannedRun, Weekend};

const GERMAN: ColumnNames = [
    "Zeit",
    "Index",
    "Drehzahl",
    "eDrehzahl",
    "Spannung",
    "Strom",
    "Motortemperatur",
    "Reglertemperatur",
    "Gas",
    "Radgeschwindigkeit",
    "Geschwindigkeit",
];
const FRENCH: ColumnNames = [
    "Temps",
    "Index",
    "Régime",
    "eRPM",
    "Tension",
    "Courant",
    "Température moteur",
    "Température variateur",
    "Gaz",
    "Vitesse roue",
    "Vitesse",
];
const JAPANESE: ColumnNames =
    ["時間", "番号", "回転数", "eRPM", "電圧", "電流", "モーター温度", "アンプ温度", "スロットル", "車輪速度", "速度"];

/// The weekend of `seed`.
pub fn invent(seed: u64) -> Weekend {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let length = 213.0 + rng.random_range(0.0..2.0);
    let track = Track::invent(length, 20.0, &mut rng);
    let runs = tourer_runs(&CarSpec::tourer()).into_iter().chain(pan_runs(&CarSpec::pan())).collect();
    Weekend { head: HEAD.to_owned(), stated_length: 214.0, track, runs, seed }
}

/// More timing, a pinion that the sheet does not know of, dust, a failed fan on a hot day, more drag brake.
fn tourer_runs(tourer: &CarSpec) -> [PlannedRun; 6] {
    let base = Drive::plain(tourer);
    let quick = Timing { motor_constant: 0.955, loss: 1.10 };
    let timing = "motor.timing_deg = 37\n";
    let run = |id, drive| PlannedRun::plain(id, tourer, drive);
    let mut with_throttle = Recorder::plain(25.0);
    with_throttle.channels.push(crate::log::Channel::Throttle);
    [
        run("t1", base.clone()),
        PlannedRun {
            manner: german(),
            list: ListManner::Minutes,
            sheet: timing.into(),
            ..run("t2", Drive { ambient: 25.0, warm: 8.0, timing: quick, ..base.clone() })
        },
        PlannedRun {
            missed: Some(6),
            manner: row_of_units(),
            list: ListManner::TimeOfDay,
            sheet: timing.into(),
            ..run("t3", Drive { ambient: 26.0, warm: 5.0, pinion: 32, timing: quick, ..base.clone() })
        },
        PlannedRun {
            recorder: with_throttle,
            manner: french(),
            sheet: format!("{timing}note = \"dust after the sweepers\"\n"),
            ..run("t4", Drive { ambient: 27.0, warm: 6.0, timing: quick, spin: 0.22, ..base.clone() })
        },
        PlannedRun {
            manner: utf_16(),
            sheet: timing.into(),
            ..run("t5", Drive { ambient: 31.0, warm: 14.0, timing: quick, fan: 0.0, pack_age: 1.05, ..base.clone() })
        },
        PlannedRun {
            recorder: Recorder::plain(10.0),
            list: ListManner::Minutes,
            sheet: format!("{timing}drag_brake_pct = 10\n"),
            ..run(
                "t6",
                Drive {
                    ambient: 29.0,
                    warm: 4.0,
                    timing: quick,
                    drag_brake: 0.10,
                    stops: vec![Stop { lap: 5, seconds: 6.0 }],
                    ..base
                },
            )
        },
    ]
}

/// Foam tyres that wear from run to run, and a larger pinion in the last one.
fn pan_runs(pan: &CarSpec) -> [PlannedRun; 4] {
    let base = Drive { spin: 0.01, drag_brake: 0.02, ..Drive::plain(pan) };
    let worn = |runs: f64| pan.tyre - runs * 0.000_18;
    let run = |id, drive| PlannedRun::plain(id, pan, drive);
    [
        run("p1", base.clone()),
        PlannedRun { manner: japanese(), ..run("p2", Drive { tyre: worn(1.0), ambient: 25.5, ..base.clone() }) },
        PlannedRun {
            recorder: Recorder::plain(25.0),
            manner: row_numbers(),
            list: ListManner::Minutes,
            ..run("p3", Drive { tyre: worn(2.0), ambient: 27.5, ..base.clone() })
        },
        PlannedRun {
            list: ListManner::None,
            sheet: "pinion = 34\n".into(),
            ..run("p4", Drive { tyre: worn(3.0), ambient: 28.5, pinion: 34, ..base })
        },
    ]
}

fn german() -> Manner {
    Manner {
        names: Some(GERMAN),
        delimiter: ';',
        decimal: ',',
        grouping: Some('.'),
        text: TextManner::plain(WINDOWS_1252),
        crlf: true,
        ..Manner::default()
    }
}

fn row_of_units() -> Manner {
    Manner {
        units: UnitManner::Row,
        clock: ClockManner::Milliseconds,
        volts: Scale { factor: 0.001, unit: "mV", decimals: 0 },
        preamble: vec!["Recording 17".into(), "Sample rate: 20 Hz".into()],
        summary: vec!["Max,,,".into()],
        missing: Some(("--", 401)),
        ..Manner::default()
    }
}

fn french() -> Manner {
    Manner {
        names: Some(FRENCH),
        delimiter: '\t',
        decimal: ',',
        clock: ClockManner::TimeOfDay(51_230.35),
        text: TextManner::marked(UTF_8),
        ..Manner::default()
    }
}

fn utf_16() -> Manner {
    Manner {
        names: Some(ENGLISH),
        fahrenheit: true,
        text: TextManner::marked(UTF_16LE),
        crlf: true,
        ..Manner::default()
    }
}

fn japanese() -> Manner {
    Manner {
        names: Some(JAPANESE),
        text: TextManner::plain(encoding_rs::SHIFT_JIS),
        clock: ClockManner::WholeSeconds(39_000.2),
        ..Manner::default()
    }
}

fn row_numbers() -> Manner {
    Manner {
        clock: ClockManner::Index,
        preamble: vec!["Interval = 40 ms".into()],
        poles: Some(2.0),
        lose: None,
        cut: true,
        ..Manner::default()
    }
}

const HEAD: &str = r#"# An invented weekend: no such club, track or car exists.

[weekend]
name = "Alder Quay Spring Round"
date = 2026-05-16

[track]
surface = "asphalt"
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
drag_brake_pct = 3

[cars.tourer.motor]
poles = 2
turns = 4.5
rotor_mm = 12.5
timing_deg = 30
fan_mm = 30

[cars.tourer.battery]
cells = 2
capacity_mah = 6000

[cars.tourer.limits]
motor_c = 100
esc_c = 100
cell_v = 3.2

[cars.pan]
mass_kg = 0.735
driven = "rear"
internal_ratio = 1.0
spur = 80
pinion = 33
tyre_diameter_mm = 41.5
tyre_kind = "foam"
drag_brake_pct = 2

[cars.pan.motor]
poles = 2
turns = 10.5
timing_deg = 35

[cars.pan.battery]
cells = 1
capacity_mah = 8000

[cars.pan.limits]
motor_c = 85
"#;
