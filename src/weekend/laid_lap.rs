//! A lap by the places of a run, its own or another's, and what a lap of the run loses on it.
//!
//! The time lost so far at a place is the difference of the two times since the line. The half-width of its 95 %
//! interval is 1.96 · √(u₁² + u₂² + o² + l²): the doubts of the place in either lap, o what the doubt of how the runs
//! lie over each other makes of it ([`super::laid_over`]), and l what the doubt of the line makes of it, the greater of
//! both ways. The line is one for both laps: where it is known better in one run, it is in the other. Two runs have no
//! laps around the lap in common, so that beyond the line each goes on as if the laps around were alike.

use super::laid_over::Offset;
use crate::measure::time_along_lap::{PLACES, TimeAlong, share_at};
use crate::quantity::{COVERAGE_95, Uncertain};

/// A lap by the places of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct LaidLap {
    /// Its times since the run's line.
    pub along: TimeAlong,
    /// Time between the lap's own line and that of the run, s.
    pub line_s: f64,
    /// By how much the time at each place changes where the runs lie over each other a standard uncertainty earlier or
    /// later, s.
    pub by_offset_s: [Vec<f64>; 2],
    /// Standard uncertainty of the line in both runs, share of a lap; `None` of a lap of the run itself, whose times with
    /// the line moved say it.
    pub line_u: Option<f64>,
}

/// A lap whose line is `offset` behind, and known to `line_u` of a lap.
pub(super) fn lay(lap: &TimeAlong, offset: Offset, line_u: f64) -> LaidLap {
    let since = |by: f64| {
        let times = (0..=PLACES).map(|place| lap.time_at(share_at(place) + by) - lap.time_at(by));
        times.collect::<Vec<f64>>()
    };
    let seconds = since(offset.value);
    // Beyond its own lines the lap's places are in no doubt of their own, as there.
    let at = |values: &[f64]| -> Vec<f64> {
        (0..=PLACES).map(|place| TimeAlong::value_at(values, share_at(place) + offset.value)).collect()
    };
    let less = |moved: Vec<f64>| moved.iter().zip(&seconds).map(|(a, b)| a - b).collect::<Vec<f64>>();
    let by_offset_s = [-1.0, 1.0].map(|side| less(since(offset.value + side * offset.standard_u)));
    let line_moved_s = [-1.0, 1.0].map(|side| since(offset.value + side * line_u));
    let along =
        TimeAlong { place_u_s: at(&lap.place_u_s), walked: at(&lap.walked), line_moved_s, seconds: seconds.clone() };
    LaidLap { along, line_s: lap.time_at(offset.value), by_offset_s, line_u: Some(line_u) }
}

impl LaidLap {
    /// A lap of the run itself, which lies as it is.
    pub(super) fn own(along: &TimeAlong) -> Self {
        let nothing = vec![0.0; PLACES + 1];
        Self { along: along.clone(), line_s: 0.0, by_offset_s: [nothing.clone(), nothing], line_u: None }
    }

    /// Standard uncertainty of the time at each place that is not the line's, s.
    pub fn u_s(&self) -> Vec<f64> {
        let by_offset = |place: usize| self.by_offset_s.iter().map(|moved| moved[place].abs()).fold(0.0, f64::max);
        self.along.place_u_s.iter().enumerate().map(|(place, u)| u.hypot(by_offset(place))).collect()
    }

    /// Half-width of the 95 % interval of what `lap` of the run has lost so far on this one at each place, s.
    pub fn band_of(&self, lap: &TimeAlong) -> Vec<f64> {
        let by_line = |place: usize| {
            let ends = (0.0, share_at(place));
            self.own_side(OnStretch::new(lap, ends), lap, ends).by_line_s(&self.on_stretch(ends))
        };
        let both = lap.place_u_s.iter().zip(self.u_s()).enumerate();
        both.map(|(place, (own, u))| COVERAGE_95 * own.hypot(u).hypot(by_line(place))).collect()
    }

    /// The lap between two shares of it, the second above the first.
    pub(super) fn on_stretch(&self, ends: (f64, f64)) -> OnStretch {
        let by_offset_s = self.by_offset_s.iter().map(|moved| change(moved, ends).abs()).fold(0.0, f64::max);
        let alone = OnStretch { by_offset_s, ..OnStretch::new(&self.along, ends) };
        self.own_side(alone, &self.along, ends)
    }

    /// A lap of the run between two shares of it, with the line as it is known where the two are compared.
    pub(super) fn own_side(&self, side: OnStretch, lap: &TimeAlong, (from, to): (f64, f64)) -> OnStretch {
        let moved = |line_u: f64| [-line_u, line_u].map(|by| lap.time_at(to + by) - lap.time_at(from + by));
        OnStretch { line_moved_s: self.line_u.map_or(side.line_moved_s, moved), ..side }
    }
}

