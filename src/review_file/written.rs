//! `review.json` as it is written: the answers for other programs.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::Serialize;

use super::read::{StoredError, checked};
use super::stored::{FORMAT, SettingFile, StoredReview};
use super::time_lost::{self, TimeLostFile};
use crate::evidence::{Evidence, Why, Worth};
use crate::figure::{FIGURES, Figure};
use crate::laps::{SetAside, Source};
use crate::log::Reading;
use crate::measure::battery::Battery;
use crate::measure::consistency::Consistency;
use crate::measure::gearing::{Fit, Gearing};
use crate::measure::heat::Heat;
use crate::measure::hot_part::HotPart;
use crate::measure::power::Power;
use crate::measure::sections::{BestSections, Section};
use crate::measure::wheelspin::Wheelspin;
use crate::notice::{Failure, Notice};
use crate::quantity::Estimate;
use crate::review::Review;
use crate::run::{GearingVerdict, Measured, SettledRun};
use crate::sheet::Setting;
use crate::units::{Notation, in_notation};
use crate::weekend::before::Before;
use crate::weekend::best_pinion::BestPinion;
use crate::weekend::comparisons::{Comparison, Effect};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::findings::Finding;
use crate::weekend::hotter::Hotter;
use crate::weekend::next::{Next, WithoutFan};
use crate::weekend::since::Since;
use crate::weekend::trends::Trend;

/// The whole file.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ReviewFile {
    /// `runtrue review 1`.
    pub format: &'static str,
    /// The weekend as the sheet tells it.
    pub weekend: WeekendFile,
    /// Runs in order.
    pub runs: Vec<RunFile>,
    /// Trends across the runs of a car.
    pub trends: Vec<Trend>,
    /// What a changed key did.
    pub comparisons: Vec<ComparisonFile>,
    /// Sentences worth acting on.
    pub findings: Vec<Finding>,
}

/// The weekend.
#[derive(Debug, Serialize, JsonSchema)]
pub struct WeekendFile {
    /// Name.
    pub name: Option<String>,
    /// Date.
    pub date: Option<String>,
    /// Name of the track.
    pub track: Option<String>,
    /// Surface.
    pub surface: Option<String>,
    /// The user's note on the weekend; a run's is among its settings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Lap length along the driven line, m.
    pub lap_length_m: Option<Estimate>,
    /// Race length, s.
    pub race_length_s: f64,
    /// Whether the race length is a default.
    pub race_length_assumed: bool,
    /// Remarks on the sheet.
    pub notices: Vec<Notice>,
}

/// One run.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RunFile {
    /// Unique name.
    pub id: String,
    /// Key of the car.
    pub car: String,
    /// The log's path from the weekend's folder.
    pub log: String,
    /// Air, °C.
    pub ambient_c: Option<f64>,
    /// The sheet's keys as they hold for this run.
    pub settings: BTreeMap<String, SettingFile>,
    /// Why the run could not be reviewed.
    pub error: Option<Failure>,
    /// What log, laps and sheet are worth.
    pub evidence: Vec<EvidenceFile>,
    /// How the log was read.
    pub reading: Option<Reading>,
    /// Laps.
    pub laps: Option<LapsFile>,
    /// Figures of the catalogue that the run has, by their keys.
    pub figures: BTreeMap<&'static str, FigureFile>,
    /// Is the gearing the sheet's?
    pub gearing: Option<GearingFile>,
    /// Did the power reach the ground?
    pub wheelspin: Option<Wheelspin>,
    /// How hot did it get?
    pub heat: Option<HeatFile>,
    /// What had the battery left?
    pub battery: Option<Battery>,
    /// Where is the power?
    pub power: Option<Power>,
    /// What another pinion would do.
    pub next: Vec<Next>,
    /// The pinion near the one on the car that laps quickest within the limits; `null` where that one is not known.
    pub best_pinion: Option<BestPinion>,
    /// The race without the fan, where the car ran with and without one.
    pub without_fan: Option<WithoutFan>,
    /// The run against the car's run before.
    pub before: Option<Before>,
    /// What happened since the car's run before, and whether it helped.
    pub since: Option<Since>,
    /// Why the motor got hotter or cooler than in the car's run before.
    pub hotter: Option<Hotter>,
    /// The same against the car's median run, which ends the race in the middle of all; `null` for that run itself.
    pub hotter_than_median: Option<Hotter>,
    /// Sections of the lap, from one slowest point to the next, cut alike in all runs of a car.
    pub sections: Vec<Section>,
    /// The lap made of the best of each section.
    pub best_sections: Option<BestSections>,
    /// How even the laps were; `null` with fewer than five that count.
    pub consistency: Option<Consistency>,
    /// Time lost along the lap.
    pub time_lost: Option<TimeLostFile>,
    /// Why time lost or sections are missing.
    pub time_lost_why: Option<String>,
}

