//! What a fitted heat model says: the race's end, other loads and other cooling, times and constants.
//!
//! The state is carried on in steps of constant input, each exact: with the copper loss fed back, dT/dt is linear in T. What is open is the mixture over the
//! hypotheses of [`super::warming`], each with its own normal distribution. Wrong where the fit is, and for loads far from those that were driven.

use nalgebra::Vector4;

use super::warming::{Hypothesis, Prior, Record, SPEED_SHARE, Warming};
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::inverse_variance;
use crate::statistics::mixture::{self, Component, Weighted};

/// What a lumped model is off in any case, K, and of the change that it forecasts: standard uncertainty. Common practice, no source.
const MODEL_U_K: f64 = 0.4;
const MODEL_SHARE: f64 = 0.03;
/// What a lumped model's cooling and times are off in any case, relative. Common practice, no source.
const MODEL_LN_U: f64 = 0.05;

/// A run that is imagined, in units of the fitted run's laps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    /// Part at the start, °C.
    pub start_c: f64,
    /// Air, °C.
    pub air_c: f64,
    /// Copper load, motor speed and cooling relative to the run's.
    pub copper: f64,
    /// Motor speed.
    pub spin: f64,
    /// Cooling.
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
    lagged: (f64, f64),
}

impl State {
    /// Where the fitted run ended.
    fn at_end(h: &Hypothesis) -> Self {
        Self { value: h.last.dot(&h.mean), change: h.last, lagged: h.lagged }
    }
}

impl Warming {
    /// Carries a state on for `seconds` at the laps' mean load, scaled as `scene` says.
    fn carry(&self, h: &Hypothesis, mut state: State, scene: &Scene, scene_air: Option<f64>, seconds: f64) -> State {
        let steps = (seconds / self.step_s).ceil().max(0.0) as usize;
        if steps == 0 {
            return state;
        }
        let step = seconds / steps as f64;
        let blend = 1.0 - (-step / h.lag).exp();
        let rate = h.cooling * scene.cooling;
        let air = scene_air.unwrap_or(h.mean[2]);
        for _ in 0..steps {
            state.lagged.0 += (scene.copper - state.lagged.0) * blend;
            state.lagged.1 += (scene.spin - state.lagged.1) * blend;
            let warm = 1.0 + self.alpha * (state.value - self.reference);
            let (a, b) = (h.mean[0], h.mean[1]);
            let slope = a * state.lagged.0 * warm + b * state.lagged.1 - rate * (state.value - air);
            let feedback = a * state.lagged.0 * self.alpha - rate;
            let own =
                Vector4::new(state.lagged.0 * warm, state.lagged.1, if scene_air.is_some() { 0.0 } else { rate }, 0.0);
            // Exact for a constant input over the step.
            let held = if feedback.abs() < 1e-12 { step } else { ((feedback * step).exp() - 1.0) / feedback };
            state.value += slope * held;
            state.change = state.change * (1.0 + feedback * held) + own * held;
        }
        state
    }

    fn forecast_one(&self, h: &Hypothesis, until_s: f64) -> State {
        self.drive_on(h, State::at_end(h), until_s - self.end_s)
    }

    /// Carries a state on for `seconds` as the run was driven, in its own air.
    fn drive_on(&self, h: &Hypothesis, state: State, seconds: f64) -> State {
        self.carry(h, state, &Scene::as_driven(0.0, 0.0, 0.0), None, seconds)
    }

    fn imagined_one(&self, h: &Hypothesis, scene: &Scene) -> State {
        let state = State { value: scene.start_c, change: Vector4::zeros(), lagged: (0.0, 0.0) };
        self.carry(h, state, scene, Some(scene.air_c), scene.seconds)
    }

    /// The sensor at log time `until_s`, the counted laps' load repeated. `load_u` is the relative standard uncertainty of that load.
    pub fn forecast(&self, until_s: f64, load_u: f64) -> Estimate {
        let parts: Vec<Component> = self
            .hypotheses
            .iter()
            .map(|h| {
                let end = self.forecast_one(h, until_s);
                let now = h.last.dot(&h.mean);
                // What the heating of the time to come adds, with its doubt.
                let heating = (h.mean[0] + h.mean[1]) * (until_s - self.end_s).max(0.0);
                let added = load_u * heating.min((end.value - now).abs() + heating * 0.5);
                let model = MODEL_U_K.hypot(MODEL_SHARE * (end.value - now));
                let variance = variance(h, &end.change) + added * added + model * model;
                Component { weight: h.weight, mean: end.value, variance }
            })
            .collect();
        mixture::of_normals(&parts)
    }

    /// The sensor at the end of an imagined run.
    pub fn imagined(&self, scene: &Scene) -> Estimate {
        let of = |h: &Hypothesis| {
            let end = self.imagined_one(h, scene);
            Component { weight: h.weight, mean: end.value, variance: variance(h, &end.change) }
        };
        mixture::of_normals(&self.hypotheses.iter().map(of).collect::<Vec<_>>())
    }

