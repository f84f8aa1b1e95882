//! The figures that changes are judged by, and their truth from a model's own states.
//!
//! A review judges changed settings by eight of them. The others it states run by run; here they are compared as the
//! eight are, so that a change's whole reach is seen.

use std::sync::LazyLock;

use runtrue::figure::{self, Figure, Used};
use runtrue::statistics::quantiles::{highest, median, quantile};

/// Keys of the figures, in the order of [`TrueRun`].
pub const KEYS: [&str; 13] = [
    "motor_rise_c",
    "controller_rise_c",
    "top_speed_m_s",
    "top_rpm",
    "realised_ratio",
    "realised_rollout_mm",
    "coast_m_s2",
    "pull_m_s2",
    "median_lap_s",
    "wheelspin_share",
    "used_mah_per_lap",
    "mean_w",
    "battery_resistance_mohm",
];

/// Figures that slipping wheels would falsify if they were taken for a car's speed.
pub const SPOILT_BY_WHEELSPIN: [&str; 5] =
    ["top_speed_m_s", "top_rpm", "realised_ratio", "realised_rollout_mm", "pull_m_s2"];

/// The figures of a run as they truly are, in the order of [`KEYS`].
pub type TrueRun = [f64; KEYS.len()];

/// Rows a second of a log.
pub const RATE_HZ: f64 = 20.0;
/// Slip above which wheels spin, by the definition of the review.
const SPIN_SLIP: f64 = 0.20;
/// Shares of the top speed in whose middle the pull is stated, the throttle that is full, the fewest rows at full
/// throttle, and where there are fewer, by how much a resting hand moves and the share of the rows below the pull: the
/// review's definitions.
const PULL_SPEEDS: (f64, f64) = (0.50, 0.70);
const FULL: f64 = 0.95;
const LEAST_ROWS: usize = 30;
const RESTS: f64 = 0.10;
const ENVELOPE: f64 = 0.9;
/// Amperes times seconds in a milliampere hour.
const A_S_PER_MAH: f64 = 3.6;

/// The figures, all of them as ones that changed settings are judged by.
pub fn catalogue() -> &'static [Figure] {
    static CATALOGUE: LazyLock<Vec<Figure>> = LazyLock::new(|| {
        let judging = |key: &&str| {
            let figure = figure::find(key).unwrap();
            Figure { used: Used { in_trends: false, in_effects: true }, ..*figure }
        };
        KEYS.iter().map(judging).collect()
    });
    &CATALOGUE
}

/// A smaller move of a figure than this is none, by its level: less than anybody would change a car for.
pub fn least_move(key: &str, level: f64) -> f64 {
    match key {
        "motor_rise_c" | "controller_rise_c" => 0.2,
        "wheelspin_share" => 0.001,
        "top_speed_m_s" | "top_rpm" | "realised_ratio" | "realised_rollout_mm" | "median_lap_s" => 0.001 * level,
        "pull_m_s2" => 0.01 * level,
        _ => 0.005 * level,
    }
}

/// Unit of a figure as it is printed here, and by what its value is multiplied for it.
pub fn shown(key: &str) -> (&'static str, &'static str, f64) {
    match key {
        "motor_rise_c" => ("motor", "K", 1.0),
        "controller_rise_c" => ("controller", "K", 1.0),
        "top_speed_m_s" => ("top speed", "m/s", 1.0),
        "top_rpm" => ("revs", "rpm", 1.0),
        "realised_ratio" => ("ratio", "", 1.0),
        "realised_rollout_mm" => ("rollout", "mm", 1.0),
        "coast_m_s2" => ("coasting", "m/s²", 1.0),
        "pull_m_s2" => ("pull", "m/s²", 1.0),
        "median_lap_s" => ("lap", "s", 1.0),
        "wheelspin_share" => ("wheelspin", "%", 100.0),
        "used_mah_per_lap" => ("charge a lap", "mAh", 1.0),
        "mean_w" => ("power", "W", 1.0),
        _ => ("resistance", "mΩ", 1.0),
    }
}

