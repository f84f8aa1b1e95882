//! Wheelspin that was said, against the truth, event by event.

use crate::world::{Run, Spin};
use serde_json::Value;

/// Highest slip of a marginal spin.
const MARGINAL: std::ops::Range<f64> = 0.25..0.40;
/// A spin is long from this, s.
const LONG_S: f64 = 1.0;
/// Spins that grow slowly take this long, s, from so much slip to the slip that counts.
const SLOW_GROWTH_S: f64 = 0.25;
const SLOW_FROM: f64 = 0.10;
/// A spin shorter than this need not be found, s: the shortest that counts is 0.1 s.
const NEED_S: f64 = 0.15;
/// Spins a lap from which they are in every corner.
const EVERY_CORNER: f64 = 3.0;

/// A spin that was and whether it was found.
#[derive(Debug, Clone, Copy)]
pub struct TrueSpin {
    pub spin: Spin,
    pub found: bool,
    pub grows_slowly: bool,
    pub in_every_corner: bool,
}

impl TrueSpin {
    pub fn is_marginal(&self) -> bool {
        MARGINAL.contains(&self.spin.peak_slip)
    }

    pub fn is_long(&self) -> bool {
        self.spin.end_s - self.spin.start_s > LONG_S
    }
}

/// A spin that was said and was not.
#[derive(Debug, Clone, Copy)]
pub struct WrongSpin {
    pub start_s: f64,
    pub end_s: f64,
    pub peak_slip: f64,
    /// Highest slip that truly was in it.
    pub true_slip: f64,
}

/// Wheelspin of a run of which it was told.
#[derive(Debug, Clone, Default)]
pub struct SpinScore {
    /// Spins that had to be found.
    pub spins: Vec<TrueSpin>,
    /// Spins said that were, and that were not.
    pub right: usize,
    pub wrong: Vec<WrongSpin>,
    pub said_s: f64,
    pub true_s: f64,
}

impl SpinScore {
    pub fn of_run(run: &Run, said: &Value) -> Option<Self> {
        if said["can_tell"] != true {
            return None;
        }
        let truth = &run.truth;
        let events: Vec<(f64, f64, f64)> = said["events"]
            .as_array()
            .unwrap()
            .iter()
            .map(|e| (e["start_s"].as_f64().unwrap(), e["end_s"].as_f64().unwrap(), e["peak_slip"].as_f64().unwrap()))
            .collect();
        let meets = |s: &Spin, e: &(f64, f64, f64)| s.start_s < e.1 && e.0 < s.end_s;
        let laps = truth.passings_s.len().saturating_sub(1).max(1) as f64;
        let in_every_corner = truth.spins.len() as f64 / laps >= EVERY_CORNER;
        let needed = truth.spins.iter().filter(|s| s.end_s - s.start_s >= NEED_S);
        let spins = needed.map(|&spin| TrueSpin {
            spin,
            found: events.iter().any(|e| meets(&spin, e)),
            grows_slowly: growth_s(run, &spin) > SLOW_GROWTH_S,
            in_every_corner,
        });
        let spins: Vec<TrueSpin> = spins.collect();
        let (right, wrong): (Vec<_>, Vec<_>) = events.iter().partition(|e| truth.spins.iter().any(|s| meets(s, e)));
        let time = &run.columns.time_s;
        let true_slip = |from: f64, to: f64| {
            let rows = time.partition_point(|t| *t < from).saturating_sub(1)..time.partition_point(|t| *t <= to);
            truth.slip[rows].iter().copied().fold(0.0, f64::max)
        };
        let wrong = wrong.into_iter().map(|(start_s, end_s, peak_slip)| WrongSpin {
            start_s,
            end_s,
            peak_slip,
            true_slip: true_slip(start_s, end_s),
        });
        Some(Self {
            spins,
            right: right.len(),
            wrong: wrong.collect(),
            said_s: events.iter().map(|e| e.1 - e.0).sum(),
            true_s: truth.spins.iter().map(|s| s.end_s - s.start_s).sum(),
        })
    }
}

/// How long the slip took to grow before the spin, s.
fn growth_s(run: &Run, spin: &Spin) -> f64 {
    let time = &run.columns.time_s;
    let from = time.partition_point(|&t| t < spin.start_s);
    let low = (0..from).rev().find(|&n| run.truth.slip[n] < SLOW_FROM).map_or(0.0, |n| time[n]);
    spin.start_s - low
}

/// All runs of which wheelspin was told.
#[derive(Debug, Clone, Copy, Default)]
pub struct Spins {
    pub precision: f64,
    pub recall: f64,
    pub seconds_off: f64,
    pub slow: Share,
    pub marginal: Share,
    pub long: Share,
    pub every_corner: Share,
    pub told: Share,
}

/// So many of so many.
#[derive(Debug, Clone, Copy, Default)]
pub struct Share {
    pub held: usize,
    pub all: usize,
}

impl Share {
    pub fn of(all: impl Iterator<Item = bool>) -> Self {
        all.fold(Self::default(), |share, held| Self { held: share.held + usize::from(held), all: share.all + 1 })
    }

    pub fn value(&self) -> f64 {
        self.held as f64 / self.all.max(1) as f64
    }
}

impl Spins {
    pub fn new<'a>(all: impl Iterator<Item = Option<&'a SpinScore>>) -> Self {
        let all: Vec<Option<&SpinScore>> = all.collect();
        let told = || all.iter().flatten();
        let spins: Vec<TrueSpin> = told().flat_map(|run| run.spins.iter().copied()).collect();
        let among = |of: fn(&TrueSpin) -> bool| Share::of(spins.iter().filter(|s| of(s)).map(|s| s.found));
        let (right, wrong) = (told().map(|r| r.right).sum::<usize>(), told().map(|r| r.wrong.len()).sum::<usize>());
        let (said, truth) = (told().map(|r| r.said_s).sum::<f64>(), told().map(|r| r.true_s).sum::<f64>());
        Self {
            precision: right as f64 / (right + wrong).max(1) as f64,
            recall: among(|_| true).value(),
            seconds_off: said / truth - 1.0,
            slow: among(|s| s.grows_slowly),
            marginal: among(TrueSpin::is_marginal),
            long: among(TrueSpin::is_long),
            every_corner: among(|s| s.in_every_corner),
            told: Share::of(all.iter().map(|run| run.is_some())),
        }
    }
}
