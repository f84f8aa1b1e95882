//! What a fitted heat model says: the race's end, other loads and other cooling, times and constants.
//!
//! The state is carried on in steps of constant input, each exact: with the copper loss fed back, dT/dt is linear in T. What is open is the mixture over the
//! hypotheses of [`super::warming`], each with its own normal distribution. Wrong where the fit is, and for loads far from those that were driven.

use nalgebra::Vector4;
use statrs::distribution::{ContinuousCDF, Normal};

use super::warming::{Hypothesis, Prior, Record, SPEED_SHARE, Warming};
use crate::quantity::Estimate;

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
        let parts: Vec<(f64, f64, f64)> = self
            .hypotheses
            .iter()
            .map(|h| {
                let end = self.forecast_one(h, until_s);
                let now = h.last.dot(&h.mean);
                // What the heating of the time to come adds, with its doubt.
                let heating = (h.mean[0] + h.mean[1]) * (until_s - self.end_s).max(0.0);
                let added = load_u * heating.min((end.value - now).abs() + heating * 0.5);
                let model = MODEL_U_K.hypot(MODEL_SHARE * (end.value - now));
                (h.weight, end.value, variance(h, &end.change) + added * added + model * model)
            })
            .collect();
        mixture(&parts)
    }

    /// The sensor at the end of an imagined run.
    pub fn imagined(&self, scene: &Scene) -> Estimate {
        let of = |h: &Hypothesis| {
            let end = self.imagined_one(h, scene);
            (h.weight, end.value, variance(h, &end.change))
        };
        mixture(&self.hypotheses.iter().map(of).collect::<Vec<_>>())
    }

    /// How much hotter an imagined run ends than another of the same loads.
    pub fn difference(&self, from: &Scene, to: &Scene) -> Estimate {
        let of = |h: &Hypothesis| {
            let (from, to) = (self.imagined_one(h, from), self.imagined_one(h, to));
            (h.weight, to.value - from.value, variance(h, &(to.change - from.change)))
        };
        mixture(&self.hypotheses.iter().map(of).collect::<Vec<_>>())
    }

    /// The same where current and speed change apart from each other. One run of even laps does not tell how its heat is shared between
    /// them: the share is that of [`SPEED_SHARE`], together with the copper loss that the measured resistance lets expect.
    pub fn regeared(&self, from: &Scene, to: &Scene, expected: Prior) -> Estimate {
        let of = |h: &Hypothesis| {
            let heating = h.mean[0] + h.mean[1];
            let (share, u) = speed_share(heating, expected);
            // Three points that have a normal distribution's mean, variance and fourth moment (Gauss and Hermite).
            [(-3f64.sqrt(), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3f64.sqrt(), 1.0 / 6.0)].map(|(at, weight)| {
                let share = (share + at * u).clamp(0.05, 0.95);
                let mean = Vector4::new((1.0 - share) * heating, share * heating, h.mean[2], h.mean[3]);
                let split = Hypothesis { mean, ..h.clone() };
                (h.weight * weight, self.imagined_one(&split, to).value - self.imagined_one(&split, from).value, 1e-4)
            })
        };
        mixture(&self.hypotheses.iter().flat_map(of).collect::<Vec<_>>())
    }

    /// Time constant 1/c, s.
    pub fn time_constant_s(&self) -> Estimate {
        of_logs(self.hypotheses.iter().map(|h| (h.weight, -h.cooling.ln())), MODEL_LN_U)
    }

    /// Natural logarithm of the cooling, 1/s, and its standard uncertainty.
    pub fn ln_cooling(&self) -> (f64, f64) {
        moments(self.hypotheses.iter().map(|h| (h.weight, h.cooling.ln())), MODEL_LN_U * MODEL_LN_U)
    }

    /// Weight of each lag and airflow's share.
    pub fn ways(&self) -> impl Iterator<Item = ((f64, f64), f64)> {
        self.hypotheses.iter().map(|h| ((h.lag, h.flow_share), h.weight))
    }

    /// All heating at the laps' load, K/s, and its standard uncertainty.
    pub fn whole_heating(&self) -> (f64, f64) {
        let sum = Vector4::new(1.0, 1.0, 0.0, 0.0);
        let inner: f64 = self.hypotheses.iter().map(|h| h.weight * variance(h, &sum)).sum();
        moments(self.hypotheses.iter().map(|h| (h.weight, h.mean[0] + h.mean[1])), inner)
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
            (h.weight, (at - from_s).ln())
        };
        let all: Vec<(f64, f64)> = self.hypotheses.iter().map(reached).collect();
        let never: f64 = all.iter().filter(|t| t.1 >= longest_s.ln()).map(|t| t.0).sum();
        (never < 0.025).then(|| of_logs(all.into_iter(), MODEL_LN_U))
    }

    /// Time a standing car takes to cool from `from_c` to `above_k` kelvin above air of `air_c`, s.
    pub fn cool_down_s(&self, from_c: f64, air_c: f64, above_k: f64) -> Option<Estimate> {
        let ratio = ((from_c - air_c) / above_k).ln();
        (ratio > 0.0).then(|| {
            of_logs(
                self.hypotheses.iter().map(|h| (h.weight, (ratio / (h.cooling * (1.0 - h.flow_share))).ln())),
                MODEL_LN_U,
            )
        })
    }

    /// The fitted temperature at every step of `record`, °C.
    pub fn fitted(&self, record: &Record) -> Vec<f64> {
        let Some(best) = self.hypotheses.iter().max_by(|a, b| a.weight.total_cmp(&b.weight)) else { return Vec::new() };
        let design = record.design((best.cooling, best.lag, best.flow_share), (self.alpha, self.reference));
        design.rows.iter().map(|x| x.dot(&best.mean)).collect()
    }
}

