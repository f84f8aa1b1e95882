//! What a fitted heat model says: the end of the race, other loads and other cooling, times and constants.
//!
//! The temperature is extrapolated in steps of constant input, each exact: with the copper loss fed back, dT/dt is
//! linear in T. What is uncertain is the mixture over the hypotheses of [`super::warming`], each with its own normal
//! distribution. Wrong where the fit is, and for loads far from those that were driven.

use nalgebra::Vector4;

use super::warming::{Hypothesis, Lagged, Prior, Record, SPEED_SHARE, Warming, Way};
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::inverse_variance;
use crate::statistics::mixture::{self, Component, Weighted};

/// Standard uncertainty of a lumped model in any case, °C, and as a share of the change that it forecasts. Common
/// practice, no source.
const MODEL_U_K: f64 = 0.4;
const MODEL_SHARE: f64 = 0.03;
/// The same of its cooling and times, relative. Common practice, no source.
const MODEL_LN_U: f64 = 0.05;
/// Share of the heating to come that a change of load adds at once, before the part cools more for it. Common practice,
/// no source.
const HEATING_KEPT: f64 = 0.5;
/// Least and greatest share of the heating that may go with speed.
const SHARES: std::ops::RangeInclusive<f64> = 0.05..=0.95;
/// Variance of a forecast for one share of the heating, °C²: that of the fit drops out of a difference between two
/// races.
const DIFFERENCE_VARIANCE: f64 = 1e-4;
/// Feedback of the temperature on itself below which it is none, 1/s.
const NO_FEEDBACK: f64 = 1e-12;
/// Probability up to which a limit may never be reached for a time to it to be given.
const NEVER: f64 = 0.025;

/// A run that is imagined, in units of the fitted run's laps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    /// Part at the start, °C.
    pub start_c: f64,
    /// Air, °C.
    pub air_c: f64,
    /// Copper load, relative to the fitted run's.
    pub copper: f64,
    /// Loss that goes with the motor's speed, relative to the fitted run's.
    pub spin: f64,
    /// Cooling, relative to the fitted run's.
    pub cooling: f64,
    /// How long, s.
    pub seconds: f64,
}

impl Scene {
    /// A run of `seconds` with the load and the cooling of the fitted one.
    pub fn as_driven(start_c: f64, air_c: f64, seconds: f64) -> Self {
        Self { start_c, air_c, copper: 1.0, spin: 1.0, cooling: 1.0, seconds }
    }
}

/// A temperature and its change with a, b, air and start.
#[derive(Clone, Copy)]
struct State {
    value: f64,
    change: Vector4<f64>,
    lagged: Lagged,
}

impl State {
    /// Where the fitted run ended.
    fn at_end(h: &Hypothesis) -> Self {
        Self { value: h.last.dot(&h.mean), change: h.last, lagged: h.lagged }
    }
}

impl Warming {
    /// Extrapolates a state over `seconds` at the laps' mean load, multiplied as `scene` says, in air of `air_c` or the
    /// run's own.
    fn extrapolated(&self, h: &Hypothesis, mut state: State, scene: &Scene, air_c: Option<f64>, seconds: f64) -> State {
        let steps = (seconds / self.step_s).ceil().max(0.0) as usize;
        if steps == 0 {
            return state;
        }
        let step = seconds / steps as f64;
        let share = 1.0 - (-step / h.point.way.lag_s).exp();
        let rate = h.point.cooling * scene.cooling;
        let air = air_c.unwrap_or(h.mean[2]);
        let (a, b) = (h.mean[0], h.mean[1]);
        for _ in 0..steps {
            state.lagged.step(scene.copper, scene.spin, share);
            let Lagged { copper, spin } = state.lagged;
            let loss = self.copper_loss.relative_at(state.value);
            let slope = a * copper * loss + b * spin - rate * (state.value - air);
            let feedback = a * copper * self.copper_loss.alpha - rate;
            let own = Vector4::new(copper * loss, spin, if air_c.is_some() { 0.0 } else { rate }, 0.0);
            // Exact for a constant input over the step.
            let held = if feedback.abs() < NO_FEEDBACK { step } else { ((feedback * step).exp() - 1.0) / feedback };
            state.value += slope * held;
            state.change = state.change * (1.0 + feedback * held) + own * held;
        }
        state
    }

