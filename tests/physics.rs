//! The physics against models that others wrote. `tests/reference/peers/README.md` names packages, versions, parameters
//! and the scripts that made each file. Where `review.json` tells the figure, the check goes through the program
//! itself, from the log's bytes to the file, so that the production code makes everything in between.

use std::f64::consts::TAU;
use std::path::Path;
use std::process::Command;

use rstest::rstest;
use runtrue::import::read_bytes;
use runtrue::measure::forecast::{LoadScatter, Scene};
use runtrue::measure::heat_record::Record;
use runtrue::motor;
use runtrue::quantity::Uncertain;
use runtrue::statistics::quantiles::quantile;
use runtrue::statistics::theil_sen::slope_by_order;
use serde_json::Value;

fn reference(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/peers").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn truth(fixture: &str) -> Value {
    serde_json::from_str::<Value>(&reference("truth.json")).unwrap()[fixture].clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

/// Rows of a fixture without its header.
fn rows(name: &str) -> Vec<Vec<f64>> {
    reference(name).lines().skip(1).map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect()
}

/// The text of a log with `header` and a line for each row.
fn log(header: &str, rows: impl Iterator<Item = String>) -> String {
    std::iter::once(header.to_owned()).chain(rows).collect::<Vec<_>>().join("\n")
}

/// The run in `review.json` that the program makes of `log` and a sheet: `weekend` are lines before the run, `run`
/// lines of the run.
fn reviewed(log: &str, weekend: &str, run: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let sheet = format!("{weekend}\n[[runs]]\nid = \"r\"\ncar = \"c\"\nlog = \"r.csv\"\n{run}\n");
    std::fs::write(folder.path().join("r.csv"), log).unwrap();
    std::fs::write(folder.path().join("weekend.toml"), sheet).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_runtrue"));
    let output = command.args(["review", "--format", "json"]).arg(folder.path()).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let review: Value = serde_json::from_slice(&output.stdout).unwrap();
    review["runs"][0].clone()
}

/// Whether `truth` lies in the interval of a measured value.
fn holds(found: &Value, truth: f64) -> bool {
    (number(&found["low"])..=number(&found["high"])).contains(&truth)
}

/// Resistance of PyBaMM's cells under a race-like current, over the model's own value. A recorder's volts come in steps
/// of 0.01 V and its amperes in steps of 0.1 A.
fn resistance_over(file: &str, truth_mohm: f64) -> f64 {
    let line = |r: Vec<f64>| format!("{:.2},{:.1},{:.2}", r[0], r[1], r[2]);
    let log = log("time [s],current [A],voltage [V]", rows(file).into_iter().map(line));
    number(&reviewed(&log, "[cars.c]", "")["battery"]["resistance_mohm"]["value"]) / truth_mohm
}

/// PyBaMM's equivalent circuit (Thevenin): a series resistance of 10 mΩ and a slow pair behind it.
#[test]
fn resistance_of_a_circuit_by_pybamm() {
    let over = resistance_over("thevenin.csv", 1000.0 * number(&truth("thevenin")["r0_ohm"]));
    assert!((over - 1.0).abs() < 0.02, "{over:.4} of R0");
}

/// PyBaMM's single particle model with electrolyte, over the drop per ampere a second after the run's own steps.
/// **Known bias**: the voltage that a reaction costs grows with the logarithm of the current, so a straight line
/// through pulses of all heights lies above what the steps show. The bias itself is held, so that a change in either
/// direction is seen.
#[test]
fn resistance_of_a_cell_by_pybamm_is_high_by_a_known_share() {
    let over = resistance_over("spme.csv", 1000.0 * number(&truth("spme")["run_steps"]["r_1s_ohm"]));
    assert!((over - SPME_BIAS).abs() < 0.01, "{over:.4} of the steps' own");
}

/// What the resistance of the single particle model comes to, over that of its own steps: 17 % too much.
const SPME_BIAS: f64 = 1.165;

/// Motor constant, resistance and current of a motor by gym-electric-motor, from the supply's side alone.
#[test]
fn motor_of_gym_electric_motor() {
    let rows = rows("dc_motor.csv");
    let line = |r: &Vec<f64>| format!("{:.2},{:.0},{:.2},{:.1}", r[0], r[1] * 60.0 / TAU, r[2], r[3]);
    let log = log("time [s],rpm [1/min],voltage [V],current [A]", rows.iter().map(line));
    let log = read_bytes(Path::new("x.csv"), log.as_bytes(), &Default::default()).unwrap().remove(0);
    let demand = motor::demand(&log, None).expect("a motor");
    let truth = truth("dc_motor");
    assert!(demand.motor.at_full_demand);
    let off = |found: f64, key: &str| (found / number(&truth[key]) - 1.0).abs();
    assert!(off(demand.motor.constant, "motor_constant_v_s") < 0.02, "{:?}", demand.motor);
    assert!(off(demand.motor.resistance, "resistance_ohm") < 0.02, "{:?}", demand.motor);
    // Driven rows: the motor's current within some per cent of the model's own; the pack's is far below it at part
    // demand.
    let driven = || rows.iter().zip(&demand.current).filter(|(r, _)| r[4] > 15.0 && r[1] > 300.0);
    let errors: Vec<f64> = driven().map(|(r, i)| (i / r[4] - 1.0).abs()).collect();
    let by_pack: Vec<f64> = driven().map(|(r, _)| (r[3] / r[4] - 1.0).abs()).collect();
    let (found, pack) = (quantile(errors, 0.8).unwrap(), quantile(by_pack, 0.8).unwrap());
    assert!(found < 0.03 && found < pack / 4.0, "four rows in five within {found:.3}, the pack's current {pack:.3}");
}

/// A car whose motor travels 30 mm a turn: 63.025 mm · π / 6.6.
const TRAVELS_30_MM: &str = "[cars.c]\nspur = 66\npinion = 10\ninternal_ratio = 1\ntyre_diameter_mm = 63.0253";

/// What the log of a car with slip carries beside time and revs.
#[derive(Clone, Copy)]
struct Carries {
    ground: bool,
    throttle: bool,
}

/// The run of commonroad-vehicle-models as the program sees it. As many turns a minute as a model car's motor makes:
/// the number means nothing else here. The throttle, where the log carries it, tells wheels that brake from wheels that
/// drive.
fn slip_of(file: &str, carries: Carries) -> Value {
    let line = |r: Vec<f64>| {
        let throttle = format!(",{:.0}", (100.0 * r[3] / 18.0).clamp(-100.0, 100.0));
        let ground = format!(",{:.2}", r[2]);
        let some = |carried: bool, cell: String| if carried { cell } else { String::new() };
        let (throttle, ground) = (some(carries.throttle, throttle), some(carries.ground, ground));
        format!("{:.2},{:.0}{throttle}{ground}", r[0], 2000.0 * r[1])
    };
    let throttle = if carries.throttle { ",throttle [%]" } else { "" };
    let ground = if carries.ground { ",ground speed [m/s]" } else { "" };
    let header = format!("time [s],rpm [1/min]{throttle}{ground}");
    reviewed(&log(&header, rows(file).into_iter().map(line)), TRAVELS_30_MM, "")["wheelspin"].clone()
}

/// Stretches of the truth that end before `end`.
fn stretches(what: &str, end: f64) -> Vec<Value> {
    let all = truth("tyre_slip")[what].as_array().unwrap().clone();
    all.into_iter().filter(|s| number(&s["end_s"]) < end).collect()
}

/// Wheel speed against car speed with known slip: commonroad-vehicle-models, told from the wheels alone and with the
/// speed over ground, with the throttle in the log and without. The file at 50 Hz is the same run as the one at 20 Hz,
/// its first 72 s: not a second witness.
#[rstest]
#[case("tyre_slip.csv", 120.0)]
#[case("tyre_slip_50hz.csv", 72.0)]
fn slip_by_commonroad_vehicle_models(
    #[case] file: &str,
    #[case] end: f64,
    #[values(false, true)] ground: bool,
    #[values(false, true)] throttle: bool,
) {
    let found = slip_of(file, Carries { ground, throttle });
    assert_eq!(found["can_tell"], true);
    let (events, spins) = (found["events"].as_array().unwrap(), stretches("spins", end));
    assert_eq!(events.len(), spins.len(), "{events:?}");
    let (edge, slip, share) = if ground { (0.02, 0.02, 0.01) } else { (0.03, 0.06, 0.02) };
    for (event, spin) in events.iter().zip(&spins) {
        let off = |key: &str| (number(&event[key]) - number(&spin[key])).abs();
        assert!(off("start_s") < edge && off("end_s") < edge, "{event} for {spin}");
        assert!(off("peak_slip") < slip, "{event} for {spin}");
    }
    let seconds: f64 = spins.iter().map(|s| number(&s["end_s"]) - number(&s["start_s"])).sum();
    assert!((number(&found["seconds"]) / seconds - 1.0).abs() < share, "{} s for {seconds}", found["seconds"]);
}

/// Wheels that the brake has locked come back up to the car's speed faster than any drive: that is no wheelspin.
#[rstest]
#[case("tyre_slip.csv", 120.0, 2)]
#[case("tyre_slip_50hz.csv", 72.0, 1)]
fn locked_wheels_are_no_wheelspin(
    #[case] file: &str,
    #[case] end: f64,
    #[case] count: usize,
    #[values(false, true)] ground: bool,
    #[values(false, true)] throttle: bool,
) {
    let (found, locks) = (slip_of(file, Carries { ground, throttle }), stretches("locks", end));
    assert_eq!(locks.len(), count);
    for lock in &locks {
        // The wheels take half a second to come back to the car's speed.
        let (from, to) = (number(&lock["start_s"]) - 0.5, number(&lock["end_s"]) + 1.0);
        let meets = |e: &&Value| number(&e["start_s"]) < to && from < number(&e["end_s"]);
        let wrong: Vec<&Value> = found["events"].as_array().unwrap().iter().filter(meets).collect();
        assert!(wrong.is_empty(), "{wrong:?} at the lock {lock}");
    }
}

/// The heat of the motor as the program forecasts it for `end` seconds into a log that stops at `until`. `line` gives a
/// row of time, rpm, voltage, current and motor temperature.
fn forecast(file: &str, line: impl Fn(&[f64]) -> String, air_c: f64, until: f64, end: f64) -> Value {
    let rows = rows(file).into_iter().filter(|r| r[0] < until);
    let log = log("time [s],rpm [1/min],voltage [V],current [A],motor temperature [°C]", rows.map(|r| line(&r)));
    let air = format!("ambient_c = {air_c}");
    // A race is counted from the first passing, which is found in the revs.
    let first = number(&reviewed(&log, "[cars.c]", &air)["laps"]["first_passing_s"]["value"]);
    reviewed(&log, &format!("[race]\nlength_s = {}\n[cars.c]", end - first), &air)["heat"]["motor"].clone()
}

/// Integration check, from a log's bytes to the forecast: a motor of two heat nodes with a lagging sensor. The
/// equations are ours, scipy integrates them; the truth of others is in `race_end_of_a_motor_by_opensourceleg`. A drive
/// without loss between pack and motor is put in front of it (0.0017 V·s, 11 mΩ, 7.4 V), so that the program has to
/// work out the motor's current first.
#[rstest]
#[case(300.0, "sensor_c_at_300_s")]
#[case(480.0, "sensor_c_at_480_s")]
fn race_end_of_our_equations_integrated_by_scipy(#[case] end: f64, #[case] key: &str) {
    let line = |r: &[f64]| {
        let (i, omega) = (r[1], r[2]);
        let pack = i * (0.0017 * omega + 0.011 * i) / 7.4;
        format!("{:.1},{:.0},7.40,{pack:.2},{:.0}", r[0], omega * 60.0 / TAU, r[4])
    };
    let found = forecast("lumped_heat.csv", line, 24.0, 0.55 * end, end)["race_end_c"].clone();
    let truth = number(&truth("lumped_heat")[key]);
    let half_width = (number(&found["high"]) - number(&found["low"])) / 2.0;
    assert!(
        (number(&found["value"]) - truth).abs() < 3.0 && holds(&found, truth) && half_width < 4.0,
        "{found} for {truth}"
    );
}

/// Race end from the first 55 %: winding and case by opensourceleg's thermal model, whose heat capacities and
/// resistances were fitted to a real motor on a bench. Its case takes a thousand seconds to warm, so that hardly a
/// third of that is seen. **Known bias**: from 165 s the forecast for 300 s is 1.0 °C low, the unsafe side, within its
/// interval.
#[rstest]
#[case(300.0, "case_c_at_300_s", 1.2)]
#[case(480.0, "case_c_at_480_s", 1.0)]
fn race_end_of_a_motor_by_opensourceleg(#[case] end: f64, #[case] key: &str, #[case] near_c: f64) {
    let truth: Value = serde_json::from_str(&reference("motor_case.json")).unwrap();
    let line = |r: &[f64]| format!("{:.1},{:.0},{:.2},{:.2},{:.0}", r[0], r[1], r[2], r[3], r[5]);
    let heat = forecast("motor_case.csv", line, number(&truth["air_c"]), 0.55 * end, end);
    let (found, case_c) = (&heat["race_end_c"], number(&truth[key]));
    assert!((number(&found["value"]) - case_c).abs() < near_c && holds(found, case_c), "{found} for {case_c}");
    let constant = &heat["time_constant_range_s"];
    assert!(holds(constant, number(&truth["case_time_constant_s"])), "{constant} s");
}

/// A part of one heat node: warming and cooling in closed form, T = T_air + (T₀ − T_air)·exp(−t/τ) (Newton's law of
/// cooling).
#[test]
fn one_heat_node_in_closed_form() {
    let (air, settled, constant) = (20.0, 90.0, 200.0);
    let reading: Vec<f64> =
        (0..150).map(|n| settled + (air - settled) * (-(2.0 * f64::from(n) + 1.0) / constant).exp()).collect();
    let even = vec![1.0; reading.len()];
    let record = Record {
        step_s: 2.0,
        start_s: 0.0,
        copper: even.clone(),
        spin: even.clone(),
        flow: even,
        reading,
        quantum: 0.01,
        air: Uncertain::new(air, 0.1),
        coefficient: 0.0,
        expected: None,
    };
    let warming = record.fit(None).expect("a fit");
    let found = warming.time_constant_s();
    assert!((found.value / constant - 1.0).abs() < 0.03, "{found:?}");
    let closed = settled + (air - settled) * (-500.0f64 / constant).exp();
    let forecast = warming.forecast(500.0, &LoadScatter { relative: 0.0, laps: 1, lap_s: 15.0 });
    // A second node that the run does not show is left open: half a degree more than of one node alone.
    assert!((forecast.value - closed).abs() < 1.0 && forecast.holds(closed), "{forecast:?} for {closed}");
    // Switched off at 80 °C: 60 °C above the air fall to 60/e after one time constant.
    let off = Scene { start_c: 80.0, air_c: air, copper: 0.0, spin: 0.0, cooling: 1.0, seconds: constant };
    let cooled = warming.imagined(&off);
    assert!((cooled.value - (air + 60.0 / std::f64::consts::E)).abs() < 0.7, "{cooled:?}");
}

/// Time to a limit: t = τ·ln((I² − Ip²) / (I² − (k·I_B)²)) of a motor of one time constant that ran at Ip before, by
/// IEC 60255-149 (thermal electrical relays; the standard not opened, the formula as the manuals of such relays print
/// it). A handbook's formula, not a measurement: measured curves with a licence were looked for and not found.
#[rstest]
#[case::cold(0.0, 1.2)]
#[case::warm(0.6, 1.2)]
#[case::cold_and_hard(0.0, 1.6)]
fn time_to_a_limit_by_iec_60255_149(#[case] before: f64, #[case] current: f64) {
    let (air, limit_k, constant) = (20.0, 60.0, 240.0);
    let due = constant * ((current * current - before * before) / (current * current - 1.0)).ln();
    let (start_k, end_k) = (limit_k * before * before, limit_k * current * current);
    let seen = (0.6 * due / 2.0) as usize;
    let at = |n: usize| air + end_k + (start_k - end_k) * (-(2.0 * n as f64 + 1.0) / constant).exp();
    let even = vec![1.0; seen];
    let record = Record {
        step_s: 2.0,
        start_s: 0.0,
        copper: even.clone(),
        spin: even.clone(),
        flow: even,
        reading: (0..seen).map(at).collect(),
        quantum: 0.1,
        air: Uncertain::new(air, 0.6),
        coefficient: 0.0,
        expected: None,
    };
    let found = record.fit(None).unwrap().time_to(air + limit_k, 0.0, 3600.0).expect("a time");
    assert!((found.value / due - 1.0).abs() < 0.03 && found.holds(due), "{found:?} s for {due}");
}

/// Slopes with their 95 % intervals, S and exact p of small series: scipy's Theil-Sen and Kendall's tau, and
/// pymannkendall. The interval decides every verdict of a trend. Where values tie, scipy narrows it by their variance;
/// ours is that of the exact test without ties, which is never narrower.
#[test]
fn trends_of_scipy_and_pymannkendall() {
    let all: serde_json::Map<String, Value> = serde_json::from_str(&reference("mann_kendall.json")).unwrap();
    assert!(all.len() >= 12);
    for (name, series) in all {
        let values: Vec<f64> = series["values"].as_array().unwrap().iter().map(number).collect();
        let found = slope_by_order(&values, 0.95).unwrap();
        let near = |a: f64, key: &str| (a - number(&series[key])).abs() < 1e-8;
        assert!(near(found.per_step, "theil_slope"), "{name}: {found:?}");
        assert!(near(found.s as f64, "s"), "{name}: {found:?}");
        let (low, high) = found.interval.expect("an interval from five values on");
        let (their_low, their_high) = (number(&series["theil_low_95"]), number(&series["theil_high_95"]));
        let ties = series["ties"] == true;
        if ties {
            assert!(low <= their_low + 1e-8 && high >= their_high - 1e-8, "{name}: {found:?}");
        } else {
            assert!(near(low, "theil_low_95") && near(high, "theil_high_95"), "{name}: {found:?}");
        }
        let p = if ties { "mann_kendall_normal_p" } else { "kendall_exact_p" };
        assert!(near(found.p, p), "{name}: {found:?} for {}", series[p]);
    }
}
