//! The second forward model itself: does it keep its own physics, and can its weekends be reviewed?

mod reviewed;
mod world;

use std::sync::LazyLock;
use std::time::Instant;

use rayon::prelude::*;
use reviewed::{reviewed, said};
use rstest::rstest;
use runtrue::measure::heat::HeatVerdict;
use runtrue::measure::hot_part::HotPart;
use runtrue::quantity::Estimate;
use runtrue::weekend::concluded_run::ConcludedRun;
use world::dice::Dice;
use world::receiver::Receiver;
use world::{Coverage, CurrentKind, Options, Run, Weekend};

/// The weekends that the checks of the model run over.
static WEEKENDS: LazyLock<Vec<Weekend>> = LazyLock::new(|| (0..6).map(Weekend::draw).collect());

fn all(check: impl Fn(&Weekend, &Run)) {
    for weekend in WEEKENDS.iter() {
        weekend.runs.iter().for_each(|run| check(weekend, run));
    }
}

/// `seed 3 o2`, for messages.
fn place(weekend: &Weekend, run: &Run) -> String {
    format!("seed {} {}", weekend.seed, run.id)
}

#[test]
fn what_the_pack_gives_is_what_is_spent() {
    all(|weekend, run| {
        let energy = run.truth.energy;
        let left = (energy.pack - energy.spent()) / energy.pack;
        assert!(left.abs() < 0.004, "{}: {left:.5} of {energy:?}", place(weekend, run));
    });
}

#[test]
fn laps_are_as_long_as_the_track() {
    all(|weekend, run| {
        let truth = &run.truth;
        for lap in truth.passings_s.windows(2) {
            if lap[0] < 0.0 || lap[1] > run.columns.time_s[run.columns.time_s.len() - 1] {
                continue;
            }
            let way = trapezoid(&run.columns.time_s, &truth.car_m_s, lap[0], lap[1]);
            let off = way / truth.lap_length_m - 1.0;
            // A line is a little longer or shorter from lap to lap, and rows are up to a tenth of a second apart.
            assert!(off.abs() < 0.02, "{}: {off:.4} in the lap from {:.1} s", place(weekend, run), lap[0]);
        }
    });
}

#[test]
fn temperatures_stay_between_air_and_what_a_motor_bears() {
    all(|weekend, run| {
        let (air, truth) = (run.setup.air_c, &run.truth);
        let of = |values: &[f64]| values.iter().fold((f64::MAX, f64::MIN), |(a, b), &v| (a.min(v), b.max(v)));
        let (coldest, hottest) = of(&truth.motor_c);
        let rise = truth.motor_race_end_c - air;
        assert!(coldest > air - 3.0 && hottest < 150.0, "{}: {coldest} to {hottest}", place(weekend, run));
        assert!((5.0..110.0).contains(&rise), "{}: {rise}", place(weekend, run));
        assert!(truth.highest_winding_c >= hottest && truth.highest_winding_c < 190.0, "{}", place(weekend, run));
        let (_, hottest) = of(&truth.controller_c);
        assert!((2.0..90.0).contains(&(hottest - air)), "{}: {hottest}", place(weekend, run));
    });
}

#[test]
fn the_end_of_the_race_is_what_the_sensors_read_then() {
    all(|weekend, run| {
        let (truth, time) = (&run.truth, &run.columns.time_s);
        let due = truth.first_passing_s + weekend.sheet.race_s;
        assert!((truth.race_end_s - due).abs() < 0.05, "{}: {} for {due}", place(weekend, run), truth.race_end_s);
        if let Some(row) = time.iter().position(|&at| at >= due) {
            let off = (run.columns.motor_c[row] - truth.motor_race_end_c).abs();
            assert!(off <= 0.5 * run.recorder.celsius_step + 0.2, "{}: {off}", place(weekend, run));
            let off = (run.columns.controller_c[row] - truth.controller_race_end_c).abs();
            assert!(off <= 0.5 * run.recorder.celsius_step + 0.2, "{}: {off}", place(weekend, run));
        }
    });
    let ends = |run: &&Run| run.columns.time_s[run.columns.time_s.len() - 1] > run.truth.race_end_s;
    let seen = WEEKENDS.iter().flat_map(|weekend| &weekend.runs).filter(ends).count();
    assert!(seen > 20, "{seen}");
}