    /// How much hotter an imagined run ends than another of the same loads.
    pub fn difference(&self, from: &Scene, to: &Scene) -> Estimate {
        let of = |h: &Hypothesis| {
            let (from, to) = (self.imagined_one(h, from), self.imagined_one(h, to));
            let variance = variance(h, &(to.change - from.change));
            Component { weight: h.weight, mean: to.value - from.value, variance }
        };
        mixture::of_normals(&self.hypotheses.iter().map(of).collect::<Vec<_>>())
    }

    /// The same where current and speed change apart from each other. One run of even laps does not tell how its heat is shared between
    /// them: the share is that of [`SPEED_SHARE`], together with the copper loss that the measured resistance lets expect.
    pub fn regeared(&self, from: &Scene, to: &Scene, expected: Prior) -> Estimate {
        let of = |h: &Hypothesis| {
            let heating = h.mean[0] + h.mean[1];
            let split = speed_share(heating, expected);
            // Three points that have a normal distribution's mean, variance and fourth moment (Gauss and Hermite).
            [(-3f64.sqrt(), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3f64.sqrt(), 1.0 / 6.0)].map(|(deviations, weight)| {
                let share = (split.value + deviations * split.standard_u).clamp(0.05, 0.95);
                let mean = Vector4::new((1.0 - share) * heating, share * heating, h.mean[2], h.mean[3]);
                let split = Hypothesis { mean, ..h.clone() };
                let mean = self.imagined_one(&split, to).value - self.imagined_one(&split, from).value;
                Component { weight: h.weight * weight, mean, variance: 1e-4 }
            })
        };
        mixture::of_normals(&self.hypotheses.iter().flat_map(of).collect::<Vec<_>>())
    }

    /// A value of each hypothesis with the hypothesis' weight.
    fn weighted(&self, value: impl Fn(&Hypothesis) -> f64 + Clone) -> impl Iterator<Item = Weighted> + Clone {
        self.hypotheses.iter().map(move |h| Weighted { weight: h.weight, value: value(h) })
    }

    /// Time constant 1/c, s.
    pub fn time_constant_s(&self) -> Estimate {
        mixture::of_logarithms(self.weighted(|h| -h.cooling.ln()), MODEL_LN_U)
    }

    /// Natural logarithm of the cooling, 1/s.
    pub fn ln_cooling(&self) -> Uncertain {
        mixture::moments(self.weighted(|h| h.cooling.ln()), MODEL_LN_U * MODEL_LN_U)
    }

    /// Weight of each lag and airflow's share.
    pub fn ways(&self) -> impl Iterator<Item = ((f64, f64), f64)> {
        self.hypotheses.iter().map(|h| ((h.lag, h.flow_share), h.weight))
    }

    /// All heating at the laps' load, K/s.
    pub fn whole_heating(&self) -> Uncertain {
        let sum = Vector4::new(1.0, 1.0, 0.0, 0.0);
        let inner: f64 = self.hypotheses.iter().map(|h| h.weight * variance(h, &sum)).sum();
        mixture::moments(self.weighted(|h| h.mean[0] + h.mean[1]), inner)
    }

    /// The air as the run tells it together with what was known before, °C.
    pub fn air_c(&self) -> f64 {
        self.hypotheses.iter().map(|h| h.weight * h.mean[2]).sum()
    }

    /// Time of driving from log time `from_s` until the sensor reads `limit_c`, s; `None` where it would take longer than `longest_s`.
    pub fn time_to(&self, limit_c: f64, from_s: f64, longest_s: f64) -> Option<Estimate> {
        let reached = |h: &Hypothesis| {
            let mut state = State::at_end(h);
            let mut at = self.end_s;
            while state.value < limit_c && at - from_s < longest_s {
                state = self.drive_on(h, state, self.step_s);
                at += self.step_s;
            }
            (at - from_s).ln()
        };
        let all: Vec<Weighted> = self.weighted(reached).collect();
        let never: f64 = all.iter().filter(|t| t.value >= longest_s.ln()).map(|t| t.weight).sum();
        (never < 0.025).then(|| mixture::of_logarithms(all.into_iter(), MODEL_LN_U))
    }

    /// Time a standing car takes to cool from `from_c` to `above_k` kelvin above air of `air_c`, s.
    pub fn cool_down_s(&self, from_c: f64, air_c: f64, above_k: f64) -> Option<Estimate> {
        let ratio = ((from_c - air_c) / above_k).ln();
        (ratio > 0.0).then(|| {
            let standing = |h: &Hypothesis| (ratio / (h.cooling * (1.0 - h.flow_share))).ln();
            mixture::of_logarithms(self.weighted(standing), MODEL_LN_U)
        })
    }

    /// The fitted temperature at every step of `record`, °C.
    pub fn fitted(&self, record: &Record) -> Vec<f64> {
        let Some(best) = self.hypotheses.iter().max_by(|a, b| a.weight.total_cmp(&b.weight)) else { return Vec::new() };
        let design = record.design((best.cooling, best.lag, best.flow_share), (self.alpha, self.reference));
        design.rows.iter().map(|x| x.dot(&best.mean)).collect()
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
