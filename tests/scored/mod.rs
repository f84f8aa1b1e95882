//! How near a review comes to the truth of the second world: every promise measured over a number of weekends, for
//! tests and for `benches/worlds.rs`.
#![allow(dead_code)] // each user takes what it needs

#[path = "../against/mod.rs"]
pub mod against;
#[path = "../reviewed/mod.rs"]
mod reviewed;
pub mod spins;

use crate::world::{CurrentKind, Options, Run, Weekend};
pub use against::Against;
use rayon::prelude::*;
use runtrue::quantity::Estimate;
use runtrue::statistics::quantiles::quantile;
use serde_json::Value;
use spins::SpinScore;

/// First seed of the weekends that are scored: those before it serve other tests.
const FIRST_SEED: u64 = 300;

/// What a review said of a run, against the truth; `None` where it said nothing.
#[derive(Debug, Clone)]
pub struct RunScore {
    /// `seed 300 o2`, for messages.
    pub place: String,
    pub rate_hz: f64,
    pub current: CurrentKind,
    pub coverage: crate::world::Coverage,
    /// Whether the car stood or crashed in the race.
    pub halted: bool,
    /// Length of the median lap, s.
    pub lap_s: f64,
    /// First passing of a list that was laid.
    pub first: Option<Against>,
    /// Realised ratio against the true tyre and lap, which its interval is to hold.
    pub ratio: Option<Against>,
    /// The same against the true turns with the tyre and lap length of the sheet: what a tape's errors leave to the
    /// program.
    pub ratio_by_sheet: Option<Against>,
    pub verdict: String,
    /// Whether the pinion on the car is the sheet's.
    pub pinion_is_right: bool,
    pub spins: Option<SpinScore>,
    pub motor_end: Option<Against>,
    pub controller_end: Option<Against>,
    /// Pack's resistance, and the lowest and highest ohmic one, mΩ.
    pub resistance: Option<(Estimate, f64, f64)>,
    pub race_charge: Option<Against>,
    /// Charge within the log, mAh.
    pub used: Option<Against>,
    /// Its drag brake, %.
    pub drag_brake_pct: f64,
    /// Deceleration off throttle and brake, m/s²; with the truth alone where the review says nothing.
    pub coasting: Option<Against>,
    pub true_coasting: Option<f64>,
}

/// Reviews weekends of the second world, drawn with `options`, and scores their runs.
pub fn scored(weekends: u64, options: Options) -> Vec<RunScore> {
    let seeds: Vec<u64> = (FIRST_SEED..FIRST_SEED + weekends).collect();
    let of_seed = |seed: &u64| of_weekend(&Weekend::draw_with(*seed, options));
    seeds.par_iter().flat_map_iter(of_seed).collect()
}

/// The runs of a weekend as a review of its folder has them.
pub fn of_weekend(weekend: &Weekend) -> Vec<RunScore> {
    let said = reviewed::said(|folder| weekend.write(folder));
    weekend.runs.iter().zip(said["runs"].as_array().unwrap()).map(|(run, said)| of_run(weekend, run, said)).collect()
}

fn of_run(weekend: &Weekend, run: &Run, said: &Value) -> RunScore {
    let truth = &run.truth;
    let estimate = |path: &str| {
        let value = said.pointer(path)?;
        let part = |key: &str| value[key].as_f64();
        Some(Estimate { value: part("value")?, low: part("low")?, high: part("high")? })
    };
    let against = |path: &str, truth: f64| Some(Against { found: estimate(path)?, truth });
    let tyre_mm = weekend.cars[run.car].tyre.diameter_mm;
    let mut laps: Vec<f64> = truth.passings_s.windows(2).map(|w| w[1] - w[0]).collect();
    laps.sort_by(f64::total_cmp);
    let by_list = said["laps"]["source"] == "list";
    RunScore {
        place: format!("seed {} {}", weekend.seed, run.id),
        rate_hz: run.recorder.rate_hz,
        current: run.recorder.current,
        coverage: run.coverage,
        halted: !truth.halts_s.is_empty(),
        lap_s: laps[laps.len() / 2],
        first: against("/laps/first_passing_s", truth.first_passing_s).filter(|_| by_list),
        ratio: against("/gearing/realised_ratio", truth.ratio_over_laps(tyre_mm, weekend.track.lap_length_m)),
        ratio_by_sheet: against(
            "/gearing/realised_ratio",
            truth.ratio_over_laps(weekend.sheet.cars[run.car].tyre_diameter_mm, weekend.sheet.lap_length_m),
        ),
        verdict: said["gearing"]["verdict"].as_str().unwrap_or("-").to_owned(),
        pinion_is_right: run.sheet.pinion.unwrap_or(weekend.sheet.cars[run.car].pinion) == truth.pinion,
        spins: SpinScore::of_run(run, &said["wheelspin"]),
        motor_end: against("/heat/motor/race_end_c", truth.motor_race_end_c),
        controller_end: against("/heat/controller/race_end_c", truth.controller_race_end_c),
        resistance: estimate("/battery/resistance_mohm").map(|e| (e, truth.ohmic_mohm.0, truth.ohmic_mohm.1)),
        used: against("/battery/used_range_mah", truth.charge_in_log_mah),
        drag_brake_pct: run.setup.drag_brake_pct,
        coasting: truth.coast_m_s2.and_then(|coast| against("/power/coast_m_s2", coast)),
        true_coasting: truth.coast_m_s2,
        race_charge: against("/battery/race_end_used_mah", truth.charge_at_race_end_mah - truth.charge_before_log_mah),
    }
}

/// How a figure does over all runs: how far off it is, how often its interval holds the truth, how often it is missing.
#[derive(Debug, Clone, Copy)]
pub struct Tally {
    pub runs: usize,
    pub missing: usize,
    /// Share of those said whose interval holds the truth.
    pub held: f64,
    pub median_off: f64,
    /// The error that 95 % stay within.
    pub most_off: f64,
    pub worst_off: f64,
    /// Median half width of the intervals.
    pub half_width: f64,
}

impl Tally {
    pub fn new<'a>(all: impl Iterator<Item = Option<&'a Against>>, scale: impl Fn(&Against) -> f64) -> Self {
        let all: Vec<Option<&Against>> = all.collect();
        let said: Vec<&Against> = all.iter().flatten().copied().collect();
        let off: Vec<f64> = said.iter().map(|a| (a.off() / scale(a)).abs()).collect();
        let at = |share: f64| quantile(off.iter().copied(), share).unwrap_or(f64::NAN);
        let widths = said.iter().map(|a| a.found.half_width() / scale(a));
        Self {
            runs: all.len(),
            missing: all.len() - said.len(),
            held: said.iter().filter(|a| a.held()).count() as f64 / said.len().max(1) as f64,
            median_off: at(0.5),
            most_off: at(0.95),
            worst_off: at(1.0),
            half_width: quantile(widths, 0.5).unwrap_or(f64::NAN),
        }
    }
}
