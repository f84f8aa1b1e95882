//! Wrong values on the sheet.

use toml_edit::value;

use super::fault::Fault;
use super::judge::Question::{self, Air, Battery, Controller, Gearing, Motor, Next};
use super::weekend::Weekend;

pub fn faults() -> Vec<Fault> {
    vec![
        // 212 and 185 °F are 100 and 85 °C; 250 is the most that the sheet takes.
        replaced("limits.motor_c", &[("250 °C", 250.0), ("212 °C", 212.0), ("185 °C", 185.0)], Motor),
        replaced("limits.esc_c", &[("250 °C", 250.0), ("212 °C", 212.0), ("194 °C", 194.0)], Controller),
        scaled("mass_kg", &[("in grams", 1000.0), ("× 3", 3.0), ("× 2", 2.0)], Next),
        scaled("tyre_diameter_mm", &[("in cm", 0.1), ("as radius", 0.5), ("× 0.8", 0.8)], Gearing),
        scaled("battery.capacity_mah", &[("÷ 20", 0.05), ("÷ 10", 0.1), ("÷ 8", 0.125)], Battery),
        cells(),
        lap_length(),
        air_of_all("air in °F", &[("", 0.0)], |c, _| 1.8 * c + 32.0),
        air_of_all("air of all runs", &[("60 °C", 60.0)], |_, to| to),
        air_of_one("air of one run too high", &[("by 25 °C", 25.0), ("by 20 °C", 20.0), ("by 15 °C", 15.0)]),
        air_of_one("air of one run too low", &[("by 25 °C", -25.0), ("by 20 °C", -20.0), ("by 15 °C", -15.0)]),
    ]
}

/// Another value of a car's key, in all of its runs.
fn on_car(
    name: String,
    key: &'static str,
    strengths: &[(&'static str, f64)],
    spoils: Question,
    change: impl Fn(f64, f64) -> f64 + Send + Sync + 'static,
) -> Fault {
    Fault::wide(name, strengths, &[key], &[spoils], move |weekend, at| {
        let old = weekend.number(at.run, key).unwrap_or(f64::NAN);
        let new = change(old, at.strength);
        let car = weekend.runs[at.run].car.clone();
        new.is_finite().then(|| weekend.set_car(&car, key, new))?;
        Some(weekend.of_same_car(at.run))
    })
}

fn replaced(key: &'static str, strengths: &[(&'static str, f64)], spoils: Question) -> Fault {
    on_car(format!("`{key}`"), key, strengths, spoils, |_, new| new)
}

fn scaled(key: &'static str, strengths: &[(&'static str, f64)], spoils: Question) -> Fault {
    on_car(format!("`{key}`"), key, strengths, spoils, |old, factor| old * factor)
}

/// One cell for a pack of two, two or three for one that has fewer.
fn cells() -> Fault {
    let key = "battery.cells";
    let counts = [("two more", 2.0), ("one more", 1.0), ("one fewer", -1.0)];
    on_car(format!("`{key}`"), key, &counts, Battery, |old, more| if old + more >= 1.0 { old + more } else { f64::NAN })
}

fn lap_length() -> Fault {
    let names = ["lap_length_m", "track.lap_length_m"];
    let shares = [("10 % long", 1.10), ("7 % short", 0.93), ("5 % long", 1.05)];
    let put = |weekend: &mut Weekend, at: super::fault::At| {
        let length = &mut weekend.sheet["track"]["lap_length_m"];
        let old = length.as_float().or(length.as_integer().map(|i| i as f64))?;
        *length = value(old * at.strength);
        Some((0..weekend.runs.len()).collect())
    };
    Fault::wide("lap length", &shares, &names, &[Gearing], put).on_weekend()
}

fn air_of_all(name: &str, strengths: &[(&'static str, f64)], change: fn(f64, f64) -> f64) -> Fault {
    Fault::wide(name, strengths, &["ambient_c"], &[Air], move |weekend, at| {
        for run in 0..weekend.runs.len() {
            let air = weekend.air_c(run)?;
            weekend.set_run(run, "ambient_c", value(change(air, at.strength)));
        }
        Some((0..weekend.runs.len()).collect())
    })
    .on_weekend()
}

fn air_of_one(name: &str, strengths: &[(&'static str, f64)]) -> Fault {
    Fault::new(name, strengths, &["ambient_c"], &[Air], |weekend, at| {
        let air = weekend.air_c(at.run)?;
        weekend.set_run(at.run, "ambient_c", value(air + at.strength));
        Some(())
    })
}
