//! What is found of current, voltage, revs and what the sheet says of them: faults of three strengths on the forward
//! model's rows, and nothing on sound ones.

mod driven;

use driven::scores::every;
use driven::{Driven, driven_on, log_of, track};
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::evidence::{self, RunEvidence, RunToWeigh, Subject, Worth};
use runtrue::gears::set_rollout_mm;
use runtrue::laps::lists::LapList;
use runtrue::laps::odometer::Odometer;
use runtrue::laps::period::ExpectedTurns;
use runtrue::laps::{self, Laps};
use runtrue::log::{Channel, Log};
use runtrue::sheet::{RunPlan, Setting, Sheet};

/// Cars and seeds of sound runs; `RUNTRUE_SEEDS` gives the long form another number.
const SOUND_SEEDS: u64 = 6;

const CURRENT: Subject = Subject::Channel(Channel::Current);
const VOLTAGE: Subject = Subject::Channel(Channel::Voltage);
const REVS: Subject = Subject::Channel(Channel::Rpm);
const CELLS: Subject = Subject::Setting("battery.cells");
const CAPACITY: Subject = Subject::Setting("battery.capacity_mah");
const MASS: Subject = Subject::Setting("mass_kg");
const TYRE: Subject = Subject::Setting("tyre_diameter_mm");

/// How a recorder may give the current.
#[derive(Clone, Copy)]
enum Given {
    AsItIs,
    MeanOfTheRow,
    LateByARow,
    HeldOverRows(usize),
}

/// One run as the review has it.
#[derive(Clone)]
struct Case {
    plan: RunPlan,
    sheet: Sheet,
    list: Option<LapList>,
    log: Log,
}

impl Case {
    /// A run of the model with what recorders do and drivers may do, drawn by `variety`.
    fn sound(run: &Driven, variety: u64) -> Self {
        let pick = |of: &[f64], shift: u64| of[(variety / shift) as usize % of.len()];
        let mut recorder = Recorder::plain(pick(&[10.0, 20.0, 50.0, 100.0], 1));
        recorder.amp_step = pick(&[0.1, 1.0], 4);
        if variety % 5 == 2 {
            recorder.channels.push(Channel::Throttle);
        }
        let mut rows = run.rows(&recorder);
        let given = [Given::AsItIs, Given::MeanOfTheRow, Given::LateByARow, Given::HeldOverRows(3)];
        give(&mut rows, run, given[(variety / 3) as usize % 4], recorder.amp_step);
        let end = rows.time[rows.time.len() - 1];
        let until = pick(&[1.0, 1.0, 0.7, 0.4], 2) * end;
        let list = variety.is_multiple_of(2).then(|| run.list(until));
        Self { plan: run.run_plan(), sheet: run.sheet(), list, log: log_of(&rows, until) }
    }

    fn values(&self, channel: Channel) -> Vec<f64> {
        self.log.channel(channel).unwrap().to_vec()
    }

    /// The same with another channel.
    fn with(mut self, channel: Channel, values: Vec<f64>) -> Self {
        let channels = self.log.reading.channels.iter().map(|s| s.channel);
        let all = std::iter::once(Channel::Time).chain(channels.filter(|c| *c != Channel::Time));
        let columns = all.map(|c| (c, if c == channel { values.clone() } else { self.values(c) })).collect();
        self.log = Log::new(columns, Vec::new(), self.log.reading.clone()).unwrap();
        self
    }

    fn changed(self, channel: Channel, change: impl Fn(usize, f64) -> f64) -> Self {
        let values = self.values(channel).into_iter().enumerate().map(|(n, v)| change(n, v)).collect();
        self.with(channel, values)
    }

    fn set(mut self, key: &str, change: impl Fn(f64) -> f64) -> Self {
        let now = self.plan.settings.number(key).unwrap();
        self.plan.settings.0.insert(key.to_owned(), Setting::Number(change(now)));
        self
    }

    fn rows(&self) -> usize {
        self.log.rows()
    }

    fn laps(&self) -> Laps {
        let settings = &self.plan.settings;
        let expected = set_rollout_mm(settings)
            .zip(self.sheet.lap_length_m)
            .map(|(mm, (m, _))| ExpectedTurns { turns: m * 1000.0 / mm, relative_half_width: 0.10 });
        laps::measure(Odometer::new(&self.log), self.list.as_ref(), expected)
    }
}

