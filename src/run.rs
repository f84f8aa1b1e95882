//! One run: planned on the sheet, lapped, measured, and settled by what the car's other runs say of it.
//!
//! A [`MeasuredRun`] is never changed after it is measured. What the other runs of the car add stands beside it in a
//! [`SettledRun`]: which pinion was on the car, and the motor's heat with what the same motor did in other runs.

use std::fmt::{self, Display};
use std::path::Path;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::evidence::{self, RunEvidence, RunToWeigh, Subject, Worth};
use crate::folder::within;
use crate::gears::set_rollout_mm;
use crate::import;
use crate::laps::list_verdict::{ListReason, ListVerdict};
use crate::laps::lists::{self, LapList};
use crate::laps::odometer::Odometer;
use crate::laps::period::ExpectedTurns;
use crate::laps::{self, Laps};
use crate::log::{Channel, Log};
use crate::measure::Answers;
use crate::measure::gearing::Fit;
use crate::measure::heat::Heat;
use crate::measure::hot_part::HotPart;
use crate::notice::{Failure, Notice, NoticeCode};
use crate::quantity::Uncertain;
use crate::read_by_sheet::hints;
use crate::sheet::{RunPlan, Settings, Sheet};
use crate::statistics::quantiles::median;
use crate::wording::counted;

/// How far a lap's motor turns may be from what the sheet lets expect, relative: a lap length along the wrong line, a
/// worn tyre and drive slip together. Common practice, no source.
const EXPECTED_WIDTH: f64 = 0.10;

/// A run whose log was read and whose laps were found.
#[derive(Debug, Clone)]
pub struct LappedRun {
    /// What the sheet says of it.
    pub plan: RunPlan,
    /// Its log and laps, or why there are none.
    pub outcome: Result<Lapped, Failure>,
}

/// A log with its laps.
#[derive(Debug, Clone)]
pub struct Lapped {
    /// The normalised log.
    pub log: Log,
    /// Its laps.
    pub laps: Laps,
    /// The lap list, where the sheet names one that could be read.
    pub list: Option<Arc<LapList>>,
    /// What log, laps and sheet are worth by themselves, no other run known.
    pub alone: RunEvidence,
}

/// A measured run: what its own log, laps and sheet answer.
#[derive(Debug, Clone)]
pub struct MeasuredRun {
    /// What the sheet says of it.
    pub plan: RunPlan,
    /// What was measured, or why nothing could be.
    pub outcome: Result<Measured, Failure>,
}

/// What was measured in a run.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The normalised log, as it was read.
    pub log: Log,
    /// The log without what cannot be true: answers are made of it.
    pub sound_log: Log,
    /// Its laps.
    pub laps: Laps,
    /// What channels, laps and sheet are worth.
    pub evidence: RunEvidence,
    /// Its answers.
    pub answers: Answers,
}

/// Whether the gearing on the car is the gearing on the sheet.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum GearingVerdict {
    /// The pinion on the sheet is the one on the car.
    #[serde(rename = "agrees")]
    Agrees,
    /// Another pinion is.
    #[serde(rename = "differs")]
    Differs,
    /// The runs do not tell.
    #[default]
    #[serde(rename = "cannot tell")]
    CannotTell,
}

/// Which pinion was on the car, weighed over all runs of the car.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PinionVerdict {
    /// Whether it is the sheet's.
    pub verdict: GearingVerdict,
    /// Pinions near the sheet's, in order of teeth, and how probable each is; empty where they could not be weighed.
    pub fits: Vec<Fit>,
    /// Why the weighing does not tell.
    pub why: Option<PinionWhy>,
}

/// Why the pinion cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PinionWhy {
    /// None near the sheet's explains the revs.
    NoneFits,
    /// Two explain them nearly as well.
    TwoFit,
    /// Every run of the car is off alike: by its pinions, or by the lap length.
    LengthOrPinion,
    /// The log may be another run's.
    NotItsLog,
}

impl Display for PinionWhy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoneFits => {
                "no pinion near the sheet's explains the revs: check the pinion, spur, internal ratio, tyre and lap \
                 length on the sheet"
            }
            Self::TwoFit => "two pinions explain the revs nearly equally well",
            Self::LengthOrPinion => {
                "either the pinion or the lap length on the sheet is wrong, and nothing here tells which"
            }
            Self::NotItsLog => "the log may be that of another run",
        })
    }
}

