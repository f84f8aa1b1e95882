//! An invented track and how a driver takes it on one lap.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A lap of corners.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Along the driven line, m.
    pub length: f64,
    /// Corners: where the slow part begins, m after the line; its length, m; speed in it, m/s.
    pub corners: Vec<(f64, f64, f64)>,
}

/// Step of the table of target speeds, m.
const STEP: f64 = 0.25;

impl Track {
    /// A track of `length` metres with about one corner for each 18 m and one long straight.
    pub fn invent(length: f64, fast: f64, rng: &mut ChaCha8Rng) -> Self {
        let straight = length * rng.random_range(0.17..0.22);
        // The line lies on the straight, at a quarter to a half of it.
        let before = straight * rng.random_range(0.25..0.5);
        let twisty = length - straight;
        let count = (twisty / 18.0).round().max(5.0) as usize;
        let mut corners = Vec::new();
        for n in 0..count {
            let at = straight - before + twisty * (n as f64 + rng.random_range(0.05..0.45)) / count as f64;
            corners.push((at, rng.random_range(2.0..5.5), fast * rng.random_range(0.36..0.74)));
        }
        Self { length, corners }
    }
}

/// How the driver takes one lap: target speeds over the lap and the length of the line that is driven.
#[derive(Debug, Clone)]
pub struct LapPlan {
    target: Vec<f64>,
    /// Distance driven over the track's length.
    pub line: f64,
    length: f64,
}

/// A standard normal draw.
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

impl LapPlan {
    /// Draws a lap with `pace` (1.0 usual) and the scatter of a good driver.
    pub fn draw(track: &Track, pace: f64, brake: f64, top: f64, rng: &mut ChaCha8Rng) -> Self {
        let cells = (track.length / STEP).round() as usize;
        let mut target = vec![top * pace; cells];
        for &(at, length, speed) in &track.corners {
            // A corner in twenty-five is spoilt a little.
            let spoilt = if rng.random_bool(0.04) { rng.random_range(0.03..0.15) } else { 0.0 };
            let speed = speed * pace * (1.0 + 0.02 * normal(rng) - spoilt);
            let at = at + 0.4 * normal(rng);
            for n in 0..(length / STEP) as usize {
                let cell = (((at / STEP) as isize + n as isize).rem_euclid(cells as isize)) as usize;
                target[cell] = target[cell].min(speed);
            }
        }
        let brake = brake * (1.0 + 0.04 * normal(rng));
        for _ in 0..2 {
            for cell in (0..cells).rev() {
                let next: f64 = target[(cell + 1) % cells];
                target[cell] = target[cell].min((next * next + 2.0 * brake * STEP).sqrt());
            }
        }
        Self { target, line: 1.0 + 0.0018 * normal(rng), length: track.length }
    }

    /// Speed wanted at `at` metres after the line.
    pub fn speed(&self, at: f64) -> f64 {
        let cell = (at.rem_euclid(self.length) / STEP) as usize;
        self.target[cell.min(self.target.len() - 1)]
    }
}