fn give(rows: &mut Rows, run: &Driven, given: Given, step: f64) {
    let amps = &run.trace.current;
    let time = rows.time.clone();
    let row = 1000.0 / rows.rate_hz;
    let (_, current) = rows.channels.iter_mut().find(|(c, _)| *c == Channel::Current).unwrap();
    let plain = current.clone();
    for n in 0..plain.len() {
        current[n] = match given {
            Given::AsItIs => plain[n],
            Given::LateByARow => plain[n.saturating_sub(1)],
            Given::HeldOverRows(count) => plain[n - n % count],
            Given::MeanOfTheRow => {
                let to = ((time[n] * 1000.0) as usize).min(amps.len() - 1);
                let from = to.saturating_sub(row as usize - 1);
                let mean = amps[from..=to].iter().sum::<f64>() / (to - from + 1) as f64;
                (mean / step).round() * step
            }
        };
    }
}

fn weigh_lapped(cases: &[Case], laps: &[Laps]) -> Vec<RunEvidence> {
    let runs: Vec<Option<RunToWeigh>> =
        cases.iter().zip(laps).map(|(c, laps)| Some(RunToWeigh { plan: &c.plan, log: &c.log, laps })).collect();
    let sheet = &cases[0].sheet;
    let alone =
        |run: &Option<RunToWeigh>| run.as_ref().map(|run| evidence::weigh_alone(run, sheet)).unwrap_or_default();
    evidence::weigh_together(&runs, runs.iter().map(alone).collect(), sheet)
}

/// Remarks on things that are not among those `meant`.
fn remarks(found: &RunEvidence, meant: &[Subject]) -> Vec<String> {
    let ours = [CURRENT, VOLTAGE, REVS, CELLS, CAPACITY, MASS, TYRE];
    let others = found.not_sound().filter(|e| ours.contains(&e.of) && !meant.contains(&e.of));
    others.map(|e| format!("{} {:?}: {}", e.of.key(), e.worth, e.why.as_ref().unwrap())).collect()
}

/// The runs of a weekend of one car as the model drives them; `count` of them.
fn weekend(car: &runtrue::demo::car::CarSpec, seed: u64, count: u64) -> Vec<Driven> {
    let track = track(car, seed);
    let run = |n: u64| {
        driven_on(car, &track, seed * 100 + n, |d| {
            let at = (seed + n) as usize;
            d.length = 150.0;
            d.used = [0.0, 0.0, 0.2, 0.4][at % 4];
            d.spin = [0.02, 0.02, 0.15, 0.9][(at / 2) % 4];
            d.lock = [0.0, 0.03][at % 2];
            d.pack_age = [1.0, 1.6][(at / 3) % 2];
            d.from_grid = at % 3 == 1;
        })
    };
    (0..count).map(run).collect()
}

#[test]
fn nothing_is_said_of_sound_runs() {
    let seeds = std::env::var("RUNTRUE_SEEDS").ok().and_then(|s| s.parse().ok()).unwrap_or(SOUND_SEEDS);
    let found = every(seeds, |car, seed| {
        let runs = weekend(car, seed, 4);
        let cases: Vec<Case> = runs.iter().enumerate().map(|(n, r)| Case::sound(r, seed * 7 + n as u64)).collect();
        let laps: Vec<Laps> = cases.iter().map(Case::laps).collect();
        let together = weigh_lapped(&cases, &laps);
        let alone = cases
            .iter()
            .zip(&laps)
            .map(|(c, l)| weigh_lapped(std::slice::from_ref(c), std::slice::from_ref(l)).remove(0));
        let all: Vec<RunEvidence> = together.into_iter().chain(alone).collect();
        let said = all.iter().flat_map(|e| remarks(e, &[])).map(|r| format!("{} {seed}: {r}", car.key));
        said.collect::<Vec<_>>()
    });
    let said: Vec<String> = found.into_iter().flatten().collect();
    assert!(said.is_empty(), "{} remarks\n{}", said.len(), said.join("\n"));
}

/// Where a fault is.
#[derive(Clone, Copy, PartialEq)]
enum In {
    /// In a run that is alone.
    Alone,
    /// In one run of four.
    One,
    /// In all four runs.
    All,
}

