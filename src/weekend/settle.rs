//! What the runs of a car say of each other: the pinion that was on the car, and the heating that a motor shows in all
//! of its runs. Measured runs stay as they are; what is settled stands beside them.

use std::sync::Arc;

use super::shared_heat::{self, KeptHeats};
use super::{cars, pinions};
use crate::evidence::{LAP_LENGTH, Subject, Worth};
use crate::run::{GearingVerdict, MeasuredRun, PinionVerdict, PinionWhy, SettledRun};
use crate::sheet::Sheet;

/// Each run with what the car's other runs say of it, in order. Heats that were `kept` are not worked out again.
pub fn settle(runs: Vec<Arc<MeasuredRun>>, sheet: &Sheet, kept: &mut KeptHeats) -> Vec<SettledRun> {
    let verdicts = pinion_verdicts(&runs, sheet);
    let heats = shared_heat::share(&runs, kept);
    let settled = runs.into_iter().zip(verdicts).zip(heats);
    settled.map(|((measured, pinion), shared_heat)| SettledRun { measured, pinion, shared_heat }).collect()
}

/// The verdict as far as log and lap length can be believed.
fn as_believed(verdict: PinionVerdict, run: &MeasuredRun) -> PinionVerdict {
    let Ok(done) = &run.outcome else { return verdict };
    let worth = |subject| done.evidence.worth(subject);
    let length_in_doubt = worth(Subject::Setting(LAP_LENGTH)) == Worth::Doubtful;
    let why = if worth(Subject::Log) != Worth::Sound {
        PinionWhy::NotItsLog
    } else if length_in_doubt && verdict.verdict == GearingVerdict::Differs {
        PinionWhy::LengthOrPinion
    } else {
        return verdict;
    };
    PinionVerdict { verdict: GearingVerdict::CannotTell, why: Some(why), ..verdict }
}

/// The pinions of each car weighed over all its runs.
fn pinion_verdicts(runs: &[Arc<MeasuredRun>], sheet: &Sheet) -> Vec<PinionVerdict> {
    let mut verdicts = vec![PinionVerdict::default(); runs.len()];
    let weighable = runs.iter().enumerate().filter_map(|(index, run)| {
        let done = run.outcome.as_ref().ok()?;
        let gripped = done.answers.gearing.gripped?;
        Some((run.plan.car.as_str(), (index, pinions::Turns { settings: &run.plan.settings, gripped })))
    });
    for (_, members) in cars::by_car(weighable) {
        let (indices, turns): (Vec<usize>, Vec<pinions::Turns>) = members.into_iter().unzip();
        for (index, verdict) in indices.into_iter().zip(pinions::weigh(&turns, sheet.lap_length_m)) {
            verdicts[index] = as_believed(verdict.unwrap_or_default(), &runs[index]);
        }
    }
    verdicts
}
