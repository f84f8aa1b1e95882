//! A lumped model of how a part warms, fitted to one run.
//!
//! The part is a slow node with a quick one on it, in surroundings that warm: see [`super::heat_nodes`]. u is the motor
//! current squared, and w is half the motor's speed (friction, hysteresis) and half its square (eddy currents). Each is
//! relative to its mean over the laps that count. α is IEC 60028's coefficient of copper, 0.00393 per K at 20 °C,
//! carried to the run's mean temperature.
//!
//! For given cooling c and share s of it that goes with the airflow, the temperature is linear in all else: least
//! squares with priors (a Bayesian linear regression; Bishop 2006, 3.3). c and s are weighed on a grid by their best
//! fits, so that no search can get stuck in a wrong valley, and a forecast is the mixture of all of them. Where the
//! quick and the slow node cannot be told apart, as from half of an even run, every split between them that fits stays
//! in, and the interval is as wide as they are apart. Where residuals go together (whole degrees, laps) the data count
//! for less: the variance is multiplied by their autocorrelation time (Bayley and Hammersley 1946).
//!
//! Wrong where the load of the laps to come is different, and where the fan fails on the way.

use super::ceiling::Ceiling;
use super::heat_equations::{Equations, QuickEquations};
use super::heat_nodes::{
    AIR, AROUND, COPPER_HEATING, COUNT, Coefficients, Inputs, Pairs, QUICK, QUICK_S, QUICKS, SLOW, SPEED_HEATING,
    START, quick_starts, slow_part,
};
use super::heat_record::{CopperLoss, Prior, Record};
use crate::quantity::Uncertain;
use crate::statistics::least_squares::{self, NormalEquations};
use crate::statistics::mixture::{self, Weighted};

/// Cooling that is expected before a run is seen, 1/s: a motor or controller of 80 J/K (0.17 kg of iron and copper at
/// 450 to 500 J/(kg·K)) and 70 cm² in moving air at 40 W/(m²·K) has a time constant of five minutes; a factor of 2.5
/// either way is one standard deviation. Common practice, no source.
const USUAL_COOLING: f64 = 1.0 / 300.0;
const USUAL_COOLING_LN_U: f64 = 0.916;
/// Shortest and longest time constant that is tried, s, and how many are.
const TIME_CONSTANTS_S: (f64, f64) = (50.0, 1800.0);
const COOLINGS: usize = 24;
/// How many are tried where what runs share is given, how far from the best of the first look (as a logarithm), and how
/// near all that is given is held, relative.
const FINE: usize = 60;
const FINE_REACH: f64 = 0.5;
const SAME: f64 = 0.01;
/// Shares of the cooling that go with the car's speed which are tried. Common practice, no source.
const FLOW_SHARES: [f64; 3] = [0.15, 0.4, 0.65];
/// Share of the heating that goes with speed rather than with current. A machine is most efficient where the loss that
/// goes with load equals the loss that does not (textbook), and gearing aims there. A run of even laps hardly tells the
/// two apart by itself.
pub(super) const SPEED_SHARE: Uncertain = Uncertain::new(0.5, 0.15);
/// The same for the fit, where it matters little and may be anything.
const OPEN_SHARE: Uncertain = Uncertain::new(0.35, 0.25);
/// No part of a model car heats faster than this, K/s: scale of the prior.
const FASTEST_K_S: f64 = 1.0;
/// Least heating for the scale of the prior, K/s, and least distance from the air, °C.
const LEAST_HEATING_K_S: f64 = 1e-3;
const LEAST_ABOVE_AIR_K: f64 = 1.0;
/// Standard uncertainty of the first reading as the state of the whole part, °C.
const START_U: f64 = 1.0;
/// Share of the slow node's warmth above the air that its surroundings take on in the end: a mount or a chassis that
/// heat is led into. Common practice, no source.
const SURROUNDINGS_SHARE: Uncertain = Uncertain::new(0.15, 0.2);
/// What each part of the quick node may add to the sensor's warming at first, over what heats the slow node: about as
/// much again. Common practice, no source.
const QUICK_U: f64 = 0.8;
/// Least variance of a reading, °C²: no lumped model follows a sensor nearer than to a tenth of a degree. Common
/// practice, no source.
const LEAST_VARIANCE: f64 = 0.01;
/// Autocorrelation of the residuals below which they no longer go together.
const APART: f64 = 0.05;
/// Hypotheses with less weight than this are dropped.
const LEAST_WEIGHT: f64 = 1e-3;
/// Fewest steps that a fit needs.
const LEAST_STEPS: usize = 15;

