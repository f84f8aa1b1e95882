//! Temperature sensors that are at fault, put on runs of the forward model, whose own temperatures are the truth:
//! faults are found, what is called sound before them is true, and nothing is said of sound runs.

mod driven;

use std::path::Path;

use driven::scores::against::share;
use driven::scores::{cars, every};
use driven::{Driven, driven, driven_on, track};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rstest::rstest;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Stop;
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::evidence::temperatures::{self, Part, Why};
use runtrue::evidence::{Evidence, Member, RunEvidence, RunToWeigh, Subject, Worth};
use runtrue::laps::odometer::Odometer;
use runtrue::laps::{self, Laps};
use runtrue::log::{Channel, Log};
use runtrue::measure;
use runtrue::measure::heat::HeatVerdict;
use runtrue::review::review;
use runtrue::sheet::{RunPlan, Sheet};
use runtrue::units::{Units, in_notation};

const SENSORS: [Channel; 2] = [Channel::MotorTemperature, Channel::ControllerTemperature];
/// A sensor that reads less too low than this changes no verdict by itself, °C: within it a forecast is "close".
const MATTERS_K: f64 = 5.0;

/// A fault of a sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    /// At its first reading all the time.
    Still,
    /// From this share of the log on.
    Stuck(f64),
    /// At this share of the rise.
    Clipped(f64),
    /// From half of the log on, with this time constant (s) towards the air.
    Loose(f64),
    /// By so much (°C) from half of the log on.
    Jump(f64),
    /// Anything between 20 and 70 °C.
    Noise,
}

const FAULTS: [Fault; 16] = [
    Fault::Still,
    Fault::Stuck(0.20),
    Fault::Stuck(0.35),
    Fault::Stuck(0.50),
    Fault::Clipped(0.75),
    Fault::Clipped(0.85),
    Fault::Clipped(0.95),
    Fault::Loose(5.0),
    Fault::Loose(20.0),
    Fault::Loose(60.0),
    Fault::Jump(10.0),
    Fault::Jump(20.0),
    Fault::Jump(40.0),
    Fault::Jump(-10.0),
    Fault::Jump(-20.0),
    Fault::Noise,
];

impl Fault {
    /// Puts it on a sensor that reads in steps of `quantum`, in air of `air_c`.
    fn put_on(self, time: &[f64], values: &mut [f64], quantum: f64, air_c: f64, seed: u64) {
        let (end, half) = (time[time.len() - 1], time.len() / 2);
        let read = |celsius: f64| (celsius / quantum).round() * quantum;
        match self {
            Self::Still => values.fill(values[0]),
            Self::Stuck(share) => {
                let from = time.partition_point(|t| *t < share * end);
                let held = values[from];
                values[from..].fill(held);
            }
            Self::Clipped(share) => {
                let highest = values.iter().copied().fold(f64::MIN, f64::max);
                let most = read(values[0] + share * (highest - values[0]));
                values.iter_mut().for_each(|v| *v = v.min(most));
            }
            Self::Loose(constant_s) => {
                let mut sensor = values[half];
                for n in half..time.len() {
                    let nearby = air_c + 0.1 * (values[n] - air_c);
                    sensor += (nearby - sensor) * ((time[n] - time[n - 1]) / constant_s).min(1.0);
                    values[n] = read(sensor);
                }
            }
            Self::Jump(by) => values[half..].iter_mut().for_each(|v| *v += by),
            Self::Noise => {
                let mut random = ChaCha8Rng::seed_from_u64(seed);
                values.iter_mut().for_each(|v| *v = read(random.random_range(20.0..70.0)));
            }
        }
    }
}

/// A run as it is weighed.
#[derive(Clone)]
struct Case {
    rows: Rows,
    log: Log,
    laps: Laps,
    plan: RunPlan,
}

impl Case {
    fn new(run: &Driven, recorder: &Recorder) -> Self {
        let rows = run.rows(recorder);
        let log = driven::log_of(&rows, f64::INFINITY);
        let laps = laps::measure(Odometer::new(&log), None, None);
        Self { log: log_of(&rows, &log), laps, plan: run.run_plan(), rows }
    }

    /// The same with other readings.
    fn with(&self, change: impl Fn(Channel, &[f64], &mut Vec<f64>)) -> Self {
        let mut rows = self.rows.clone();
        let Rows { time, channels, .. } = &mut rows;
        channels.iter_mut().for_each(|(channel, values)| change(*channel, time, values));
        Self { log: log_of(&rows, &self.log), rows, ..self.clone() }
    }

