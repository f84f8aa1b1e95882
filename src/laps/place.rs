//! Where on the track the car was, from the log alone: the repeating pattern of revs over motor turns.
//!
//! 1. The lap in motor turns: the autocorrelation of the revs over turns (not over time, so that pace and
//!    rests do not matter), by the Wiener-Khinchin theorem.
//! 2. A chain of laps: each lap is laid over the one before where the revs agree best.
//! 3. A lap profile, and a Kalman smoother (Rauch, Tung and Striebel 1965) of the distance between the odometer's
//!    place and the true one: the odometer drifts by the driven line and slip, the pattern of revs pulls it back. A second
//!    state carries the driver's mood, faster or slower than usual for a while: else it would pass for a place ahead
//!    or behind.
//!
//! Assumes that the car laps one track. Wrong where it does not: then [`Places::find`] gives `None`.

use super::odometer::Odometer;
use super::period::OverTurns;
use crate::statistics::quantiles::{median, robust_deviation};

/// Cells of a lap's profile.
pub const CELLS: usize = 400;
/// Moments a second at which the place is worked out: the revs of a lap change little within.
const MOMENTS_HZ: f64 = 20.0;
/// Farthest distance between odometer and place, share of a lap.
const REACH: f64 = 0.02;
/// Revs farther than so many deviations from the profile say nothing of the place: a start, a crash, a stop.
const UNUSUAL: f64 = 4.0;
/// There the tyres slip more than usual: so much of the way may be wrong, alike over so much of a lap.
const UNUSUAL_DRIFT: f64 = 0.05;
const UNUSUAL_STRETCH: f64 = 0.1;
/// The pattern is followed with caution: a driver who is early at a corner is mostly faster there too, so that errors
/// of the place and the speed go together, and they would shift a list that is laid onto the log. Deviations count
/// twice, and half of the chain's scatter is taken for the odometer's own drift.
const CAUTION: f64 = 2.0;
const ODOMETER_SHARE: f64 = 0.5;
/// Half the stretch over which the profile's slope is taken, share of a lap.
const SLOPE: f64 = 0.004;
/// Least drift of the odometer over a lap, share of a lap: 2 dm on 200 m (common practice, no source).
const LEAST_DRIFT: f64 = 0.001;

/// The car's place on the track over time.
#[derive(Debug, Clone)]
pub struct Places {
    time: Vec<f64>,
    laps: Vec<f64>,
    /// Variance of the place by the smoother's own account, laps squared.
    variance: Vec<f64>,
    /// Motor turns of a lap.
    pub lap_turns: f64,
    /// Revs over a lap, from the profile's own start.
    pub profile: Vec<f64>,
    /// Times between which the pattern was followed.
    pub followed: (f64, f64),
}

impl Places {
    /// Finds the places from turns without wheelspin; `expected` is the lap in motor turns with its relative half-width, where something tells it.
    pub fn find(odometer: &Odometer, expected: Option<(f64, f64)>) -> Option<Self> {
        let over_turns = OverTurns::new(odometer)?;
        let lap = over_turns.lap(expected)?;
        let chain = over_turns.chain(lap);
        if chain.len() < 3 {
            return None;
        }
        let mut places = Self::coarse(odometer, &chain);
        let ticks = Ticks::of(odometer, &places);
        for _ in 0..3 {
            places = places.follow(&ticks, &chain);
        }
        places.profile = places.profile_and_scatter(&ticks.rpm).0;
        Some(places)
    }

    /// Places by the odometer alone, each lap of the chain taken as a whole one.
    fn coarse(odometer: &Odometer, chain: &[f64]) -> Self {
        let lap_turns = median(chain.windows(2).map(|w| w[1] - w[0])).unwrap_or(1.0);
        let (from, to) = odometer.span();
        let count = ((to - from) * MOMENTS_HZ).ceil() as usize;
        let time: Vec<f64> = (0..=count).map(|n| (from + n as f64 / MOMENTS_HZ).min(to)).collect();
        let laps = time.iter().map(|&t| along_chain(odometer.turns_at(t), chain, lap_turns)).collect();
        let last = chain[chain.len() - 1];
        let followed =
            (odometer.time_of((chain[0] - 0.5 * lap_turns).max(0.0)), odometer.time_of(last + 0.5 * lap_turns));
        let variance = vec![REACH * REACH; time.len()];
        Self { time, laps, variance, lap_turns, profile: Vec::new(), followed }
    }