/// What the runs of one motor share beside how much a load heats it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Share of the cooling that goes with the airflow.
    pub flow_share: f64,
    /// Share of the slow node's warmth that its surroundings take on.
    pub around: f64,
    /// Each part of the quick node for a unit of heating, s.
    pub quick_s: [f64; QUICKS],
}

/// What is known of a run's motor from its other runs.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// Heating at this run's load, K/s.
    heating: Prior,
    /// The rest; `None` where it is open.
    shared: Option<Shared>,
}

/// A point of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Cooling, 1/s.
    pub(super) cooling: f64,
    /// Share of the cooling that goes with the car's speed.
    pub(super) flow_share: f64,
    /// State of the quick node at the first row.
    pub(super) quick_start: f64,
}

/// A point of the grid with what the run tells under it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hypothesis {
    pub(super) weight: f64,
    pub(super) point: Point,
    /// Means of the coefficients.
    pub(super) mean: Coefficients,
    pub(super) covariance: Pairs,
    /// The slow node after the last step as a function of them, the quick node and the surroundings there.
    pub(super) last: Coefficients,
    pub(super) quick: [f64; QUICKS],
    pub(super) around: f64,
}

/// The fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct Warming {
    pub(super) hypotheses: Vec<Hypothesis>,
    pub(super) step_s: f64,
    pub(super) copper_loss: CopperLoss,
    /// Log time of the last step's end, s.
    pub(super) end_s: f64,
    /// The last readings as a straight line; `None` where the part was not long enough under
    /// load since the car last stood, or has too few readings.
    pub(super) ceiling: Option<Ceiling>,
    /// How long the part was seen under load, s.
    pub(super) seen_s: f64,
}

impl Record {
    /// Fits the model, with what the motor's other runs tell of its heating at this run's load; `None` for too few
    /// steps or no load.
    pub fn fit(&self, prior: Prior) -> Option<Warming> {
        if self.reading.iter().filter(|r| r.is_finite()).count() < LEAST_STEPS || self.copper.iter().all(|u| *u <= 0.0)
        {
            return None;
        }
        let (slow, fast) = coolings_tried();
        let known = Known { heating: prior, shared: None };
        let look = self.look(&coolings((slow, fast), COOLINGS), &FLOW_SHARES, known)?;
        // Then finely where the first look, at that variance, leaves any weight.
        let coarse = (fast - slow) / (COOLINGS - 1) as f64;
        let left = -LEAST_WEIGHT.ln() * look.variance / self.least_variance();
        let kept = |h: &&Hypothesis| h.weight > look.hypotheses[look.best].weight - left;
        let near = || look.hypotheses.iter().filter(kept).map(|h| h.point.cooling.ln());
        let range = (near().fold(f64::INFINITY, f64::min) - coarse, near().fold(f64::NEG_INFINITY, f64::max) + coarse);
        let hypotheses = weigh(self.weighed(&coolings(range, COOLINGS), &FLOW_SHARES, look.variance, known))?;
        let end_s = self.start_s + self.step_s * self.reading.len() as f64;
        let seen_s = self.step_s * self.copper.iter().filter(|load| **load > 0.0).count() as f64;
        let (ceiling, copper_loss) = (Ceiling::of_last_readings(self), self.copper_loss());
        Some(Warming { hypotheses, step_s: self.step_s, copper_loss, end_s, ceiling, seen_s })
    }

    /// A first look with independent residuals, to see how the residuals go together.
    fn look(&self, coolings: &[f64], flow_shares: &[f64], known: Known) -> Option<Look> {
        let hypotheses = self.weighed(coolings, flow_shares, self.least_variance(), known);
        let best = (0..hypotheses.len()).max_by(|a, b| hypotheses[*a].weight.total_cmp(&hypotheses[*b].weight))?;
        let variance = self.effective_variance(&self.fitted_by(&hypotheses[best]));
        Some(Look { hypotheses, best, variance })
    }

    /// The temperatures of a hypothesis in the middle of each step, °C.
    pub(super) fn fitted_by(&self, h: &Hypothesis) -> Vec<f64> {
        let inputs = Inputs::of(self, self.copper_loss());
        let slow = inputs.slow(self, h.point.cooling, h.point.flow_share);
        let quick = inputs.quick(self, h.point.quick_start);
        let of_row = |(slow, quick): (&[f64; SLOW], &[f64; QUICKS])| {
            slow.iter().chain(quick).zip(h.mean.iter()).map(|(value, mean)| value * mean).sum::<f64>()
        };
        slow.rows.iter().zip(&quick.rows).map(of_row).collect()
    }

