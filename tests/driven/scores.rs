//! How near the answers come to the forward model's truth: each promise measured over a number of seeds, for tests and
//! for `benches/accuracy.rs`.

#[path = "../against/mod.rs"]
pub mod against;

pub use against::Against;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::{Drive, Timing};
use runtrue::demo::recorder::Recorder;
use runtrue::demo::trace::TRACE_HZ;
use runtrue::evidence::RunEvidence;
use runtrue::laps;
use runtrue::log::{Channel, Log};
use runtrue::measure::context::RunContext;
use runtrue::measure::wheelspin::{self, Event};
use runtrue::quantity::Estimate;
use runtrue::review::Review;
use runtrue::run::odometer;
use runtrue::sheet::{RunPlan, Sheet};
use runtrue::statistics::quantiles::median;
use runtrue::weekend::trends::{Cause, Verdict};

use super::{Driven, driven, driven_on, reviewed, track};

/// Seeds of the accuracy table, and of the forward model's own checks.
pub const SEEDS: u64 = 20;
/// Seeds of the promises' long form: half of them, for `.ci/run` is to take less than three quarters of an hour.
pub const LONG: u64 = 10;
/// Seeds of the short form: each rate, kind of start, share of wheelspin and recorder of the long form is among them.
pub const FEW: u64 = 4;
pub const RATES: [f64; 4] = [10.0, 20.0, 50.0, 100.0];

/// The two cars.
pub fn cars() -> [CarSpec; 2] {
    [CarSpec::tourer(), CarSpec::pan()]
}

/// Runs `of` for every car and seed, on all cores.
pub fn every<T: Send>(seeds: u64, of: impl Fn(&CarSpec, u64) -> T + Sync) -> Vec<T> {
    let cases: Vec<(CarSpec, u64)> = cars().into_iter().flat_map(|c| (0..seeds).map(move |s| (c.clone(), s))).collect();
    cases.par_iter().map(|(car, seed)| of(car, *seed)).collect()
}

/// Wheelspin found against the model's.
#[derive(Debug, Default, Clone, Copy)]
pub struct Spins {
    pub hits: usize,
    pub misses: usize,
    pub wrong: usize,
    pub wrong_in_clean: usize,
    pub found_s: f64,
    pub true_s: f64,
}

impl Spins {
    pub fn f1(&self) -> f64 {
        2.0 * self.hits as f64 / (2 * self.hits + self.misses + self.wrong) as f64
    }

    pub fn time_error(&self) -> f64 {
        self.found_s / self.true_s - 1.0
    }
}

/// Wheelspin at a rate: clean runs, runs with some and with much, spins just past the limit of grip, locked wheels.
pub fn spins(rate: f64, seeds: u64) -> Spins {
    spun(seeds, [0.0, 0.06, 0.15], |run, _| run.log(&Recorder::plain(rate)))
}

/// The same at 20 rows a second with a receiver of some fixes a second in the log.
pub fn spins_over_ground(fixes_hz: f64, seeds: u64) -> Spins {
    spun(seeds, [0.0, 0.06, 0.15], |run, seed| with_receiver(run, seed, fixes_hz))
}

/// The same where nearly every corner's exit spins: more than a tenth of the time that the car gathers speed.
pub fn spins_everywhere(rate: f64, seeds: u64) -> Spins {
    spun(seeds, [0.5, 0.7, 0.9], |run, _| run.log(&Recorder::plain(rate)))
}

/// The log of a run with a ground speed as a receiver writes it: held between fixes, 0.2 to 0.9 s late, with noise.
fn with_receiver(run: &Driven, seed: u64, fixes_hz: f64) -> Log {
    let mut recorder = Recorder::plain(20.0);
    recorder.channels.push(Channel::GroundSpeed);
    let log = run.log(&recorder);
    let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x6b5);
    let (late_s, noise_m_s) = (random.random_range(0.2..0.9), random.random_range(0.05..0.1));
    let fix = |n: i64| run.trace.speed[((n as f64 / fixes_hz * TRACE_HZ) as usize).min(run.trace.speed.len() - 1)];
    let last = (run.trace.duration() * fixes_hz) as i64;
    let fixes: Vec<f64> = (0..=last)
        .map(|n| (fix(n) + noise_m_s * random.random_range(-1.73..1.73)).max(0.0))
        .map(|v| (v * 100.0).round() / 100.0)
        .collect();
    let held = |t: &f64| fixes[((t - late_s) * fixes_hz).max(0.0) as usize];
    let speed = log.time().iter().map(held).collect();
    log.with_channel(Channel::GroundSpeed, speed)
}