#[test]
fn tyres_slip_a_little_while_they_grip() {
    all(|weekend, run| {
        let truth = &run.truth;
        let pulled = |row: &usize| run.columns.throttle[*row] > 40.0 && truth.car_m_s[*row] > 3.0;
        let mut slips: Vec<f64> = (0..truth.slip.len()).filter(pulled).map(|row| truth.slip[row]).collect();
        slips.sort_by(f64::total_cmp);
        let at = |share: f64| slips[(share * (slips.len() - 1) as f64) as usize];
        // A car at its top speed on the straight needs little force, so that its slip is below one per cent.
        assert!((0.006..0.06).contains(&at(0.5)), "{}: {:.4}", place(weekend, run), at(0.5));
        assert!((0.012..0.5).contains(&at(0.9)), "{}: {:.4}", place(weekend, run), at(0.9));
        assert!(at(0.2) > 0.002, "{}: {:.4}", place(weekend, run), at(0.2));
    });
}

#[test]
fn wheelspin_is_above_a_fifth_and_lasts() {
    all(|weekend, run| {
        let rows = &run.columns.time_s;
        for spin in &run.truth.spins {
            assert!(spin.end_s - spin.start_s > 0.0999 && spin.peak_slip > 0.2, "{}: {spin:?}", place(weekend, run));
            let inside = |row: &usize| rows[*row] > spin.start_s + 0.002 && rows[*row] < spin.end_s - 0.002;
            for row in (0..rows.len()).filter(inside) {
                assert!(run.truth.slip[row] > 0.19, "{}: {spin:?}", place(weekend, run));
            }
        }
    });
    let count: usize = WEEKENDS.iter().flat_map(|weekend| &weekend.runs).map(|run| run.truth.spins.len()).sum();
    assert!(count > 30, "{count}");
}

#[test]
fn charge_is_the_integral_of_a_mean_current() {
    let options = Options { current: Some(CurrentKind::MeanOverRow), clean: true, ..Options::default() };
    let weekend = Weekend::draw_with(2, options);
    for run in &weekend.runs {
        let (time, current) = (&run.columns.time_s, &run.columns.current);
        let sum: f64 = (1..time.len()).map(|row| current[row] * (time[row] - time[row - 1])).sum();
        let off = sum / 3.6 / run.truth.charge_in_log_mah - 1.0;
        assert!(off.abs() < 0.003, "{}: {off:.5}", run.id);
        assert!(current.iter().any(|&ampere| ampere < -2.0), "{}: braking gives nothing back", run.id);
    }
}

#[test]
fn the_same_seed_gives_the_same_weekend_and_another_another() {
    let [one, again, other] = [5, 5, 6].map(Weekend::draw);
    for (a, b) in one.runs.iter().zip(&again.runs) {
        assert_eq!(a.columns, b.columns);
        assert_eq!(a.list, b.list);
    }
    assert_eq!(one.sheet.text(), again.sheet.text());
    assert_ne!(one.runs[0].columns, other.runs[0].columns);
}

#[rstest]
#[case::late(Coverage::LogStartsLate)]
#[case::early(Coverage::LogEndsEarly)]
#[case::short(Coverage::ShortRun)]
#[case::whole(Coverage::Whole)]
fn lists_and_logs_lie_as_they_are_told_to(#[case] coverage: Coverage) {
    let weekend = Weekend::draw_with(3, Options { coverage: Some(coverage), clean: true, ..Options::default() });
    for run in &weekend.runs {
        let list = &run.list.as_ref().unwrap().passings_s;
        let end = run.columns.time_s[run.columns.time_s.len() - 1];
        let (first, last) = (run.truth.first_passing_s, run.truth.first_passing_s + list[list.len() - 1]);
        let seen = (first < 0.0, last > end, list.len() < run.truth.passings_s.len());
        let due = match coverage {
            Coverage::LogStartsLate => (true, false, false),
            Coverage::LogEndsEarly => (false, true, false),
            Coverage::ShortRun => (false, false, true),
            Coverage::Whole => (false, false, false),
        };
        assert_eq!(seen, due, "{}", run.id);
    }
}

