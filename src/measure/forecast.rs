//! What a fitted heat model says: the end of the race, other loads and other cooling, times and constants.
//!
//! The temperature is extrapolated in steps of constant input, each exact: with the copper loss fed back, dT/dt is
//! linear in T. What is uncertain is the mixture over the hypotheses of [`super::warming`], each with its own normal
//! distribution. Wrong where the fit is, and for loads far from those that were driven.

use super::heat_nodes::{
    AIR, AROUND, COPPER_HEATING, Coefficients, Drive, Pace, QUICK, QUICK_S, SPEED_HEATING, State, StateWithChange,
    Steps, slow_part,
};
use super::heat_record::Prior;
use super::warming::{Hypothesis, SPEED_SHARE, Shared, Warming};
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::bounded;
use crate::statistics::mixture::{self, Component, Weighted};

/// Standard uncertainty of a lumped model in any case, °C, and as a share of the change that it forecasts for as long
/// again as it was seen. Common practice, no source.
const MODEL_U_K: f64 = 0.4;
const MODEL_SHARE: f64 = 0.05;
/// The same of its cooling and times, relative. Common practice, no source.
const MODEL_LN_U: f64 = 0.05;
/// Share of their warming that the surroundings, with a time constant of ten minutes, get over within a race of five to
/// eight minutes: 1 − exp(−0.5) to 1 − exp(−0.8).
const WITHIN_A_RACE: f64 = 0.5;
/// Least and greatest share of the heating that may go with speed.
const SHARES: std::ops::RangeInclusive<f64> = 0.05..=0.95;
/// Where nothing measured bounds it, it may be any of these: their mean, and the width over √12 (an even distribution;
/// JCGM 100, 4.3.7).
const ANY_SHARE: Uncertain = Uncertain::new((*SHARES.start() + *SHARES.end()) / 2.0, 0.26);
/// Variance of a forecast for one share of the heating, °C²: that of the fit drops out of a difference between two
/// races.
const DIFFERENCE_VARIANCE: f64 = 1e-4;
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

/// How the copper load varies from lap to lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadScatter {
    /// Standard deviation from lap to lap, relative.
    pub relative: f64,
    /// Of how many laps the mean load is known.
    pub laps: usize,
    /// A lap, s.
    pub lap_s: f64,
}

impl LoadScatter {
    /// Variance of the reading after `ahead_s` more of driving, °C², by the load alone: its mean is known from the laps
    /// seen, and each lap ahead has a load of its own. A lap's heat reaches the reading by the model's impulse response
    /// h·exp(−c·t) + Σ g/τ·exp(−t/τ), of the slow and of the quick node (linear systems, textbook).
    fn variance(&self, h: &Hypothesis, ahead_s: f64) -> f64 {
        let slow = (heating(h), h.point.cooling);
        let quick =
            QUICK_S.iter().zip(&h.mean.as_slice()[QUICK..]).map(|(constant_s, g)| (g / constant_s, 1.0 / constant_s));
        let modes: Vec<(f64, f64)> = std::iter::once(slow).chain(quick).collect();
        let decayed = |rate: f64| (1.0 - (-rate * ahead_s).exp()) / rate;
        let of_mean: f64 = modes.iter().map(|(gain, rate)| gain * decayed(*rate)).sum();
        let pairs = modes.iter().flat_map(|a| modes.iter().map(move |b| (a, b)));
        let of_laps: f64 = pairs.map(|(a, b)| a.0 * b.0 * decayed(a.1 + b.1)).sum::<f64>() * self.lap_s;
        self.relative.powi(2) * (of_mean.powi(2) / self.laps.max(1) as f64 + of_laps)
    }
}

/// Where the fitted run ended.
fn at_end(h: &Hypothesis) -> StateWithChange {
    StateWithChange::after(&h.last, &h.mean, h.quick, h.around)
}

impl Warming {
    /// Extrapolates a state over `seconds` under an even drive.
    fn extrapolated<S: Steps>(&self, h: &Hypothesis, mut state: S, drive: Drive, seconds: f64) -> S {
        let steps = (seconds / self.step_s).ceil().max(0.0) as usize;
        if steps > 0 {
            let pace = Pace::new(&h.mean, self.copper_loss, drive, seconds / steps as f64);
            state.steps(&h.mean, &pace, steps);
        }
        state
    }

    /// What drives the part on as the run did, in its own air.
    fn as_driven(h: &Hypothesis) -> Drive {
        Drive { copper: 1.0, spin: 1.0, cooling: h.point.cooling, air_c: None }
    }