fn spun(seeds: u64, shares: [f64; 3], log: impl Fn(&Driven, u64) -> Log + Sync) -> Spins {
    let of = |car: &CarSpec, seed: u64| {
        let run = driven(car, seed, |d| {
            (d.spin, d.length) = (shares[seed as usize % 3], 120.0);
            if seed % 4 == 3 {
                (d.spin_grip, d.lock) = (0.75..0.95, 0.03);
            }
        });
        let log = log(&run, seed);
        let laps = laps::measure(odometer(&log, &run.settings()), None, None);
        // Without tyre and gears: nothing tells the speed.
        let (plan, sheet) = (RunPlan::default(), Sheet::default());
        let found = wheelspin::measure(&RunContext::new(&log, &laps, &plan, &sheet, &RunEvidence::default()));
        let truth = run.trace.wheelspin();
        let meets = |e: &(f64, f64), f: &Event| e.0 < f.end_s && f.start_s < e.1;
        let long: Vec<_> = truth.iter().filter(|e| e.1 - e.0 >= 0.15).collect();
        let hits = long.iter().filter(|e| found.events.iter().any(|f| meets(e, f))).count();
        let wrong = found.events.iter().filter(|f| !truth.iter().any(|e| meets(e, f))).count();
        Spins {
            hits,
            misses: long.len() - hits,
            wrong,
            wrong_in_clean: if run.plan.spin == 0.0 { wrong } else { 0 },
            found_s: found.seconds.unwrap(),
            true_s: truth.iter().map(|e| e.1 - e.0).sum(),
        }
    };
    every(seeds, of).into_iter().fold(Spins::default(), |a, b| Spins {
        hits: a.hits + b.hits,
        misses: a.misses + b.misses,
        wrong: a.wrong + b.wrong,
        wrong_in_clean: a.wrong_in_clean + b.wrong_in_clean,
        found_s: a.found_s + b.found_s,
        true_s: a.true_s + b.true_s,
    })
}

/// Motor's and controller's race end from the first 55 % of a race.
pub fn race_ends(seeds: u64) -> Vec<(Against, Against)> {
    every(seeds, |car, seed| {
        let run = driven(car, seed, |d| {
            d.ambient = 18.0 + seed as f64;
            d.length = if seed % 2 == 0 { 300.0 } else { 480.0 };
            d.warm = (seed % 5) as f64 * 4.0;
            d.fan = [1.0, 0.0, 0.5][seed as usize % 3];
        });
        let first = run.trace.passings[0];
        let end = ((first + run.plan.length) * 1000.0) as usize;
        let mut recorder = Recorder::plain(RATES[seed as usize % 4]);
        recorder.amp_step = if seed % 3 == 0 { 1.0 } else { 0.1 };
        let (_, _, answers) = run.answers(&recorder, first + 0.55 * run.plan.length);
        let of = |found: Option<Estimate>, truth: &[f64]| Against { found: found.unwrap(), truth: truth[end] };
        (of(answers.motor.race_end_c, &run.trace.motor_c), of(answers.controller.race_end_c, &run.trace.controller_c))
    })
}

/// The pack's resistance, mΩ, with the model's ohmic value and that with the slow part.
pub fn resistances(rate: f64, amp_step: f64, seeds: u64) -> Vec<(Estimate, f64, f64)> {
    every(seeds, |car, seed| {
        let run = driven(car, seed, |d| (d.length, d.pack_age) = (120.0, 1.0 + seed as f64 / 20.0));
        let mut recorder = Recorder::plain(rate);
        recorder.amp_step = amp_step;
        let (_, _, answers) = run.answers(&recorder, f64::INFINITY);
        let (ohmic, slow) = (1000.0 * car.pack.ohmic * run.plan.pack_age, 1000.0 * car.pack.slow * run.plan.pack_age);
        (answers.battery.resistance_mohm.unwrap(), ohmic, ohmic + slow)
    })
}

/// Charge against the model's integral, A·s.
pub fn charges(rate: f64, seeds: u64) -> Vec<Against> {
    every(seeds, |car, seed| {
        let run = driven(car, seed, |d| d.length = 120.0);
        let (log, _, answers) = run.answers(&Recorder::plain(rate), f64::INFINITY);
        let last = (log.reading.duration_s * 1000.0) as usize;
        let truth: f64 = run.trace.current[..last].windows(2).map(|w| (w[0] + w[1]) / 2000.0).sum();
        Against { found: answers.battery.used_range_mah.unwrap(), truth: truth / 3.6 }
    })
}

