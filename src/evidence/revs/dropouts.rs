//! Revs that fall to nothing for some rows in the midst of driving.
//!
//! A brake can lock the wheels, and the motor stands with them; but then no current drives it. Revs that are gone
//! within a row or two and back as quickly, while the pack gives a driving current (or the throttle is open) from the
//! last row before to the first after, are a sensor that lost them.

use crate::evidence::swings::highest;
use crate::statistics::quantiles::quantile;

/// Share of the highest revs below which they are gone, and above which the car drives on either side. Common practice,
/// no source.
const GONE: f64 = 0.03;
const DRIVING: f64 = 0.20;
/// Share of the highest current or throttle that drives the car. Common practice, no source.
const UNDER_POWER: f64 = 0.15;
/// Quantile of current or throttle that stands for the car at rest or rolling.
const IDLE: f64 = 0.10;
/// A row in between may be on the way down or up.
const ON_THE_WAY: usize = 1;
/// Longest that revs may be gone, s: longer is not a dropout but a stop. Common practice, no source: half a lap.
const LONGEST_S: f64 = 12.0;
/// For so long the driver keeps the throttle open, s; over a longer time for this share of it at least. Common
/// practice, no source.
const BRIEF_S: f64 = 0.3;
const LEAST_POWERED: f64 = 0.3;
/// Fewest times that count: one may be anything.
const LEAST_TIMES: usize = 2;

/// What was lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lost {
    /// How many times.
    pub times: usize,
    /// Share of the rows under power.
    pub share: f64,
}

/// Whether the revs are gone often enough, under power or not, for them to be looked into.
pub fn may_be_lost(time: &[f64], rpm: &[f64]) -> bool {
    gaps(time, rpm).len() >= LEAST_TIMES
}

/// Looks for dropouts in the revs; `demand` is the current or the throttle.
pub fn lost(time: &[f64], rpm: &[f64], demand: &[f64]) -> Option<Lost> {
    // A current whose zero is off flows at rest, too.
    let idle = quantile(demand.iter().copied(), IDLE)?.max(0.0);
    let least = idle + UNDER_POWER * (highest(demand)? - idle);
    let powered = |n: usize| demand[n] > least;
    // A current that is late by a row, or a mean, still flows in the first row of a locked wheel, but not in the rows
    // after it. Over a longer time the driver lifts and brakes as well.
    let is_under_power = |gap: &Gap| {
        let rows = gap.first..=gap.back;
        let powered = rows.clone().filter(|&n| powered(n) || rpm[n].is_nan()).count() as f64;
        let least = if time[gap.back] - time[gap.first] > BRIEF_S { LEAST_POWERED } else { 1.0 };
        powered >= least * rows.count() as f64
    };
    let under_power: Vec<Gap> = gaps(time, rpm).into_iter().filter(is_under_power).collect();
    let lost: usize = under_power.iter().map(|gap| gap.rows).sum();
    let driven = (0..rpm.len()).filter(|&n| rpm[n].is_finite() && powered(n)).count().max(1);
    let share = lost as f64 / driven as f64;
    (under_power.len() >= LEAST_TIMES).then_some(Lost { times: under_power.len(), share })
}

/// The revs without all rows in which they are gone between rows in which the car drives, under power or not.
pub fn mended(time: &[f64], rpm: &[f64]) -> Vec<f64> {
    let mut mended = rpm.to_vec();
    for gap in gaps(time, rpm) {
        // A row on the way down or up is as wrong.
        mended[gap.last_before + 1..gap.back].fill(f64::NAN);
    }
    mended
}

/// Rows in which the revs are gone, between rows in which the car drives.
struct Gap {
    /// The last row in which the car drives.
    last_before: usize,
    /// The first row in which the revs are gone.
    first: usize,
    /// The first row in which they are there again.
    back: usize,
    /// Rows in which they are gone.
    rows: usize,
}

fn gaps(time: &[f64], rpm: &[f64]) -> Vec<Gap> {
    let Some(top) = highest(rpm) else { return Vec::new() };
    let is_gone = |n: usize| rpm[n] < GONE * top;
    let rows: Vec<usize> = (0..rpm.len()).filter(|&n| rpm[n].is_finite()).collect();
    let mut found = Vec::new();
    let mut at = 0;
    while at < rows.len() {
        if !is_gone(rows[at]) {
            at += 1;
            continue;
        }
        let first = at;
        while at < rows.len() && is_gone(rows[at]) {
            at += 1;
        }
        let drives = |place: usize| rows.get(place).is_some_and(|&n| rpm[n] > DRIVING * top);
        let before = (1..=1 + ON_THE_WAY).filter(|back| first >= *back).map(|back| first - back).find(|p| drives(*p));
        let after = (0..=ON_THE_WAY).map(|on| at + on).find(|p| drives(*p));
        let short = time[rows[at - 1]] - time[rows[first]] <= LONGEST_S;
        if let Some((before, after)) = before.zip(after).filter(|_| short) {
            found.push(Gap { last_before: rows[before], first: rows[first], back: rows[after], rows: at - first });
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lost_rows_under_power_count_and_locked_wheels_and_stops_do_not() {
        let time: Vec<f64> = (0..1000).map(|n| f64::from(n) * 0.05).collect();
        let mut rpm = vec![20_000.0; 1000];
        let mut amps: Vec<f64> = (0..1000).map(|n| if n % 5 == 4 { 0.0 } else { 50.0 }).collect();
        let driven = amps.clone();
        for n in [100, 305, 306, 307, 700] {
            rpm[n] = 0.0;
        }
        let found = lost(&time, &rpm, &amps).unwrap();
        assert!(found.times == 3 && (found.share - 5.0 / 800.0).abs() < 1e-9, "{found:?}");
        // The same without a current: locked wheels.
        for n in [100, 305, 306, 307, 308, 700] {
            amps[n] = 0.0;
        }
        assert_eq!(lost(&time, &rpm, &amps), None);
        // A car that is held fast with the motor on comes off slowly.
        let mut held = vec![20_000.0; 1000];
        for n in 0..3 {
            (0..40).for_each(|k| held[200 * n + 100 + k] = if k < 20 { 0.0 } else { f64::from(k as u32 - 20) * 150.0 });
        }
        assert_eq!(lost(&time, &held, &driven), None);
    }
}