/// What a lap brings to a comparison between two shares of it: worked out once, since it is compared with many.
#[derive(Debug, Clone, Copy)]
pub(super) struct OnStretch {
    /// Its time, s.
    seconds: f64,
    /// Standard uncertainty of that from the doubt of the place, s.
    place_u_s: f64,
    /// By how much it changes at most where the runs lie over each other a standard uncertainty earlier or later, s.
    by_offset_s: f64,
    /// Its time with the line a standard uncertainty back and on, s.
    line_moved_s: [f64; 2],
}

impl OnStretch {
    /// A lap of the run itself between two shares of it, the second above the first.
    pub fn new(lap: &TimeAlong, (from, to): (f64, f64)) -> Self {
        Self {
            seconds: change(&lap.seconds, (from, to)),
            place_u_s: lap.between_u(&lap.place_u_s, from, to),
            by_offset_s: 0.0,
            line_moved_s: [0, 1].map(|side| change(&lap.line_moved_s[side], (from, to))),
        }
    }

    /// What the lap loses there on the `other`, s.
    pub fn lost_on(&self, other: &Self) -> Uncertain {
        let by_place = self.place_u_s.hypot(other.place_u_s);
        let by_offset = self.by_offset_s.hypot(other.by_offset_s);
        Uncertain::new(self.seconds - other.seconds, by_place.hypot(by_offset).hypot(self.by_line_s(other)))
    }

    /// What the doubt of the line makes of that, s.
    fn by_line_s(&self, other: &Self) -> f64 {
        let lost = self.seconds - other.seconds;
        let moved = |side: usize| self.line_moved_s[side] - other.line_moved_s[side] - lost;
        moved(0).abs().max(moved(1).abs())
    }
}

/// How much more stands at the second of two shares of the lap than at the first.
fn change(values: &[f64], (from, to): (f64, f64)) -> f64 {
    TimeAlong::value_at(values, to) - TimeAlong::value_at(values, from)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::quantity::Estimate;

    /// A lap whose three parts (up to 30, up to 70, up to 100 %) take these times, s.
    pub fn lap(parts: [f64; 3]) -> TimeAlong {
        let at = |place: usize| {
            let share = share_at(place);
            let part = |from: f64, to: f64| ((share - from) / (to - from)).clamp(0.0, 1.0);
            parts[0] * part(0.0, 0.3) + parts[1] * part(0.3, 0.7) + parts[2] * part(0.7, 1.0)
        };
        let seconds: Vec<f64> = (0..=PLACES).map(at).collect();
        let walked: Vec<f64> = (0..=PLACES).map(share_at).collect();
        let place_u_s = walked.iter().map(|w| 0.04 * (w * (1.0 - w)).sqrt()).collect();
        TimeAlong { line_moved_s: [seconds.clone(), seconds.clone()], seconds, place_u_s, walked }
    }

    #[test]
    fn a_lap_of_the_same_run_has_the_band_of_the_review() {
        let (slow, fast) = (lap([5.5, 6.0, 4.2]), lap([5.0, 6.0, 4.0]));
        for (band, expected) in LaidLap::own(&fast).band_of(&slow).iter().zip(slow.lost_on(&fast).band_s) {
            assert!((band - expected).abs() < 1e-12);
        }
        // Between two places as there, too, where the intervals are those of one stretch.
        let between =
            Estimate::from(OnStretch::new(&slow, (0.3, 0.7)).lost_on(&LaidLap::own(&fast).on_stretch((0.3, 0.7))));
        let expected = slow.lost_between(&fast, 0.3, 0.7);
        assert!((between.low - expected.low).abs() < 1e-12 && (between.high - expected.high).abs() < 1e-12);
    }

    #[test]
    fn a_lap_that_is_laid_elsewhere_ends_at_its_own_time() {
        let laid = lay(&lap([5.0, 6.0, 4.0]), Uncertain::new(0.01, 0.001), 0.002);
        assert!((laid.along.lap_s() - 15.0).abs() < 1e-9 && laid.along.seconds[0] == 0.0);
        assert!((laid.line_s - 5.0 / 30.0).abs() < 1e-9, "{}", laid.line_s);
        assert!(laid.by_offset_s[0][PLACES].abs() < 1e-9);
    }

    #[test]
    fn how_the_runs_lie_over_each_other_adds_to_the_doubt() {
        let (slow, fast) = (lap([5.5, 6.0, 4.2]), lap([5.0, 6.0, 4.0]));
        let ends = (0.0, 0.5);
        let doubt = |offset_u: f64| {
            let laid = lay(&fast, Uncertain::new(0.0, offset_u), 0.0);
            laid.own_side(OnStretch::new(&slow, ends), &slow, ends).lost_on(&laid.on_stretch(ends)).standard_u
        };
        // Laid a hundredth of a lap on, the half begins 0.1667 s later and ends 0.15 s later.
        let added = (doubt(0.01).powi(2) - doubt(0.0).powi(2)).sqrt();
        assert!((added - 0.016_7).abs() < 1e-3, "{added}");
    }
}
