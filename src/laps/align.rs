//! A lap list laid onto a log: the offset between two clocks that know nothing of each other.
//!
//! At the right offset every passing finds the car at the same place of the track. For every offset the distances of
//! the passings' places from their common one are compared. With the scatter unknown, the likelihood of an offset is
//! the sum of squares of what is new in each error to the power of −(n − 1) / 2 (Student's t for an unknown noise
//! level, formula from memory). Lap times differ from lap to lap and from place to place, and that is what tells the
//! places apart. Passings outside the log tell nothing, and are as likely at any place of the lap; how likely it is
//! that there are any, `driven.rs` says.
//!
//! Which lap of the log is the list's first, and where in that lap the line is, are two questions. Laps are told apart
//! by all that the lap times say. Within a lap the errors of the places are partly alike for all passings, and the
//! interval is widened for that.

use super::driven::{Driven, STANDING, Whereabouts};
use super::odometer::Odometer;
use super::offset::{LEAST_PASSINGS, LEAST_SHARE, Offset, Offsets};
use super::place::Places;
use super::turns_of_laps;
use crate::quantity::Estimate;
use crate::statistics::quantiles::{highest, median, median_step};

/// Step of the offsets tried, s.
const STEP_S: f64 = 0.02;
/// Step of the offsets at which a list is compared with its own laps in another order, s: at racing pace neighbouring
/// offsets differ in the place of the line and in little else.
const COARSE_S: f64 = 0.25;
/// A list is first glanced at this often a lap, and looked at on coarse steps about its best glances, so many of them:
/// neighbouring offsets differ too little to hide the best between two glances. Defaults, no source.
const GLANCES_A_LAP: f64 = 8.0;
const BEST_GLANCES: usize = 8;
/// Longest range of offsets, in the length of the drive: a list that asks for more has nothing to do with the log. A
/// default, no source.
const MOST_DRIVES: f64 = 8.0;
/// Farthest that a recorder's clock may run from the timing's, as a share. A default, no source: quartz keeps to 0.01
/// %, a resonator of a cheap controller to 0.5 % (values from memory), its own oscillator to 2 % or 3 %.
const MOST_CLOCK_OFF: f64 = 0.03;
/// Rounds in which the rate of a clock settles.
const CLOCK_ROUNDS: usize = 2;
/// Correlation that the errors of a place may have with the speed there: a driver who is early is mostly faster too. It
/// shifts the offset by as much of the ratio of the two scatters, however many laps there are, so that n laps tell no
/// more than 1 / (1 / n + this squared) would. Chosen on the second forward model, where 0.3 left every sixth truth of
/// a list cut by its log outside.
const ENTANGLED: f64 = 0.45;
/// How much more the turns of a lap count than the places of its passings: a place is partly the driver's manner at it,
/// turns are only the length of the line. A default, between what two forward models ask for.
const TURNS_COUNT: f64 = 1.5;
/// Log-likelihood below the best at which an offset is no longer looked at closely.
const FAR_BELOW: f64 = 30.0;
/// Share of the log-likelihood that counts where laps are told apart: the errors of neighbouring laps are alike in more
/// ways than are reckoned with. A default, no source.
const LAPS_APART: f64 = 0.5;
/// Share of the peak's weight down to which its neighbours belong to it.
const PEAK_FLOOR: f64 = 0.05;
/// Probability on either side of a 95 % interval.
const TAIL: f64 = 0.025;

/// How likely each offset between a log and its list is.
#[derive(Debug, Clone)]
pub struct Alignment {
    /// Log time of the first passing at the first offset tried; the others follow by [`STEP_S`].
    from: f64,
    /// Log-likelihood of each offset, up to a constant.
    scores: Vec<f64>,
    /// Place of the passings on the run's own profile at each offset, share of a lap; NaN where the offset is
    /// impossible.
    lines: Vec<f64>,
    /// Passings in the list.
    passings: usize,
    /// Usual time of a lap, s.
    lap_s: f64,
}

/// The log times, s, at which a list's first passing can be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window<'a> {
    from: f64,
    to: f64,
    driven: &'a Driven,
}

