//! The weekend's page.

use super::{
    FindingView, Mark, NoticeView, RowView, battery_mark, finding, gearing_mark, heat_mark, notice, optional,
    page_name, weekend_name,
};
use crate::figure::{Bad, Shown};
use crate::measure::heat;
use crate::notice::{Severity, printable};
use crate::report::charts;
use crate::review::Review;
use crate::run::HotPart;
use crate::weekend::comparisons::{Comparison, Effect};
use crate::weekend::conclude::ConcludedRun;
use crate::weekend::lacks::{self, Place};
use crate::weekend::pace::{RunLaps, pace};
use crate::weekend::trends::{self, Trend};

/// The weekend's page.
pub struct WeekendView {
    /// What is said where there is no finding.
    pub calm: &'static str,
    /// Cars on the sheet.
    pub cars: usize,
    /// Name.
    pub name: String,
    /// Line under it.
    pub subtitle: String,
    /// Findings.
    pub findings: Vec<FindingView>,
    /// Runs against answers.
    pub runs: Vec<RunRow>,
    /// Trends over the runs of a car that have a verdict.
    pub trends: Vec<TrendView>,
    /// Those that have none, in a sentence for each car and reason.
    pub untold: Vec<String>,
    /// What changed keys did.
    pub changes: Vec<ChangeView>,
    /// Remarks on the sheet.
    pub notices: Vec<NoticeView>,
    /// What was guessed or could not be used in reading a run, with its id: worth a look before its figures are believed.
    pub guesses: Vec<(String, NoticeView)>,
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
    /// Seconds of wheelspin.
    pub spun: String,
    /// Resistance of the pack, mΩ.
    pub pack: String,
    /// Charge used.
    pub used: String,
}

/// A trend with a verdict.
pub struct TrendView {
    /// Figure and car.
    pub name: String,
    /// Mark of the verdict.
    pub mark: Mark,
    /// Verdict with the change a run.
    pub verdict: String,
    /// Its interval, and the cause where one was found.
    pub say: String,
    /// SVG.
    pub svg: String,
}

/// What a changed key did.
pub struct ChangeView {
    /// Car, key and its two values.
    pub change: String,
    /// Runs on either side, and keys that changed with it.
    pub between: String,
    /// Figure, before, after, difference, remark.
    pub effects: Vec<RowView>,
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

/// The weekend's page.
pub fn weekend(review: &Review) -> WeekendView {
    let sheet = &review.sheet;
    let mut parts: Vec<String> = sheet.date.iter().chain(sheet.surface.iter()).map(|s| printable(s, 40)).collect();
    parts.extend(sheet.lap_length_m.map(|(l, d)| format!("lap {l} ± {d:.1} m")));
    parts.push(counted(review.runs.len(), "run"));
    let cars = sheet.cars.len();
    if cars > 0 {
        parts.push(counted(cars, "car"));
    }
    parts.push(format!("race {:.0} s{}", sheet.race_length_s(), if sheet.race_s.is_none() { ", assumed" } else { "" }));
    let runs = run_rows(review);
    WeekendView {
        cars,
        name: weekend_name(review),
        subtitle: parts.join(" · "),
        findings: review.findings.iter().map(finding).collect(),
        calm: calm(&runs),
        runs,
        trends: review.trends.iter().filter(|t| t.verdict != trends::Verdict::CannotTell).map(trend_view).collect(),
        untold: untold(
            (review.trends.iter().filter(|t| t.verdict == trends::Verdict::CannotTell))
                .map(|t| (t.car.as_str(), t.why.map(|w| w.words()), t.of.label)),
        ),
        changes: review.comparisons.iter().map(change).collect(),
        notices: review.notices.iter().map(notice).collect(),
        guesses: guesses(review),
        lacks: lacking(review),
    }
}

/// Said where there is no finding: silence is no praise where nothing could be told.
fn calm(runs: &[RunRow]) -> &'static str {
    let open = runs.iter().any(|r| r.error.is_some() || r.marked.iter().any(|m| m.mark == Mark::Open));
    if open { "Nothing to act on in what could be told; ○ marks what could not." } else { "Nothing to act on." }
}

pub(super) fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

