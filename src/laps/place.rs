//! Where on the track the car was, from the log alone: the repeating pattern of revs over motor turns.
//!
//! 1. The motor turns of a lap: the autocorrelation of the revs over turns ([`super::period`]). Over turns and not over
//!    time, so that pace and stops do not matter.
//! 2. A chain of laps: each lap is laid over the one before where the revs agree best.
//! 3. A profile of the revs over a lap, and a smoother (`smoother.rs`) of the distance between the odometer's
//!    place and the true one: the odometer drifts with the driven line and slip, the pattern of revs pulls it back. A
//!    second state is the driver's mood, faster or slower than usual for a while: without it, mood would pass for a
//!    place ahead or behind.
//!
//! Assumes that the car laps one track. Where it does not, [`Places::find`] gives `None`.

use super::odometer::Odometer;
use super::passing_errors::PlaceDoubt;
use super::period::{ExpectedTurns, LONGEST_LAP_S, OverTurns, SHORTEST_LAP_S};
use super::smoother::{Moment, Mood, smoothed};
use super::whole_laps;
use crate::statistics::quantiles::{median, median_in, median_step, robust_deviation, robust_deviation_in};

/// Cells of a lap's profile.
pub const CELLS: usize = 400;
/// Moments a second at which the place is worked out: revs change little from one to the next.
const MOMENTS_HZ: f64 = 20.0;
/// Farthest distance between odometer and place, share of a lap. A default, no source.
const REACH: f64 = 0.02;
/// Revs farther than this many deviations from the profile tell nothing of the place: a start, a crash, a stop.
const UNUSUAL: f64 = 4.0;
/// There the tyres slip more than usual: this share of the way may be wrong, all of it alike over this share of a lap.
/// Common practice, no source.
const UNUSUAL_DRIFT: f64 = 0.05;
const UNUSUAL_STRETCH: f64 = 0.1;
/// The pattern is followed with caution: a driver who is early at a corner is mostly faster there too, so that errors
/// of place and speed go together, and they would shift a list that is laid onto the log. Deviations count twice, and
/// half of the chain's scatter is taken for the odometer's own drift. Chosen on the forward model.
const CAUTION: f64 = 2.0;
const ODOMETER_SHARE: f64 = 0.5;
/// Half the stretch over which the profile's slope is taken, share of a lap.
const SLOPE: f64 = 0.004;
/// Least drift of the odometer over a lap, share of a lap: 0.2 m on 200 m. Common practice, no source.
const LEAST_DRIFT: f64 = 0.001;
/// Least scatter of the revs at a place, as a share of the profile's highest. A default, no source.
const LEAST_SCATTER: f64 = 0.01;
/// The driver's deviation from the profile where no lap tells it, share of the revs. A default, no source.
const USUAL_MOOD: f64 = 0.02;
/// Share of the turns taken out of a spin that may be wrong. Common practice, no source.
const DRAWN_U: f64 = 0.5;
/// Degrees of freedom of the weights: a spin or a spoilt corner must not pull as a usual one does.
const ROBUST_DEGREES: f64 = 4.0;
/// Deviations that count when it is asked how long they stay alike: farther ones are held to this.
const ALIKE_LIMIT: f64 = 4.0;
/// Longest time over which deviations may stay alike, s. Common practice, no source.
const LONGEST_ALIKE_S: f64 = 3.0;
/// Fewest laps of a chain.
const LEAST_CHAIN: usize = 3;
/// Laps are held to this many robust deviations from their median when their drift is worked out.
const DRIFT_LIMIT: f64 = 3.0;

/// The car's place on the track over time.
#[derive(Debug, Clone)]
pub struct Places {
    time: Vec<f64>,
    laps: Vec<f64>,
    /// Variance of the place by the smoother's own account, laps squared.
    variance: Vec<f64>,
    /// What that makes of each moment's place; empty until the pattern was followed.
    doubts: Vec<PlaceDoubt>,
    /// Motor turns of a lap.
    pub lap_turns: f64,
    /// Revs over a lap, from the profile's own start.
    pub profile: Vec<f64>,
    /// First and last time at which the pattern was followed, s.
    pub followed: (f64, f64),
}

