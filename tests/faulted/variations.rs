//! Sound weekends in other forms, all of which happen and none of which is a fault: nothing may be remarked on them.

use std::path::Path;
use std::sync::Arc;

use runtrue::import::read_bytes;
use runtrue::log::Channel::{ControllerTemperature, Current, MotorTemperature};
use runtrue::storage::{Converted, LogFormat, write_log_to};

use super::weekend::{Record, Weekend};

/// A sound weekend in another form.
pub struct Variation {
    /// What is other.
    pub name: &'static str,
    /// Makes it so.
    pub put: fn(&mut Weekend),
}

/// Share of the log after which a recorder was switched off, and before which it was switched on.
const SWITCHED_OFF: f64 = 0.7;
const SWITCHED_ON: f64 = 0.15;
/// Motor limits that racers set, °C.
const LOW_LIMIT_C: f64 = 75.0;
const HIGH_LIMIT_C: f64 = 120.0;

/// All variations, the plain weekend first.
pub const VARIATIONS: [Variation; 13] = [
    Variation { name: "as it is", put: |_| () },
    Variation { name: "current of the other sign", put: |w| each_log(w, reverse_current) },
    Variation { name: "temperatures in °F", put: |w| each_log(w, in_fahrenheit) },
    Variation { name: "logs converted", put: converted },
    Variation { name: "logs end early", put: |w| each_log(w, |r| cut(r, 0.0, SWITCHED_OFF)) },
    Variation { name: "logs start late", put: |w| each_log(w, |r| cut(r, SWITCHED_ON, 1.0)) },
    Variation { name: "lists end early", put: short_lists },
    Variation { name: "no lists", put: without_lists },
    Variation { name: "one run of each car", put: lone_runs },
    Variation { name: "no lap length", put: |w| leave_out(w, "track", "lap_length_m") },
    Variation { name: "no air", put: without_air },
    Variation { name: "a low motor limit", put: |w| motor_limit(w, LOW_LIMIT_C) },
    Variation { name: "a high motor limit", put: |w| motor_limit(w, HIGH_LIMIT_C) },
];

fn each_log(weekend: &mut Weekend, change: impl Fn(&mut Record) -> Option<()>) {
    for run in 0..weekend.runs.len() {
        weekend.edit_log(run, &change);
    }
}

fn reverse_current(record: &mut Record) -> Option<()> {
    record.column(Current)?.values.iter_mut().for_each(|v| *v = -*v);
    Some(())
}

fn in_fahrenheit(record: &mut Record) -> Option<()> {
    for channel in [MotorTemperature, ControllerTemperature] {
        let column = record.column(channel)?;
        column.header = column.header.replace("°C", "°F");
        column.decimals = 1;
        column.values.iter_mut().for_each(|v| *v = *v * 1.8 + 32.0);
    }
    Some(())
}

/// Leaves the rows between two shares of the log's time.
fn cut(record: &mut Record, from: f64, to: f64) -> Option<()> {
    let (first, last) = (record.row_at(from), record.row_at(to));
    record.time_s = record.time_s[first..last].to_vec();
    record.columns.iter_mut().for_each(|c| c.values = c.values[first..last].to_vec());
    Some(())
}

fn converted(weekend: &mut Weekend) {
    for run in &weekend.runs {
        let own = weekend.files[&run.log].as_slice();
        let log = read_bytes(Path::new(&run.log), own, &Default::default()).unwrap().remove(0);
        let mut bytes = Vec::new();
        write_log_to(&log, LogFormat::Csv, Converted::from_log(own), &mut bytes).unwrap();
        weekend.files.insert(run.log.clone(), Arc::new(bytes));
    }
}

fn short_lists(weekend: &mut Weekend) {
    for run in 0..weekend.runs.len() {
        if let Some(times) = weekend.lap_times(run) {
            weekend.set_lap_times(run, &times[..times.len() * 2 / 3]);
        }
    }
}

fn without_lists(weekend: &mut Weekend) {
    each_run(weekend, |table| drop(table.remove("laps")));
}

fn without_air(weekend: &mut Weekend) {
    each_run(weekend, |table| drop(table.remove("ambient_c")));
}

fn each_run(weekend: &mut Weekend, change: impl Fn(&mut toml_edit::Table)) {
    weekend.sheet["runs"].as_array_of_tables_mut().unwrap().iter_mut().for_each(change);
}

fn lone_runs(weekend: &mut Weekend) {
    let second = |n: &usize| weekend.of_same_car(*n)[0] != *n;
    let gone: Vec<usize> = (0..weekend.runs.len()).filter(second).collect();
    let tables = weekend.sheet["runs"].as_array_of_tables_mut().unwrap();
    for n in gone.iter().rev() {
        tables.remove(*n);
        let run = weekend.runs.remove(*n);
        weekend.files.remove(&run.log);
        run.laps.iter().for_each(|laps| drop(weekend.files.remove(laps)));
    }
}

fn leave_out(weekend: &mut Weekend, table: &str, key: &str) {
    weekend.sheet[table].as_table_mut().unwrap().remove(key);
}

fn motor_limit(weekend: &mut Weekend, celsius: f64) {
    for n in 0..weekend.runs.len() {
        let car = weekend.runs[n].car.clone();
        weekend.set_car(&car, "limits.motor_c", celsius);
    }
}
