//! What if: a race with other air, another length, other gears or another start, by one run's own models.
//!
//! The heat is the run's end of the race and what the fitted model makes of the difference between the two races. The
//! lap is the run's median and what driving it anew makes of the gears. Charge goes with the time. Each figure says what
//! it takes to stay as it was.

use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::next::{Next, with_gears};
use crate::gears::gears;
use crate::measure::forecast::Scene;
use crate::measure::heat::Heat;
use crate::measure::hot_part::HotPart;
use crate::measure::regeared::Regeared;
use crate::quantity::Estimate;
use crate::run::SettledRun;
use crate::units::measure::TEMPERATURE;
use crate::wording::{bare_value, stated, value};

/// A race is no longer than this, s: after an hour of driving no pack is left.
const LONGEST_S: f64 = 3600.0;
/// Air and starts that cars race with, °C. Common practice, no source.
const RACED_C: std::ops::RangeInclusive<f64> = -30.0..=120.0;
/// Share of what is extrapolated over the run's own race that is open, as a 95 % half width. A default, no source.
const OPEN_SHARE: f64 = 0.2;
/// Share of what other gears do to a controller that is open, as a 95 % half width: it has losses of its own. A default,
/// no source.
const OPEN_GEARS: f64 = 0.5;
/// What a lumped model is off in any case, as a 95 % half width, °C: twice the 0.4 °C of a forecast. A default.
const MODEL_HALF_K: f64 = 0.8;
/// Steps of the search for the moment of a limit, s.
const LIMIT_STEP_S: f64 = 5.0;

/// What is to be other than in the run; what is `None` stays.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, JsonSchema)]
pub struct Wanted {
    /// Air, °C.
    pub air_c: Option<f64>,
    /// Length of the race, s.
    pub race_s: Option<f64>,
    /// Laps of the race, in place of its length.
    pub laps: Option<f64>,
    /// Teeth of the pinion.
    pub pinion: Option<f64>,
    /// Teeth of the spur.
    pub spur: Option<f64>,
    /// Motor and controller at the start, °C.
    pub start_c: Option<f64>,
}

/// The race that is asked for.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Ahead {
    /// The run that it is worked out from.
    pub run: String,
    /// What was asked.
    pub wanted: Wanted,
    /// Length of the race, s.
    pub race_s: f64,
    /// Lap time, s.
    pub lap_s: Option<Estimate>,
    /// Laps until the race's end, from the first passing.
    pub laps: Option<Estimate>,
    /// Motor at the race's end, °C.
    pub motor_race_end_c: Option<Estimate>,
    /// Racing until the motor reaches its limit, s; `null` where it may not within an hour.
    pub motor_limit_after_s: Option<Estimate>,
    /// The motor's limit, °C.
    pub motor_limit_c: f64,
    /// Controller at the race's end, °C.
    pub controller_race_end_c: Option<Estimate>,
    /// The controller's limit, °C.
    pub controller_limit_c: f64,
    /// Charge that the race uses, mAh.
    pub used_mah: Option<Estimate>,
    /// Lowest voltage of a cell, V: that of the run; `null` for a longer race or another gearing, which no run showed.
    pub lowest_cell_v: Option<f64>,
    /// What is taken to stay as it was.
    pub assumes: Vec<&'static str>,
}

/// Why a race cannot be worked out.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The run could not be reviewed.
    NotReviewed,
    /// A value makes no race.
    NoRace(f64),
    /// No car races at such a temperature, °C.
    NoTemperature(f64),
    /// The gears are not known, or too far from those that were driven.
    Gears(String),
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotReviewed => f.write_str("this run could not be reviewed"),
            Self::NoTemperature(c) => {
                let [low, high] = [bare_value(*RACED_C.start(), 0, TEMPERATURE), value(*RACED_C.end(), 0, TEMPERATURE)];
                write!(f, "{} is not between {low} and {high}", stated(*c, TEMPERATURE))
            }
            Self::NoRace(s) => write!(f, "a race of {s:.0} s is not between 1 s and an hour"),
            Self::Gears(why) => write!(f, "what these gears would do is not known: {why}"),
        }
    }
}

