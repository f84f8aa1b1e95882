//! How hot did motor and controller get, and would they last the race?
//!
//! Temperature at the start, peak and its time, and time over the limit are read off the log, as the recorder's sensor
//! shows them. Where the log lasts to the end of the race, so is the temperature there, with every stop on the way.
//! Otherwise it is a forecast: the lumped model of [`super::warming`] is fitted to the run, stops included, and
//! extrapolated from where the log ends to the end of the race with the load of the laps that count. The same model
//! gives the time constant, the time of driving until the limit, and how long a standing car takes to cool.
//!
//! Wrong where the forecast is: see [`super::forecast`]. Without volts and amperes the load is taken as even, and the
//! interval does not know how far off that is.

use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::context::RunContext;
use super::course::Course;
use super::forecast::LoadScatter;
use super::heat_record::{Load, Prior, Record, knows_air, record};
use super::hot_part::{HotPart, Limit};
use super::warming::Warming;
use crate::evidence::{self, Subject};
use crate::quantity::Estimate;
use crate::reason::Reasons;
use crate::statistics::quantiles::median;

/// A forecast or a peak this near below its limit is close to it, °C. A default (common practice, no source).
pub const CLOSE_K: f64 = 5.0;
/// An interval wider than this either way, with the limit in it, tells nothing, °C. A default.
const TOO_WIDE_K: f64 = 10.0;
/// Time around the end of the race over which a reading is taken, s.
const WINDOW_S: f64 = 2.0;
/// A reading that differs from both its neighbours by this much is not a temperature, °C. Common practice, no source.
const GLITCH_K: f64 = 12.0;
/// Nobody races longer than this, s.
const LONGEST_S: f64 = 3600.0;
/// A part this near the air has cooled, °C.
pub const COOLED_K: f64 = 10.0;

/// Whether a part keeps under its limit to the end of the race.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum HeatVerdict {
    /// Under the limit.
    #[serde(rename = "within")]
    Within,
    /// Within a few degrees of it.
    #[serde(rename = "close")]
    Close,
    /// Over it.
    #[serde(rename = "over")]
    Over,
    /// The log does not tell.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// Why a figure of a part's heat is missing, or what limits it.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The log lacks the temperature of this part.
    NoTemperature(HotPart),
    /// Without laps nobody knows when the race ended.
    NoLaps,
    /// The model could not be fitted.
    NotFitted,
    /// The car stopped within the race.
    Stopped,
    /// The load is not known.
    EvenLoad,
    /// The temperature cannot be true.
    Unusable(evidence::Why),
    /// The limit on the sheet cannot be true.
    LimitRefused(evidence::Why),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTemperature(part) => write!(f, "the log has no {} temperature", part.words()),
            Self::Unusable(why) => why.fmt(f),
            Self::LimitRefused(why) => write!(f, "{why}, so a default limit is assumed"),
            Self::NoLaps => f.write_str("without laps the end of the race is not known"),
            Self::NotFitted => f.write_str("the run is too short, or drives too little, for a forecast"),
            Self::Stopped => {
                f.write_str("the car stopped during the race, which cooled it: without the stop it would end hotter")
            }
            Self::EvenLoad => {
                f.write_str("without voltage and current the forecast assumes the same load all the time")
            }
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
    /// When it was read, s.
    pub peak_at_s: Option<f64>,
    /// The limit, °C.
    pub limit_c: f64,
    /// Whether the limit is the user's own; else it is a default.
    pub limit_stated: bool,
    /// Time at or above the limit, s.
    pub over_limit_s: Option<f64>,
    /// At the end of the race, °C.
    pub race_end_c: Option<Estimate>,
    /// Whether that was read off the log rather than forecast.
    pub race_end_read: bool,
    /// Time constant of the warming, s.
    pub time_constant_s: Option<f64>,
    /// The same with its interval.
    pub time_constant_range_s: Option<Estimate>,
    /// Racing from the first passing until the limit is reached, s; `null` where that would take longer than an hour.
    pub limit_after_s: Option<Estimate>,
    /// Standing after the end of the race until it is within 10 °C of the air, s.
    pub cool_down_s: Option<Estimate>,
    /// Whether the limit holds.
    pub verdict: HeatVerdict,
    /// Why a figure is missing, or what limits it.
    pub why: Option<Reasons<Why>>,
    /// The run as the model sees it.
    #[serde(skip)]
    pub record: Option<Record>,
    /// The fitted model.
    #[serde(skip)]
    pub warming: Option<Warming>,
    /// The course of the run.
    #[serde(skip)]
    pub course: Course,
    /// The load of the run.
    #[serde(skip)]
    pub load: Load,
    /// Whether only a part of the readings is sound, so that the run's own peak is not known.
    #[serde(skip)]
    pub in_part: bool,
    /// Why the limit on the sheet is not used.
    #[serde(skip)]
    pub limit_refused: Option<evidence::Why>,
    /// Log time at which the sensor first read the limit, s.
    #[serde(skip)]
    pub reached_s: Option<f64>,
}

