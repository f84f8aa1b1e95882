//! A run's page.

use super::answer::{AnswerView, ChartView, chart};
use super::answers::answers;
use super::cells::{NOTHING, RowView, number};
use super::evidence::{DoubtView, doubts_of_run};
use super::names::{note, page_name, sign_name, weekend_name};
use super::remarks::{ErrorView, FindingView, NoticeView, finding, notice};
use super::time_went::{TimeView, time_went, worst_lap_chart};
use super::trace_link::{self, TraceLink};
use super::{settings, trace};
use crate::laps::Source;
use crate::notice::{Failure, printable};
use crate::quantity::Estimate;
use crate::report::charts;
use crate::review::Review;
use crate::run::{GearingVerdict, Measured};
use crate::sheet::NOTE;
use crate::units::measure::{MILLIMETRES, SPEED, TEMPERATURE};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::findings::lap_time_since_change;
use crate::weekend::next::Next;
use crate::wording::{self, InFigures, counted};

/// One run's page.
pub struct RunView {
    /// Name of the weekend.
    pub weekend: String,
    /// Id.
    pub id: String,
    /// Which run of the weekend it is.
    pub place: String,
    /// The run before it.
    pub previous: Option<PageLink>,
    /// The run after it.
    pub following: Option<PageLink>,
    /// Headline.
    pub headline: String,
    /// Line under it.
    pub subtitle: String,
    /// Its note on the sheet, or its car's.
    pub note: Option<String>,
    /// Why it could not be reviewed.
    pub error: Option<ErrorView>,
    /// What is doubtful or unusable.
    pub doubts: Vec<DoubtView>,
    /// What happened since the car's run before.
    pub since: Option<AnswerView>,
    /// Findings.
    pub findings: Vec<FindingView>,
    /// The other questions.
    pub answers: Vec<AnswerView>,
    /// Where the time went.
    pub time: Option<TimeView>,
    /// The slowest counted lap against the best.
    pub time_chart: Vec<ChartView>,
    /// The command that works out another race by this run.
    pub ahead_command: String,
    /// Heads of the table of pinions.
    pub pinion_heads: Vec<String>,
    /// Gearing over pinions.
    pub pinions: Vec<RowView>,
    /// Data of the trace as JSON, safe in a script element.
    pub trace: Option<String>,
    /// Laps that are compared most.
    pub trace_links: Vec<TraceLink>,
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
    /// Budget of the ratio on track.
    pub budget: Vec<RowView>,
}

/// A link to another run's page.
pub struct PageLink {
    /// File of the page.
    pub page: String,
    /// Id of the run.
    pub run: String,
}

/// The page of the run at `index`.
pub fn run(review: &Review, index: usize) -> RunView {
    let run = &review.runs[index];
    let done = run.done();
    let answers = || done.map(|d| answers(review, run, d)).unwrap_or_default();
    let ((since, answers), trace) = rayon::join(answers, || trace::trace(review, index));
    let own_findings = review.findings.iter().filter(|f| f.run.as_deref() == Some(&run.plan().id));
    RunView {
        weekend: weekend_name(review),
        id: printable(&run.plan().id, 40),
        place: format!("run {} of {}", index + 1, review.runs.len()),
        previous: index.checked_sub(1).and_then(|before| link(review, before)),
        following: link(review, index + 1),
        headline: headline(review, run),
        subtitle: subtitle(review, index),
        note: note(&run.plan().settings, NOTE),
        error: run.failure().map(error),
        doubts: doubts_of_run(&run.run),
        since,
        findings: own_findings.map(|f| finding(f, trace_link::of_finding(review, f, true))).collect(),
        answers,
        time: done.and_then(|d| time_went(run, d)),
        time_chart: run.time.as_ref().map(worst_lap_chart).unwrap_or_default(),
        ahead_command: format!("runtrue ahead FOLDER --run {} --air 35 --race 480", quoted(&run.plan().id)),
        pinion_heads: next_heads(),
        pinions: pinions(run),
        trace,
        trace_links: trace_link::first_asked(review, index),
        laps: done.map(lap_rows).unwrap_or_default(),
        lap_chart: done.map(lap_chart).unwrap_or_default(),
        laps_from: done.map(laps_from).unwrap_or_default(),
        settings: settings::table(review, index),
        before: review
            .run_before(index)
            .map_or_else(|| "before".to_owned(), |r| format!("in {}, where different", printable(&r.plan().id, 40))),
        channels: done.map(channels).unwrap_or_default(),
        reading: done.map(reading).unwrap_or_default(),
        notices: done
            .map(|d| d.log.reading.notices.iter().chain(&d.laps.notices).map(notice).collect())
            .unwrap_or_default(),
        budget: done.map(budget).unwrap_or_default(),
    }
}