impl Places {
    /// Finds the places from the car's turns, without wheelspin; `expected` are the motor turns of a lap, where sheet
    /// or list tell them. `None` where no pattern repeats.
    pub fn find(odometer: &Odometer, expected: Option<ExpectedTurns>) -> Option<Self> {
        let over_turns = OverTurns::new(odometer)?;
        let lap = over_turns.lap(expected)?;
        let as_expected = |e: &ExpectedTurns| (lap / e.turns - 1.0).abs() < e.relative_half_width;
        let chain = match expected.filter(as_expected) {
            Some(_) => whole_laps::chain_as_expected(&over_turns, lap)?,
            None => whole_laps::chain_of_whole_laps(&over_turns, lap)?,
        };
        if chain.len() < LEAST_CHAIN {
            return None;
        }
        let mut places = Self::coarse(odometer, &chain);
        let times: Vec<f64> = chain.iter().map(|&turns| odometer.time_of(turns)).collect();
        let lap_s = median_step(&times)?;
        if !(SHORTEST_LAP_S..=LONGEST_LAP_S).contains(&lap_s) {
            return None;
        }
        let ticks = Ticks::new(odometer, &places);
        for _ in 0..3 {
            places = places.follow(&ticks, &chain);
        }
        places.profile = usual_rpm(&places.by_cell(&ticks.rpm));
        places.doubts = places.variance.iter().map(|variance| PlaceDoubt::new(*variance)).collect();
        Some(places)
    }

    /// Places by the odometer alone, where each lap of the chain is a whole one.
    fn coarse(odometer: &Odometer, chain: &[f64]) -> Self {
        let lap_turns = median_step(chain).unwrap_or(1.0);
        let (from, to) = odometer.span();
        let count = ((to - from) * MOMENTS_HZ).ceil() as usize;
        let time: Vec<f64> = (0..=count).map(|n| (from + n as f64 / MOMENTS_HZ).min(to)).collect();
        let laps = time.iter().map(|&t| along_chain(odometer.turns_at(t), chain, lap_turns)).collect();
        // The chain's ends are half a lap from where its laps were laid over each other.
        let (first, last) = (chain[0] - 0.5 * lap_turns, chain[chain.len() - 1] + 0.5 * lap_turns);
        let followed = (odometer.time_of(first.max(0.0)), odometer.time_of(last));
        let variance = vec![REACH * REACH; time.len()];
        Self { time, laps, variance, doubts: Vec::new(), lap_turns, profile: Vec::new(), followed }
    }

    /// The revs at each moment that was followed, by the cells of the lap.
    fn by_cell(&self, rpm: &[f64]) -> Vec<Vec<f64>> {
        let mut cells = vec![Vec::new(); CELLS];
        for n in (0..self.time.len()).filter(|&n| self.is_followed(n)) {
            cells[(share_of_lap(self.laps[n]) * CELLS as f64) as usize % CELLS].push(rpm[n]);
        }
        cells
    }

    /// One forward and one backward pass of the smoother about the places found before.
    fn follow(&self, ticks: &Ticks, chain: &[f64]) -> Self {
        let profile = Profile::new(&self.by_cell(&ticks.rpm));
        let drift = ODOMETER_SHARE * drift_of(chain, self.lap_turns);
        let relative = profile.rpm.iter().zip(&profile.scatter).map(|(p, s)| s / p.max(1.0));
        let alike = self.moments_alike(&ticks.rpm, &profile);
        let mood = Mood { keep: (-1.0 / alike).exp(), deviation: median(relative).unwrap_or(USUAL_MOOD) };
        let caution = CAUTION * (1.0 + 2.0 * alike);
        let moments: Vec<Moment> =
            (0..self.time.len()).map(|n| self.moment(n, ticks, &profile, drift, caution)).collect();
        let offsets = smoothed(&moments, REACH * REACH / 4.0, &mood);
        let laps = ticks.base.iter().zip(&offsets).map(|(b, o)| b + o.laps.clamp(-REACH, REACH)).collect();
        let variance = offsets.iter().map(|o| o.variance.max(0.0)).collect();
        Self { laps, variance, ..self.clone() }
    }

    /// What moment `n` tells of the place, where the odometer drifts by `drift` over a lap and deviations count
    /// `caution` times.
    fn moment(&self, n: usize, ticks: &Ticks, profile: &Profile, drift: f64, caution: f64) -> Moment {
        let base = &ticks.base;
        let moved = if n == 0 { 0.0 } else { (base[n] - base[n - 1]).max(0.0) };
        let place = self.laps[n];
        let Usual { rpm: expected, deviation } = profile.usual_at(place);
        let slope = (profile.usual_at(place + SLOPE).rpm - profile.usual_at(place - SLOPE).rpm) / (2.0 * SLOPE);
        let gap = ticks.rpm[n] - expected;
        let usual = gap.abs() < UNUSUAL * deviation;
        let lost = if usual { 0.0 } else { UNUSUAL_DRIFT * UNUSUAL_DRIFT * UNUSUAL_STRETCH * moved };
        let followed = self.is_followed(n) && moved > 0.0;
        let spun = DRAWN_U * ticks.excess[n] / self.lap_turns;
        // Student's t as a weight.
        let noise = || (caution * deviation).powi(2) * (1.0 + (gap / deviation).powi(2) / ROBUST_DEGREES);
        Moment {
            walk: drift * drift * moved + spun * spun + lost,
            slope,
            level: expected,
            // Linear about the place found before.
            seen: gap + slope * (place - base[n]),
            noise: (followed && usual).then(noise),
        }
    }

