//! An invented weekend as it is planned, and how it is written to a folder.

use std::path::PathBuf;

use rayon::prelude::*;
use serde_json::{Value, json};

use super::car::CarSpec;
use super::drive::Drive;
use super::invented::InventedFile;
use super::manner::Manner;
use super::recorder::Recorder;
use super::simulation::simulate;
use super::trace::Trace;
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
    /// The passing that the timing loop missed, 0 the first.
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

/// File of what is true of the weekend.
pub(super) const TRUTH: &str = "truth.json";
/// File of the setup sheet.
const SHEET: &str = "weekend.toml";
/// Time of day at which the list's clock stands when the log begins, s after midnight.
const LIST_START_S: f64 = 44_000.0;

/// `seconds` as `m:ss.mmm`.
fn in_minutes(seconds: f64, decimal: char) -> String {
    let ms = (seconds * 1000.0).round() as u64;
    format!("{}:{:02}{decimal}{:03}", ms / 60_000, ms / 1000 % 60, ms % 1000)
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
        simulate(&self.car, track, &self.drive, seed)
    }

    /// The lap list's text; `None` where there is none. The list's clock has nothing to do with the log's.
    pub fn lap_list(&self, trace: &Trace) -> Option<String> {
        let seen = trace.passings.iter().enumerate().filter(|(n, _)| Some(*n) != self.missed);
        let passings: Vec<f64> = seen.map(|(_, t)| (t * 1000.0).round() / 1000.0).collect();
        let laps = passings.windows(2).map(|w| w[1] - w[0]).enumerate();
        match self.list {
            ListManner::None => None,
            ListManner::Seconds => {
                Some("lap,time\n".to_owned() + &laps.map(|(n, t)| format!("{},{t:.3}\n", n + 1)).collect::<String>())
            }
            ListManner::Minutes => {
                let line = |(n, t): (usize, f64)| format!("{};{}\n", n + 1, in_minutes(t, ','));
                Some("Runde;Zeit\n".to_owned() + &laps.map(line).collect::<String>())
            }
            ListManner::TimeOfDay => {
                let line = |(n, t): (usize, &f64)| {
                    let time = LIST_START_S + t;
                    format!("{}\t{:02}:{:0>9}\n", n + 1, (time / 3600.0) as u64, in_minutes(time % 3600.0, '.'))
                };
                Some("passing\ttime of day\n".to_owned() + &passings.iter().enumerate().map(line).collect::<String>())
            }
        }
    }

    /// Realised ratio by its definition, from the model's own turns, over laps that the list counts and that have no
    /// stop.
    pub fn realised_ratio(&self, trace: &Trace, stated_length: f64) -> f64 {
        let mut ratios: Vec<f64> = trace
            .passing_turns
            .windows(2)
            .enumerate()
            .filter(|(lap, _)| self.drive.stops.iter().all(|s| s.lap != *lap))
            .filter(|(lap, _)| self.missed.is_none_or(|m| *lap != m && lap + 1 != m))
            .map(|(_, w)| (w[1] - w[0]) * std::f64::consts::PI * self.car.tyre / stated_length)
            .collect();
        ratios.sort_by(f64::total_cmp);
        let n = ratios.len();
        (ratios[(n - 1) / 2] + ratios[n / 2]) / 2.0
    }

    fn truth(&self, trace: &Trace, stated_length: f64) -> Value {
        let highest = |series: &[f64]| series.iter().copied().fold(f64::NEG_INFINITY, f64::max);
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
            "motor_peak_c": highest(&trace.motor_c),
            "controller_peak_c": highest(&trace.controller_c),
            "top_speed_m_s": highest(&trace.speed),
            "pack_ohmic_mohm": self.car.pack.ohmic * self.drive.pack_age * 1000.0,
            "pack_slow_mohm": self.car.pack.slow * self.drive.pack_age * 1000.0,
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

    /// Its files, from its folder: `logs/`, `laps/`, `truth.json`, and the sheet last. Runs are driven on all cores.
    pub fn files(&self) -> Vec<InventedFile> {
        let driven = |(index, run): (usize, &PlannedRun)| {
            let trace = run.run(&self.track, self.run_seed(index));
            let rows = run.recorder.sample(&trace, self.run_seed(index));
            (run.manner.write(&rows), run.lap_list(&trace), run.truth(&trace, self.stated_length))
        };
        let runs: Vec<(Vec<u8>, Option<String>, Value)> = self.runs.par_iter().enumerate().map(driven).collect();
        let mut files = Vec::new();
        let mut add = |path: String, bytes: Vec<u8>| files.push(InventedFile { path: PathBuf::from(path), bytes });
        let mut truths = Vec::new();
        for (run, (log, list, truth)) in self.runs.iter().zip(runs) {
            add(format!("logs/{}.csv", run.id), log);
            if let Some(list) = list {
                add(format!("laps/{}.csv", run.id), list.into_bytes());
            }
            truths.push(truth);
        }
        let truth = json!({ "seed": self.seed, "lap_length_m": self.track.length, "runs": truths });
        add(TRUTH.to_owned(), format!("{truth:#}\n").into_bytes());
        add(SHEET.to_owned(), self.sheet().into_bytes());
        files
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