fn run_rows(review: &Review) -> Vec<RunRow> {
    let lapped = review
        .runs
        .iter()
        .enumerate()
        .filter_map(|(index, run)| Some(RunLaps { index, car: &run.plan().car, laps: &run.done()?.laps }));
    let paces = pace(review.runs.len(), lapped);
    let row = |(index, run): (usize, &ConcludedRun)| {
        let id = &run.plan().id;
        let answers = run.done().map(|d| &d.answers);
        let open = || Marked { text: "–".to_owned(), mark: Mark::Open, word: "cannot tell" };
        let heat = |h: Option<&heat::Heat>| {
            h.map_or_else(open, |h| Marked {
                text: h.race_end_c.map_or_else(
                    || optional(h.peak_c, 0),
                    |e| format!("{:.0} ± {:.0}", e.value, e.half_width().max(1.0)),
                ),
                mark: heat_mark(h.verdict),
                word: h.verdict.words(),
            })
        };
        RunRow {
            id: printable(id, 24),
            page: page_name(index, id),
            car: printable(&run.plan().car, 24),
            error: run.failure().map(|e| e.message.clone()),
            laps: run
                .done()
                .map_or_else(String::new, |d| format!("{} of {}", d.laps.counted().count(), d.laps.rows.len())),
            median: optional(paces[index].map(|p| p.median_s), 2),
            best: optional(paces[index].map(|p| p.best_s), 2),
            three: optional(paces[index].and_then(|p| p.best_three_s), 2),
            rank: paces[index]
                .filter(|_| !run.plan().car.is_empty())
                .map_or_else(|| "–".to_owned(), |p| p.rank.to_string()),
            marked: vec![
                answers.map_or_else(open, |a| Marked {
                    text: optional(a.gearing.realised_ratio.map(|m| m.value), 2),
                    mark: gearing_mark(run.run.pinion.verdict),
                    word: run.run.pinion.verdict.words(),
                }),
                heat(run.run.heat(HotPart::Motor)),
                heat(run.run.heat(HotPart::Controller)),
                answers.map_or_else(open, |a| Marked {
                    text: optional(a.battery.lowest_cell_v, 2),
                    mark: battery_mark(a.battery.verdict),
                    word: a.battery.verdict.words(),
                }),
            ],
            spun: optional(answers.and_then(|a| a.wheelspin.seconds), 1),
            pack: optional(answers.and_then(|a| a.battery.resistance_mohm).map(|m| m.value), 1),
            used: optional(answers.and_then(|a| a.battery.used_mah), 0),
        }
    };
    review.runs.iter().enumerate().map(row).collect()
}

fn trend_view(t: &Trend) -> TrendView {
    let Shown { unit, digits, factor } = t.of.shown;
    let signed = |v: f64| format!("{:+.1$}", factor * v, digits.max(1));
    let interval = t
        .low
        .zip(t.high)
        .map_or_else(String::new, |(l, h)| format!("95 % between {} and {} {unit} a run", signed(l), signed(h)));
    let steady = t.verdict == trends::Verdict::Steady;
    let matters = factor * t.of.worth_over(&t.values);
    let under = format!("less than the {matters:.digits$} {unit} over these runs that would matter");
    let worse = matches!(
        (t.of.bad, t.verdict),
        (Bad::Rise | Bad::Either, trends::Verdict::Rising) | (Bad::Fall | Bad::Either, trends::Verdict::Falling)
    );
    TrendView {
        name: format!("{}, {}", printable(&t.car, 24), t.of.label),
        mark: match t.of.bad {
            Bad::Neither if !steady => Mark::Plain,
            _ if worse => Mark::Watch,
            _ => Mark::Good,
        },
        verdict: if steady {
            t.verdict.words().to_owned()
        } else {
            format!("{} {} {unit} a run", t.verdict.words(), signed(t.per_run))
        },
        say: match t.cause {
            Some(cause) => format!("{interval}; cause: {}", cause.words()),
            None if steady => format!("{interval}: {under}"),
            None => interval,
        },
        svg: charts::trend(t, charts::SMALL),
    }
}

