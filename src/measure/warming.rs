//! A lumped model of how a part warms, fitted to one run.
//!
//! The sensor of a part follows
//!
//! ```text
//! dT/dt = a·u·(1 + α·(T − T_ref)) + b·w − c·(1 − s + s·v)·(T − T_air)
//! ```
//!
//! u is the motor current squared, and w is half the motor's speed (friction, hysteresis) and half its square (eddy
//! currents); both lag alike, since heat takes time from where it arises to the sensor. v is the car's speed. Each is
//! relative to its mean over the laps that count. a is the heating by copper loss and b by the loss that goes with
//! speed, K/s; c is the cooling, 1/s (its inverse is the time constant), of which the share s goes with the airflow. α
//! is IEC 60028's coefficient of copper, 0.00393 per K at 20 °C, carried to the run's mean temperature.
//!
//! For given c, lag and s the temperature is linear in a, b, the air and the start: least squares with priors (a
//! Bayesian linear regression; Bishop 2006, 3.3). c, lag and s are weighed on a grid by their best fits, so that no
//! search can get stuck in a wrong valley, and a forecast is the mixture of all of them. Where residuals go together
//! (whole degrees, laps) the data count for less: the variance is multiplied by their autocorrelation time (Bayley and
//! Hammersley 1946).
//!
//! Wrong where the load of the laps to come is different, where the fan fails on the way, and for a winding that ran
//! much hotter before the log began than the sensor shows.

use nalgebra::{Matrix4, Vector4};

use crate::quantity::Uncertain;
use crate::statistics::least_squares::{Coefficients, NormalEquations};
use crate::statistics::mixture::{self, Weighted};
use crate::statistics::quantiles::median;

/// Cooling that is expected before a run is seen, 1/s: a motor or controller of 80 J/K (0.17 kg of iron and copper at
/// 450 to 500 J/(kg·K)) and 70 cm² in moving air at 40 W/(m²·K) has a time constant of five minutes; a factor of two
/// either way is one standard deviation. Common practice, no source.
const USUAL_COOLING: f64 = 1.0 / 300.0;
const USUAL_COOLING_LN_U: f64 = std::f64::consts::LN_2;
/// Shortest and longest time constant that is tried, s, and how many are.
const TIME_CONSTANTS_S: (f64, f64) = (50.0, 1800.0);
const COOLINGS: usize = 24;
/// How many are tried where lag and airflow are given, how far from the best of the first look (as a logarithm), and
/// how near the heating then is to the one that is given, relative.
const FINE: usize = 60;
const FINE_REACH: f64 = 0.5;
const SAME: f64 = 0.01;
/// Lags from winding to sensor that are tried, s. Common practice, no source.
const LAGS_S: [f64; 6] = [2.0, 7.0, 13.0, 19.0, 26.0, 36.0];
/// Shares of the cooling that go with the car's speed which are tried. Common practice, no source.
const FLOW_SHARES: [f64; 2] = [0.2, 0.6];
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
/// Least variance of a reading, °C².
const LEAST_VARIANCE: f64 = 1e-4;
/// Autocorrelation of the residuals below which they no longer go together.
const APART: f64 = 0.05;
/// Hypotheses with less weight than this are dropped.
const LEAST_WEIGHT: f64 = 1e-3;
/// Fewest steps that a fit needs.
const LEAST_STEPS: usize = 15;
/// Steps between readings below this are none, °C.
const NO_STEP_K: f64 = 1e-6;
/// The smallest one in this many steps tells how finely the sensor reads.
const SMALLEST: usize = 10;

/// A run as the model sees it, in equal steps of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Length of a step, s.
    pub step_s: f64,
    /// Log time of the first step's start, s.
    pub start_s: f64,
    /// Copper load relative to the laps' mean.
    pub copper: Vec<f64>,
    /// Motor speed relative to the laps' mean.
    pub spin: Vec<f64>,
    /// Car speed relative to the laps' mean.
    pub flow: Vec<f64>,
    /// Readings, °C; NaN where missing.
    pub reading: Vec<f64>,
    /// Smallest step of the readings, °C.
    pub quantum: f64,
    /// Air, °C.
    pub air: Uncertain,
    /// Temperature coefficient of the loss, 1/K at 20 °C.
    pub coefficient: f64,
    /// Heating by copper loss that the measured resistance lets expect, K/s; `None` where it was not measured.
    pub expected: Prior,
}