    fn until(&self, share: f64) -> Self {
        let keep = (share * self.rows.time.len() as f64) as usize;
        let mut rows = self.rows.clone();
        rows.time.truncate(keep);
        rows.channels.iter_mut().for_each(|c| c.1.truncate(keep));
        Self { log: log_of(&rows, &self.log), rows, ..self.clone() }
    }

    fn readings(&self, channel: Channel) -> &[f64] {
        self.log.channel(channel).unwrap()
    }

    fn run(&self) -> RunToWeigh<'_> {
        RunToWeigh { plan: &self.plan, log: &self.log, laps: &self.laps }
    }

    fn weigh(&self) -> Vec<Evidence> {
        temperatures::weigh(&self.run())
    }
}

/// A log of the rows as they are: a file would round them.
fn log_of(rows: &Rows, like: &Log) -> Log {
    let channels = std::iter::once((Channel::Time, rows.time.clone())).chain(rows.channels.iter().cloned());
    Log::new(channels.collect(), Vec::new(), like.reading.clone()).unwrap()
}

/// Recorders of 10 to 100 Hz, with sensors of whole degrees, halves and tenths.
fn recorder(seed: u64) -> Recorder {
    let mut recorder = Recorder::plain([10.0, 20.0, 50.0, 100.0, 25.0][seed as usize % 5]);
    recorder.temperature_step = [1.0, 0.1, 1.0, 0.5][seed as usize / 2 % 4];
    recorder
}

/// Runs of two to six minutes in air of 10 to 38 °C.
fn plain_run(car: &CarSpec, seed: u64) -> Driven {
    let mut random = ChaCha8Rng::seed_from_u64(31 * seed + 5);
    driven(car, seed, |d| {
        d.length = [120.0, 240.0, 300.0, 360.0][seed as usize % 4];
        (d.ambient, d.warm) = (random.random_range(10.0..38.0), random.random_range(0.0..8.0));
    })
}

/// The same with warm starts, fans that fail, dust, stops.
fn odd_run(car: &CarSpec, seed: u64) -> Driven {
    let mut random = ChaCha8Rng::seed_from_u64(17 * seed + 3);
    driven(car, seed, |d| {
        d.length = [120.0, 240.0, 300.0, 360.0][seed as usize % 4];
        (d.ambient, d.warm) = (random.random_range(10.0..38.0), random.random_range(0.0..35.0));
        d.fan = [1.0, 0.5, 0.0][random.random_range(0..3)];
        d.spin = [0.0, 0.05, 0.2][random.random_range(0..3)];
        d.from_grid = random.random_bool(0.5);
        let stop = |lap: usize, seconds: f64| Stop { lap, seconds };
        d.stops = match random.random_range(0..4) {
            0 => vec![stop(random.random_range(2..6), random.random_range(2.0..60.0))],
            1 => vec![stop(2, random.random_range(2.0..25.0)), stop(5, random.random_range(2.0..25.0))],
            _ => Vec::new(),
        };
    })
}

fn why(evidence: &Evidence) -> String {
    evidence.why.as_ref().map_or_else(String::new, ToString::to_string)
}

/// Whole runs and the first 40 to 85 % of them.
#[rstest]
#[case::few(3)]
#[ignore = "the long form: .ci/run"]
#[case::many(60)]
fn nothing_is_said_of_sound_sensors(#[case] seeds: u64) {
    let of = |car: &CarSpec, seed: u64| {
        let remarks = |run: Driven| {
            let case = Case::new(&run, &recorder(seed));
            let cut = [1.0, 0.4, 0.55, 0.7, 0.85].map(|share| case.until(share).weigh());
            cut.concat().iter().map(|e| format!("{} {seed}: {}", car.key, why(e))).collect::<Vec<_>>()
        };
        [remarks(plain_run(car, seed)), remarks(odd_run(car, seed + 1000))].concat()
    };
    let remarks = every(seeds, of).concat();
    // Ten runs and cuts of each seed and car. A controller that hardly warms, in whole degrees, is the one that is
    // known.
    assert!(remarks.len() as u64 <= 20 * seeds / ONE_IN, "{remarks:#?}");
}

