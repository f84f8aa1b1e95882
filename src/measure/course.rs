//! The course of a run: when it raced, until when the car was driven, and whether it stopped.

use crate::laps::{Lap, Laps, SetAside, align};
use crate::statistics::quantiles::median;

/// Share of the laps' pace below which a car rolls in after the flag. Common practice, no source: the slowest quarter
/// of a lap is no slower.
const ROLLS_IN: f64 = 0.75;
/// Share of a lap over which that is judged.
const STRETCH: f64 = 0.25;
/// How often it is checked whether the car still goes at its pace, s.
const CHECK_S: f64 = 0.5;

/// The course of a run. Times are log times.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Course {
    /// First passing, s; `None` without laps.
    pub first_s: Option<f64>,
    /// End of the race, s; `None` without laps.
    pub race_end_s: Option<f64>,
    /// Whether the car stopped within the race.
    pub stopped: bool,
    /// Until when the car was driven, s; 0 without laps.
    pub driven_to_s: f64,
    /// Median lap, s; `None` where no lap counts.
    pub lap_s: Option<f64>,
}

impl Course {
    /// The course of a run with these laps in a race of `race_s`.
    pub fn new(laps: &Laps, race_s: f64) -> Self {
        let first_s = laps.first_passing.map(|f| f.value);
        Self {
            first_s,
            race_end_s: first_s.map(|f| f + race_s),
            stopped: stopped(laps, race_s),
            driven_to_s: driven_to_s(laps),
            lap_s: laps.median_s(),
        }
    }
}

/// Until when the car was driven: the last lap is finished after the race's end, or the flag fell within it; a car that
/// stands, or rolls in slower than its laps over a quarter of one, is not driven.
fn driven_to_s(laps: &Laps) -> f64 {
    let Some(last) = laps.rows.last() else { return 0.0 };
    let Some(lap) = laps.median_s() else { return last.end_s };
    let Some(odometer) = &laps.odometer else { return last.end_s + lap };
    let last_moved_s = align::moving(odometer).map_or(f64::INFINITY, |(_, last)| last);
    let end = (last.end_s + lap).min(last_moved_s);
    let turns = median(laps.counted().map(|l| l.turns)).unwrap_or(0.0);
    // As far as the log goes: after its end nothing is known to be slow.
    let slow = |from: &f64| {
        let to = (from + STRETCH * lap).min(odometer.span().1);
        odometer.turns_at(to) - odometer.turns_at(*from) < ROLLS_IN * turns * (to - from) / lap
    };
    let mut moments = (0..).map(|n| last.end_s + f64::from(n) * CHECK_S).take_while(|t| *t < end);
    moments.find(slow).unwrap_or(end)
}

/// Whether a stop lies within the race.
fn stopped(laps: &Laps, race_s: f64) -> bool {
    let inside = |l: &Lap| laps.first_passing.is_some_and(|f| l.start_s < f.value + race_s);
    laps.rows.iter().any(|l| l.set_aside == Some(SetAside::Stop) && inside(l))
}
