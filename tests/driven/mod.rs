//! Runs of the forward model as the review would read them: for tests and for `benches/accuracy.rs`.
#![allow(dead_code)] // each user takes what it needs

pub mod scores;

use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Drive;
use runtrue::demo::manner::Manner;
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::demo::simulation::simulate;
use runtrue::demo::trace::Trace;
use runtrue::demo::track::Track;
use runtrue::evidence::RunEvidence;
use runtrue::import::read_bytes;
use runtrue::laps::lists::LapList;
use runtrue::laps::odometer::Odometer;
use runtrue::laps::{self, Laps};
use runtrue::log::Log;
use runtrue::measure::{self, Answers};
use runtrue::review::{Review, review};
use runtrue::sheet::{RunPlan, Setting, Settings, Sheet};

/// A car, its track and how one run went.
pub struct Driven {
    pub car: CarSpec,
    pub track: Track,
    pub plan: Drive,
    pub trace: Trace,
    pub seed: u64,
}

/// The track of a seed for a car.
pub fn track(car: &CarSpec, seed: u64) -> Track {
    let mut rng = ChaCha8Rng::seed_from_u64(seed * 7 + 1);
    Track::invent(rng.random_range(120.0..320.0), if car.foam { 17.0 } else { 20.0 }, &mut rng)
}

/// Drives `car` on the track of `seed`, with `change` made to a plain drive.
pub fn driven(car: &CarSpec, seed: u64, change: impl FnOnce(&mut Drive)) -> Driven {
    driven_on(car, &track(car, seed), seed, change)
}

/// The same on a given track.
pub fn driven_on(car: &CarSpec, track: &Track, seed: u64, change: impl FnOnce(&mut Drive)) -> Driven {
    let mut plan = Drive::plain(car);
    change(&mut plan);
    let trace = simulate(car, track, &plan, seed + 100);
    Driven { car: car.clone(), track: track.clone(), plan, trace, seed }
}

impl Driven {
    pub fn rows(&self, recorder: &Recorder) -> Rows {
        recorder.sample(&self.trace, self.seed)
    }

    pub fn log(&self, recorder: &Recorder) -> Log {
        log_of(&self.rows(recorder), f64::INFINITY)
    }

    /// The list of the run's passings up to log time `until`.
    pub fn list(&self, until: f64) -> LapList {
        let first = self.trace.passings[0];
        let passings =
            self.trace.passings.iter().filter(|p| **p <= until).map(|p| ((p - first) * 1000.0).round() / 1000.0);
        LapList { passings: passings.collect(), ..LapList::default() }
    }

    pub fn settings(&self) -> Settings {
        let car = &self.car;
        let numbers = [
            ("spur", f64::from(car.spur)),
            ("pinion", f64::from(car.pinion)),
            ("internal_ratio", car.internal),
            ("tyre_diameter_mm", 1000.0 * car.tyre),
            ("mass_kg", car.mass),
            ("battery.cells", f64::from(car.cells)),
            ("battery.capacity_mah", car.capacity / 3.6),
        ];
        let mut all = Settings(numbers.map(|(k, v)| (k.to_owned(), Setting::Number(v))).into());
        all.0.insert("tyre_kind".to_owned(), Setting::Text(if car.foam { "foam" } else { "rubber" }.to_owned()));
        all
    }

    pub fn sheet(&self) -> Sheet {
        Sheet { lap_length_m: Some((self.track.length, 0.6)), race_s: Some(self.plan.length), ..Sheet::default() }
    }

    pub fn run_plan(&self) -> RunPlan {
        RunPlan {
            id: format!("{}{}", self.car.key, self.seed),
            car: self.car.key.to_owned(),
            log: "x.csv".into(),
            laps: None,
            part: None,
            left_out: false,
            ambient_c: Some(self.plan.ambient),
            settings: self.settings(),
            mistake: None,
        }
    }

    /// Laps and answers of a log made of `rows`.
    pub fn answers_of(&self, rows: &Rows) -> Answers {
        let log = log_of(rows, f64::INFINITY);
        let laps = laps::measure(Odometer::new(&log), Some(&self.list(f64::INFINITY)), None);
        measure::measure(&log, &laps, &self.run_plan(), &self.sheet(), &RunEvidence::default())
    }

    /// Laps and answers of the first `until` seconds of the run's log.
    pub fn answers(&self, recorder: &Recorder, until: f64) -> (Log, Laps, Answers) {
        let log = log_of(&self.rows(recorder), until);
        let laps = laps::measure(Odometer::new(&log), Some(&self.list(until)), None);
        let answers = measure::measure(&log, &laps, &self.run_plan(), &self.sheet(), &RunEvidence::default());
        (log, laps, answers)
    }
}

/// The log that the reader makes of rows up to `until`.
pub fn log_of(rows: &Rows, until: f64) -> Log {
    let keep = rows.time.partition_point(|t| *t <= until);
    let cut = |v: &Vec<f64>| v[..keep].to_vec();
    let rows = Rows {
        rate_hz: rows.rate_hz,
        time: cut(&rows.time),
        channels: rows.channels.iter().map(|(c, v)| (*c, cut(v))).collect(),
    };
    read_bytes(Path::new("x.csv"), &Manner::default().write(&rows), &Default::default()).unwrap().remove(0)
}

/// Writes a weekend of runs of one car and reviews it; `sheet` are further lines of each run.
pub fn reviewed(runs: &[(Driven, String)], recorder: &Recorder) -> Review {
    reviewed_with(runs, |_| recorder.clone())
}

/// The same with a recorder for each run.
pub fn reviewed_with(runs: &[(Driven, String)], recorder: impl Fn(usize) -> Recorder) -> Review {
    let folder = tempfile::tempdir().unwrap();
    let car = &runs[0].0.car;
    let mut text = format!(
        "[track]\nlap_length_m = {}\nlap_length_plus_minus_m = 0.6\n[race]\nlength_s = {}\n[cars.{}]\nmass_kg = {}\ninternal_ratio = {}\nspur = {}\npinion = {}\ntyre_diameter_mm = {}\ntyre_kind = \"{}\"\n[cars.{}.battery]\ncells = {}\ncapacity_mah = {}\n",
        runs[0].0.track.length,
        runs[0].0.plan.length,
        car.key,
        car.mass,
        car.internal,
        car.spur,
        car.pinion,
        1000.0 * car.tyre,
        if car.foam { "foam" } else { "rubber" },
        car.key,
        car.cells,
        car.capacity / 3.6
    );
    for (at, (run, lines)) in runs.iter().enumerate() {
        std::fs::write(folder.path().join(format!("r{at}.csv")), Manner::default().write(&run.rows(&recorder(at))))
            .unwrap();
        let laps: Vec<String> =
            run.list(f64::INFINITY).passings.windows(2).map(|w| format!("{:.3}\n", w[1] - w[0])).collect();
        std::fs::create_dir_all(folder.path().join("laps")).unwrap();
        std::fs::write(folder.path().join(format!("laps/r{at}.csv")), format!("time\n{}", laps.concat())).unwrap();
        text += &format!(
            "\n[[runs]]\nid = \"r{at}\"\ncar = \"{}\"\nlog = \"r{at}.csv\"\nlaps = \"laps/r{at}.csv\"\nambient_c = {}\n{lines}",
            car.key, run.plan.ambient
        );
    }
    std::fs::write(folder.path().join("weekend.toml"), text).unwrap();
    review(folder.path(), &|_, _| {}).unwrap()
}