    /// The state `seconds` later, driven as the run was, in its own air.
    fn drive_on(&self, h: &Hypothesis, state: State, seconds: f64) -> State {
        self.extrapolated(h, state, &Scene::as_driven(0.0, 0.0, 0.0), None, seconds)
    }

    /// The state at the end of an imagined run.
    fn end_of(&self, h: &Hypothesis, scene: &Scene) -> State {
        let start = State { value: scene.start_c, change: Vector4::zeros(), lagged: Lagged::default() };
        self.extrapolated(h, start, scene, Some(scene.air_c), scene.seconds)
    }

    /// What all hypotheses say together of a temperature or a difference.
    fn mixed(&self, component: impl Fn(&Hypothesis) -> Component) -> Estimate {
        mixture::of_normals(&self.hypotheses.iter().map(component).collect::<Vec<_>>())
    }

    /// What the sensor reads at log time `until_s`, °C, where the load of the laps that count goes on. `load_u` is the
    /// relative standard uncertainty of that load.
    pub fn forecast(&self, until_s: f64, load_u: f64) -> Estimate {
        self.mixed(|h| {
            let end = self.drive_on(h, State::at_end(h), until_s - self.end_s);
            let change = end.value - h.last.dot(&h.mean);
            // What the heating to come adds is as uncertain as the load.
            let heating = (h.mean[0] + h.mean[1]) * (until_s - self.end_s).max(0.0);
            let added = load_u * heating.min(change.abs() + heating * HEATING_KEPT);
            let model = MODEL_U_K.hypot(MODEL_SHARE * change);
            let variance = variance(h, &end.change) + added * added + model * model;
            Component { weight: h.weight, mean: end.value, variance }
        })
    }

    /// What the sensor reads at the end of an imagined run, °C.
    pub fn imagined(&self, scene: &Scene) -> Estimate {
        self.mixed(|h| {
            let end = self.end_of(h, scene);
            Component { weight: h.weight, mean: end.value, variance: variance(h, &end.change) }
        })
    }

    /// How much hotter the imagined run `to` ends than `from`, °C.
    pub fn difference(&self, from: &Scene, to: &Scene) -> Estimate {
        self.mixed(|h| {
            let (from, to) = (self.end_of(h, from), self.end_of(h, to));
            let variance = variance(h, &(to.change - from.change));
            Component { weight: h.weight, mean: to.value - from.value, variance }
        })
    }

    /// The same, °C, where current and speed change apart from each other. One run of even laps does not tell how its
    /// heat is shared between them: the share is half and half as in any machine that is geared well, together with the
    /// copper loss that the measured resistance lets expect.
    pub fn regeared(&self, from: &Scene, to: &Scene, expected: Prior) -> Estimate {
        // Three points that have a normal distribution's mean, variance and fourth moment (Gauss and Hermite).
        let points = [(-3f64.sqrt(), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3f64.sqrt(), 1.0 / 6.0)];
        let split = |h: &Hypothesis| {
            let heating = h.mean[0] + h.mean[1];
            let share = speed_share(heating, expected);
            points.map(|(deviations, weight)| {
                let share = (share.value + deviations * share.standard_u).clamp(*SHARES.start(), *SHARES.end());
                let mean = Vector4::new((1.0 - share) * heating, share * heating, h.mean[2], h.mean[3]);
                let split = Hypothesis { mean, ..h.clone() };
                let mean = self.end_of(&split, to).value - self.end_of(&split, from).value;
                Component { weight: h.weight * weight, mean, variance: DIFFERENCE_VARIANCE }
            })
        };
        mixture::of_normals(&self.hypotheses.iter().flat_map(split).collect::<Vec<_>>())
    }

