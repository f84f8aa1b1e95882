//! Where on the lap the time went: the lap cut at its slowest points ([`super::cuts`]), section by section.
//!
//! A section's time in a lap is the difference of the times since the line at its two ends ([`super::time_along_lap`]);
//! of the section that holds the line it is the lap's own first and last part, so that the sections of a lap add up to
//! its lap time. What the median lap loses on the best one in each adds up to the difference of the two.
//!
//! The lap of the best sections is always faster than the best lap: the best of many is lucky. How much of that chance
//! alone gives is found by dealing each section's times to the laps anew, independently, many times (a permutation
//! test; Good 2005, title from memory): the sections then scatter as they did, but nothing holds a lap together.
//!
//! Wrong where the car's place is. The doubt of the place at a section's ends is part of its scatter: a section of a
//! second or two looks a few hundredths less even than it was driven.

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use schemars::JsonSchema;
use serde::Serialize;

use super::time_along_lap::{PLACES, TimeAlong, TimeAlongLaps};
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::statistics::coverage::coverage_factor;
use crate::statistics::neighbours::{TakenOut, widening};
use crate::statistics::quantiles::{median, median_u, quantile, robust_deviation};

/// Fewest laps whose scatter says what chance gives. Common practice, no source.
const LEAST_LAPS: usize = 5;
/// How often the times are dealt anew, and the seed of it: the same laps give the same answer.
const DEALS: usize = 1000;
const SEED: u64 = 1;
/// Relative standard uncertainty of a speed at one place by the revs: tyres that brake, drive or corner slip there by
/// some per cent more or less than on average, and the corner's lowest speed lasts for a moment. Common practice, no
/// source; on the two forward models the speeds scatter about the truth by about 0.033 and 0.019.
const SLIP_U: f64 = 0.035;
/// Places on either side over which a speed is taken: half a hundredth of the lap each way.
const SPEED_REACH: usize = 1;

/// A section of the lap, from one slowest point to the next.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Section {
    /// Where it begins, share of the lap from the line.
    pub from: f64,
    /// Where it ends; below `from` where the line lies in it.
    pub to: f64,
    /// Its best time over the counted laps, s.
    pub best_s: f64,
    /// The lap of that, from 1.
    pub best_lap: u32,
    /// Its median time over the counted laps, s.
    pub median_s: Estimate,
    /// How far its times scatter from lap to lap, s: a robust standard deviation.
    pub scatter_s: f64,
    /// The car's lowest speed in the median lap, m/s; `null` where nothing tells its travel for a motor turn.
    pub slowest_m_s: Option<Estimate>,
    /// The car's speed at its end, m/s.
    pub end_m_s: Option<Estimate>,
    /// How much of what the median lap loses on the best lap it loses here, s; below zero it gains.
    pub loss_s: Estimate,
}

/// The lap made of the best time of each section.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct BestSections {
    /// Its time, s.
    pub lap_s: f64,
    /// How much faster than the best lap it is, s.
    pub faster_by_s: f64,
    /// How much faster it would be by chance alone, s; `null` with fewer than five laps.
    pub by_chance_s: Option<Estimate>,
}

/// A run's sections.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Sections {
    /// The sections in order, the one that begins first after the line first.
    pub sections: Vec<Section>,
    /// The lap made of the best of each.
    pub best_sections: BestSections,
}

/// The sections of a run whose lap is cut at these shares of it, in rising order; `lap_m` is the lap's length, m.
pub fn measure(along: &TimeAlongLaps, cuts: &[f64], lap_m: Option<Uncertain>) -> Option<Sections> {
    let ends: Vec<(f64, f64)> = (0..cuts.len()).map(|n| (cuts[n], cuts[(n + 1) % cuts.len()])).collect();
    let sections = ends.iter().map(|(from, to)| section(along, *from, *to, lap_m)).collect::<Option<Vec<Section>>>()?;
    let times: Vec<Vec<f64>> = ends.iter().map(|ends| times(along, *ends)).collect();
    Some(Sections { best_sections: best_sections(&times), sections })
}

/// The time of each counted lap between two places, s; round the line, where the second is before the first.
pub fn times(along: &TimeAlongLaps, (from, to): (f64, f64)) -> Vec<f64> {
    along.laps.iter().map(|lap| lap.along.between(from, to)).collect()
}