impl Heat {
    /// What another pinion or another cooling is set against: the end of a race without stops, °C; `None` where the car
    /// stopped. A race fitted without the stop ends several degrees off what such cars do.
    pub fn unbroken_end_c(&self) -> Option<Estimate> {
        self.race_end_c.filter(|_| !self.course.stopped)
    }
}

/// Log time (s) and temperature (°C) of the rows that have a reading.
type Readings = Vec<(f64, f64)>;

/// Measures the heat of the motor.
pub fn measure_motor(run: &RunContext) -> Heat {
    measure(run, HotPart::Motor)
}

/// Measures the heat of the controller.
pub fn measure_controller(run: &RunContext) -> Heat {
    measure(run, HotPart::Controller)
}

fn measure(run: &RunContext, part: HotPart) -> Heat {
    let limit = part.limit(run.settings);
    let mut heat = empty(&limit, run.course);
    heat.limit_refused = run.refusal(&[Subject::Setting(part.limit_key())]);
    heat.in_part = run.evidence.of(Subject::Channel(part.channel())).is_some_and(|e| e.span.is_some());
    let readings = run.log.channel(part.channel()).map_or_else(Vec::new, |values| readings(run.log.time(), values));
    let Some(&(_, start_c)) = readings.first() else {
        let refused = run.refusal(&[Subject::Channel(part.channel())]);
        let why = refused.map_or(Why::NoTemperature(part), Why::Unusable);
        heat.why = Some(why.into());
        return heat;
    };
    let peak = readings.iter().copied().fold(readings[0], |best, row| if row.1 > best.1 { row } else { best });
    (heat.start_c, heat.peak_c, heat.peak_at_s) = (Some(start_c), Some(peak.1), Some(peak.0));
    let over = readings.windows(2).filter(|w| w[0].1 >= limit.celsius);
    heat.over_limit_s = Some(over.map(|w| w[1].0 - w[0].0).fold(0.0, |sum, s| sum + s));
    heat.reached_s = readings.iter().find(|r| r.1 >= limit.celsius).map(|r| r.0);
    (heat.record, heat.load) = record(run, part);
    let Course { race_end_s, driven_to_s, .. } = run.course;
    let driven_through = race_end_s.filter(|end| *end <= driven_to_s);
    heat.race_end_c = driven_through.and_then(|end| reading_at_race_end(&readings, end));
    heat.race_end_read = heat.race_end_c.is_some();
    conclude(&mut heat, None);
    heat
}

/// The readings, without those that leap away from both their neighbours and back: no part heats or cools like that.
fn readings(time: &[f64], values: &[f64]) -> Readings {
    let rows: Readings = time.iter().copied().zip(values.iter().copied()).filter(|r| r.1.is_finite()).collect();
    let sound = |n: usize| {
        let beside = [n.checked_sub(1), Some(n + 1)].into_iter().flatten().filter_map(|m| rows.get(m));
        let mut leaps = beside.map(|r| rows[n].1 - r.1).peekable();
        leaps.peek().is_none() || leaps.any(|d| d.abs() < GLITCH_K)
    };
    (0..rows.len()).filter(|&n| sound(n)).map(|n| rows[n]).collect()
}

