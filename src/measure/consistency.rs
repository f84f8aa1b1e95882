//! How even were the laps, and did the pace hold?
//!
//! Scatter: 1.4826 × the median absolute deviation of the counted laps. Its logarithm has a standard error of 1.17 / √n
//! for normal values (the estimator's efficiency of 37 %; Rousseeuw and Croux 1993, J. Am. Stat. Assoc. 88, 1273). Pace
//! over the run: Theil and Sen's slope of the lap times with the interval of the exact test
//! ([`crate::statistics::theil_sen`]), wider where neighbouring laps are alike ([`crate::statistics::neighbours`]).
//! Where the pace fades, the readings that got worse with it are named: the pack's voltage, the motor's temperature,
//! the time that the wheels spun. That is what happened together, not a cause: a pack's voltage falls in every run.
//!
//! Wrong where a driver is fast and slow for long stretches by turns: the interval of the pace is then too narrow.

use schemars::JsonSchema;
use serde::Serialize;

use super::context::RunContext;
use super::wheelspin::Wheelspin;
use crate::evidence::Subject;
use crate::laps::Lap;
use crate::log::Channel;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::neighbours::{TakenOut, widening};
use crate::statistics::quantiles::{median, robust_deviation};
use crate::statistics::theil_sen;

/// Fewest counted laps that say how even a run was. Common practice, no source.
const LEAST_LAPS: usize = 5;
/// Distance from the median within which a lap is close to it, as a share. Common practice, no source.
const CLOSE: f64 = 0.01;
/// A lap is clean where it counts and is slower than the median by no more than this share. Common practice, no source.
const CLEAN: f64 = 0.02;
/// Standard error of the logarithm of the robust deviation of n normal values, times √n.
const DEVIATION_U: f64 = 1.17;
/// Most points of a slope: of more laps, neighbours are taken together.
const MOST_POINTS: usize = 150;
/// Fall of the usual voltage (V) and rise of the motor's temperature (°C) and of the time spun in a lap (s) over a run
/// that are worth naming. Common practice, no source.
const LEAST_FALL_V: f64 = 0.05;
const LEAST_RISE_C: f64 = 3.0;
const LEAST_MORE_SPIN_S: f64 = 0.05;

/// How even a run's laps were.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Consistency {
    /// Laps that count.
    pub laps: usize,
    /// How far they scatter, s: a robust standard deviation.
    pub scatter_s: Estimate,
    /// How many are within one per cent of the median lap.
    pub within_1_percent: usize,
    /// The longest stretch of clean laps: they count and are no more than two per cent slower than the median.
    pub longest_clean: usize,
    /// Change of the lap time from lap to lap, s; `null` where so few laps have no interval.
    pub pace_s_a_lap: Option<Estimate>,
    /// What the pace did.
    pub pace: Pace,
    /// What got worse over the run while the pace faded; empty where it did not fade, or where the log sees nothing.
    pub faded_with: Vec<FadedWith>,
}

/// What the pace did over a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Pace {
    /// The laps got slower.
    Fading,
    /// They got faster.
    Improving,
    /// Neither shows.
    #[serde(rename = "no clear change")]
    NoClearChange,
}

/// A reading that got worse while the pace faded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct FadedWith {
    /// The reading.
    pub of: Reading,
    /// How much it changed from the first counted lap to the last, in its unit: V, °C, s a lap.
    pub change: Estimate,
}

/// What a log may show getting worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reading {
    /// The pack's mean voltage over a lap, V.
    Voltage,
    /// The motor's temperature, °C.
    MotorTemperature,
    /// Time that the wheels spun in a lap, s.
    Wheelspin,
}

/// How even the laps of a run were; `None` with fewer than five that count.
pub fn measure(run: &RunContext, wheelspin: &Wheelspin) -> Option<Consistency> {
    let counted: Vec<&Lap> = run.laps.counted().collect();
    let times: Vec<f64> = counted.iter().map(|lap| lap.time_s()).collect();
    let middle = median(times.iter().copied()).filter(|_| times.len() >= LEAST_LAPS)?;
    let scatter = robust_deviation(&times)?;
    let factor = (COVERAGE_95 * DEVIATION_U / (times.len() as f64).sqrt()).exp();
    let pace_s_a_lap = trend(&counted, |lap| Some(lap.time_s()));
    let pace = match pace_s_a_lap {
        Some(slope) if slope.low > 0.0 => Pace::Fading,
        Some(slope) if slope.high < 0.0 => Pace::Improving,
        _ => Pace::NoClearChange,
    };
    let faded_with = if pace == Pace::Fading { faded_with(run, wheelspin, &counted) } else { Vec::new() };
    Some(Consistency {
        laps: times.len(),
        scatter_s: Estimate { value: scatter, low: scatter / factor, high: scatter * factor },
        within_1_percent: times.iter().filter(|time| (*time / middle - 1.0).abs() <= CLOSE).count(),
        longest_clean: longest_clean(&run.laps.rows, middle),
        pace_s_a_lap,
        pace,
        faded_with,
    })
}

