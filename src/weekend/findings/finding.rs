//! What a finding is made of.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use crate::figure::Weight;
use crate::notice::printable;
use crate::run::SettledRun;

/// Longest name in a sentence.
const LONGEST_NAME: usize = 40;

/// Something worth knowing, in words.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// Stable name of the kind, in kebab case.
    pub code: &'static str,
    /// What it asks.
    pub severity: Weight,
    /// The run; `null` for the weekend.
    pub run: Option<String>,
    /// What it is about, so that a page can lead to it.
    pub about: About,
    /// Where on the lap; `null` where it has no place.
    pub place: Option<Place>,
    /// What it is in a few words, for the heading of the run's page; `null` for notes and the weekend's own.
    pub headline: Option<String>,
    /// What happened.
    pub lead: String,
    /// How much, and what to do; empty where the lead says it all.
    pub detail: String,
    /// Both, as one text.
    pub text: String,
    /// Its figures.
    pub figures: Map<String, Value>,
}

/// What a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum About {
    /// The gearing of a run.
    Gearing,
    /// The motor's heat.
    Motor,
    /// The controller's heat.
    Controller,
    /// Wheelspin.
    Wheelspin,
    /// The battery.
    Battery,
    /// Where on the lap the time went.
    Time,
    /// A trend over the runs.
    Trend,
    /// A changed setting.
    Change,
}

/// A place on the lap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Place {
    /// Share of the lap, by distance, from start and finish.
    pub lap_fraction: f64,
    /// Where it ends; below `lap_fraction` where the line lies in it, `null` where it is a point.
    pub until: Option<f64>,
    /// A lap that shows it, from 1.
    pub lap: Option<u32>,
    /// The lap to compare that with.
    pub on_lap: Option<u32>,
}

impl Finding {
    /// A finding without a run, a place or a heading.
    pub fn new(code: &'static str, severity: Weight, about: About, lead: String, detail: String) -> Self {
        let text = if detail.is_empty() { lead.clone() } else { format!("{lead}. {detail}") };
        let figures = Map::new();
        Self { code, severity, run: None, about, place: None, headline: None, lead, detail, text, figures }
    }

    /// The finding with its figures, an object.
    pub fn with_figures(self, figures: Value) -> Self {
        let figures = match figures {
            Value::Object(map) => map,
            _ => Map::new(),
        };
        Self { figures, ..self }
    }
}

/// A name from the sheet as a sentence may show it.
pub(super) fn short(name: &str) -> String {
    printable(name, LONGEST_NAME)
}

/// The id of a run, safe to show.
pub(super) fn name(run: &SettledRun) -> String {
    short(&run.plan().id)
}

/// The finding as one of `run`, with its figures.
pub(super) fn of_run(run: &SettledRun, finding: Finding, figures: Value) -> Finding {
    Finding { run: Some(run.plan().id.clone()), ..finding }.with_figures(figures)
}

/// The finding with a heading for the run's page.
pub(super) fn headed(finding: Finding, headline: impl Into<String>) -> Finding {
    Finding { headline: Some(headline.into()), ..finding }
}
