//! What a season says that no weekend does: a pack's resistance, a motor's heat and power, a car's gearing by track,
//! what a setting did.
//!
//! One weekend is read at a time, only the columns that are asked for, and is kept as one value with its interval for
//! each figure: memory does not grow with the number of runs.

use std::collections::BTreeMap;
use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

pub use super::gearings::{GearOnTrack, Mean, OF_GEARS};
pub use super::over_season::{MATTERS, OnWeekend, OverSeason, Part};
pub use super::settings::SettingEffect;
pub use super::weekend_figures::Round;

use super::gearings::GearingsOverSeason;
use super::over_season::PartsOverSeason;
use super::settings::{Change, WeekendEffect, effects, setting_effect};
use super::store::{self, ReadError};
use super::weekend_figures;

/// Figures of a pack.
const OF_PACKS: [&str; 1] = ["resistance_mohm"];
/// Figures of a motor.
const OF_MOTORS: [&str; 3] = ["motor_rise_k", "motor_rise_k_per_w", "mean_w"];

/// The answers of a season.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct Answers {
    /// Weekends by day.
    pub weekends: Vec<Round>,
    /// Packs: their resistance.
    pub packs: Vec<Part>,
    /// Motors: heat above the air, the same for each watt, mean power.
    pub motors: Vec<Part>,
    /// Gearings by car and track.
    pub gearing: Vec<GearOnTrack>,
    /// What changed settings did.
    pub settings: Vec<SettingEffect>,
}

/// The answers of the data set at `root`, and the weekends of it that could not be read and are not in them.
///
/// # Errors
/// [`ReadError`] where the data set cannot be listed.
pub fn answers(root: &Path) -> Result<(Answers, Vec<ReadError>), ReadError> {
    let (mut weekends, mut unreadable) = (Vec::new(), Vec::new());
    let mut packs = PartsOverSeason::new(&OF_PACKS, |figure| figure.pack.as_deref());
    let mut motors = PartsOverSeason::new(&OF_MOTORS, |figure| figure.motor.as_deref());
    let mut gearings = GearingsOverSeason::default();
    let mut settings: BTreeMap<Change, Vec<WeekendEffect>> = BTreeMap::new();
    for partition in store::partitions(root)? {
        let asked = OF_PACKS.iter().chain(&OF_MOTORS).chain(&OF_GEARS).copied();
        // A weekend counts whole or not at all.
        let read = weekend_figures::read(root, &partition, asked)
            .and_then(|figures| Ok((figures, effects(root, &partition)?)));
        let (figures, effects) = match read {
            Ok(read) => read,
            Err(e) => {
                unreadable.push(e);
                continue;
            }
        };
        packs.add(&partition, &figures);
        motors.add(&partition, &figures);
        gearings.add(&figures);
        for (change, effect) in effects {
            settings.entry(change).or_default().push(effect);
        }
        weekends.push(figures.round);
    }
    let settings = settings.into_iter().filter_map(|(change, effects)| setting_effect(change, &effects)).collect();
    let (packs, motors, gearing) = (packs.parts(), motors.parts(), gearings.gearings());
    Ok((Answers { weekends, packs, motors, gearing, settings }, unreadable))
}
