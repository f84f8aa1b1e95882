//! Motors of two and of three thermal nodes, under even and under raced load: a generator apart from the crate and from
//! both forward models, and how the forecasts come out against it. For `tests/heat_nodes.rs` and `benches/accuracy.rs`.
//!
//! winding → can → mount → air, the can to the air as well, each C·dT/dt = heat in − sum of G·(T − T_next), in steps of
//! 20 ms. Time constants are each drawn over a factor of four: winding 15 to 60 s, can 100 to 400 s, mount 400 to 1600
//! s. The sensor is on the can or anywhere between it and the winding, and lags. The log has revs, volts, amperes and a
//! rounded temperature; a drive without loss of its own stands between pack and motor. Ranges: common practice, no
//! source.
#![allow(dead_code)] // each user takes what it needs

use std::f64::consts::TAU;
use std::fmt::Write;
use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use runtrue::evidence::RunEvidence;
use runtrue::import::read_bytes;
use runtrue::laps;
use runtrue::laps::lists::LapList;
use runtrue::laps::odometer::Odometer;
use runtrue::log::Channel;
use runtrue::measure::heat::{Heat, HeatVerdict};
use runtrue::measure::{self};
use runtrue::quantity::Estimate;
use runtrue::sheet::{RunPlan, Sheet};

/// Shares of the race after which the log ends.
pub const SHARES: [f64; 4] = [0.40, 0.55, 0.70, 0.85];
/// Step of the integration and of the log, s.
const STEP_S: f64 = 0.02;
const ROW_S: f64 = 0.2;
/// Motor: V·s, Ω, and the pack, V.
const CONSTANT: f64 = 0.0017;
const OHM: f64 = 0.011;
const PACK_V: f64 = 7.4;
/// Copper, 1/K at 20 °C.
const COPPER: f64 = 0.003_93;
/// Rows of the log that the straight line is laid through, s.
const LINE_S: f64 = 40.0;

/// How many nodes, and how it is loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Kind {
    /// Whether the can leads heat into a mount.
    pub three: bool,
    /// Whether the load is even; else it is raced.
    pub even: bool,
}

/// All kinds.
pub const KINDS: [Kind; 4] = [
    Kind { three: false, even: true },
    Kind { three: false, even: false },
    Kind { three: true, even: true },
    Kind { three: true, even: false },
];

/// A forecast against what the sensor read.
#[derive(Debug, Clone, Copy)]
pub struct End {
    pub kind: Kind,
    pub seed: u64,
    /// Share of the race that the log has.
    pub share: f64,
    pub found: Estimate,
    pub truth_c: f64,
    /// The straight line through the last rows, at the race's end, °C.
    pub line_c: f64,
    pub verdict: HeatVerdict,
    pub limit_c: f64,
}

impl End {
    pub fn held(&self) -> bool {
        self.found.holds(self.truth_c)
    }

    pub fn off(&self) -> f64 {
        self.found.value - self.truth_c
    }

    pub fn width(&self) -> f64 {
        self.found.high - self.found.low
    }
}

/// A motor, its load and how it is recorded.
struct Motor {
    /// Winding, can, mount, J/K.
    capacity: [f64; 3],
    /// Winding to can, can to mount, W/K.
    inwards: [f64; 2],
    /// Can and mount to air, W/K, at the mean speed.
    to_air: [f64; 2],
    /// Share of the can's cooling that goes with speed.
    by_speed: f64,
    /// Share of the winding in what the sensor feels, and its lag, s.
    on_winding: f64,
    lag_s: f64,
    /// Loss with the mean square of the current, and with the mean speed, W.
    copper_w: f64,
    speed_w: f64,
    air_c: f64,
    /// How far above the air it starts, °C.
    warm_k: f64,
}

/// What is asked of it: amperes and revs over the places of a lap, scatter of the laps.
struct Load {
    waits_s: f64,
    race_s: f64,
    lap_s: f64,
    places: Vec<f64>,
    laps: Vec<f64>,
    even: bool,
}

/// Current (A) and speed (rad/s) of the motor.
#[derive(Clone, Copy)]
struct Moment {
    ampere: f64,
    omega: f64,
}

const MEAN_A: f64 = 22.0;
const MEAN_OMEGA: f64 = 2400.0;