#[test]
fn weekends_are_reviewed() {
    for seed in 0..3 {
        let weekend = Weekend::draw_with(seed, Options { clean: true, runs: Some(3), ..Options::default() });
        let review = reviewed(|folder| weekend.write(folder));
        assert!(review.sheet.mistakes.is_empty(), "{:?}", review.sheet.mistakes);
        assert_eq!(review.runs.len(), weekend.runs.len());
        for run in &review.runs {
            assert!(run.run.failure().is_none(), "seed {seed}: {:?}", run.run.failure());
        }
    }
}

/// Wheelspin by a receiver's ground speed, late and noisy: found seconds and stretches against the truth's.
#[rstest]
#[case::few(0..3)]
#[ignore = "the long form: .ci/run"]
#[case::all(0..16)]
fn ground_speed_tells_wheelspin(#[case] seeds: std::ops::Range<u64>, #[values(5.0, 10.0)] fixes_hz: f64) {
    let (mut found_s, mut true_s, mut found, mut truly, mut hit) = (0.0, 0.0, 0usize, 0usize, 0usize);
    for seed in seeds {
        let mut weekend = Weekend::draw_with(seed, Options { runs: Some(4), ..Options::default() });
        for (number, run) in weekend.runs.iter_mut().enumerate() {
            let mut dice = Dice::new(seed, 7000 + number as u64);
            Receiver::draw(&mut dice, fixes_hz).record(run, &mut dice);
        }
        let said = said(|folder| weekend.write(folder));
        for (run, said) in weekend.runs.iter().zip(said["runs"].as_array().unwrap()) {
            assert_eq!(said["wheelspin"]["can_tell"], true, "{}: {}", place(&weekend, run), said["wheelspin"]);
            let events: Vec<(f64, f64)> = said["wheelspin"]["events"].as_array().unwrap().iter().map(span).collect();
            let spins = &run.truth.spins;
            found_s += events.iter().fold(0.0, |sum, e| sum + e.1 - e.0);
            true_s += run.truth.spin_seconds(f64::MIN, f64::MAX);
            (found, truly) = (found + events.len(), truly + spins.len());
            hit += spins.iter().filter(|s| events.iter().any(|e| e.0 < s.end_s && s.start_s < e.1)).count();
        }
    }
    println!("{fixes_hz} Hz: {found_s:.1} s in {found} for {true_s:.1} s in {truly}, {hit} of them hit");
    assert!((found_s / true_s - 1.0).abs() < 0.15, "{found_s:.1} s for {true_s:.1}");
    assert!((found as f64 / truly as f64 - 1.0).abs() < 0.15, "{found} for {truly}");
    assert!(hit as f64 > 0.80 * truly as f64, "{hit} of {truly}");
}

/// Start and end of an event in `review.json`.
fn span(event: &serde_json::Value) -> (f64, f64) {
    (event["start_s"].as_f64().unwrap(), event["end_s"].as_f64().unwrap())
}

/// Motor and controller at the race's end against what their sensors read then, over weekends with crashes, stops and
/// logs that end early.
#[rstest]
#[case::few(5)]
#[ignore = "the long form: .ci/run"]
#[case::all(40)]
fn the_races_end_is_told_with_every_stop(#[case] weekends: u64) {
    let all: Vec<[Vec<RaceEnd>; 2]> = (300..300 + weekends).into_par_iter().map(race_ends).collect();
    for (n, part) in PARTS.into_iter().enumerate() {
        let ends: Vec<&RaceEnd> = all.iter().flat_map(|of_parts| &of_parts[n]).collect();
        let held = ends.iter().filter(|end| end.found.holds(end.truth_c)).count() as f64 / ends.len() as f64;
        let near =
            ends.iter().filter(|end| (end.found.value - end.truth_c).abs() < 2.0).count() as f64 / ends.len() as f64;
        let missed: Vec<&&RaceEnd> = ends.iter().filter(|end| !end.found.holds(end.truth_c)).collect();
        assert!(held >= 0.95, "{part:?}: {held:.3} of {}: {missed:#?}", ends.len());
        assert!(near >= 0.95, "{part:?}: {near:.3}");
        let halted: Vec<&&RaceEnd> = ends.iter().filter(|end| end.halts > 0).collect();
        let off = halted.iter().filter(|end| (end.found.value - end.truth_c).abs() >= 2.0).count();
        assert!(off as f64 <= (0.05 * halted.len() as f64).max(1.0), "{part:?}: {off} of {}", halted.len());
        let wrong: Vec<_> =
            ends.iter().filter(|end| end.verdict == HeatVerdict::Over && end.peak_c < end.limit_c - 0.6).collect();
        assert!(wrong.is_empty(), "{part:?}: {wrong:#?}");
    }
}

