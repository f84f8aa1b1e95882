//! Reads `review.json`: what it says of a faulty run against what it says of the run when it was sound.

use serde_json::Value;

use super::fault::Fault;

/// A question that a review answers of a run, and that a fault may spoil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Question {
    /// Is the motor under its limit?
    Motor,
    /// Is the controller?
    Controller,
    /// Does the battery last?
    Battery,
    /// Is the gearing the sheet's?
    Gearing,
    /// Was there wheelspin?
    Wheelspin,
    /// Whether the list is laid onto the log.
    Laps,
    /// The air.
    Air,
    /// What another pinion would do.
    Next,
    /// Where is the power?
    Power,
}

/// How far a figure may be from the sound run's before it counts as spoilt.
#[derive(Clone, Copy)]
enum Within {
    /// In the figure's unit.
    Absolute(f64),
    /// As a share of it.
    Relative(f64),
}

use Within::{Absolute, Relative};

const NOT_TOLD: &str = "cannot tell";
/// In place of a pointer: how many laps count, and where in the log the first of them starts and the last ends, as
/// shares of the log's time: a clock that is wrong changes its seconds, but no share.
const COUNTED: &str = "laps that count";
const COUNTED_FROM: &str = "start of the first of them";
const COUNTED_TO: &str = "end of the last of them";
/// How far those may be off, as a share of the log's time: a little more than half a second.
const PLACE: f64 = 0.002;

/// A figure of a run; `None` where it does not have it.
fn figure(run: &Value, name: &str) -> Option<f64> {
    let laps = || Some(run.pointer("/laps/rows")?.as_array()?.iter().filter(|lap| lap["set_aside"].is_null()));
    let share = |time: &Value| Some(time.as_f64()? / run.pointer("/reading/duration_s")?.as_f64()?);
    match name {
        COUNTED => Some(laps()?.count() as f64),
        COUNTED_FROM => share(&laps()?.next()?["start_s"]),
        COUNTED_TO => share(&laps()?.next_back()?["end_s"]),
        pointer => run.pointer(pointer)?.as_f64(),
    }
}

impl Question {
    /// The answer in a word; `None` where the run does not tell it.
    fn verdict(self, run: &Value) -> Option<String> {
        let at = |pointer: &str| run.pointer(pointer).and_then(Value::as_str).map(str::to_owned);
        match self {
            Question::Motor => at("/heat/motor/verdict"),
            Question::Controller => at("/heat/controller/verdict"),
            Question::Battery => at("/battery/verdict"),
            Question::Gearing => at("/gearing/verdict"),
            Question::Wheelspin => {
                (run.pointer("/wheelspin/can_tell") == Some(&Value::Bool(true))).then(|| "told".into())
            }
            Question::Laps => at("/laps/source").filter(|source| source == "list"),
            Question::Air => run["ambient_c"].as_f64().map(|_| "known".into()),
            Question::Next => run["next"].as_array().filter(|next| !next.is_empty()).map(|_| "told".into()),
            Question::Power => run.pointer("/power/peak_w").and_then(Value::as_f64).map(|_| "told".into()),
        }
        .filter(|verdict| verdict != NOT_TOLD)
    }

    /// The figures that go with the answer, by their pointers.
    fn figures(self) -> &'static [(&'static str, Within)] {
        match self {
            Question::Motor => &[
                ("/heat/motor/start_c", Absolute(1.0)),
                ("/heat/motor/peak_c", Absolute(1.0)),
                ("/heat/motor/race_end_c/value", Absolute(1.5)),
                ("/heat/motor/limit_c", Absolute(1.0)),
            ],
            Question::Controller => &[
                ("/heat/controller/start_c", Absolute(1.0)),
                ("/heat/controller/peak_c", Absolute(1.0)),
                ("/heat/controller/race_end_c/value", Absolute(1.5)),
                ("/heat/controller/limit_c", Absolute(1.0)),
            ],
            Question::Battery => &[
                ("/battery/used_mah", Relative(0.03)),
                ("/battery/lowest_cell_v", Absolute(0.02)),
                ("/battery/resistance_mohm/value", Relative(0.10)),
                ("/settings/battery.capacity_mah", Relative(0.01)),
            ],
            Question::Gearing => {
                &[("/gearing/realised_ratio/value", Relative(0.003)), ("/gearing/set_ratio", Relative(0.001))]
            }
            Question::Wheelspin => &[("/wheelspin/seconds", Absolute(0.5))],
            Question::Laps => &[
                (COUNTED, Absolute(0.5)),
                (COUNTED_FROM, Absolute(PLACE)),
                (COUNTED_TO, Absolute(PLACE)),
                ("/laps/median_s", Relative(0.001)),
                ("/laps/best_s", Relative(0.001)),
            ],
            Question::Air => &[("/ambient_c", Absolute(1.0))],
            Question::Power => &[("/power/mean_w", Relative(0.05)), ("/power/peak_w", Relative(0.10))],
            Question::Next => {
                &[("/next/0/motor_race_end_c/value", Absolute(1.0)), ("/next/0/top_speed_m_s/value", Relative(0.01))]
            }
        }
    }

    /// What became of the answer.
    fn fate(self, sound: &Value, faulty: &Value) -> Fate {
        let Some(before) = self.verdict(sound) else { return Fate::NeverTold };
        let Some(after) = self.verdict(faulty) else { return Fate::Withheld };
        let far = |(pointer, within): &(&str, Within)| {
            let (Some(old), Some(new)) = (figure(sound, pointer), figure(faulty, pointer)) else { return false };
            match within {
                Absolute(most) => (new - old).abs() > *most,
                Relative(most) => (new / old - 1.0).abs() > *most,
            }
        };
        if before != after {
            Fate::Turned
        } else if self.figures().iter().any(far) {
            Fate::Spoilt
        } else {
            Fate::Same
        }
    }
}

