//! The invented weekend: who drives what, what goes wrong, and how it is written to a folder.

use std::io;
use std::path::Path;

use encoding_rs::{UTF_8, UTF_16LE, WINDOWS_1252};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

use super::car::CarSpec;
use super::drive::{Drive, Trace, drive};
use super::manner::{ClockManner, ENGLISH, Manner, TextManner, UnitManner};
use super::recorder::Recorder;
use super::track::Track;

/// How a lap list is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListManner {
    /// No list.
    None,
    /// Lap number and seconds, comma between.
    Seconds,
    /// Lap number and `m:ss,mmm`, semicolon between.
    Minutes,
    /// Passings by the time of day, tab between.
    TimeOfDay,
}

/// One run of the weekend as planned.
#[derive(Debug, Clone)]
pub struct PlannedRun {
    /// Id in the sheet.
    pub id: &'static str,
    /// The car.
    pub car: CarSpec,
    /// What is done to it.
    pub drive: Drive,
    /// The recorder.
    pub recorder: Recorder,
    /// How the log is written.
    pub manner: Manner,
    /// How the lap list is written.
    pub list: ListManner,
    /// Passing that the loop missed, counted from the first.
    pub missed: Option<usize>,
    /// Further lines of the run in the sheet.
    pub sheet: &'static str,
}

/// The whole weekend.
#[derive(Debug, Clone)]
pub struct Weekend {
    /// The track.
    pub track: Track,
    /// Lap length on the sheet, m.
    pub stated_length: f64,
    /// Runs in order.
    pub runs: Vec<PlannedRun>,
    seed: u64,
}

/// A drive with nothing unusual about it.
pub fn plain_drive(car: &CarSpec) -> Drive {
    Drive {
        pinion: car.pinion,
        tyre: car.tyre,
        ambient: 24.0,
        warm: 3.0,
        fan: 1.0,
        drag_brake: 0.03,
        timing: (1.0, 1.0),
        used: 0.0,
        pack_age: 1.0,
        length: 300.0,
        spin: 0.02,
        spin_grip: (0.42, 0.8),
        lock: 0.0,
        from_grid: false,
        stops: Vec::new(),
    }
}