impl Load {
    fn draw(rng: &mut ChaCha8Rng, even: bool) -> Self {
        let places = (0..10).map(|_| rng.random_range(0.0..1.0)).collect();
        let laps = (0..80).map(|_| 1.0 + rng.random_range(-0.06..0.06)).collect();
        let race_s = if rng.random_range(0.0..1.0) < 0.5 { 300.0 } else { 480.0 };
        Self { waits_s: rng.random_range(4.0..25.0), race_s, lap_s: rng.random_range(11.0..18.0), places, laps, even }
    }

    fn end_s(&self) -> f64 {
        self.waits_s + self.race_s + 2.0 * self.lap_s
    }

    fn at(&self, at_s: f64) -> Moment {
        if at_s < self.waits_s {
            return Moment { ampere: 0.0, omega: 0.0 };
        }
        let laps = (at_s - self.waits_s) / self.lap_s;
        let place = laps.fract() * self.places.len() as f64;
        // A mark in the revs once a lap, by which the list is laid.
        if self.even {
            return Moment { ampere: MEAN_A, omega: MEAN_OMEGA * if place < 0.5 { 0.9 } else { 1.0 } };
        }
        let (before, after) = (place as usize, (place as usize + 1) % self.places.len());
        let pull = self.places[before] + place.fract() * (self.places[after] - self.places[before]);
        let scatter = self.laps[(laps as usize).min(self.laps.len() - 1)];
        Moment { ampere: 2.0 * MEAN_A * pull * scatter, omega: MEAN_OMEGA * (0.6 + 0.8 * (1.0 - pull)) }
    }

    fn passings(&self) -> Vec<f64> {
        (0..).map(|lap| f64::from(lap) * self.lap_s).take_while(|at| *at < self.race_s + self.lap_s).collect()
    }
}

impl Motor {
    fn draw(rng: &mut ChaCha8Rng, three: bool) -> Self {
        let mut over_four = |low: f64| low * 4f64.powf(rng.random_range(0.0..1.0));
        let constants = [over_four(15.0), over_four(100.0), over_four(400.0)];
        let can = 60.0;
        let capacity = [can * rng.random_range(0.1..0.35), can, can * rng.random_range(1.5..5.0)];
        let (out, mount) = (can / constants[1], capacity[2] / constants[2]);
        let into_mount = if three { out * rng.random_range(0.2..0.6) } else { 0.0 };
        Self {
            capacity,
            inwards: [capacity[0] / constants[0], into_mount],
            to_air: [out - into_mount, (mount - into_mount).max(0.1 * mount)],
            by_speed: rng.random_range(0.1..0.7),
            on_winding: if rng.random_range(0.0..1.0) < 0.5 { 0.0 } else { rng.random_range(0.1..1.0) },
            lag_s: rng.random_range(1.0..10.0),
            copper_w: rng.random_range(0.4..0.8),
            speed_w: 0.0,
            air_c: rng.random_range(12.0..34.0),
            warm_k: if rng.random_range(0.0..1.0) < 0.3 { rng.random_range(3.0..15.0) } else { 0.0 },
        }
    }

    /// Scales the losses so that the sensor reads about `rise_k` above the air at the race's end.
    fn warmed_by(mut self, load: &Load, rise_k: f64) -> Self {
        let watt = 10.0;
        (self.copper_w, self.speed_w) = (watt * self.copper_w, watt * (1.0 - self.copper_w));
        for _ in 0..4 {
            let end = self.sensor(load)[((load.waits_s + load.race_s) / STEP_S) as usize];
            let factor = rise_k / (end - self.air_c).max(1.0);
            (self.copper_w, self.speed_w) = (factor * self.copper_w, factor * self.speed_w);
        }
        self
    }

    /// What the sensor reads at every step.
    fn sensor(&self, load: &Load) -> Vec<f64> {
        let warm = self.air_c + self.warm_k;
        let ([mut winding, mut can, mut mount], mut sensor) = ([warm, warm, self.air_c + 0.5 * self.warm_k], warm);
        let steps = (load.end_s() / STEP_S) as usize;
        let mut read = Vec::with_capacity(steps);
        for step in 0..steps {
            let Moment { ampere, omega } = load.at(step as f64 * STEP_S);
            let (current, speed) = (ampere / MEAN_A, omega / MEAN_OMEGA);
            let copper = self.copper_w * current * current * (1.0 + COPPER * (winding - 20.0));
            let iron = self.speed_w * 0.5 * (speed + speed * speed);
            let across = self.inwards[0] * (winding - can);
            let aside = self.inwards[1] * (can - mount);
            let out = self.to_air[0] * (1.0 + self.by_speed * (speed - 1.0)) * (can - self.air_c);
            let felt = can + self.on_winding * (winding - can);
            winding += STEP_S * (copper - across) / self.capacity[0];
            can += STEP_S * (iron + across - aside - out) / self.capacity[1];
            mount += STEP_S * (aside - self.to_air[1] * (mount - self.air_c)) / self.capacity[2];
            sensor += STEP_S * (felt - sensor) / self.lag_s;
            read.push(sensor);
        }
        read
    }
}

