//! An invented weekend as it is planned, and how it is written to a folder.

use std::io;
use std::path::Path;

use serde_json::{Value, json};

use super::car::CarSpec;
use super::drive::{Drive, Trace, drive};
use super::manner::Manner;
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
    pub id: String,
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
    pub sheet: String,
}

/// The whole weekend.
#[derive(Debug, Clone)]
pub struct Weekend {
    /// Its sheet up to the runs, with `LENGTH` where the lap length goes.
    pub head: String,
    /// The track.
    pub track: Track,
    /// Lap length on the sheet, m.
    pub stated_length: f64,
    /// Runs in order.
    pub runs: Vec<PlannedRun>,
    /// Seed of its drives.
    pub seed: u64,
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

impl PlannedRun {
    /// A run at 20 Hz, plainly written, with a list of lap times.
    pub fn plain(id: &str, car: &CarSpec, drive: Drive) -> Self {
        Self {
            id: id.to_owned(),
            car: car.clone(),
            drive,
            recorder: Recorder::plain(20.0),
            manner: Manner::default(),
            list: ListManner::Seconds,
            missed: None,
            sheet: String::new(),
        }
    }

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
        let mut text = self.head.replace("LENGTH", &format!("{:.1}", self.stated_length));
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