impl PinionVerdict {
    /// The most probable pinion.
    pub fn best(&self) -> Option<&Fit> {
        self.fits.iter().max_by(|a, b| a.probability.total_cmp(&b.probability))
    }
}

/// A motor's heat with what its other runs tell.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedHeat {
    /// The run's heat, concluded anew with the heating that the motor showed in its other runs.
    pub motor: Heat,
    /// Cooling as the logarithm of 1/s, with the heating that all runs of the motor share.
    pub cooling: Option<Uncertain>,
}

/// A measured run with what the car's other runs say of it.
#[derive(Debug, Clone)]
pub struct SettledRun {
    /// The run itself.
    pub measured: Arc<MeasuredRun>,
    /// Which pinion was on the car.
    pub pinion: PinionVerdict,
    /// The motor's heat with what its other runs tell; `None` where no other run shares the motor.
    pub shared_heat: Option<Arc<SharedHeat>>,
}

impl SettledRun {
    /// What the sheet says of the run.
    pub fn plan(&self) -> &RunPlan {
        &self.measured.plan
    }

    /// What was measured; `None` for a run that could not be reviewed.
    pub fn done(&self) -> Option<&Measured> {
        self.measured.outcome.as_ref().ok()
    }

    /// What channels, laps and sheet are worth; `None` for a run that could not be reviewed.
    pub fn evidence(&self) -> Option<&RunEvidence> {
        Some(&self.done()?.evidence)
    }

    /// Whether the run could be reviewed and nothing says that its log is another run's.
    pub fn has_own_log(&self) -> bool {
        self.evidence().is_some_and(|e| e.worth(Subject::Log) == Worth::Sound)
    }

    /// Why the run could not be reviewed.
    pub fn failure(&self) -> Option<&Failure> {
        self.measured.outcome.as_ref().err()
    }

    /// Heat of a part; the motor's with what its other runs tell.
    pub fn heat(&self, part: HotPart) -> Option<&Heat> {
        let answers = &self.done()?.answers;
        match part {
            HotPart::Motor => Some(self.shared_heat.as_ref().map_or(&answers.motor, |shared| &shared.motor)),
            HotPart::Controller => Some(&answers.controller),
        }
    }

    /// Why a figure or the verdict of the gearing is missing: what the run itself lacks goes before what the runs
    /// together leave open.
    pub fn gearing_why(&self) -> Option<String> {
        let own = self.done()?.answers.gearing.why.as_ref().map(ToString::to_string);
        own.or(self.pinion.why.map(|why| why.to_string()))
    }

    /// The motor's cooling, the logarithm of 1/s, comparable between the runs of one motor.
    pub fn cooling(&self) -> Option<Uncertain> {
        self.shared_heat.as_ref()?.cooling
    }

    /// Teeth of the pinion that was on the car: the sheet's, or the one that the runs name where it differs.
    pub fn pinion_on_car(&self) -> Option<f64> {
        self.done()?;
        match self.pinion.best() {
            Some(fit) if self.pinion.verdict == GearingVerdict::Differs => Some(fit.pinion),
            _ => self.plan().settings.number("pinion"),
        }
    }
}

/// Reads one entry of the sheet and finds its laps: one run, or several where the file holds several. `already_read`
/// are
/// the file's runs where it has been read before, as [`hints`] ask for.
pub fn lap(folder: &Path, plan: &RunPlan, sheet: &Sheet, already_read: Option<Vec<Log>>) -> Vec<LappedRun> {
    let failed = |failure: Failure| vec![LappedRun { plan: plan.clone(), outcome: Err(failure) }];
    if let Some(mistake) = &plan.mistake {
        return failed(Failure { message: mistake.brief(), hint: Some(mistake.hint.clone()) });
    }
    let read = within(folder, &plan.log).and_then(|path| match already_read {
        Some(logs) => Ok(logs),
        None => {
            import::read(&path, &hints(plan, sheet)).map_err(|e| Failure { hint: e.hint(), message: e.to_string() })
        }
    });
    let logs = match read {
        Ok(logs) => logs,
        Err(failure) => return failed(failure),
    };
    let (list, list_notice) = match read_list(folder, plan) {
        Ok(list) => (list.map(Arc::new), None),
        Err(notice) => (None, Some(notice)),
    };
    let count = logs.len();
    if let Some(part) = plan.part {
        return match logs.into_iter().nth(part - 1) {
            Some(log) => vec![find_laps(plan.clone(), log, list.clone(), list_notice, sheet)],
            None => failed(Failure {
                message: format!("`part = {part}`, but `{}` holds {}", plan.log.display(), counted(count, "run")),
                hint: Some(if count == 1 {
                    "remove `part`".to_owned()
                } else {
                    format!("write a number from 1 to {count}")
                }),
            }),
        };
    }
    let one = |(index, log): (usize, Log)| {
        find_laps(plan_of_part(plan, index, count), log, list.clone(), list_notice.clone(), sheet)
    };
    logs.into_iter().enumerate().map(one).collect()
}

