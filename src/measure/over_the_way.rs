//! Speed and time over a way, by the acceleration at each speed: v·dv = a·ds, and t = s / v.
//!
//! The square of the speed is carried on by the midpoint rule, and a row's time is its way over the mean of the speeds at
//! its ends. Both are exact for an even acceleration, and off by the square of a row's share of the way for others
//! (textbook numerical integration).

/// The square of the speed after `way` (m), m²/s², where the acceleration (m/s²) at a share of the way and a squared
/// speed is as given.
pub(super) fn squared_after(squared: f64, way: f64, acceleration: impl Fn(f64, f64) -> f64) -> f64 {
    let middle = squared + way * acceleration(0.0, squared);
    squared + 2.0 * way * acceleration(0.5, middle.max(0.0))
}

/// Time over `way`, s, between these squared speeds.
pub(super) fn time_over(way: f64, squared: [f64; 2]) -> f64 {
    2.0 * way / (squared[0].sqrt() + squared[1].sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Speed at the end of a straight that is cut into rows, and the time over it.
    fn driven(from: f64, way: f64, rows: usize, acceleration: impl Fn(f64) -> f64) -> (f64, f64) {
        let row = way / rows as f64;
        let mut squared = from * from;
        let mut time = 0.0;
        for _ in 0..rows {
            let next = squared_after(squared, row, |_, squared| acceleration(squared.sqrt()));
            time += time_over(row, [squared, next]);
            squared = next;
        }
        (squared.sqrt(), time)
    }

    fn near(found: (f64, f64), speed: f64, time: f64) {
        assert!((found.0 / speed - 1.0).abs() < 1e-3, "{} m/s for {speed}", found.0);
        assert!((found.1 / time - 1.0).abs() < 1e-3, "{} s for {time}", found.1);
    }

    // The closed forms are those of textbooks on mechanics and vehicle dynamics (Meriam and Kraige, Dynamics, 2/2 and 3/6;
    // Gillespie, Fundamentals of Vehicle Dynamics, 2; both from memory). Fifty rows: a straight of 2.5 s at 20 a second.

    #[test]
    fn even_power() {
        // P = m·v·a: t = m·(v2² − v1²) / 2P, s = m·(v2³ − v1³) / 3P.
        let (power_w, mass_kg, from, to) = (90.0, 1.4, 6.0f64, 16.0f64);
        let time = mass_kg * (to.powi(2) - from.powi(2)) / (2.0 * power_w);
        let way = mass_kg * (to.powi(3) - from.powi(3)) / (3.0 * power_w);
        near(driven(from, way, 50, |v| power_w / (mass_kg * v)), to, time);
    }

    #[test]
    fn torque_that_falls_in_a_straight_line() {
        // dv/dt = a0·(1 − v/v0): v = v0 − (v0 − v1)·exp(−a0·t/v0), s = v0·t − (v − v1)·v0/a0.
        let (a0, v0, from, time) = (12.0, 22.0, 6.0, 2.5f64);
        let to = v0 - (v0 - from) * (-a0 * time / v0).exp();
        let way = v0 * time - (to - from) * v0 / a0;
        near(driven(from, way, 50, |v| a0 * (1.0 - v / v0)), to, time);
    }

    #[test]
    fn even_push_against_the_air() {
        // dv/dt = a0 − k·v²: v = u·tanh(a0·t/u) from rest with u = √(a0/k), s = (u²/a0)·ln cosh(a0·t/u).
        let (a0, k) = (8.0f64, 0.02);
        let end = (a0 / k).sqrt();
        let state = |t: f64| (end * (a0 * t / end).tanh(), end * end / a0 * (a0 * t / end).cosh().ln());
        let (first, last) = (state(0.6), state(3.1));
        near(driven(first.0, last.1 - first.1, 50, |v| a0 - k * v * v), last.0, 2.5);
    }
}