struct Fault {
    name: &'static str,
    place: In,
    strengths: [&'static str; 3],
    make: fn(Case, usize, u64) -> Case,
    /// Any of these must not be sound.
    about: &'static [Subject],
    /// These may be doubted with it.
    may: &'static [Subject],
}

fn noise(n: usize, seed: u64) -> f64 {
    let mut x = (n as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ seed.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((x ^ (x >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

fn from_row(case: &Case, strength: usize) -> usize {
    (case.rows() as f64 * [0.2, 0.5, 0.75][strength]) as usize
}

fn stick(case: Case, channel: Channel, strength: usize) -> Case {
    let values = case.values(channel);
    let from = from_row(&case, strength);
    case.changed(channel, |n, v| if n >= from { values[from] } else { v })
}

fn usual(case: &Case, channel: Channel, share: f64) -> f64 {
    let mut values: Vec<f64> = case.values(channel).into_iter().filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    values[(share * (values.len() - 1) as f64) as usize]
}

fn drop_out(case: Case, strength: usize, seed: u64) -> Case {
    let share = [0.02, 0.10, 0.40][strength];
    let long = 0.15;
    let time = case.values(Channel::Time);
    // Stretches of 0.15 s begin so often that the share of the rows is lost.
    case.changed(Channel::Rpm, |n, v| {
        let cell = (time[n] / long) as usize;
        if v > 0.0 && noise(cell, seed) < share { 0.0 } else { v }
    })
}

fn faults() -> Vec<Fault> {
    use In::{All, Alone, One};
    let current = |name, place, strengths, make| Fault {
        name,
        place,
        strengths,
        make,
        about: &[CURRENT],
        may: &[MASS, CAPACITY, REVS],
    };
    let voltage = |name, strengths, make| Fault { name, place: Alone, strengths, make, about: &[VOLTAGE], may: &[] };
    let revs = |name, place, strengths, make| Fault {
        name,
        place,
        strengths,
        make,
        about: &[REVS],
        may: &[TYRE, CURRENT, MASS],
    };
    vec![
        current("current stuck all the time", Alone, ["0 A", "a tenth", "nine tenths"], |c, s, _| {
            let value = [0.0, usual(&c, Channel::Current, 0.3), usual(&c, Channel::Current, 0.9)][s];
            c.changed(Channel::Current, |_, _| value)
        }),
        current("current stuck from", Alone, ["20 %", "50 %", "75 %"], |c, s, _| stick(c, Channel::Current, s)),
        current("current noise", Alone, ["even", "rows shuffled", "smooth"], |c, s, seed| {
            let values = c.values(Channel::Current);
            let high = usual(&c, Channel::Current, 0.95);
            match s {
                0 => c.changed(Channel::Current, |n, _| high * noise(n, seed)),
                1 => c.changed(Channel::Current, |n, _| values[(noise(n, seed) * values.len() as f64) as usize]),
                _ => c.changed(Channel::Current, |n, _| {
                    (0..8).map(|k| high * noise((n + k) / 4, seed) / 8.0).sum::<f64>()
                }),
            }
        }),
        current("current of too little", Alone, ["x 0.5", "x 0.25", "x 0.1"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v * [0.5, 0.25, 0.1][s])
        }),
        current("current of too much", Alone, ["x 2", "x 4", "x 10"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v * [2.0, 4.0, 10.0][s])
        }),
        current("one run's current too little", One, ["x 0.5", "x 0.25", "x 0.1"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v * [0.5, 0.25, 0.1][s])
        }),
        current("one run's current too much", One, ["x 2", "x 4", "x 10"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v * [2.0, 4.0, 10.0][s])
        }),
        current("all runs' current too little", All, ["x 0.5", "x 0.25", "x 0.1"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v * [0.5, 0.25, 0.1][s])
        }),
        current("all runs' current too much", All, ["x 2", "x 4", "x 10"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v * [2.0, 4.0, 10.0][s])
        }),
        current("current reversed", Alone, ["x -1", "x -0.5", "- 300 A"], |c, s, _| {
            c.changed(Channel::Current, |_, v| [-v, -0.5 * v, v - 300.0][s])
        }),
        current("current off zero", Alone, ["- 5 A", "+ 5 A", "+ 20 A"], |c, s, _| {
            c.changed(Channel::Current, |_, v| v + [-5.0, 5.0, 20.0][s])
        }),
        current("current cut off at", Alone, ["0.8 of p95", "0.5 of p95", "0.25 of p95"], |c, s, _| {
            let top = ([0.8, 0.5, 0.25][s] * usual(&c, Channel::Current, 0.95)).round();
            c.changed(Channel::Current, |_, v| v.min(top))
        }),
        Fault {
            name: "mass wrong",
            place: Alone,
            strengths: ["x 2", "x 0.5", "x 10"],
            make: |c, s, _| c.set("mass_kg", |m| m * [2.0, 0.5, 10.0][s]),
            about: &[MASS],
            may: &[CURRENT, REVS],
        },
        voltage("voltage stuck all the time", ["full", "under load", "round"], |c, s, _| {
            let value = [usual(&c, Channel::Voltage, 1.0), usual(&c, Channel::Voltage, 0.1), 4.2][s];
            let value = if s == 2 { value * c.plan.settings.number("battery.cells").unwrap() } else { value };
            c.changed(Channel::Voltage, |_, _| value)
        }),
        voltage("voltage stuck from", ["20 %", "50 %", "75 %"], |c, s, _| stick(c, Channel::Voltage, s)),
        voltage("voltage of the receiver", ["± 0.01 V", "± 0.03 V", "± 0.1 V"], |c, s, seed| {
            c.changed(Channel::Voltage, |n, _| {
                6.0 + ((noise(n, seed) - 0.5) * [0.02, 0.06, 0.2][s] * 100.0).round() / 100.0
            })
        }),
        voltage("voltage too high", ["+ 0.2 V a cell", "+ 0.4 V a cell", "x 1.1"], |c, s, _| {
            let cells = c.plan.settings.number("battery.cells").unwrap();
            c.changed(Channel::Voltage, |_, v| [v + 0.2 * cells, v + 0.4 * cells, 1.1 * v][s])
        }),
        Fault {
            name: "cells wrong",
            place: Alone,
            strengths: ["one more", "three more", "other car's"],
            make: |c, s, _| c.set("battery.cells", |n| [n + 1.0, n + 3.0, 3.0 - n][s]),
            about: &[CELLS],
            may: &[],
        },
        Fault {
            name: "capacity wrong",
            place: Alone,
            strengths: ["0.8 of the used", "0.5 of the used", "0.1 of the used"],
            make: |c, s, _| {
                let (time, amps) = (c.values(Channel::Time), c.values(Channel::Current));
                let used: f64 = time.windows(2).zip(&amps).map(|(t, i)| (t[1] - t[0]) * i / 3.6).sum();
                c.set("battery.capacity_mah", |_| used * [0.8, 0.5, 0.1][s])
            },
            about: &[CAPACITY],
            may: &[],
        },
        revs("revs stuck from", Alone, ["20 %", "50 %", "75 %"], |c, s, _| stick(c, Channel::Rpm, s)),
        revs("revs drop out", Alone, ["2 %", "10 %", "40 %"], drop_out),
        revs("revs by a factor", Alone, ["x 0.5", "x 2", "x 1/3"], |c, s, _| {
            c.changed(Channel::Rpm, |_, v| v * [0.5, 2.0, 1.0 / 3.0][s])
        }),
        revs("one run's revs by a factor", One, ["x 0.5", "x 2", "x 4"], |c, s, _| {
            c.changed(Channel::Rpm, |_, v| v * [0.5, 2.0, 4.0][s])
        }),
        Fault {
            name: "tyre's radius",
            place: All,
            strengths: ["x 0.5", "x 0.5", "x 0.5"],
            make: |c, _, _| c.set("tyre_diameter_mm", |d| d / 2.0),
            about: &[TYRE],
            may: &[REVS, CURRENT, MASS],
        },
    ]
}

