//! Logs that are not the run's.

use std::path::Path;
use std::sync::Arc;

use runtrue::import::read_bytes;
use runtrue::storage::{Converted, LogFormat, write_log_to};
use toml_edit::value;

use super::fault::Fault;
use super::judge::Question::{Battery, Gearing, Motor};

const NAMES: [&str; 1] = ["log"];

pub fn faults() -> Vec<Fault> {
    vec![twice(), exchanged()]
}

/// The log of a run stands under another run of the car as well, which keeps its own list.
fn twice() -> Fault {
    let manners = [("the same file", 0.0), ("a copy of it", 1.0), ("a converted copy", 2.0)];
    Fault::wide("one log under two runs", &manners, &NAMES, &[Motor, Battery, Gearing], |weekend, at| {
        let other = weekend.of_same_car(at.run).into_iter().find(|n| *n != at.run)?;
        let (own, others) = (weekend.runs[at.run].log.clone(), weekend.runs[other].log.clone());
        if at.strength == 0.0 {
            weekend.set_run(other, "log", value(own));
            return Some(vec![at.run, other]);
        }
        let mut bytes = weekend.files[&own].as_ref().clone();
        if at.strength > 1.0 {
            let log = read_bytes(Path::new(&own), &bytes, &Default::default()).ok()?.remove(0);
            let mark = Converted::from_log(&bytes);
            bytes.clear();
            write_log_to(&log, LogFormat::Csv, mark, &mut bytes).ok()?;
        }
        weekend.files.insert(others, Arc::new(bytes));
        Some(vec![at.run, other])
    })
}

/// The logs of two cars stand under each other's run.
fn exchanged() -> Fault {
    let names = ["log", "laps"];
    let put = |weekend: &mut super::weekend::Weekend, at: super::fault::At| {
        let car = &weekend.runs[at.run].car;
        let other = (0..weekend.runs.len()).find(|n| weekend.runs[*n].car != *car)?;
        let (own, others) = (weekend.runs[at.run].log.clone(), weekend.runs[other].log.clone());
        weekend.set_run(at.run, "log", value(others));
        weekend.set_run(other, "log", value(own));
        Some(vec![at.run, other])
    };
    Fault::wide("logs of two cars exchanged", &[("", 0.0)], &names, &[Motor, Battery, Gearing], put).on_weekend()
}
