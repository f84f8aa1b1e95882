//! The driven tyres: a brush of bristles that bend, then slide.
//!
//! Force over slip by the brush model (Fiala's cubic, from memory): F = F_max · (1 − (1 − x)³) with
//! x = C·|slip| / (3·F_max) up to x = 1, where the whole contact slides. Beyond that the force falls to the sliding
//! share. Cornering takes its part of the grip (friction circle) and leaves the bristles' stiffness C as it is, so that
//! a cornering tyre slides at less slip. Ranges: from memory.

use super::dice::Dice;

/// Speed below which slip is counted against this speed, m/s: at rest slip has no meaning.
const SLOWEST_M_S: f64 = 0.5;
/// Friction at which the slip of full sliding is given; the bristles' stiffness follows the root of the friction.
const REFERENCE_FRICTION: f64 = 1.5;
/// How fast the force falls to the sliding share, in x.
const FALL: f64 = 1.5;

/// Tyres of a car.
#[derive(Debug, Clone)]
pub struct Tyre {
    /// `rubber` or `foam`.
    pub kind: &'static str,
    /// Friction at the reference load.
    pub friction: f64,
    /// Share of the friction lost per doubling of the load.
    pub load_loss: f64,
    /// Slip at which the whole contact slides, at the reference load and friction.
    pub slides_at: f64,
    /// Sliding friction over the peak's.
    pub sliding: f64,
    /// True diameter at the first run, mm.
    pub diameter_mm: f64,
    /// How much less the rolling circumference is than that of the diameter, share.
    pub squash: f64,
    /// Growth of the rolling circumference per (m/s)², share.
    pub growth: f64,
    /// Wear of the diameter in a run, mm.
    pub wear_mm: f64,
}

/// What the driven tyres can do at this moment.
#[derive(Debug, Clone, Copy)]
pub struct Contact {
    /// Most force along the car, N.
    pub most_n: f64,
    /// Force per slip at no slip, N.
    pub stiffness_n: f64,
}

impl Tyre {
    /// Rubber for the tourer.
    pub fn rubber(dice: &mut Dice, surface: &str) -> Self {
        let friction = if surface == "carpet" { dice.between(1.4, 1.9) } else { dice.between(1.1, 1.7) };
        Self {
            kind: "rubber",
            friction,
            load_loss: dice.between(0.03, 0.08),
            slides_at: dice.between(0.12, 0.20),
            sliding: dice.between(0.72, 0.9),
            diameter_mm: dice.between(61.5, 64.5),
            squash: dice.between(0.0, 0.012),
            growth: dice.between(0.0, 3e-5),
            wear_mm: dice.between(0.0, 0.04),
        }
    }

    /// Foam for the pan car.
    pub fn foam(dice: &mut Dice, surface: &str) -> Self {
        let friction = if surface == "carpet" { dice.between(1.6, 2.3) } else { dice.between(1.4, 1.9) };
        Self {
            kind: "foam",
            friction,
            load_loss: dice.between(0.01, 0.05),
            slides_at: dice.between(0.10, 0.18),
            sliding: dice.between(0.75, 0.95),
            diameter_mm: dice.between(39.0, 46.0),
            squash: dice.between(0.0, 0.008),
            growth: 0.0,
            wear_mm: dice.between(0.03, 0.2),
        }
    }

    /// The contact under a load (N, and the load at rest), where cornering uses `sideways` of the friction.
    pub fn contact(&self, load_n: f64, rest_n: f64, sideways: f64) -> Contact {
        let times = load_n / rest_n;
        let friction = self.friction * (1.0 - self.load_loss * (times - 1.0));
        let whole = friction * load_n;
        // Bristles carry a little less than in proportion to the load.
        let friction = (self.friction * REFERENCE_FRICTION).sqrt();
        let stiffness_n = 3.0 * friction * rest_n / self.slides_at * (1.0 + 0.85 * (times - 1.0));
        Contact { most_n: whole * (1.0 - sideways * sideways).sqrt(), stiffness_n }
    }

    /// Force at a wheel and a car speed (m/s), N, and how it rises with the wheel speed, N/(m/s).
    pub fn force(&self, contact: Contact, wheel: f64, car: f64) -> (f64, f64) {
        let against = wheel.abs().max(car.abs()).max(SLOWEST_M_S);
        let slip = (wheel - car) / against;
        let x = contact.stiffness_n * slip.abs() / (3.0 * contact.most_n);
        if x < 1.0 {
            let left = 1.0 - x;
            let force = contact.most_n * (1.0 - left * left * left);
            (force.copysign(slip), contact.stiffness_n * left * left / against)
        } else {
            let share = self.sliding + (1.0 - self.sliding) * (-(x - 1.0) / FALL).exp();
            ((contact.most_n * share).copysign(slip), 0.0)
        }
    }

    /// Rolling circumference at a speed with `runs` behind it, m.
    pub fn circumference_m(&self, runs: usize, speed: f64) -> f64 {
        let diameter = self.diameter_mm - self.wear_mm * runs as f64;
        std::f64::consts::PI * diameter * 1e-3 * (1.0 - self.squash) * (1.0 + self.growth * speed * speed)
    }
}
