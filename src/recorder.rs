//! How a recorder takes its current: at the row's own moment, late, as a mean over the time since the row before, or
//! anew only every few rows.
//!
//! A pack's voltage gives way to its current at once, so that what the current was at a moment stands in the voltage of
//! that moment. Each change of the current from reading to reading is a weighted sum of the changes of the voltage at
//! moments before and after its row; least squares gives the weights (a finite impulse response, as system
//! identification fits it: Ljung 1999, System Identification, 4.2). A current of the row's moment has its weight at the
//! row, one that is late before it, a mean over the row evenly at the row and the one before. The moment is the centre
//! of the weights near their peak: noise of the voltage spreads them to both sides alike. Its doubt comes from a
//! jackknife over blocks of the log, and from the straight lines that the voltage is taken to follow between rows.
//!
//! A current that is half a row late and one that is a mean over the row look the same; the latter is taken, since
//! recorders do so. Voltage and revs are taken to be of the row's moment: where the voltage itself is late, the current
//! is told relative to it.

use std::ops::RangeInclusive;

use nalgebra::SVector;

use crate::quantity::Uncertain;
use crate::statistics::coverage::coverage_factor;
use crate::statistics::jackknife::half_width_95;
use crate::statistics::least_squares::NormalEquations;
use crate::statistics::quantiles::{median, median_step};

/// Weights on either side of the middle, and all of them.
const SIDE: isize = 4;
const WEIGHTS: usize = 2 * SIDE as usize + 1;
/// Weights farther from the centre than so many do not count for it, and how often it is taken anew. Defaults.
const NEAR: f64 = 2.0;
const CENTRED: usize = 8;
/// Weights lie a row apart, and at least so long, s: in less time the current hardly changes. A default.
const LEAST_APART_S: f64 = 0.02;
/// How late a reading may be: so many rows or so long, s, whichever is more; and how early, rows. Defaults.
const LATEST_ROWS: f64 = 2.0;
const LATEST_S: f64 = 0.3;
const EARLIEST_ROWS: f64 = 1.0;
/// A step between readings that lasts this many times as long as the usual one has rows missing.
const ROWS_MISSING: f64 = 1.5;
/// Rows farther apart tell nothing of the moment, s. Common practice, no source.
const LONGEST_STEP_S: f64 = 0.25;
/// Fewest steps that are needed, and blocks that they are put into for the doubt.
const LEAST_STEPS: usize = 100;
const BLOCKS: usize = 20;
/// Share of the current's movement that the voltage must explain. A default: with less, noise tells the moment.
const LEAST_EXPLAINED: f64 = 0.15;
/// Standard uncertainty of the moment for straight lines between rows, in weights. Common practice, no source.
const BETWEEN_ROWS_U: f64 = 0.1;
/// A moment that is less certain than this, in weights, is not told. A default.
const MOST_U: f64 = 0.5;
/// Parts of a row behind a whole number of rows that make a reading a mean over the row.
const MEAN: RangeInclusive<f64> = 0.25..=0.75;
/// Where fewer of a channel's changes than this share follow a change in the row before, the recorder holds it over two
/// rows or more. A default.
const SELDOM: f64 = 0.05;

/// How a recorder takes its current.
#[derive(Debug, Clone, PartialEq)]
pub struct CurrentTaking {
    /// By how much a reading's moment lies before its row, s; the middle of its time where it is a mean. Negative where
    /// the current is ahead of the voltage.
    pub late_s: Uncertain,
    /// Time over which a reading is a mean, s; 0 where it is of one moment.
    pub width_s: f64,
    /// Rows with a new reading: all that have one, but for a recorder that holds its current over several rows.
    pub rows: Vec<usize>,
}

impl CurrentTaking {
    /// How the current (A) was taken, by the rows' time (s) and voltage (V); `None` where they do not tell: too few
    /// steps, rows too far apart, or a voltage that does not follow the current.
    pub fn new(time: &[f64], voltage: &[f64], current: &[f64]) -> Option<Self> {
        Self::of_readings(time, voltage, current, rows_with_a_reading(voltage, current))
    }