fn section(along: &TimeAlongLaps, from: f64, to: f64, lap_m: Option<Uncertain>) -> Option<Section> {
    let times = times(along, (from, to));
    let best = (0..times.len()).min_by(|a, b| times[*a].total_cmp(&times[*b]))?;
    let middle = median(times.iter().copied())?;
    let factor = coverage_factor((times.len() - 1).max(1) as f64, 0.95);
    let by_place = along.median.between_u(&along.median.place_u_s, from, to);
    let left: Vec<f64> = times.iter().map(|time| time - middle).collect();
    let by_laps = median_u(&times)? * widening(&left, TakenOut::Middle);
    let half_width = (factor * by_laps).hypot(COVERAGE_95 * by_place);
    let speed = |laps_a_second: f64| {
        let lap = lap_m?;
        let relative_u = lap.relative_u().hypot(SLIP_U);
        Some(Estimate::from(Uncertain::relative(laps_a_second * lap.value, relative_u)))
    };
    Some(Section {
        from,
        to,
        best_s: times[best],
        best_lap: along.laps[best].lap,
        median_s: Estimate::from_half_width(middle, half_width),
        scatter_s: robust_deviation(&times)?,
        slowest_m_s: speed(slowest(&along.median, from, to)),
        end_m_s: speed(along.median.speed_around(to, SPEED_REACH)),
        loss_s: along.median.lost_between(&along.best().along, from, to),
    })
}

/// The lowest speed between two places, laps a second.
fn slowest(along: &TimeAlong, from: f64, to: f64) -> f64 {
    let to = if to > from { to } else { to + 1.0 };
    let steps = ((to - from) * PLACES as f64).round().max(1.0) as usize;
    let share = |n: usize| from + (to - from) * n as f64 / steps as f64;
    (0..=steps).map(|n| along.speed_around(share(n), SPEED_REACH)).fold(f64::INFINITY, f64::min)
}

/// The lap of the best sections, from the times of each section in each lap.
fn best_sections(times: &[Vec<f64>]) -> BestSections {
    let lowest = |values: &[f64]| values.iter().copied().fold(f64::INFINITY, f64::min);
    let laps = times.first().map_or(0, Vec::len);
    let best_lap = |times: &[Vec<f64>]| {
        let lap = |n: usize| times.iter().map(|section| section[n]).sum::<f64>();
        lowest(&(0..laps).map(lap).collect::<Vec<f64>>())
    };
    let lap_s: f64 = times.iter().map(|section| lowest(section)).sum();
    let faster_by_s = best_lap(times) - lap_s;
    let by_chance_s = (laps >= LEAST_LAPS).then(|| {
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let mut dealt = times.to_vec();
        let mut deal = || {
            dealt.iter_mut().for_each(|section| section.shuffle(&mut rng));
            best_lap(&dealt) - lap_s
        };
        let deals: Vec<f64> = (0..DEALS).map(|_| deal()).collect();
        let at = |share: f64| quantile(deals.iter().copied(), share).unwrap_or(f64::NAN);
        Estimate { value: at(0.5), low: at(0.025), high: at(0.975) }
    });
    BestSections { lap_s, faster_by_s, by_chance_s }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_sections_by_hand() {
        // Best lap 10.0 + 5.2 = 15.2; best sections 10.0 + 5.0.
        let found = best_sections(&[vec![10.0, 10.4, 10.3], vec![5.2, 5.0, 5.1]]);
        assert!((found.lap_s - 15.0).abs() < 1e-12 && (found.faster_by_s - 0.2).abs() < 1e-12);
        assert_eq!(found.by_chance_s, None);
    }

    #[test]
    fn sections_that_scatter_by_themselves_are_within_chance() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut tenth = |n: usize| {
            let mut values: Vec<f64> = (0..n).map(|k| 5.0 + 0.1 * k as f64).collect();
            values.shuffle(&mut rng);
            values
        };
        let times: Vec<Vec<f64>> = (0..4).map(|_| tenth(20)).collect();
        let found = best_sections(&times);
        assert!(found.by_chance_s.unwrap().holds(found.faster_by_s), "{found:?}");
        // Laps that are good all round are nearer to their best sections than chance lets expect.
        let alike: Vec<Vec<f64>> = (0..4).map(|_| times[0].clone()).collect();
        let found = best_sections(&alike);
        assert!(found.faster_by_s < 1e-12 && found.by_chance_s.unwrap().low > 0.0, "{found:?}");
    }
}