/// What is known of a heating before a run is looked at, K/s.
pub type Prior = Option<Uncertain>;

/// How heat gets from the winding to the sensor and into the air, apart from how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Lag from winding to sensor, s.
    pub lag_s: f64,
    /// Share of the cooling that goes with the car's speed.
    pub flow_share: f64,
}

/// A point of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Cooling, 1/s.
    pub(super) cooling: f64,
    pub(super) way: Way,
}

/// The copper load and the motor speed, relative, as the sensor sees them: lagged.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Lagged {
    pub(super) copper: f64,
    pub(super) spin: f64,
}

impl Lagged {
    /// One step on, in which this share of the distance to the new load is made up.
    pub(super) fn step(&mut self, copper: f64, spin: f64, share: f64) {
        self.copper += (copper - self.copper) * share;
        self.spin += (spin - self.spin) * share;
    }
}

/// How the copper loss grows with temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CopperLoss {
    /// Coefficient at the reference temperature, 1/K.
    pub(super) alpha: f64,
    /// Reference temperature, °C.
    pub(super) reference_c: f64,
}

impl CopperLoss {
    /// The loss at a temperature over that at the reference.
    pub(super) fn relative_at(&self, celsius: f64) -> f64 {
        1.0 + self.alpha * (celsius - self.reference_c)
    }
}

/// A point of the grid with what the run tells under it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hypothesis {
    pub(super) weight: f64,
    pub(super) point: Point,
    /// Means of a, b, air and start.
    pub(super) mean: Vector4<f64>,
    pub(super) covariance: Matrix4<f64>,
    /// The temperature after the last step as a function of the four, and the lagged load there.
    pub(super) last: Vector4<f64>,
    pub(super) lagged: Lagged,
}