    /// Median revs over the lap and their scatter, each at least a hundredth of the fastest.
    fn profile_and_scatter(&self, rpm: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut cells = vec![Vec::new(); CELLS];
        for n in (0..self.time.len()).filter(|&n| self.is_followed(n)) {
            cells[(self.laps[n].rem_euclid(1.0) * CELLS as f64) as usize % CELLS].push(rpm[n]);
        }
        let fastest = cells.iter().filter_map(|c| median(c.iter().copied())).fold(0.0, f64::max);
        let mut profile: Vec<f64> = cells.iter().map(|c| median(c.iter().copied()).unwrap_or(f64::NAN)).collect();
        fill_round(&mut profile);
        let scatter: Vec<f64> = (0..CELLS)
            .map(|n| {
                let near: Vec<f64> = (0..3)
                    .flat_map(|o| {
                        let cell = (n + CELLS + o - 1) % CELLS;
                        let middle = profile[cell];
                        cells[cell].iter().map(move |v| v - middle)
                    })
                    .collect();
                robust_deviation(&near).unwrap_or(0.0).max(0.01 * fastest)
            })
            .collect();
        (profile, scatter)
    }

    /// One forward and one backward pass of the smoother: state is the distance of the true place from the
    /// odometer's (laps) and the driver's deviation from the profile (share of the revs).
    fn follow(&self, ticks: &Ticks, chain: &[f64]) -> Self {
        let (profile, scatter) = self.profile_and_scatter(&ticks.rpm);
        let base = &ticks.base;
        let drift = ODOMETER_SHARE * drift_of(chain, self.lap_turns);
        let relative: Vec<f64> = profile.iter().zip(&scatter).map(|(p, s)| s / p.max(1.0)).collect();
        let mood = median(relative).unwrap_or(0.02);
        let alike = self.moments_alike(&ticks.rpm, &profile, &scatter);
        let keep = (-1.0 / alike).exp();
        let repeat = CAUTION * (1.0 + 2.0 * alike);
        let moments: Vec<Moment> = (0..self.time.len())
            .map(|n| {
                let moved = if n == 0 { 0.0 } else { (base[n] - base[n - 1]).max(0.0) };
                let place = self.laps[n];
                let (expected, deviation) = at_cell(&profile, &scatter, place);
                let (ahead, behind) =
                    (at_cell(&profile, &scatter, place + SLOPE).0, at_cell(&profile, &scatter, place - SLOPE).0);
                let gap = ticks.rpm[n] - expected;
                let usual = gap.abs() < UNUSUAL * deviation;
                let lost = if usual { 0.0 } else { UNUSUAL_DRIFT * UNUSUAL_DRIFT * UNUSUAL_STRETCH * moved };
                let followed = self.is_followed(n) && moved > 0.0;
                // Half of what was taken out of a spin may be wrong.
                let spun = 0.5 * ticks.bridged[n] / self.lap_turns;
                Moment {
                    walk: drift * drift * moved + spun * spun + lost,
                    slope: (ahead - behind) / (2.0 * SLOPE),
                    level: expected,
                    // Linear about the place found before.
                    seen: gap + (ahead - behind) / (2.0 * SLOPE) * (place - base[n]),
                    // Student's t with 4 degrees of freedom as a weight: a spin or a spoilt corner must not pull.
                    noise: (followed && usual)
                        .then(|| (repeat * deviation).powi(2) * (1.0 + (gap / deviation).powi(2) / 4.0)),
                }
            })
            .collect();
        let offsets = smooth(&moments, keep, mood);
        let laps = base.iter().zip(&offsets).map(|(b, o)| b + o.0.clamp(-REACH, REACH)).collect();
        let variance = offsets.iter().map(|o| o.1.max(0.0)).collect();
        Self { laps, variance, ..self.clone() }
    }

    /// Moments over which the deviations from the profile stay alike: their integrated autocorrelation, up to
    /// its first zero.
    fn moments_alike(&self, rpm: &[f64], profile: &[f64], scatter: &[f64]) -> f64 {
        let z: Vec<f64> = (0..self.time.len())
            .filter(|&n| self.is_followed(n))
            .map(|n| {
                let (expected, deviation) = at_cell(profile, scatter, self.laps[n]);
                ((rpm[n] - expected) / deviation).clamp(-4.0, 4.0)
            })
            .collect();
        let product = |lag: usize| z.iter().zip(&z[lag.min(z.len())..]).map(|(a, b)| a * b).sum::<f64>();
        let power = product(0).max(f64::MIN_POSITIVE);
        (1..(3.0 * MOMENTS_HZ) as usize).map(|lag| product(lag) / power).take_while(|r| *r > 0.0).sum::<f64>().max(1.0)
    }