    /// The end of an imagined run.
    fn end_of<S: Steps + From<State>>(&self, h: &Hypothesis, scene: &Scene) -> S {
        let Scene { start_c, air_c, copper, spin, cooling, seconds } = *scene;
        let drive = Drive { copper, spin, cooling: h.point.cooling * cooling, air_c: Some(air_c) };
        self.extrapolated(h, S::from(State::at_rest(start_c, air_c)), drive, seconds)
    }

    /// What all hypotheses say together of a temperature or a difference.
    fn mixed(&self, component: impl Fn(&Hypothesis) -> Component) -> Estimate {
        mixture::of_normals(&self.hypotheses.iter().map(component).collect::<Vec<_>>())
    }

    /// What the sensor reads at log time `until_s`, °C, where the load of the laps that count goes on, as much as it
    /// `varies` from lap to lap.
    pub fn forecast(&self, until_s: f64, varies: &LoadScatter) -> Estimate {
        let ahead_s = (until_s - self.end_s).max(0.0);
        let further = ahead_s / self.seen_s;
        let mixed = self.mixed(|h| {
            let now = at_end(h).reading(&h.mean);
            let end = self.extrapolated(h, at_end(h), Self::as_driven(h), until_s - self.end_s);
            let change = end.reading(&h.mean) - now;
            let model = MODEL_U_K.hypot(MODEL_SHARE * change * further);
            let variance = variance(h, &end.change()) + varies.variance(h, ahead_s) + model * model;
            Component { weight: h.weight, mean: end.reading(&h.mean), variance }
        });
        let heating = self.whole_heating().value;
        let by_load = self.hypotheses.iter().map(|h| h.weight * varies.variance(h, ahead_s)).sum::<f64>().sqrt();
        self.ceiling.map_or(mixed, |ceiling| ceiling.hold_under(mixed, until_s, ahead_s, heating, by_load))
    }

    /// What the sensor reads at the end of an imagined run, °C.
    pub fn imagined(&self, scene: &Scene) -> Estimate {
        self.mixed(|h| {
            let end: StateWithChange = self.end_of(h, scene);
            Component { weight: h.weight, mean: end.reading(&h.mean), variance: variance(h, &end.change()) }
        })
    }

    /// How much hotter the imagined run `to` ends than `from`, °C.
    pub fn difference(&self, from: &Scene, to: &Scene) -> Estimate {
        self.mixed(|h| {
            let (from, to): (StateWithChange, StateWithChange) = (self.end_of(h, from), self.end_of(h, to));
            let variance = variance(h, &(to.change() - from.change()));
            Component { weight: h.weight, mean: to.reading(&h.mean) - from.reading(&h.mean), variance }
        })
    }

    /// The same, °C, where current and speed change apart from each other. One run of even laps does not tell how its
    /// heat is shared between them: the share is about half and half as in any machine that is geared well, and no less
    /// for the current than the measured resistance lets expect.
    pub fn regeared(&self, from: &Scene, to: &Scene, expected: Prior) -> Estimate {
        // Three points that have a normal distribution's mean, variance and fourth moment (Gauss and Hermite).
        let points = [(-3f64.sqrt(), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3f64.sqrt(), 1.0 / 6.0)];
        let split = |h: &Hypothesis| {
            let heating = heating(h);
            let share = speed_share(heating, expected);
            points.map(|(deviations, weight)| {
                let share = (share.value + deviations * share.standard_u).clamp(*SHARES.start(), *SHARES.end());
                let mut split = h.clone();
                (split.mean[COPPER_HEATING], split.mean[SPEED_HEATING]) = ((1.0 - share) * heating, share * heating);
                let reading = |scene| self.end_of::<State>(&split, scene).reading(&split.mean);
                let mean = reading(to) - reading(from);
                Component { weight: h.weight * weight, mean, variance: DIFFERENCE_VARIANCE }
            })
        };
        mixture::of_normals(&self.hypotheses.iter().flat_map(split).collect::<Vec<_>>())
    }

    /// A value of each hypothesis with the hypothesis' weight.
    fn weighted(&self, value: impl Fn(&Hypothesis) -> f64 + Clone) -> impl Iterator<Item = Weighted> + Clone {
        self.hypotheses.iter().map(move |h| Weighted { weight: h.weight, value: value(h) })
    }

    /// Time constant of the slow node as a race sees it, s: 1 / (c·(1 − k/2)), since within one its surroundings take
    /// on about half of the share k of its warmth that they take on in the end.
    pub fn time_constant_s(&self) -> Estimate {
        let rate = |h: &Hypothesis| h.point.cooling * (1.0 - WITHIN_A_RACE * h.mean[AROUND].clamp(0.0, 1.0));
        mixture::of_logarithms(self.weighted(|h| -rate(h).ln()), MODEL_LN_U)
    }

