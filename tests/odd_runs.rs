//! Runs that went odd: sensors that stick, cells that are missing, a car that stands with its recorder on. Each has led
//! to a wrong answer once.

mod driven;

use std::path::Path;

use driven::{Driven, driven};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rstest::rstest;
use runtrue::demo::car::CarSpec;
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::figure::find;
use runtrue::laps::odometer::Odometer;
use runtrue::laps::{self, Source};
use runtrue::log::Channel;
use runtrue::measure::battery::BatteryVerdict;
use runtrue::measure::heat::HeatVerdict;
use runtrue::notice::NoticeCode;

fn run() -> Driven {
    driven(&CarSpec::tourer(), 2, |d| d.length = 200.0)
}

fn change(rows: &mut Rows, channel: Channel, change: impl Fn(usize, &mut f64)) {
    let values = &mut rows.channels.iter_mut().find(|c| c.0 == channel).unwrap().1;
    values.iter_mut().enumerate().for_each(|(n, v)| change(n, v));
}

#[rstest]
#[case(|_: usize| 20.0)]
#[case(|n: usize| 5.0 + 80.0 * (-(n as f64) / 1200.0).exp())]
fn a_sensor_that_does_not_warm_tells_nothing_of_the_race(#[case] reading: fn(usize) -> f64) {
    let run = driven(&CarSpec::tourer(), 2, |d| d.length = 400.0);
    let mut rows = run.rows(&Recorder::plain(20.0));
    let keep = rows.time.partition_point(|t| *t < 200.0);
    rows.time.truncate(keep);
    rows.channels.iter_mut().for_each(|c| c.1.truncate(keep));
    change(&mut rows, Channel::MotorTemperature, |n, v| *v = reading(n).round());
    let motor = run.answers_of(&rows).motor;
    assert!(motor.race_end_c.is_none_or(|e| e.low.is_finite() && e.high.is_finite()), "{:?}", motor.race_end_c);
    assert!(motor.warming.is_some() || motor.verdict == HeatVerdict::CannotTell, "{:?}", motor.verdict);
}

#[test]
fn a_car_that_stands_afterwards_is_no_part_of_the_race() {
    let run = run();
    let rows = run.rows(&Recorder::plain(20.0));
    let mut longer = rows.clone();
    let last = *rows.time.last().unwrap();
    for n in 1..=6000 {
        longer.time.push(last + f64::from(n) * 0.05);
    }
    for (channel, values) in &mut longer.channels {
        let at_rest = match channel {
            Channel::Rpm | Channel::Current => 0.0,
            _ => *values.last().unwrap(),
        };
        let falling = matches!(channel, Channel::MotorTemperature);
        values.extend((1..=6000).map(|n| if falling { (at_rest - f64::from(n) * 0.005).round() } else { at_rest }));
    }
    let plan = Driven { plan: runtrue::demo::drive::Drive { length: 320.0, ..run.plan.clone() }, ..run };
    let (short, long) = (plan.answers_of(&rows), plan.answers_of(&longer));
    let (a, b) = (short.motor.race_end_c.unwrap(), long.motor.race_end_c.unwrap());
    assert!((a.value - b.value).abs() < 1.5, "{a:?} {b:?}");
    let (a, b) = (short.battery.race_end_used_mah.unwrap(), long.battery.race_end_used_mah.unwrap());
    assert!((a.value / b.value - 1.0).abs() < 0.01, "{a:?} {b:?}");
}

#[test]
fn missing_cells_of_the_current_change_no_speed() {
    let run = run();
    let mut rows = run.rows(&Recorder::plain(20.0));
    change(&mut rows, Channel::Current, |n, v| {
        if n % 31 == 7 {
            *v = f64::NAN
        }
    });
    let log = driven::log_of(&rows, f64::INFINITY);
    let answers = run.answers_of(&rows);
    let laps =
        runtrue::laps::measure(runtrue::laps::odometer::Odometer::new(&log), Some(&run.list(f64::INFINITY)), None);
    let geared = answers.pull(&log, Some(1.35)).unwrap().regeared(&laps, 31.0 / 32.0).unwrap();
    assert!((0.0..0.04).contains(&geared.top_change.value), "{geared:?}");
}

