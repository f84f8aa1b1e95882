//! What had the battery left?
//!
//! Charge = ∫ I dt, energy = ∫ V·I dt (trapezoid rule, straight across missing cells). Regenerated current counts against
//! what was used. Lowest voltage as read; a cell's is the pack's over the cells in series, so a weak cell does not show.
//! What a race would use: what was used so far and the counted laps' mean for the time that is left.
//!
//! Resistance: the drop of voltage for each ampere from row to row, R = −Σ ΔI·ΔV / Σ ΔI² over all neighbouring rows with a step of the
//! current. Differences take the open-circuit voltage and the slow polarisation out: over a row's time they hardly move. Regenerated
//! current counts like any other. Its doubt comes from blocks of the log (a jackknife; Quenouille 1956, Tukey 1958), since the errors of
//! neighbouring differences go together. Where the recorder holds a channel over several rows, just rows with a new value count. Where it averages
//! the current over a step, or takes it a row earlier or later than the volts, the two do not move together, or do so better with the volts of
//! another moment: then the resistance is `null` with the reason.

use schemars::JsonSchema;
use serde::Serialize;

use crate::laps::{Lap, Laps};
use crate::log::{Channel, Log};
use crate::quantity::{COVERAGE_95, Estimate};
use crate::statistics::coverage::coverage_factor;
use crate::statistics::integral::{integral_between, integral_until, running_integral};
use crate::statistics::jackknife::half_width_95;
use crate::statistics::mean::mean_and_deviation;
use crate::statistics::quantiles::median;

/// Share of the capacity that a race may use before the pack counts as short. Common practice, no source.
const SHORT: f64 = 0.8;
/// Rows farther apart than this see the slow polarisation as well as the ohmic drop, s.
const LONGEST_STEP_S: f64 = 0.25;
/// Steps of the current below this are mostly the recorder's own steps, A.
const LEAST_STEP_A: f64 = 2.0;
/// Steps that are needed at least, and blocks they are put into for their doubt.
const LEAST_STEPS: usize = 100;
const BLOCKS: usize = 20;
/// Share of the voltage's movement that the current must explain: below, they were not taken at the same moment.
const LEAST_EXPLAINED: f64 = 0.5;
/// Volts of another moment go with the amperes by so much better, as a share of their movement, where the two are not of one moment. A default.
const CLEARLY_BETTER: f64 = 0.03;
/// Share of a channel's changes that follow one in the row before: below, the recorder holds it over two rows or more. A default.
const SELDOM: f64 = 0.05;
/// Share of its usual voltage below which a pack is switched off. Common practice, no source.
const SWITCHED_OFF: f64 = 0.3;
/// Rows at the start of a log over which the pack's voltage at rest is taken.
const STARTING_ROWS: usize = 20;

/// Whether the pack lasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Verdict {
    /// Charge and voltage to spare.
    #[serde(rename = "plenty")]
    Plenty,
    /// Most of the charge would be gone.
    #[serde(rename = "short")]
    Short,
    /// A cell fell under its floor.
    #[serde(rename = "under its floor")]
    UnderFloor,
    /// The log does not tell.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Verdict {
    /// The verdict as the report says it.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Plenty => "plenty",
            Verdict::Short => "short",
            Verdict::UnderFloor => "under its floor",
            Verdict::CannotTell => "cannot tell",
        }
    }
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Battery {
    /// Ohmic resistance of the pack, mΩ.
    pub resistance_mohm: Option<Estimate>,
    /// Lowest pack voltage, V.
    pub lowest_v: Option<f64>,
    /// Lowest voltage of a cell on average, V.
    pub lowest_cell_v: Option<f64>,
    /// Floor of a cell, V.
    pub floor_cell_v: f64,
    /// Charge used, mAh.
    pub used_mah: Option<f64>,
    /// The same with its interval: what the current did between rows is open.
    pub used_range_mah: Option<Estimate>,
    /// Energy used, Wh.
    pub used_wh: Option<f64>,
    /// Charge of the middle one of the counted laps, mAh.
    pub mah_per_lap: Option<f64>,
    /// Charge used by the race's end, mAh.
    pub race_end_used_mah: Option<Estimate>,
    /// Whether the pack lasts.
    pub verdict: Verdict,
    /// Why a figure is missing.
    pub why: Option<String>,
}

