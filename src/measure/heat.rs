//! How hot did motor and controller get, and would they last the race?
//!
//! Temperature at the start, peak and its time, and time over the limit are read off the log, as the recorder's sensor shows them. Where the log
//! lasts to the race's end, so is the temperature there. Else it is a forecast: the lumped model of [`super::warming`] is fitted to the run and
//! carried on with the counted laps' load. The same model gives the time constant, the time of driving until the limit, and how long a standing
//! car takes to cool.
//!
//! The copper load is the motor current squared ([`super::motor`]), not the pack's: that one rises as the pack sags. Without volts and amperes the load is taken as
//! even, and the interval does not know how far that is off.

use schemars::JsonSchema;
use serde::Serialize;

use super::forecast::Scene;
use super::motor::{Demand, WINDING_SHARE};
use super::warming::{COPPER, Prior, Record, Warming, quantum};
use crate::laps::{Lap, Laps, SetAside, align};
use crate::log::{Channel, Log};
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::integral::{row_until, running_integral};
use crate::statistics::mean::mean_and_deviation;
use crate::statistics::quantiles::median;

/// A forecast or a peak this near below its limit is close, K. A default (common practice, no source).
pub const CLOSE_K: f64 = 5.0;
/// An interval wider than this either way, with the limit in it, tells nothing, K. A default.
const TOO_WIDE_K: f64 = 10.0;
/// Time around the race's end over which a reading is taken, s.
const WINDOW_S: f64 = 2.0;
/// Share of the laps' pace below which a car rolls in after the flag. Common practice, no source: a slow quarter of a lap is no slower.
const ROLLS_IN: f64 = 0.75;
/// How often it is looked whether the car still goes at its pace, s.
const LOOK_S: f64 = 0.5;
/// Step of the model's record, s, and steps at the most.
const STEP_S: f64 = 2.0;
const MOST_STEPS: f64 = 600.0;
/// Standard uncertainty of the air on the sheet, K: a thermometer's degree either way, evenly.
const AIR_U: f64 = 0.6;
/// Without the air on the sheet a part is taken to start this much above it, K. Common practice, no source.
const START_ABOVE: Uncertain = Uncertain::new(4.0, 5.0);
/// Heat capacity of such a motor, J/K: 0.17 to 0.2 kg at 450 to 500 J/(kg·K). What is expected from it and the winding's resistance
/// is good to so much. Common practice, no source.
const MOTOR_J_K: f64 = 90.0;
const EXPECTED_U: f64 = 0.3;
/// A reading that differs from both its neighbours by so much is no temperature, K. Common practice, no source.
const GLITCH_K: f64 = 12.0;
/// Driving longer than this is no race, s.
const LONGEST_S: f64 = 3600.0;
/// A part this near the air has cooled, K.
pub const COOLED_K: f64 = 10.0;

/// Whether a part keeps under its limit to the race's end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Verdict {
    /// Under the limit.
    #[serde(rename = "within")]
    Within,
    /// Within a few kelvin of it.
    #[serde(rename = "close")]
    Close,
    /// Over it.
    #[serde(rename = "over")]
    Over,
    /// The log does not tell.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Verdict {
    /// The verdict as the report says it.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Within => "within",
            Verdict::Close => "close",
            Verdict::Over => "over",
            Verdict::CannotTell => "cannot tell",
        }
    }
}

/// The answer for one part.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Heat {
    /// At the log's start, °C.
    pub start_c: Option<f64>,
    /// Highest reading, °C.
    pub peak_c: Option<f64>,
    /// When, s.
    pub peak_at_s: Option<f64>,
    /// The limit, °C.
    pub limit_c: f64,
    /// Whether the limit is the user's own; else it is a default.
    pub limit_stated: bool,
    /// Time at or above the limit, s.
    pub over_limit_s: Option<f64>,
    /// At the race's end, °C.
    pub race_end_c: Option<Estimate>,
    /// Whether it was read off the log rather than forecast.
    pub race_end_read: bool,
    /// Time constant of the warming, s.
    pub time_constant_s: Option<f64>,
    /// The same with its interval.
    pub time_constant_range_s: Option<Estimate>,
    /// Racing from the first passing until the limit is reached, s; `null` where it would not be within an hour.
    pub limit_after_s: Option<Estimate>,
    /// Standing after the race's end until it is ten kelvin above the air, s.
    pub cool_down_s: Option<Estimate>,
    /// Whether the limit holds.
    pub verdict: Verdict,
    /// Why a figure is missing.
    pub why: Option<String>,
    /// The run as the model sees it.
    #[serde(skip)]
    pub record: Option<Record>,
    /// The fitted model.
    #[serde(skip)]
    pub warming: Option<Warming>,
    /// Moments of the run that the forecast needs.
    #[serde(skip)]
    pub course: Course,
}