    /// Variance of a reading at least, °C²: that of a value rounded to the sensor's step.
    fn least_variance(&self) -> f64 {
        (self.quantum * self.quantum / 12.0).max(LEAST_VARIANCE)
    }

    /// Cooling, as the logarithm of 1/s, where heating (K/s) and what runs of a motor share are those of all its runs:
    /// what is wrong with these is wrong with every run alike, and their coolings can be compared.
    pub fn cooling_given(&self, heating: f64, shared: Shared) -> Option<Uncertain> {
        let known = Known { heating: Some(Uncertain::relative(heating, SAME)), shared: Some(shared) };
        let flow_share = shared.flow_share;
        let look = self.look(&coolings(coolings_tried(), FINE), &[flow_share], known)?;
        let best = look.hypotheses[look.best].point.cooling.ln();
        let near = coolings((best - FINE_REACH, best + FINE_REACH), FINE);
        let hypotheses = weigh(self.weighed(&near, &[flow_share], look.variance, known))?;
        let logarithms = hypotheses.iter().map(|h| Weighted { weight: h.weight, value: h.point.cooling.ln() });
        Some(mixture::moments(logarithms, 0.0))
    }

    /// Each cooling with each share of the airflow, with its log weight.
    fn weighed(&self, coolings: &[f64], flow_shares: &[f64], variance: f64, known: Known) -> Vec<Hypothesis> {
        let inputs = Inputs::of(self, self.copper_loss());
        let from = |&start: &f64| self.weighed_from(start, &inputs, coolings, flow_shares, variance, known);
        quick_starts(self).iter().flat_map(from).collect()
    }

    /// The same from one state of the quick node.
    fn weighed_from(
        &self,
        quick_start: f64,
        inputs: &Inputs,
        coolings: &[f64],
        flow_shares: &[f64],
        variance: f64,
        known: Known,
    ) -> Vec<Hypothesis> {
        let quick = inputs.quick(self, quick_start);
        let quick_seen = QuickEquations::of(&quick, &self.reading);
        let points = coolings
            .iter()
            .flat_map(|&cooling| flow_shares.iter().map(move |&flow_share| Point { cooling, flow_share, quick_start }));
        let hypothesis = |point: Point| {
            let slow = inputs.slow(self, point.cooling, point.flow_share);
            let seen = quick_seen.with(&slow, &quick, &self.reading, variance);
            let Solved { evidence, coefficients } = self.solve(&seen, &point, known)?;
            let least_squares::Coefficients { best: mean, covariance } = coefficients;
            let expected = -0.5 * ((point.cooling / USUAL_COOLING).ln() / USUAL_COOLING_LN_U).powi(2);
            // Loss does not cool.
            let possible = mean[COPPER_HEATING] >= 0.0 && mean[COPPER_HEATING] + mean[SPEED_HEATING] > 0.0;
            let weight = if possible { evidence + expected } else { f64::NEG_INFINITY };
            let (last, quick, around) = (slow_part(slow.last), quick.last, inputs.around_last);
            Some(Hypothesis { weight, point, mean, covariance, last, quick, around })
        };
        points.filter_map(hypothesis).collect()
    }

    /// The best fit under one point of the grid. The usual factor for the volume of the coefficients is left out: it
    /// would favour fast cooling for no other reason than that heat then counts for less.
    fn solve(&self, seen: &Equations, point: &Point, known: Known) -> Option<Solved> {
        let before = self.known_before(point, known);
        let all = before + seen.normal;
        let (expected, found) = (before.best()?, all.solve()?);
        let misfit = seen.squares - all.right.dot(&found.best) + before.right.dot(&expected);
        Some(Solved { evidence: -0.5 * misfit, coefficients: found })
    }

