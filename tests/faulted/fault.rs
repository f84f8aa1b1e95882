//! What a fault is, and all of them.

use super::judge::Question;
use super::weekend::Weekend;
use super::{electrics, lists, logs, revs, sheet, temperature};

/// Where and how strongly a fault is put on a weekend.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// The run.
    pub run: usize,
    /// What the strength means to the fault.
    pub strength: f64,
    /// Seed of what the fault draws.
    pub seed: u64,
}

/// Puts a fault on a weekend and tells the runs that have it; `None` where the weekend cannot have it.
type Put = Box<dyn Fn(&mut Weekend, At) -> Option<Vec<usize>> + Send + Sync>;

/// A fault.
pub struct Fault {
    /// What is wrong.
    pub name: String,
    /// Its strengths, from the plain to the subtle: words and number.
    pub strengths: Vec<(&'static str, f64)>,
    /// What evidence may call it: a channel, `laps`, `log` or a key of the sheet.
    pub names: Vec<&'static str>,
    /// The questions whose answers it spoils.
    pub spoils: Vec<Question>,
    /// Whether it is on both cars at once and not on a run of each.
    pub on_weekend: bool,
    put: Put,
}

impl Fault {
    /// A fault of one run, put on it by `put`.
    pub fn new(
        name: impl Into<String>,
        strengths: &[(&'static str, f64)],
        names: &[&'static str],
        spoils: &[Question],
        put: impl Fn(&mut Weekend, At) -> Option<()> + Send + Sync + 'static,
    ) -> Self {
        let on_run = move |weekend: &mut Weekend, at: At| put(weekend, at).map(|()| vec![at.run]);
        Self::wide(name, strengths, names, spoils, on_run)
    }

    /// A fault of several runs, which `put` tells.
    pub fn wide(
        name: impl Into<String>,
        strengths: &[(&'static str, f64)],
        names: &[&'static str],
        spoils: &[Question],
        put: impl Fn(&mut Weekend, At) -> Option<Vec<usize>> + Send + Sync + 'static,
    ) -> Self {
        Self {
            name: name.into(),
            strengths: strengths.to_vec(),
            names: names.to_vec(),
            spoils: spoils.to_vec(),
            on_weekend: false,
            put: Box::new(put),
        }
    }

    /// On both cars at once.
    pub fn on_weekend(mut self) -> Self {
        self.on_weekend = true;
        self
    }

    /// Whether it is about heat, which a hot day may turn into another verdict.
    pub fn is_of_heat(&self) -> bool {
        self.spoils.iter().any(|q| matches!(q, Question::Motor | Question::Controller | Question::Air))
    }

    /// Puts it on `weekend`.
    pub fn put(&self, weekend: &mut Weekend, at: At) -> Option<Vec<usize>> {
        (self.put)(weekend, at)
    }
}

/// All faults.
pub fn all() -> Vec<Fault> {
    [temperature::faults(), electrics::faults(), revs::faults(), lists::faults(), sheet::faults(), logs::faults()]
        .into_iter()
        .flatten()
        .collect()
}
