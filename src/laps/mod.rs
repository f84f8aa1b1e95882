//! Laps: a list laid onto the log, or laps found in the log alone; which of them count.

pub mod align;
pub mod grip;
pub mod lists;
pub mod odometer;
pub mod period;
pub mod place;

use align::Alignment;
use lists::LapList;
use odometer::Odometer;
use place::Places;

use crate::notice::{Notice, NoticeCode};
use crate::quantity::Estimate;
use crate::statistics::quantiles::{median, robust_deviation};

/// Rows a second below which a lap, of ten seconds at least, has too few of them to be told.
const LEAST_HZ: f64 = 0.5;
/// Standing for this long within a lap is a stop. Common practice, no source.
const STOP_S: f64 = 1.0;
/// Below this share of the run's fastest revs the car stands.
const STANDING: f64 = 0.02;
/// A gap in the log of this length leaves too much of a lap to guess.
const LOST_S: f64 = 1.0;
/// A lap farther from the median than this share of it is set aside, whatever the scatter.
const FAR: f64 = 0.10;
/// A lap farther from the median than so many robust deviations, and than a fortieth of it, is set aside.
const FAR_DEVIATIONS: f64 = 6.0;
const FAR_LEAST: f64 = 0.025;

/// Where the laps came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// A lap list laid onto the log.
    List,
    /// The repeating pattern of revs.
    Found,
    /// Neither was possible.
    None,
}

/// Why a lap is kept out of the statistics.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SetAside {
    /// The car stood in it.
    #[serde(rename = "stop")]
    Stop,
    /// It started from rest.
    #[serde(rename = "out-lap")]
    OutLap,
    /// Two laps or more in one: a passing was missed.
    #[serde(rename = "missed passing")]
    MissedPassing,
    /// Far from the median lap.
    #[serde(rename = "far from the median")]
    Far,
    /// The log has a gap in it.
    #[serde(rename = "rows lost")]
    RowsLost,
    /// The log does not cover it.
    #[serde(rename = "outside the log")]
    Outside,
}

impl SetAside {
    /// The reason as the report says it.
    pub fn words(self) -> &'static str {
        match self {
            SetAside::Stop => "stop",
            SetAside::OutLap => "out-lap",
            SetAside::MissedPassing => "missed passing",
            SetAside::Far => "far from the median",
            SetAside::RowsLost => "rows lost",
            SetAside::Outside => "outside the log",
        }
    }
}

/// One lap.
#[derive(Debug, Clone, PartialEq)]
pub struct Lap {
    /// Number, from 1.
    pub number: u32,
    /// Log time of its start, s.
    pub start_s: f64,
    /// Log time of its end, s.
    pub end_s: f64,
    /// Motor turns in it.
    pub turns: f64,
    /// Why it does not count; `None` where it does.
    pub set_aside: Option<SetAside>,
}

impl Lap {
    /// Duration, s.
    pub fn time_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// The laps of a run.
#[derive(Debug, Clone)]
pub struct Laps {
    /// Where they came from.
    pub source: Source,
    /// Log time of the first passing, s; for laps found, of the first at the fastest place.
    pub first_passing: Option<Estimate>,
    /// All laps in order.
    pub rows: Vec<Lap>,
    /// Motor turns over the log; `None` without revs.
    pub odometer: Option<Odometer>,
    /// The same as the car would have driven it without wheelspin; `None` without revs.
    pub gripped: Option<Odometer>,
    /// The car's place on the track; `None` where no pattern repeats.
    pub places: Option<Places>,
    /// Whether laps found in the log begin where the car's other runs have the line.
    pub line_shared: bool,
    /// What the list said of each offset, where one was laid.
    pub alignment: Option<Alignment>,
    /// Remarks.
    pub notices: Vec<Notice>,
}

impl Laps {
    /// Lays the list with its first passing at `first` in place of where it was.
    pub fn lay(&mut self, first: Estimate) {
        let (Some(old), Some(odometer)) = (self.first_passing, &self.odometer) else { return };
        let ends = self.rows.first().map(|l| l.start_s).into_iter().chain(self.rows.iter().map(|l| l.end_s));
        let passings: Vec<f64> = ends.map(|t| t + first.value - old.value).collect();
        self.rows = cut(odometer, &passings);
        set_aside(&mut self.rows, odometer);
        self.first_passing = Some(first);
    }

