//! What had the battery left?
//!
//! Charge = ∫ I dt, energy = ∫ V·I dt (trapezoid rule, in a straight line across missing cells). Regenerated current
//! counts against what was used. The lowest voltage is as read; a cell's is the pack's over the cells in series, so
//! that a weak cell does not show. What a race would use: what was used so far, and the mean of the laps that count for
//! the time that is left. The resistance of the pack: [`super::resistance`].
//!
//! Wrong where the recorder takes the current so seldom that it misses peaks: the interval says how far. A recorder
//! that shows all currents too high or too low by some share is not seen.

use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::context::RunContext;
use super::resistance::resistance_mohm;
use crate::evidence::{self, Subject};
use crate::laps::Lap;
use crate::log::Channel;
use crate::quantity::{COVERAGE_95, Estimate, Uncertain};
use crate::reason::Reasons;
use crate::recorder::{CurrentTaking, rows_with_a_reading};
use crate::sheet::DEFAULT_CELL_V;
use crate::statistics::coverage::coverage_factor;
use crate::statistics::integral::{integral_between, integral_until, running_integral};
use crate::statistics::mean::mean_and_deviation;
use crate::statistics::quantiles::median;

/// Share of the capacity that a race may use before the pack counts as short. Common practice, no source.
const SHORT: f64 = 0.8;
/// Share of its usual voltage below which a pack is switched off. Common practice, no source.
const SWITCHED_OFF: f64 = 0.3;
/// Rows at the start of a log over which the pack's voltage at rest is taken.
const STARTING_ROWS: usize = 20;
/// Voltage of a lithium cell at the start of a run, V: between empty and overfull (makers' tables: 3.0 to 4.35 V).
const STARTING_CELL_V: std::ops::Range<f64> = 3.0..4.5;
/// Fewest laps that a forecast needs.
const LEAST_LAPS: usize = 3;
/// Relative standard uncertainty of a charge for rows that fall in step with the controller's own cycle, so that they
/// show each cycle at the same place. Common practice, no source.
const IN_STEP_U: f64 = 0.005;
/// Changes of the current below this are none, A.
const NO_CHANGE_A: f64 = 1e-6;
/// Ampere-seconds of a milliampere-hour.
const A_S_PER_MAH: f64 = 3.6;
/// Joules of a watt-hour.
const J_PER_WH: f64 = 3600.0;

/// Whether the pack lasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum BatteryVerdict {
    /// Charge and voltage to spare.
    #[serde(rename = "plenty")]
    Plenty,
    /// Most of the charge would be gone.
    #[serde(rename = "short")]
    Short,
    /// A cell fell below its lowest allowed voltage.
    #[serde(rename = "under its floor")]
    UnderFloor,
    /// The log does not tell.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// Why a figure of the battery is missing.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The log has no voltage.
    NoVoltage,
    /// Voltage and current do not go together.
    NoResistance,
    /// The log has no current.
    NoCurrent,
    /// The interval of what a race would use holds the limit.
    MayBeShort,
    /// The voltage at the start is not that of the cells in series.
    CellsDoNotFit,
    /// The sheet lacks the cells in series.
    NoCells,
    /// The sheet lacks the capacity.
    NoCapacity,
    /// Too few laps count for a forecast.
    TooFewLaps,
    /// Something that it needs cannot be true.
    Unusable(evidence::Why),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoVoltage => "the log has no voltage",
            Self::NoResistance => "voltage and current do not move together well enough to tell the resistance",
            Self::NoCurrent => "the log has no current",
            Self::MayBeShort => "a race may use more than the pack should give, or less",
            Self::CellsDoNotFit => "the voltage at the start does not fit the number of cells on the sheet",
            Self::NoCells => "enter the number of cells in series on the sheet",
            Self::NoCapacity => "enter the capacity of the pack on the sheet",
            Self::TooFewLaps => "too few laps count for a forecast",
            Self::Unusable(why) => return why.fmt(f),
        })
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
    /// Lowest voltage that a cell may have, V.
    pub floor_cell_v: f64,
    /// Charge used, mAh.
    pub used_mah: Option<f64>,
    /// The same with its interval: what the current did between rows is uncertain.
    pub used_range_mah: Option<Estimate>,
    /// Energy used, Wh.
    pub used_wh: Option<f64>,
    /// Charge of a lap, the median over those that count, mAh.
    pub mah_per_lap: Option<f64>,
    /// Charge used by the end of the race, mAh.
    pub race_end_used_mah: Option<Estimate>,
    /// Whether the pack lasts.
    pub verdict: BatteryVerdict,
    /// Why a figure is missing.
    pub why: Option<Reasons<Why>>,
}