/// Whether a fault is found, and what else is said, for one car and seed.
fn found(fault: &Fault, strength: usize, sound: &[Case], sound_laps: &[Laps], seed: u64) -> (bool, Vec<String>) {
    let count = if fault.place == In::Alone { 1 } else { sound.len() };
    let is_faulty = |n: usize| fault.place == In::All || n == 0;
    let cases: Vec<Case> = (0..count)
        .map(|n| if is_faulty(n) { (fault.make)(sound[n].clone(), strength, seed) } else { sound[n].clone() })
        .collect();
    let laps: Vec<Laps> =
        (0..count).map(|n| if is_faulty(n) { cases[n].laps() } else { sound_laps[n].clone() }).collect();
    let all = weigh_lapped(&cases, &laps);
    let caught = fault.about.iter().any(|s| all[0].worth(*s) != Worth::Sound);
    let meant: Vec<Subject> = fault.about.iter().chain(fault.may).copied().collect();
    let besides = |n: usize| remarks(&all[n], if is_faulty(n) { &meant } else { &[] });
    (caught, (0..count).flat_map(besides).collect())
}

/// What was found of one fault at one strength.
struct Score {
    caught: usize,
    of: usize,
    missed: Vec<String>,
    besides: Vec<String>,
}

fn scores(faults: &[Fault], seeds: u64) -> Vec<[Score; 3]> {
    let rows = every(seeds, |car, seed| {
        let runs = weekend(car, seed, 4);
        let sound: Vec<Case> = runs.iter().enumerate().map(|(n, r)| Case::sound(r, seed * 7 + n as u64)).collect();
        let laps: Vec<Laps> = sound.iter().map(Case::laps).collect();
        let each = faults.iter().map(|f| [0, 1, 2].map(|s| found(f, s, &sound, &laps, seed)));
        (format!("{} {seed}", car.key), each.collect::<Vec<_>>())
    });
    let score = |fault: usize, strength: usize| {
        let cases = || rows.iter().map(|(name, each)| (name, &each[fault][strength]));
        let said = cases().flat_map(|(name, case)| case.1.iter().map(move |said| format!("{name}: {said}")));
        Score {
            caught: cases().filter(|(_, case)| case.0).count(),
            of: rows.len(),
            missed: cases().filter(|(_, case)| !case.0).map(|(name, _)| name.clone()).collect(),
            besides: said.collect(),
        }
    };
    (0..faults.len()).map(|fault| [0, 1, 2].map(|strength| score(fault, strength))).collect()
}