    /// The same where the `rows` with a new reading are known ([`rows_with_a_reading`]).
    pub fn of_readings(time: &[f64], voltage: &[f64], current: &[f64], rows: Vec<usize>) -> Option<Self> {
        let step_s = median_step(time).filter(|s| *s > 0.0 && *s <= LONGEST_STEP_S)?;
        let apart_s = step_s * (LEAST_APART_S / step_s).round().max(1.0);
        let amps = Steps::new(time, current, &rows, apart_s)?;
        let volts = Volts::new(time, voltage, &rows, apart_s);
        let middle = likeliest_shift(&amps, &volts, step_s)?;
        let around = (-SIDE..=SIDE).map(|k| volts.shifted(middle + k)).collect::<Vec<_>>();
        let blocks: Vec<Sums> = amps.blocks().map(|block| Sums::new(block, &around)).collect();
        let all = blocks.iter().fold(Sums::default(), |all, block| all.plus(block));
        let weights = all.weights()?;
        let centres: Vec<f64> = blocks.iter().filter_map(|b| Some(centre(&all.minus(b).weights()?))).collect();
        let u = half_width_95(&centres) / coverage_factor(centres.len() as f64 - 1.0, 0.95);
        let late_s = (middle as f64 + centre(&weights)) * apart_s;
        let late_s = Uncertain::new(late_s, apart_s * u.hypot(BETWEEN_ROWS_U));
        let is_told = late_s.value.is_finite()
            && all.explained(&weights) >= LEAST_EXPLAINED
            && late_s.standard_u < MOST_U * apart_s;
        let is_held = rows.len() < has_both(voltage, current).count();
        let width_s = if !is_held && MEAN.contains(&(late_s.value / step_s).rem_euclid(1.0)) { step_s } else { 0.0 };
        is_told.then_some(Self { late_s, width_s, rows })
    }

    /// Running integral at each row's own moment of what was read as the current was, A·s for amperes and J for watts.
    /// `readings` has one value a row, of which those of [`CurrentTaking::rows`] count; each holds half way to the
    /// moments of the readings beside it.
    pub fn gathered(&self, time: &[f64], readings: &[f64]) -> Vec<f64> {
        let known: Vec<(f64, f64)> = self
            .rows
            .iter()
            .filter(|n| readings[**n].is_finite())
            .map(|n| (time[*n] - self.late_s.value, readings[*n]))
            .collect();
        let (Some(first), Some(last)) = (known.first(), known.last()) else { return vec![0.0; time.len()] };
        // From where to where each reading holds; the first and the last on and on.
        let from = time.first().map_or(first.0, |t| t.min(first.0));
        let mut ends: Vec<f64> = known.windows(2).map(|w| (w[0].0 + w[1].0) / 2.0).collect();
        ends.push(time.last().map_or(last.0, |t| t.max(last.0)));
        let (mut sum, mut at, mut reading) = (0.0, from, 0);
        let until = |t: &f64| {
            while reading + 1 < ends.len() && ends[reading] < *t {
                sum += known[reading].1 * (ends[reading] - at).max(0.0);
                at = at.max(ends[reading]);
                reading += 1;
            }
            sum += known[reading].1 * (t - at).max(0.0);
            at = at.max(*t);
            sum
        };
        time.iter().map(until).collect()
    }
}

/// Rows in which the slower of voltage and current is new: all that have both, but for recorders that hold a channel
/// over several rows.
pub fn rows_with_a_reading(voltage: &[f64], current: &[f64]) -> Vec<usize> {
    // A channel that is held never changes in two rows running; one in coarse steps does.
    let is_held = |values: &[f64]| {
        let changes: Vec<bool> = values.windows(2).map(|w| w[0] != w[1]).collect();
        let all = changes.iter().filter(|c| **c).count();
        let running = changes.windows(2).filter(|w| w[0] && w[1]).count();
        all > LEAST_STEPS && (running as f64) < SELDOM * all as f64
    };
    match [current, voltage].into_iter().find(|values| is_held(values)) {
        Some(slower) => has_both(voltage, current).filter(|&n| n > 0 && slower[n] != slower[n - 1]).collect(),
        None => has_both(voltage, current).collect(),
    }
}

/// Rows that have a voltage and a current.
fn has_both(voltage: &[f64], current: &[f64]) -> impl Iterator<Item = usize> {
    (0..current.len()).filter(|&n| voltage[n].is_finite() && current[n].is_finite())
}

/// A change of the current from one reading to another, by their numbers.
#[derive(Clone, Copy)]
struct Step {
    from: usize,
    to: usize,
    amps: f64,
}

/// The changes of the current over about the time between two weights.
struct Steps(Vec<Step>);

impl Steps {
    fn new(time: &[f64], current: &[f64], rows: &[usize], apart_s: f64) -> Option<Self> {
        let usual_s = median(rows.windows(2).map(|w| time[w[1]] - time[w[0]]))?;
        let span = (apart_s / usual_s).round().max(1.0) as usize;
        let is_whole = |s: &Step| time[rows[s.to]] - time[rows[s.from]] < ROWS_MISSING * span as f64 * usual_s;
        let step = |to: usize| Step { from: to - span, to, amps: current[rows[to]] - current[rows[to - span]] };
        let steps: Vec<Step> = (span..rows.len()).map(step).filter(is_whole).collect();
        (steps.len() >= LEAST_STEPS).then_some(Self(steps))
    }

