//! How the time went along the lap, and where one lap loses time on another.
//!
//! At each of [`PLACES`] places of a lap stands the time since the line ([`super::place_on_lap`]). The time lost so far
//! by one lap on another is the difference of the two; at the line it is exactly the difference of the lap times (of
//! the list, where there is one). The median lap has at every place the median over the counted laps; it ends at the
//! median lap time.
//!
//! The band (95 %) is made of the doubt of the place in either lap and of where the line is in the log: the difference
//! is worked out again with the line moved by its standard uncertainty either way. In the median lap the laps' own
//! doubts average out: of n of them √(π / 2 / n) is left (standard error of a median of normal values).
//!
//! Wrong where a list lies on the log a whole lap off, which its alignment weighs.

use std::fmt::{self, Display};

use super::context::RunContext;
use super::place_on_lap::{Places, Way, alike};
use crate::evidence::{self, Subject};
use crate::laps::{Laps, Source};
use crate::log::Channel;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::quantiles::median;

/// Places of a lap at which times are kept; there is one more value, for both ends: a metre or so apart.
pub const PLACES: usize = 200;
/// Fewest counted laps of which one can be compared with the others.
const LEAST_LAPS: usize = 3;

/// How the time went along a lap, or along the median of several.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeAlong {
    /// Time since the line at each place, s by the lap list's clock; [`PLACES`] + 1 values, the first 0, the last the
    /// lap time.
    pub seconds: Vec<f64>,
    /// Standard uncertainty of each from the doubt of the place within the lap, s.
    pub place_u_s: Vec<f64>,
    /// Share of the variance of the place until each, 0 to 1: how far errors of two places are alike.
    pub walked: Vec<f64>,
    /// The times with the line moved back and on by its standard uncertainty, s.
    pub line_moved_s: [Vec<f64>; 2],
}

/// How the time went along one counted lap.
#[derive(Debug, Clone, PartialEq)]
pub struct LapAlong {
    /// Number of the lap, from 1.
    pub lap: u32,
    /// Its times.
    pub along: TimeAlong,
}

/// How the time went along a run's laps.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeAlongLaps {
    /// The counted laps in order.
    pub laps: Vec<LapAlong>,
    /// Their median.
    pub median: TimeAlong,
    /// The doubt of the place in a usual lap, s: what stays in the median where the laps' errors are alike.
    pub usual_u_s: Vec<f64>,
}

/// How much later one lap is than another at each place.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeLost {
    /// Time lost so far, s; [`PLACES`] + 1 values, the last the difference of the lap times.
    pub seconds: Vec<f64>,
    /// Half-width of its 95 % interval, s.
    pub band_s: Vec<f64>,
}

/// The share of the lap at a place.
pub fn share_at(place: usize) -> f64 {
    place as f64 / PLACES as f64
}

/// Why it is not known how the time went along the laps.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The log has no revs, or no laps.
    NoLaps,
    /// Fewer than three laps count.
    FewLaps,
    /// The revs cannot be true.
    Unusable(evidence::Why),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoLaps => f.write_str("there are no laps"),
            Self::FewLaps => f.write_str("fewer than three laps count"),
            Self::Unusable(why) => why.fmt(f),
        }
    }
}

/// How the time went along the counted laps.
///
/// # Errors
/// [`Why`] where the log does not tell.
pub fn measure(run: &RunContext) -> Result<TimeAlongLaps, Why> {
    match run.refusal(&[Subject::Channel(Channel::Rpm)]) {
        Some(refused) => Err(Why::Unusable(refused)),
        None if run.laps.counted().next().is_none() => Err(Why::NoLaps),
        None => along(run.laps).ok_or(Why::FewLaps),
    }
}