/// Faults of which a log need not tell: (name, strength).
const NOT_TOLD: [(&str, usize); 12] = [
    // Cars whose pack gives half as much for the same gain of speed, or twice as much, are built.
    ("current of too little", 0),
    ("current of too much", 0),
    ("current of too much", 1),
    ("all runs' current too little", 0),
    ("all runs' current too much", 0),
    ("all runs' current too much", 1),
    ("mass wrong", 0),
    ("mass wrong", 1),
    // Runs whose wheels spin out of every corner have no clear share.
    ("one run's current too little", 0),
    ("one run's current too much", 0),
    // A pack that was not full looks full.
    ("voltage too high", 0),
    // A short log has one of them under power, or none.
    ("revs drop out", 0),
];

#[test]
fn faults_are_found_and_nothing_else_is_said() {
    let faults = faults();
    let scores = scores(&faults, 3);
    let mut wrong = Vec::new();
    for (fault, each) in faults.iter().zip(&scores) {
        for (strength, score) in each.iter().enumerate() {
            let told = !NOT_TOLD.contains(&(fault.name, strength));
            if (told && score.caught < score.of) || !score.besides.is_empty() {
                let Score { missed, besides, .. } = score;
                wrong.push(format!(
                    "{}, {}: missed {missed:?}, said {besides:?}",
                    fault.name, fault.strengths[strength]
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
#[ignore = "prints the table of faults"]
fn prints_the_table_of_faults() {
    let seeds = std::env::var("RUNTRUE_SEEDS").ok().and_then(|s| s.parse().ok()).unwrap_or(20);
    let faults = faults();
    for (fault, each) in faults.iter().zip(scores(&faults, seeds)) {
        for (strength, score) in fault.strengths.iter().zip(each) {
            let share = 100.0 * score.caught as f64 / score.of as f64;
            let (name, besides, missed) = (fault.name, score.besides, score.missed.join(", "));
            println!("| {name} | {strength} | {share:.0} % | {} | {missed}", besides.len());
            besides.iter().take(4).for_each(|said| println!("      {said}"));
        }
    }
}