/// What a model knows of a run, for the figures.
pub struct States<'a> {
    /// Times of the passings, s.
    pub passings_s: &'a [f64],
    /// Turns of the motor at them.
    pub turns: &'a [f64],
    /// Charge at them, A·s.
    pub charge_a_s: &'a [f64],
    /// Energy out of the pack from the first to the last, J.
    pub energy_j: f64,
    /// Motor and controller above the air at the race's end, °C.
    pub rises_k: (f64, f64),
    /// At [`RATE_HZ`]: car's and wheels' speed (m/s), revs (1/min), throttle (share).
    pub car: &'a [f64],
    pub wheel: &'a [f64],
    pub rpm: &'a [f64],
    pub throttle: &'a [f64],
    /// Decelerations off throttle and brake with the car's speed.
    pub coasting: &'a [(f64, f64)],
    /// Start and end of each wheelspin, s.
    pub spins: &'a [(f64, f64)],
    /// Tyre's diameter and lap length as on the sheet, m.
    pub tyre_m: f64,
    pub lap_length_m: f64,
    /// Resistance of the pack, mΩ.
    pub pack_mohm: f64,
}

impl States<'_> {
    /// The figures.
    pub fn figures(&self) -> TrueRun {
        let steps = |at: &[f64]| at.windows(2).map(|w| w[1] - w[0]).collect::<Vec<f64>>();
        let middle = |values: Vec<f64>| median(values).unwrap();
        let (first, last) = (self.passings_s[0], self.passings_s[self.passings_s.len() - 1]);
        let turns = middle(steps(self.turns));
        let within = |spin: &(f64, f64)| (spin.1.min(last) - spin.0.max(first)).max(0.0);
        let spun_s: f64 = self.spins.iter().map(within).sum();
        // The highest of a run hangs on one moment of it: what a change does is told by the laps' highest.
        let top = middle(self.highest_of_laps(self.car, |_| true));
        let counts = |at: &&(f64, f64)| (0.25 * top..0.75 * top).contains(&at.0);
        let grips = |row: &usize| (self.wheel[*row] - self.car[*row]) / self.wheel[*row].max(0.05) <= SPIN_SLIP;
        [
            self.rises_k.0,
            self.rises_k.1,
            top,
            middle(self.highest_of_laps(self.rpm, grips)),
            turns * std::f64::consts::PI * self.tyre_m / self.lap_length_m,
            1000.0 * self.lap_length_m / turns,
            middle(self.coasting.iter().filter(counts).map(|at| at.1).collect()),
            self.pull(top, grips),
            middle(steps(self.passings_s)),
            spun_s / (last - first),
            middle(steps(self.charge_a_s)) / A_S_PER_MAH,
            self.energy_j / (last - first),
            self.pack_mohm,
        ]
    }

    /// The highest value of each lap among the rows that are chosen.
    fn highest_of_laps(&self, values: &[f64], chosen: impl Fn(&usize) -> bool) -> Vec<f64> {
        let of_lap = |lap: &[f64]| {
            let rows = (lap[0] * RATE_HZ) as usize..(lap[1] * RATE_HZ) as usize;
            highest(&rows.filter(&chosen).map(|row| values[row]).collect::<Vec<f64>>())
        };
        self.passings_s.windows(2).filter_map(of_lap).collect()
    }

    /// Pull in the middle of the speeds, by the review's definition.
    fn pull(&self, top: f64, grips: impl Fn(&usize) -> bool) -> f64 {
        let acceleration = |row: usize| 0.5 * RATE_HZ * (self.car[row + 1] - self.car[row - 1]);
        let near = |row: &usize| (PULL_SPEEDS.0 * top..PULL_SPEEDS.1 * top).contains(&self.car[*row]) && grips(row);
        let rows: Vec<usize> = (1..self.car.len() - 1).filter(near).filter(|row| acceleration(*row) > 0.0).collect();
        let full: Vec<usize> = rows.iter().copied().filter(|row| self.throttle[*row] >= FULL).collect();
        let rests = |row: &usize| (self.throttle[row + 1] - self.throttle[row - 1]).abs() < RESTS;
        let resting = rows.into_iter().filter(rests).collect();
        let (rows, share) = if full.len() >= LEAST_ROWS { (full, 0.5) } else { (resting, ENVELOPE) };
        quantile(rows.into_iter().map(acceleration), share).unwrap_or(f64::NAN)
    }
}