    fn is_followed(&self, n: usize) -> bool {
        self.time[n] >= self.followed.0 && self.time[n] <= self.followed.1
    }

    /// Laps driven at `time`, counted from an arbitrary place; beyond the log held at its ends.
    pub fn laps_at(&self, time: f64) -> f64 {
        let at = self.time.partition_point(|&t| t <= time).clamp(1, self.time.len() - 1);
        let (t0, t1) = (self.time[at - 1], self.time[at]);
        let share = if t1 > t0 { ((time - t0) / (t1 - t0)).clamp(0.0, 1.0) } else { 0.0 };
        self.laps[at - 1] + (self.laps[at] - self.laps[at - 1]) * share
    }

    /// Variance of the place at `time`, laps squared, up to a common factor.
    pub fn variance_at(&self, time: f64) -> f64 {
        self.variance[self.time.partition_point(|&t| t <= time).min(self.time.len() - 1)]
    }

    /// Time at which `laps` are reached for the first time, after the rests before it.
    pub fn time_of(&self, laps: f64) -> Option<f64> {
        let at = (1..self.laps.len()).find(|&n| self.laps[n - 1] < laps && self.laps[n] >= laps)?;
        let share = (laps - self.laps[at - 1]) / (self.laps[at] - self.laps[at - 1]);
        Some(self.time[at - 1] + share * (self.time[at] - self.time[at - 1]))
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

    /// Times of passing the fastest place: laps found without a list.
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
    /// Turns that bridging took out since the moment before.
    bridged: Vec<f64>,
}

impl Ticks {
    fn of(odometer: &Odometer, coarse: &Places) -> Self {
        let since = |n: usize| odometer.bridged_between(coarse.time[n - 1], coarse.time[n]);
        let bridged = (0..coarse.time.len()).map(|n| if n == 0 { 0.0 } else { since(n) }).collect();
        Self { rpm: coarse.time.iter().map(|&t| odometer.rpm_at(t)).collect(), base: coarse.laps.clone(), bridged }
    }
}

/// Deviation of the odometer over a lap. A place found early makes one lap shorter and the next longer, the odometer's
/// drift does not: so twice the covariance of neighbouring laps is added to their variance.
fn drift_of(chain: &[f64], lap: f64) -> f64 {
    let lengths: Vec<f64> = chain.windows(2).map(|w| (w[1] - w[0]) / lap).collect();
    let (Some(middle), Some(scatter)) = (median(lengths.iter().copied()), robust_deviation(&lengths)) else {
        return LEAST_DRIFT;
    };
    let off: Vec<f64> = lengths.iter().map(|l| (l - middle).clamp(-3.0 * scatter, 3.0 * scatter)).collect();
    let variance = off.iter().map(|o| o * o).sum::<f64>() / off.len() as f64;
    let shared = off.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / off.len() as f64;
    (variance + 2.0 * shared).max(LEAST_DRIFT * LEAST_DRIFT).sqrt()
}

fn along_chain(turns: f64, chain: &[f64], lap: f64) -> f64 {
    let last = chain.len() - 1;
    let at = chain.partition_point(|&c| c <= turns);
    match at {
        0 => (turns - chain[0]) / lap,
        n if n > last => last as f64 + (turns - chain[last]) / lap,
        n => (n - 1) as f64 + (turns - chain[n - 1]) / (chain[n] - chain[n - 1]),
    }
}

fn at_cell(profile: &[f64], scatter: &[f64], lap: f64) -> (f64, f64) {
    let at = lap.rem_euclid(1.0) * CELLS as f64 - 0.5;
    let low = at.floor();
    let share = at - low;
    let (a, b) =
        ((low as isize).rem_euclid(CELLS as isize) as usize, (low as isize + 1).rem_euclid(CELLS as isize) as usize);
    (profile[a] + (profile[b] - profile[a]) * share, scatter[a] + (scatter[b] - scatter[a]) * share)
}

/// Replaces NaN cells of a closed lap by straight lines between their neighbours.
fn fill_round(profile: &mut [f64]) {
    let count = profile.len();
    let known: Vec<usize> = (0..count).filter(|&n| profile[n].is_finite()).collect();
    for (at, &from) in known.iter().enumerate() {
        let to = known.get(at + 1).copied().unwrap_or(known[0] + count);
        let (low, high) = (profile[from], profile[to % count]);
        for n in from + 1..to {
            profile[n % count] = low + (high - low) * (n - from) as f64 / (to - from) as f64;
        }
    }
}

/// What one moment says to the smoother.
struct Moment {
    /// Variance that the odometer's drift adds, laps squared.
    walk: f64,
    /// Revs a lap along the profile.
    slope: f64,
    /// Revs of the profile.
    level: f64,
    /// Revs above the profile at the odometer's place.
    seen: f64,
    /// Variance of the revs; `None` where the moment says nothing.
    noise: Option<f64>,
}

/// Kalman filter and Rauch-Tung-Striebel smoother (1965) over two states: the distance in laps, a random walk, and
/// the driver's deviation, which fades by `keep` a moment and has the deviation `mood`. Returns the distances and their
/// variances.
fn smooth(moments: &[Moment], keep: f64, mood: f64) -> Vec<(f64, f64)> {
    // Mean and covariance: (m0, m1), (p00, p01, p11), before and after each moment's revs.
    let (mut m, mut p) = ([0.0, 0.0], [REACH * REACH / 4.0, 0.0, mood * mood]);
    let mut predicted = Vec::with_capacity(moments.len());
    let mut filtered = Vec::with_capacity(moments.len());
    for moment in moments {
        m = [m[0], keep * m[1]];
        p = [p[0] + moment.walk, keep * p[1], keep * keep * p[2] + (1.0 - keep * keep) * mood * mood];
        predicted.push((m, p));
        if let Some(noise) = moment.noise {
            let h = [moment.slope, moment.level];
            let ph = [p[0] * h[0] + p[1] * h[1], p[1] * h[0] + p[2] * h[1]];
            let total = h[0] * ph[0] + h[1] * ph[1] + noise;
            let gain = [ph[0] / total, ph[1] / total];
            let miss = moment.seen - h[0] * m[0] - h[1] * m[1];
            m = [m[0] + gain[0] * miss, m[1] + gain[1] * miss];
            p = [p[0] - gain[0] * ph[0], p[1] - gain[0] * ph[1], p[2] - gain[1] * ph[1]];
        }
        filtered.push((m, p));
    }
    let (mut later, mut later_p) = (m, p);
    let mut offsets = vec![(m[0], p[0]); moments.len()];
    for n in (0..moments.len().saturating_sub(1)).rev() {
        let ((m, p), (mp, pp)) = (filtered[n], predicted[n + 1]);
        // Gain C = P Fᵀ Pp⁻¹ with F = diag(1, keep).
        let determinant = (pp[0] * pp[2] - pp[1] * pp[1]).max(f64::MIN_POSITIVE);
        let inverse = [pp[2] / determinant, -pp[1] / determinant, pp[0] / determinant];
        let pf = [[p[0], keep * p[1]], [p[1], keep * p[2]]];
        let miss = [later[0] - mp[0], later[1] - mp[1]];
        let v = [inverse[0] * miss[0] + inverse[1] * miss[1], inverse[1] * miss[0] + inverse[2] * miss[1]];
        later = [m[0] + pf[0][0] * v[0] + pf[0][1] * v[1], m[1] + pf[1][0] * v[0] + pf[1][1] * v[1]];
        let gain = pf.map(|r| [r[0] * inverse[0] + r[1] * inverse[1], r[0] * inverse[1] + r[1] * inverse[2]]);
        let d = [later_p[0] - pp[0], later_p[1] - pp[1], later_p[2] - pp[2]];
        let turn = |a: [f64; 2], b: [f64; 2]| a[0] * (d[0] * b[0] + d[1] * b[1]) + a[1] * (d[1] * b[0] + d[2] * b[1]);
        later_p = [p[0] + turn(gain[0], gain[0]), p[1] + turn(gain[0], gain[1]), p[2] + turn(gain[1], gain[1])];
        offsets[n] = (later[0], later_p[0]);
    }
    offsets
}