    fn blocks(&self) -> impl Iterator<Item = &[Step]> {
        self.0.chunks(self.0.len().div_ceil(BLOCKS))
    }
}

/// The voltage around the readings.
struct Volts {
    /// Times and values of its rows, s and V.
    rows: Vec<(f64, f64)>,
    /// Times of the readings of the current, s.
    readings: Vec<f64>,
    apart_s: f64,
}

impl Volts {
    fn new(time: &[f64], voltage: &[f64], readings: &[usize], apart_s: f64) -> Self {
        let rows = time.iter().copied().zip(voltage.iter().copied()).filter(|row| row.1.is_finite()).collect();
        Self { rows, readings: readings.iter().map(|n| time[*n]).collect(), apart_s }
    }

    /// The voltage so many weights before each reading, straight between rows, held at the ends.
    fn shifted(&self, weights: isize) -> Vec<f64> {
        let mut next = 0;
        let at = |reading: &f64| {
            let t = reading - weights as f64 * self.apart_s;
            while next + 1 < self.rows.len() && self.rows[next].0 < t {
                next += 1;
            }
            let ((t0, v0), (t1, v1)) = (self.rows[next.saturating_sub(1)], self.rows[next]);
            if t1 > t0 { v0 + (v1 - v0) * ((t - t0) / (t1 - t0)).clamp(0.0, 1.0) } else { v1 }
        };
        self.readings.iter().map(at).collect()
    }
}

/// By how many weights the voltage that explains the current best by itself lies before the reading; `None` where none
/// falls as the current rises.
fn likeliest_shift(amps: &Steps, volts: &Volts, step_s: f64) -> Option<isize> {
    let earliest = -(EARLIEST_ROWS * step_s / volts.apart_s).ceil() as isize;
    let latest = ((LATEST_ROWS * step_s).max(LATEST_S) / volts.apart_s).ceil() as isize;
    let explained = |shift: isize| {
        let v = volts.shifted(shift);
        let (iv, vv) = amps.0.iter().fold((0.0, 0.0), |(iv, vv), s| {
            let change = v[s.to] - v[s.from];
            (iv - s.amps * change, vv + change * change)
        });
        (shift, if iv > 0.0 && vv > 0.0 { iv * iv / vv } else { 0.0 })
    };
    (earliest..=latest).map(explained).filter(|e| e.1 > 0.0).max_by(|a, b| a.1.total_cmp(&b.1)).map(|e| e.0)
}

/// Sums over steps of which the weights are made.
#[derive(Clone, Copy, Default)]
struct Sums {
    equations: NormalEquations<WEIGHTS>,
    /// Σ ΔI², A².
    squares: f64,
}

impl Sums {
    fn new(steps: &[Step], volts: &[Vec<f64>]) -> Self {
        steps.iter().fold(Self::default(), |mut sums, s| {
            let falls = SVector::from_fn(|k, _| volts[k][s.from] - volts[k][s.to]);
            sums.equations.add(&falls, s.amps, 1.0);
            sums.squares += s.amps * s.amps;
            sums
        })
    }

    fn plus(&self, other: &Self) -> Self {
        Self { equations: self.equations + other.equations, squares: self.squares + other.squares }
    }

    fn minus(&self, part: &Self) -> Self {
        Self { equations: self.equations - part.equations, squares: self.squares - part.squares }
    }

    /// Amperes for a fall of a volt at each moment.
    fn weights(&self) -> Option<SVector<f64, WEIGHTS>> {
        self.equations.best()
    }

    /// Share of the current's movement that these weights, which fit it best, explain.
    fn explained(&self, weights: &SVector<f64, WEIGHTS>) -> f64 {
        weights.dot(&self.equations.right) / self.squares
    }
}