fn empty(limit: &Limit, course: Course) -> Heat {
    Heat {
        start_c: None,
        peak_c: None,
        peak_at_s: None,
        limit_c: limit.celsius,
        limit_stated: limit.stated,
        over_limit_s: None,
        race_end_c: None,
        race_end_read: false,
        time_constant_s: None,
        time_constant_range_s: None,
        limit_after_s: None,
        cool_down_s: None,
        verdict: HeatVerdict::CannotTell,
        why: None,
        record: None,
        warming: None,
        course,
        load: Load::default(),
        in_part: false,
        limit_refused: None,
        reached_s: None,
    }
}

/// Fits the model, with what the motor's other runs tell of its heating where they do, and draws the conclusions.
pub fn conclude(heat: &mut Heat, prior: Prior) {
    heat.warming = heat.record.as_ref().and_then(|r| r.fit(prior));
    if let Some(warming) = heat.warming.take() {
        forecast(heat, &warming);
        heat.warming = Some(warming);
    }
    heat.verdict = verdict(heat);
    let limit_refused = heat.limit_refused.clone().map(Why::LimitRefused);
    heat.why = Reasons::new(why(heat).into_iter().chain(limit_refused).collect());
}

/// Fills in what the fitted model forecasts.
fn forecast(heat: &mut Heat, warming: &Warming) {
    let course = heat.course;
    if let (false, Some(end)) = (heat.race_end_read, course.race_end_s) {
        let Load { scatter, laps, .. } = heat.load;
        let lap_s = course.lap_s.unwrap_or(end - course.driven_to_s);
        heat.race_end_c = Some(warming.forecast(end, &LoadScatter { relative: scatter, laps, lap_s }));
    }
    let constant = warming.time_constant_s();
    (heat.time_constant_s, heat.time_constant_range_s) = (Some(constant.value), Some(constant));
    heat.limit_after_s = course.first_s.and_then(|first| match heat.reached_s {
        Some(reached) => Some(Estimate::from_half_width((reached - first).max(0.0), WINDOW_S)),
        None => warming.time_to(heat.limit_c, first, LONGEST_S),
    });
    let end = heat.race_end_c.filter(|_| heat.record.as_ref().is_some_and(knows_air));
    heat.cool_down_s = end.and_then(|end| warming.cool_down_s(end.value, warming.air_c(), COOLED_K));
}

fn why(heat: &Heat) -> Option<Why> {
    if heat.race_end_c.is_none() && heat.course.race_end_s.is_none() {
        Some(Why::NoLaps)
    } else if heat.warming.is_none() {
        Some(Why::NotFitted)
    } else if heat.course.stopped {
        Some(Why::Stopped)
    } else if heat.load.omega == 0.0 {
        Some(Why::EvenLoad)
    } else {
        None
    }
}

fn verdict(heat: &Heat) -> HeatVerdict {
    let limit = heat.limit_c;
    if heat.peak_c.is_some_and(|c| c > limit) {
        return HeatVerdict::Over;
    }
    match heat.race_end_c {
        None => HeatVerdict::CannotTell,
        Some(end) if !(end.low.is_finite() && end.high.is_finite()) => HeatVerdict::CannotTell,
        Some(end) if end.low > limit => HeatVerdict::Over,
        Some(end) if end.half_width() > TOO_WIDE_K && end.high > limit => HeatVerdict::CannotTell,
        Some(end) if end.high > limit - CLOSE_K => HeatVerdict::Close,
        Some(_) => HeatVerdict::Within,
    }
}

/// The reading at the end of the race, where the log lasts as long: from the lowest reading around it to the highest,
/// half a step of the sensor more either way.
fn reading_at_race_end(readings: &[(f64, f64)], end: f64) -> Option<Estimate> {
    if readings.last()?.0 < end {
        return None;
    }
    let near: Vec<f64> = readings.iter().filter(|r| (r.0 - end).abs() <= WINDOW_S).map(|r| r.1).collect();
    let value = median(near.iter().copied())?;
    let steps = readings.windows(2).map(|w| (w[1].1 - w[0].1).abs()).filter(|d| *d > 1e-9);
    let step = steps.min_by(f64::total_cmp).unwrap_or(1.0);
    let (lowest, highest) = near.iter().fold((value, value), |(low, high), v| (low.min(*v), high.max(*v)));
    Some(Estimate { value, low: lowest - step / 2.0, high: highest + step / 2.0 })
}
