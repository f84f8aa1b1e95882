//! The top of a peak that is sampled at even steps.

/// How far the top of the parabola through three values at even steps lies from the middle one, in steps, at most half
/// a one; 0 where they have no top.
pub fn top_of_parabola(before: f64, middle: f64, after: f64) -> f64 {
    let bend = before - 2.0 * middle + after;
    if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}
