//! What each channel, lap list and sheet value of a run is worth: sound, doubtful or unusable, why, and by what.
//!
//! A reading is held against physics, against the run's other channels, and against the other runs of the weekend; it
//! is never held against what one recorder or one car happens to show. The answers ([`crate::measure`]) take only what
//! is sound or doubtful, and say "cannot tell" with the reason where something they need is unusable.
//!
//! A file a kind: [`temperatures`], [`starts`], [`electrics`], [`revs`], [`ground`], [`clock`], [`lists`], [`sheet`],
//! [`logs`].

pub mod clock;
pub mod electrics;
mod frozen;
pub mod ground;
pub mod lists;
pub mod logs;
pub mod revs;
pub mod sheet;
pub mod starts;
mod swings;
pub mod temperatures;

use std::fmt::{self, Display};
use std::mem::discriminant;

use schemars::JsonSchema;
use serde::Serialize;

use crate::laps::{Laps, Source};
use crate::log::{Channel, Log};
use crate::notice::printable;
use crate::sheet::{RunPlan, Setting, Sheet, keys};

/// Path of the lap length on the sheet.
pub const LAP_LENGTH: &str = "track.lap_length_m";
/// Path of the air temperature on the sheet.
pub const AIR: &str = "ambient_c";

/// Keys of a car or a run that answers rest on.
const KEYS: [&str; 9] = [
    "pinion",
    "spur",
    "internal_ratio",
    "tyre_diameter_mm",
    "mass_kg",
    "battery.cells",
    "battery.capacity_mah",
    "limits.motor_c",
    "limits.esc_c",
];

/// What a reading or a value is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Worth {
    /// Nothing speaks against it.
    Sound,
    /// It may be wrong: answers use it and say so.
    Doubtful,
    /// It cannot be true: no answer uses it.
    Unusable,
}

/// What evidence is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A channel of the log.
    Channel(Channel),
    /// The lap list, or the laps that were found.
    Laps,
    /// The log as a whole.
    Log,
    /// A value of the sheet by its full path, such as `battery.cells` or `track.lap_length_m`.
    Setting(&'static str),
}

impl Subject {
    /// Its name in `review.json`.
    pub fn key(self) -> &'static str {
        match self {
            Self::Channel(channel) => channel.name(),
            Self::Laps => "laps",
            Self::Log => "log",
            Self::Setting(path) => path,
        }
    }

    /// What a racer calls it.
    pub fn label(self) -> &'static str {
        match self {
            Self::Channel(Channel::Rpm) => "revs",
            Self::Channel(channel) => channel.label(),
            Self::Laps => "laps",
            Self::Log => "log",
            Self::Setting(path) => keys::label(path),
        }
    }
}

/// Why something is not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// A temperature.
    Temperature(temperatures::Why),
    /// A current or a voltage.
    Electrics(electrics::Why),
    /// Where a temperature starts.
    Start(starts::Why),
    /// The revs.
    Revs(revs::Why),
    /// The ground speed.
    Ground(ground::Why),
    /// The recorder's clock.
    Clock(clock::Why),
    /// A lap list.
    List(lists::Why),
    /// A value of the sheet.
    Sheet(sheet::Why),
    /// The log.
    Log(logs::Why),
}

impl Why {
    /// Whether it is the same reason, whatever its figures.
    pub fn is_alike(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Temperature(one), Self::Temperature(other)) => discriminant(one) == discriminant(other),
            (Self::Electrics(one), Self::Electrics(other)) => discriminant(one) == discriminant(other),
            (Self::Start(one), Self::Start(other)) => discriminant(one) == discriminant(other),
            (Self::Revs(one), Self::Revs(other)) => discriminant(one) == discriminant(other),
            (Self::Ground(one), Self::Ground(other)) => one.is_alike(other),
            (Self::Clock(_), Self::Clock(_)) => true,
            (Self::List(one), Self::List(other)) => one.is_alike(other),
            (one, other) => one == other,
        }
    }

    /// What to do about it; empty where the reason says it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Temperature(why) => why.advice(),
            Self::Electrics(why) => why.advice(),
            Self::Start(why) => why.advice(),
            Self::Revs(why) => why.advice(),
            Self::Ground(why) => why.advice(),
            Self::Clock(why) => why.advice(),
            Self::List(why) => why.advice(),
            Self::Sheet(why) => why.advice(),
            Self::Log(why) => why.advice(),
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temperature(why) => why.fmt(f),
            Self::Electrics(why) => why.fmt(f),
            Self::Start(why) => why.fmt(f),
            Self::Revs(why) => why.fmt(f),
            Self::Ground(why) => why.fmt(f),
            Self::Clock(why) => why.fmt(f),
            Self::List(why) => why.fmt(f),
            Self::Sheet(why) => why.fmt(f),
            Self::Log(why) => why.fmt(f),
        }
    }
}

/// A part of a log, in log time, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Its start.
    pub from_s: f64,
    /// Its end.
    pub to_s: f64,
}

