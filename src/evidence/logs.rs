//! Is the log that of its run?
//!
//! One log can have been driven in one run only: where two runs name the same readings, one of them is wrong, and
//! nothing says which. Logs of two cars that were exchanged show by the voltage at rest and by the motor turns of a
//! lap, where the cars differ in them.

use std::fmt::{self, Display};

use super::electrics::resting_volts;
use super::{Evidence, Member, RunToWeigh, Subject, Why as AnyWhy};
use crate::gears::set_rollout_mm;
use crate::laps::list_verdict::ListVerdict;
use crate::log::Channel;
use crate::notice::printable;
use crate::sheet::Settings;

/// Voltage of a lithium cell at rest, V: from empty to full (makers' tables).
const RESTING_CELL_V: std::ops::RangeInclusive<f64> = 3.0..=4.3;
/// A lap's turns are within this of those by a car's sheet, as a logarithm, where the log is that car's: wear, slip,
/// and a pinion that is a tooth off. Common practice, no source.
const OWN_TURNS: f64 = 0.08;
/// Turns that are farther off than this are another car's. Common practice, no source: four teeth of thirty.
const OTHER_TURNS: f64 = 0.13;

/// Why a log is not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// Another run has the same readings.
    SameAs {
        /// The other run.
        run: String,
        /// Whether the two are copies of one recording in files of their own.
        copy: bool,
    },
    /// It fits another car of the weekend and not its own.
    OtherCar(String),
}

impl Why {
    /// What to do about it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::SameAs { .. } => "name each run's own log on the sheet",
            Self::OtherCar(_) => "check which log belongs to which run",
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SameAs { run, copy: false } => write!(f, "run {run} has the same log, and one entry is wrong"),
            Self::SameAs { run, copy: true } => {
                write!(f, "it has the same readings as the log of run {run}, and one entry is wrong")
            }
            Self::OtherCar(car) => write!(f, "this log is from the {car}, not from the car of this run"),
        }
    }
}

/// What the runs say of each other's logs.
pub fn weigh_together(members: &mut [Member]) {
    let twins: Vec<(usize, Why)> = (0..members.len()).filter_map(|n| Some((n, twin(members, n)?))).collect();
    for (n, why) in twins {
        members[n].evidence.add(Evidence::unusable(Subject::Log, AnyWhy::Log(why)));
    }
    let others: Vec<(usize, String)> = (0..members.len()).filter_map(|n| Some((n, other_car(members, n)?))).collect();
    for (n, car) in others {
        let why = AnyWhy::Log(Why::OtherCar(printable(&car, 40)));
        members[n].evidence.add(Evidence::unusable(Subject::Log, why));
    }
}

/// Another run with the same readings. A run whose lap list is the log's own keeps it, where the other's is not.
fn twin(members: &[Member], n: usize) -> Option<Why> {
    let own = &members[n].run;
    let same = |m: &usize| {
        *m != n && same_readings(own.log.time(), members[*m].run.log.time()) && {
            Channel::ALL.iter().any(|c| own.log.channel(*c).is_some() && *c != Channel::Time)
                && Channel::ALL.iter().all(|c| match (own.log.channel(*c), members[*m].run.log.channel(*c)) {
                    (Some(one), Some(other)) => same_readings(one, other),
                    (None, None) => true,
                    _ => false,
                })
        }
    };
    let other = members[(0..members.len()).find(same)?].run;
    let has_its_list = |run: &RunToWeigh| run.laps.list == Some(ListVerdict::Sound);
    if has_its_list(own) && !has_its_list(&other) {
        return None;
    }
    Some(Why::SameAs { run: printable(&other.plan.id, 40), copy: other.plan.log != own.plan.log })
}

/// Whether two columns hold the same readings, as far as a file keeps them.
fn same_readings(one: &[f64], other: &[f64]) -> bool {
    const KEPT: f64 = 1e-6;
    let same = |(a, b): (&f64, &f64)| (a - b).abs() <= KEPT * a.abs().max(1.0) || (a.is_nan() && b.is_nan());
    one.len() == other.len() && one.iter().zip(other).all(same)
}

/// The car that the log of the run at `n` fits, where it does not fit its own.
fn other_car(members: &[Member], n: usize) -> Option<String> {
    let own = &members[n];
    let facts = Facts::of(own);
    let fits_own = facts.fit(&own.run.plan.settings);
    if fits_own.cells == Some(true) && fits_own.turns != Some(false) || !fits_own.speaks_against() {
        return None;
    }
    let others = members.iter().filter(|m| m.car() != own.car() && !m.car().is_empty());
    let mut fitting = others.filter(|m| facts.fit(&m.run.plan.settings).speaks_for());
    Some(fitting.next()?.car().to_owned())
}

/// How a log goes with a car's settings; `None` where they do not tell.
#[derive(Clone, Copy)]
struct Fit {
    /// Whether its voltage at rest is that of the car's cells.
    cells: Option<bool>,
    /// Whether a lap takes as many motor turns as the car's gearing needs; `None` too where it is a near thing.
    turns: Option<bool>,
}

impl Fit {
    /// Not the car's by its turns, and not by its cells either where they tell.
    fn speaks_against(self) -> bool {
        self.turns == Some(false) && self.cells != Some(true) || self.cells == Some(false) && self.turns.is_none()
    }

    /// The car's by all that is known, and something is.
    fn speaks_for(self) -> bool {
        self.cells != Some(false) && self.turns == Some(true)
    }
}

/// What a log shows of the car that it is of, whichever that is.
struct Facts {
    rest_v: Option<f64>,
    turns_a_lap: Option<f64>,
    lap_length_m: Option<f64>,
}

impl Facts {
    fn of(member: &Member) -> Self {
        Self {
            rest_v: resting_volts(&member.run),
            turns_a_lap: member.run.laps.gripped_turns(),
            lap_length_m: member.lap_length_m,
        }
    }

    fn fit(&self, settings: &Settings) -> Fit {
        let cells = settings.number("battery.cells").zip(self.rest_v).map(|(n, v)| RESTING_CELL_V.contains(&(v / n)));
        let turns = self.turns_a_lap.zip(set_rollout_mm(settings)).zip(self.lap_length_m);
        let off = turns.map(|((turns, mm), length)| (turns * mm / (length * 1000.0)).ln().abs());
        let turns = off.filter(|off| !(OWN_TURNS..=OTHER_TURNS).contains(off)).map(|off| off < OWN_TURNS);
        Fit { cells, turns }
    }
}