/// Moments of a run, log time, and how even its load is.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Course {
    /// First passing, s.
    pub first_s: Option<f64>,
    /// The race's end, s.
    pub race_end_s: Option<f64>,
    /// The sensor first read the limit, s.
    pub reached_s: Option<f64>,
    /// A stop lies within the race.
    pub stopped: bool,
    /// The car was driven until here, s.
    pub driven_to_s: f64,
    /// Relative deviation of a lap's copper load, and of how many laps it is known.
    pub load_scatter: (f64, usize),
    /// Median lap, s.
    pub lap_s: Option<f64>,
    /// Mean copper load over the counted laps, A² (or 1 without a current).
    pub copper: f64,
    /// Mean motor speed over them, rad/s; zero where volts, amperes or revs are missing.
    pub omega: f64,
}

/// A part, its limit and whether the user stated it, and the air on the sheet.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    /// Its temperature's channel.
    pub channel: Channel,
    /// Limit, °C, and whether the user stated it.
    pub limit: (f64, bool),
    /// Air, °C.
    pub ambient_c: Option<f64>,
}

/// Measures the heat of one part over a race of `race_s`.
pub fn measure(log: &Log, laps: &Laps, demand: Option<&Demand>, part: Part, race_s: f64) -> Heat {
    let mut heat = empty(part.limit);
    let rows: Vec<(f64, f64)> = match log.channel(part.channel) {
        Some(values) => log.time().iter().copied().zip(values.iter().copied()).filter(|r| r.1.is_finite()).collect(),
        None => Vec::new(),
    };
    let rows = without_glitches(&rows);
    let Some(&(_, start)) = rows.first() else {
        heat.why = Some(format!("the log has no {}", part.channel.name().replace('_', " ")));
        return heat;
    };
    let peak = rows.iter().copied().fold(rows[0], |best, row| if row.1 > best.1 { row } else { best });
    (heat.start_c, heat.peak_c, heat.peak_at_s) = (Some(start), Some(peak.1), Some(peak.0));
    heat.over_limit_s = Some(rows.windows(2).filter(|w| w[0].1 >= part.limit.0).map(|w| w[1].0 - w[0].0).sum());
    let (record, course) = record(log, laps, demand, part, race_s);
    heat.course = Course { reached_s: rows.iter().find(|r| r.1 >= part.limit.0).map(|r| r.0), ..course };
    heat.race_end_c = course
        .race_end_s
        .filter(|end| *end <= course.driven_to_s && !course.stopped)
        .and_then(|end| at_race_end(&rows, end));
    heat.race_end_read = heat.race_end_c.is_some();
    heat.record = record;
    conclude(&mut heat, None);
    heat
}

/// Rows without those that leap away from both their neighbours and back: no part heats or cools like that.
fn without_glitches(rows: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let sound = |n: usize| {
        let beside = [n.checked_sub(1), Some(n + 1)].into_iter().flatten().filter_map(|m| rows.get(m));
        let mut leaps = beside.map(|r| rows[n].1 - r.1).peekable();
        leaps.peek().is_none() || leaps.any(|d| d.abs() < GLITCH_K)
    };
    (0..rows.len()).filter(|&n| sound(n)).map(|n| rows[n]).collect()
}

fn empty(limit: (f64, bool)) -> Heat {
    Heat {
        start_c: None,
        peak_c: None,
        peak_at_s: None,
        limit_c: limit.0,
        limit_stated: limit.1,
        over_limit_s: None,
        race_end_c: None,
        race_end_read: false,
        time_constant_s: None,
        time_constant_range_s: None,
        limit_after_s: None,
        cool_down_s: None,
        verdict: Verdict::CannotTell,
        why: None,
        record: None,
        warming: None,
        course: Course::default(),
    }
}

/// Fits the model, with what the motor's other runs tell where they do, and draws the conclusions.
pub fn conclude(heat: &mut Heat, prior: Prior) {
    heat.warming = heat.record.as_ref().and_then(|r| r.fit(prior));
    let course = heat.course;
    if let Some(warming) = &heat.warming {
        if let (false, Some(end)) = (heat.race_end_read, course.race_end_s) {
            // A stop cools: the race without one starts as the log did.
            let start_c = heat.start_c.unwrap_or(warming.air_c());
            let whole = Scene::as_driven(start_c, warming.air_c(), end);
            heat.race_end_c = Some(if course.stopped {
                warming.imagined(&whole)
            } else {
                warming.forecast(end, load_u(&course, end))
            });
        }
        let constant = warming.time_constant_s();
        (heat.time_constant_s, heat.time_constant_range_s) = (Some(constant.value), Some(constant));
        heat.limit_after_s = course.first_s.and_then(|first| match course.reached_s {
            Some(reached) => Some(Estimate::from_half_width((reached - first).max(0.0), WINDOW_S)),
            None => warming.time_to(heat.limit_c, first, LONGEST_S),
        });
        let air_known = heat.record.as_ref().is_some_and(|r| r.air.standard_u < START_ABOVE.standard_u);
        heat.cool_down_s = heat
            .race_end_c
            .filter(|_| air_known)
            .and_then(|end| warming.cool_down_s(end.value, warming.air_c(), COOLED_K));
    }
    heat.verdict = verdict(heat);
    heat.why = match () {
        () if heat.race_end_c.is_none() && course.race_end_s.is_none() => {
            Some("without laps the race's end is not known")
        }
        () if heat.warming.is_none() => Some("the run is too short, or holds no load, for the heat model"),
        () if course.stopped => {
            Some("the car stopped within the race: the race's end is that of a race without a stop")
        }
        () if course.omega == 0.0 => Some("without volts and amperes the load is taken as even"),
        () => None,
    }
    .map(str::to_owned);
}