    /// Moments over which the deviations from the profile stay alike: their integrated autocorrelation, up to its first
    /// zero.
    fn moments_alike(&self, rpm: &[f64], profile: &Profile) -> f64 {
        let z: Vec<f64> = (0..self.time.len())
            .filter(|&n| self.is_followed(n))
            .map(|n| {
                let usual = profile.usual_at(self.laps[n]);
                ((rpm[n] - usual.rpm) / usual.deviation).clamp(-ALIKE_LIMIT, ALIKE_LIMIT)
            })
            .collect();
        let product = |lag: usize| z.iter().zip(&z[lag.min(z.len())..]).map(|(a, b)| a * b).sum::<f64>();
        let power = product(0).max(f64::MIN_POSITIVE);
        let correlations = (1..(LONGEST_ALIKE_S * MOMENTS_HZ) as usize).map(|lag| product(lag) / power);
        correlations.take_while(|r| *r > 0.0).sum::<f64>().max(1.0)
    }

    fn is_followed(&self, n: usize) -> bool {
        self.time[n] >= self.followed.0 && self.time[n] <= self.followed.1
    }

    /// Laps driven at `time`, counted from an arbitrary place; held at the ends of the log.
    pub fn laps_at(&self, time: f64) -> f64 {
        self.laps_after(self.moment_before(time), time)
    }

    /// The same with how uncertain the place is, up to a common factor.
    pub(super) fn laps_and_doubt_at(&self, time: f64) -> (f64, PlaceDoubt) {
        let moment = self.moment_before(time);
        (self.laps_after(moment, time), self.doubts[moment + 1])
    }

    /// Laps driven at `time`, between a moment and the next.
    fn laps_after(&self, moment: usize, time: f64) -> f64 {
        let (t0, t1) = (self.time[moment], self.time[moment + 1]);
        let share = if t1 > t0 { ((time - t0) / (t1 - t0)).clamp(0.0, 1.0) } else { 0.0 };
        self.laps[moment] + (self.laps[moment + 1] - self.laps[moment]) * share
    }

    /// Variance of the place at `time`, laps squared, up to a common factor.
    pub fn variance_at(&self, time: f64) -> f64 {
        self.variance[self.moment_before(time) + 1]
    }

    /// The moment before `time`, held to the first and the last but one. Moments follow each other evenly, so that none
    /// need be searched for.
    fn moment_before(&self, time: f64) -> usize {
        (((time - self.time[0]) * MOMENTS_HZ) as usize).min(self.time.len() - 2)
    }

    /// Time at which `laps` are reached for the first time, after any standing before it.
    pub fn time_of(&self, laps: f64) -> Option<f64> {
        let next = (1..self.laps.len()).find(|&n| self.laps[n - 1] < laps && self.laps[n] >= laps)?;
        let share = (laps - self.laps[next - 1]) / (self.laps[next] - self.laps[next - 1]);
        Some(self.time[next - 1] + share * (self.time[next] - self.time[next - 1]))
    }

    /// Place of the highest revs on the lap, from the profile smoothed over a fiftieth of it.
    pub fn fastest_place(&self) -> f64 {
        let near = (CELLS / 100) as isize;
        let smooth = |n: usize| -> f64 {
            (-near..=near).map(|o| self.profile[(n as isize + o).rem_euclid(CELLS as isize) as usize]).sum()
        };
        let best = (0..CELLS).max_by(|&a, &b| smooth(a).total_cmp(&smooth(b))).unwrap_or(0);
        (best as f64 + 0.5) / CELLS as f64
    }

    /// Times of passing the fastest place: the laps where there is no list.
    pub fn passings(&self) -> Vec<f64> {
        self.passings_at(self.fastest_place())
    }

    /// Times of passing the place `line` of the profile.
    pub fn passings_at(&self, line: f64) -> Vec<f64> {
        let (first, last) = (self.laps_at(self.followed.0), self.laps_at(self.followed.1));
        let mut lap = (first - line).ceil();
        let mut passings = Vec::new();
        while lap + line <= last {
            passings.extend(self.time_of(lap + line));
            lap += 1.0;
        }
        passings.dedup_by(|b, a| *b <= *a);
        passings
    }
}

/// What the odometer shows at each moment, looked up once.
struct Ticks {
    /// Revs.
    rpm: Vec<f64>,
    /// Laps by the odometer alone.
    base: Vec<f64>,
    /// Turns since the moment before that the wheels made beyond the car's.
    excess: Vec<f64>,
}

