//! Columns without names to channels, all of them together: the assignment of columns to channels that is likeliest as
//! a whole.
//!
//! Each assignment has a score, the logarithm of how likely it is but for a constant: how near each column's values
//! are to what its channel shows, and how the channels go together. A pack's voltage falls as its current rises, the
//! current rises with the revs or with their rise, the motor is mostly warmer than the controller at the end, and both
//! start near the air. Assumptions: the scores are rough (common practice, no source) and independent of each other. It
//! is wrong where a column that is none of the channels moves like one; a channel that is told so has a notice, which
//! also says where another assignment is nearly as good.

use super::columns::{ColumnUse, Hints};
use super::marks::is_mark;
use super::names::{Certainty, admits};
use super::shapes::{Shape, Shapes, ValueRange, is_pack};
use super::vocabulary::Meaning;
use crate::log::Channel;

/// Channels that are told from values, the plainest shape first.
pub const BY_VALUES: [Channel; 5] =
    [Channel::Rpm, Channel::Voltage, Channel::MotorTemperature, Channel::ControllerTemperature, Channel::Current];

/// Columns that are tried for a channel: the likeliest by themselves.
const MOST_CANDIDATES: usize = 6;
/// Rows that two columns are held against each other by, spread over the log.
const COMPARED_ROWS: usize = 4_000;
/// An assignment is sure where the next is 19 times less likely: 95 %.
const SURE: f64 = 2.94;
/// A column that can be a channel is taken for it rather than for none.
const TAKEN: f64 = 8.0;
/// What a column's own values can count against it at most.
const WORST: f64 = -6.0;
/// A voltage goes against the current at least this much.
const LEAST_SAG: f64 = -0.3;
/// Weights of a correlation of one.
const SAG_WEIGHT: f64 = 4.0;
const PULL_WEIGHT: f64 = 2.0;
/// Weight of how much smoother the revs are than the current, as a logarithm, and the most that it counts: a car has
/// mass, a current has none.
const SMOOTH_WEIGHT: f64 = 3.0;
const MOST_SMOOTH: f64 = 1.0;
/// A current whose peak is smaller than this share of what is written is in another unit than amperes.
const LEAST_SCALED: f64 = 0.5;
/// What counts against a current that may as well be a throttle.
const LIKE_THROTTLE: f64 = 3.0;
/// Difference of two temperatures at the end that makes the warmer one e times likelier the motor's, °C.
const WARMER_C: f64 = 4.0;
/// How much likelier a lone temperature is the motor's, as a logarithm: recorders have a sensor for it.
const LONE_IS_MOTOR: f64 = 1.0;
/// How far below and above the air a temperature starts without being odd, and what counts against it per step, °C.
const START_ABOVE_AIR_C: std::ops::RangeInclusive<f64> = -4.0..=45.0;
const START_STEP_C: f64 = 4.0;

/// A column for each channel of [`BY_VALUES`] that one was found for.
type Assignment = [Option<usize>; BY_VALUES.len()];

/// A channel that was told from values.
#[derive(Debug, PartialEq)]
pub struct Told {
    /// Its column.
    pub column: usize,
    /// The channel.
    pub channel: Channel,
    /// What makes it uncertain.
    pub doubt: Option<Doubt>,
}

/// Why a channel is not told with certainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// This column would be it in an assignment that is nearly as good.
    Other(usize),
    /// It is the only temperature, and may be the controller's as well.
    LoneTemperature,
    /// It may as well be a throttle in per cent.
    Throttle,
}

/// A column that may be a channel, and how well it fits by itself.
struct Candidate {
    column: usize,
    score: f64,
}

/// All that an assignment is judged by.
struct Judge<'a> {
    shapes: &'a Shapes<'a>,
    hints: &'a Hints,
    /// For each channel of [`BY_VALUES`] the columns that may be it.
    candidates: Vec<Vec<Candidate>>,
    /// Columns of channels that the headers name.
    fixed: Assignment,
    /// How pairs of columns go together, worked out once: voltage with current, revs with current.
    sags: Vec<Vec<f64>>,
    pulls: Vec<Vec<f64>>,
}

