//! Faults of a lap list.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use runtrue::statistics::quantiles::median;
use toml_edit::value;

use super::fault::Fault;
use super::judge::Question::Laps;
use super::weekend::Weekend;

const NAMES: [&str; 1] = ["laps"];
const ONE: [(&str, f64); 1] = [("", 0.0)];

pub fn faults() -> Vec<Fault> {
    vec![
        another_runs(),
        another_cars(),
        invented(),
        sectors(),
        the_log_itself(),
        absurd_cell(),
        longer_than_the_log(),
        too_few(),
    ]
}

/// The first other run for which `fits` holds, counted on from `run`.
fn other_run(weekend: &Weekend, run: usize, fits: impl Fn(usize) -> bool) -> Option<usize> {
    let count = weekend.runs.len();
    (1..count).map(|n| (run + n) % count).find(|n| weekend.runs[*n].laps.is_some() && fits(*n))
}

fn with_list_of(weekend: &mut Weekend, run: usize, same_car: bool) -> Option<()> {
    let same = |n: usize| (weekend.runs[n].car == weekend.runs[run].car) == same_car;
    let other = other_run(weekend, run, same)?;
    let path = weekend.runs[other].laps.clone()?;
    weekend.set_run(run, "laps", value(path));
    Some(())
}

fn another_runs() -> Fault {
    Fault::new("list of another run of the car", &ONE, &NAMES, &[Laps], |weekend, at| {
        with_list_of(weekend, at.run, true)
    })
}

fn another_cars() -> Fault {
    Fault::new("list of the other car", &ONE, &NAMES, &[Laps], |weekend, at| with_list_of(weekend, at.run, false))
}

/// Three times that nobody drove.
fn invented() -> Fault {
    let strengths = [("within 60 % of a lap", 0.6), ("within 30 %", 0.3), ("within 10 %", 0.1)];
    Fault::new("list of three invented times", &strengths, &NAMES, &[Laps], |weekend, at| {
        let mut random = ChaCha8Rng::seed_from_u64(at.seed ^ 0x11fe);
        let lap = median(weekend.lap_times(at.run)?)?;
        let times: Vec<f64> = (0..3).map(|_| lap * (1.0 + random.random_range(-at.strength..at.strength))).collect();
        weekend.set_lap_times(at.run, &times)
    })
}

/// Each lap in so many lines, of sectors that are not of one length.
fn sectors() -> Fault {
    let counts = [("four a lap", 4.0), ("three a lap", 3.0), ("two a lap", 2.0)];
    Fault::new("list of sectors", &counts, &NAMES, &[Laps], |weekend, at| {
        let mut random = ChaCha8Rng::seed_from_u64(at.seed ^ 0x5ec);
        let shares: Vec<f64> = (0..at.strength as usize).map(|_| random.random_range(0.7..1.3)).collect();
        let whole: f64 = shares.iter().sum();
        let times = weekend.lap_times(at.run)?;
        let cut: Vec<f64> = times
            .iter()
            .flat_map(|lap| shares.iter().map(move |s| lap * s / whole))
            .map(|t| t * random.random_range(0.99..1.01))
            .collect();
        weekend.set_lap_times(at.run, &cut)
    })
}

fn the_log_itself() -> Fault {
    Fault::new("log named as its own list", &ONE, &NAMES, &[Laps], |weekend, at| {
        let log = weekend.runs[at.run].log.clone();
        weekend.set_run(at.run, "laps", value(log));
        Some(())
    })
}

/// A point in the wrong place, in the middle of the list: every passing after it moves.
fn absurd_cell() -> Fault {
    let factors = [("× 1000", 1000.0), ("× 10", 10.0), ("× 0.1", 0.1)];
    Fault::new("list with one absurd time", &factors, &NAMES, &[Laps], |weekend, at| {
        let mut times = weekend.lap_times(at.run)?;
        let middle = times.len() / 2;
        times[middle] *= at.strength;
        weekend.set_lap_times(at.run, &times)
    })
}

/// The list goes on with laps like its own until it lasts so many times as long as the log.
fn longer_than_the_log() -> Fault {
    let lengths = [("2 times", 2.0), ("1.5 times", 1.5), ("1.2 times", 1.2)];
    Fault::new("list longer than the log", &lengths, &NAMES, &[Laps], |weekend, at| {
        let mut random = ChaCha8Rng::seed_from_u64(at.seed ^ 0x10f6);
        let wanted = at.strength * weekend.runs[at.run].record.time_s.last()?;
        let mut times = weekend.lap_times(at.run)?;
        let own = times.len();
        while times.iter().sum::<f64>() < wanted {
            let next = times[random.random_range(0..own)];
            times.push(next);
        }
        weekend.set_lap_times(at.run, &times)
    })
}

/// Of all laps the timing kept a few, from the middle of the run.
fn too_few() -> Fault {
    let counts = [("one lap", 1.0), ("two laps", 2.0), ("three laps", 3.0)];
    Fault::new("list of too few laps", &counts, &NAMES, &[Laps], |weekend, at| {
        let times = weekend.lap_times(at.run)?;
        let from = times.len() / 2;
        let few = times.get(from..from + at.strength as usize)?.to_vec();
        weekend.set_lap_times(at.run, &few)
    })
}