/// Runs that were lapped before, by an entry of the sheet that asks for the same log and laps in the same way.
pub fn planned_anew(lapped: Vec<LappedRun>, plan: &RunPlan, sheet: &Sheet) -> Vec<LappedRun> {
    let count = lapped.len();
    let one = |(index, run): (usize, LappedRun)| match run.outcome {
        Ok(Lapped { log, laps, list, .. }) => with_laps(plan_of_part(plan, index, count), log, laps, list, sheet),
        Err(failure) => LappedRun { plan: plan_of_part(plan, index, count), outcome: Err(failure) },
    };
    lapped.into_iter().enumerate().map(one).collect()
}

/// The plan of one of so many runs that a file holds.
fn plan_of_part(plan: &RunPlan, index: usize, count: usize) -> RunPlan {
    let id = if count > 1 { format!("{}.{}", plan.id, index + 1) } else { plan.id.clone() };
    RunPlan { id, ..plan.clone() }
}

/// The run's lap list where the sheet names one, or the remark on why it could not be read.
fn read_list(folder: &Path, plan: &RunPlan) -> Result<Option<LapList>, Notice> {
    let Some(path) = &plan.laps else { return Ok(None) };
    within(folder, path)
        .and_then(|p| lists::read(&p).map_err(|e| Failure { hint: Some(e.hint()), message: e.to_string() }))
        .map(Some)
        .map_err(|failure| {
            let message = format!("{}; the laps were found in the log instead", failure.message);
            Notice::warning(NoticeCode::NoLapList, message).hint(failure.hint.unwrap_or_default())
        })
}

/// The log's motor turns, with its ground speed on the sheet's rollout, where it has one.
pub fn odometer(log: &Log, settings: &Settings) -> Option<Odometer> {
    Some(Odometer::new(log)?.with_ground(log, set_rollout_mm(settings)))
}

fn find_laps(plan: RunPlan, log: Log, list: Option<Arc<LapList>>, notice: Option<Notice>, sheet: &Sheet) -> LappedRun {
    let mut laps = laps_of(&log, &plan.settings, list.as_deref(), sheet);
    if notice.is_some() {
        laps.list = Some(ListVerdict::Refused(ListReason::Unreadable));
    }
    laps.notices.extend(notice);
    with_laps(plan, log, laps, list, sheet)
}

/// A run whose laps are found, with what log, laps and sheet are worth by themselves.
fn with_laps(mut plan: RunPlan, log: Log, laps: Laps, list: Option<Arc<LapList>>, sheet: &Sheet) -> LappedRun {
    // The sheet's word goes first; a recorder may have measured the air itself.
    let recorded_air = || median(log.channel(Channel::Ambient)?.iter().copied().filter(|c| c.is_finite()));
    plan.ambient_c = plan.ambient_c.or_else(recorded_air);
    let alone = evidence::weigh_alone(&RunToWeigh { plan: &plan, log: &log, laps: &laps }, sheet);
    LappedRun { plan, outcome: Ok(Lapped { log, laps, list, alone }) }
}

/// The laps of a log, with what the sheet lets expect of one.
pub fn laps_of(log: &Log, settings: &Settings, list: Option<&LapList>, sheet: &Sheet) -> Laps {
    let expected = set_rollout_mm(settings).zip(sheet.lap_length_m).map(|(mm, (length_m, _))| ExpectedTurns {
        turns: length_m * 1000.0 / mm,
        relative_half_width: EXPECTED_WIDTH,
    });
    laps::measure(odometer(log, settings), list, expected)
}