fn verdict(heat: &Heat) -> Verdict {
    let limit = heat.limit_c;
    if heat.peak_c.is_some_and(|c| c > limit) {
        return Verdict::Over;
    }
    match heat.race_end_c {
        None => Verdict::CannotTell,
        Some(end) if !(end.low.is_finite() && end.high.is_finite()) => Verdict::CannotTell,
        Some(end) if end.low > limit => Verdict::Over,
        Some(end) if end.half_width() > TOO_WIDE_K && end.high > limit => Verdict::CannotTell,
        Some(end) if end.high > limit - CLOSE_K => Verdict::Close,
        Some(_) => Verdict::Within,
    }
}

/// Relative standard uncertainty of the load from the log's end to the race's.
fn load_u(course: &Course, race_end_s: f64) -> f64 {
    let (scatter, known) = course.load_scatter;
    let left = course.lap_s.map_or(1.0, |lap| ((race_end_s - course.driven_to_s) / lap).max(1.0));
    scatter * (1.0 / left + 1.0 / known.max(1) as f64).sqrt()
}

/// Until when the car was driven: the last lap is finished after the race's end, or the flag fell within it; a car that stands, or rolls in
/// slower than the laps over a quarter of one, is not driven.
pub fn driven_to(laps: &Laps) -> f64 {
    let Some(last) = laps.rows.last() else { return 0.0 };
    let Some(lap) = laps.median_s() else { return last.end_s };
    let Some(odometer) = &laps.odometer else { return last.end_s + lap };
    let stands = align::moving(odometer).map_or(f64::INFINITY, |(_, last)| last);
    let end = (last.end_s + lap).min(stands);
    let turns = median(laps.counted().map(|l| l.turns)).unwrap_or(0.0);
    let stretch = lap / 4.0;
    // As far as the log tells: after its end nothing is known to be slow.
    let slow = |from: &f64| {
        let to = (from + stretch).min(odometer.span().1);
        odometer.turns_at(to) - odometer.turns_at(*from) < ROLLS_IN * turns * (to - from) / lap
    };
    let mut looks = (0..).map(|n| last.end_s + f64::from(n) * LOOK_S).take_while(|t| *t < end);
    looks.find(slow).unwrap_or(end)
}

/// Whether a stop lies within the race.
pub fn stopped(laps: &Laps, race_s: f64) -> bool {
    let inside = |l: &Lap| laps.first_passing.is_some_and(|f| l.start_s < f.value + race_s);
    laps.rows.iter().any(|l| l.set_aside == Some(SetAside::Stop) && inside(l))
}

