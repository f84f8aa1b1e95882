//! What did each gearing of a car do on each track?

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::weekend_figures::WeekendFigures;
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::random_effects::pool;

/// Figures of a gearing, in the order of [`GearOnTrack::figures`].
pub const OF_GEARS: [&str; 4] = ["realised_ratio", "median_s", "top_speed_m_s", "motor_rise_k"];
/// Fewest values from which a mean has an interval that says something: with two, Student's t is 12.7.
const LEAST_FOR_MEAN: usize = 3;
/// Ratios that agree to one part of these are one gearing.
const STEPS_PER_RATIO: f64 = 1000.0;

/// One gearing of a car on one track.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GearOnTrack {
    /// The car.
    pub car: String,
    /// The track.
    pub track: String,
    /// The ratio on the sheet.
    pub set_ratio: f64,
    /// Number of runs with it that have one of the figures.
    pub runs: usize,
    /// Number of weekends with it.
    pub weekends: usize,
    /// Realised ratio, median lap, top speed, and how much the motor is above the air at the race's end, in that order;
    /// `null` where no run has it.
    pub figures: [Option<Mean>; 4],
}

/// A mean over weekends; where there is only one weekend, over its runs.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Mean {
    /// The figure.
    pub of: String,
    /// The mean.
    pub value: f64,
    /// The same with its 95 % interval; `null` with fewer than three values.
    pub mean: Option<Estimate>,
    /// The lowest of the values.
    pub lowest: f64,
    /// The highest of the values.
    pub highest: f64,
}

impl Mean {
    fn new(figure: &str, values: &[Uncertain]) -> Option<Self> {
        let pooled = pool(values)?;
        let all = || values.iter().map(|v| v.value);
        Some(Self {
            of: figure.to_owned(),
            value: pooled.value,
            mean: pooled.estimate.filter(|_| values.len() >= LEAST_FOR_MEAN),
            lowest: all().fold(f64::INFINITY, f64::min),
            highest: all().fold(f64::NEG_INFINITY, f64::max),
        })
    }
}

/// What makes a gearing on a track one.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Gearing {
    car: String,
    track: String,
    /// The set ratio times [`STEPS_PER_RATIO`].
    ratio_steps: i64,
}

/// A gearing on one weekend.
#[derive(Default)]
struct OnWeekend {
    /// Its runs, each once.
    runs: Vec<String>,
    /// Values of each figure.
    values: [Vec<Uncertain>; 4],
}

/// The gearings of a season as its weekends are gone through.
#[derive(Default)]
pub(super) struct GearingsOverSeason {
    weekends: BTreeMap<Gearing, Vec<OnWeekend>>,
}

impl GearingsOverSeason {
    /// Adds what a weekend says about them.
    pub fn add(&mut self, weekend: &WeekendFigures) {
        let mut gearings: BTreeMap<Gearing, OnWeekend> = BTreeMap::new();
        for of_run in &weekend.figures {
            let (Some(car), Some(track), Some(ratio)) = (&of_run.car, &of_run.track, of_run.set_ratio) else {
                continue;
            };
            let Some(index) = OF_GEARS.iter().position(|key| *key == of_run.figure) else { continue };
            let ratio_steps = (STEPS_PER_RATIO * ratio).round() as i64;
            let gearing = Gearing { car: car.clone(), track: track.clone(), ratio_steps };
            let seen = gearings.entry(gearing).or_default();
            seen.values[index].push(of_run.value);
            if !seen.runs.contains(&of_run.run) {
                seen.runs.push(of_run.run.clone());
            }
        }
        for (gearing, seen) in gearings {
            self.weekends.entry(gearing).or_default().push(seen);
        }
    }

    /// The gearings by car, track and ratio.
    pub fn gearings(self) -> Vec<GearOnTrack> {
        self.weekends.into_iter().map(|(gearing, weekends)| gear_on_track(gearing, &weekends)).collect()
    }
}

fn gear_on_track(gearing: Gearing, weekends: &[OnWeekend]) -> GearOnTrack {
    let mean = |index: usize| {
        let values: Vec<&Vec<Uncertain>> =
            weekends.iter().map(|w| &w.values[index]).filter(|v| !v.is_empty()).collect();
        if let [alone] = values.as_slice() {
            return Mean::new(OF_GEARS[index], alone);
        }
        // Runs of a weekend are one value: every weekend counts the same.
        let means = values.iter().filter_map(|v| pool(v)).map(|pooled| Uncertain::new(pooled.value, 0.0));
        Mean::new(OF_GEARS[index], &means.collect::<Vec<_>>())
    };
    GearOnTrack {
        car: gearing.car,
        track: gearing.track,
        set_ratio: gearing.ratio_steps as f64 / STEPS_PER_RATIO,
        runs: weekends.iter().map(|w| w.runs.len()).sum(),
        weekends: weekends.len(),
        figures: [0, 1, 2, 3].map(mean),
    }
}