/// The charge of a run.
struct Charge<'a> {
    time: &'a [f64],
    /// What was used until each row, A·s.
    used: Vec<f64>,
    /// Standard uncertainty of all of it for what the rows do not show, A·s.
    unseen: f64,
}

/// Measures what the battery gave in a run.
pub fn measure(run: &RunContext) -> Battery {
    let time = run.log.time();
    let (voltage, current) = (run.log.channel(Channel::Voltage), run.log.channel(Channel::Current));
    let (cells, capacity_mah) = (run.settings.number("battery.cells"), run.settings.number("battery.capacity_mah"));
    let floor_cell_v = run.settings.number("limits.cell_v").unwrap_or(DEFAULT_CELL_V);
    let cells_fit = cells.zip(voltage).is_none_or(|(n, v)| cells_fit(v, n));
    let lowest_v = voltage.and_then(lowest_under_load);
    let lowest_cell_v = lowest_v.zip(cells).filter(|_| cells_fit).map(|(v, n)| v / n);
    let pack = voltage.zip(current);
    // Rows in which a recorder only holds its current tell nothing new.
    let readings = current.map_or_else(Vec::new, |i| rows_with_a_reading(voltage.unwrap_or(i), i));
    let charge = current.map(|current| Charge::new(time, current, &readings));
    let used_mah = charge.as_ref().and_then(Charge::whole_mah);
    let watts = pack.map(|(v, i)| v.iter().zip(i).map(|(v, i)| v * i).collect::<Vec<_>>());
    let race_end_used_mah = charge.as_ref().and_then(|c| c.at_race_end(run));
    let resistance_mohm = pack.and_then(|(v, i)| {
        let taking = CurrentTaking::of_readings(time, v, i, readings.clone());
        resistance_mohm(time, v, i, &readings, taking.map_or(0.0, |taking| taking.late_s.value))
    });
    let may_be_short = race_end_used_mah.zip(capacity_mah).is_some_and(|(u, c)| (u.low..u.high).contains(&(SHORT * c)));
    // What cannot be true is named in place of what seems to be missing.
    let named = |subject: Subject, missing: Why| run.refusal(&[subject]).map_or(missing, Why::Unusable);
    let missing = [
        (voltage.is_none(), named(Subject::Channel(Channel::Voltage), Why::NoVoltage)),
        (resistance_mohm.is_none() && pack.is_some(), Why::NoResistance),
        (current.is_none(), named(Subject::Channel(Channel::Current), Why::NoCurrent)),
        (may_be_short, Why::MayBeShort),
        (!cells_fit, Why::CellsDoNotFit),
        (cells.is_none(), named(Subject::Setting("battery.cells"), Why::NoCells)),
        (capacity_mah.is_none(), named(Subject::Setting("battery.capacity_mah"), Why::NoCapacity)),
        (charge.is_some() && race_end_used_mah.is_none(), Why::TooFewLaps),
    ];
    Battery {
        resistance_mohm,
        lowest_v,
        lowest_cell_v,
        floor_cell_v,
        used_mah: used_mah.map(|used| used.value),
        used_range_mah: used_mah.map(Estimate::from),
        used_wh: watts.and_then(|watts| running_integral(time, &watts).last().map(|joules| joules / J_PER_WH)),
        mah_per_lap: charge.as_ref().and_then(|c| median(run.laps.counted().map(|l| c.of_lap(l) / A_S_PER_MAH))),
        race_end_used_mah,
        verdict: judge(lowest_cell_v, floor_cell_v, race_end_used_mah, capacity_mah),
        why: Reasons::new(missing.into_iter().filter_map(|(is_missing, why)| is_missing.then_some(why)).collect()),
    }
}

/// The verdict from the lowest voltage of a cell, the charge that a race would use, and the capacity.
fn judge(
    lowest_cell_v: Option<f64>,
    floor_cell_v: f64,
    used: Option<Estimate>,
    capacity_mah: Option<f64>,
) -> BatteryVerdict {
    match (lowest_cell_v, used, capacity_mah) {
        (Some(v), _, _) if v < floor_cell_v => BatteryVerdict::UnderFloor,
        (_, Some(used), Some(capacity)) if used.low > SHORT * capacity => BatteryVerdict::Short,
        (Some(_), Some(used), Some(capacity)) if used.high <= SHORT * capacity => BatteryVerdict::Plenty,
        _ => BatteryVerdict::CannotTell,
    }
}