impl<'a> Window<'a> {
    /// With at least a third of the list in the log; `None` for a list of which so much fits nowhere.
    pub fn new(driven: &'a Driven, passings: &[f64]) -> Option<Self> {
        let (first, last) = (driven.first_s(), driven.last_s());
        let least = LEAST_PASSINGS.max((passings.len() as f64 * LEAST_SHARE).ceil() as usize);
        let fits = |part: &&[f64]| part[least - 1] - part[0] <= last - first;
        let from = first - passings.windows(least).rfind(fits)?[0];
        let to = last - passings.windows(least).find(fits)?[least - 1];
        (to - from <= MOST_DRIVES * (last - first)).then_some(Self { from, to, driven })
    }

    /// First passings tried, every `step` seconds.
    fn starts(self, step: f64) -> impl Iterator<Item = f64> {
        let count = ((self.to - self.from) / step).ceil().max(0.0) as usize;
        (0..=count).map(move |n| self.from + n as f64 * step)
    }
}

/// Compares all offsets of the list within `window`, by the places of the passings and by the turns of the `car` from
/// one to the next; `None` where it does not fit the log.
pub(super) fn align(places: &Places, car: &Odometer, passings: &[f64], window: Window) -> Option<Alignment> {
    let mut offsets = Offsets::new(places, window.driven);
    let mut score = |start: f64| offsets.at(passings, start, 1.0).map_or(f64::NEG_INFINITY, |offset| offset.score);
    let coarse: Vec<f64> = window.starts(COARSE_S).map(&mut score).collect();
    let best = highest_of(&coarse);
    let worth_a_look = |start: f64| {
        let near = ((start - window.from) / COARSE_S) as usize;
        coarse[near.saturating_sub(1)..coarse.len().min(near + 3)].iter().any(|score| *score > best - FAR_BELOW)
    };
    let mut closely = |start: f64| {
        let by_place = worth_a_look(start).then(|| offsets.at(passings, start, 1.0)).flatten()?;
        let by_turns = turns_of_laps::log_likelihood(car, offsets.driven(), places.lap_turns);
        Some(Offset { score: by_place.score + TURNS_COUNT * by_turns, ..by_place })
    };
    let (scores, lines) = window
        .starts(STEP_S)
        .map(|start| closely(start).unwrap_or(Offset::IMPOSSIBLE))
        .map(|offset| (offset.score, offset.line))
        .unzip();
    let lap_s = median_step(passings)?;
    let alignment = Alignment { from: window.from, scores, lines, passings: passings.len(), lap_s };
    alignment.best().is_finite().then_some(alignment)
}

/// How a list's clock is taken to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Clock {
    /// As the log's.
    AsTheLogs,
    /// At its own rate, up to [`MOST_CLOCK_OFF`] faster or slower.
    Free,
}

/// Where a list fits best.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// Log-likelihood, up to a constant.
    pub score: f64,
    /// Log time of the first passing, s.
    pub first_s: f64,
    /// Log seconds in a second of the list.
    pub scale: f64,
}

/// The best fit of a list on coarse steps of the offset; `None` where none is possible.
pub(super) fn best_fit(places: &Places, passings: &[f64], window: Window, clock: Clock) -> Option<Fit> {
    let mut offsets = Offsets::new(places, window.driven);
    let mut fit = |start: f64| {
        let scale = match clock {
            Clock::AsTheLogs => 1.0,
            Clock::Free => clock_scale(places, passings, start, window.driven)?,
        };
        let score = offsets.at(passings, start, scale)?.score;
        Some(Fit { score, first_s: start, scale })
    };
    let lap_s = median_step(passings)?;
    let stride = ((lap_s / GLANCES_A_LAP / COARSE_S) as usize).max(1);
    let starts: Vec<f64> = window.starts(COARSE_S).collect();
    let glances = (0..starts.len()).step_by(stride).filter_map(|n| Some((n, fit(starts[n])?)));
    let mut glances: Vec<(usize, Fit)> = glances.collect();
    glances.sort_by(|a, b| b.1.score.total_cmp(&a.1.score));
    let closer = &glances[..glances.len().min(BEST_GLANCES)];
    let near = |n: &usize| closer.iter().any(|(glance, _)| n.abs_diff(*glance) < stride);
    (0..starts.len()).filter(near).filter_map(|n| fit(starts[n])).max_by(|a, b| a.score.total_cmp(&b.score))
}