/// What a channel, a lap list or a value of the sheet is worth.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(rename = "Evidence")]
pub struct EvidenceFile {
    /// The channel, `laps`, `log`, or the key on the sheet.
    pub of: &'static str,
    /// What it is worth.
    pub worth: Worth,
    /// Why it is not sound.
    pub why: Option<String>,
    /// What to do about it.
    pub hint: Option<&'static str>,
    /// The part of a channel that is used, log time in s, where that is not all of it.
    pub span_s: Option<[f64; 2]>,
}

/// A figure of the catalogue.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FigureFile {
    /// The value.
    pub value: f64,
    /// Lower end of its 95 % interval; `null` where it has none.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// The gearing, with the pinion as the car's runs together tell it.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(rename = "Gearing")]
pub struct GearingFile {
    /// As the run alone tells it.
    #[serde(flatten)]
    pub measured: Gearing,
    /// Whether sheet and car agree.
    pub verdict: GearingVerdict,
    /// Pinions near the sheet's and how probable each is.
    pub fits: Vec<Fit>,
    /// Why a figure or the verdict is missing.
    pub why: Option<String>,
}

/// Heat of both parts.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HeatFile {
    /// The motor.
    pub motor: Heat,
    /// The controller.
    pub controller: Heat,
}

/// Laps.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LapsFile {
    /// Where they came from.
    pub source: Source,
    /// The log's time of the list's first passing, s.
    pub first_passing_s: Option<Estimate>,
    /// Laps driven, those set aside included.
    pub count: usize,
    /// Best of those that count, s.
    pub best_s: Option<f64>,
    /// Median of those that count, s.
    pub median_s: Option<f64>,
    /// All laps.
    pub rows: Vec<LapFile>,
    /// Remarks.
    pub notices: Vec<Notice>,
}

/// One lap.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LapFile {
    /// Number, from 1.
    pub lap: u32,
    /// Log time of its start, s.
    pub start_s: f64,
    /// Log time of its end, s.
    pub end_s: f64,
    /// Duration, s.
    pub time_s: f64,
    /// Motor turns.
    pub revs: f64,
    /// Why it does not count.
    pub set_aside: Option<SetAside>,
}

/// What a changed key did.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(rename = "Comparison")]
pub struct ComparisonFile {
    /// The car.
    pub car: String,
    /// The sheet's key.
    pub key: String,
    /// Its first value.
    pub from: Option<SettingFile>,
    /// The other value.
    pub to: Option<SettingFile>,
    /// Runs with the first value.
    pub runs_from: Vec<String>,
    /// Runs with the other.
    pub runs_to: Vec<String>,
    /// Effects on each figure.
    pub effects: Vec<Effect>,
    /// Keys that changed in the same runs.
    pub together_with: Vec<String>,
}

/// The file of `review`.
pub fn review_file(review: &Review) -> ReviewFile {
    review_file_with(review, FIGURES)
}

/// The same with the figures of another catalogue.
pub fn review_file_with(review: &Review, catalogue: &'static [Figure]) -> ReviewFile {
    let sheet = &review.sheet;
    ReviewFile {
        format: FORMAT,
        weekend: WeekendFile {
            name: sheet.name.clone(),
            date: sheet.date.clone(),
            track: sheet.track.clone(),
            surface: sheet.surface.clone(),
            note: sheet.stated.text("weekend.note").map(str::to_owned),
            lap_length_m: sheet.lap_length_m.map(|(l, d)| Estimate::from_half_width(l, d)),
            race_length_s: sheet.race_length_s(),
            race_length_assumed: sheet.race_s.is_none(),
            notices: review.notices.clone(),
        },
        runs: review.runs.iter().map(|r| run(r, catalogue)).collect(),
        trends: review.trends.clone(),
        comparisons: review.comparisons.iter().map(comparison).collect(),
        findings: review.findings.clone(),
    }
}

fn run(concluded: &ConcludedRun, catalogue: &'static [Figure]) -> RunFile {
    let ConcludedRun { run, next, best_pinion, without_fan, before, since, hotter, hotter_than_median, time, .. } =
        concluded;
    let sections = time.as_ref().and_then(|time| time.sections.as_ref());
    let plan = run.plan();
    let done = run.done();
    let answers = done.map(|d| &d.answers);
    let heat = || {
        let (motor, controller) = run.heat(HotPart::Motor).zip(run.heat(HotPart::Controller))?;
        Some(HeatFile { motor: motor.clone(), controller: controller.clone() })
    };
    RunFile {
        id: plan.id.clone(),
        car: plan.car.clone(),
        log: plan.log.to_string_lossy().replace('\\', "/"),
        ambient_c: plan.ambient_c,
        settings: plan.settings.0.iter().filter_map(|(k, v)| Some((k.clone(), setting(v)?))).collect(),
        error: run.failure().cloned(),
        evidence: done.map(|d| d.evidence.iter().map(evidence).collect()).unwrap_or_default(),
        reading: done.map(|d| d.log.reading.clone()),
        laps: done.map(laps),
        figures: figures(run, catalogue),
        gearing: done.map(|d| gearing(run, d)),
        wheelspin: answers.map(|a| a.wheelspin.clone()),
        heat: heat(),
        battery: answers.map(|a| a.battery.clone()),
        power: answers.map(|a| a.power.clone()),
        next: next.clone(),
        best_pinion: best_pinion.clone(),
        without_fan: without_fan.clone(),
        before: before.clone(),
        since: since.clone(),
        hotter: hotter.clone(),
        hotter_than_median: hotter_than_median.clone(),
        sections: sections.map(|s| s.sections.clone()).unwrap_or_default(),
        best_sections: sections.map(|s| s.best_sections),
        consistency: answers.and_then(|a| a.consistency.clone()),
        time_lost: time.as_ref().map(time_lost::file),
        time_lost_why: answers.and_then(|a| time_lost::why(a, sections.is_some())),
    }
}

