//! Laps: a list laid onto the log, or laps found in the log alone; and which of them count.

pub mod align;
mod driven;
pub mod fixes;
pub mod grip;
pub mod ground;
mod lap_orders;
mod list_check;
pub mod list_verdict;
pub mod lists;
pub mod odometer;
pub mod offset;
mod passing_errors;
pub mod period;
pub mod place;
pub mod pull;
mod slip;
mod smoother;
mod turns_of_laps;
pub mod typed;
mod whole_laps;

use align::Alignment;
use list_check::LaidList;
use list_verdict::{ListReason, ListVerdict};
use lists::{AbsurdTime, LapList};
use odometer::Odometer;
use period::{ExpectedTurns, LONGEST_LAP_S, SHORTEST_LAP_S};
use place::Places;

use crate::notice::{Notice, NoticeCode};
use crate::quantity::Estimate;
use crate::statistics::quantiles::{median, median_step, robust_deviation};

/// Fewest rows a second with which laps can be told: a lap takes ten seconds or more and needs a few rows.
const LEAST_HZ: f64 = 0.5;
/// Standing for this long within a lap is a stop, s. Common practice, no source.
const STOP_S: f64 = 1.0;
/// Below this share of the run's highest revs the car stands. Common practice, no source.
const STANDING: f64 = 0.02;
/// A gap in the log of this length leaves too much of a lap to guess, s. Common practice, no source.
const LOST_S: f64 = 1.0;
/// A lap farther from the median than this share of it is set aside, whatever the scatter. Common practice, no source.
const FAR: f64 = 0.10;
/// A lap farther from the median than this many robust deviations, and than this share of it, is set aside. Common
/// practice, no source.
const FAR_DEVIATIONS: f64 = 6.0;
const FAR_LEAST: f64 = 0.025;
/// A lap of this many times the median's time and turns holds a missed passing: less than two laps, since they need not
/// be of one length. Common practice, no source.
const TWO_LAPS: f64 = 1.6;
/// Share of the laps found, stops left out, that must be near their median: fewer are no laps of one track. A default,
/// no source.
const REGULAR: f64 = 0.5;
/// Microseconds in a second.
const MICROSECONDS: f64 = 1e6;
/// Slack at the ends of the log, s.
const TIME_SLACK_S: f64 = 1e-9;
/// Share of the run's highest revs above which the car drives: its turns over the time it drives are its usual pace.
/// Common practice, no source.
const DRIVING: f64 = 0.1;
/// How far the turns of a lap may be from what a list lets expect, as a share: the pace changes from lap to lap. Common
/// practice, no source.
const LIST_WIDTH: f64 = 0.12;

/// Where the laps came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// A lap list laid onto the log.
    List,
    /// The repeating pattern of revs.
    Found,
    /// There are none.
    None,
}

/// Why a lap is kept out of the statistics.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SetAside {
    /// The car stood in it.
    #[serde(rename = "stop")]
    Stop,
    /// It started from standing.
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
    /// Log seconds in a second of the lap list; 1 where both clocks run alike.
    pub clock_scale: f64,
    /// Why it does not count; `None` where it does.
    pub set_aside: Option<SetAside>,
}

impl Lap {
    /// Duration, s, by the lap list's clock where there is one; to the microsecond, so that a time of the list is the
    /// same wherever in the log it was laid.
    pub fn time_s(&self) -> f64 {
        ((self.end_s - self.start_s) / self.clock_scale * MICROSECONDS).round() / MICROSECONDS
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
    /// The same of the car, without the turns that its wheels spun; `None` without revs.
    pub gripped: Option<Odometer>,
    /// The car's place on the track; `None` where no pattern repeats.
    pub places: Option<Places>,
    /// Whether laps found in the log begin where the car's other runs have the line.
    pub line_shared: bool,
    /// How likely each offset between log and list is, where a list was laid.
    pub alignment: Option<Alignment>,
    /// What the lap list is worth; `None` without one.
    pub list: Option<ListVerdict>,
    /// Log seconds in a second of the lap list, where the two clocks differ by more than they may; above 1 the
    /// recorder's clock runs fast.
    pub clock_scale: Option<Estimate>,
    /// Remarks.
    pub notices: Vec<Notice>,
}

impl Laps {
    /// Moves the list so that its first passing is at `first`, log time in s.
    pub fn lay(&mut self, first: Estimate) {
        let (Some(old), Some(odometer)) = (self.first_passing, &self.odometer) else { return };
        let ends = self.rows.first().map(|l| l.start_s).into_iter().chain(self.rows.iter().map(|l| l.end_s));
        let passings: Vec<f64> = ends.map(|t| t + first.value - old.value).collect();
        let scale = self.rows.first().map_or(1.0, |lap| lap.clock_scale);
        self.rows = cut(odometer, &passings, scale);
        self.first_passing = Some(first);
    }