/// Centre of the weights near their peak, in weights from the middle one. It begins at the centre of the squares and is
/// taken again around itself, so that the same share of what noise spreads lies on either side.
fn centre(weights: &SVector<f64, WEIGHTS>) -> f64 {
    let centre_by = |share: &dyn Fn(f64, f64) -> f64| {
        let shares = |k: usize| (k as f64 - SIDE as f64, share(k as f64 - SIDE as f64, weights[k]));
        let (moment, sum) = (0..WEIGHTS).map(shares).fold((0.0, 0.0), |(m, s), (place, w)| (m + place * w, s + w));
        moment / sum
    };
    let near = |place: f64, around: f64| (1.0 - ((place - around) / NEAR).powi(2)).max(0.0);
    let squares = centre_by(&|_, weight| weight * weight);
    (0..CENTRED).fold(squares, |around, _| centre_by(&|place, weight| weight * near(place, around)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    /// Amperes of a finger that goes somewhere else three times a second, 500 a second.
    fn driven() -> Vec<f64> {
        let noise = |n: u32| f64::from(n.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24);
        let (mut amps, mut level) = (0.0, 0);
        let next = |n: u32| {
            if noise(n) < 0.006 {
                level += 1;
            }
            amps += 0.05 * (60.0 * noise(900_001 + level) - amps);
            amps
        };
        (0..60_000).map(next).collect()
    }

    /// Rows a twentieth of a second apart, 25 samples each: their times, the volts of a pack of 8.6 mΩ, and the current
    /// as `taken` at a sample.
    fn recorded(taken: impl Fn(&[f64], usize) -> f64) -> [Vec<f64>; 3] {
        let amps = driven();
        let samples: Vec<usize> = (4..amps.len() / 25 - 4).map(|n| 25 * n).collect();
        [
            samples.iter().map(|s| *s as f64 / 500.0).collect(),
            samples.iter().map(|s| 8.4 - 0.0086 * amps[*s]).collect(),
            samples.iter().map(|s| taken(&amps, *s)).collect(),
        ]
    }

    #[rstest]
    #[case::of_the_row(0, 0.0, 0.0)]
    #[case::a_row_late(25, 0.05, 0.0)]
    #[case::two_rows_late(50, 0.1, 0.0)]
    #[case::a_fifth_of_a_row_early(-5, -0.01, 0.0)]
    fn how_late_a_current_is(#[case] late: isize, #[case] late_s: f64, #[case] width_s: f64) {
        let [time, volts, amps] = recorded(|amps, at| amps[at.saturating_add_signed(-late)]);
        let found = CurrentTaking::new(&time, &volts, &amps).unwrap();
        assert!((found.late_s.value - late_s).abs() < 0.004 && found.late_s.standard_u < 0.008, "{:?}", found.late_s);
        assert_eq!((found.width_s, found.rows.len()), (width_s, time.len()));
    }

    #[test]
    fn a_mean_over_the_row_is_half_a_row_late() {
        let [time, volts, amps] = recorded(|amps, at| amps[at - 24..=at].iter().sum::<f64>() / 25.0);
        let found = CurrentTaking::new(&time, &volts, &amps).unwrap();
        assert!((found.late_s.value - 0.025).abs() < 0.005, "{:?}", found.late_s);
        assert!((found.width_s - 0.05).abs() < 1e-9);
    }

    #[test]
    fn a_held_current_counts_where_it_is_new() {
        let [time, volts, amps] = recorded(|amps, at| amps[at - at % 75]);
        let found = CurrentTaking::new(&time, &volts, &amps).unwrap();
        assert!(found.late_s.value.abs() < 0.005 && found.width_s == 0.0, "{:?}", found.late_s);
        assert!(found.rows.len() < time.len() / 2);
    }

    #[test]
    fn a_voltage_that_does_not_follow_tells_nothing() {
        let [time, volts, amps] = recorded(|amps, at| amps[(7 * at) % amps.len()]);
        assert_eq!(CurrentTaking::new(&time, &volts, &amps), None);
    }

    #[test]
    fn what_was_gathered_is_brought_to_the_rows() {
        // A mean over the row: what was gathered until a row is the sum of the means.
        let taking = CurrentTaking { late_s: Uncertain::new(0.5, 0.0), width_s: 1.0, rows: (0..4).collect() };
        let gathered = taking.gathered(&[0.0, 1.0, 2.0, 3.0], &[10.0, 20.0, 0.0, 40.0]);
        assert_eq!(gathered.windows(2).map(|w| w[1] - w[0]).collect::<Vec<_>>(), [20.0, 0.0, 40.0]);
        // Held over two rows: straight halves between readings.
        let taking = CurrentTaking { late_s: Uncertain::new(0.0, 0.0), width_s: 0.0, rows: vec![0, 2, 4] };
        let gathered = taking.gathered(&[0.0, 1.0, 2.0, 3.0, 4.0], &[8.0, 8.0, 2.0, 2.0, 6.0]);
        assert_eq!(gathered, [0.0, 8.0, 10.0, 12.0, 18.0]);
    }
}
