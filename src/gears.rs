//! What a spur and a pinion give on a car.
//!
//! Final drive ratio (FDR, motor turns for a wheel turn) = spur / pinion × internal ratio; rollout (travel for a motor
//! turn) = π·D / FDR. Common practice, no source.
//!
//! ```
//! // Spur 116, pinion 31, internal 1.85: 6.92 motor turns a wheel turn, and a 63 mm tyre rolls out 28.6 mm.
//! let ratio = 116.0 / 31.0 * 1.85;
//! assert!((runtrue::gears::rollout_mm(63.0, ratio) - 28.59).abs() < 0.01);
//! ```

use std::f64::consts::PI;

use crate::sheet::Settings;
use crate::sheet::keys::DEFAULT_INTERNAL_RATIO;

/// Pinions on either side of the one on the car for which a change is shown.
const NEIGHBOURS: i32 = 2;

/// A spur and a pinion that could be on the car.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gears {
    /// Teeth of the spur.
    pub spur: f64,
    /// Teeth of the pinion.
    pub pinion: f64,
    /// Final drive ratio.
    pub ratio: f64,
    /// Rollout, mm; `None` where the tyre is not known.
    pub rollout_mm: Option<f64>,
}

/// Travel of a tyre of `tyre_mm` for one motor turn, mm.
pub fn rollout_mm(tyre_mm: f64, ratio: f64) -> f64 {
    PI * tyre_mm / ratio
}

/// Travel for a motor turn by the gearing and the tyre on the sheet, mm; `None` where the sheet lacks one of them.
pub fn set_rollout_mm(settings: &Settings) -> Option<f64> {
    Some(rollout_mm(settings.tyre_mm()?, settings.set_ratio()?))
}

/// FDR and rollout of a spur and a pinion on a car; `None` where either has no teeth.
pub fn gears(settings: &Settings, spur: f64, pinion: f64) -> Option<Gears> {
    let ratio = spur / pinion * settings.number("internal_ratio").unwrap_or(DEFAULT_INTERNAL_RATIO);
    let rollout_mm = settings.tyre_mm().map(|d| rollout_mm(d, ratio));
    (spur > 0.0 && pinion > 0.0).then_some(Gears { spur, pinion, ratio, rollout_mm })
}

/// The pinion on the car and those around it, the smallest first; none where pinion or spur is not known.
pub fn neighbours(settings: &Settings, on_car: Option<f64>) -> Vec<Gears> {
    let spur = settings.number("spur");
    (-NEIGHBOURS..=NEIGHBOURS).filter_map(|teeth| gears(settings, spur?, on_car? + f64::from(teeth))).collect()
}