/// The car's top speed.
pub fn top_speeds(seeds: u64) -> Vec<Against> {
    every(seeds, |car, seed| {
        let run = driven(car, seed, |d| d.length = 150.0);
        let (_, _, answers) = run.answers(&Recorder::plain(RATES[seed as usize % 4]), f64::INFINITY);
        let truth = run.trace.speed.iter().copied().fold(0.0, f64::max);
        Against { found: answers.power.top_speed_range_m_s.unwrap(), truth }
    })
}

/// Coasting by its definition, on the model.
fn coasting(run: &Driven) -> f64 {
    let (trace, top) = (&run.trace, run.trace.speed.iter().copied().fold(0.0, f64::max));
    let coasts = |n: &usize| trace.throttle[*n].abs() < 0.02 && (0.25 * top..0.75 * top).contains(&trace.speed[*n]);
    let rows = (1..trace.speed.len() - 1).filter(coasts).map(|n| (trace.speed[n - 1] - trace.speed[n + 1]) * 500.0);
    median(rows).unwrap()
}

/// Change of the coasting deceleration from 3 to 10 % drag brake, found and true, of the pairs in which both runs tell
/// it.
pub fn drag_brakes(rate: f64, seeds: u64) -> Vec<(f64, f64)> {
    every(seeds, |car, seed| {
        let mut recorder = Recorder::plain(rate);
        recorder.channels.push(Channel::Throttle);
        let [weak, strong] = [0.03, 0.10].map(|drag| {
            let run = driven(car, seed, |d| (d.length, d.drag_brake) = (150.0, drag));
            let (_, _, answers) = run.answers(&recorder, f64::INFINITY);
            Some((answers.power.coast_m_s2?.value, coasting(&run)))
        });
        weak.zip(strong).map(|(weak, strong)| (strong.0 - weak.0, strong.1 - weak.1))
    })
    .into_iter()
    .flatten()
    .collect()
}

/// A tooth more or less: change of the motor's race end (°C) and of the median lap's top speed (relative), found and
/// true.
pub fn pinions(seeds: u64) -> Vec<(Against, Against)> {
    let each = every(seeds / 2, |car, seed| {
        let race = 240.0;
        let base = driven(car, seed, |d| d.length = race);
        let review = reviewed(&[(driven(car, seed, |d| d.length = race), String::new())], &Recorder::plain(20.0));
        let end = |r: &Driven| r.trace.motor_c[((r.trace.passings[0] + race) * 1000.0) as usize];
        let top = |r: &Driven| {
            let of = |w: &[f64]| {
                r.trace.speed[(w[0] * 1000.0) as usize..(w[1] * 1000.0) as usize].iter().copied().fold(0.0, f64::max)
            };
            median(r.trace.passings.windows(2).map(of)).unwrap()
        };
        [-1i32, 1].map(|teeth| {
            let pinion = car.pinion.saturating_add_signed(teeth);
            let other = driven(car, seed, |d| (d.length, d.pinion) = (race, pinion));
            let next = review.runs[0].next.iter().find(|n| n.pinion == f64::from(pinion)).unwrap();
            let speed = next.top_speed_change_m_s.unwrap();
            let now = review.runs[0].done().unwrap().answers.power.top_speed_m_s.unwrap();
            let scaled = Estimate { value: speed.value / now, low: speed.low / now, high: speed.high / now };
            (
                Against { found: next.motor_change_k.unwrap(), truth: end(&other) - end(&base) },
                Against { found: scaled, truth: top(&other) / top(&base) - 1.0 },
            )
        })
    });
    each.into_iter().flatten().collect()
}

/// A weekend of `count` runs on one track; `change` is made to the run at its place, `line` stands in its sheet.
fn weekend(
    car: &CarSpec,
    seed: u64,
    count: usize,
    change: impl Fn(usize, &mut Drive),
    line: impl Fn(usize) -> String,
) -> Vec<(Driven, String)> {
    let track = track(car, seed);
    let run = |n: usize| {
        let drive = driven_on(car, &track, seed * 100 + n as u64, |d| {
            (d.length, d.warm) = (240.0, 2.0 + (n as f64 * 1.7) % 5.0);
            change(n, d);
        });
        (drive, line(n))
    };
    (0..count).map(run).collect()
}

