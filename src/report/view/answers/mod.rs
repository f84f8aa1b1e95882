//! The questions of a run, answered: a file a question.

mod battery;
mod gearing;
mod grip;
mod heat;
mod next;
mod power;

use super::answer::AnswerView;
use crate::review::Review;
use crate::run::Measured;
use crate::weekend::conclude::ConcludedRun;

/// The questions of a run, answered.
pub fn answers(review: &Review, run: &ConcludedRun, done: &Measured) -> Vec<AnswerView> {
    vec![
        gearing::answer(run, done),
        grip::answer(done),
        heat::answer(run, done, review.sheet.race_length_s()),
        battery::answer(run, done, review.sheet.race_length_s()),
        power::answer(review, run, done),
        next::answer(run),
    ]
}
