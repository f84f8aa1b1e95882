//! Figures that were said, against what truly was.
#![allow(dead_code)] // each user takes what it needs

use runtrue::quantity::Estimate;

/// A figure against its truth.
#[derive(Debug, Clone, Copy)]
pub struct Against {
    pub found: Estimate,
    pub truth: f64,
}

impl Against {
    pub fn off(&self) -> f64 {
        self.found.value - self.truth
    }

    pub fn held(&self) -> bool {
        self.found.holds(self.truth)
    }
}

/// Share of `all` that holds.
pub fn share(all: impl IntoIterator<Item = bool>) -> f64 {
    let all: Vec<bool> = all.into_iter().collect();
    all.iter().filter(|b| **b).count() as f64 / all.len().max(1) as f64
}
