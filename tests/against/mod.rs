//! A figure that was said, against what truly was.
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
