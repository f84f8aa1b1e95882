//! A run's page.

use super::answers::{AnswerView, ChartView, answers, chart};
use super::{FindingView, NoticeView, RowView, finding, notice, optional, page_name, sign, weekend_name, with_doubt};
use crate::laps::Source;
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::report::charts;
use crate::review::Review;
use crate::run::Measured;
use crate::sheet::{NOTE, Setting};
use crate::weekend::conclude::ConcludedRun;
use crate::weekend::next::Next;

/// One run's page.
pub struct RunView {
    /// Name of the weekend.
    pub weekend: String,
    /// Id.
    pub id: String,
    /// Where it stands in the weekend.
    pub place: String,
    /// Page and id of the run before it.
    pub previous: Option<(String, String)>,
    /// The same of the one after.
    pub following: Option<(String, String)>,
    /// Headline.
    pub headline: String,
    /// Line under it.
    pub subtitle: String,
    /// Error, with its hint.
    pub error: Option<(String, String)>,
    /// Findings.
    pub findings: Vec<FindingView>,
    /// Questions.
    pub answers: Vec<AnswerView>,
    /// Gearing over pinions.
    pub pinions: Vec<RowView>,
    /// Data of the trace as JSON, safe in a script element.
    pub trace: Option<String>,
    /// Laps.
    pub laps: Vec<RowView>,
    /// Chart of lap times.
    pub lap_chart: Vec<ChartView>,
    /// Where the laps came from.
    pub laps_from: String,
    /// Settings, with those that differ from the car's run before first.
    pub settings: Vec<RowView>,
    /// Head of the column of what they were before.
    pub before: String,
    /// How the log was read.
    pub channels: Vec<RowView>,
    /// In a sentence.
    pub reading: String,
    /// Remarks.
    pub notices: Vec<NoticeView>,
    /// Budget of the realised ratio.
    pub budget: Vec<RowView>,
}

/// The page of the run at `index`.
pub fn run(review: &Review, index: usize) -> RunView {
    let run = &review.runs[index];
    let done = run.done();
    let findings: Vec<FindingView> =
        review.findings.iter().filter(|f| f.run.as_deref() == Some(&run.plan().id)).map(finding).collect();
    RunView {
        weekend: weekend_name(review),
        id: printable(&run.plan().id, 40),
        place: format!("run {} of {}", index + 1, review.runs.len()),
        previous: index.checked_sub(1).and_then(|at| link(review, at)),
        following: link(review, index + 1),
        headline: headline(review, run),
        subtitle: subtitle(review, index),
        error: run.failure().map(|e| (e.message.clone(), e.hint.clone().unwrap_or_default())),
        findings,
        answers: done.map(|d| answers(review, run, d)).unwrap_or_default(),
        pinions: pinions(run),
        trace: super::trace::trace(review, index),
        laps: done.map(lap_rows).unwrap_or_default(),
        lap_chart: done.map(|d| chart(|size| charts::lap_times(d, size), "Lap times")).unwrap_or_default(),
        laps_from: done.map(laps_from).unwrap_or_default(),
        settings: settings(review, index),
        before: review
            .run_before(index)
            .map_or_else(|| "before".to_owned(), |r| format!("run {}, where it differs", printable(&r.plan().id, 40))),
        channels: done.map(channels).unwrap_or_default(),
        reading: done.map(reading).unwrap_or_default(),
        notices: done
            .map(|d| d.log.reading.notices.iter().chain(&d.laps.notices).map(notice).collect())
            .unwrap_or_default(),
        budget: done.map(budget).unwrap_or_default(),
    }
}

/// Page and id of the run at `index`.
fn link(review: &Review, index: usize) -> Option<(String, String)> {
    let id = &review.runs.get(index)?.plan().id;
    Some((page_name(index, id), printable(id, 24)))
}

/// What the run's first finding says in a few words; findings stand with what to act on first.
fn headline(review: &Review, run: &ConcludedRun) -> String {
    let of_run = review.findings.iter().filter(|f| f.run.as_deref() == Some(&run.plan().id));
    let mut words = of_run.filter_map(|f| f.headline.as_deref());
    match (run.done(), words.next()) {
        (None, _) => "could not be read".to_owned(),
        (Some(_), None) => "nothing to act on".to_owned(),
        (Some(_), Some(first)) => format!("{first}{}", if words.next().is_some() { ", and more" } else { "" }),
    }
}

fn subtitle(review: &Review, index: usize) -> String {
    let run = &review.runs[index];
    let mut parts = Vec::new();
    if !run.plan().car.is_empty() {
        parts.push(printable(&run.plan().car, 40));
    }
    parts.extend(review.sheet.surface.as_deref().map(|s| printable(s, 40)));
    parts.extend(run.plan().ambient_c.map(|c| format!("{c} °C air")));
    if let Some(done) = run.done() {
        let counted = done.laps.counted().count();
        parts.push(format!("{counted} laps count"));
        if let (Some(best), Some(median)) = (done.laps.best_s(), done.laps.median_s()) {
            parts.push(format!("best {best:.2} s, median {median:.2} s"));
        }
    }
    let changes = changes(review, index);
    if !changes.is_empty() {
        parts.push(format!("differs from the car's run before by {}", changes.join(", ")));
    }
    parts.join(" · ")
}