/// Change of the top speed against the run before, with a tooth more, two less, and none changed.
pub fn against_before(seeds: u64) -> Vec<Against> {
    let each = every(seeds / 2, |car, seed| {
        let teeth = [0, 1, -1, -1];
        let change =
            |n: usize, d: &mut Drive| (d.length, d.pinion) = (150.0, car.pinion.saturating_add_signed(teeth[n]));
        let line = |n: usize| format!("pinion = {}", car.pinion.saturating_add_signed(teeth[n]));
        let runs = weekend(car, seed, teeth.len(), change, line);
        let top = |run: &Driven| run.trace.speed.iter().copied().fold(0.0, f64::max);
        let review = reviewed(&runs, &Recorder::plain(RATES[seed as usize % 4]));
        let of = |n: usize| {
            let found = review.runs[n].before.as_ref().unwrap().top_speed_change_m_s;
            Against { found, truth: top(&runs[n].0) - top(&runs[n - 1].0) }
        };
        (1..teeth.len()).map(of).collect::<Vec<_>>()
    });
    each.into_iter().flatten().collect()
}

/// Verdict, cause and change a run of a figure.
pub fn trend(review: &Review, figure: &str) -> (Verdict, Option<Cause>, f64) {
    let trend = review.trends.iter().find(|t| t.of.key == figure).unwrap();
    (trend.verdict, trend.cause, trend.per_run)
}

/// Eight runs on a fan that fades: what the tourer's cooling does, and what its peak is put down to.
pub fn fading_fans(seeds: u64) -> Vec<(Verdict, Option<Cause>)> {
    let each = every(seeds, |car, seed| {
        (!car.foam).then(|| {
            let runs = weekend(car, seed, 8, |n, d| d.fan = 1.0 - n as f64 / 8.0, |_| String::new());
            let review = reviewed(&runs, &Recorder::plain(RATES[seed as usize % 4]));
            (trend(&review, "motor_cooling").0, trend(&review, "motor_peak_c").1)
        })
    });
    each.into_iter().flatten().collect()
}

/// Eight runs on a day that warms by 15 °C: cooling, and cause of the peak.
pub fn warm_days(seeds: u64) -> Vec<(Verdict, Option<Cause>)> {
    every(seeds, |car, seed| {
        let runs = weekend(car, seed, 8, |n, d| d.ambient = 18.0 + 15.0 * n as f64 / 7.0, |_| String::new());
        let review = reviewed(&runs, &Recorder::plain(RATES[seed as usize % 4]));
        (trend(&review, "motor_cooling").0, trend(&review, "motor_peak_c").1)
    })
}

/// Eight runs on tyres that lose a quarter of a millimetre a run untold: the change a run over the true one.
pub fn worn_tyres(seeds: u64) -> Vec<f64> {
    every(seeds, |car, seed| {
        let runs = weekend(car, seed, 8, |n, d| d.tyre -= 0.00025 * n as f64, |_| String::new());
        let review = reviewed(&runs, &Recorder::plain(20.0));
        let rolling = runs[0].0.car.rolling;
        trend(&review, "effective_tyre_mm").2 / (-0.25 * rolling)
    })
}

/// Three runs before and three after a change: the effect on a figure.
fn effect(car: &CarSpec, seed: u64, line: &str, change: impl Fn(&mut Drive)) -> (Vec<(Driven, String)>, Review) {
    let after = |n: usize| n >= 3;
    let with = |n: usize, d: &mut Drive| {
        d.ambient = 22.0 + (n as f64 * 2.3) % 4.0;
        if after(n) {
            change(d);
        }
    };
    let runs = weekend(car, seed, 6, with, |n| if after(n) { line.to_owned() } else { String::new() });
    let mut recorder = Recorder::plain(20.0);
    recorder.channels.push(Channel::Throttle);
    let review = reviewed(&runs, &recorder);
    (runs, review)
}

/// End-bell timing: the motor's rise.
pub fn timings(seeds: u64) -> Vec<Against> {
    every(seeds, |car, seed| {
        let (runs, review) =
            effect(car, seed, "motor.timing_deg = 37\n", |d| d.timing = Timing { motor_constant: 0.955, loss: 1.10 });
        let end = |r: &Driven| r.trace.motor_c[((r.trace.passings[0] + 240.0) * 1000.0) as usize] - r.plan.ambient;
        let mean = |part: &[(Driven, String)]| part.iter().map(|r| end(&r.0)).sum::<f64>() / 3.0;
        let effect = review.comparisons[0].effects.iter().find(|e| e.of.key == "motor_rise_c").unwrap();
        Against { found: effect.difference.unwrap(), truth: mean(&runs[3..]) - mean(&runs[..3]) }
    })
}

/// A change that does nothing: whether each effect is claimed.
pub fn stickers(seeds: u64) -> Vec<bool> {
    let each = every(seeds, |car, seed| {
        let (_, review) = effect(car, seed + 40, "sticker = \"red\"\n", |_| ());
        review.comparisons[0].effects.iter().map(|e| e.claimed()).collect::<Vec<bool>>()
    });
    each.into_iter().flatten().collect()
}