    /// The line's place on the run's own profile, share of a lap.
    pub fn line(&self) -> Option<f64> {
        let places = self.places.as_ref()?;
        let passings: Vec<f64> = self.counted().map(|l| places.laps_at(l.start_s)).collect();
        (!passings.is_empty()).then(|| align::around(&passings).0)
    }

    /// Lets laps that were found in the log begin at another place of its profile.
    pub fn start_laps_at(&mut self, line: f64) {
        let (Some(places), Some(odometer)) = (&self.places, &self.odometer) else { return };
        let passings = places.passings_at(line.rem_euclid(1.0));
        self.first_passing = passings.first().map(|&t| Estimate::from_half_width(t, found_doubt(&passings)));
        self.rows = cut(odometer, &passings);
        set_aside(&mut self.rows, odometer);
        self.line_shared = true;
    }

    /// Laps that count.
    pub fn counted(&self) -> impl Iterator<Item = &Lap> {
        self.rows.iter().filter(|l| l.set_aside.is_none())
    }

    /// Median time of the laps that count, s.
    pub fn median_s(&self) -> Option<f64> {
        median(self.counted().map(Lap::time_s))
    }

    /// The best of the laps that count.
    pub fn best(&self) -> Option<&Lap> {
        self.counted().min_by(|a, b| a.time_s().total_cmp(&b.time_s()))
    }