/// At most one remark on so many sound runs and cuts.
const ONE_IN: u64 = 200;

/// What became of one fault on one run.
struct Outcome {
    fault: Fault,
    channel: Channel,
    /// How far the sensor reads too low at the most, °C.
    too_low: f64,
    caught: bool,
}

fn outcomes(car: &CarSpec, seed: u64) -> Vec<Outcome> {
    let run = plain_run(car, seed);
    let recorder = recorder(seed);
    let sound = Case::new(&run, &recorder);
    let mut outcomes = Vec::new();
    for channel in SENSORS {
        for fault in FAULTS {
            let (step, air) = (recorder.temperature_step, run.plan.ambient);
            let faulty = sound.with(|c, time, values| {
                if c == channel {
                    fault.put_on(time, values, step, air, seed);
                }
            });
            let (truth, read) = (sound.readings(channel), faulty.readings(channel));
            let too_low = truth.iter().zip(read).map(|(t, r)| t - r).fold(0.0, f64::max);
            let place = format!("{} {seed}, {channel:?}, {fault:?}", car.key);
            let found = faulty.weigh();
            for evidence in &found {
                assert_eq!(evidence.of, Subject::Channel(channel), "{place}: {}", why(evidence));
                let Some(span) = evidence.span else { continue };
                let inside = faulty.log.time().iter().zip(truth.iter().zip(read)).filter(|(t, _)| **t <= span.to_s);
                let off = inside.map(|(_, (t, r))| (t - r).abs()).fold(0.0, f64::max);
                assert!(off <= 2.0 * step.max(0.5), "{place}: {off} °C off in the sound part to {} s", span.to_s);
            }
            outcomes.push(Outcome { fault, channel, too_low, caught: !found.is_empty() });
        }
    }
    outcomes
}

/// The motor's sensor wherever it matters, and jumps and noise on both. A controller of the model warms by 2 to 12 °C,
/// of which a sensor of whole degrees shows too little to tell a fault.
#[rstest]
#[case::few(4)]
#[ignore = "the long form: .ci/run"]
#[case::many(20)]
fn faults_that_matter_are_found(#[case] seeds: u64) {
    let all = every(seeds, outcomes).concat_all();
    println!("caught of all, %; motor then controller; too low by 5 °C or more, then by less");
    for fault in FAULTS {
        let of = |channel: Channel, matters: bool| {
            let these = all.iter().filter(|o| o.fault == fault && o.channel == channel);
            let caught: Vec<bool> = these.filter(|o| (o.too_low >= MATTERS_K) == matters).map(|o| o.caught).collect();
            format!("{:4.0} of {:2}", 100.0 * share(caught.iter().copied()), caught.len())
        };
        let columns = SENSORS.map(|c| [true, false].map(|m| of(c, m)).join(" "));
        println!("{:16} {}", format!("{fault:?}"), columns.join("   "));
    }
    let told = |o: &&Outcome| {
        let any = matches!(o.fault, Fault::Jump(_) | Fault::Noise);
        any || o.channel == Channel::MotorTemperature && o.too_low >= MATTERS_K
    };
    let caught = share(all.iter().filter(told).map(|o| o.caught));
    assert!(caught >= 0.95, "{caught}");
}

trait ConcatAll<T> {
    fn concat_all(self) -> Vec<T>;
}

impl<T> ConcatAll<T> for Vec<Vec<T>> {
    fn concat_all(self) -> Vec<T> {
        self.into_iter().flatten().collect()
    }
}

/// What runs say of each other's temperatures, run by run.
fn together(cases: &[Case]) -> Vec<Vec<(Subject, String)>> {
    let mut found: Vec<RunEvidence> = cases.iter().map(|_| RunEvidence::default()).collect();
    let mut members: Vec<Member> = cases
        .iter()
        .zip(&mut found)
        .map(|(case, evidence)| Member { run: case.run(), lap_length_m: None, evidence })
        .collect();
    temperatures::weigh_together(&mut members);
    found.iter().map(|e| e.not_sound().map(|e| (e.of, why(e))).collect()).collect()
}

/// Four runs on a warming day, the last without its fan.
fn weekend(car: &CarSpec, seed: u64) -> Vec<Case> {
    let of = |n: u64| {
        let run = driven_on(car, &track(car, seed), 10 * seed + n, |d| {
            d.length = 200.0;
            (d.ambient, d.warm) = (22.0 + 3.0 * n as f64, [2.0, 8.0, 5.0, 12.0][n as usize]);
            d.fan = if n == 3 { 0.0 } else { 1.0 };
        });
        Case::new(&run, &Recorder::plain(20.0))
    };
    (0..4).map(of).collect()
}

