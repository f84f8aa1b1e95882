//! What was concluded of runs before: a folder that changes is reviewed again and again, and most of its runs stay as
//! they are.

use std::sync::Arc;

use super::hotter::{Hotter, hotter};
use super::laid_runs::KeptPairs;
use super::next::{Next, next};
use crate::measure::hot_part::HotPart;
use crate::measure::sections::Sections;
use crate::run::{MeasuredRun, SettledRun};

/// The conclusions that take long, with the runs that they were drawn from.
#[derive(Default)]
pub struct KeptConclusions {
    race_s: f64,
    runs: Vec<KeptRun>,
    /// How runs lie over each other.
    pub(super) pairs: KeptPairs,
}

/// What was concluded of a run.
pub(super) struct KeptRun {
    run: SettledRun,
    /// What other pinions would do.
    pub(super) next: Vec<Next>,
    /// How much hotter its motor got than in each of some other runs.
    hotter: Vec<(SettledRun, Option<Hotter>)>,
    /// Its sections.
    pub(super) sections: Option<Sections>,
}

impl KeptConclusions {
    /// Those of a weekend whose races take `race_s`.
    pub(super) fn new(race_s: f64, runs: Vec<KeptRun>, pairs: KeptPairs) -> Self {
        Self { race_s, runs, pairs }
    }

    /// The sections of a run whose lap is cut at these shares of it, where they are known.
    pub(super) fn sections(&self, run: &Arc<MeasuredRun>, cuts: &[f64]) -> Option<Sections> {
        let is_cut_so =
            |sections: &Sections| sections.sections.iter().map(|section| section.from).eq(cuts.iter().copied());
        let known = self.runs.iter().find(|kept| Arc::ptr_eq(&kept.run.measured, run))?;
        known.sections.clone().filter(is_cut_so)
    }

    /// The conclusions of a run, whose motor is held against those of `others`: what is known of it, and the rest
    /// concluded now.
    pub(super) fn conclude<'r>(
        &self,
        run: &SettledRun,
        others: impl Iterator<Item = &'r SettledRun>,
        race_s: f64,
    ) -> KeptRun {
        let known = self.runs.iter().find(|kept| self.race_s == race_s && is_same(&kept.run, run));
        let next = known.map_or_else(|| next(run, race_s), |kept| kept.next.clone());
        let held = known.map(|kept| kept.hotter.as_slice()).unwrap_or_default();
        let hotter_than = |other: &SettledRun| match held.iter().find(|(than, _)| is_same(than, other)) {
            Some((_, hotter)) => hotter.clone(),
            None => hotter(other, run, HotPart::Motor, race_s),
        };
        let hotter = others.map(|other| (other.clone(), hotter_than(other))).collect();
        KeptRun { run: run.clone(), next, hotter, sections: None }
    }
}

impl KeptRun {
    /// How much hotter its motor got than that of `other`, one of those that it was held against.
    pub(super) fn hotter_than(&self, other: &SettledRun) -> Option<Hotter> {
        self.hotter.iter().find(|(than, _)| Arc::ptr_eq(&than.measured, &other.measured))?.1.clone()
    }
}

/// Whether nothing that is concluded from can differ between two runs.
fn is_same(one: &SettledRun, other: &SettledRun) -> bool {
    Arc::ptr_eq(&one.measured, &other.measured) && one.pinion == other.pinion && one.shared_heat == other.shared_heat
}
