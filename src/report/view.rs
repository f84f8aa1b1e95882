//! Plain structs for the pages and the terminal: every figure worded here, nothing computed in a template.

use super::charts;
use crate::laps::Source;
use crate::measure::{battery, gearing, heat};
use crate::notice::{Notice, Severity, printable};
use crate::quantity::Estimate;
use crate::review::{Review, Reviewed, Run};
use crate::sheet::{Setting, Sheet};
use crate::weekend::findings::{Finding, Weight};
use crate::weekend::tables;

/// How good a verdict is, shown by shape, word and colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// As it should be.
    Good,
    /// Keep an eye on it.
    Watch,
    /// Do something.
    Act,
    /// Open.
    Open,
}

impl Mark {
    /// Class of the page's style.
    pub fn class(self) -> &'static str {
        match self {
            Mark::Good => "ok",
            Mark::Watch => "watch",
            Mark::Act => "act",
            Mark::Open => "open",
        }
    }

    /// Shape, told apart without colour.
    pub fn shape(self) -> &'static str {
        match self {
            Mark::Good => "●",
            Mark::Watch => "◆",
            Mark::Act => "▲",
            Mark::Open => "○",
        }
    }
}

/// A finding on a page.
pub struct FindingView {
    /// Its mark.
    pub mark: Mark,
    /// The sentence.
    pub text: String,
}

/// A chart with its words.
pub struct ChartView {
    /// SVG.
    pub svg: String,
    /// What it shows, for those who cannot see it.
    pub says: String,
}

/// One answered question.
pub struct AnswerView {
    /// The question.
    pub question: &'static str,
    /// Mark of the verdict.
    pub mark: Mark,
    /// Verdict.
    pub verdict: String,
    /// The figure.
    pub figure: String,
    /// Its interval.
    pub doubt: String,
    /// What the figure is.
    pub of: String,
    /// Why, in a sentence or two.
    pub say: Vec<String>,
    /// Evidence.
    pub charts: Vec<ChartView>,
}

/// A row of a plain table.
pub struct RowView {
    /// Cells.
    pub cells: Vec<String>,
    /// Whether the row is greyed.
    pub aside: bool,
}

/// A notice on a page or the terminal.
pub struct NoticeView {
    /// Whether something was dropped, repaired or guessed.
    pub warning: bool,
    /// Sentence with its place and count.
    pub text: String,
    /// Advice.
    pub hint: String,
}

/// One run's page.
pub struct RunView {
    /// Name of the weekend.
    pub weekend: String,
    /// Id.
    pub id: String,
    /// Where it stands in the weekend.
    pub place: String,
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
    /// Laps.
    pub laps: Vec<RowView>,
    /// Chart of lap times.
    pub lap_chart: String,
    /// Where the laps came from.
    pub laps_from: String,
    /// Settings, with those that differ from the run before marked.
    pub settings: Vec<RowView>,
    /// How the log was read.
    pub channels: Vec<RowView>,
    /// In a sentence.
    pub reading: String,
    /// Remarks.
    pub notices: Vec<NoticeView>,
    /// Budget of the realised ratio.
    pub budget: Vec<RowView>,
}

/// The weekend's page.
pub struct WeekendView {
    /// Name.
    pub name: String,
    /// Line under it.
    pub subtitle: String,
    /// Findings.
    pub findings: Vec<FindingView>,
    /// Runs against answers.
    pub runs: Vec<RunRow>,
    /// Remarks on the sheet.
    pub notices: Vec<NoticeView>,
    /// Lines that the sheet lacks.
    pub lacks: Vec<String>,
}

/// One run in the weekend's table.
pub struct RunRow {
    /// Id.
    pub id: String,
    /// File of its page.
    pub page: String,
    /// Car.
    pub car: String,
    /// Error.
    pub error: Option<String>,
    /// Laps that count, of all.
    pub laps: String,
    /// Median lap.
    pub median: String,
    /// Best lap.
    pub best: String,
    /// Best three in a row.
    pub three: String,
    /// Pace among the car's runs.
    pub rank: String,
    /// Realised ratio, motor's and controller's peak, lowest cell, each with its mark.
    pub marked: Vec<Marked>,
    /// Charge used.
    pub used: String,
}