/// What became of an answer that a fault could have spoilt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    /// The sound run did not tell it either.
    NeverTold,
    /// It is not told any more.
    Withheld,
    /// It is told, with another verdict.
    Turned,
    /// It is told with the same verdict and wrong figures.
    Spoilt,
    /// It is told as if there were no fault.
    Same,
}

/// What the review made of a fault.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    /// Evidence that is not sound and names the faulty thing, each as `of: worth`.
    pub named: Vec<String>,
    /// Every answer that would be spoilt is withheld.
    pub withheld: bool,
    /// The answers are as they are without the fault.
    pub harmless: bool,
    /// A verdict is another one than without the fault.
    pub turned: bool,
    /// Evidence against things that are not faulty.
    pub blamed: Vec<String>,
    /// What the file says of the faulty runs.
    pub said: String,
}

impl Outcome {
    /// Whether the fault was caught.
    pub fn caught(&self) -> bool {
        self.withheld || !self.named.is_empty()
    }
}

/// The run of a sheet's id: a log that is read as several runs gives `id.1`, `id.2`, of which the first is taken.
pub fn run<'v>(review: &'v Value, id: &str) -> &'v Value {
    let runs = review["runs"].as_array().map_or(&[][..], Vec::as_slice);
    let named = |r: &&Value| r["id"].as_str() == Some(id);
    let part = |r: &&Value| r["id"].as_str().is_some_and(|own| own.strip_prefix(id) == Some(".1"));
    runs.iter().find(named).or_else(|| runs.iter().find(part)).unwrap_or(&Value::Null)
}

/// What is not sound in a run: of what, worth and why.
pub fn remarks(run: &Value) -> Vec<(String, String, String)> {
    let text = |entry: &Value, key: &str| entry[key].as_str().unwrap_or_default().to_owned();
    let all = run["evidence"].as_array().map_or(&[][..], Vec::as_slice);
    let remarks = all.iter().map(|e| (text(e, "of"), text(e, "worth"), text(e, "why")));
    remarks.filter(|(_, worth, _)| worth != "sound").collect()
}

/// Judges the review of a weekend with `fault` on its runs `ids` against the review of the sound one. `others` are the
/// runs that have no fault.
pub fn judge(fault: &Fault, sound: &Value, faulty: &Value, ids: &[&str], others: &[&str]) -> Outcome {
    let fresh = |id: &&str| {
        let old = remarks(run(sound, id));
        let new = remarks(run(faulty, id)).into_iter().filter(move |r| old.iter().all(|o| o.0 != r.0));
        new.collect::<Vec<_>>()
    };
    let about = |of: &str| fault.names.contains(&of);
    let own: Vec<_> = ids.iter().flat_map(fresh).collect();
    let words = |r: &(String, String, String)| format!("{}: {}", r.0, r.1);
    let fates: Vec<Fate> =
        ids.iter().flat_map(|id| fault.spoils.iter().map(|q| q.fate(run(sound, id), run(faulty, id)))).collect();
    let wrong = fates.iter().any(|f| matches!(f, Fate::Turned | Fate::Spoilt));
    let withheld = fates.contains(&Fate::Withheld);
    Outcome {
        named: own.iter().filter(|r| about(&r.0)).map(words).collect(),
        withheld: withheld && !wrong,
        harmless: !withheld && !wrong,
        turned: fates.contains(&Fate::Turned),
        blamed: others
            .iter()
            .flat_map(fresh)
            .chain(own.iter().filter(|r| !about(&r.0)).cloned())
            .map(|r| words(&r))
            .collect(),
        said: ids.iter().map(|id| said(fault, id, run(sound, id), run(faulty, id))).collect::<Vec<_>>().join("; "),
    }
}

/// What the file says of a run: the answers that are at stake, before and after, and its evidence.
fn said(fault: &Fault, id: &str, sound: &Value, faulty: &Value) -> String {
    let answer = |q: &Question| {
        let told = |run: &Value| {
            let figures = q.figures().iter().map(|(pointer, _)| match figure(run, pointer) {
                Some(figure) => format!("{figure:.2}"),
                None => "–".to_owned(),
            });
            let verdict = q.verdict(run).unwrap_or_else(|| NOT_TOLD.to_owned());
            format!("{verdict} ({})", figures.collect::<Vec<_>>().join(", "))
        };
        format!("{q:?} {} → {}", told(sound), told(faulty))
    };
    let answers: Vec<String> = fault.spoils.iter().map(answer).collect();
    let remarks: Vec<String> =
        remarks(faulty).into_iter().map(|(of, worth, why)| format!("{of} {worth}: {why}")).collect();
    let error = faulty.pointer("/error/message").and_then(Value::as_str).unwrap_or_default();
    format!("{id}: {}; evidence [{}] {error}", answers.join(", "), remarks.join(" | "))
}
