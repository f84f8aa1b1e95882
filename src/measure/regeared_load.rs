//! What another pinion asks of the motor: its current squared and its speed, over laps that are driven anew
//! ([`super::regeared_lap`]).
//!
//! Where the motor was the limit, its current is what the pack gives at the new revs. Elsewhere the push at the wheels
//! stays, so that the current goes with 1 / g. The brakes of such a car are its motor: what it slows by, beyond air and
//! rolling, takes a current too, which the pack does not show; it heats the copper all the same and goes with 1 / g.
//! What heats with the speed goes half with the speed and half with its square, as in [`super::warming`].
//!
//! Wrong where the car has brakes of another kind.

use super::pinion::PullModel;
use super::regeared_lap::Limit;
use crate::laps::Laps;

/// Load of the motor with another ratio, relative to the load as it was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RegearedLoad {
    /// Mean of its current squared.
    pub copper: f64,
    /// Loss that goes with its speed.
    pub spin: f64,
}

/// Sums over laps: current squared, what goes with the speed, and time.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    copper: f64,
    spin: f64,
    seconds: f64,
}

impl Sums {
    fn add(&mut self, current: f64, omega: f64, seconds: f64) {
        self.copper += current * current * seconds;
        self.spin += (omega + omega * omega) / 2.0 * seconds;
        self.seconds += seconds;
    }
}

impl PullModel<'_> {
    /// The load with the ratio multiplied by `g`; `None` where no lap counts or none has a load.
    pub(super) fn load(&self, laps: &Laps, g: f64) -> Option<RegearedLoad> {
        let spans = self.spans(laps);
        let (first, last) = (spans.first()?.0, spans.last()?.1);
        let squared = self.driven_anew(first..last, g);
        let (time, speed) = (&self.motion.time, &self.motion.speed);
        let rows = || spans.iter().flat_map(|&(from, to)| from..to);
        let omega: f64 = rows().map(|n| self.demand.omega[n]).filter(|w| w.is_finite()).sum::<f64>();
        let mean = omega / rows().count().max(1) as f64;
        let (mut before, mut after) = (Sums::default(), Sums::default());
        for n in rows() {
            let (now, seconds, spun) = (self.drawn(n), time[n + 1] - time[n], self.demand.omega[n] / mean);
            let ratio =
                (squared[n - first] + squared[n + 1 - first]).sqrt() / (speed[n].powi(2) + speed[n + 1].powi(2)).sqrt();
            let ratio = if ratio.is_finite() && ratio > 0.0 { ratio } else { 1.0 };
            if now.is_finite() && spun.is_finite() {
                before.add(now, spun, seconds);
                after.add(self.drawn_anew(n, now, g, ratio), spun * g * ratio, seconds / ratio);
            }
        }
        let seconds = before.seconds / after.seconds;
        let load =
            RegearedLoad { copper: after.copper / before.copper * seconds, spin: after.spin / before.spin * seconds };
        (load.copper.is_finite() && load.spin.is_finite()).then_some(load)
    }

    /// Motor current in row `n`, A, driving or braking.
    fn drawn(&self, n: usize) -> f64 {
        let (driving, slows) = (self.demand.current[n], -self.motion.acceleration[n]);
        if driving > 0.0 || !slows.is_finite() || self.limit(n) != Limit::Brakes {
            return driving;
        }
        let by_itself = self.per_square * self.motion.speed[n].powi(2) + self.rolling;
        (slows - by_itself).max(0.0) / self.per_ampere
    }

    /// The same with the ratio multiplied by `g`, at `ratio` times the row's own speed.
    fn drawn_anew(&self, n: usize, now: f64, g: f64, ratio: f64) -> f64 {
        if self.demand.current[n] > 0.0 { self.current(n, g, ratio) } else { now / g }
    }
}