/// Trends without a verdict, each whose it is, why, and of which figure: the figures that share both in one sentence.
pub(super) fn untold<'a>(trends: impl Iterator<Item = (&'a str, Option<&'a str>, &'a str)>) -> Vec<String> {
    let mut groups: Vec<((&str, &str), Vec<&str>)> = Vec::new();
    for (whose, why, figure) in trends {
        let key = (whose, why.unwrap_or("the runs do not tell"));
        match groups.iter_mut().find(|g| g.0 == key) {
            Some(group) => group.1.push(figure),
            None => groups.push((key, vec![figure])),
        }
    }
    let say = |((whose, why), figures): ((&str, &str), Vec<&str>)| {
        format!("{}, cannot tell: {}: {why}", printable(whose, 24), figures.join(", "))
    };
    groups.into_iter().map(say).collect()
}

fn change(c: &Comparison) -> ChangeView {
    let (from, to) = (c.from_shown(), c.to_shown());
    let ids = |ids: &[String]| ids.iter().map(|i| printable(i, 24)).collect::<Vec<_>>().join(", ");
    let together = if c.together_with.is_empty() {
        String::new()
    } else {
        format!(" · changed together with {}", ids(&c.together_with))
    };
    ChangeView {
        change: format!("{}: {} from {} to {}", printable(&c.car, 24), printable(&c.key, 40), from, to),
        between: format!("{} against {}{together}", ids(&c.runs_to), ids(&c.runs_from)),
        effects: c.effects.iter().map(effect_row).collect(),
    }
}

fn effect_row(e: &Effect) -> RowView {
    let Shown { unit, digits, factor } = e.of.shown;
    let words = e.of.label;
    let number = |v: Option<f64>| v.map_or_else(|| "–".to_owned(), |v| format!("{:.digits$}", factor * v));
    let difference = e.difference.map_or_else(
        || "–".to_owned(),
        |d| format!("{:+.digits$} ± {:.digits$}", factor * d.value, factor * d.half_width()),
    );
    let remark = match (&e.why, e.difference) {
        (Some(why), _) => why.words(),
        (None, Some(_)) if e.claimed() => "stands out from the scatter".to_owned(),
        _ => "within the scatter".to_owned(),
    };
    RowView { cells: vec![format!("{words}, {unit}"), number(e.from), difference, remark], aside: !e.claimed() }
}

/// Notices that put a run's figures in doubt as a whole.
fn guesses(review: &Review) -> Vec<(String, NoticeView)> {
    const CODES: [&str; 14] = [
        "no-lap-list",
        "list-does-not-fit",
        "no-laps",
        "poles-assumed",
        "channel-from-values",
        "unit-from-values",
        "slow-revs",
        "unit-does-not-fit",
        "two-columns",
        "time-from-rate",
        "damaged-text",
        "import-column",
        "import-channel",
        "import-unit",
    ];
    let of = |r: &ConcludedRun| {
        let notices = r.done().map(|d| d.log.reading.notices.iter().chain(&d.laps.notices));
        let id = printable(&r.plan().id, 24);
        let doubtful =
            notices.into_iter().flatten().filter(|n| CODES.contains(&n.code) && n.severity == Severity::Warning);
        doubtful.map(|n| (id.clone(), notice(n))).collect::<Vec<_>>()
    };
    review.runs.iter().flat_map(of).collect()
}

/// Sheet lines that would answer more, those of several cars or runs in one.
fn lacking(review: &Review) -> Vec<String> {
    let mut lines: Vec<(&str, &str, Vec<String>)> = Vec::new();
    for lack in lacks::lacks(&review.sheet, &review.runs) {
        let whose = match lack.place {
            Place::Table(table) => format!("[{table}]"),
            Place::Car(car) => printable(&car, 24),
            Place::Run(run) => printable(&run, 24),
        };
        match lines.iter_mut().find(|l| l.0 == lack.key) {
            Some(line) => line.2.push(whose),
            None => lines.push((lack.key, lack.gives, vec![whose])),
        }
    }
    let mut all = Vec::new();
    if !review.has_sheet {
        all.push("a sheet: `runtrue sheet FOLDER` writes a starter weekend.toml with its runs in it".to_owned());
    }
    all.extend(lines.into_iter().map(|(key, gives, whose)| format!("{key} of {}: {gives}", whose.join(", "))));
    all
}