impl Ticks {
    fn new(odometer: &Odometer, coarse: &Places) -> Self {
        let since = |n: usize| odometer.excess_between(coarse.time[n - 1], coarse.time[n]);
        let excess = (0..coarse.time.len()).map(|n| if n == 0 { 0.0 } else { since(n) }).collect();
        Self { rpm: coarse.time.iter().map(|&t| odometer.rpm_at(t)).collect(), base: coarse.laps.clone(), excess }
    }
}

/// The revs over a lap, cell by cell.
struct Profile {
    /// Usual revs.
    rpm: Vec<f64>,
    /// Their standard deviation from lap to lap.
    scatter: Vec<f64>,
}

/// What is usual at a place.
struct Usual {
    rpm: f64,
    deviation: f64,
}

impl Profile {
    /// The medians of the revs in each cell, and the scatter in it and its neighbours, at least a hundredth of the
    /// fastest.
    fn new(cells: &[Vec<f64>]) -> Self {
        let rpm = usual_rpm(cells);
        let fastest = rpm.iter().copied().fold(0.0, f64::max);
        let (mut near, mut room) = (Vec::new(), Vec::new());
        let scatter = |n: usize| {
            near.clear();
            for cell in (0..3).map(|o| (n + CELLS + o - 1) % CELLS) {
                near.extend(cells[cell].iter().map(|v| v - rpm[cell]));
            }
            robust_deviation_in(&mut room, &near).unwrap_or(0.0).max(LEAST_SCATTER * fastest)
        };
        let scatter = (0..CELLS).map(scatter).collect();
        Self { rpm, scatter }
    }

    /// Between the middles of the cells at `lap`, of which only the fraction counts.
    fn usual_at(&self, lap: f64) -> Usual {
        // From the middle of the last cell of the lap before.
        let position = share_of_lap(lap) * CELLS as f64 + 0.5;
        let next = position as usize;
        let share = position - next as f64;
        let (a, b) = ((next + CELLS - 1) % CELLS, next % CELLS);
        let between = |values: &[f64]| values[a] + (values[b] - values[a]) * share;
        Usual { rpm: between(&self.rpm), deviation: between(&self.scatter) }
    }
}

/// The medians of the revs in each cell.
fn usual_rpm(cells: &[Vec<f64>]) -> Vec<f64> {
    let mut room = Vec::new();
    let mut rpm: Vec<f64> = cells.iter().map(|c| median_in(&mut room, c.iter().copied()).unwrap_or(f64::NAN)).collect();
    fill_round(&mut rpm);
    rpm
}

/// Standard deviation of the odometer over a lap, laps. A place found early makes one lap shorter and the next longer,
/// but the odometer's drift does not: so twice the covariance of neighbouring laps is added to their variance.
fn drift_of(chain: &[f64], lap: f64) -> f64 {
    let lengths: Vec<f64> = chain.windows(2).map(|w| (w[1] - w[0]) / lap).collect();
    let (Some(middle), Some(scatter)) = (median(lengths.iter().copied()), robust_deviation(&lengths)) else {
        return LEAST_DRIFT;
    };
    let off: Vec<f64> =
        lengths.iter().map(|l| (l - middle).clamp(-DRIFT_LIMIT * scatter, DRIFT_LIMIT * scatter)).collect();
    let variance = off.iter().map(|o| o * o).sum::<f64>() / off.len() as f64;
    let shared = off.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / off.len() as f64;
    (variance + 2.0 * shared).max(LEAST_DRIFT * LEAST_DRIFT).sqrt()
}

/// Laps driven after so many `turns`, where `chain` holds the turns at which each lap began and `lap` those of a usual
/// lap.
fn along_chain(turns: f64, chain: &[f64], lap: f64) -> f64 {
    let last = chain.len() - 1;
    match chain.partition_point(|&c| c <= turns) {
        0 => (turns - chain[0]) / lap,
        n if n > last => last as f64 + (turns - chain[last]) / lap,
        n => (n - 1) as f64 + (turns - chain[n - 1]) / (chain[n] - chain[n - 1]),
    }
}

/// Laps without the whole ones, 0 to 1, without a call to the system's mathematics: it is asked for at every moment.
fn share_of_lap(laps: f64) -> f64 {
    let rest = laps - laps as i64 as f64;
    if rest < 0.0 { rest + 1.0 } else { rest }
}

/// Replaces NaN cells of a closed lap by straight lines between their neighbours.
fn fill_round(profile: &mut [f64]) {
    let count = profile.len();
    let known: Vec<usize> = (0..count).filter(|&n| profile[n].is_finite()).collect();
    for (n, &from) in known.iter().enumerate() {
        let to = known.get(n + 1).copied().unwrap_or(known[0] + count);
        let (low, high) = (profile[from], profile[to % count]);
        for cell in from + 1..to {
            profile[cell % count] = low + (high - low) * (cell - from) as f64 / (to - from) as f64;
        }
    }
}
