//! Whether the log counts all turns of the motor, and no more.
//!
//! A controller counts magnetic turns; without the motor's poles, or with another motor's, all revs are off by a whole
//! factor. The motor turns of a lap tell it against the lap length and the travel for a motor turn on the sheet, and
//! the usual speed against that of the car's other runs.

use crate::evidence::swings::highest;
use crate::gears::set_rollout_mm;
use crate::laps::odometer::Odometer;
use crate::laps::{Lap, Source};
use crate::log::Channel;
use crate::sheet::Sheet;
use crate::statistics::quantiles::{median, quantile};

use super::super::RunToWeigh;

/// Factors by which poles put revs off: one to four pairs of them, entered as one or the other.
const FACTORS: [f64; 6] = [2.0, 3.0, 4.0, 1.0 / 2.0, 1.0 / 3.0, 1.0 / 4.0];
/// Drive slip and the driven line make a lap this much longer in turns. Common practice, no source.
const USUALLY_LONGER: f64 = 1.03;
/// A ratio this near to a factor is that factor (logarithm). Common practice, no source: a worn tyre, another line and
/// another pinion than the sheet's together.
const NEAR: f64 = 0.10;
/// The same between runs of one car. Common practice, no source: other gearing, battery and driver change a speed.
const NEAR_OTHERS: f64 = 0.12;
/// The car makes more than this share of its wheels' turns. Common practice, no source: a driver who spins more does
/// not lap.
const MOSTLY_GRIPPED: f64 = 0.85;
/// Quantile of a driven car's revs that stands for its speed: wheels that spin are faster than the car, but seldom.
const FAST: f64 = 0.75;
/// Share of the highest revs above which the car is driven. Common practice, no source.
const DRIVEN: f64 = 0.1;
/// Fewest laps that tell their turns: one of a list, two that were found in the revs.
const LEAST_LISTED: usize = 1;
const LEAST_FOUND: usize = 2;
/// Millimetres in a metre.
const MM: f64 = 1000.0;

/// Motor turns of the run's laps over those that lap length, gearing and tyre on the sheet need; `None` where any is
/// missing or laps are too few.
pub fn of_lap_over_sheet(run: &RunToWeigh, sheet: &Sheet) -> Option<f64> {
    let needed = sheet.lap_length_m?.0 * MM / set_rollout_mm(&run.plan.settings)?;
    let least = match run.laps.source {
        Source::List => LEAST_LISTED,
        Source::Found => LEAST_FOUND,
        Source::None => return None,
    };
    let turns = |odometer: &Odometer| {
        let of_lap = |l: &Lap| odometer.turns_at(l.end_s) - odometer.turns_at(l.start_s);
        let each: Vec<f64> = run.laps.counted().map(of_lap).collect();
        median(each.iter().copied()).filter(|_| each.len() >= least)
    };
    let wheels = turns(run.laps.odometer.as_ref()?)?;
    // The car's own turns are those that the pack's energy allows: where they are far fewer, the energy is wrong.
    let car = run.laps.gripped.as_ref().and_then(turns).filter(|car| *car > MOSTLY_GRIPPED * wheels);
    Some(car.unwrap_or(wheels) / needed)
}

/// The run's speed in its faster parts by its revs, gearing and tyre, m/s but for a constant factor.
pub fn usual_speed(run: &RunToWeigh) -> Option<f64> {
    let rpm = run.log.channel(Channel::Rpm)?;
    let least = DRIVEN * highest(rpm)?;
    let fast = quantile(rpm.iter().copied().filter(|r| *r > least), FAST)?;
    Some(fast * set_rollout_mm(&run.plan.settings)?).filter(|speed| *speed > 0.0)
}

/// The factor that a ratio of laps to the sheet is near; `None` where it is near none.
pub fn factor_of_lap(ratio: f64) -> Option<f64> {
    factor_near(ratio / USUALLY_LONGER, NEAR)
}

/// The factor that a ratio of two runs' speeds is near.
pub fn factor_of_runs(ratio: f64) -> Option<f64> {
    factor_near(ratio, NEAR_OTHERS)
}

fn factor_near(ratio: f64, near: f64) -> Option<f64> {
    let off = |factor: &f64| (ratio / factor).ln().abs();
    FACTORS.into_iter().min_by(|a, b| off(a).total_cmp(&off(b))).filter(|factor| off(factor) < near)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(1.03, None)]
    #[case(1.15, None)]
    #[case(0.93, None)]
    #[case(0.515, Some(0.5))]
    #[case(0.49, Some(0.5))]
    #[case(2.1, Some(2.0))]
    #[case(0.345, Some(1.0 / 3.0))]
    #[case(4.1, Some(4.0))]
    #[case(0.81, None)]
    fn factors_of_poles(#[case] ratio: f64, #[case] expected: Option<f64>) {
        assert_eq!(factor_of_lap(ratio), expected);
    }
}