/// Slope of a reading over the numbers of the laps, with its interval.
fn trend(laps: &[&Lap], reading: impl Fn(&Lap) -> Option<f64>) -> Option<Estimate> {
    let every: Vec<(f64, f64)> = laps.iter().filter_map(|lap| Some((f64::from(lap.number), reading(lap)?))).collect();
    let together = every.len().div_ceil(MOST_POINTS).max(1);
    let middle =
        |points: &[(f64, f64)]| Some((median(points.iter().map(|p| p.0))?, median(points.iter().map(|p| p.1))?));
    let points: Vec<(f64, f64)> = every.chunks(together).filter_map(middle).collect();
    let slope = theil_sen::slope(&points, 0.95)?;
    let (low, high) = slope.interval?;
    let value = slope.per_step;
    let level = median(points.iter().map(|(x, y)| y - value * x))?;
    let left: Vec<f64> = points.iter().map(|(x, y)| y - level - value * x).collect();
    let wider = widening(&left, TakenOut::Line);
    Some(Estimate { value, low: value - wider * (value - low), high: value + wider * (high - value) })
}

/// The longest stretch of laps one after the other that are clean.
fn longest_clean(laps: &[Lap], median_s: f64) -> usize {
    let is_clean = |lap: &Lap| lap.set_aside.is_none() && lap.time_s() <= (1.0 + CLEAN) * median_s;
    let (mut longest, mut now) = (0, 0);
    for lap in laps {
        now = if is_clean(lap) { now + 1 } else { 0 };
        longest = longest.max(now);
    }
    longest
}

/// What got worse over the run, where the log shows it.
fn faded_with(run: &RunContext, wheelspin: &Wheelspin, laps: &[&Lap]) -> Vec<FadedWith> {
    let mean_over = |channel: Channel, lap: &Lap| {
        let values = run.log.channel(channel).filter(|_| run.refusal(&[Subject::Channel(channel)]).is_none())?;
        let time = run.log.time();
        let rows = time.partition_point(|t| *t < lap.start_s)..time.partition_point(|t| *t < lap.end_s);
        let finite: Vec<f64> = values[rows].iter().copied().filter(|v| v.is_finite()).collect();
        (!finite.is_empty()).then(|| finite.iter().sum::<f64>() / finite.len() as f64)
    };
    let spun = |lap: &Lap| {
        let seconds = wheelspin.by_lap.iter().find(|spun| spun.lap == lap.number).map_or(0.0, |spun| spun.seconds);
        wheelspin.can_tell.then_some(seconds)
    };
    let long = f64::from(laps.last().map_or(0, |lap| lap.number) - laps.first().map_or(0, |lap| lap.number));
    let change = |slope: Option<Estimate>| slope.map(|slope| slope.scaled(long));
    let voltage = change(trend(laps, |lap| mean_over(Channel::Voltage, lap)));
    let warmth = change(trend(laps, |lap| mean_over(Channel::MotorTemperature, lap)));
    let spin = change(trend(laps, spun));
    [
        (Reading::Voltage, voltage.filter(|v| v.high < 0.0 && v.value < -LEAST_FALL_V)),
        (Reading::MotorTemperature, warmth.filter(|c| c.low > 0.0 && c.value > LEAST_RISE_C)),
        (Reading::Wheelspin, spin.filter(|s| s.low > 0.0 && s.value > LEAST_MORE_SPIN_S)),
    ]
    .into_iter()
    .filter_map(|(of, change)| Some(FadedWith { of, change: change? }))
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laps::SetAside;

    fn lap(number: u32, seconds: f64, set_aside: Option<SetAside>) -> Lap {
        let start_s = 20.0 * f64::from(number);
        Lap { number, start_s, end_s: start_s + seconds, turns: 1000.0, clock_scale: 1.0, set_aside }
    }

    #[test]
    fn a_slow_lap_and_one_set_aside_end_a_clean_stretch() {
        let laps = [
            lap(1, 15.0, None),
            lap(2, 15.1, None),
            lap(3, 15.4, None),
            lap(4, 15.0, None),
            lap(5, 15.0, None),
            lap(6, 14.9, None),
            lap(7, 22.0, Some(SetAside::Far)),
            lap(8, 15.0, None),
        ];
        // Lap 3 is 2.7 % slower than 15.0 s.
        assert_eq!(longest_clean(&laps, 15.0), 3);
    }

    #[test]
    fn a_pace_that_fades_by_hand() {
        let laps: Vec<Lap> = (1..=6).map(|n| lap(n, 15.0 + 0.1 * f64::from(n), None)).collect();
        let slope = trend(&laps.iter().collect::<Vec<_>>(), |lap| Some(lap.time_s())).unwrap();
        assert!((slope.value - 0.1).abs() < 1e-9 && slope.low > 0.0, "{slope:?}");
    }
}
