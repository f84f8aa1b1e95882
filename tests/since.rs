//! What happened since the run before: equal runs tell no change, and a real one is held, in both forward models.

mod driven;
mod world;

use driven::scores::against::{Against, share};
use driven::{driven_on, reviewed, track};
use rayon::prelude::*;
use rstest::rstest;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Drive;
use runtrue::demo::recorder::Recorder;
use runtrue::review::{Review, review};
use runtrue::statistics::quantiles::median;
use runtrue::weekend::since::Wish;
use world::{Options, Weekend};

/// Length of a race of the first model, s.
const RACE_S: f64 = 240.0;
/// Runs of a car; from the fifth on something is changed, and in the last it is put back.
const RUNS: usize = 6;
const CHANGED: usize = 4;

/// What is changed in the fifth run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Change {
    DragBrake,
    Pinion,
    /// Tyres that are worn down: on no sheet.
    Tyre,
}

const CHANGES: [Change; 3] = [Change::DragBrake, Change::Pinion, Change::Tyre];
/// Drag brake before and after, %.
const DRAG_BRAKE_PCT: (f64, f64) = (3.0, 10.0);
/// What is worn off a tyre's diameter, as a share.
const WORN: f64 = 0.03;

/// A run against the one before.
struct Pair {
    place: String,
    /// What is said of the median lap, against what was truly changed.
    lap: Against,
    /// Whether something was truly changed.
    changed: bool,
    wish: Option<Wish>,
}

/// The pairs of runs `from`.. of a review, with the change that each run's change truly makes.
fn pairs(place: &str, review: &Review, from: usize, worth: f64) -> Vec<Pair> {
    let pair = |n: usize| {
        let since = review.runs[from + n].since.as_ref()?;
        let (changed, truth) = match n {
            CHANGED => (true, worth),
            n if n == CHANGED + 1 => (true, -worth),
            _ => (false, 0.0),
        };
        let lap = Against { found: since.median_lap_change_s?, truth };
        Some(Pair { place: format!("{place} run {n}"), lap, changed, wish: since.wish })
    };
    (1..RUNS).filter_map(pair).collect()
}

fn median_lap(passings: &[f64]) -> f64 {
    median(passings.windows(2).map(|w| w[1] - w[0])).unwrap()
}

/// A setting that does nothing changes from run to run, so that there is something to wish for.
fn sticker(run: usize) -> String {
    format!("sticker = {}\n", run % 2)
}

fn first_model(seed: u64) -> Vec<Pair> {
    let change = CHANGES[seed as usize % CHANGES.len()];
    let car = if seed.is_multiple_of(2) { CarSpec::tourer() } else { CarSpec::pan() };
    let track = track(&car, seed);
    let drive = |n: usize, is_changed: bool| {
        driven_on(&car, &track, 10_000 + 100 * seed + n as u64, |d: &mut Drive| {
            (d.length, d.drag_brake) = (RACE_S, DRAG_BRAKE_PCT.0 / 100.0);
            match change {
                _ if !is_changed => {}
                Change::DragBrake => d.drag_brake = DRAG_BRAKE_PCT.1 / 100.0,
                Change::Pinion => d.pinion += 1,
                Change::Tyre => d.tyre *= 1.0 - WORN,
            }
        })
    };
    let line = |n: usize| match change {
        Change::DragBrake => {
            format!("drag_brake_pct = {}\n", if n == CHANGED { DRAG_BRAKE_PCT.1 } else { DRAG_BRAKE_PCT.0 })
        }
        Change::Pinion => format!("pinion = {}\n", car.pinion + u32::from(n == CHANGED)),
        Change::Tyre => String::new(),
    };
    let runs: Vec<_> = (0..RUNS).map(|n| (drive(n, n == CHANGED), line(n) + &sticker(n))).collect();
    // What a change is worth, of several moods: two drives of one mood part company after a while.
    let worth = |n: usize| median_lap(&drive(n, true).trace.passings) - median_lap(&drive(n, false).trace.passings);
    let worth = (0..RUNS).map(worth).sum::<f64>() / RUNS as f64;
    pairs(&format!("first model, seed {seed}, {change:?}"), &reviewed(&runs, &Recorder::plain(20.0)), 0, worth)
}