    /// Natural logarithm of the cooling, 1/s.
    pub fn ln_cooling(&self) -> Uncertain {
        mixture::moments(self.weighted(|h| h.point.cooling.ln()), MODEL_LN_U * MODEL_LN_U)
    }

    /// Shares of the cooling that go with the airflow, each with its weight; the same one may come several times.
    pub fn flow_shares(&self) -> impl Iterator<Item = (f64, f64)> {
        self.hypotheses.iter().map(|h| (h.point.flow_share, h.weight))
    }

    /// What the run says, under this share of the airflow, of what the motor's runs share; `None` where that share does
    /// not fit it.
    pub fn shared(&self, flow_share: f64) -> Option<Shared> {
        let fits = || self.hypotheses.iter().filter(|h| h.point.flow_share == flow_share);
        let weight: f64 = fits().map(|h| h.weight).sum();
        let mean = |of: &dyn Fn(&Hypothesis) -> f64| fits().map(|h| h.weight * of(h)).sum::<f64>() / weight;
        let quick_s = std::array::from_fn(|n| mean(&|h| h.mean[QUICK + n] / heating(h)));
        (weight > 0.0).then(|| Shared { flow_share, around: mean(&|h| h.mean[AROUND]), quick_s })
    }

    /// All heating at the laps' load, K/s.
    pub fn whole_heating(&self) -> Uncertain {
        let sum = slow_part([1.0, 1.0, 0.0, 0.0, 0.0]);
        let inner: f64 = self.hypotheses.iter().map(|h| h.weight * variance(h, &sum)).sum();
        mixture::moments(self.weighted(heating), inner)
    }

    /// The air by the run together with what was known before, °C.
    pub fn air_c(&self) -> f64 {
        self.hypotheses.iter().map(|h| h.weight * h.mean[AIR]).sum()
    }

    /// Time of driving from log time `from_s` until the sensor reads `limit_c`, s; `None` where that may take longer
    /// than `longest_s`.
    pub fn time_to(&self, limit_c: f64, from_s: f64, longest_s: f64) -> Option<Estimate> {
        let ln_time = |h: &Hypothesis| {
            let mut state = at_end(h).state();
            let mut log_s = self.end_s;
            let pace = Pace::new(&h.mean, self.copper_loss, Self::as_driven(h), self.step_s);
            while state.reading(&h.mean) < limit_c && log_s - from_s < longest_s {
                state.step(&h.mean, &pace);
                log_s += self.step_s;
            }
            // A record may end before the race begins.
            (log_s - from_s).max(self.step_s).ln()
        };
        let all: Vec<Weighted> = self.weighted(ln_time).collect();
        let never: f64 = all.iter().filter(|t| t.value >= longest_s.ln()).map(|t| t.weight).sum();
        (never < NEVER).then(|| mixture::of_logarithms(all.into_iter(), MODEL_LN_U))
    }

    /// Time that a standing car takes to cool from `from_c` to `above_k` degrees above air of `air_c`, s; `None` where
    /// it is that cool already.
    pub fn cool_down_s(&self, from_c: f64, air_c: f64, above_k: f64) -> Option<Estimate> {
        let ratio = ((from_c - air_c) / above_k).ln();
        let ln_time = |h: &Hypothesis| (ratio / (h.point.cooling * (1.0 - h.point.flow_share))).ln();
        (ratio > 0.0).then(|| mixture::of_logarithms(self.weighted(ln_time), MODEL_LN_U))
    }
}

/// Share of the `heating` (K/s) that goes with speed. What the copper loses by the pack's current and the measured
/// resistance is the least that it loses: the pack shows no braking, and a row's mean current nothing of what a
/// controller's switching and peaks within the row add to its square.
fn speed_share(heating: f64, expected: Prior) -> Uncertain {
    let Some(copper) = expected.filter(|_| heating > 0.0) else { return ANY_SHARE };
    bounded::below(SPEED_SHARE, Uncertain::new(1.0 - copper.value / heating, copper.standard_u / heating))
}

/// All heating of a hypothesis at the laps' load, K/s.
fn heating(h: &Hypothesis) -> f64 {
    h.mean[COPPER_HEATING] + h.mean[SPEED_HEATING]
}

fn variance(h: &Hypothesis, change: &Coefficients) -> f64 {
    (change.transpose() * h.covariance * change)[(0, 0)].max(0.0)
}
