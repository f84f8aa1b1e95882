//! The questions of a run, answered: a file a question.

mod battery;
mod gearing;
mod grip;
mod heat;
mod hotter;
mod next;
mod power;
mod since;

use super::answer::AnswerView;
use super::evidence;
use crate::evidence::Subject;
use crate::measure::hot_part::HotPart;
use crate::measure::rests_on;
use crate::review::Review;
use crate::run::Measured;
use crate::weekend::concluded_run::ConcludedRun;

/// What lap times rest on.
const LAPS: &[Subject] = &[Subject::Laps];

/// What happened since the car's run before, and the other questions of a run, answered.
pub fn answers(review: &Review, run: &ConcludedRun, done: &Measured) -> (Option<AnswerView>, Vec<AnswerView>) {
    let race_s = review.sheet.race_length_s();
    let (motor, controller) = (rests_on::heat(HotPart::Motor), rests_on::heat(HotPart::Controller));
    let since = run.since.as_ref().map(|since| with_evidence(since::answer(since, run.time.as_ref()), &[LAPS], run));
    let others = [
        (gearing::answer(run, done), vec![rests_on::GEARING]),
        (grip::answer(done), vec![rests_on::WHEELSPIN]),
        (heat::answer(run, done, race_s), vec![motor, controller]),
        (battery::answer(run, done, race_s), vec![rests_on::BATTERY]),
        (power::answer(review, run, done), vec![rests_on::POWER]),
        (next::answer(run), vec![rests_on::NEXT]),
    ];
    (since, others.into_iter().map(|(answer, subjects)| with_evidence(answer, &subjects, run)).collect())
}

/// The answer with what it rests on, and its verdict with what that is worth.
fn with_evidence(answer: AnswerView, subjects: &[&[Subject]], run: &ConcludedRun) -> AnswerView {
    AnswerView {
        rests_on: evidence::rests_on(subjects, &run.run),
        verdict: evidence::in_doubt(answer.verdict, &subjects.concat(), &run.run),
        ..answer
    }
}
