//! Where in a lap the line is, by the turns of the motor from passing to passing.
//!
//! A lap is as long as the next. So at the right offset between log and list the car's turns from one passing to the
//! next are alike. At a wrong one they differ as the speeds at the passings do: an offset by dt takes v2·dt more and
//! leaves v1·dt out. Unlike the place by the pattern of revs, this does not care how a driver takes a corner; it does
//! care how far the driven line and slip scatter from lap to lap. With that unknown, the likelihood of an offset is
//! that of Student's t (formula from memory). What the turns of a lap do over the run, as tyres wear and warm, is taken
//! out as a straight line.

use statrs::function::gamma::ln_gamma;

use super::odometer::Odometer;
use crate::statistics::quantiles::{median, robust_deviation};
use crate::statistics::straight_line::straight_line;

/// Turns farther from a lap's than this share of it, as of two laps in one, tell nothing here.
const NEAR_A_LAP: f64 = 0.1;
/// Laps farther from the usual one than this many deviations are held to this many: a crash, a spin.
const HELD_TO: f64 = 3.0;
/// Least scatter of the turns of a lap, as a share: a decimetre or so.
const LEAST_SCATTER: f64 = 0.000_6;
/// Fewest laps that tell anything.
const LEAST_LAPS: usize = 4;

/// Log-likelihood of passings at `times`, s, where a lap takes about `lap_turns` of the `car`'s turns; zero where too
/// few laps are whole. It compares offsets at which the same passings are in the log.
pub(super) fn log_likelihood(car: &Odometer, times: &[f64], lap_turns: f64) -> f64 {
    let turns: Vec<f64> = times.iter().map(|t| car.turns_at(*t)).collect();
    let Some(usual) =
        median(turns.windows(2).map(|w| w[1] - w[0]).filter(|t| (t / lap_turns - 1.0).abs() < NEAR_A_LAP))
    else {
        return 0.0;
    };
    let off = turns.windows(2).map(|w| (w[1] - w[0]) / usual - 1.0).enumerate();
    let (numbers, off): (Vec<f64>, Vec<f64>) =
        off.filter(|(_, off)| off.abs() < NEAR_A_LAP).map(|(n, off)| (n as f64, off)).unzip();
    let Some(scatter) = robust_deviation(&off).filter(|_| off.len() >= LEAST_LAPS) else { return 0.0 };
    let most = HELD_TO * scatter.max(LEAST_SCATTER);
    let held: Vec<f64> = off.iter().map(|off| off.clamp(-most, most)).collect();
    let n = held.len() as f64;
    let points = || numbers.iter().copied().zip(held.iter().copied());
    let line = straight_line(points());
    let left: f64 = points().map(|(number, off)| line.below(number, off).powi(2)).sum();
    let squares = left + n * LEAST_SCATTER * LEAST_SCATTER;
    let degrees = 0.5 * (n - 2.0);
    ln_gamma(degrees) - degrees * (std::f64::consts::PI * squares).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn laps_of_one_length_show_where_the_line_is() {
        // Laps of 5000 turns; the car passes the line faster and slower in turn.
        let rpm = |t: f64| 20_000.0 + 3_000.0 * (t * 0.9).sin() + 2_000.0 * (t * 0.37).cos();
        let time: Vec<f64> = (0..4000).map(|n| f64::from(n) * 0.05).collect();
        let car = Odometer::from_rows(time.clone(), time.iter().map(|t| rpm(*t)).collect()).unwrap();
        let passings: Vec<f64> = (0..12).map(|lap| car.time_of(1_000.0 + 5_000.0 * f64::from(lap))).collect();
        let at = |by: f64| log_likelihood(&car, &passings.iter().map(|p| p + by).collect::<Vec<_>>(), 5_000.0);
        let best = (-50..=50).map(|n| f64::from(n) * 0.02).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap();
        assert!(best.abs() < 0.021, "{best}");
    }
}