/// Share of the `heating` (K/s) that goes with speed, and its standard uncertainty.
fn speed_share(heating: f64, expected: Prior) -> (f64, f64) {
    let Some((copper, u)) = expected.filter(|_| heating > 0.0) else { return SPEED_SHARE };
    let (seen, seen_u) = (1.0 - copper / heating, u / heating);
    let (w, v) = (SPEED_SHARE.1.powi(-2), seen_u.powi(-2));
    ((w * SPEED_SHARE.0 + v * seen) / (w + v), (w + v).sqrt().recip())
}

fn variance(h: &Hypothesis, change: &Vector4<f64>) -> f64 {
    (change.transpose() * h.covariance * change)[(0, 0)].max(0.0)
}

/// Mean and standard deviation of weighted values, each with `inner` variance of its own.
pub(super) fn moments(values: impl Iterator<Item = (f64, f64)> + Clone, inner: f64) -> (f64, f64) {
    let mean: f64 = values.clone().map(|(w, v)| w * v).sum();
    let spread: f64 = values.map(|(w, v)| w * (v - mean).powi(2)).sum();
    (mean, (spread + inner).sqrt())
}

/// A positive quantity from weighted logarithms, each with a standard uncertainty of its own.
fn of_logs(logs: impl Iterator<Item = (f64, f64)> + Clone, own_u: f64) -> Estimate {
    let (mean, u) = moments(logs, own_u * own_u);
    let e = Estimate::from_standard(mean, u);
    Estimate { value: e.value.exp(), low: e.low.exp(), high: e.high.exp() }
}

/// Median and 95 % interval of a mixture of normal distributions: weight, mean and variance of each.
fn mixture(parts: &[(f64, f64, f64)]) -> Estimate {
    let normal = Normal::standard();
    let below = |x: f64| parts.iter().map(|(w, m, v)| w * normal.cdf((x - m) / v.sqrt().max(1e-9))).sum::<f64>();
    let reach =
        |sign: f64| parts.iter().map(|(_, m, v)| sign * m + 6.0 * v.sqrt()).fold(f64::NEG_INFINITY, f64::max) * sign;
    let quantile = |p: f64| {
        let (mut low, mut high) = (reach(-1.0), reach(1.0));
        for _ in 0..50 {
            let middle = (low + high) / 2.0;
            if below(middle) < p { low = middle } else { high = middle }
        }
        (low + high) / 2.0
    };
    Estimate { value: quantile(0.5), low: quantile(0.025), high: quantile(0.975) }
}