/// What a review says of a part at the race's end, and what was.
#[derive(Debug)]
#[allow(dead_code)] // `place` is for messages
struct RaceEnd {
    place: String,
    halts: usize,
    found: Estimate,
    truth_c: f64,
    /// Highest reading in the log or at the race's end.
    peak_c: f64,
    limit_c: f64,
    verdict: HeatVerdict,
}

/// The parts of a car whose heat is told.
const PARTS: [HotPart; 2] = [HotPart::Motor, HotPart::Controller];

/// The race's end in each run of a weekend, for each part.
fn race_ends(seed: u64) -> [Vec<RaceEnd>; 2] {
    let weekend = Weekend::draw(seed);
    let review = reviewed(|folder| weekend.write(folder));
    let end = |part: HotPart, (run, reviewed): (&Run, &ConcludedRun)| {
        let heat = reviewed.run.heat(part)?;
        let truth = &run.truth;
        let (read, truth_c) = match part {
            HotPart::Motor => (&truth.motor_c, truth.motor_race_end_c),
            HotPart::Controller => (&truth.controller_c, truth.controller_race_end_c),
        };
        Some(RaceEnd {
            place: place(&weekend, run),
            halts: truth.halts_s.len(),
            found: heat.race_end_c?,
            truth_c,
            peak_c: read.iter().copied().fold(truth_c, f64::max),
            limit_c: heat.limit_c,
            verdict: heat.verdict,
        })
    };
    PARTS.map(|part| weekend.runs.iter().zip(&review.runs).filter_map(|run| end(part, run)).collect())
}

/// Time series over time between two times, by trapezoids with the ends cut to size.
fn trapezoid(time_s: &[f64], values: &[f64], from_s: f64, until_s: f64) -> f64 {
    let mut sum = 0.0;
    for row in 1..time_s.len() {
        let (a, b) = (time_s[row - 1].max(from_s), time_s[row].min(until_s));
        if b > a {
            let long = time_s[row] - time_s[row - 1];
            let at = |t: f64| values[row - 1] + (t - time_s[row - 1]) / long * (values[row] - values[row - 1]);
            sum += 0.5 * (at(a) + at(b)) * (b - a);
        }
    }
    sum
}

/// What the weekends are like, and what a review says of them: `cargo test --release --test worlds -- --ignored
/// --nocapture prints_`.
#[test]
#[ignore = "prints, checks nothing"]
fn prints_what_the_weekends_are_like() {
    for seed in 0..12 {
        let begun = Instant::now();
        let weekend = Weekend::draw(seed);
        println!(
            "seed {seed}: {:.0} m {} race {:.0} s, drawn in {:.2} s",
            weekend.track.lap_length_m,
            weekend.track.surface,
            weekend.sheet.race_s,
            begun.elapsed().as_secs_f64()
        );
        for car in &weekend.cars {
            let lap = car.geared_lap(&weekend.track);
            println!(
                "  {} {:.2} kg {}T {}/{} FDR {:.2} mu {:.2} lap {:.2} top {:.1} copper {:.1} W corner {:.2} exit {:.2}",
                car.name,
                car.mass_kg,
                car.motor.turns,
                car.spur,
                car.pinion,
                car.ratio(car.pinion),
                car.tyre.friction,
                lap.seconds,
                lap.top_m_s,
                lap.copper_w,
                car.driver.corner_share,
                car.driver.exit_share
            );
        }
        for run in &weekend.runs {
            let truth = &run.truth;
            let laps: Vec<f64> = truth.passings_s.windows(2).map(|lap| lap[1] - lap[0]).collect();
            let mut sorted = laps.clone();
            sorted.sort_by(f64::total_cmp);
            let quantile = |share: f64| sorted[(share * (sorted.len() - 1) as f64) as usize];
            let spun: f64 = truth.spin_seconds(f64::MIN, f64::MAX);
            println!(
                "  {} {:4.0} Hz {:?} {:?} air {:.0} laps {} best {:.2} median {:.2} p90 {:.2} worst {:.1} | motor {:.0} at the end, winding {:.0}, esc {:.0} | {:.0} mAh {:.1}-{:.1} mohm | {:.0} rpm {:.1} m/s | {} spins {:.1} s | {} halts",
                run.id,
                run.recorder.rate_hz,
                run.recorder.current,
                run.coverage,
                run.setup.air_c,
                laps.len(),
                quantile(0.0),
                quantile(0.5),
                quantile(0.9),
                quantile(1.0),
                truth.motor_race_end_c,
                truth.highest_winding_c,
                truth.controller_race_end_c,
                truth.charge_at_race_end_mah,
                truth.ohmic_mohm.0,
                truth.ohmic_mohm.1,
                truth.peak_rpm,
                truth.top_speed_m_s,
                truth.spins.len(),
                spun,
                truth.halts_s.len()
            );
        }
    }
}