/// A figure with its mark.
pub struct Marked {
    /// The figure.
    pub text: String,
    /// The mark.
    pub mark: Mark,
    /// The verdict's word.
    pub word: &'static str,
}

/// `7.49 ± 0.05`, to the digits that the interval allows.
pub fn plus_minus(m: &Estimate) -> (String, String) {
    let half = m.half_width();
    let digits = if half > 0.0 { (1.0 - half.log10().floor()).clamp(0.0, 4.0) as usize } else { 1 };
    (format!("{:.digits$}", m.value), format!("± {half:.digits$}"))
}

fn optional(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "–".to_owned(), |v| format!("{v:.digits$}"))
}

/// File name of a run's page: letters, digits and dashes of its id, and its number, so that no two are alike.
pub fn page_name(index: usize, id: &str) -> String {
    let plain: String = id.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(40).collect();
    format!("run-{:02}-{plain}.html", index + 1)
}

fn finding(finding: &Finding) -> FindingView {
    let mark = match finding.severity {
        Weight::Act => Mark::Act,
        Weight::Watch => Mark::Watch,
        Weight::Note => Mark::Good,
    };
    FindingView { mark, text: finding.text.clone() }
}

/// A notice in words.
pub fn notice(notice: &Notice) -> NoticeView {
    let mut text = notice.message.clone();
    if notice.count > 1 {
        text += &format!(", {} times", notice.count);
    }
    if let Some(line) = notice.line {
        text += &if notice.count > 1 { format!(", first on line {line}") } else { format!(", line {line}") };
    }
    NoticeView { warning: notice.severity == Severity::Warning, text, hint: notice.hint.clone().unwrap_or_default() }
}

fn gearing_mark(verdict: gearing::Verdict) -> Mark {
    match verdict {
        gearing::Verdict::Agrees => Mark::Good,
        gearing::Verdict::Differs => Mark::Act,
        gearing::Verdict::CannotTell => Mark::Open,
    }
}

fn heat_mark(verdict: heat::Verdict) -> Mark {
    match verdict {
        heat::Verdict::Within => Mark::Good,
        heat::Verdict::Close => Mark::Watch,
        heat::Verdict::Over => Mark::Act,
        heat::Verdict::CannotTell => Mark::Open,
    }
}

fn battery_mark(verdict: battery::Verdict) -> Mark {
    match verdict {
        battery::Verdict::Plenty => Mark::Good,
        battery::Verdict::Short => Mark::Watch,
        battery::Verdict::UnderFloor => Mark::Act,
        battery::Verdict::CannotTell => Mark::Open,
    }
}

/// The page of the run at `index`.
pub fn run(review: &Review, index: usize) -> RunView {
    let run = &review.runs[index];
    let done = run.outcome.as_ref().ok();
    let findings: Vec<FindingView> =
        review.findings.iter().filter(|f| f.run.as_deref() == Some(&run.plan.id)).map(finding).collect();
    let worst = findings.iter().map(|f| f.mark).find(|m| *m == Mark::Act).or(findings.first().map(|f| f.mark));
    let headline = match (worst, done) {
        (_, None) => "could not be read",
        (Some(Mark::Act), _) => "something to act on",
        (Some(Mark::Watch), _) => "something to watch",
        _ => "nothing to act on",
    };
    RunView {
        weekend: weekend_name(review),
        id: printable(&run.plan.id, 40),
        place: format!("run {} of {}", index + 1, review.runs.len()),
        headline: headline.to_owned(),
        subtitle: subtitle(review, index),
        error: run.outcome.as_ref().err().map(|e| (e.message.clone(), e.hint.clone().unwrap_or_default())),
        findings,
        answers: done.map(|d| answers(run, d, &review.sheet)).unwrap_or_default(),
        pinions: pinions(run),
        laps: done.map(lap_rows).unwrap_or_default(),
        lap_chart: done.map(charts::lap_times).unwrap_or_default(),
        laps_from: done.map(laps_from).unwrap_or_default(),
        settings: settings(review, index),
        channels: done.map(channels).unwrap_or_default(),
        reading: done.map(reading).unwrap_or_default(),
        notices: done
            .map(|d| d.log.reading.notices.iter().chain(&d.laps.notices).map(notice).collect())
            .unwrap_or_default(),
        budget: done.map(budget).unwrap_or_default(),
    }
}