#[test]
fn a_pack_that_is_switched_off_is_not_empty() {
    let run = run();
    let mut rows = run.rows(&Recorder::plain(20.0));
    let count = rows.time.len();
    change(&mut rows, Channel::Voltage, |n, v| {
        if n + 2 >= count {
            *v = 0.0
        }
    });
    let battery = run.answers_of(&rows).battery;
    assert_ne!(battery.verdict, BatteryVerdict::UnderFloor);
    assert!(battery.lowest_cell_v.unwrap() > 3.0);
}

#[test]
fn a_glitch_of_the_sensor_is_no_peak() {
    let run = run();
    let mut rows = run.rows(&Recorder::plain(20.0));
    change(&mut rows, Channel::MotorTemperature, |n, v| {
        if n == 2000 {
            *v = 127.0
        }
    });
    let motor = run.answers_of(&rows).motor;
    assert!(motor.peak_c.unwrap() < 100.0 && motor.verdict != HeatVerdict::Over, "{:?}", motor.peak_c);
}

#[test]
fn a_charge_lies_in_its_own_interval() {
    for seed in 0..6 {
        let run = driven(&CarSpec::pan(), seed, |d| d.length = 100.0);
        let (_, _, answers) = run.answers(&Recorder::plain(20.0), f64::INFINITY);
        let used = answers.battery.race_end_used_mah.unwrap();
        assert!(used.low <= used.value && used.value <= used.high, "{used:?}");
    }
}

#[test]
fn rows_a_second_apart_say_nothing_of_the_pull() {
    let run = run();
    let (_, _, answers) = run.answers(&Recorder::plain(1.0), f64::INFINITY);
    assert!(answers.power.pull.is_empty());
}

#[test]
fn revs_of_no_pattern_have_no_laps_or_such_as_a_car_can_drive() {
    use rand::{RngExt, SeedableRng};
    for seed in 0..40 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let (mut time, mut rpm) = (Vec::new(), Vec::new());
        // Mostly idle, with bursts of any length: the usual revs are far below the bursts'.
        while time.len() < 20_000 {
            let burst = rng.random_range(0.0..1.0) < 0.3;
            let revs: f64 = if burst { rng.random_range(5_000.0..60_000.0) } else { rng.random_range(0.0..300.0) };
            for _ in 0..rng.random_range(1..if seed % 2 == 0 { 30 } else { 400 }) {
                time.push(time.len() as f64 * 0.05);
                rpm.push(revs * rng.random_range(0.9..1.1));
            }
        }
        let odometer = runtrue::laps::odometer::Odometer::from_rows(time, rpm);
        let laps = runtrue::laps::measure(odometer, None, None);
        assert!(laps.rows.len() <= 250, "{seed}: {} laps in 1000 s", laps.rows.len());
        let usual = runtrue::statistics::quantiles::median(laps.rows.iter().map(|l| l.time_s()));
        assert!(usual.is_none_or(|s| (4.0..=400.0).contains(&s)), "{seed}: laps of {usual:?} s");
        assert!(!laps.rows.is_empty() || laps.notices.iter().any(|n| n.message.contains("no laps")), "{seed}");
    }
}

#[test]
fn a_run_without_a_current_does_not_spoil_the_others() {
    let car = CarSpec::tourer();
    let track = driven::track(&car, 3);
    let runs: Vec<_> =
        (0..4).map(|n| (driven::driven_on(&car, &track, 300 + n, |d| d.length = 150.0), String::new())).collect();
    let whole = driven::reviewed(&runs, &Recorder::plain(20.0));
    let mut recorder = Recorder::plain(20.0);
    recorder.channels.retain(|c| *c != Channel::Current);
    let spoilt = driven::reviewed_with(&runs, |n| if n == 1 { recorder.clone() } else { Recorder::plain(20.0) });
    for n in [0, 2, 3] {
        let of = |r: &runtrue::review::Review| motor(&r.runs[n]).time_constant_s.unwrap();
        assert!((of(&whole) / of(&spoilt) - 1.0).abs() < 0.15, "{} {}", of(&whole), of(&spoilt));
    }
    let alone = motor(&spoilt.runs[1]).time_constant_s.unwrap();
    assert!((100.0..1000.0).contains(&alone), "{alone}");
}

