//! The physics against models written by others. `tests/reference/peers/README.md` names packages, versions, parameters and the script that made each file.

use std::f64::consts::{PI, TAU};
use std::path::Path;

use rstest::rstest;
use runtrue::import::read_bytes;
use runtrue::laps;
use runtrue::laps::odometer::Odometer;
use runtrue::log::Log;
use runtrue::measure::context::RunContext;
use runtrue::measure::forecast::Scene;
use runtrue::measure::warming::{COPPER, Record};
use runtrue::measure::{battery, motor, wheelspin};
use runtrue::quantity::Uncertain;
use runtrue::sheet::{RunPlan, Setting, Settings, Sheet};
use runtrue::statistics::mean::mean_and_deviation;
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
    value.as_f64().unwrap()
}

/// Rows of a fixture without its header.
fn rows(name: &str) -> Vec<Vec<f64>> {
    reference(name).lines().skip(1).map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect()
}

/// The log that the reader makes of `header` and a line for each row.
fn log(header: &str, rows: impl Iterator<Item = String>) -> Log {
    let text = std::iter::once(header.to_owned()).chain(rows).collect::<Vec<_>>().join("\n");
    read_bytes(Path::new("x.csv"), text.as_bytes(), &Default::default()).unwrap().remove(0)
}

/// Resistance of cells under a race-like current: PyBaMM, an equivalent circuit and a single particle model with electrolyte. A recorder's volts come in steps of
/// 0.01 V and its amperes of 0.1 A.
#[rstest]
#[case("thevenin.csv", "thevenin", "r0_ohm", "r0_plus_r1_ohm", 0.12)]
// The overvoltage of this model grows with the logarithm of the current: a straight line through pulses of all heights lies above the steps'
// own, by up to a quarter.
#[case("spme.csv", "spme", "r_50ms_ohm", "r_1s_ohm", 0.25)]
fn resistance_of_cells_by_pybamm(
    #[case] file: &str,
    #[case] fixture: &str,
    #[case] low: &str,
    #[case] high: &str,
    #[case] open: f64,
) {
    let line = |r: Vec<f64>| format!("{:.2},{:.1},{:.2}", r[0], r[1], r[2]);
    let log = log("time [s],current [A],voltage [V]", rows(file).into_iter().map(line));
    let laps = laps::measure(None, None, None);
    let (plan, sheet) = (RunPlan::default(), Sheet::default());
    let run = RunContext::new(&log, &laps, &plan, &sheet);
    let found = battery::measure(&run).resistance_mohm.expect("a resistance");
    let truth = if fixture == "spme" { truth(fixture)["run_steps"].clone() } else { truth(fixture) };
    let (low, high) = (1000.0 * number(&truth[low]), 1000.0 * number(&truth[high]));
    assert!((1.0 - open) * low < found.value && found.value < (1.0 + open) * high, "{found:?} for {low} to {high}");
}

/// Motor constant, resistance and current of a motor by gym-electric-motor, from the supply's side alone.
#[test]
fn motor_of_gym_electric_motor() {
    let rows = rows("dc_motor.csv");
    let line = |r: &Vec<f64>| format!("{:.2},{:.0},{:.2},{:.1}", r[0], r[1] * 60.0 / TAU, r[2], r[3]);
    let log = log("time [s],rpm [1/min],voltage [V],current [A]", rows.iter().map(line));
    let demand = motor::demand(&log).expect("a motor");
    let truth = truth("dc_motor");
    assert!(demand.motor.at_full_demand);
    let off = |found: f64, key: &str| (found / number(&truth[key]) - 1.0).abs();
    assert!(off(demand.motor.constant, "motor_constant_v_s") < 0.02, "{:?}", demand.motor);
    assert!(off(demand.motor.resistance, "resistance_ohm") < 0.12, "{:?}", demand.motor);
    // Driven rows: the motor's current within some per cent of the model's own; the pack's is far below it at part demand.
    let driven = || rows.iter().zip(&demand.current).filter(|(r, _)| r[4] > 15.0 && r[1] > 300.0);
    let errors: Vec<f64> = driven().map(|(r, i)| (i / r[4] - 1.0).abs()).collect();
    let by_pack: Vec<f64> = driven().map(|(r, _)| (r[3] / r[4] - 1.0).abs()).collect();
    let (found, pack) = (quantile(errors, 0.8).unwrap(), quantile(by_pack, 0.8).unwrap());
    assert!(found < 0.03 && found < pack / 4.0, "four rows in five within {found:.3}, the pack's current {pack:.3}");
}