/// Lowest voltage of a pack that is switched on, V.
fn lowest_under_load(voltage: &[f64]) -> Option<f64> {
    let usual = median(voltage.iter().copied()).unwrap_or(0.0);
    voltage.iter().copied().filter(|v| *v > SWITCHED_OFF * usual).min_by(f64::total_cmp)
}

/// Whether a pack of `cells` in series can start a run with this voltage.
fn cells_fit(voltage: &[f64], cells: f64) -> bool {
    let start = median(voltage.iter().copied().filter(|v| v.is_finite()).take(STARTING_ROWS));
    start.is_none_or(|v| STARTING_CELL_V.contains(&(v / cells)))
}

impl<'a> Charge<'a> {
    fn new(time: &'a [f64], current: &[f64], readings: &[usize]) -> Self {
        let used = running_integral(time, current);
        let in_step = IN_STEP_U * used.last().copied().unwrap_or(0.0);
        Self { time, used, unseen: between_readings(time, current, readings).hypot(in_step) }
    }

    /// Charge of the whole log, mAh.
    fn whole_mah(&self) -> Option<Uncertain> {
        Some(Uncertain::new(self.used.last()? / A_S_PER_MAH, self.unseen / A_S_PER_MAH))
    }

    /// Charge of a lap, A·s.
    fn of_lap(&self, lap: &Lap) -> f64 {
        integral_between(&self.used, self.time, lap.start_s, lap.end_s)
    }

    /// Charge used until the log time `t`, A·s.
    fn until(&self, t: f64) -> f64 {
        integral_until(&self.used, self.time, t)
    }

    /// Charge used by the end of the race, mAh: read off where the log lasts as long, else extrapolated at the mean of
    /// the laps that count; `None` where too few do.
    fn at_race_end(&self, run: &RunContext) -> Option<Estimate> {
        let first = run.laps.first_passing?;
        let end = first.value + run.race_s;
        let unseen = COVERAGE_95 * self.unseen;
        let last_row = *self.time.last()?;
        if end <= last_row.min(run.course.driven_to_s) && !run.course.stopped {
            // Where the race begins on the log is uncertain, and what the rows do not show.
            let used = [first.low, first.value, first.high].map(|from| self.until(from + run.race_s));
            let far = used.iter().map(|u| (u - used[1]).abs()).fold(0.0, f64::max);
            return Some(Estimate::from_half_width(used[1] / A_S_PER_MAH, far.hypot(unseen) / A_S_PER_MAH));
        }
        let rates: Vec<f64> = run.laps.counted().map(|l| self.of_lap(l) / l.time_s()).collect();
        if rates.len() < LEAST_LAPS {
            return None;
        }
        let n = rates.len() as f64;
        let (mean, deviation) = mean_and_deviation(&rates)?;
        let ends = run.laps.rows.iter().filter(|l| l.end_s <= last_row).map(|l| l.end_s);
        // After a stop only the laps count: a race without one takes their mean all the time.
        let last = if run.course.stopped { first.value } else { ends.fold(0.0, f64::max) };
        let left = end - last;
        let lap = run.laps.median_s()?;
        // The uncertainty of the mean goes with the time, the scatter of the laps with its square root.
        let u = deviation * (left * left / n + left * lap).sqrt();
        let half = (coverage_factor(n - 1.0, 0.95) * u).hypot(unseen);
        Some(Estimate::from_half_width((self.until(last) + mean * left) / A_S_PER_MAH, half / A_S_PER_MAH))
    }
}

/// Standard uncertainty of a current's integral for what its readings do not show, A·s: what it changes by where every
/// other of them is left out (for jumps at any moment between two that is √3 times as much as is unseen, for bursts
/// that are shorter than a step about as much). Where the current stands still, the recorder's own step may hide that
/// much all the time.
fn between_readings(time: &[f64], current: &[f64], readings: &[usize]) -> f64 {
    let area = |from: usize, to: usize| (time[to] - time[from]) * (current[from] + current[to]) / 2.0;
    let left_out = |w: &[usize]| (area(w[0], w[2]) - area(w[0], w[1]) - area(w[1], w[2])).powi(2);
    // Every other of the readings: half of all.
    let between: f64 = readings.windows(3).map(left_out).sum::<f64>() / 2.0;
    let changes = || current.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| d.is_finite());
    let quantum = changes().filter(|d| *d > NO_CHANGE_A).min_by(f64::total_cmp).unwrap_or(0.0);
    let still = changes().filter(|d| *d < NO_CHANGE_A).count() as f64 / current.len().max(1) as f64;
    let hidden = quantum / 12f64.sqrt() * still * time.last().copied().unwrap_or(0.0);
    between.sqrt().hypot(hidden)
}
