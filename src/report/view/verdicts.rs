//! The one word of each verdict, with its mark: pages, terminal and phone take it from here.

use super::mark::Mark;
use crate::measure::battery::BatteryVerdict;
use crate::measure::heat::HeatVerdict;
use crate::measure::wheelspin::Wheelspin;
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::run::GearingVerdict;
use crate::units::measure::TEMPERATURE;
use crate::weekend::before::Before;
use crate::weekend::findings::MUCH_SPIN;
use crate::weekend::since::{LapVerdict, Since};
use crate::weekend::trends;
use crate::wording;

/// Said wherever a question has no answer.
pub const CANNOT_TELL: &str = "cannot tell";

/// A verdict as it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VerdictView {
    /// How good it is.
    pub mark: Mark,
    /// The verdict in words.
    pub words: String,
}

impl VerdictView {
    fn new(mark: Mark, words: impl Into<String>) -> Self {
        Self { mark, words: words.into() }
    }

    /// Of a question that could not be answered.
    pub fn cannot_tell() -> Self {
        Self::new(Mark::Open, CANNOT_TELL)
    }
}

/// Is the pinion the one on the sheet?
pub fn gearing(verdict: GearingVerdict) -> VerdictView {
    match verdict {
        GearingVerdict::Agrees => VerdictView::new(Mark::Good, "as on the sheet"),
        GearingVerdict::Differs => VerdictView::new(Mark::Act, "not as on the sheet"),
        GearingVerdict::CannotTell => VerdictView::cannot_tell(),
    }
}

/// Did the power reach the ground?
pub fn grip(wheelspin: &Wheelspin) -> VerdictView {
    // Without laps there is no share: then any spin is worth a word.
    let little = wheelspin.share.map_or(wheelspin.events.is_empty(), |share| share < MUCH_SPIN);
    match (wheelspin.can_tell, little) {
        (false, _) => VerdictView::cannot_tell(),
        (true, true) => VerdictView::new(Mark::Good, "good"),
        (true, false) => VerdictView::new(Mark::Watch, "wheelspin"),
    }
}

/// Does a part keep under its limit to the end of the race?
pub fn heat(verdict: HeatVerdict) -> VerdictView {
    match verdict {
        HeatVerdict::Within => VerdictView::new(Mark::Good, "within its limit"),
        HeatVerdict::Close => VerdictView::new(Mark::Watch, "close to its limit"),
        HeatVerdict::Over => VerdictView::new(Mark::Act, "over its limit"),
        HeatVerdict::CannotTell => VerdictView::cannot_tell(),
    }
}

/// Does the pack last?
pub fn battery(verdict: BatteryVerdict) -> VerdictView {
    match verdict {
        BatteryVerdict::Plenty => VerdictView::new(Mark::Good, "plenty left"),
        BatteryVerdict::Short => VerdictView::new(Mark::Watch, "little left"),
        BatteryVerdict::UnderFloor => VerdictView::new(Mark::Act, "cells too low"),
        BatteryVerdict::CannotTell => VerdictView::cannot_tell(),
    }
}

/// Is the car faster than in its run before? Where there is no run before, whether it has a top speed.
pub fn top_speed(top_speed_m_s: Option<f64>, before: Option<&Before>) -> VerdictView {
    let Some(before) = before else {
        return top_speed_m_s.map_or_else(VerdictView::cannot_tell, |_| VerdictView::new(Mark::Good, "measured"));
    };
    let (run, change) = (printable(&before.run, 40), &before.top_speed_change_m_s);
    if change.low > 0.0 {
        VerdictView::new(Mark::Plain, format!("top speed higher than in {run}"))
    } else if change.high < 0.0 {
        VerdictView::new(Mark::Plain, format!("top speed lower than in {run}"))
    } else {
        VerdictView::new(Mark::Good, format!("top speed as in {run}"))
    }
}

/// Did the last change help?
pub fn since(since: &Since) -> VerdictView {
    match (since.verdict, since.changed.is_empty()) {
        (LapVerdict::CannotTell, true) => VerdictView::new(Mark::Plain, "nothing was changed"),
        (LapVerdict::CannotTell, false) => VerdictView::cannot_tell(),
        (LapVerdict::Faster, true) => VerdictView::new(Mark::Plain, "faster without a change"),
        (LapVerdict::Slower, true) => VerdictView::new(Mark::Plain, "slower without a change"),
        (LapVerdict::Faster, false) => VerdictView::new(Mark::Good, "faster"),
        (LapVerdict::Slower, false) => VerdictView::new(Mark::Watch, "slower"),
    }
}

/// Which pinion does the motor's heat allow, and is another one known to be better?
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PinionRoom {
    /// The pinion that is known to lap faster within the limits, teeth.
    pub faster: Option<f64>,
    /// The pinion on the car, teeth.
    pub on_car: f64,
    /// The largest pinion nearby that keeps the motor under its limit, teeth; `None` where none does.
    pub largest: Option<f64>,
    /// The limit, °C.
    pub limit_c: f64,
}

/// What lap time and heat say of the next pinion; `None` where the heat could not be forecast.
pub fn next_pinion(room: Option<PinionRoom>) -> VerdictView {
    let Some(PinionRoom { faster, on_car, largest, limit_c }) = room else { return VerdictView::cannot_tell() };
    if let Some(teeth) = faster {
        return VerdictView::new(Mark::Good, format!("{teeth} teeth would be faster"));
    }
    let Some(largest) = largest else {
        return VerdictView::new(
            Mark::Act,
            format!("no nearby pinion keeps the motor under {}", wording::value(limit_c, 0, TEMPERATURE)),
        );
    };
    if largest > on_car {
        // Room is no reason yet to fit them.
        VerdictView::new(Mark::Plain, format!("heat allows up to {largest} teeth"))
    } else if largest < on_car {
        VerdictView::new(Mark::Act, format!("gear down to {largest} teeth"))
    } else {
        VerdictView::new(Mark::Plain, format!("stay at {on_car} teeth"))
    }
}

/// Does a figure move over the runs or the weekends?
pub fn trend(verdict: trends::Verdict) -> &'static str {
    match verdict {
        trends::Verdict::Rising => "rising",
        trends::Verdict::Falling => "falling",
        trends::Verdict::Steady => "steady",
        trends::Verdict::CannotTell => CANNOT_TELL,
    }
}

/// Whether an effect is more than scatter: its interval excludes zero.
pub fn is_clear(effect: Option<&Estimate>) -> bool {
    effect.is_some_and(|e| e.low > 0.0 || e.high < 0.0)
}

/// Is the effect of a setting more than scatter?
pub fn effect(effect: Option<&Estimate>) -> &'static str {
    if is_clear(effect) { "a clear effect" } else { "too small to tell" }
}