/// What one channel, list or value is worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// What it is about.
    pub of: Subject,
    /// What it is worth.
    pub worth: Worth,
    /// Why it is not sound; `None` where it is.
    pub why: Option<Why>,
    /// The part of a channel that may be used, where that is not all of it. The rest is not used.
    pub span: Option<Span>,
}

impl Evidence {
    /// Nothing speaks against it.
    pub fn sound(of: Subject) -> Self {
        Self { of, worth: Worth::Sound, why: None, span: None }
    }

    /// It may be wrong.
    pub fn doubtful(of: Subject, why: Why) -> Self {
        Self { of, worth: Worth::Doubtful, why: Some(why), span: None }
    }

    /// It cannot be true.
    pub fn unusable(of: Subject, why: Why) -> Self {
        Self { of, worth: Worth::Unusable, why: Some(why), span: None }
    }

    /// A channel of which only a part is sound.
    pub fn partly(of: Subject, why: Why, span: Span) -> Self {
        Self { of, worth: Worth::Doubtful, why: Some(why), span: Some(span) }
    }
}

/// A run as it is weighed: read and lapped, nothing answered.
#[derive(Debug, Clone, Copy)]
pub struct RunToWeigh<'a> {
    /// What the sheet says of it.
    pub plan: &'a RunPlan,
    /// Its log as read.
    pub log: &'a Log,
    /// Its laps.
    pub laps: &'a Laps,
}

/// What all that a run's answers rest on is worth, each thing once.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RunEvidence(Vec<Evidence>);

impl RunEvidence {
    /// Everything there is in a run, sound for now.
    fn all_sound(run: &RunToWeigh, sheet: &Sheet) -> Self {
        let channels = run.log.reading.channels.iter().map(|source| Subject::Channel(source.channel));
        let laps = (run.laps.source != Source::None || run.plan.laps.is_some()).then_some(Subject::Laps);
        let length = sheet.lap_length_m.map(|_| Subject::Setting(LAP_LENGTH));
        let air = run.plan.ambient_c.map(|_| Subject::Setting(AIR));
        let settings = KEYS.into_iter().filter(|key| run.plan.settings.0.contains_key(*key)).map(Subject::Setting);
        Self(channels.chain(laps).chain(length).chain(air).chain(settings).map(Evidence::sound).collect())
    }

    /// Adds what was found; of two findings on one thing the worse stands, and the first of two that are as bad.
    pub fn add(&mut self, found: Evidence) {
        match self.0.iter_mut().find(|e| e.of == found.of) {
            Some(known) if known.worth < found.worth => *known = found,
            Some(_) => {}
            None => self.0.push(found),
        }
    }

    /// Weighs the laps anew, after they were found again.
    pub fn weigh_laps_again(&mut self, run: &RunToWeigh) {
        let clock = Subject::Channel(Channel::Time);
        for known in self.0.iter_mut().filter(|e| e.of == Subject::Laps || e.of == clock) {
            *known = Evidence::sound(known.of);
        }
        lists::weigh(run).into_iter().chain(clock::weigh(run)).for_each(|e| self.add(e));
    }

    /// Whether the revs are the motor's but for a whole factor: they show laps and times all the same.
    pub fn revs_are_scaled(&self) -> bool {
        let why = self.of(Subject::Channel(Channel::Rpm)).and_then(|e| e.why.as_ref());
        matches!(why, Some(Why::Revs(why)) if why.is_factor())
    }

    /// Whether revs are missing in some rows, which is mended before laps are found.
    pub fn revs_have_gaps(&self) -> bool {
        let revs = self.of(Subject::Channel(Channel::Rpm));
        revs.is_some_and(|e| {
            e.worth == Worth::Doubtful && matches!(e.why, Some(Why::Revs(revs::Why::DroppedOut { .. })))
        })
    }

    /// Of a log that is another run's nothing else is said: whatever does not fit follows from that.
    fn keep_only_the_log(&mut self) {
        for evidence in self.0.iter_mut().filter(|e| e.of != Subject::Log) {
            *evidence = Evidence::sound(evidence.of);
        }
    }

    /// All of it, in the order of log, laps and sheet.
    pub fn iter(&self) -> impl Iterator<Item = &Evidence> {
        self.0.iter()
    }

    /// What is doubtful or unusable.
    pub fn not_sound(&self) -> impl Iterator<Item = &Evidence> {
        self.0.iter().filter(|e| e.worth != Worth::Sound)
    }

    /// The evidence on one thing; `None` where the run does not have it.
    pub fn of(&self, subject: Subject) -> Option<&Evidence> {
        self.0.iter().find(|e| e.of == subject)
    }

    /// What it is worth; sound where nothing was found.
    pub fn worth(&self, subject: Subject) -> Worth {
        self.of(subject).map_or(Worth::Sound, |e| e.worth)
    }

    /// Whether nothing speaks against any of these.
    pub fn are_sound(&self, subjects: &[Subject]) -> bool {
        subjects.iter().all(|subject| self.worth(*subject) == Worth::Sound)
    }

    /// Those of these that are used although they may be wrong.
    pub fn doubtful<'a>(&'a self, subjects: &'a [Subject]) -> impl Iterator<Item = Subject> + 'a {
        subjects.iter().copied().filter(|subject| self.worth(*subject) == Worth::Doubtful)
    }

