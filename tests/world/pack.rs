//! The pack: open-circuit voltage by charge, an ohmic part, a fast and a slow polarisation.
//!
//! V = OCV(charge) − V_fast − V_slow − R·I with dV_x/dt = (R_x·I − V_x)/τ_x (two RC pairs, as in handbooks of cells).
//! Curve, ohms and their rise when empty or cold: from memory of data sheets of lithium polymer cells.

use super::dice::Dice;
use super::electrics::Source;

/// Open-circuit volts of a cell by charge in steps of a tenth, from empty.
const OPEN_V: [f64; 11] = [3.27, 3.55, 3.64, 3.70, 3.74, 3.78, 3.83, 3.90, 3.98, 4.08, 4.20];
/// Temperature at which the ohms are given, °C.
const REFERENCE_C: f64 = 25.0;
/// Share by which the ohms rise per °C of cold (exponent).
const COLD_PER_C: f64 = 0.016;
/// Heat capacity of a cell per ampere hour, J/K: 20 g at 1 J/(g K).
const J_K_PER_AH: f64 = 20.0;

/// A kind of pack.
#[derive(Debug, Clone)]
pub struct PackKind {
    /// Cells in series.
    pub cells: usize,
    /// On the label, mAh.
    pub capacity_mah: f64,
    /// True charge over the label's.
    pub true_capacity: f64,
    /// All cells, plugs and leads, Ω when full and at 25 °C.
    pub ohm: f64,
    /// Share by which the ohms have risen when empty.
    pub empty_rise: f64,
    /// Fast polarisation over the ohmic part, and its time constant, s.
    pub fast: (f64, f64),
    /// The slow one.
    pub slow: (f64, f64),
}

impl PackKind {
    /// A pack of so many cells.
    pub fn draw(dice: &mut Dice, cells: usize) -> Self {
        let capacity_mah = dice.pick(&[4000.0, 5000.0, 6000.0, 6500.0, 7200.0, 8000.0]);
        let per_cell = 1e-3 * dice.between(1.3, 2.6) * 6000.0 / capacity_mah;
        Self {
            cells,
            capacity_mah,
            true_capacity: dice.between(0.92, 1.03),
            ohm: cells as f64 * per_cell + 1e-3 * dice.between(0.6, 2.2),
            empty_rise: dice.between(0.3, 0.9),
            fast: (dice.between(0.25, 0.7), dice.between(1.0, 3.0)),
            slow: (dice.between(0.25, 0.8), dice.between(30.0, 90.0)),
        }
    }
}

/// A pack in use.
#[derive(Debug, Clone)]
pub struct Pack {
    kind: PackKind,
    charge: f64,
    fast_v: f64,
    slow_v: f64,
    /// Its own temperature, °C.
    pub celsius: f64,
    /// Ω now.
    pub ohm: f64,
    open_v: f64,
}

impl Pack {
    /// A full pack as warm as the air.
    pub fn full(kind: &PackKind, air_c: f64) -> Self {
        let mut pack =
            Self { kind: kind.clone(), charge: 1.0, fast_v: 0.0, slow_v: 0.0, celsius: air_c, ohm: 0.0, open_v: 0.0 };
        pack.settle(0.0, 0.0, air_c);
        pack
    }

    /// As the controller sees it.
    pub fn source(&self) -> Source {
        Source { open_v: self.open_v - self.fast_v - self.slow_v, ohm: self.ohm }
    }

    /// Volts that a step of one ampere takes off within a second, without the slow part.
    pub fn ohm_within_a_second(&self) -> f64 {
        let (share, seconds) = self.kind.fast;
        self.ohm * (1.0 + share * (1.0 - (-1.0 / seconds).exp()))
    }

    /// Carries a current for `dt` seconds, at most a tenth.
    pub fn carry(&mut self, ampere: f64, dt: f64) {
        let (fast, slow) = (self.kind.fast, self.kind.slow);
        self.charge -= ampere * dt / (3.6 * self.kind.capacity_mah * self.kind.true_capacity);
        self.fast_v += dt * (fast.0 * self.ohm * ampere - self.fast_v) / fast.1;
        self.slow_v += dt * (slow.0 * self.ohm * ampere - self.slow_v) / slow.1;
    }

    /// Sets what changes slowly, after `dt` seconds with a mean squared current, A².
    pub fn settle(&mut self, square_a2: f64, dt: f64, air_c: f64) {
        let cells = self.kind.cells as f64;
        let j_k = J_K_PER_AH * self.kind.capacity_mah * 1e-3 * cells;
        let warming_w = square_a2 * self.ohm * (1.0 + self.kind.fast.0 + self.kind.slow.0);
        self.celsius += dt * (warming_w - 0.15 * (self.celsius - air_c)) / j_k;
        let place = self.charge.clamp(0.0, 1.0) * 10.0;
        let below = (place as usize).min(OPEN_V.len() - 2);
        let cell_v = OPEN_V[below] + (place - below as f64) * (OPEN_V[below + 1] - OPEN_V[below]);
        self.open_v = cells * cell_v;
        let used = (1.0 - self.charge).clamp(0.0, 1.0);
        let empty = 1.0 + self.kind.empty_rise * used * used * used;
        self.ohm = self.kind.ohm * empty * (COLD_PER_C * (REFERENCE_C - self.celsius)).exp();
    }
}