/// Wheel speed against car speed with known slip: commonroad-vehicle-models, spinning and locked wheels, told from the wheels alone.
#[rstest]
#[case("tyre_slip.csv", 20.0, 120.0)]
#[case("tyre_slip_50hz.csv", 50.0, 72.0)]
fn slip_by_commonroad_vehicle_models(
    #[case] file: &str,
    #[case] rate: f64,
    #[case] end: f64,
    #[values(false, true)] ground: bool,
) {
    // As many turns a minute as a model car's motor makes: the number means nothing else here.
    let line = |r: Vec<f64>| {
        let over_ground = if ground { format!(",{:.2}", r[2]) } else { String::new() };
        format!("{:.2},{:.0},{:.0}{over_ground}", r[0], 2000.0 * r[1], (100.0 * r[3] / 18.0).clamp(-100.0, 100.0))
    };
    let header = format!("time [s],rpm [1/min],throttle [%]{}", if ground { ",ground speed [m/s]" } else { "" });
    let log = log(&header, rows(file).into_iter().map(line));
    let laps = laps::measure(Odometer::new(&log), None, None);
    // A tyre and gears that roll out 30 mm a motor turn.
    let numbers = [("spur", 1.0), ("pinion", 1.0), ("tyre_diameter_mm", 30.0 / PI)];
    let settings = Settings(numbers.map(|(key, value)| (key.to_owned(), Setting::Number(value))).into());
    let (plan, sheet) = (RunPlan { settings, ..RunPlan::default() }, Sheet::default());
    assert!((log.reading.rate_hz - rate).abs() < 0.1);
    let found = wheelspin::measure(&RunContext::new(&log, &laps, &plan, &sheet));
    assert!(found.can_tell);
    let truth = truth("tyre_slip");
    let spins: Vec<&Value> = truth["spins"].as_array().unwrap().iter().filter(|s| number(&s["end_s"]) < end).collect();
    assert_eq!(found.events.len(), spins.len(), "{:?}", found.events);
    let (edge, slip) = if ground { (0.06, 0.03) } else { (0.15, 0.12) };
    for (event, spin) in found.events.iter().zip(&spins) {
        let (start, stop) = (number(&spin["start_s"]), number(&spin["end_s"]));
        assert!((event.start_s - start).abs() < edge && (event.end_s - stop).abs() < edge, "{event:?} for {spin}");
        assert!((event.peak_slip - number(&spin["peak_slip"])).abs() < slip, "{event:?} for {spin}");
    }
    let seconds: f64 = spins.iter().map(|s| number(&s["end_s"]) - number(&s["start_s"])).sum();
    assert!((found.seconds.unwrap() / seconds - 1.0).abs() < 0.12, "{:?} s for {seconds}", found.seconds);
}

/// The record of scipy's two-node motor up to `until`, in steps of two seconds.
fn lumped(until: f64) -> Record {
    let rows: Vec<Vec<f64>> = rows("lumped_heat.csv").into_iter().filter(|r| r[0] < until).collect();
    let steps = (until / 2.0) as usize;
    let mean = |of: &dyn Fn(&Vec<f64>) -> f64| -> Vec<f64> {
        (0..steps)
            .map(|n| {
                let inside: Vec<f64> = rows.iter().filter(|r| (r[0] / 2.0) as usize == n).map(of).collect();
                inside.iter().sum::<f64>() / inside.len() as f64
            })
            .collect()
    };
    let relative = |values: Vec<f64>| {
        let usual = values.iter().sum::<f64>() / values.len() as f64;
        values.into_iter().map(|v| v / usual).collect::<Vec<f64>>()
    };
    Record {
        step_s: 2.0,
        start_s: 0.0,
        copper: relative(mean(&|r| r[1] * r[1])),
        spin: relative(mean(&|r| r[2])),
        flow: relative(mean(&|r| r[3])),
        reading: mean(&|r| r[4]),
        quantum: 1.0,
        air: Uncertain::new(24.0, 0.6),
        coefficient: COPPER,
        expected: None,
    }
}

/// Race end from the first 55 % of a race: a motor of two heat nodes with a lagging sensor, integrated by scipy.
#[rstest]
#[case(300.0, "sensor_c_at_300_s")]
#[case(480.0, "sensor_c_at_480_s")]
fn race_end_of_scipys_motor(#[case] end: f64, #[case] key: &str) {
    let record = lumped(0.55 * end);
    // The laps of 17 s differ, and those to come need not be like those seen: their load is open by the scatter of their means.
    let laps: Vec<f64> = record.copper.chunks_exact(17).map(|two| two.iter().sum::<f64>() / 17.0).collect();
    let (_, scatter) = mean_and_deviation(&laps).unwrap();
    let found = record.fit(None).expect("a fit").forecast(end, scatter * 2f64.sqrt() / (laps.len() as f64).sqrt());
    let truth = number(&truth("lumped_heat")[key]);
    assert!(
        (found.value - truth).abs() < 3.0 && found.holds(truth) && found.half_width() < 4.0,
        "{found:?} for {truth}"
    );
}

/// A part of one heat node: warming and cooling in closed form, T = T_air + (T₀ − T_air)·exp(−t/τ) (Newton's law of cooling).
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
    let forecast = warming.forecast(500.0, 0.0);
    assert!((forecast.value - closed).abs() < 0.5, "{forecast:?} for {closed}");
    // Switched off at 80 °C: 60 K above the air fall to 60/e after one time constant.
    let off = Scene { start_c: 80.0, air_c: air, copper: 0.0, spin: 0.0, cooling: 1.0, seconds: constant };
    let cooled = warming.imagined(&off);
    assert!((cooled.value - (air + 60.0 / std::f64::consts::E)).abs() < 0.7, "{cooled:?}");
}

/// Slopes, S and exact p of small series: scipy's Theil-Sen and Kendall's tau, and pymannkendall.
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
        let p = if series["ties"] == true { "mann_kendall_normal_p" } else { "kendall_exact_p" };
        assert!(near(found.p, p), "{name}: {found:?} for {}", series[p]);
    }
}