/// The race that is `wanted`, by `run`, whose own race is `race_s` long.
///
/// # Errors
/// [`Why`] where there is no run, no race or no gearing to work out.
pub fn ahead(run: &SettledRun, race_s: f64, wanted: Wanted) -> Result<Ahead, Why> {
    let done = run.done().ok_or(Why::NotReviewed)?;
    if let Some(c) = [wanted.air_c, wanted.start_c].into_iter().flatten().find(|c| !RACED_C.contains(c)) {
        return Err(Why::NoTemperature(c));
    }
    let geared = wanted_gears(run, race_s, &wanted)?;
    let lap_s = lap(run, geared.as_ref());
    let length = match (wanted.race_s, wanted.laps.zip(lap_s)) {
        (Some(seconds), _) => seconds,
        (None, Some((laps, lap))) => laps * lap.value,
        (None, None) => race_s,
    };
    if !(1.0..=LONGEST_S).contains(&length) {
        return Err(Why::NoRace(length));
    }
    let regeared = geared.as_ref().map(|g| &g.1);
    let races = |part| Races::new(run, part, &wanted, [race_s, length], regeared);
    let motor = races(HotPart::Motor);
    let limit = |part| run.heat(part).map_or(f64::NAN, |heat| heat.limit_c);
    let battery = &done.answers.battery;
    Ok(Ahead {
        run: run.plan().id.clone(),
        race_s: length,
        lap_s,
        laps: lap_s.map(|lap| Estimate { value: length / lap.value, low: length / lap.high, high: length / lap.low }),
        motor_race_end_c: motor.as_ref().map(Races::end),
        motor_limit_after_s: motor.as_ref().and_then(Races::limit_after_s),
        motor_limit_c: limit(HotPart::Motor),
        controller_race_end_c: races(HotPart::Controller).as_ref().map(Races::end),
        controller_limit_c: limit(HotPart::Controller),
        used_mah: battery.race_end_used_mah.map(|used| charge(used.scaled(length / race_s), geared.as_ref())),
        lowest_cell_v: battery.lowest_cell_v.filter(|_| length <= race_s && geared.is_none()),
        assumes: assumes(&wanted, geared.is_some()),
        wanted,
    })
}

/// The gears that are asked for, with what they do; `None` where they stay.
fn wanted_gears(run: &SettledRun, race_s: f64, wanted: &Wanted) -> Result<Option<(Next, Regeared)>, Why> {
    if wanted.pinion.is_none() && wanted.spur.is_none() {
        return Ok(None);
    }
    let settings = &run.plan().settings;
    let unknown = || Why::Gears("the sheet lacks spur or pinion".to_owned());
    let spur = wanted.spur.or(settings.number("spur")).ok_or_else(unknown)?;
    let pinion = wanted.pinion.or(run.pinion_on_car()).ok_or_else(unknown)?;
    run.pinion_on_car().ok_or_else(unknown)?;
    let asked = gears(settings, spur, pinion).ok_or_else(unknown)?;
    let (next, regeared) = with_gears(run, &[asked], race_s).into_iter().next().ok_or(Why::NotReviewed)?;
    let why = || Why::Gears(next.why.map_or_else(|| "the run has no laps".to_owned(), |why| why.to_string()));
    let regeared = regeared.ok_or_else(why)?;
    if next.top_speed_m_s.is_none() && next.motor_race_end_c.is_none() {
        return Err(why());
    }
    Ok(Some((next, regeared)))
}

/// The lap time, s.
fn lap(run: &SettledRun, geared: Option<&(Next, Regeared)>) -> Option<Estimate> {
    let median = run.done()?.laps.median_s()?;
    match geared {
        None => Some(Estimate::from_half_width(median, 0.0)),
        Some((next, _)) => next.lap_change_s.map(|change| change.shifted(median)),
    }
}