/// The fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct Warming {
    pub(super) hypotheses: Vec<Hypothesis>,
    pub(super) step_s: f64,
    pub(super) copper_loss: CopperLoss,
    /// Log time of the last step's end, s.
    pub(super) end_s: f64,
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
        let look = self.look(&grid((slow, fast), COOLINGS), prior)?;
        // Then finely where the first look, at that variance, leaves any weight.
        let coarse = (fast - slow) / (COOLINGS - 1) as f64;
        let left = -LEAST_WEIGHT.ln() * look.variance / self.least_variance();
        let kept = |h: &&Hypothesis| h.weight > look.hypotheses[look.best].weight - left;
        let near = || look.hypotheses.iter().filter(kept).map(|h| h.point.cooling.ln());
        let range = (near().fold(f64::INFINITY, f64::min) - coarse, near().fold(f64::NEG_INFINITY, f64::max) + coarse);
        let hypotheses = weigh(self.weighed(&grid(range, COOLINGS), look.variance, prior))?;
        let end_s = self.start_s + self.step_s * self.reading.len() as f64;
        Some(Warming { hypotheses, step_s: self.step_s, copper_loss: self.copper_loss(), end_s })
    }

    /// A first look with independent residuals, to see how the residuals go together.
    fn look(&self, points: &[Point], prior: Prior) -> Option<Look> {
        let hypotheses = self.weighed(points, self.least_variance(), prior);
        let best = (0..hypotheses.len()).max_by(|a, b| hypotheses[*a].weight.total_cmp(&hypotheses[*b].weight))?;
        let h = &hypotheses[best];
        let rows = self.design(h.point, self.copper_loss()).rows;
        let variance = self.effective_variance(&rows, &h.mean);
        Some(Look { hypotheses, best, variance })
    }

    /// Variance of a reading at least, °C²: that of a value rounded to the sensor's step.
    fn least_variance(&self) -> f64 {
        (self.quantum * self.quantum / 12.0).max(LEAST_VARIANCE)
    }

    /// The copper loss about the mean reading.
    fn copper_loss(&self) -> CopperLoss {
        let reference_c = self.mean_reading();
        CopperLoss { alpha: self.coefficient / (1.0 + self.coefficient * (reference_c - 20.0)), reference_c }
    }

    /// Mean of the readings, °C: the temperature at which heating is stated.
    pub fn mean_reading(&self) -> f64 {
        let known = || self.reading.iter().copied().filter(|r| r.is_finite());
        known().sum::<f64>() / known().count() as f64
    }

    /// Cooling, as the logarithm of 1/s, where heating (K/s) and `way` are those of all runs of a motor: what is wrong
    /// with these is wrong with every run alike, and their coolings can be compared.
    pub fn cooling_given(&self, heating: f64, way: Way) -> Option<Uncertain> {
        let line = |range| -> Vec<Point> { coolings(range, FINE).map(|cooling| Point { cooling, way }).collect() };
        let prior = Some(Uncertain::relative(heating, SAME));
        let look = self.look(&line(coolings_tried()), prior)?;
        let best = look.hypotheses[look.best].point.cooling.ln();
        let near = line((best - FINE_REACH, best + FINE_REACH));
        let hypotheses = weigh(self.weighed(&near, look.variance, prior))?;
        let logarithms = hypotheses.iter().map(|h| Weighted { weight: h.weight, value: h.point.cooling.ln() });
        Some(mixture::moments(logarithms, 0.0))
    }

    /// Each point of the grid with its log weight.
    fn weighed(&self, grid: &[Point], variance: f64, prior: Prior) -> Vec<Hypothesis> {
        let copper_loss = self.copper_loss();
        grid.iter().map(|&point| self.design(point, copper_loss).hypothesis(self, point, variance, prior)).collect()
    }

    /// Each step's temperature as a linear function of a, b, air and start.
    pub(super) fn design(&self, point: Point, copper_loss: CopperLoss) -> Design {
        let Point { cooling, way: Way { lag_s, flow_share } } = point;
        let share = 1.0 - (-self.step_s / lag_s).exp();
        let (mut row, mut lagged) = (Vector4::new(0.0, 0.0, 0.0, 1.0), Lagged::default());
        let mut seen = copper_loss.reference_c;
        let mut rows = Vec::with_capacity(self.reading.len());
        for n in 0..self.reading.len() {
            seen = if self.reading[n].is_finite() { self.reading[n] } else { seen };
            let rate = cooling * (1.0 - flow_share + flow_share * self.flow[n]);
            let middle = (-0.5 * rate * self.step_s).exp();
            lagged.step(self.copper[n], self.spin[n], share);
            let input = Vector4::new(lagged.copper * copper_loss.relative_at(seen), lagged.spin, rate, 0.0);
            // Half a step, where the step's mean reading is; then the other half.
            let half = (1.0 - middle) / rate;
            row = row * middle + input * half;
            rows.push(row);
            row = row * middle + input * half;
        }
        Design { rows, last: row, lagged }
    }

    /// What is known of the four before the run is looked at.
    fn known_before(&self, cooling: f64, prior: Prior) -> NormalEquations<4> {
        let first = self.reading.iter().copied().find(|r| r.is_finite()).unwrap_or(self.air.value);
        let last = self.reading.iter().rev().copied().find(|r| r.is_finite()).unwrap_or(first);
        let seconds = self.step_s * self.reading.len() as f64;
        // What heats the part in all, by how far it is above the air and how fast it warms.
        let above_air = ((first + last) / 2.0 - self.air.value).max(LEAST_ABOVE_AIR_K);
        let rate = (cooling * above_air + ((last - first) / seconds).max(0.0)).max(LEAST_HEATING_K_S);
        let split = Vector4::new(-OPEN_SHARE.value, 1.0 - OPEN_SHARE.value, 0.0, 0.0);
        let sum = Vector4::new(1.0, 1.0, 0.0, 0.0);
        let mut known = NormalEquations::default();
        known.add(&split, 0.0, (OPEN_SHARE.standard_u * rate).powi(2));
        known.add(&sum, 0.0, FASTEST_K_S.powi(2));
        let mut add = |direction: Vector4<f64>, v: Uncertain| known.add(&direction, v.value, v.standard_u.powi(2));
        add(Vector4::z(), self.air);
        add(Vector4::w(), Uncertain::new(first, START_U));
        if let Some(expected) = self.expected {
            add(Vector4::x(), expected);
        }
        if let Some(prior) = prior {
            add(sum, prior);
        }
        known
    }

    /// Variance of a step, larger where the residuals go together.
    fn effective_variance(&self, rows: &[Vector4<f64>], mean: &Vector4<f64>) -> f64 {
        let residuals: Vec<f64> =
            rows.iter().zip(&self.reading).map(|(x, y)| y - x.dot(mean)).filter(|r| r.is_finite()).collect();
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
fn coolings((low, high): (f64, f64), count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |n| (low + (high - low) * n as f64 / (count - 1) as f64).exp())
}