fn weekend_name(review: &Review) -> String {
    review.sheet.name.as_deref().map_or_else(|| "Logs without a sheet".to_owned(), |n| printable(n, 80))
}

fn subtitle(review: &Review, index: usize) -> String {
    let run = &review.runs[index];
    let mut parts = Vec::new();
    if !run.plan.car.is_empty() {
        parts.push(printable(&run.plan.car, 40));
    }
    parts.extend(review.sheet.surface.as_deref().map(|s| printable(s, 40)));
    parts.extend(run.plan.ambient_c.map(|c| format!("{c} °C air")));
    if let Ok(done) = &run.outcome {
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
    let plan = &review.runs[index].plan;
    let Some(before) =
        review.runs[..index].iter().rev().find(|r| r.plan.car == plan.car).filter(|_| !plan.car.is_empty())
    else {
        return Vec::new();
    };
    let (old, new) = (&before.plan.settings.0, &plan.settings.0);
    let mut keys: Vec<&String> = old.keys().chain(new.keys()).collect();
    keys.sort();
    keys.dedup();
    let shown = |s: Option<&Setting>| s.map_or_else(|| "–".to_owned(), Setting::to_string);
    keys.into_iter()
        .filter(|k| old.get(*k) != new.get(*k))
        .map(|k| format!("{} {} → {}", printable(k, 40), shown(old.get(k)), shown(new.get(k))))
        .collect()
}

fn answers(run: &Run, done: &Reviewed, sheet: &Sheet) -> Vec<AnswerView> {
    vec![
        gearing_answer(done, run),
        wheelspin_answer(done),
        heat_answer(done, sheet),
        battery_answer(done, run),
        power_answer(done),
    ]
}

fn gearing_answer(done: &Reviewed, run: &Run) -> AnswerView {
    let g = &done.answers.gearing;
    let (figure, doubt) = g.realised_ratio.as_ref().map_or_else(|| ("–".to_owned(), String::new()), plus_minus);
    let mut say = Vec::new();
    if let Some(rollout) = &g.realised_rollout_mm {
        let (value, doubt) = plus_minus(rollout);
        say.push(format!(
            "Each motor turn moved the car {value} {doubt} mm along the track; the sheet's rollout is {} mm.",
            optional(g.set_rollout_mm, 1)
        ));
    }
    if let (Some(realised), Some(set)) = (&g.realised_ratio, g.set_ratio) {
        let over = (realised.value / set - 1.0) * 100.0;
        let where_ = if over >= 0.0 { "above" } else { "below" };
        let mut text = format!("That is {:.1} % {where_} the sheet", over.abs());
        if g.verdict == gearing::Verdict::Agrees {
            text += ": what drive slip, the tyre under load and the driven line explain";
        }
        say.push(text + ".");
    }
    let others: Vec<String> = g
        .fits
        .iter()
        .filter(|f| f.probability >= 0.005)
        .map(|f| format!("{} teeth {:.0} %", f.pinion, (f.probability * 100.0).min(99.0)))
        .collect();
    if !others.is_empty() {
        say.push(format!("Weighed over all runs of the car: {}.", others.join(", ")));
    }
    say.extend(g.why.as_ref().map(|w| format!("Open: {w}.")));
    let svg = charts::ratio_by_lap(g, done);
    let says = format!(
        "Realised ratio of each lap of run {} against what the sheet's pinion and its neighbours would show",
        printable(&run.plan.id, 40)
    );
    AnswerView {
        question: "Is the gearing the one on the sheet?",
        mark: gearing_mark(g.verdict),
        verdict: g.verdict.words().to_owned(),
        figure,
        doubt,
        of: g
            .set_ratio
            .map_or_else(|| "realised ratio".to_owned(), |s| format!("realised ratio · {s:.2} on the sheet")),
        say,
        charts: chart(svg, says),
    }
}

fn chart(svg: String, says: impl Into<String>) -> Vec<ChartView> {
    if svg.is_empty() { Vec::new() } else { vec![ChartView { svg, says: says.into() }] }
}

fn wheelspin_answer(done: &Reviewed) -> AnswerView {
    let w = &done.answers.wheelspin;
    AnswerView {
        question: "Did the power reach the ground?",
        mark: Mark::Open,
        verdict: "cannot tell".to_owned(),
        figure: optional(w.seconds, 1),
        doubt: String::new(),
        of: "seconds of wheelspin".to_owned(),
        say: w.why.iter().map(|w| format!("Open: {w}.")).collect(),
        charts: Vec::new(),
    }
}

fn heat_answer(done: &Reviewed, sheet: &Sheet) -> AnswerView {
    let (m, c) = (&done.answers.motor, &done.answers.controller);
    let mut say = Vec::new();
    for (part, h) in [("motor", m), ("controller", c)] {
        let Some(peak) = h.peak_c else { continue };
        let mut text = format!(
            "The {part} went from {} to {peak:.0} °C, highest {:.0} s into the log; its limit is {:.0} °C{}",
            optional(h.start_c, 0),
            h.peak_at_s.unwrap_or(0.0),
            h.limit_c,
            if h.limit_stated { "" } else { ", assumed: state the maker's own" }
        );
        if let Some(over) = h.over_limit_s.filter(|s| *s > 0.0) {
            text += &format!(". It was there or over for {over:.0} s");
        }
        say.push(text + ".");
    }
    say.extend(m.why.as_ref().map(|w| format!("Open: {w}.")));
    let (figure, doubt, of) = match (&m.race_end_c, m.peak_c) {
        (Some(end), _) => {
            let (value, doubt) = plus_minus(end);
            (
                format!("{value} °C"),
                doubt,
                format!("motor at the end of a {:.0} s race · limit {:.0}", sheet.race_length_s(), m.limit_c),
            )
        }
        (None, peak) => (
            peak.map_or_else(|| "–".to_owned(), |p| format!("{p:.0} °C")),
            String::new(),
            format!("motor's highest · limit {:.0}", m.limit_c),
        ),
    };
    let worst = [m.verdict, c.verdict].into_iter().find(|v| *v == heat::Verdict::Over).unwrap_or(m.verdict);
    let race_end = done
        .laps
        .first_passing
        .map(|f| f.value + sheet.race_length_s())
        .filter(|e| *e <= done.log.reading.duration_s * 1.5);
    AnswerView {
        question: "How hot did it get, and would it last?",
        mark: heat_mark(worst),
        verdict: match worst {
            heat::Verdict::Within => "within its limit".to_owned(),
            heat::Verdict::Close => "close to its limit".to_owned(),
            heat::Verdict::Over => "over its limit".to_owned(),
            heat::Verdict::CannotTell => "cannot tell".to_owned(),
        },
        figure,
        doubt,
        of,
        say,
        charts: chart(
            charts::temperatures(&done.log, m, c, race_end),
            "Temperatures of motor and controller over time against their limits",
        ),
    }
}

fn battery_answer(done: &Reviewed, run: &Run) -> AnswerView {
    let b = &done.answers.battery;
    let mut say = Vec::new();
    if let Some(used) = b.used_mah {
        let of = run.plan.settings.number("battery.capacity_mah").map_or(String::new(), |c| format!(" of {c:.0}"));
        say.push(format!("The log took {used:.0} mAh{of}, {} Wh.", optional(b.used_wh, 1)));
    }
    if let Some(end) = &b.race_end_used_mah {
        say.push(format!(
            "A race would take {:.0} mAh{}.",
            end.value,
            if end.half_width() >= 0.5 { format!(", ± {:.0}", end.half_width()) } else { String::new() }
        ));
    }
    if let Some(v) = b.lowest_v {
        say.push(format!("The pack fell to {v:.2} V; the floor of a cell is {:.2} V.", b.floor_cell_v));
    }
    say.extend(b.why.as_ref().map(|w| format!("Open: {w}.")));
    let floor = run.plan.settings.number("battery.cells").map(|n| n * b.floor_cell_v);
    let mut charts = chart(charts::voltage(&done.log, floor), "Voltage over time");
    charts.extend(chart(charts::current(&done.log), "Current over time"));
    AnswerView {
        question: "What had the battery left?",
        mark: battery_mark(b.verdict),
        verdict: b.verdict.words().to_owned(),
        figure: b.lowest_cell_v.or(b.lowest_v).map_or_else(|| "–".to_owned(), |v| format!("{v:.2} V")),
        doubt: String::new(),
        of: if b.lowest_cell_v.is_some() {
            "lowest voltage of a cell, on average"
        } else {
            "lowest voltage of the pack"
        }
        .to_owned(),
        say,
        charts,
    }
}

fn power_answer(done: &Reviewed) -> AnswerView {
    let p = &done.answers.power;
    let mut say = Vec::new();
    if let Some(rpm) = p.top_rpm {
        say.push(format!("The motor reached {rpm:.0} turns a minute."));
    }
    if let (Some(mean), Some(peak)) = (p.mean_w, p.peak_w) {
        say.push(format!("The pack gave {mean:.0} W on average over the laps, {peak:.0} W at the most."));
    }
    say.extend(p.why.as_ref().map(|w| format!("Open: {w}.")));
    AnswerView {
        question: "Where is the power?",
        mark: Mark::Open,
        verdict: "direct figures only".to_owned(),
        figure: p.top_speed_m_s.map_or_else(|| "–".to_owned(), |v| format!("{v:.1} m/s")),
        doubt: String::new(),
        of: "the car's top speed".to_owned(),
        say,
        charts: chart(charts::revs_over_laps(done), "Revs over the lap: the best lap in front of all that count"),
    }
}

fn pinions(run: &Run) -> Vec<RowView> {
    let settings = &run.plan.settings;
    let Some(now) = settings.number("pinion") else { return Vec::new() };
    let row = |teeth: i32| {
        let pinion = now + f64::from(teeth);
        let ratio = settings.ratio_with(pinion)?;
        let rollout = settings.tyre_mm().map(|d| gearing::rollout_mm(d, ratio));
        let name = if teeth == 0 { format!("{pinion}, on the sheet") } else { format!("{pinion}") };
        Some(RowView { cells: vec![name, format!("{ratio:.3}"), optional(rollout, 2)], aside: false })
    };
    (-2..=2).filter_map(row).collect()
}

fn lap_rows(done: &Reviewed) -> Vec<RowView> {
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

fn laps_from(done: &Reviewed) -> String {
    match (done.laps.source, &done.laps.first_passing) {
        (Source::List, Some(first)) => {
            format!(
                "From the lap list, laid onto the log: the first passing is at {:.2} s, 95 % between {:.2} and {:.2} s.",
                first.value, first.low, first.high
            )
        }
        (Source::Found, _) => {
            "Found in the log from the repeating pattern of revs; the line is the fastest place of the lap.".to_owned()
        }
        _ => "No laps.".to_owned(),
    }
}

fn settings(review: &Review, index: usize) -> Vec<RowView> {
    let plan = &review.runs[index].plan;
    let before = review.runs[..index].iter().rev().find(|r| r.plan.car == plan.car && !plan.car.is_empty());
    plan.settings
        .0
        .iter()
        .map(|(key, value)| {
            let old = before.map(|b| b.plan.settings.0.get(key));
            let change = match old {
                Some(old) if old != Some(value) => {
                    format!("was {}", old.map_or_else(|| "not stated".to_owned(), Setting::to_string))
                }
                _ => String::new(),
            };
            RowView { cells: vec![printable(key, 60), value.to_string(), change.clone()], aside: false }
        })
        .collect()
}

fn channels(done: &Reviewed) -> Vec<RowView> {
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
pub fn reading(done: &Reviewed) -> String {
    let r = &done.log.reading;
    let delimiter = if r.delimiter == "\t" { "tab" } else { &r.delimiter };
    format!(
        "{} of {} rows, {:.1} rows a second, {:.0} s long; {}, delimiter {delimiter}, decimal {}.",
        r.rows_kept, r.rows_in, r.rate_hz, r.duration_s, r.encoding, r.decimal
    )
}

fn budget(done: &Reviewed) -> Vec<RowView> {
    let row = |c: &crate::measure::budget::Contribution| RowView {
        cells: vec![c.what.to_owned(), format!("{:.3} %", 100.0 * c.relative_u)],
        aside: false,
    };
    done.answers.gearing.budget.iter().map(row).collect()
}

/// The weekend's page.
pub fn weekend(review: &Review) -> WeekendView {
    let sheet = &review.sheet;
    let mut parts: Vec<String> = sheet.date.iter().chain(sheet.surface.iter()).map(|s| printable(s, 40)).collect();
    parts.extend(sheet.lap_length_m.map(|(l, d)| format!("lap {l} ± {d:.1} m")));
    parts.push(format!("{} runs", review.runs.len()));
    let cars = sheet.cars.len();
    if cars > 0 {
        parts.push(format!("{cars} car{}", if cars == 1 { "" } else { "s" }));
    }
    parts.push(format!("race {:.0} s{}", sheet.race_length_s(), if sheet.race_s.is_none() { ", assumed" } else { "" }));
    WeekendView {
        name: weekend_name(review),
        subtitle: parts.join(" · "),
        findings: review.findings.iter().map(finding).collect(),
        runs: run_rows(review),
        notices: review.notices.iter().map(notice).collect(),
        lacks: lacks(review),
    }
}

fn run_rows(review: &Review) -> Vec<RunRow> {
    let done = review
        .runs
        .iter()
        .filter_map(|r| r.outcome.as_ref().ok().map(|d| (r.plan.id.as_str(), r.plan.car.as_str(), &d.laps)));
    let pace = tables::laps(done).and_then(|l| tables::pace(&l)).unwrap_or_default();
    let cell = |id: &str, column: &str| -> Option<f64> {
        let ids = pace.column("run").ok()?.str().ok()?;
        let at = ids.iter().position(|r| r == Some(id))?;
        let column = pace.column(column).ok()?.as_materialized_series();
        column.f64().ok().and_then(|c| c.get(at)).or_else(|| column.u32().ok().and_then(|c| c.get(at)).map(f64::from))
    };
    let row = |(index, run): (usize, &Run)| {
        let id = &run.plan.id;
        let answers = run.outcome.as_ref().ok().map(|d| &d.answers);
        let open = || Marked { text: "–".to_owned(), mark: Mark::Open, word: "cannot tell" };
        let heat = |h: Option<&heat::Heat>| {
            h.map_or_else(open, |h| Marked {
                text: optional(h.peak_c, 0),
                mark: heat_mark(h.verdict),
                word: h.verdict.words(),
            })
        };
        RunRow {
            id: printable(id, 24),
            page: page_name(index, id),
            car: printable(&run.plan.car, 24),
            error: run.outcome.as_ref().err().map(|e| e.message.clone()),
            laps: run
                .outcome
                .as_ref()
                .map_or_else(|_| String::new(), |d| format!("{} of {}", d.laps.counted().count(), d.laps.rows.len())),
            median: optional(cell(id, "median_s"), 2),
            best: optional(cell(id, "best_s"), 2),
            three: optional(cell(id, "best_three_s"), 2),
            rank: cell(id, "rank").map_or_else(|| "–".to_owned(), |r| format!("{r:.0}")),
            marked: vec![
                answers.map_or_else(open, |a| Marked {
                    text: optional(a.gearing.realised_ratio.map(|m| m.value), 2),
                    mark: gearing_mark(a.gearing.verdict),
                    word: a.gearing.verdict.words(),
                }),
                heat(answers.map(|a| &a.motor)),
                heat(answers.map(|a| &a.controller)),
                answers.map_or_else(open, |a| Marked {
                    text: optional(a.battery.lowest_cell_v, 2),
                    mark: battery_mark(a.battery.verdict),
                    word: a.battery.verdict.words(),
                }),
            ],
            used: optional(answers.and_then(|a| a.battery.used_mah), 0),
        }
    };
    review.runs.iter().enumerate().map(row).collect()
}

/// Sheet lines that would answer more.
fn lacks(review: &Review) -> Vec<String> {
    let sheet = &review.sheet;
    let mut lacks = Vec::new();
    if !review.has_sheet {
        lacks.push("no weekend.toml: `runtrue sheet` writes a starter with these runs in it".to_owned());
    }
    if sheet.lap_length_m.is_none() {
        lacks.push(
            "[track] lap_length_m: what a motor turn moved the car, the realised ratio, the top speed".to_owned(),
        );
    }
    let lacking = |key: &str| review.runs.iter().any(|r| !r.plan.settings.0.contains_key(key));
    for (key, gives) in [
        ("pinion", "is the gearing the one on the sheet"),
        ("spur", "is the gearing the one on the sheet"),
        ("tyre_diameter_mm", "set rollout and realised ratio"),
        ("battery.cells", "the lowest voltage of a cell"),
        ("battery.capacity_mah", "what the battery had left"),
        ("limits.motor_c", "the motor's own limit in place of a default"),
    ] {
        if lacking(key) {
            lacks.push(format!("{key} of the car: {gives}"));
        }
    }
    lacks
}
