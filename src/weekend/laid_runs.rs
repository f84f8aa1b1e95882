//! How the runs of a weekend lie over each other, worked out once for each pair that is asked for.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::laid_over::{Offset, SpeedsRound, lay_over};
use crate::run::{MeasuredRun, SettledRun};

/// Pairs of runs that were laid over each other in the review before.
#[derive(Default)]
pub struct KeptPairs(Vec<KeptPair>);

struct KeptPair {
    /// The run, and the other that lies over it.
    runs: [Arc<MeasuredRun>; 2],
    offset: Option<Offset>,
}

/// The runs of a weekend, to be laid over each other.
pub struct LaidRuns<'r> {
    runs: &'r [SettledRun],
    speeds: Vec<OnceLock<Option<SpeedsRound>>>,
    /// By the indices of the two.
    known: Mutex<HashMap<(usize, usize), Option<Offset>>>,
}

impl<'r> LaidRuns<'r> {
    /// The `runs` of a weekend, with what was `kept` of pairs of them.
    pub fn new(runs: &'r [SettledRun], kept: KeptPairs) -> Self {
        let index_of = |run: &Arc<MeasuredRun>| runs.iter().position(|now| Arc::ptr_eq(&now.measured, run));
        let known = kept.0.iter().filter_map(|kept| {
            let [own, other] = &kept.runs;
            Some(((index_of(own)?, index_of(other)?), kept.offset))
        });
        Self { runs, speeds: runs.iter().map(|_| OnceLock::new()).collect(), known: Mutex::new(known.collect()) }
    }

    /// How far the line of the run `other` is behind that of the run at `index`; `None` where their speeds are not alike
    /// or not known.
    pub fn offset(&self, index: usize, other: usize) -> Option<Offset> {
        let pair = (index, other);
        let known = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(offset) = known().get(&pair) {
            return *offset;
        }
        let offset = lay_over(self.speeds(index)?, self.speeds(other)?);
        known().insert(pair, offset);
        offset
    }

    fn speeds(&self, index: usize) -> Option<&SpeedsRound> {
        let median = || Some(&self.runs[index].done()?.answers.along.as_ref().ok()?.median);
        self.speeds[index].get_or_init(|| median().map(SpeedsRound::new)).as_ref()
    }

    /// What is known now, for the next review.
    pub fn keep(self) -> KeptPairs {
        let run = |index: usize| Arc::clone(&self.runs[index].measured);
        let known = self.known.into_inner().unwrap_or_else(PoisonError::into_inner);
        KeptPairs(known.into_iter().map(|((a, b), offset)| KeptPair { runs: [run(a), run(b)], offset }).collect())
    }
}