#[test]
fn air_that_the_recorder_measured_serves_where_the_sheet_has_none() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(folder.path().join("logs")).unwrap();
    let text = std::fs::read_to_string(sample.join("logs/t4.csv")).unwrap();
    let mut lines = text.lines().filter(|l| !l.trim().is_empty());
    let mut with_air = format!("{}\tAmbient Temp [°C]\n", lines.next().unwrap());
    lines.for_each(|line| with_air += &format!("{line}\t26,5\n"));
    std::fs::write(folder.path().join("logs/t4.csv"), &with_air).unwrap();
    // The same drive, a row shorter: one log under two runs would be nobody's.
    let shorter = with_air.trim_end().rsplit_once('\n').unwrap().0;
    std::fs::write(folder.path().join("logs/t5.csv"), shorter).unwrap();
    let sheet = "[cars.a]\nspur = 116\npinion = 31\n[[runs]]\nid = \"a\"\nlog = \"logs/t4.csv\"\n[[runs]]\nid = \"b\"\nlog = \"logs/t5.csv\"\nambient_c = 20\n";
    std::fs::write(folder.path().join("weekend.toml"), sheet).unwrap();
    let review = runtrue::review::review(folder.path(), &|_, _| {}).unwrap();
    let air: Vec<_> = review.runs.iter().map(|r| r.plan().ambient_c).collect();
    assert_eq!(air, [Some(26.5), Some(20.0)]);
    let rise = |n: usize| (find("motor_rise_c").unwrap().read)(&review.runs[n].run).unwrap().value;
    assert!((rise(0) - rise(1) + 6.5).abs() < 1.0, "{} {}", rise(0), rise(1));
}

fn motor(run: &runtrue::weekend::concluded_run::ConcludedRun) -> &runtrue::measure::heat::Heat {
    run.run.heat(runtrue::measure::hot_part::HotPart::Motor).unwrap()
}

/// Revs at 20 Hz, drawn without any pattern.
fn revs_of_no_pattern(seed: u64, seconds: u32, kind: &str) -> Odometer {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut wander, mut target, mut until, mut revs) = (0.0_f64, 15_000.0, 0, 0.0_f64);
    let mut next = |row: u32| match kind {
        "noise" => rng.random_range(0.0..30_000.0),
        "wander" => {
            // Fades over two seconds.
            wander = 0.975 * wander + 0.22 * rng.random_range(-1.73..1.73);
            (15_000.0 + 8_000.0 * wander).max(0.0)
        }
        _ => {
            // A car that is driven here and there, with stops.
            if row > until {
                target = [0.0, 0.0, 8_000.0, 15_000.0, 22_000.0, 28_000.0][rng.random_range(0..6)];
                until = row + rng.random_range(4..80);
            }
            revs += 0.12 * (target - revs);
            revs
        }
    };
    let time: Vec<f64> = (0..seconds * 20).map(|row| f64::from(row) * 0.05).collect();
    let rpm = (0..seconds * 20).map(&mut next).collect();
    Odometer::from_rows(time, rpm).unwrap()
}

/// Cut at 55 % too, as a log that ended early.
#[rstest]
#[case::few(4)]
#[ignore = "the long form: .ci/run"]
#[case::all(60)]
fn revs_of_no_pattern_have_no_laps(#[case] seeds: u64) {
    let (mut runs, mut with_laps) = (0, 0);
    for kind in ["noise", "wander", "here and there"] {
        for (seed, seconds) in (0..seeds).flat_map(|seed| [(seed, 600), (seed, 330)]) {
            let found = laps::measure(Some(revs_of_no_pattern(seed, seconds, kind)), None, None);
            runs += 1;
            with_laps += usize::from(found.source != Source::None);
            if found.source == Source::None {
                assert!(found.rows.is_empty() && found.notices.iter().any(|n| n.code == NoticeCode::NoLaps));
            } else {
                println!("{kind} {seed} over {seconds} s: {} laps", found.rows.len());
            }
            assert!(
                found.median_s().is_none_or(|s| (4.0..400.0).contains(&s)),
                "{kind} {seed}: {:?}",
                found.median_s()
            );
        }
    }
    // Chance leaves a few.
    assert!(with_laps * 50 <= runs, "{with_laps} of {runs}");
}