/// Settings that differ from the car's run before.
fn changes(review: &Review, index: usize) -> Vec<String> {
    let plan = review.runs[index].plan();
    let Some(before) = review.run_before(index) else { return Vec::new() };
    let (old, new) = (&before.plan().settings.0, &plan.settings.0);
    let mut keys: Vec<&String> = old.keys().chain(new.keys()).collect();
    keys.sort();
    keys.dedup();
    let shown = |s: Option<&Setting>| s.map_or_else(|| "–".to_owned(), Setting::to_string);
    keys.into_iter()
        .filter(|k| old.get(*k) != new.get(*k) && k.as_str() != NOTE)
        .map(|k| format!("{} {} → {}", printable(k, 40), shown(old.get(k)), shown(new.get(k))))
        .collect()
}

fn pinions(run: &ConcludedRun) -> Vec<RowView> {
    let settings = &run.plan().settings;
    let on_car = run.run.pinion_on_car();
    let row = |n: &Next| {
        let name = match () {
            () if settings.number("pinion") == Some(n.pinion) => format!("{}, sheet", n.pinion),
            () if on_car == Some(n.pinion) => format!("{}, on car", n.pinion),
            () => n.pinion.to_string(),
        };
        let mut cells = next_cells(n);
        cells[0] = name;
        RowView { cells, aside: false }
    };
    run.next.iter().map(row).collect()
}

/// Pinion, ratio, rollout, top speed and the motor at the race's end of gears that could be on the car.
pub fn next_cells(n: &Next) -> Vec<String> {
    let estimate = |e: &Option<Estimate>| e.as_ref().map_or_else(|| "–".to_owned(), with_doubt);
    vec![
        n.pinion.to_string(),
        format!("{:.3}", n.ratio),
        optional(n.rollout_mm, 2),
        estimate(&n.top_speed_m_s),
        estimate(&n.motor_race_end_c),
    ]
}

fn lap_rows(done: &Measured) -> Vec<RowView> {
    let ratio = |lap: u32| done.answers.gearing.by_lap.iter().find(|l| l.0 == lap).map(|l| l.1);
    done.laps
        .rows
        .iter()
        .map(|l| RowView {
            cells: vec![
                l.number.to_string(),
                format!("{:.2}", l.time_s()),
                format!("{:.1}", l.turns),
                optional(ratio(l.number), 3),
                l.set_aside.map_or_else(String::new, |s| s.words().to_owned()),
            ],
            aside: l.set_aside.is_some(),
        })
        .collect()
}

fn laps_from(done: &Measured) -> String {
    match (done.laps.source, &done.laps.first_passing) {
        (Source::List, Some(first)) => {
            format!(
                "From the lap list, laid onto the log: the first passing is at {:.2} s, 95 % between {:.2} and {:.2} s{}.",
                first.value,
                first.low,
                first.high,
                if done.laps.alignment.as_ref().is_some_and(|a| a.first_passing() != Some(*first)) {
                    ", together with the car’s other runs"
                } else {
                    ""
                }
            )
        }
        (Source::Found, _) if done.laps.line_shared => {
            "Found in the log from the repeating pattern of revs; the line is where the car’s runs with lap lists have it.".to_owned()
        }
        (Source::Found, _) => {
            "Found in the log from the repeating pattern of revs; the line is the fastest place of the lap.".to_owned()
        }
        _ => "No laps.".to_owned(),
    }
}

/// The run's settings, those that differ from the car's run before first, and those that it no longer has.
fn settings(review: &Review, index: usize) -> Vec<RowView> {
    let new = &review.runs[index].plan().settings.0;
    let Some(before) = review.run_before(index) else {
        let row = |(key, value): (&String, &Setting)| vec![printable(key, 60), value.to_string(), String::new()];
        return new.iter().map(|s| RowView { cells: row(s), aside: false }).collect();
    };
    let old = &before.plan().settings.0;
    let mut keys: Vec<&String> = new.keys().chain(old.keys().filter(|k| !new.contains_key(*k))).collect();
    keys.sort_by_key(|k| old.get(*k) == new.get(*k));
    let shown = |s: Option<&Setting>| s.map_or_else(|| "not stated".to_owned(), Setting::to_string);
    let row = |key: &String| {
        let (now, then) = (new.get(key), old.get(key));
        let before = if now == then { String::new() } else { shown(then) };
        RowView { cells: vec![printable(key, 60), shown(now), before], aside: false }
    };
    keys.into_iter().map(row).collect()
}

fn channels(done: &Measured) -> Vec<RowView> {
    let source = |s: &crate::log::ChannelSource| {
        let scale = s.scale.map_or_else(
            || "converted".to_owned(),
            |f| {
                if (f - 1.0).abs() < 1e-12 {
                    String::new()
                } else {
                    format!("× {f:.6}").trim_end_matches('0').to_owned()
                }
            },
        );
        RowView {
            cells: vec![s.channel.name().replace('_', " "), printable(&s.column, 60), s.unit.clone(), scale],
            aside: false,
        }
    };
    done.log.reading.channels.iter().map(source).collect()
}

/// How a log was read, in a sentence.
pub fn reading(done: &Measured) -> String {
    let r = &done.log.reading;
    format!(
        "{} of {} rows, {:.1} rows a second, {:.0} s long; {}, delimiter {}, decimal {}.",
        r.rows_kept,
        r.rows_in,
        r.rate_hz,
        r.duration_s,
        r.encoding,
        sign(&r.delimiter),
        sign(&r.decimal)
    )
}

fn budget(done: &Measured) -> Vec<RowView> {
    let row = |c: &crate::statistics::budget::Contribution| RowView {
        cells: vec![c.what.to_owned(), format!("{:.3} %", 100.0 * c.relative_u)],
        aside: false,
    };
    done.answers.gearing.budget.iter().map(row).collect()
}