/// Log seconds in a second of the list whose first passing is at `start`, by how its passings' places move from the
/// first third of them to the last; `None` where that is farther from 1 than any clock is.
fn clock_scale(places: &Places, passings: &[f64], start: f64, driven: &Driven) -> Option<f64> {
    let mut scale = 1.0;
    for _ in 0..CLOCK_ROUNDS {
        let is_driven = |p: &f64| driven.whereabouts(start + p * scale) == Whereabouts::Driven;
        let inside: Vec<f64> = passings.iter().copied().filter(is_driven).collect();
        if inside.len() < LEAST_PASSINGS {
            return None;
        }
        let laps: Vec<f64> = inside.iter().map(|p| places.laps_at(start + p * scale)).collect();
        let moved = unwrapped(&laps);
        let (third, last) = ((inside.len() / 3).max(1), inside.len() - 1);
        let change = |values: &[f64]| {
            Some(median(values[values.len() - third..].iter().copied())? - median(values[..third].iter().copied())?)
        };
        let lap_s = (inside[last] - inside[0]) / (laps[last] - laps[0]);
        scale *= 1.0 - change(&moved)? / change(&inside)? * lap_s;
        if scale.is_nan() || (scale - 1.0).abs() > MOST_CLOCK_OFF {
            return None;
        }
    }
    Some(scale)
}

/// How far the passings at `laps` are from whole laps after the first, followed from one to the next.
pub(super) fn unwrapped(laps: &[f64]) -> Vec<f64> {
    let mut moved = 0.0;
    let steps = laps.windows(2).map(|w| w[1] - w[0]).map(|step| step - step.round());
    let sums = steps.map(|step| {
        moved += step;
        moved
    });
    std::iter::once(0.0).chain(sums).take(laps.len()).collect()
}

impl Alignment {
    /// Probability that the first passing is farther than half a lap from where it is most likely.
    pub fn elsewhere(&self) -> f64 {
        self.modes(&self.scores).map_or(1.0, |modes| 1.0 - modes.iter().map(|m| m.weight).fold(0.0, f64::max))
    }

    fn best(&self) -> f64 {
        highest_of(&self.scores)
    }

    /// Log time of the list's first passing, with its 95 % interval, from the run alone.
    pub fn first_passing(&self) -> Option<Estimate> {
        self.estimate(&self.scores, self.passings)
    }

    /// Log time of the first passing with what the car's other runs tell of the line: `elsewhere` gives their
    /// log-likelihood of a place on this run's profile, from `passings` of theirs.
    pub fn first_passing_with(&self, elsewhere: impl Fn(f64) -> f64, passings: usize) -> Option<Estimate> {
        let together =
            |(score, line): (&f64, &f64)| if line.is_nan() { f64::NEG_INFINITY } else { score + elsewhere(*line) };
        let scores: Vec<f64> = self.scores.iter().zip(&self.lines).map(together).collect();
        self.estimate(&scores, self.passings + passings)
    }

    /// Log-likelihood of each of `cells` places of the line on the run's own profile, the best offset at each; nowhere
    /// more than `most` below the best place, since the list may belong to another run.
    pub fn by_line(&self, cells: usize, most: f64) -> Vec<f64> {
        let best = self.best();
        let mut by_line = vec![best - most / temper(self.passings); cells];
        for (score, line) in self.scores.iter().zip(&self.lines).filter(|(_, line)| line.is_finite()) {
            let cell = (line.rem_euclid(1.0) * cells as f64) as usize % cells;
            by_line[cell] = f64::max(by_line[cell], *score);
        }
        by_line.iter().map(|s| s - best).collect()
    }

    /// Passings in the list.
    pub fn passings(&self) -> usize {
        self.passings
    }