const GERMAN: [&str; 11] = [
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
const FRENCH: [&str; 11] = [
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
const JAPANESE: [&str; 11] =
    ["時間", "番号", "回転数", "eRPM", "電圧", "電流", "モーター温度", "アンプ温度", "スロットル", "車輪速度", "速度"];

/// Draws the weekend of `seed`.
pub fn invent(seed: u64) -> Weekend {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let length = 213.0 + rng.random_range(0.0..2.0);
    let track = Track::invent(length, 20.0, &mut rng);
    let (tourer, pan) = (CarSpec::tourer(), CarSpec::pan());
    let base = plain_drive(&tourer);
    let pan_base = Drive { spin: 0.01, drag_brake: 0.02, ..plain_drive(&pan) };
    let pan_tyre = |run: f64| pan.tyre - run * 0.000_18;
    let run = |id, car: &CarSpec, drive, recorder, manner, list, sheet| PlannedRun {
        id,
        car: car.clone(),
        drive,
        recorder,
        manner,
        list,
        missed: None,
        sheet,
    };
    let plain = Manner::default;
    let german = Manner {
        names: Some(GERMAN),
        delimiter: ';',
        decimal: ',',
        grouping: Some('.'),
        text: TextManner(WINDOWS_1252, false),
        crlf: true,
        ..plain()
    };
    let rows_of_units = Manner {
        units: UnitManner::Row,
        clock: ClockManner::Milliseconds,
        volts: (0.001, "mV", 0),
        preamble: vec!["Recording 17".into(), "Sample rate: 20 Hz".into()],
        summary: vec!["Max,,,".into()],
        missing: Some(("--", 401)),
        ..plain()
    };
    let french = Manner {
        names: Some(FRENCH),
        delimiter: '\t',
        decimal: ',',
        clock: ClockManner::TimeOfDay(51_230.35),
        text: TextManner(UTF_8, true),
        ..plain()
    };
    let wide =
        Manner { names: Some(ENGLISH), fahrenheit: true, text: TextManner(UTF_16LE, true), crlf: true, ..plain() };
    let japanese = Manner {
        names: Some(JAPANESE),
        text: TextManner(encoding_rs::SHIFT_JIS, false),
        clock: ClockManner::WholeSeconds(39_000.2),
        ..plain()
    };
    let index = Manner {
        clock: ClockManner::Index,
        preamble: vec!["Interval = 40 ms".into()],
        poles: Some(2.0),
        lose: None,
        cut: true,
        ..plain()
    };
    let at = Recorder::plain;
    let with_throttle = |mut r: Recorder| {
        r.channels.push(crate::log::Channel::Throttle);
        r
    };
    let timing = "motor.timing_deg = 37\n";
    let quick = (0.955, 1.10);
    let runs = vec![
        run("t1", &tourer, base.clone(), at(20.0), plain(), ListManner::Seconds, ""),
        run(
            "t2",
            &tourer,
            Drive { ambient: 25.0, warm: 8.0, timing: quick, ..base.clone() },
            at(20.0),
            german,
            ListManner::Minutes,
            timing,
        ),
        PlannedRun {
            missed: Some(6),
            ..run(
                "t3",
                &tourer,
                Drive { ambient: 26.0, warm: 5.0, pinion: 32, timing: quick, ..base.clone() },
                at(20.0),
                rows_of_units,
                ListManner::TimeOfDay,
                timing,
            )
        },
        run(
            "t4",
            &tourer,
            Drive { ambient: 27.0, warm: 6.0, timing: quick, spin: 0.22, ..base.clone() },
            with_throttle(at(25.0)),
            french,
            ListManner::Seconds,
            "motor.timing_deg = 37\nnote = \"dust after the sweepers\"\n",
        ),
        run(
            "t5",
            &tourer,
            Drive { ambient: 31.0, warm: 14.0, timing: quick, fan: 0.0, pack_age: 1.05, ..base.clone() },
            at(20.0),
            wide,
            ListManner::Seconds,
            timing,
        ),
        run(
            "t6",
            &tourer,
            Drive { ambient: 29.0, warm: 4.0, timing: quick, drag_brake: 0.10, stops: vec![(5, 6.0)], ..base },
            at(10.0),
            plain(),
            ListManner::Minutes,
            "motor.timing_deg = 37\ndrag_brake_pct = 10\n",
        ),
        run("p1", &pan, pan_base.clone(), at(20.0), plain(), ListManner::Seconds, ""),
        run(
            "p2",
            &pan,
            Drive { tyre: pan_tyre(1.0), ambient: 25.5, ..pan_base.clone() },
            at(20.0),
            japanese,
            ListManner::Seconds,
            "",
        ),
        run(
            "p3",
            &pan,
            Drive { tyre: pan_tyre(2.0), ambient: 27.5, ..pan_base.clone() },
            at(25.0),
            index,
            ListManner::Minutes,
            "",
        ),
        run(
            "p4",
            &pan,
            Drive { tyre: pan_tyre(3.0), ambient: 28.5, pinion: 34, ..pan_base },
            at(20.0),
            plain(),
            ListManner::None,
            "pinion = 34\n",
        ),
    ];
    Weekend { stated_length: 214.0, track, runs, seed }
}

impl PlannedRun {
    /// Drives the run.
    pub fn run(&self, track: &Track, seed: u64) -> Trace {
        drive(&self.car, track, &self.drive, seed)
    }

    /// The lap list's text; `None` where there is none. The list's clock has nothing to do with the log's.
    pub fn lap_list(&self, trace: &Trace) -> Option<String> {
        let passings: Vec<f64> = trace
            .passings
            .iter()
            .enumerate()
            .filter(|(n, _)| Some(*n) != self.missed)
            .map(|(_, t)| (t * 1000.0).round() / 1000.0)
            .collect();
        let laps = || passings.windows(2).map(|w| w[1] - w[0]).enumerate();
        let minutes = |seconds: f64, decimal: char| {
            let ms = (seconds * 1000.0).round() as u64;
            format!("{}:{:02}{decimal}{:03}", ms / 60_000, ms / 1000 % 60, ms % 1000)
        };
        match self.list {
            ListManner::None => None,
            ListManner::Seconds => {
                Some(laps().fold("lap,time\n".to_owned(), |text, (n, t)| text + &format!("{},{t:.3}\n", n + 1)))
            }
            ListManner::Minutes => Some(
                laps()
                    .fold("Runde;Zeit\n".to_owned(), |text, (n, t)| text + &format!("{};{}\n", n + 1, minutes(t, ','))),
            ),
            ListManner::TimeOfDay => Some(passings.iter().fold("passing\ttime of day\n".to_owned(), |text, t| {
                let clock = minutes((44_000.0 + t) % 3600.0, '.');
                let hour = ((44_000.0 + t) / 3600.0) as u64;
                let number = text.lines().count();
                text + &format!("{number}\t{hour:02}:{clock:0>9}\n")
            })),
        }
    }

    /// Realised ratio by its definition, from the model's own turns, over laps that the list counts and no stop spoilt.
    pub fn realised_ratio(&self, trace: &Trace, stated_length: f64) -> f64 {
        let mut ratios: Vec<f64> = trace
            .passing_turns
            .windows(2)
            .enumerate()
            .filter(|(lap, _)| self.drive.stops.iter().all(|s| s.0 != *lap))
            .filter(|(lap, _)| self.missed.is_none_or(|m| *lap != m && lap + 1 != m))
            .map(|(_, w)| (w[1] - w[0]) * std::f64::consts::PI * self.car.tyre / stated_length)
            .collect();
        ratios.sort_by(f64::total_cmp);
        let n = ratios.len();
        (ratios[(n - 1) / 2] + ratios[n / 2]) / 2.0
    }

    fn truth(&self, trace: &Trace, stated_length: f64) -> Value {
        let last = |series: &[f64]| series.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        json!({
            "id": self.id,
            "car": self.car.key,
            "pinion_on_the_car": self.drive.pinion,
            "first_passing_s": trace.passings.first(),
            "laps": trace.passings.len().saturating_sub(1),
            "passings_s": trace.passings,
            "turns": trace.passing_turns.windows(2).map(|w| w[1] - w[0]).collect::<Vec<_>>(),
            "realised_ratio": self.realised_ratio(trace, stated_length),
            "wheelspin": trace.wheelspin(),
            "motor_peak_c": last(&trace.motor_c),
            "controller_peak_c": last(&trace.controller_c),
            "top_speed_m_s": last(&trace.speed),
            "pack_ohmic_mohm": self.car.pack.0 * self.drive.pack_age * 1000.0,
            "pack_slow_mohm": self.car.pack.1 * self.drive.pack_age * 1000.0,
            "tyre_start_mm": self.drive.tyre * 1000.0,
            "tyre_end_mm": trace.tyre_end * 1000.0,
            "fan": self.drive.fan,
        })
    }
}

impl Weekend {
    /// Seed of the run at `index`.
    pub fn run_seed(&self, index: usize) -> u64 {
        self.seed.wrapping_mul(1000).wrapping_add(index as u64)
    }

    /// Writes `weekend.toml`, `logs/`, `laps/` and `truth.json` into `folder`.
    ///
    /// # Errors
    /// If a file cannot be written, or `folder` holds a `weekend.toml` already.
    pub fn write(&self, folder: &Path) -> io::Result<()> {
        let sheet = folder.join("weekend.toml");
        if sheet.exists() {
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, format!("`{}` exists", sheet.display())));
        }
        std::fs::create_dir_all(folder.join("logs"))?;
        std::fs::create_dir_all(folder.join("laps"))?;
        let mut truths = Vec::new();
        for (index, run) in self.runs.iter().enumerate() {
            let trace = run.run(&self.track, self.run_seed(index));
            let rows = run.recorder.sample(&trace, self.run_seed(index));
            std::fs::write(folder.join(format!("logs/{}.csv", run.id)), run.manner.write(&rows))?;
            if let Some(list) = run.lap_list(&trace) {
                std::fs::write(folder.join(format!("laps/{}.csv", run.id)), list)?;
            }
            truths.push(run.truth(&trace, self.stated_length));
        }
        let truth = json!({ "seed": self.seed, "lap_length_m": self.track.length, "runs": truths });
        std::fs::write(folder.join("truth.json"), format!("{truth:#}\n"))?;
        std::fs::write(sheet, self.sheet())
    }

    /// The setup sheet.
    pub fn sheet(&self) -> String {
        let mut text = HEAD.replace("LENGTH", &format!("{:.1}", self.stated_length));
        for run in &self.runs {
            text += &format!("\n[[runs]]\nid = \"{0}\"\ncar = \"{1}\"\nlog = \"logs/{0}.csv\"\n", run.id, run.car.key);
            if run.list != ListManner::None {
                text += &format!("laps = \"laps/{}.csv\"\n", run.id);
            }
            text += &format!("ambient_c = {}\n{}", run.drive.ambient, run.sheet);
        }
        text
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
