//! What a change since the car's run before did to the lap time.

use serde_json::json;

use super::finding::{About, Finding, name, of_run, short};
use crate::figure::Weight;
use crate::run::SettledRun;
use crate::sheet::keys;
use crate::weekend::since::{Changed, LapVerdict, Since};
use crate::wording::{self, InFigures, LAP_TIMES};

/// The finding of a change whose effect two runs tell; `None` where they do not, and where all runs of the weekend tell
/// it: then it is the weekend's finding.
pub fn since_finding(run: &SettledRun, since: &Since) -> Option<Finding> {
    let change = since.median_lap_change_s.filter(|_| since.over_all_runs_s.is_none())?;
    let headline = lap_time_since_change(since)?;
    let (weight, wish) = match since.verdict {
        LapVerdict::Slower => (Weight::Watch, "Put it back, or run it once more to be sure"),
        _ => (Weight::Note, "Keep it"),
    };
    let (id, before) = (name(run), short(&since.run));
    let changed = |c: &Changed| keys::labelled_change(&c.key, c.from_shown.as_deref(), c.to_shown.as_deref());
    let changes: Vec<String> = since.changed.iter().map(changed).collect();
    let lead = format!("Run {id} was {} than run {before}", wording::change(&change, "s a lap", LAP_TIMES));
    let detail = format!("Changed in between: {}. {wish}", changes.join(", "));
    let values = json!({ "run_before": since.run, "median_lap_change_s": change });
    let finding = Finding::new("changed-lap-time", weight, About::Change, lead, detail);
    let headline = (weight == Weight::Watch).then_some(headline);
    Some(of_run(run, Finding { headline, ..finding }, values))
}

/// What the lap time did since a change in a few words, where that is told: `0.32 s a lap slower since the change`.
pub fn lap_time_since_change(since: &Since) -> Option<String> {
    let word = match since.verdict {
        LapVerdict::Faster => LAP_TIMES.less,
        LapVerdict::Slower => LAP_TIMES.more,
        LapVerdict::CannotTell => return None,
    };
    let change = since.over_all_runs_s.or(since.median_lap_change_s).filter(|_| !since.changed.is_empty())?;
    let amount = if change.value < 0.0 { change.mirrored() } else { change };
    Some(format!("{} s a lap {word} since the change", InFigures::new(&amount).value))
}