fn figures(run: &SettledRun, catalogue: &'static [Figure]) -> BTreeMap<&'static str, FigureFile> {
    let reading = |figure: &'static Figure| {
        let reading = (figure.read)(run)?;
        let (low, high) = reading.interval.map_or((None, None), |i| (Some(i.low), Some(i.high)));
        Some((figure.key, FigureFile { value: reading.value, low, high }))
    };
    catalogue.iter().filter_map(reading).collect()
}

fn evidence(evidence: &Evidence) -> EvidenceFile {
    let why = evidence.why.as_ref();
    EvidenceFile {
        of: evidence.of.key(),
        worth: evidence.worth,
        why: why.map(ToString::to_string),
        hint: why.map(Why::advice).filter(|advice| !advice.is_empty()),
        span_s: evidence.span.map(|s| [s.from_s, s.to_s]),
    }
}

fn gearing(run: &SettledRun, done: &Measured) -> GearingFile {
    let measured = done.answers.gearing.clone();
    let pinion = &run.pinion;
    GearingFile { measured, verdict: pinion.verdict, fits: pinion.fits.clone(), why: run.gearing_why() }
}

/// `None` for a value that was refused: what is wrong with it is among the run's evidence.
fn setting(value: &Setting) -> Option<SettingFile> {
    match value {
        Setting::Number(n) | Setting::WithUnit { value: n, .. } => Some(SettingFile::Number(*n)),
        Setting::Text(t) => Some(SettingFile::Text(t.clone())),
        Setting::Flag(f) => Some(SettingFile::Flag(*f)),
        Setting::Refused(_) => None,
    }
}

fn laps(done: &Measured) -> LapsFile {
    let laps = &done.laps;
    LapsFile {
        source: laps.source,
        first_passing_s: laps.first_passing,
        count: laps.rows.len(),
        best_s: laps.best_s(),
        median_s: laps.median_s(),
        rows: laps
            .rows
            .iter()
            .map(|l| LapFile {
                lap: l.number,
                start_s: l.start_s,
                end_s: l.end_s,
                time_s: l.time_s(),
                revs: l.turns,
                set_aside: l.set_aside,
            })
            .collect(),
        notices: laps.notices.clone(),
    }
}

fn comparison(c: &Comparison) -> ComparisonFile {
    ComparisonFile {
        car: c.car.clone(),
        key: c.key.clone(),
        from: c.from.as_ref().and_then(setting),
        to: c.to.as_ref().and_then(setting),
        runs_from: c.runs_from.clone(),
        runs_to: c.runs_to.clone(),
        effects: c.effects.clone(),
        together_with: c.together_with.clone(),
    }
}

/// The review as a reader of its file would find it.
///
/// # Errors
/// [`StoredError`], as [`super::read::read`].
pub fn as_stored(review: &Review) -> Result<StoredReview, StoredError> {
    checked(serde_json::from_value(serde_json::to_value(review_file(review))?)?)
}

/// The JSON Schema of `review.json`.
pub fn schema() -> Schema {
    schema_for!(ReviewFile)
}

/// The text of `review.json`.
pub fn text(review: &Review) -> String {
    pretty(&review_file(review))
}

/// A structure as the text of a JSON file.
pub fn pretty(file: &impl Serialize) -> String {
    // The structures hold nothing that JSON cannot: serialising them does not fail.
    let text = serde_json::to_string_pretty(file).map_or_else(|e| format!("{{\"error\": \"{e}\"}}"), |t| t + "\n");
    // Quantities in its prose are in the units of its fields.
    in_notation(&text, Notation::Stored)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    #[test]
    fn what_is_written_reads_back_as_the_review() {
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
        let review = crate::review::review(&sample, &|_, _| {}).unwrap();
        assert_eq!(super::super::read::read(&text(&review)).unwrap(), as_stored(&review).unwrap());
    }
}