/// The same of laps; `None` without revs or with fewer than three laps.
fn along(laps: &Laps) -> Option<TimeAlongLaps> {
    let (car, wheels) = (laps.gripped.as_ref()?, laps.odometer.as_ref()?);
    let counted: Vec<_> = laps.counted().collect();
    if counted.len() < LEAST_LAPS {
        return None;
    }
    let ends: Vec<(f64, f64)> = counted.iter().map(|lap| (lap.start_s, lap.end_s)).collect();
    let way = Way::new(car, wheels.ground(), &ends)?;
    let first = laps.first_passing?;
    let moves = [(first.low - first.value) / COVERAGE_95, (first.high - first.value) / COVERAGE_95];
    let (log_from, log_to) = car.span();
    // Each passing that was found by itself is off by itself; those of a list are off together.
    let passing_u = if laps.source == Source::Found { first.half_width() / COVERAGE_95 } else { 0.0 };
    let along_one = |number: usize| {
        let lap = counted[number];
        let bounds = |by: f64| ((lap.start_s + by).max(log_from), (lap.end_s + by).min(log_to));
        let seconds = |places: &Places, (from, to): (f64, f64)| -> Vec<f64> {
            let since = |place: usize| (places.time_at(share_at(place)) - from) / (to - from) * lap.time_s();
            (0..=PLACES).map(since).collect()
        };
        let placed = |by: f64| {
            let (from, to) = bounds(by);
            way.places(number, from, to)
        };
        let places = placed(0.0);
        let u = |place: usize| places.time_u_at(share_at(place)).hypot(passing_u * 2f64.sqrt());
        let place_u_s: Vec<f64> = (0..=PLACES).map(u).collect();
        let walked: Vec<f64> = (0..=PLACES).map(|place| places.walked_at(share_at(place))).collect();
        let line_moved_s = moves.map(|by| seconds(&placed(by), bounds(by)));
        let seconds = seconds(&places, bounds(0.0));
        LapAlong { lap: lap.number, along: TimeAlong { seconds, place_u_s, walked, line_moved_s } }
    };
    let laps: Vec<LapAlong> = (0..counted.len()).map(along_one).collect();
    let usual_u_s = at_each_place(&laps, |along| &along.place_u_s);
    let left = (std::f64::consts::FRAC_PI_2 / laps.len() as f64).sqrt().min(1.0);
    let median = TimeAlong {
        seconds: at_each_place(&laps, |along| &along.seconds),
        place_u_s: usual_u_s.iter().map(|u| left * u).collect(),
        walked: at_each_place(&laps, |along| &along.walked),
        line_moved_s: [0, 1].map(|side| at_each_place(&laps, |along| &along.line_moved_s[side])),
    };
    Some(TimeAlongLaps { laps, median, usual_u_s })
}

/// The median over the laps at each place.
fn at_each_place(laps: &[LapAlong], of: impl Fn(&TimeAlong) -> &Vec<f64>) -> Vec<f64> {
    (0..=PLACES).map(|place| median(laps.iter().map(|lap| of(&lap.along)[place])).unwrap_or(f64::NAN)).collect()
}

impl TimeAlongLaps {
    /// The best counted lap.
    pub fn best(&self) -> &LapAlong {
        self.laps.iter().min_by(|a, b| a.along.lap_s().total_cmp(&b.along.lap_s())).unwrap_or(&self.laps[0])
    }

    /// The slowest counted lap.
    pub fn worst(&self) -> &LapAlong {
        self.laps.iter().max_by(|a, b| a.along.lap_s().total_cmp(&b.along.lap_s())).unwrap_or(&self.laps[0])
    }

    /// A counted lap by its number.
    pub fn lap(&self, number: u32) -> Option<&TimeAlong> {
        self.laps.iter().find(|lap| lap.lap == number).map(|lap| &lap.along)
    }
}

impl TimeAlong {
    /// The lap time, s.
    pub fn lap_s(&self) -> f64 {
        self.seconds[PLACES]
    }

    /// Time since the line at any share of a lap, s; before the line and after the next, as if the laps around were
    /// alike.
    pub fn time_at(&self, share: f64) -> f64 {
        let whole = share.floor();
        whole * self.lap_s() + Self::value_at(&self.seconds, share - whole)
    }

    /// What stands at a share of the lap, 0 to 1, in straight lines between the places.
    pub fn value_at(values: &[f64], share: f64) -> f64 {
        let position = share.clamp(0.0, 1.0) * PLACES as f64;
        let place = (position as usize).min(PLACES - 1);
        values[place] + (values[place + 1] - values[place]) * (position - place as f64)
    }