    /// What is known of the coefficients before the run is looked at.
    fn known_before(&self, point: &Point, known: Known) -> NormalEquations<COUNT> {
        let cooling = point.cooling;
        let first = self.first_reading();
        let last = self.reading.iter().rev().copied().find(|r| r.is_finite()).unwrap_or(first);
        let seconds = self.step_s * self.reading.len() as f64;
        // What heats the part in all, by how far it is above the air and how fast it warms.
        let above_air = ((first + last) / 2.0 - self.air.value).max(LEAST_ABOVE_AIR_K);
        let rate = (cooling * above_air + ((last - first) / seconds).max(0.0)).max(LEAST_HEATING_K_S);
        let direction = |parts: &[(usize, f64)]| {
            let mut all = Coefficients::zeros();
            parts.iter().for_each(|(n, v)| all[*n] = *v);
            all
        };
        let split = direction(&[(COPPER_HEATING, -OPEN_SHARE.value), (SPEED_HEATING, 1.0 - OPEN_SHARE.value)]);
        let sum = direction(&[(COPPER_HEATING, 1.0), (SPEED_HEATING, 1.0)]);
        let mut before = NormalEquations::default();
        before.add(&split, 0.0, (OPEN_SHARE.standard_u * rate).powi(2));
        before.add(&sum, 0.0, FASTEST_K_S.powi(2));
        let mut add = |direction: Coefficients, v: Uncertain| before.add(&direction, v.value, v.standard_u.powi(2));
        add(direction(&[(AIR, 1.0)]), self.air);
        let mut at_first = direction(&[(START, 1.0)]);
        (0..QUICKS).for_each(|n| at_first[QUICK + n] = point.quick_start);
        add(at_first, Uncertain::new(first, START_U));
        add(direction(&[(AROUND, 1.0)]), known.shared.map_or(SURROUNDINGS_SHARE, |s| Uncertain::new(s.around, SAME)));
        for (n, constant_s) in QUICK_S.iter().enumerate() {
            let held = known.shared.zip(known.heating).map(|(s, heating)| s.quick_s[n] * heating.value);
            let quick_u = if held.is_some() { SAME } else { QUICK_U };
            add(direction(&[(QUICK + n, 1.0)]), Uncertain::new(held.unwrap_or(0.0), quick_u * rate * constant_s));
        }
        if let Some(expected) = self.expected {
            add(direction(&[(COPPER_HEATING, 1.0)]), expected);
        }
        if let Some(heating) = known.heating {
            add(sum, heating);
        }
        before
    }

    /// Variance of a step, larger where the residuals go together.
    fn effective_variance(&self, fitted: &[f64]) -> f64 {
        let residuals: Vec<f64> =
            fitted.iter().zip(&self.reading).map(|(x, y)| y - x).filter(|r| r.is_finite()).collect();
        let n = residuals.len();
        let covariance = |lag: usize| (0..n - lag).map(|i| residuals[i] * residuals[i + lag]).sum::<f64>() / n as f64;
        let variance = covariance(0).max(1e-12);
        let correlations = (1..n / 4).map(|lag| covariance(lag) / variance);
        let together: f64 = correlations.take_while(|r| *r > APART).sum();
        variance.max(self.least_variance()) * (1.0 + 2.0 * together)
    }
}

/// Logarithms of the slowest and the fastest cooling that are tried.
fn coolings_tried() -> (f64, f64) {
    let (short, long) = TIME_CONSTANTS_S;
    ((1.0 / long).ln(), (1.0 / short).ln())
}

/// `count` coolings evenly between two logarithms.
fn coolings((low, high): (f64, f64), count: usize) -> Vec<f64> {
    (0..count).map(|n| (low + (high - low) * n as f64 / (count - 1) as f64).exp()).collect()
}

/// What a first look found.
struct Look {
    /// Every point with its log weight.
    hypotheses: Vec<Hypothesis>,
    /// Which of them is the best.
    best: usize,
    /// Variance of a step, °C².
    variance: f64,
}

/// The best fit under one point of the grid.
struct Solved {
    /// Log of its posterior density.
    evidence: f64,
    coefficients: least_squares::Coefficients<COUNT>,
}

/// From log weights to weights that sum to one, without those that do not matter; `None` where none is possible.
fn weigh(mut hypotheses: Vec<Hypothesis>) -> Option<Vec<Hypothesis>> {
    hypotheses.retain(|h| h.weight.is_finite());
    let best = hypotheses.iter().map(|h| h.weight).fold(f64::NEG_INFINITY, f64::max);
    for h in hypotheses.iter_mut() {
        h.weight = (h.weight - best).exp();
    }
    let sum: f64 = hypotheses.iter().map(|h| h.weight).sum();
    hypotheses.retain(|h| h.weight > LEAST_WEIGHT * sum);
    let sum: f64 = hypotheses.iter().map(|h| h.weight).sum();
    hypotheses.iter_mut().for_each(|h| h.weight /= sum);
    (!hypotheses.is_empty()).then_some(hypotheses)
}