fn link(review: &Review, index: usize) -> Option<PageLink> {
    let id = &review.runs.get(index)?.plan().id;
    Some(PageLink { page: page_name(index, id), run: printable(id, 24) })
}

/// An id as a shell takes it.
fn quoted(id: &str) -> String {
    let id = printable(id, 40);
    let is_plain = id.chars().all(|c| c.is_ascii_alphanumeric() || "._-".contains(c));
    if is_plain { id } else { format!("'{}'", id.replace('\'', r"'\''")) }
}

fn error(failure: &Failure) -> ErrorView {
    ErrorView { message: failure.message.clone(), hint: failure.hint.clone().unwrap_or_default() }
}

/// What the run's first finding says in a few words: what to act on comes first.
fn headline(review: &Review, run: &ConcludedRun) -> String {
    let own = review.findings.iter().filter(|f| f.run.as_deref() == Some(&run.plan().id));
    let mut headlines = own.filter_map(|f| f.headline.as_deref());
    match (run.done(), headlines.next()) {
        (None, _) => "could not be read".to_owned(),
        (Some(done), None) if done.evidence.not_sound().next().is_some() => {
            "check the log or the sheet first".to_owned()
        }
        (Some(_), None) => {
            run.since.as_ref().and_then(lap_time_since_change).unwrap_or_else(|| "nothing to act on".to_owned())
        }
        (Some(_), Some(first)) => format!("{first}{}", if headlines.next().is_some() { ", and more" } else { "" }),
    }
}

fn subtitle(review: &Review, index: usize) -> String {
    let run = &review.runs[index];
    let mut parts = Vec::new();
    if !run.plan().car.is_empty() {
        parts.push(printable(&run.plan().car, 40));
    }
    parts.extend(review.sheet.surface.as_deref().map(|s| printable(s, 40)));
    parts.extend(run.plan().ambient_c.map(|c| format!("air {}", wording::stated(c, TEMPERATURE))));
    if let Some(done) = run.done() {
        parts.push(format!("{} counted", counted(done.laps.counted().count(), "lap")));
        if let Some((best, median)) = done.laps.best_s().zip(done.laps.median_s()) {
            parts.push(format!("best {best:.2} s, median {median:.2} s"));
        }
    }
    if let Some(since) = run.since.as_ref().filter(|since| !since.changed.is_empty()) {
        let changes: Vec<String> = since.changed.iter().map(settings::changed).collect();
        parts.push(format!("changed since {}: {}", printable(&since.run, 40), changes.join(", ")));
    }
    parts.join(" · ")
}

fn pinions(run: &ConcludedRun) -> Vec<RowView> {
    let on_sheet = run.plan().settings.number("pinion");
    // Where the runs do not tell, nothing but the sheet says what was on the car.
    let is_told = run.run.pinion.verdict != GearingVerdict::CannotTell;
    let on_car = run.run.pinion_on_car().filter(|_| is_told);
    let row = |next: &Next| {
        let mut cells = next_cells(next);
        if on_car == Some(next.pinion) {
            cells[0] += " (on the car)";
        } else if on_sheet == Some(next.pinion) {
            cells[0] += " (on the sheet)";
        }
        RowView::plain(cells)
    };
    run.next.iter().map(row).collect()
}

/// Heads of what [`next_cells`] gives.
pub fn next_heads() -> Vec<String> {
    let (rollout, speed) = (wording::head("rollout", MILLIMETRES), wording::head("top speed", SPEED));
    let motor = wording::head("motor at the end of the race", TEMPERATURE);
    vec!["pinion".to_owned(), "FDR".to_owned(), rollout, "lap, s".to_owned(), speed, motor]
}