    /// The time between two shares of the lap, s; round the line, where the second is before the first.
    pub fn between(&self, from: f64, to: f64) -> f64 {
        let whole = if to > from { 0.0 } else { self.lap_s() };
        whole + Self::value_at(&self.seconds, to) - Self::value_at(&self.seconds, from)
    }

    /// Standard uncertainty of the time between two shares of the lap from the doubt of the place, s, where the doubt
    /// at each place is `u_s`: that of the lap or, of a median lap, that of a usual one. Errors of places near each
    /// other are alike.
    pub fn between_u(&self, u_s: &[f64], from: f64, to: f64) -> f64 {
        let (a, b) = (Self::value_at(u_s, from), Self::value_at(u_s, to));
        let alike = alike(Self::value_at(&self.walked, from), Self::value_at(&self.walked, to));
        (a * a + b * b - 2.0 * alike * a * b).max(0.0).sqrt()
    }

    /// The speed around a share of the lap, over so many places on either side, laps a second.
    pub fn speed_around(&self, share: f64, places: usize) -> f64 {
        let reach = share_at(places);
        2.0 * reach / (self.time_at(share + reach) - self.time_at(share - reach)).max(f64::MIN_POSITIVE)
    }

    /// Logarithm of [`Self::speed_around`]: of a car that is a share faster all round, the same up to a constant.
    pub fn log_speed_around(&self, share: f64, places: usize) -> f64 {
        self.speed_around(share, places).ln()
    }

    /// What this lap loses on `other` of the same run between two shares of the lap, s; round the line, where the
    /// second is before the first.
    pub fn lost_between(&self, other: &Self, from: f64, to: f64) -> Estimate {
        let value = self.between(from, to) - other.between(from, to);
        let moved = |side: usize| {
            let change = |of: &Self| {
                let moved = &of.line_moved_s[side];
                let whole = if to > from { 0.0 } else { moved[PLACES] };
                whole + Self::value_at(moved, to) - Self::value_at(moved, from)
            };
            (change(self) - change(other) - value).abs()
        };
        let own = self.between_u(&self.place_u_s, from, to);
        let by_place = own.hypot(other.between_u(&other.place_u_s, from, to));
        Estimate::from_standard(value, by_place.hypot(moved(0).max(moved(1))))
    }

    /// Where this lap loses time on `other` of the same run.
    pub fn lost_on(&self, other: &Self) -> TimeLost {
        let lost = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a - b).collect::<Vec<f64>>();
        let seconds = lost(&self.seconds, &other.seconds);
        let moved = [0, 1].map(|side| lost(&self.line_moved_s[side], &other.line_moved_s[side]));
        let band = |place: usize| {
            let by_line = moved.iter().map(|moved| (moved[place] - seconds[place]).abs()).fold(0.0, f64::max);
            COVERAGE_95 * self.place_u_s[place].hypot(other.place_u_s[place]).hypot(by_line)
        };
        let band_s = (0..seconds.len()).map(band).collect();
        TimeLost { seconds, band_s }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lap_that_is_slow_in_its_second_half_loses_its_time_there() {
        let lap = |second_half: f64| {
            let at = |place: usize| {
                let share = share_at(place);
                5.0 * share.min(0.5) * 2.0 + second_half * (share - 0.5).max(0.0) * 2.0
            };
            let seconds: Vec<f64> = (0..=PLACES).map(at).collect();
            let place_u_s = vec![0.01; PLACES + 1];
            let walked = (0..=PLACES).map(share_at).collect();
            TimeAlong { line_moved_s: [seconds.clone(), seconds.clone()], seconds, place_u_s, walked }
        };
        let lost = lap(5.4).lost_on(&lap(5.0));
        assert!(lost.seconds[PLACES / 2].abs() < 1e-12);
        assert!((lost.seconds[3 * PLACES / 4] - 0.2).abs() < 1e-12 && (lost.seconds[PLACES] - 0.4).abs() < 1e-12);
        // 1.96 · √2 · 0.01 s by hand.
        assert!((lost.band_s[7] - 0.027_72).abs() < 1e-4, "{}", lost.band_s[7]);
    }
}