/// The same with every lag and share of the airflow.
fn grid(range: (f64, f64), count: usize) -> Vec<Point> {
    let ways = || LAGS_S.into_iter().flat_map(|lag_s| FLOW_SHARES.map(|flow_share| Way { lag_s, flow_share }));
    coolings(range, count).flat_map(|cooling| ways().map(move |way| Point { cooling, way })).collect()
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

/// The temperatures of a run as linear functions of a, b, air and start.
pub(super) struct Design {
    /// In the middle of each step.
    pub(super) rows: Vec<Vector4<f64>>,
    /// After the last step.
    last: Vector4<f64>,
    /// The lagged load there.
    lagged: Lagged,
}

/// The best fit under one point of the grid.
struct Solved {
    /// Log of its posterior density.
    evidence: f64,
    coefficients: Coefficients<4>,
}

impl Design {
    /// The best fit. The usual factor for the volume of the parameters is left out: it would favour fast cooling for no
    /// other reason than that heat then counts for less.
    fn solve(&self, record: &Record, cooling: f64, variance: f64, prior: Prior) -> Option<Solved> {
        let before = record.known_before(cooling, prior);
        let (mut equations, mut squares) = (before, 0.0);
        for (x, y) in self.rows.iter().zip(&record.reading).filter(|(_, y)| y.is_finite()) {
            equations.add(x, *y, variance);
            squares += y * y / variance;
        }
        let (expected, found) = (before.solve()?.best, equations.solve()?);
        let misfit = squares - equations.right.dot(&found.best) + before.right.dot(&expected);
        Some(Solved { evidence: -0.5 * misfit, coefficients: found })
    }

    /// The point with its log weight, by the fit and by what is known of cooling.
    fn hypothesis(self, record: &Record, point: Point, variance: f64, prior: Prior) -> Hypothesis {
        let impossible = || Solved {
            evidence: f64::NEG_INFINITY,
            coefficients: Coefficients { best: Vector4::zeros(), covariance: Matrix4::zeros() },
        };
        let solved = self.solve(record, point.cooling, variance, prior).unwrap_or_else(impossible);
        let Coefficients { best: mean, covariance } = solved.coefficients;
        let expected = -0.5 * ((point.cooling / USUAL_COOLING).ln() / USUAL_COOLING_LN_U).powi(2);
        // Loss does not cool.
        let physical = if mean[0] >= 0.0 && mean[0] + mean[1] > 0.0 { 0.0 } else { f64::NEG_INFINITY };
        let weight = solved.evidence + expected + physical;
        Hypothesis { weight, point, mean, covariance, last: self.last, lagged: self.lagged }
    }
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

/// Smallest step between readings that differ, °C; 0 where none do.
pub fn quantum(readings: &[f64]) -> f64 {
    let steps = readings.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > NO_STEP_K && d.is_finite());
    // The smallest steps of a reading in whole degrees are one degree; a rare rounding must not count.
    let mut steps: Vec<f64> = steps.collect();
    steps.sort_by(f64::total_cmp);
    median(steps.iter().copied().take(steps.len().div_ceil(SMALLEST))).unwrap_or(0.0)
}