/// The channels that `uses` leave open, told from the columns without a name.
pub fn tell(uses: &[ColumnUse], shapes: &Shapes, hints: &Hints) -> Vec<Told> {
    let judge = Judge::new(uses, shapes, hints);
    let mut all: Vec<(f64, Assignment)> = Vec::new();
    judge.each_assignment(0, [None; BY_VALUES.len()], 0.0, &mut all);
    let Some((best_score, best)) = all.iter().max_by(|a, b| a.0.total_cmp(&b.0)).copied() else { return Vec::new() };
    let told = |(place, channel): (usize, Channel)| {
        let column = best[place].filter(|_| judge.fixed[place].is_none())?;
        let differs = |other: &&(f64, Assignment)| other.1[place].is_some_and(|c| c != column);
        let rival = all.iter().filter(differs).max_by(|a, b| a.0.total_cmp(&b.0));
        let other = rival.filter(|r| best_score - r.0 < SURE).and_then(|r| r.1[place]);
        let is_lone = channel == Channel::MotorTemperature && best[CONTROLLER].is_none();
        let is_like_throttle =
            || channel == Channel::Current && shapes.shape(column).is_some_and(Shape::may_be_throttle);
        let doubt = match other {
            Some(other) => Some(Doubt::Other(other)),
            None if is_lone => Some(Doubt::LoneTemperature),
            None => is_like_throttle().then_some(Doubt::Throttle),
        };
        Some(Told { column, channel, doubt })
    };
    BY_VALUES.into_iter().enumerate().filter_map(told).collect()
}

impl<'a> Judge<'a> {
    fn new(uses: &[ColumnUse], shapes: &'a Shapes<'a>, hints: &'a Hints) -> Self {
        let named = |channel| uses.iter().position(|u| u.meaning == Some(Meaning::Channel(channel)));
        let fixed = BY_VALUES.map(named);
        let candidates = BY_VALUES.into_iter().zip(fixed).map(|(channel, fixed)| match fixed {
            Some(column) => vec![Candidate { column, score: 0.0 }],
            None => candidates(channel, uses, shapes, hints),
        });
        let mut judge =
            Self { shapes, hints, candidates: candidates.collect(), fixed, sags: Vec::new(), pulls: Vec::new() };
        let pairs = |of: usize, compare: fn(&[f64], &[f64]) -> f64| -> Vec<Vec<f64>> {
            let currents: Vec<Vec<f64>> =
                judge.candidates[CURRENT].iter().map(|i| readings(shapes, i.column)).collect();
            let row = |c: &Candidate| {
                let own = readings(shapes, c.column);
                currents.iter().map(|current| compare(&own, current)).collect()
            };
            judge.candidates[of].iter().map(row).collect()
        };
        (judge.sags, judge.pulls) = (pairs(VOLTAGE, sag), pairs(RPM, pull));
        judge
    }

    /// Adds every assignment of the channels from `place` on, with its score.
    fn each_assignment(&self, place: usize, chosen: [Option<usize>; 5], score: f64, all: &mut Vec<(f64, Assignment)>) {
        if place == BY_VALUES.len() {
            if let Some(together) = self.together(&chosen) {
                let column = |place: usize| chosen[place].map(|c| self.candidates[place][c].column);
                all.push((score + together, [0, 1, 2, 3, 4].map(column)));
            }
            return;
        }
        for (index, candidate) in self.candidates[place].iter().enumerate() {
            let is_taken =
                (0..place).any(|p| chosen[p].is_some_and(|c| self.candidates[p][c].column == candidate.column));
            if !is_taken {
                let mut more = chosen;
                more[place] = Some(index);
                self.each_assignment(place + 1, more, score + TAKEN + candidate.score, all);
            }
        }
        if self.fixed[place].is_none() {
            self.each_assignment(place + 1, chosen, score, all);
        }
    }