/// Pinion, ratio, rollout, top speed and the motor at the end of the race of gears that could be on the car.
pub fn next_cells(next: &Next) -> Vec<String> {
    let shown =
        |e: &Option<Estimate>, words: &dyn Fn(&Estimate) -> String| e.as_ref().map_or(NOTHING.to_owned(), words);
    vec![
        next.pinion.to_string(),
        format!("{:.3}", next.ratio),
        next.rollout_mm.map_or(NOTHING.to_owned(), |mm| wording::bare_value(mm, 2, MILLIMETRES)),
        next.lap_change_s.as_ref().map_or(NOTHING.to_owned(), |e| InFigures::new(e).signed().plus_minus()),
        shown(&next.top_speed_m_s, &|speed| wording::cell(speed, SPEED)),
        shown(&next.motor_race_end_c, &|end| wording::whole_cell(end, TEMPERATURE)),
    ]
}

fn lap_rows(done: &Measured) -> Vec<RowView> {
    let ratio = |lap: u32| done.answers.gearing.by_lap.iter().find(|l| l.0 == lap).map(|l| l.1);
    let row = |lap: &crate::laps::Lap| RowView {
        cells: vec![
            lap.number.to_string(),
            format!("{:.2}", lap.time_s()),
            format!("{:.1}", lap.turns),
            number(ratio(lap.number), 3),
            lap.set_aside.map_or_else(String::new, |s| s.words().to_owned()),
        ],
        aside: lap.set_aside.is_some(),
    };
    done.laps.rows.iter().map(row).collect()
}

fn lap_chart(done: &Measured) -> Vec<ChartView> {
    let mut caption = "Filled dots are laps that count, hollow ones do not.".to_owned();
    match charts::laps_off_time_chart(done).as_slice() {
        [] => {}
        [lap] => caption += &format!(" Lap {lap} is far slower or outside the log and not shown."),
        laps => {
            let laps: Vec<String> = laps.iter().map(u32::to_string).collect();
            caption += &format!(" Laps {} are far slower or outside the log and not shown.", laps.join(", "));
        }
    }
    chart(|size| charts::lap_times(done, size), "Lap times", caption)
}

fn laps_from(done: &Measured) -> String {
    let laps = &done.laps;
    match (laps.source, &laps.first_passing) {
        (Source::List, Some(first)) => {
            let alone = laps.alignment.as_ref().is_none_or(|a| a.first_passing() == Some(*first));
            let how = if alone { "" } else { ", worked out together with the car’s other runs" };
            let first = InFigures::new(first).sentence("s");
            format!("Lap times are from the lap list. In the log the first passing is at {first}{how}.")
        }
        (Source::Found, _) => {
            let line = if laps.line_shared {
                "The start/finish line is where the car’s runs with lap lists have it."
            } else {
                "The fastest place of the lap is taken for the start/finish line."
            };
            format!("Laps were found in the log, from the pattern of revs that repeats. {line}")
        }
        _ => "There are no laps.".to_owned(),
    }
}

fn channels(done: &Measured) -> Vec<RowView> {
    let scale = |factor: Option<f64>| match factor {
        None => "converted".to_owned(),
        Some(factor) if (factor - 1.0).abs() < 1e-12 => String::new(),
        Some(factor) => format!("× {factor:.6}").trim_end_matches('0').to_owned(),
    };
    let row = |source: &crate::log::ChannelSource| {
        RowView::plain(vec![
            source.channel.name().replace('_', " "),
            printable(&source.column, 60),
            source.unit.clone(),
            scale(source.scale),
        ])
    };
    done.log.reading.channels.iter().map(row).collect()
}

/// How a log was read, in a sentence.
pub fn reading(done: &Measured) -> String {
    let r = &done.log.reading;
    format!(
        "{} of {} rows used, {:.1} rows a second, {:.0} s long; text in {}, columns split by {}, decimal {}.",
        r.rows_kept,
        r.rows_in,
        r.rate_hz,
        r.duration_s,
        r.encoding,
        sign_name(&r.delimiter),
        sign_name(&r.decimal)
    )
}

fn budget(done: &Measured) -> Vec<RowView> {
    let contributions = done.answers.gearing.budget.iter();
    contributions.map(|c| RowView::plain(vec![c.what.to_owned(), format!("{:.3} %", 100.0 * c.relative_u)])).collect()
}