/// The run in equal steps, relative to its counted laps, and its course.
fn record(log: &Log, laps: &Laps, demand: Option<&Demand>, part: Part, race_s: f64) -> (Option<Record>, Course) {
    let time = log.time();
    let lap_s = laps.median_s();
    let first_s = laps.first_passing.map(|f| f.value);
    let mut course = Course {
        first_s,
        race_end_s: first_s.map(|f| f + race_s),
        driven_to_s: driven_to(laps),
        stopped: stopped(laps, race_s),
        lap_s,
        ..Course::default()
    };
    let (Some(readings), Some(&end)) = (log.channel(part.channel), time.last()) else { return (None, course) };
    let speed = laps.gripped.as_ref().map(|g| time.iter().map(|&t| g.rpm_at(t)).collect::<Vec<f64>>());
    let moving: Vec<f64> = match &speed {
        Some(s) => s.iter().map(|v| f64::from(u8::from(*v > 0.0))).collect(),
        None => vec![1.0; time.len()],
    };
    let copper: Vec<f64> = demand.map_or_else(|| moving.clone(), |d| d.current.iter().map(|i| i * i).collect());
    let of_motor = part.channel == Channel::MotorTemperature;
    let spin: Vec<f64> =
        demand.filter(|_| of_motor).map_or_else(|| moving.clone(), |d| speed_loss(time, &d.omega, laps));
    let flow = speed.as_ref().unwrap_or(&moving);
    // A car that stands after its laps cools, and says nothing of a race.
    let end = if course.driven_to_s > 0.0 { end.min(course.driven_to_s) } else { end };
    let driven = time.partition_point(|t| *t <= end);
    let step_s = STEP_S.max(end / MOST_STEPS);
    let mean = |values: &[f64]| over_laps(time, values, laps);
    let (of_copper, of_spin, of_flow) = (mean(&copper), mean(&spin), mean(flow));
    (course.copper, course.omega) = (of_copper.mean, demand.map_or(0.0, |d| mean(&d.omega).mean));
    course.load_scatter = (of_copper.scatter, of_copper.laps);
    let relative = |values: &[f64], mean: f64| {
        stepped(&time[..driven], &values[..driven], step_s).map(|v| if v.is_nan() { 1.0 } else { v / mean }).collect()
    };
    let air = part.ambient_c;
    let start = readings.iter().copied().find(|r| r.is_finite()).unwrap_or(0.0);
    let record = Record {
        step_s,
        start_s: 0.0,
        copper: relative(&copper, of_copper.mean),
        spin: relative(&spin, of_spin.mean),
        flow: relative(flow, of_flow.mean),
        reading: stepped(&time[..driven], &readings[..driven], step_s).collect(),
        quantum: quantum(readings),
        air: air.map_or(Uncertain { value: start - START_ABOVE.value, ..START_ABOVE }, |a| Uncertain::new(a, AIR_U)),
        coefficient: if of_motor { COPPER } else { 0.0 },
        expected: demand
            .filter(|d| of_motor && d.motor.at_full_demand)
            .map(|d| Uncertain::relative(WINDING_SHARE * d.motor.resistance * of_copper.mean / MOTOR_J_K, EXPECTED_U)),
    };
    let loaded = of_copper.mean > 0.0 && of_spin.mean > 0.0 && of_flow.mean > 0.0;
    (loaded.then_some(record), course)
}

/// Friction and hysteresis go with the speed, eddy currents with its square (textbook): half and half at the laps' mean.
fn speed_loss(time: &[f64], omega: &[f64], laps: &Laps) -> Vec<f64> {
    let mean = over_laps(time, omega, laps).mean;
    omega.iter().map(|w| (w / mean + (w / mean).powi(2)) / 2.0).collect()
}

struct Mean {
    mean: f64,
    scatter: f64,
    laps: usize,
}

/// Mean of a row's value over the counted laps, and how it scatters from lap to lap; without laps over the log.
fn over_laps(time: &[f64], values: &[f64], laps: &Laps) -> Mean {
    let sums = running_integral(time, values);
    let until = |t: f64| sums[row_until(time, t)];
    let each: Vec<f64> = laps.counted().map(|l| (until(l.end_s) - until(l.start_s)) / l.time_s()).collect();
    match mean_and_deviation(&each) {
        Some((mean, deviation)) => Mean { mean, scatter: deviation / mean, laps: each.len() },
        None => Mean {
            mean: sums.last().copied().unwrap_or(0.0) / time.last().copied().unwrap_or(1.0),
            scatter: 0.2,
            laps: 1,
        },
    }
}

/// Means over equal steps of time; NaN for a step without a row.
fn stepped(time: &[f64], values: &[f64], step_s: f64) -> impl Iterator<Item = f64> {
    let steps = time.last().map_or(0, |end| (end / step_s).floor() as usize).max(1);
    let mut sums = vec![(0.0, 0u32); steps];
    for (t, v) in time.iter().zip(values).filter(|(_, v)| v.is_finite()) {
        if let Some(sum) = sums.get_mut((t / step_s) as usize) {
            *sum = (sum.0 + v, sum.1 + 1);
        }
    }
    sums.into_iter().map(|(sum, n)| if n > 0 { sum / f64::from(n) } else { f64::NAN })
}

/// Reading at the race's end, where the log lasts as long; half a step of the sensor is its doubt at least.
fn at_race_end(rows: &[(f64, f64)], end: f64) -> Option<Estimate> {
    if rows.last()?.0 < end {
        return None;
    }
    let near: Vec<f64> = rows.iter().filter(|r| (r.0 - end).abs() <= WINDOW_S).map(|r| r.1).collect();
    let value = median(near.iter().copied())?;
    let mut steps: Vec<f64> = rows.windows(2).map(|w| (w[1].1 - w[0].1).abs()).filter(|d| *d > 1e-9).collect();
    steps.sort_by(f64::total_cmp);
    let step = steps.first().copied().unwrap_or(1.0);
    let spread = near.iter().map(|v| (v - value).abs()).fold(0.0, f64::max);
    Some(Estimate::from_half_width(value, (step / 2.0).max(spread)))
}