    /// How well the chosen columns go together; `None` where they cannot.
    fn together(&self, chosen: &[Option<usize>; 5]) -> Option<f64> {
        let shape = |place: usize| {
            let column = self.candidates[place][chosen[place]?].column;
            self.shapes.shape(column)
        };
        let mut score = 0.0;
        let sag = chosen[VOLTAGE].zip(chosen[CURRENT]).map(|(v, i)| self.sags[v][i]);
        // A column of thousands is a motor's revs before it is a current in mA.
        let in_other_unit =
            |shape: &Shape| shape.height(Channel::Current, None, None).is_some_and(|high| is_scaled(shape, high));
        if self.fixed[CURRENT].is_none() && chosen[RPM].is_none() && shape(CURRENT).is_some_and(in_other_unit) {
            return None;
        }
        let is_open = self.fixed[VOLTAGE].is_none();
        let is_odd = sag.is_some_and(|s| s > LEAST_SAG);
        // Without a current only a column that runs down, and not steadily, can be a pack's.
        let is_other = sag.is_none() && shape(VOLTAGE).is_some_and(|s| s.is_slow() && !s.runs_down());
        if is_open && (is_odd || is_other) {
            return None;
        }
        score -= SAG_WEIGHT * sag.unwrap_or(0.0);
        score += PULL_WEIGHT * chosen[RPM].zip(chosen[CURRENT]).map_or(0.0, |(r, i)| self.pulls[r][i]);
        if let (Some(revs), Some(current)) = (shape(RPM), shape(CURRENT)) {
            score += SMOOTH_WEIGHT * revs.smoother_than(current).clamp(-MOST_SMOOTH, MOST_SMOOTH);
        }
        if let (Some(motor), Some(controller)) = (shape(MOTOR), shape(CONTROLLER)) {
            // The logarithm of a logistic function.
            score -= ((controller.last - motor.last) / WARMER_C).min(-10.0 * WORST).exp().ln_1p();
        }
        score += if chosen[MOTOR].is_some() { LONE_IS_MOTOR } else { 0.0 };
        if let Some(air) = self.hints.ambient_c {
            for start in [MOTOR, CONTROLLER].into_iter().filter_map(shape).map(|s| s.first - air) {
                let (low, high) = START_ABOVE_AIR_C.into_inner();
                score -= ((low - start).max(start - high).max(0.0) / START_STEP_C).min(-WORST);
            }
        }
        Some(score)
    }
}

/// Places in [`BY_VALUES`].
const RPM: usize = 0;
const VOLTAGE: usize = 1;
const MOTOR: usize = 2;
const CONTROLLER: usize = 3;
const CURRENT: usize = 4;

/// The columns without a name that may be `channel`, the likeliest first.
fn candidates(channel: Channel, uses: &[ColumnUse], shapes: &Shapes, hints: &Hints) -> Vec<Candidate> {
    let strange = is_strange(uses);
    let free = (0..uses.len()).filter(|&column| uses[column].may_be_told_by_values(strange));
    let mut all: Vec<Candidate> = free
        .filter(|&column| uses[column].unit.is_none_or(|u| admits(Meaning::Channel(channel), u)))
        .filter_map(|column| {
            let shape = shapes.shape(column)?;
            let score = alone(channel, shape, &uses[column], hints)?;
            Some(Candidate { column, score })
        })
        .collect();
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all.truncate(MOST_CANDIDATES);
    all
}

/// Whether a header has names and none of them says a channel: it is in a language that is not known.
pub fn is_strange(uses: &[ColumnUse]) -> bool {
    let says_nothing = |u: &ColumnUse| u.meaning.is_none() || u.is(Channel::Time) && u.certainty == Certainty::Unnamed;
    uses.iter().all(|u| says_nothing(u) && u.unit.is_none())
}