    /// The line's place on the run's own profile, share of a lap.
    pub fn line(&self) -> Option<f64> {
        let places = self.places.as_ref()?;
        let passings: Vec<f64> = self.counted().map(|l| places.laps_at(l.start_s)).collect();
        (!passings.is_empty()).then(|| offset::common_place(passings))
    }

    /// Moves laps that were found in the log so that they begin at the place `line` of its profile, share of a lap.
    pub fn start_laps_at(&mut self, line: f64) {
        let (Some(places), Some(odometer)) = (&self.places, &self.odometer) else { return };
        let passings = places.passings_at(line.rem_euclid(1.0));
        self.first_passing = first_found(&passings);
        self.rows = cut(odometer, &passings, 1.0);
        self.line_shared = true;
    }

    /// The laps that count.
    pub fn counted(&self) -> impl Iterator<Item = &Lap> {
        self.rows.iter().filter(|l| l.set_aside.is_none())
    }

    /// Median time of the laps that count, s.
    pub fn median_s(&self) -> Option<f64> {
        median(self.counted().map(Lap::time_s))
    }

    /// Median motor turns of the laps that count, without those that the wheels spun; `None` without revs or laps.
    pub fn gripped_turns(&self) -> Option<f64> {
        let car = self.gripped.as_ref()?;
        median(self.counted().map(|l| car.turns_at(l.end_s) - car.turns_at(l.start_s)))
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

/// Lays `list` onto the log's revs, or finds laps in them. `expected` are the motor turns of a lap by the sheet, where
/// it tells them.
pub fn measure(odometer: Option<Odometer>, list: Option<&LapList>, expected: Option<ExpectedTurns>) -> Laps {
    let gripped = odometer.as_ref().map(grip::car_odometer);
    let mut laps = Laps {
        source: Source::None,
        first_passing: None,
        rows: Vec::new(),
        odometer,
        gripped,
        places: None,
        alignment: None,
        list: list.map(|_| ListVerdict::Refused(ListReason::NoPattern)),
        clock_scale: None,
        line_shared: false,
        notices: Vec::new(),
    };
    let (Some(odometer), Some(gripped)) = (&laps.odometer, &laps.gripped) else {
        laps.notices.push(Notice::warning(NoticeCode::NoLaps, "there are no laps, because the log has no revs"));
        return laps;
    };
    if let Some(notice) = too_few_rows(odometer) {
        laps.notices.push(notice);
        return laps;
    }
    let refused = list.and_then(|list| list_check::refuse_early(odometer, list));
    let (places, laid) = match list.filter(|_| refused.is_none()) {
        Some(list) => laid_on(odometer, gripped, list, expected),
        None => (Places::find(gripped, expected), Err(refused)),
    };
    match (laid, &places) {
        (Ok(laid), _) => {
            laps.source = Source::List;
            laps.first_passing = Some(laid.first);
            let passings: Vec<f64> = laid.passings.iter().map(|p| p + laid.first.value).collect();
            laps.rows = cut(odometer, &passings, laid.scale);
            laps.list = Some(with_absurd_time(laid.verdict, list));
            laps.clock_scale = laid.clock_scale;
            laps.alignment = Some(laid.alignment);
            laps.notices.extend(list.iter().flat_map(|list| list.notices.iter().cloned()));
        }
        (Err(refused), Some(places)) => {
            laps.notices.extend(refused.as_ref().map(list_does_not_fit));
            laps.list = refused.map(ListVerdict::Refused);
            let passings = places.passings();
            let rows = cut(odometer, &passings, 1.0);
            match irregular(&rows) {
                Some(notice) => laps.notices.push(notice),
                None => {
                    laps.source = Source::Found;
                    laps.first_passing = first_found(&passings);
                    laps.rows = rows;
                }
            }
        }
        (Err(refused), None) => {
            laps.list = refused.map(ListVerdict::Refused);
            let message = format!(
                "no laps were found: the revs show no pattern that repeats every {SHORTEST_LAP_S:.0} to \
                 {LONGEST_LAP_S:.0} s"
            );
            laps.notices.push(Notice::warning(NoticeCode::NoLaps, message));
        }
    }
    // Where no laps were told, neither was a place.
    laps.places = places.filter(|_| laps.source != Source::None);
    laps
}

/// A notice where laps that were found, of which some are set aside, differ so much that they are no laps of one track.
fn irregular(rows: &[Lap]) -> Option<Notice> {
    let unspoilt = |lap: &&Lap| matches!(lap.set_aside, None | Some(SetAside::Far | SetAside::MissedPassing));
    let times: Vec<f64> = rows.iter().filter(unspoilt).map(Lap::time_s).collect();
    let even = rows.iter().filter(|lap| lap.set_aside.is_none()).count();
    let (shortest, longest) = times.iter().fold((f64::INFINITY, 0.0), |(a, b), t| (t.min(a), t.max(b)));
    ((even as f64) < REGULAR * times.len() as f64).then(|| {
        let message = format!(
            "whether these are laps cannot be told: the revs repeat, but in {shortest:.1} to {longest:.1} s a lap"
        );
        Notice::warning(NoticeCode::NoLaps, message).hint("enter the lap list of this run under `laps`")
    })
}

/// The places with the list laid on them, or the places without it and why it is refused.
fn laid_on(
    odometer: &Odometer,
    gripped: &Odometer,
    list: &LapList,
    expected: Option<ExpectedTurns>,
) -> (Option<Places>, Result<LaidList, Option<ListReason>>) {
    let by_list = expected_by_list(odometer, list);
    let misfit = match Places::find(gripped, by_list.or(expected)) {
        Some(places) => match list_check::lay((odometer, gripped), &places, list) {
            Ok(laid) => return (Some(places), Ok(laid)),
            Err(misfit) => misfit,
        },
        None => return (None, Err(Some(ListReason::NoPattern))),
    };
    // What a foreign list lets expect of a lap is wrong.
    let places = Places::find(gripped, expected);
    let log_lap_s = places.as_ref().and_then(|p| median_step(&p.passings()));
    let reason = misfit.reason(odometer, list, log_lap_s);
    (places, Err(Some(reason)))
}

/// A sound list of which a part was left out is doubtful.
fn with_absurd_time(verdict: ListVerdict, list: Option<&LapList>) -> ListVerdict {
    match (verdict, list.and_then(|list| list.absurd)) {
        (ListVerdict::Sound, Some(AbsurdTime { seconds, line })) => {
            ListVerdict::Doubtful(ListReason::AbsurdTime { seconds, line })
        }
        (verdict, _) => verdict,
    }
}

/// A notice where the log has too few rows for its laps to be told.
fn too_few_rows(odometer: &Odometer) -> Option<Notice> {
    let time = odometer.rows().0;
    let (rows, seconds) = (time.len(), time.last().copied().unwrap_or(0.0));
    ((rows as f64) < LEAST_HZ * seconds).then(|| {
        let message = format!("{rows} rows in {seconds:.0} s are too few to tell laps");
        Notice::warning(NoticeCode::NoLaps, message).hint("set the recorder to several rows a second")
    })
}

fn list_does_not_fit(reason: &ListReason) -> Notice {
    let message = format!("the lap list does not fit the log: {reason}; laps were found in the log");
    Notice::warning(NoticeCode::ListDoesNotFit, message).hint(reason.hint())
}

/// The first of passings that were found in the log: a place on the profile is known to about its cell.
fn first_found(passings: &[f64]) -> Option<Estimate> {
    let lap_s = median_step(passings).unwrap_or(0.0);
    passings.first().map(|&first| Estimate::from_half_width(first, lap_s / place::CELLS as f64))
}

/// Motor turns of a lap by a list: its median lap at the pace of the rows in which the car drives.
fn expected_by_list(odometer: &Odometer, list: &LapList) -> Option<ExpectedTurns> {
    let lap_s = median_step(&list.passings)?;
    let (time, rpm) = odometer.rows();
    let driving = DRIVING * odometer.highest_rpm();
    let (mut seconds, mut turns) = (0.0, 0.0);
    for (row, step) in time.windows(2).enumerate().filter(|(row, _)| rpm[*row] > driving) {
        seconds += step[1] - step[0];
        // Revs are in turns a minute.
        turns += (rpm[row] + rpm[row + 1]) / 120.0 * (step[1] - step[0]);
    }
    let expected = ExpectedTurns { turns: turns / seconds * lap_s, relative_half_width: LIST_WIDTH };
    (seconds > lap_s).then_some(expected)
}

/// The laps between passings by a clock of which a second takes `clock_scale` of the log's, those set aside that would
/// spoil the statistics.
fn cut(odometer: &Odometer, passings: &[f64], clock_scale: f64) -> Vec<Lap> {
    let lap = |(n, ends): (usize, &[f64])| Lap {
        number: n as u32 + 1,
        start_s: ends[0],
        end_s: ends[1],
        turns: odometer.turns_at(ends[1]) - odometer.turns_at(ends[0]),
        clock_scale,
        set_aside: None,
    };
    let mut rows: Vec<Lap> = passings.windows(2).enumerate().map(lap).collect();
    set_aside(&mut rows, odometer);
    rows
}

/// Sets laps aside that would spoil the statistics, each with its reason.
fn set_aside(rows: &mut [Lap], odometer: &Odometer) {
    let Some(middle) = median(rows.iter().map(Lap::time_s)) else { return };
    let times: Vec<f64> = rows.iter().map(Lap::time_s).collect();
    let scatter = robust_deviation(&times).unwrap_or(0.0);
    let turns = median(rows.iter().map(|l| l.turns)).unwrap_or(0.0);
    let (from, to) = odometer.span();
    let farthest = (FAR_DEVIATIONS * scatter).max(FAR_LEAST * middle);
    for (n, lap) in rows.iter_mut().enumerate() {
        let ratio = lap.time_s() / middle;
        let stop = longest_stop(odometer, lap);
        lap.set_aside = if lap.start_s < from - TIME_SLACK_S || lap.end_s > to + TIME_SLACK_S {
            Some(SetAside::Outside)
        } else if stop.is_some_and(|stop| n == 0 && stop.start_s <= lap.start_s + STOP_S) {
            Some(SetAside::OutLap)
        } else if stop.is_some() {
            Some(SetAside::Stop)
        } else if odometer.longest_gap(lap.start_s, lap.end_s) > LOST_S {
            Some(SetAside::RowsLost)
        } else if ratio > TWO_LAPS && lap.turns > TWO_LAPS * turns {
            Some(SetAside::MissedPassing)
        } else if (lap.time_s() - middle).abs() > farthest || (ratio - 1.0).abs() > FAR {
            Some(SetAside::Far)
        } else {
            None
        };
    }
}

/// A time in which the car stands.
#[derive(Clone, Copy)]
struct Stop {
    start_s: f64,
    end_s: f64,
}

/// The longest stop of a second or more within a lap.
fn longest_stop(odometer: &Odometer, lap: &Lap) -> Option<Stop> {
    let (time, rpm) = odometer.rows();
    let slow = STANDING * odometer.highest_rpm();
    let (first, last) = (time.partition_point(|t| *t < lap.start_s), time.partition_point(|t| *t <= lap.end_s));
    let mut longest: Option<Stop> = None;
    let mut stood_since = None;
    for row in first..last {
        if rpm[row] > slow {
            stood_since = None;
            continue;
        }
        let stop = Stop { start_s: *stood_since.get_or_insert(time[row]), end_s: time[row] };
        let seconds = stop.end_s - stop.start_s;
        if seconds >= STOP_S && longest.is_none_or(|l| seconds > l.end_s - l.start_s) {
            longest = Some(stop);
        }
    }
    longest
}