    /// A value of each hypothesis with the hypothesis' weight.
    fn weighted(&self, value: impl Fn(&Hypothesis) -> f64 + Clone) -> impl Iterator<Item = Weighted> + Clone {
        self.hypotheses.iter().map(move |h| Weighted { weight: h.weight, value: value(h) })
    }

    /// Time constant 1/c, s.
    pub fn time_constant_s(&self) -> Estimate {
        mixture::of_logarithms(self.weighted(|h| -h.point.cooling.ln()), MODEL_LN_U)
    }

    /// Natural logarithm of the cooling, 1/s.
    pub fn ln_cooling(&self) -> Uncertain {
        mixture::moments(self.weighted(|h| h.point.cooling.ln()), MODEL_LN_U * MODEL_LN_U)
    }

    /// Ways of the heat, each with its weight; the same way may come several times.
    pub fn ways(&self) -> impl Iterator<Item = (Way, f64)> {
        self.hypotheses.iter().map(|h| (h.point.way, h.weight))
    }

    /// All heating at the laps' load, K/s.
    pub fn whole_heating(&self) -> Uncertain {
        let sum = Vector4::new(1.0, 1.0, 0.0, 0.0);
        let inner: f64 = self.hypotheses.iter().map(|h| h.weight * variance(h, &sum)).sum();
        mixture::moments(self.weighted(|h| h.mean[0] + h.mean[1]), inner)
    }

    /// The air by the run together with what was known before, °C.
    pub fn air_c(&self) -> f64 {
        self.hypotheses.iter().map(|h| h.weight * h.mean[2]).sum()
    }

    /// Time of driving from log time `from_s` until the sensor reads `limit_c`, s; `None` where that may take longer
    /// than `longest_s`.
    pub fn time_to(&self, limit_c: f64, from_s: f64, longest_s: f64) -> Option<Estimate> {
        let ln_time = |h: &Hypothesis| {
            let mut state = State::at_end(h);
            let mut log_s = self.end_s;
            while state.value < limit_c && log_s - from_s < longest_s {
                state = self.drive_on(h, state, self.step_s);
                log_s += self.step_s;
            }
            (log_s - from_s).ln()
        };
        let all: Vec<Weighted> = self.weighted(ln_time).collect();
        let never: f64 = all.iter().filter(|t| t.value >= longest_s.ln()).map(|t| t.weight).sum();
        (never < NEVER).then(|| mixture::of_logarithms(all.into_iter(), MODEL_LN_U))
    }

    /// Time that a standing car takes to cool from `from_c` to `above_k` degrees above air of `air_c`, s; `None` where
    /// it is that cool already.
    pub fn cool_down_s(&self, from_c: f64, air_c: f64, above_k: f64) -> Option<Estimate> {
        let ratio = ((from_c - air_c) / above_k).ln();
        let ln_time = |h: &Hypothesis| (ratio / (h.point.cooling * (1.0 - h.point.way.flow_share))).ln();
        (ratio > 0.0).then(|| mixture::of_logarithms(self.weighted(ln_time), MODEL_LN_U))
    }

    /// The fitted temperature at every step of `record`, °C.
    pub fn fitted(&self, record: &Record) -> Vec<f64> {
        let Some(best) = self.hypotheses.iter().max_by(|a, b| a.weight.total_cmp(&b.weight)) else { return Vec::new() };
        record.design(best.point, self.copper_loss).rows.iter().map(|x| x.dot(&best.mean)).collect()
    }
}

/// Share of the `heating` (K/s) that goes with speed.
fn speed_share(heating: f64, expected: Prior) -> Uncertain {
    let Some(copper) = expected.filter(|_| heating > 0.0) else { return SPEED_SHARE };
    let seen = Uncertain::new(1.0 - copper.value / heating, copper.standard_u / heating);
    inverse_variance::mean([SPEED_SHARE, seen]).unwrap_or(SPEED_SHARE)
}

fn variance(h: &Hypothesis, change: &Vector4<f64>) -> f64 {
    (change.transpose() * h.covariance * change)[(0, 0)].max(0.0)
}