fn judge(lowest_cell_v: Option<f64>, floor_cell_v: f64, used: Option<Estimate>, capacity_mah: Option<f64>) -> Verdict {
    match (lowest_cell_v, used, capacity_mah) {
        (Some(v), _, _) if v < floor_cell_v => Verdict::UnderFloor,
        (_, Some(used), Some(capacity)) if used.low > SHORT * capacity => Verdict::Short,
        (Some(_), Some(used), Some(capacity)) if used.high <= SHORT * capacity => Verdict::Plenty,
        _ => Verdict::CannotTell,
    }
}

/// Reads the battery's figures off the log.
pub fn measure(
    log: &Log,
    laps: &Laps,
    cells: Option<f64>,
    capacity_mah: Option<f64>,
    floor_cell_v: f64,
    race_length_s: f64,
) -> Battery {
    let voltage = log.channel(Channel::Voltage);
    // Volts near nothing are a recorder or a pack switched off, and no pack under load.
    let usual = voltage.and_then(|v| median(v.iter().copied())).unwrap_or(0.0);
    let lowest_v = voltage.and_then(|v| v.iter().copied().filter(|v| *v > SWITCHED_OFF * usual).min_by(f64::total_cmp));
    let charge = log.channel(Channel::Current).map(|current| running_integral(log.time(), current));
    let power = voltage
        .zip(log.channel(Channel::Current))
        .map(|(v, i)| v.iter().zip(i).map(|(v, i)| v * i).collect::<Vec<_>>());
    let mah_per_lap = charge
        .as_ref()
        .and_then(|c| median(laps.counted().map(|l| integral_between(c, log.time(), l.start_s, l.end_s) / 3.6)));
    let cells_fit = cells.zip(voltage).is_none_or(|(n, v)| cells_fit(v, n));
    let lowest_cell_v = lowest_v.zip(cells).filter(|_| cells_fit).map(|(v, n)| v / n);
    let unseen = log.channel(Channel::Current).map_or(0.0, |i| between_rows(log.time(), i));
    let race_end_used_mah = charge.as_ref().and_then(|c| at_race_end(c, log.time(), laps, race_length_s, unseen));
    let verdict = judge(lowest_cell_v, floor_cell_v, race_end_used_mah, capacity_mah);
    let resistance_mohm = voltage.zip(log.channel(Channel::Current)).and_then(|(v, i)| resistance(log.time(), v, i));
    let mut why: Vec<String> = Vec::new();
    for (gone, what) in [
        (voltage.is_none(), "the log has no voltage"),
        (
            resistance_mohm.is_none() && voltage.is_some() && charge.is_some(),
            "voltage and current do not move together well enough to tell the resistance",
        ),
        (charge.is_none(), "the log has no current"),
        (
            race_end_used_mah.zip(capacity_mah).is_some_and(|(u, c)| u.low <= SHORT * c && u.high > SHORT * c),
            "what a race would use may be less or more than the pack should give",
        ),
        (!cells_fit, "the voltage at the start does not fit the cells in series on the sheet"),
        (cells.is_none(), "the sheet lacks the cells in series"),
        (capacity_mah.is_none(), "the sheet lacks the pack's capacity"),
        (charge.is_some() && race_end_used_mah.is_none(), "too few laps count for a forecast"),
    ] {
        if gone {
            why.push(what.to_owned());
        }
    }
    Battery {
        resistance_mohm,
        lowest_v,
        lowest_cell_v,
        floor_cell_v,
        used_mah: charge.as_ref().and_then(|c| c.last()).map(|s| s / 3.6),
        used_range_mah: charge.as_ref().and_then(|c| Some(Estimate::from_standard(c.last()? / 3.6, unseen / 3.6))),
        used_wh: power.map(|p| running_integral(log.time(), &p)).and_then(|e| e.last().map(|j| j / 3600.0)),
        mah_per_lap,
        race_end_used_mah,
        verdict,
        why: (!why.is_empty()).then(|| why.join("; ")),
    }
}

/// Rows at which the slower of volts and amperes is new: all of them, but for recorders that hold a channel over several rows.
fn fresh_rows(voltage: &[f64], current: &[f64]) -> Vec<usize> {
    // A channel that is held never changes in two rows running; one in coarse steps does.
    let held = |values: &[f64]| {
        let changes: Vec<bool> = values.windows(2).map(|w| w[0] != w[1]).collect();
        let all = changes.iter().filter(|c| **c).count();
        let running = changes.windows(2).filter(|w| w[0] && w[1]).count();
        all > LEAST_STEPS && (running as f64) < SELDOM * all as f64
    };
    match [current, voltage].into_iter().find(|values| held(values)) {
        Some(slower) => (1..slower.len()).filter(|&n| slower[n] != slower[n - 1]).collect(),
        None => (0..current.len()).collect(),
    }
}