    /// Best time of the laps that count, s.
    pub fn best_s(&self) -> Option<f64> {
        self.best().map(Lap::time_s)
    }
}

/// Lays `list` onto the log's revs, or finds laps in them. `expected_turns` is the lap in motor turns that
/// the sheet tells, with its relative half-width.
pub fn measure(odometer: Option<Odometer>, list: Option<&LapList>, expected_turns: Option<(f64, f64)>) -> Laps {
    let gripped = odometer.as_ref().map(Odometer::gripped);
    let mut laps = Laps {
        source: Source::None,
        first_passing: None,
        rows: Vec::new(),
        odometer,
        gripped,
        places: None,
        alignment: None,
        line_shared: false,
        notices: Vec::new(),
    };
    let (Some(odometer), Some(gripped)) = (&laps.odometer, &laps.gripped) else {
        laps.notices.push(Notice::warning(NoticeCode::NoLaps, "without revs there are no laps"));
        return laps;
    };
    let time = odometer.rows().0;
    let (rows, seconds) = (time.len(), time.last().copied().unwrap_or(0.0));
    if (rows as f64) < LEAST_HZ * seconds {
        let message = format!("{rows} rows in {seconds:.0} s are too few to tell laps");
        laps.notices
            .push(Notice::warning(NoticeCode::NoLaps, message).hint("set the recorder to several rows a second"));
        return laps;
    }
    let told = list.and_then(|l| by_list(odometer, l)).or(expected_turns);
    laps.places = Places::find(gripped, told);
    let placed = laps.places.as_ref().zip(list).and_then(|(p, l)| {
        let alignment = align::align(odometer, p, &l.passings)?;
        Some((alignment.first_passing()?, alignment, l))
    });
    if let Some((first, alignment, list)) = placed {
        laps.alignment = Some(alignment);
        laps.source = Source::List;
        laps.first_passing = Some(first);
        laps.rows = cut(odometer, &list.passings.iter().map(|p| p + first.value).collect::<Vec<_>>());
        laps.notices.extend(list.notices.iter().cloned());
    } else if let Some(places) = &laps.places {
        if list.is_some() {
            laps.notices.push(
                Notice::warning(
                    NoticeCode::ListDoesNotFit,
                    "the lap list does not fit the log; laps were found in the log",
                )
                .hint("check that the sheet names this run's list"),
            );
        }
        let passings = places.passings();
        laps.source = Source::Found;
        laps.first_passing = passings.first().map(|&t| Estimate::from_half_width(t, found_doubt(&passings)));
        laps.rows = cut(odometer, &passings);
    } else {
        laps.notices.push(Notice::warning(NoticeCode::NoLaps, "no pattern of revs repeats: laps could not be found"));
    }
    set_aside(&mut laps.rows, odometer);
    laps
}

/// How far the passing of a place may be off, s: a place on the profile is known to about its cell.
fn found_doubt(passings: &[f64]) -> f64 {
    median(passings.windows(2).map(|w| w[1] - w[0])).unwrap_or(0.0) / place::CELLS as f64
}

/// A list tells the lap in motor turns, to the pace's scatter and the share of the log spent standing.
fn by_list(odometer: &Odometer, list: &LapList) -> Option<(f64, f64)> {
    let lap = median(list.passings.windows(2).map(|w| w[1] - w[0]))?;
    let (time, rpm) = odometer.rows();
    let fast = rpm.iter().copied().fold(0.0, f64::max);
    let (mut seconds, mut turns) = (0.0, 0.0);
    for (at, w) in time.windows(2).enumerate() {
        if rpm[at] > 0.1 * fast {
            seconds += w[1] - w[0];
            turns += (rpm[at] + rpm[at + 1]) / 120.0 * (w[1] - w[0]);
        }
    }
    (seconds > lap).then(|| (turns / seconds * lap, 0.12))
}

fn cut(odometer: &Odometer, passings: &[f64]) -> Vec<Lap> {
    let lap = |(at, w): (usize, &[f64])| Lap {
        number: at as u32 + 1,
        start_s: w[0],
        end_s: w[1],
        turns: odometer.turns_at(w[1]) - odometer.turns_at(w[0]),
        set_aside: None,
    };
    passings.windows(2).enumerate().map(lap).collect()
}

/// Sets laps aside that would spoil the statistics, each with its reason.
fn set_aside(rows: &mut [Lap], odometer: &Odometer) {
    let Some(middle) = median(rows.iter().map(Lap::time_s)) else { return };
    let times: Vec<f64> = rows.iter().map(Lap::time_s).collect();
    let scatter = robust_deviation(&times).unwrap_or(0.0);
    let turns = median(rows.iter().map(|l| l.turns)).unwrap_or(0.0);
    let (from, to) = odometer.span();
    for (at, lap) in rows.iter_mut().enumerate() {
        let ratio = lap.time_s() / middle;
        let stood = longest_rest(odometer, lap);
        let far = (lap.time_s() - middle).abs() > (FAR_DEVIATIONS * scatter).max(FAR_LEAST * middle)
            || (ratio - 1.0).abs() > FAR;
        lap.set_aside = match () {
            () if lap.start_s < from - 1e-9 || lap.end_s > to + 1e-9 => Some(SetAside::Outside),
            () if stood.is_some_and(|(start, _)| at == 0 && start <= lap.start_s + STOP_S) => Some(SetAside::OutLap),
            () if stood.is_some() => Some(SetAside::Stop),
            () if odometer.longest_gap(lap.start_s, lap.end_s) > LOST_S => Some(SetAside::RowsLost),
            () if ratio > 1.6 && lap.turns > 1.6 * turns => Some(SetAside::MissedPassing),
            () if far => Some(SetAside::Far),
            () => None,
        };
    }
}

/// Start and end of the longest rest of a second or more within a lap.
fn longest_rest(odometer: &Odometer, lap: &Lap) -> Option<(f64, f64)> {
    let (time, rpm) = odometer.rows();
    let slow = STANDING * rpm.iter().copied().fold(0.0, f64::max);
    let (first, last) = (time.partition_point(|t| *t < lap.start_s), time.partition_point(|t| *t <= lap.end_s));
    let mut best: Option<(f64, f64)> = None;
    let mut from = None;
    for at in first..last {
        match (rpm[at] <= slow, from) {
            (true, None) => from = Some(time[at]),
            (false, Some(_)) => from = None,
            _ => {}
        }
        if let Some(start) = from
            && time[at] - start >= STOP_S
            && best.is_none_or(|b| time[at] - start > b.1 - b.0)
        {
            best = Some((start, time[at]));
        }
    }
    best
}