/// How well a column fits a channel by itself; `None` where it cannot be it.
fn alone(channel: Channel, shape: &Shape, column: &ColumnUse, hints: &Hints) -> Option<f64> {
    /// What the peak of a run usually is in each channel, and how far it scatters: turns a minute and A as a ratio, °C
    /// as a difference (common practice, no source).
    const PEAK_RPM: f64 = 30_000.0;
    const PEAK_A: f64 = 60.0;
    const PEAK_MOTOR_C: (f64, f64) = (65.0, 30.0);
    const PEAK_CONTROLLER_C: (f64, f64) = (50.0, 25.0);
    /// Volts of a charged cell, and their scatter; what counts against a voltage that has another unit than volts, or
    /// fits no cells in plain volts.
    const CHARGED_CELL_V: (f64, f64) = (4.1, 0.3);
    const SCALED: f64 = 1.0;
    let high = shape.height(channel, column.unit, hints.cells)?;
    let normal = |distance: f64| -0.5 * distance * distance;
    let score = match channel {
        Channel::Rpm => normal((high / PEAK_RPM).ln()),
        Channel::Current => {
            let is_scaled = column.unit.is_none() && is_scaled(shape, high);
            // An unknown name does not justify another unit.
            if is_scaled && column.named {
                return None;
            }
            let throttle = if column.unit.is_none() && shape.may_be_throttle() { LIKE_THROTTLE } else { 0.0 };
            normal((high / PEAK_A).ln()) - throttle - if is_scaled { SCALED } else { 0.0 }
        }
        Channel::MotorTemperature => normal((high - PEAK_MOTOR_C.0) / PEAK_MOTOR_C.1),
        Channel::ControllerTemperature => normal((high - PEAK_CONTROLLER_C.0) / PEAK_CONTROLLER_C.1),
        _ => {
            let cells = hints.cells.unwrap_or_else(|| (high / CHARGED_CELL_V.0).round().max(1.0));
            let is_scaled = column.unit.is_none() && high != shape.range.high;
            // An unknown name does not justify another unit.
            if is_scaled && column.named {
                return None;
            }
            // What the sheet says of the pack rules out what cannot be it.
            let volts = ValueRange { low: shape.range.low * high / shape.range.high, high, whole: shape.range.whole };
            if hints.cells.is_some() && !is_pack(&volts, hints.cells) {
                return None;
            }
            normal((high / cells - CHARGED_CELL_V.0) / CHARGED_CELL_V.1) - if is_scaled { SCALED } else { 0.0 }
        }
    };
    Some(score.max(WORST))
}

/// Whether a current with the peak `high`, A, is written in another unit.
fn is_scaled(shape: &Shape, high: f64) -> bool {
    high < LEAST_SCALED * shape.range.high.max(-shape.range.low)
}

/// The values of a column; numbers that stand for no reading are not among them.
fn readings(shapes: &Shapes, column: usize) -> Vec<f64> {
    shapes.values(column).iter().map(|v| if is_mark(*v) { f64::NAN } else { *v }).collect()
}

/// How a voltage goes with a current, from -1 to 1: a pack's falls as the current, whichever sign it has, rises.
fn sag(volts: &[f64], amperes: &[f64]) -> f64 {
    let mean = amperes.iter().filter(|a| a.is_finite()).sum::<f64>();
    let sign = if mean < 0.0 { -1.0 } else { 1.0 };
    sign * correlation(volts, amperes)
}

/// How revs go with a current, from -1 to 1: the current rises with the revs, or with their rise.
fn pull(revs: &[f64], amperes: &[f64]) -> f64 {
    let rise: Vec<f64> = revs.windows(2).map(|w| w[1] - w[0]).collect();
    let [height, rise] = [revs, &rise].map(|r| correlation(r, amperes).abs());
    height.max(rise)
}

/// The correlation of two columns over rows spread over the log; zero where there is none.
fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let every = a.len().div_ceil(COMPARED_ROWS).max(1);
    let pairs = || a.iter().zip(b).step_by(every).filter(|(a, b)| a.is_finite() && b.is_finite());
    let count = pairs().count() as f64;
    let (mean_a, mean_b) = pairs().fold((0.0, 0.0), |(sa, sb), (a, b)| (sa + a / count, sb + b / count));
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in pairs() {
        let (a, b) = (a - mean_a, b - mean_b);
        (ab, aa, bb) = (ab + a * b, aa + a * a, bb + b * b);
    }
    let share = ab / (aa.sqrt() * bb.sqrt());
    if share.is_finite() { share } else { 0.0 }
}
