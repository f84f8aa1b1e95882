//! An invented track, and how a driver plans to take one lap of it.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A lap of corners.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Along the driven line, m.
    pub length: f64,
    /// Corners in order.
    pub corners: Vec<Corner>,
}

/// The slow part of a corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corner {
    /// Where it begins, m after the line.
    pub start: f64,
    /// Its length, m.
    pub length: f64,
    /// Speed in it, m/s.
    pub speed: f64,
}

/// Step of the table of target speeds, m.
const STEP: f64 = 0.25;
/// Speed wanted where no corner is near: more than any car reaches, m/s.
const FLAT_OUT: f64 = 60.0;

impl Track {
    /// A track of `length` metres with about one corner every 18 m and one long straight; `fast` is the speed of the
    /// car it is for, m/s.
    pub fn invent(length: f64, fast: f64, rng: &mut ChaCha8Rng) -> Self {
        let straight = length * rng.random_range(0.17..0.22);
        // The line lies on the straight, a quarter to a half of the way along it.
        let before = straight * rng.random_range(0.25..0.5);
        let twisty = length - straight;
        let count = (twisty / 18.0).round().max(5.0) as usize;
        let corner = |n: usize| Corner {
            start: straight - before + twisty * (n as f64 + rng.random_range(0.05..0.45)) / count as f64,
            length: rng.random_range(2.0..5.5),
            speed: fast * rng.random_range(0.36..0.74),
        };
        Self { length, corners: (0..count).map(corner).collect() }
    }
}

/// How the driver plans to take one lap: target speeds over the lap and the length of the line that is driven.
#[derive(Debug, Clone)]
pub struct LapPlan {
    target: Vec<f64>,
    /// Length of the driven line over the track's length.
    pub line: f64,
    length: f64,
}

/// A standard normal draw.
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

impl LapPlan {
    /// Draws a lap at `pace` (1.0 is usual) with the scatter of a good driver, who brakes at about `brake` m/s².
    pub fn draw(track: &Track, pace: f64, brake: f64, rng: &mut ChaCha8Rng) -> Self {
        let cells = (track.length / STEP).round() as usize;
        let mut target = vec![FLAT_OUT * pace; cells];
        for corner in &track.corners {
            // One corner in twenty-five goes a little wrong.
            let spoilt = if rng.random_bool(0.04) { rng.random_range(0.03..0.15) } else { 0.0 };
            let speed = corner.speed * pace * (1.0 + 0.02 * normal(rng) - spoilt);
            let start = corner.start + 0.4 * normal(rng);
            for n in 0..(corner.length / STEP) as usize {
                let cell = (((start / STEP) as isize + n as isize).rem_euclid(cells as isize)) as usize;
                target[cell] = target[cell].min(speed);
            }
        }
        let brake = brake * (1.0 + 0.04 * normal(rng));
        // Backwards from each corner, twice, since the lap is a ring.
        for _ in 0..2 {
            for cell in (0..cells).rev() {
                let next: f64 = target[(cell + 1) % cells];
                target[cell] = target[cell].min((next * next + 2.0 * brake * STEP).sqrt());
            }
        }
        Self { target, line: 1.0 + 0.0018 * normal(rng), length: track.length }
    }

    /// Speed wanted at `place` metres after the line, m/s.
    pub fn speed(&self, place: f64) -> f64 {
        let cell = (place.rem_euclid(self.length) / STEP) as usize;
        self.target[cell.min(self.target.len() - 1)]
    }
}