    /// Why it cannot be used; `None` where it can.
    pub fn refusal(&self, subject: Subject) -> Option<&Why> {
        let refused = |subject| self.of(subject).filter(|e| e.worth == Worth::Unusable)?.why.as_ref();
        let of_log = || matches!(subject, Subject::Channel(_)).then(|| refused(Subject::Log))?;
        refused(subject).or_else(of_log)
    }

    /// The first refusal of several things.
    pub fn first_refusal(&self, subjects: &[Subject]) -> Option<&Why> {
        subjects.iter().find_map(|s| self.refusal(*s))
    }

    /// The log without the channels that cannot be used, and without the parts of channels that cannot.
    pub fn sound_log(&self, log: &Log) -> Log {
        if self.worth(Subject::Log) == Worth::Unusable {
            return log.masked(|_| None);
        }
        let kept = |channel: Channel| match self.of(Subject::Channel(channel)) {
            Some(Evidence { worth: Worth::Unusable, .. }) => None,
            Some(Evidence { span, .. }) => Some(*span),
            None => Some(None),
        };
        let sound = log.masked(|channel| kept(channel).map(|span| span.map(|s| s.from_s..=s.to_s)));
        match log.channel(Channel::Rpm).filter(|_| self.revs_have_gaps()) {
            Some(rpm) => sound.with_channel(Channel::Rpm, revs::mended(log.time(), rpm)),
            None => sound,
        }
    }

    /// The plan without the values that cannot be used: what was written stands as refused, so that it is shown and not
    /// compared.
    pub fn sound_plan(&self, plan: &RunPlan) -> RunPlan {
        let mut sound = plan.clone();
        for evidence in self.0.iter().filter(|e| e.worth == Worth::Unusable) {
            let Subject::Setting(path) = evidence.of else { continue };
            if path == AIR {
                sound.ambient_c = None;
            } else if let Some(setting) = sound.settings.0.get_mut(path) {
                *setting = Setting::Refused(printable(&setting.to_string(), 40));
            }
        }
        sound
    }
}

/// Weighs the runs of a weekend against each other, in order, on top of what each is worth `alone`: against the runs of
/// its car, then all together. `None` is a run that could not be read.
pub fn weigh_together(runs: &[Option<RunToWeigh>], alone: Vec<RunEvidence>, sheet: &Sheet) -> Vec<RunEvidence> {
    let mut found = alone;
    let mut members: Vec<Member> = (runs.iter().zip(&mut found))
        .filter_map(|(run, evidence)| {
            Some(Member { run: (*run)?, lap_length_m: sheet.lap_length_m.map(|l| l.0), evidence })
        })
        .collect();
    starts::weigh_together(&mut members);
    temperatures::weigh_together(&mut members);
    revs::weigh_together(&mut members, sheet);
    electrics::weigh_together(&mut members, sheet);
    logs::weigh_together(&mut members);
    sheet::weigh_together(&mut members, sheet);
    for member in members {
        if member.evidence.worth(Subject::Log) == Worth::Unusable {
            member.evidence.keep_only_the_log();
        }
    }
    found
}

/// Weighs a run by itself. Of the sheet it takes whether it has a lap length.
pub fn weigh_alone(run: &RunToWeigh, sheet: &Sheet) -> RunEvidence {
    let mut evidence = RunEvidence::all_sound(run, sheet);
    let of_load = [electrics::weigh(run), revs::weigh(run)];
    of_load.into_iter().flatten().for_each(|e| evidence.add(e));
    // Temperatures are held against a load that can be true.
    let sound_log = evidence.sound_log(run.log);
    let loaded = RunToWeigh { log: &sound_log, ..*run };
    // Laps are found again where revs are missing, and weighed then.
    let list = if evidence.revs_have_gaps() { Vec::new() } else { lists::weigh(run) };
    let of_clocks = [clock::weigh(run), ground::weigh(run)];
    let found = [temperatures::weigh(&loaded), starts::weigh(run)].into_iter().chain(of_clocks);
    let found = found.chain([list, sheet::weigh(run)]);
    found.flatten().for_each(|e| evidence.add(e));
    evidence
}

/// A run with what has been found of it so far.
pub struct Member<'a> {
    /// The run.
    pub run: RunToWeigh<'a>,
    /// Length of a lap by the sheet, m.
    pub lap_length_m: Option<f64>,
    /// What it is worth so far.
    pub evidence: &'a mut RunEvidence,
}

impl Member<'_> {
    /// Key of its car; empty without a sheet.
    pub fn car(&self) -> &str {
        &self.run.plan.car
    }
}

/// A temperature in °F in °C.
fn from_fahrenheit(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

/// The sheet without a lap length that no run believes.
pub fn sound_sheet(sheet: &Sheet, found: &[RunEvidence]) -> Sheet {
    let refused = found.iter().any(|e| e.worth(Subject::Setting(LAP_LENGTH)) == Worth::Unusable);
    Sheet { lap_length_m: sheet.lap_length_m.filter(|_| !refused), ..sheet.clone() }
}