#[rstest]
fn swapped_columns_stand_out_among_the_cars_runs(#[values(0, 1)] seed: u64) {
    for car in cars() {
        let sound = weekend(&car, seed);
        assert!(together(&sound).iter().all(Vec::is_empty), "{:?}", together(&sound));
        for swapped in 0..sound.len() {
            let mut runs = sound.clone();
            let [motor, controller] = SENSORS.map(|c| sound[swapped].readings(c).to_vec());
            runs[swapped] = sound[swapped].with(|c, _, values| match c {
                Channel::MotorTemperature => values.clone_from(&controller),
                Channel::ControllerTemperature => values.clone_from(&motor),
                _ => {}
            });
            for (run, found) in together(&runs).iter().enumerate() {
                let subjects: Vec<Subject> = found.iter().map(|f| f.0).collect();
                let expected = if run == swapped { SENSORS.map(Subject::Channel).to_vec() } else { Vec::new() };
                assert_eq!(subjects, expected, "{} {seed}, {swapped} swapped, run {run}: {found:?}", car.key);
            }
        }
    }
}

#[test]
fn a_sensor_that_starts_below_the_air_is_told_by_the_runs_before() {
    for car in cars() {
        let sound = weekend(&car, 0);
        for channel in SENSORS {
            let mut runs = sound.clone();
            runs[2] = sound[2].with(|c, _, values| {
                if c == channel {
                    values.iter_mut().for_each(|v| *v -= 30.0);
                }
            });
            let found = together(&runs);
            assert_eq!(found[2].len(), 1, "{:?}", found[2]);
            assert!(found[2][0].0 == Subject::Channel(channel) && found[2][0].1.contains("started at"), "{found:?}");
            assert!(found.iter().enumerate().all(|(n, f)| n == 2 || f.is_empty()), "{found:?}");
        }
    }
}

#[test]
fn a_stuck_sensor_gives_no_verdict() {
    let run = driven(&CarSpec::tourer(), 2, |d| d.length = 240.0);
    let stuck = Case::new(&run, &Recorder::plain(20.0)).with(|c, time, values| {
        if c == Channel::MotorTemperature {
            Fault::Still.put_on(time, values, 1.0, 24.0, 0);
        }
    });
    let mut evidence = RunEvidence::default();
    stuck.weigh().into_iter().for_each(|e| evidence.add(e));
    assert_eq!(evidence.worth(Subject::Channel(Channel::MotorTemperature)), Worth::Unusable);
    let sound_log = evidence.sound_log(&stuck.log);
    let answers = measure::measure(&sound_log, &stuck.laps, &stuck.plan, &Sheet::default(), &evidence);
    assert_eq!((answers.motor.verdict, answers.motor.peak_c), (HeatVerdict::CannotTell, None));
    assert!(answers.motor.why.unwrap().to_string().contains("stood still at"));
}

#[test]
fn nothing_is_said_of_the_sample_weekend() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
    for run in &review(&sample, &|_, _| {}).unwrap().runs {
        let evidence = run.run.evidence().unwrap();
        for channel in SENSORS {
            assert_eq!(evidence.worth(Subject::Channel(channel)), Worth::Sound, "{}", run.plan().id);
        }
    }
}

#[rstest]
#[case(Why::StoodStill { part: Part::Motor, at_c: 45.2, driven_s: 290.0 },
    "the motor's sensor stood still at 45 °C while the car was driven for 290 s")]
#[case(Why::Clipped { part: Part::Controller, most_c: 85.0, from_s: 180.4 },
    "the controller's sensor reads at most 85 °C, and reached that at 180 s")]
#[case(Why::Jumped { part: Part::Motor, at_s: 150.2, from_c: 61.0, to_c: 81.4 },
    "the motor's sensor jumped from 61 to 81 °C at 150 s, faster than it could warm or cool")]
fn reasons_are_said_with_their_figures(#[case] why: Why, #[case] expected: &str) {
    assert_eq!(in_notation(&why.to_string(), Units::Metric), expected);
    assert!(why.advice().contains("sensor"));
}