/// Volts of other moments than a row's: of the row before, of the one after, and the mean over the step before.
fn volts_beside(voltage: &[f64]) -> [Vec<f64>; 3] {
    let last = voltage.len() - 1;
    let before: Vec<f64> = (0..=last).map(|n| voltage[n.saturating_sub(1)]).collect();
    let after = (0..=last).map(|n| voltage[(n + 1).min(last)]).collect();
    let mean = voltage.iter().zip(&before).map(|(a, b)| (a + b) / 2.0).collect();
    [before, after, mean]
}

/// Ohmic resistance of the pack, mΩ, from neighbouring rows; `None` where steps are too few or tell different things.
fn resistance(time: &[f64], voltage: &[f64], current: &[f64]) -> Option<Estimate> {
    let rows = fresh_rows(voltage, current);
    let step = |w: &[usize]| time[w[1]] - time[w[0]];
    let usual = median(rows.windows(2).map(step)).filter(|s| *s <= LONGEST_STEP_S)?;
    let pairs_with = |volts: &[f64]| -> Vec<(f64, f64)> {
        rows.windows(2)
            .filter(|w| step(w) < 1.5 * usual)
            .map(|w| (current[w[1]] - current[w[0]], volts[w[1]] - volts[w[0]]))
            .filter(|(i, v)| i.is_finite() && v.is_finite() && i.abs() >= LEAST_STEP_A)
            .collect()
    };
    let explained = |pairs: &[(f64, f64)]| {
        let (iv, ii, vv) = pairs.iter().fold((0.0, 0.0, 0.0), |(a, b, c), (i, v)| (a + i * v, b + i * i, c + v * v));
        iv * iv / ii / vv
    };
    let pairs = pairs_with(voltage);
    // Amperes that go clearly better with another moment's volts are a mean over the step, or late.
    let beside = volts_beside(voltage).iter().map(|volts| explained(&pairs_with(volts))).fold(0.0, f64::max);
    if beside > explained(&pairs) + CLEARLY_BETTER {
        return None;
    }
    if pairs.len() < LEAST_STEPS {
        return None;
    }
    let sums = |block: &[(f64, f64)]| block.iter().fold((0.0, 0.0), |(iv, ii), (i, v)| (iv - i * v, ii + i * i));
    let blocks: Vec<(f64, f64)> = pairs.chunks(pairs.len().div_ceil(BLOCKS)).map(sums).collect();
    let (iv, ii) = blocks.iter().fold((0.0, 0.0), |(a, b), (c, d)| (a + c, b + d));
    let without: Vec<f64> = blocks.iter().map(|(c, d)| (iv - c) / (ii - d)).collect();
    let estimate = Estimate::from_half_width(1000.0 * iv / ii, 1000.0 * half_width_95(&without));
    (estimate.low > 0.0 && explained(&pairs) > LEAST_EXPLAINED).then_some(estimate)
}

/// Whether a pack of `cells` in series can start a run with these volts: lithium cells between empty and overfull (makers'
/// tables: 3.0 to 4.35 V).
fn cells_fit(voltage: &[f64], cells: f64) -> bool {
    let start = median(voltage.iter().copied().filter(|v| v.is_finite()).take(STARTING_ROWS));
    start.is_none_or(|v| (3.0..4.5).contains(&(v / cells)))
}

/// Standard uncertainty of a current's integral for what its rows do not show, A·s. Where it jumps from one row to the next, the moment of the jump may lie
/// anywhere between them, evenly, so that each step is open by its height times its time over √12. Where it stands still, the recorder's step may hide as much of it
/// all the time.
fn between_rows(time: &[f64], current: &[f64]) -> f64 {
    let step = |(t, i): (&[f64], &[f64])| ((i[1] - i[0]) * (t[1] - t[0])).powi(2) / 12.0;
    let steps = time.windows(2).zip(current.windows(2)).map(step).filter(|v| v.is_finite());
    let changes = || current.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| d.is_finite());
    let quantum = changes().filter(|d| *d > 1e-6).min_by(f64::total_cmp).unwrap_or(0.0);
    let still = changes().filter(|d| *d < 1e-6).count() as f64 / current.len().max(1) as f64;
    let hidden = quantum / 12f64.sqrt() * still * time.last().copied().unwrap_or(0.0);
    steps.sum::<f64>().sqrt().hypot(hidden)
}