/// The log up to `until_s`, with a temperature in steps of `step_c`.
fn log_text(load: &Load, sensor: &[f64], until_s: f64, step_c: f64, rng: &mut ChaCha8Rng) -> String {
    let mut text = String::from("time [s],rpm [1/min],voltage [V],current [A],motor temperature [°C]\n");
    for row in 0..(until_s / ROW_S) as usize {
        let at_s = row as f64 * ROW_S;
        let Moment { ampere, omega } = load.at(at_s);
        let pack_a = ampere * (CONSTANT * omega + OHM * ampere) / PACK_V;
        let seen = sensor[(at_s / STEP_S) as usize] + rng.random_range(-0.08..0.08);
        let (rpm, celsius) = (omega * 60.0 / TAU, (seen / step_c).round() * step_c);
        writeln!(text, "{at_s:.1},{rpm:.0},{PACK_V:.2},{pack_a:.2},{celsius:.1}").unwrap();
    }
    text
}

/// The program's answer for the motor of a log.
fn answer(text: &str, load: &Load, air_c: f64) -> Heat {
    let log = read_bytes(Path::new("x.csv"), text.as_bytes(), &Default::default()).unwrap().remove(0);
    let plan = RunPlan { ambient_c: Some(air_c), ..RunPlan::default() };
    let last_s = log.time()[log.time().len() - 1] - load.waits_s;
    let passings = load.passings().into_iter().filter(|at| *at <= last_s).collect();
    let list = LapList { passings, ..LapList::default() };
    // The laps come from the revs alone: these amperes heat a motor and move no car, so they tell nothing of slip.
    let revs = log.channel(Channel::Rpm).unwrap().to_vec();
    let laps = laps::measure(Odometer::from_rows(log.time().to_vec(), revs), Some(&list), None);
    let sheet = Sheet { race_s: Some(load.race_s), ..Sheet::default() };
    measure::measure(&log, &laps, &plan, &sheet, &RunEvidence::default()).motor
}

/// The forecasts for a motor from each share of its race, where the log shows the race.
pub fn ends_of(kind: Kind, seed: u64) -> Vec<End> {
    let stream = 4 * seed + 2 * u64::from(kind.three) + u64::from(kind.even);
    let rng = &mut ChaCha8Rng::seed_from_u64(stream);
    let load = Load::draw(rng, kind.even);
    let rise_k = rng.random_range(20.0..65.0);
    let motor = Motor::draw(rng, kind.three).warmed_by(&load, rise_k);
    let sensor = motor.sensor(&load);
    let step_c = if rng.random_range(0.0..1.0) < 0.5 { 1.0 } else { 0.1 };
    let air_c = motor.air_c + rng.random_range(-0.5..0.5);
    let read_at = |at_s: f64| sensor[((at_s / STEP_S) as usize).min(sensor.len() - 1)];
    let end = |share: f64| {
        let until_s = load.waits_s + share * load.race_s;
        let heat = answer(&log_text(&load, &sensor, until_s, step_c, rng), &load, air_c);
        let (end_s, found) = heat.course.race_end_s.zip(heat.race_end_c)?;
        let slope = (read_at(until_s) - read_at(until_s - LINE_S)) / LINE_S;
        Some(End {
            kind,
            seed,
            share,
            found,
            truth_c: read_at(end_s),
            line_c: read_at(until_s) + slope * (end_s - until_s),
            verdict: heat.verdict,
            limit_c: heat.limit_c,
        })
    };
    SHARES.into_iter().filter_map(end).collect()
}

/// The forecasts for `seeds` motors of each kind, on all cores.
pub fn ends(seeds: u64) -> Vec<End> {
    let cases: Vec<(Kind, u64)> = KINDS.iter().flat_map(|kind| (0..seeds).map(|seed| (*kind, seed))).collect();
    cases.par_iter().flat_map_iter(|(kind, seed)| ends_of(*kind, *seed)).collect()
}