fn second_model(seed: u64) -> Vec<Pair> {
    let change = CHANGES[seed as usize % CHANGES.len()];
    let options = Options { rate_hz: Some(20.0), runs: Some(1), clean: true, ..Options::default() };
    let mut weekend = Weekend::draw_with(7_700 + seed, options);
    let index = seed as usize % 2;
    let (car, tyre_mm) = (weekend.runs[index].car, weekend.cars[weekend.runs[index].car].tyre.diameter_mm);
    weekend.runs[index].setup.drag_brake_pct = DRAG_BRAKE_PCT.0;
    weekend.sheet.cars[car].drag_brake_pct = DRAG_BRAKE_PCT.0;
    let made = |weekend: &mut Weekend, n: usize, is_changed: bool| {
        let worn = if is_changed && change == Change::Tyre { 1.0 - WORN } else { 1.0 };
        weekend.cars[car].tyre.diameter_mm = worn * tyre_mm;
        let mut run = weekend.run_like(index, n, |setup| match change {
            Change::DragBrake if is_changed => setup.drag_brake_pct = DRAG_BRAKE_PCT.1,
            Change::Pinion if is_changed => setup.pinion += 1,
            _ => {}
        });
        run.sheet.more.push(("sticker".to_owned(), (n % 2).to_string()));
        run
    };
    let runs: Vec<world::Run> = (0..RUNS).map(|n| made(&mut weekend, n, n == CHANGED)).collect();
    let mut worth = 0.0;
    for n in 0..RUNS {
        let lap = |weekend: &mut Weekend, is_changed| median_lap(&made(weekend, n, is_changed).truth.passings_s);
        worth += (lap(&mut weekend, true) - lap(&mut weekend, false)) / RUNS as f64;
    }
    weekend.runs = runs;
    let folder = tempfile::tempdir().unwrap();
    weekend.write(folder.path()).unwrap();
    let review = review(folder.path(), &|_, _| {}).unwrap();
    pairs(&format!("second model, seed {seed}, {change:?}"), &review, 0, worth)
}

#[rstest]
#[case::few(3)]
#[ignore = "the long form: .ci/run"]
#[case::all(12)]
fn equal_runs_tell_no_change_and_a_real_one_is_held(#[case] seeds: u64, #[values(1, 2)] model: u8) {
    let of = if model == 1 { first_model } else { second_model };
    let all: Vec<Pair> = (0..seeds).into_par_iter().flat_map(of).collect();
    for Pair { place, lap, wish, .. } in &all {
        let mark = if lap.held() { "" } else { " !" };
        println!(
            "{place}: {:+.3} ± {:.3} for {:+.3}, {wish:?}{mark}",
            lap.found.value,
            lap.found.half_width(),
            lap.truth
        );
    }
    let (changed, equal): (Vec<&Pair>, Vec<&Pair>) = all.iter().partition(|pair| pair.changed);
    let claims = |pair: &&&Pair| matches!(pair.wish, Some(Wish::Keep | Wish::PutBack));
    let claimed = equal.iter().filter(claims).count() as f64 / equal.len() as f64;
    let [holds_none, holds_change] = [&equal, &changed].map(|pairs| share(pairs.iter().map(|pair| pair.lap.held())));
    let half = median(all.iter().map(|pair| pair.lap.found.half_width())).unwrap();
    println!(
        "model {model}: {} equal pairs, nought held in {:.1} %, claimed {:.1} %; {} changed, the change held in {:.1} %, \
         ± {half:.3} s in the median",
        equal.len(),
        100.0 * holds_none,
        100.0 * claimed,
        changed.len(),
        100.0 * holds_change
    );
    assert!(holds_none >= 0.95, "{holds_none:.3}");
    assert!(holds_change >= 0.95, "{holds_change:.3}");
    assert!(claimed <= 0.05 || equal.len() < 20, "{claimed:.3}");
}