    fn estimate(&self, scores: &[f64], passings: usize) -> Option<Estimate> {
        let temper = temper(passings);
        let mut weights = vec![0.0; scores.len()];
        let modes = self.modes(scores)?;
        for mode in &modes {
            let steps = mode.from..mode.to;
            let shape: Vec<f64> = scores[steps.clone()].iter().map(|s| (temper * (s - mode.best)).exp()).collect();
            let total: f64 = shape.iter().sum();
            weights[steps].iter_mut().zip(shape).for_each(|(weight, s)| *weight = mode.weight * s / total);
        }
        let likeliest = modes.iter().max_by(|a, b| a.best.total_cmp(&b.best))?;
        let peak = (likeliest.from..likeliest.to).find(|&n| scores[n] == likeliest.best)?;
        let (low, high) = (tail(weights.iter()), weights.len() - 1 - tail(weights.iter().rev()));
        let time_s = |step: f64| self.from + step * STEP_S;
        let value = time_s(mean_near(&weights, peak));
        // The step of the grid and the thousandths of the list are uncertain too.
        Some(Estimate { value, low: time_s(low as f64 - 1.0).min(value), high: time_s(high as f64 + 1.0).max(value) })
    }

    /// The laps of the log at which the first passing can be, each half a lap either side of the best offset or a whole
    /// number of laps from there; `None` where none is possible.
    fn modes(&self, scores: &[f64]) -> Option<Vec<Mode>> {
        let best = highest_of(scores);
        let peak = scores.iter().position(|s| *s == best)?;
        let lap = |n: usize| ((n as f64 - peak as f64) * STEP_S / self.lap_s).round() as i64;
        let mut modes: Vec<Mode> = Vec::new();
        let mut from = 0;
        while from < scores.len() {
            let to = (from..scores.len()).find(|&n| lap(n) != lap(from)).unwrap_or(scores.len());
            let top = highest_of(&scores[from..to]);
            if top.is_finite() {
                modes.push(Mode { from, to, best: top, weight: (LAPS_APART * (top - best)).exp() });
            }
            from = to;
        }
        let total: f64 = modes.iter().map(|mode| mode.weight).sum();
        modes.iter_mut().for_each(|mode| mode.weight /= total);
        Some(modes)
    }
}

/// The highest of log-likelihoods; −∞ where none is possible.
fn highest_of(scores: &[f64]) -> f64 {
    highest(scores).unwrap_or(f64::NEG_INFINITY)
}

/// One lap of the log at which the first passing can be.
struct Mode {
    /// Its offsets, from the first to before the last.
    from: usize,
    to: usize,
    /// Log-likelihood of its best offset.
    best: f64,
    /// How likely it is that the first passing is there.
    weight: f64,
}

/// Factor on a log-likelihood from so many passings for what they share (see the constant `ENTANGLED`).
pub fn temper(passings: usize) -> f64 {
    1.0 / (1.0 + passings as f64 * ENTANGLED * ENTANGLED)
}

/// Mean of the steps around the peak, by their weights, as far as they belong to it.
fn mean_near(weights: &[f64], peak: usize) -> f64 {
    let floor = weights[peak] * PEAK_FLOOR;
    let low = (0..=peak).rev().take_while(|&n| weights[n] >= floor).last().unwrap_or(peak);
    let high = (peak..weights.len()).take_while(|&n| weights[n] >= floor).last().unwrap_or(peak);
    let sum: f64 = weights[low..=high].iter().sum();
    (low..=high).map(|n| n as f64 * weights[n]).sum::<f64>() / sum
}

/// How many steps from one end hold the weight outside the interval, where all weights add up to one.
fn tail<'a>(weights: impl Iterator<Item = &'a f64>) -> usize {
    let mut sum = 0.0;
    weights
        .take_while(|w| {
            sum += **w;
            sum < TAIL
        })
        .count()
}

/// Log times, s, at which the car first sets off and last moves; `None` where it never does.
pub fn moving(odometer: &Odometer) -> Option<(f64, f64)> {
    let (time, rpm) = odometer.rows();
    let slow = STANDING * odometer.highest_rpm();
    let first = rpm.iter().position(|r| *r > slow)?;
    let last = rpm.iter().rposition(|r| *r > slow)?;
    Some((time[first], time[last]))
}