/// Charge until the race's end, mAh: read off where the log lasts as long, else carried on at the counted laps' mean.
/// `unseen` is the standard uncertainty of the whole log's charge for what its rows do not show, A·s.
fn at_race_end(charge: &[f64], time: &[f64], laps: &Laps, race_length_s: f64, unseen: f64) -> Option<Estimate> {
    let used_until = |t: f64| integral_until(charge, time, t);
    let first = laps.first_passing?;
    let end = first.value + race_length_s;
    let unseen = COVERAGE_95 * unseen;
    let stopped = super::heat::stopped(laps, race_length_s);
    if end <= time.last()?.min(super::heat::driven_to(laps)) && !stopped {
        // Read off; what is open is where the race begins on the log, and what the rows do not show.
        let used = |from: f64| used_until(from + race_length_s);
        let each = [used(first.low), used(first.value), used(first.high)];
        let far = each.iter().map(|u| (u - each[1]).abs()).fold(0.0, f64::max);
        return Some(Estimate::from_half_width(each[1] / 3.6, far.hypot(unseen) / 3.6));
    }
    let counted: Vec<&Lap> = laps.counted().collect();
    if counted.len() < 3 {
        return None;
    }
    let rates: Vec<f64> =
        counted.iter().map(|l| integral_between(charge, time, l.start_s, l.end_s) / l.time_s()).collect();
    let n = rates.len() as f64;
    let (mean, deviation) = mean_and_deviation(&rates)?;
    let ends = laps.rows.iter().filter(|l| l.end_s <= time[time.len() - 1]).map(|l| l.end_s);
    // After a stop the laps alone count: a race without one takes their mean all the time.
    let last = if stopped { first.value } else { ends.fold(0.0, f64::max) };
    let left = end - last;
    let lap = laps.median_s()?;
    // The mean's own doubt goes with the time, the laps' scatter with its square root.
    let doubt = deviation * (left * left / n + left * lap).sqrt();
    let half = (coverage_factor(n - 1.0, 0.95) * doubt).hypot(unseen);
    Some(Estimate::from_half_width((used_until(last) + mean * left) / 3.6, half / 3.6))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn charge_of_a_triangle_by_hand() {
        // 0 to 36 A and back in 200 s: 3600 C, which is 1000 mAh; the missing cell is bridged.
        let time = [0.0, 50.0, 100.0, 150.0, 200.0];
        let current = [0.0, f64::NAN, 36.0, 18.0, 0.0];
        assert_eq!(running_integral(&time, &current).last().map(|s| s / 3.6), Some(1000.0));
    }

    /// Amperes that jump as a driver's do, finely sampled: a pack of 8.6 mΩ shows 8.4 V less what they pull down.
    fn driven() -> Vec<f64> {
        let noise = |n: u32| f64::from(n.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24);
        (0..30_000).map(|n| 60.0 * noise(n / 7) * (0.8 + 0.2 * noise(n / 3))).collect()
    }

    fn pack(amperes: &[f64]) -> Vec<f64> {
        amperes.iter().map(|i| 8.4 - 0.008_6 * i).collect()
    }

    #[test]
    fn a_channel_that_is_held_over_rows_does_not_halve_the_resistance() {
        let amperes = driven();
        let rows: Vec<usize> = (0..6000).map(|n| 5 * n).collect();
        let time: Vec<f64> = (0..rows.len()).map(|n| n as f64 * 0.05).collect();
        let volts = pack(&rows.iter().map(|&r| amperes[r]).collect::<Vec<_>>());
        let held = |every: usize| (0..rows.len()).map(|n| amperes[rows[n - n % every]]).collect::<Vec<_>>();
        for every in [1, 2, 4] {
            let found = resistance(&time, &volts, &held(every)).unwrap();
            assert!((found.value - 8.6).abs() < 0.05, "{every}: {found:?}");
        }
    }

    #[test]
    fn a_current_that_is_a_mean_over_the_step_or_late_tells_no_resistance() {
        let amperes = driven();
        let time: Vec<f64> = (0..6000).map(|n| f64::from(n) * 0.05).collect();
        let volts: Vec<f64> = pack(&amperes).into_iter().step_by(5).collect();
        let mean: Vec<f64> = (0..6000usize)
            .map(|n| amperes[(5 * n).saturating_sub(4)..=5 * n].iter().sum::<f64>() / if n == 0 { 1.0 } else { 5.0 })
            .collect();
        let late: Vec<f64> = (0..6000usize).map(|n| amperes[(5 * n).saturating_sub(5)]).collect();
        assert_eq!((resistance(&time, &volts, &mean), resistance(&time, &volts, &late)), (None, None));
    }
}