/// What a review says of them, six clean and three with faults: gearing, race end, placement of the list.
#[test]
#[ignore = "prints, checks nothing"]
fn prints_what_a_review_says_of_them() {
    for seed in 100..109 {
        let weekend = Weekend::draw_with(seed, Options { clean: seed < 106, ..Options::default() });
        let said = said(|folder| weekend.write(folder));
        println!("seed {seed}: {:.0} m, race {:.0} s", weekend.track.lap_length_m, weekend.sheet.race_s);
        for (run, said) in weekend.runs.iter().zip(said["runs"].as_array().unwrap()) {
            println!("  {}", figures(&weekend, run, said));
        }
    }
}

/// What is said against what was, in a line: `said (low..high) true`, with `!` where the interval misses.
fn figures(weekend: &Weekend, run: &Run, said: &serde_json::Value) -> String {
    let truth = &run.truth;
    let against = |name: &str, path: &str, real: f64| {
        let value = said.pointer(path);
        let part = |key: &str| value.and_then(|v| v[key].as_f64());
        match (part("value"), part("low"), part("high")) {
            (Some(value), Some(low), Some(high)) => {
                let missed = if (low..=high).contains(&real) { "" } else { " !" };
                format!("{name} {:+.2} of {real:.2} (±{:.2}){missed}", value - real, 0.5 * (high - low))
            }
            _ => format!("{name} -"),
        }
    };
    let spans = said["laps"]["rows"].as_array().map_or((0.0, 0.0), |rows| {
        let at = |row: Option<&serde_json::Value>, key: &str| row.and_then(|row| row[key].as_f64()).unwrap_or(0.0);
        (at(rows.first(), "start_s"), at(rows.last(), "end_s"))
    });
    let tyre_mm = weekend.cars[run.car].tyre.diameter_mm;
    let real_ratio = truth.ratio_over_laps(tyre_mm, weekend.track.lap_length_m);
    let halts = truth.halts_s.len();
    let spun = truth.spin_seconds(spans.0.max(truth.first_passing_s), spans.1);
    format!(
        "{:3} {:3.0} Hz {:?} {:?} {} | pinion {} on the sheet, {} on the car, {halts} halts | {} | {} | {} | {} | {} | spins {} {:.1} s of {:.1} s | {}",
        run.id,
        run.recorder.rate_hz,
        run.recorder.current,
        run.coverage,
        said["gearing"]["verdict"].as_str().unwrap_or("-"),
        run.sheet.pinion.unwrap_or(weekend.sheet.cars[run.car].pinion),
        truth.pinion,
        against("ratio", "/gearing/realised_ratio", real_ratio),
        against("first", "/laps/first_passing_s", truth.first_passing_s),
        against("motor", "/heat/motor/race_end_c", truth.motor_race_end_c),
        against("esc", "/heat/controller/race_end_c", truth.controller_race_end_c),
        against("mohm", "/battery/resistance_mohm", 0.5 * (truth.ohmic_mohm.0 + truth.ohmic_mohm.1)),
        said["wheelspin"]["can_tell"],
        said["wheelspin"]["seconds"].as_f64().unwrap_or(0.0),
        spun,
        against("race mAh", "/battery/race_end_used_mah", truth.charge_at_race_end_mah - truth.charge_before_log_mah),
    )
}
