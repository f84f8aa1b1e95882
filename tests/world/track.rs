//! The track: a closed line of straights and corners, as curvature over the way.

use super::dice::Dice;

/// Wanted distance between two places of the line, m.
const PLACE_M: f64 = 0.25;
/// Way over which the steering is turned in and out, m.
const TURN_IN_M: f64 = 1.5;

/// A track.
#[derive(Debug, Clone)]
pub struct Track {
    /// `asphalt` or `carpet`.
    pub surface: &'static str,
    /// True length of the line, m.
    pub lap_length_m: f64,
    /// Distance between two places, m.
    pub place_m: f64,
    /// Curvature at each place, 1/m.
    pub curvature: Vec<f64>,
    /// Section of each place: from the middle of a straight to the middle of the next.
    section: Vec<usize>,
    /// How many sections there are.
    pub sections: usize,
}

impl Track {
    /// Draws a track of 60 to 260 m.
    pub fn draw(dice: &mut Dice) -> Self {
        let lap_length_m = dice.between(60.0, 260.0);
        let corners = ((lap_length_m / dice.between(11.0, 21.0)).round() as usize).clamp(4, 16);
        let scale = (lap_length_m / 150.0).sqrt().clamp(0.7, 1.3);
        let mut corner_list: Vec<(f64, f64)> = (0..corners)
            .map(|_| {
                let radius = scale * dice.between(1.3, 6.0);
                (radius, radius * dice.between(45.0_f64, 180.0).to_radians())
            })
            .collect();
        let arcs: f64 = corner_list.iter().map(|c| c.1).sum();
        let shorter = (0.55 * lap_length_m / arcs).min(1.0);
        corner_list.iter_mut().for_each(|c| c.1 *= shorter);
        let mut straights: Vec<f64> = (0..corners).map(|_| dice.between(0.15, 1.0)).collect();
        straights[0] = dice.between(1.2, 2.6);
        let rest = lap_length_m - corner_list.iter().map(|c| c.1).sum::<f64>();
        let sum: f64 = straights.iter().sum();
        straights.iter_mut().for_each(|s| *s *= rest / sum);
        let line_at = dice.between(0.2, 0.8);
        Self::lay(dice.pick(&["asphalt", "carpet"]), lap_length_m, &corner_list, &straights, line_at)
    }

    /// Lays corners (radius, arc, m) and straights (m) one after the other; the timing line is on the first straight.
    fn lay(surface: &'static str, lap_length_m: f64, corners: &[(f64, f64)], straights: &[f64], line_at: f64) -> Self {
        let places = (lap_length_m / PLACE_M).ceil() as usize;
        let place_m = lap_length_m / places as f64;
        let mut sharp = vec![0.0; places];
        let mut section = vec![0; places];
        let mut at = straights[0] * (1.0 - line_at);
        let mut middle = 0.0;
        for (number, (radius, arc)) in corners.iter().enumerate() {
            let next = straights[(number + 1) % straights.len()];
            let until = if number + 1 == corners.len() { lap_length_m } else { at + arc + next / 2.0 };
            for (place, (curvature, section)) in sharp.iter_mut().zip(&mut section).enumerate() {
                let here = (place as f64 + 0.5) * place_m;
                if (at..at + arc).contains(&here) {
                    *curvature = 1.0 / radius;
                }
                if (middle..until).contains(&here) {
                    *section = number;
                }
            }
            middle = until;
            at += arc + next;
        }
        let half = (TURN_IN_M / 2.0 / place_m).round() as isize;
        let mean = |place: usize| {
            let sum: f64 =
                (-half..=half).map(|step| sharp[(place as isize + step).rem_euclid(places as isize) as usize]).sum();
            sum / (2 * half + 1) as f64
        };
        let curvature = (0..places).map(mean).collect();
        Self { surface, lap_length_m, place_m, curvature, section, sections: corners.len() }
    }

    /// Number of the place at a way from the line, m, not negative.
    pub fn place(&self, way_m: f64) -> usize {
        let within = way_m - (way_m / self.lap_length_m).floor() * self.lap_length_m;
        ((within / self.place_m) as usize).min(self.curvature.len() - 1)
    }

    /// The section of a place.
    pub fn section(&self, place: usize) -> usize {
        self.section[place]
    }
}