/// Charge of the race: other gears may move it by as much as they move the ratio.
fn charge(used: Estimate, geared: Option<&(Next, Regeared)>) -> Estimate {
    let change = geared.map_or(0.0, |(_, regeared)| (regeared.ratio_change - 1.0).abs());
    Estimate::from_half_width(used.value, used.half_width().hypot(change * used.value))
}

/// The race as it was and the one that is asked for, of one part.
struct Races<'a> {
    part: HotPart,
    heat: &'a Heat,
    now: Scene,
    then: Scene,
    geared: bool,
}

impl<'a> Races<'a> {
    fn new(
        run: &'a SettledRun,
        part: HotPart,
        wanted: &Wanted,
        [race_s, length]: [f64; 2],
        geared: Option<&Regeared>,
    ) -> Option<Self> {
        let heat = run.heat(part)?;
        let warming = heat.warming.as_ref()?;
        let now = Scene::as_driven(heat.start_c?, run.plan().ambient_c.unwrap_or(warming.air_c()), race_s);
        let air_c = wanted.air_c.unwrap_or(now.air_c);
        // A part that starts as warm above the air as it did, unless its start is named.
        let start_c = wanted.start_c.unwrap_or(now.start_c - now.air_c + air_c);
        let (copper, spin) = geared.map_or((1.0, 1.0), |g| (g.copper, g.spin));
        Some(Self {
            part,
            heat,
            now,
            then: Scene { start_c, air_c, copper, spin, seconds: length, ..now },
            geared: geared.is_some(),
        })
    }

    /// Temperature at the end of the race that is asked for.
    fn end(&self) -> Estimate {
        self.at(self.then.seconds)
    }

    /// Temperature after so many seconds of it.
    fn at(&self, seconds: f64) -> Estimate {
        let then = Scene { seconds, ..self.then };
        let Some(warming) = &self.heat.warming else { return Estimate::from_half_width(f64::NAN, f64::INFINITY) };
        let Some(seen) = self.heat.unbroken_end_c() else { return warming.imagined(&then) };
        let change = if self.geared {
            warming.regeared(&self.now, &then, self.heat.record.as_ref().and_then(|r| r.expected))
        } else {
            warming.difference(&self.now, &then)
        };
        // What comes after the run's own race no run has shown.
        let shown = warming.difference(&Scene { seconds: seconds.min(self.now.seconds), ..then }, &then).value;
        // What heats a controller beside the current does not go with the gears.
        let ungeared = Scene { copper: 1.0, spin: 1.0, ..then };
        let gears = if self.part == HotPart::Controller { warming.difference(&ungeared, &then).value } else { 0.0 };
        let open = (OPEN_SHARE * shown).hypot(OPEN_GEARS * gears).hypot(MODEL_HALF_K);
        let half = seen.half_width().hypot(change.half_width()).hypot(open);
        Estimate::from_half_width(seen.value + change.value, half)
    }

    /// When the part reaches its limit, s after the first passing; `None` where it may not within an hour.
    fn limit_after_s(&self) -> Option<Estimate> {
        let reached = |of: fn(&Estimate) -> f64| {
            let mut moments = (0..).map(|n| f64::from(n) * LIMIT_STEP_S).take_while(|s| *s <= LONGEST_S);
            moments.find(|s| of(&self.at(*s)) >= self.heat.limit_c)
        };
        let (low, value, high) = (reached(|e| e.high)?, reached(|e| e.value)?, reached(|e| e.low)?);
        Some(Estimate { value, low, high })
    }
}

fn assumes(wanted: &Wanted, geared: bool) -> Vec<&'static str> {
    let mut all = vec!["the same driving, grip and cooling as in the run"];
    if wanted.start_c.is_none() {
        all.push("a start as warm above the air as in the run");
    }
    if geared {
        all.push("the same corner speeds and braking, and the same charge a second");
    }
    all.push("a pack as in the run");
    all
}
