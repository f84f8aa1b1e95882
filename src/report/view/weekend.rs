//! The weekend's page.

use super::cells::{Cell, NOTHING, RowView, number};
use super::evidence::{DoubtView, doubts, in_doubt};
use super::figures::ShownFigure;
use super::mark::Mark;
use super::names::{note, page_name, weekend_name};
use super::remarks::{FindingView, NoticeView, finding, notice};
use super::trace_link::of_finding;
use super::trends::{Open, TrendView, Unanswered, over_runs, unanswered};
use super::{settings, verdicts};
use crate::measure::hot_part::HotPart;
use crate::measure::rests_on;
use crate::notice::{NoticeCode, Severity, printable};
use crate::review::Review;
use crate::run::SettledRun;
use crate::sheet::NOTE;
use crate::sheet::keys::Key;
use crate::units::measure::{METRES, TEMPERATURE};
use crate::weekend::comparisons::{Comparison, Effect};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::lacks::{self, Place};
use crate::weekend::pace::{Pace, RunLaps, pace};
use crate::weekend::trends::{Trend, Verdict};
use crate::wording::{self, counted};

/// Path of the weekend's note.
const WEEKEND_NOTE: &str = "weekend.note";

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
    /// The weekend's note on the sheet.
    pub note: Option<String>,
    /// What is doubtful or unusable: findings rest on it.
    pub doubts: Vec<DoubtView>,
    /// Findings.
    pub findings: Vec<FindingView>,
    /// Heads of the runs' figures.
    pub heads: [String; 12],
    /// Runs against answers.
    pub runs: Vec<RunRow>,
    /// What the marks in their table mean.
    pub key: [(Mark, &'static str); 4],
    /// Trends over the runs of a car that have a verdict.
    pub trends: Vec<TrendView>,
    /// Those that have none.
    pub unanswered: Vec<Unanswered>,
    /// What changed settings did.
    pub changes: Vec<ChangeView>,
    /// Remarks on the sheet.
    pub notices: Vec<NoticeView>,
    /// What was guessed or could not be used in reading a run: worth a look before its figures are believed.
    pub guesses: Vec<RunNotice>,
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
    /// Its note on the sheet, or its car's.
    pub note: Option<String>,
    /// Why it could not be reviewed.
    pub error: Option<String>,
    /// Its laps; `None` where it could not be reviewed.
    pub laps: Option<LapCount>,
    /// Median lap.
    pub median: String,
    /// Best lap.
    pub best: String,
    /// Best three in a row.
    pub three: String,
    /// Pace among the car's runs.
    pub rank: String,
    /// Ratio on track, motor and controller at the end of the race, lowest cell.
    pub answers: Vec<Cell>,
    /// Seconds of wheelspin.
    pub spun: String,
    /// Resistance of the pack, mΩ.
    pub pack: String,
    /// Charge used.
    pub used: String,
}

impl RunRow {
    /// What stands under the last of the heads: lap times, then the rest.
    pub fn without_verdict(&self) -> [String; 8] {
        let laps = self.laps.as_ref().map_or(NOTHING.to_owned(), |l| format!("{} of {}", l.counted, l.driven));
        let [median, best, three] = [&self.median, &self.best, &self.three].map(Clone::clone);
        let [rank, spun, pack, used] = [&self.rank, &self.spun, &self.pack, &self.used].map(Clone::clone);
        [median, best, three, rank, spun, pack, used, laps]
    }
}

/// Laps of a run.
pub struct LapCount {
    /// Those that count.
    pub counted: usize,
    /// All of them.
    pub driven: usize,
}

/// Heads of the runs' figures: what has a verdict, lap times, the rest.
fn heads() -> [String; 12] {
    let plain = str::to_owned;
    [
        plain("ratio on track"),
        wording::head("motor at end of race", TEMPERATURE),
        wording::head("controller at end of race", TEMPERATURE),
        plain("lowest cell, V"),
        plain("median lap, s"),
        plain("best lap, s"),
        plain("best three in a row, s"),
        plain("rank among the car’s runs"),
        plain("wheelspin, s"),
        plain("pack, mΩ"),
        plain("used, mAh"),
        plain("laps that count"),
    ]
}

/// What a changed setting did.
pub struct ChangeView {
    /// Car, setting and its two values.
    pub change: String,
    /// Runs on either side, and settings that changed with it.
    pub between: String,
    /// Figure, before, change, how clear.
    pub effects: Vec<RowView>,
}

/// A notice on a run.
pub struct RunNotice {
    /// The run.
    pub run: String,
    /// The notice.
    pub notice: NoticeView,
}

/// The weekend's page.
pub fn weekend(review: &Review) -> WeekendView {
    let (runs, doubts) = (run_rows(review), doubts(review));
    let is_unanswered = |t: &&Trend| t.verdict == Verdict::CannotTell;
    WeekendView {
        cars: review.sheet.cars.len(),
        name: weekend_name(review),
        subtitle: subtitle(review),
        note: note(&review.sheet.stated, WEEKEND_NOTE),
        findings: review.findings.iter().map(|f| finding(f, of_finding(review, f, false))).collect(),
        calm: calm(&runs, !doubts.is_empty()),
        doubts,
        heads: heads(),
        runs,
        key: Mark::KEY,
        trends: review.trends.iter().filter(|t| !is_unanswered(t)).map(over_runs).collect(),
        unanswered: unanswered(
            review.trends.iter().filter(is_unanswered).map(|t| Open {
                whose: &t.car,
                figure: t.of.label.to_owned(),
                why: t.why,
            }),
            |why| why.map_or("the runs do not show it".to_owned(), |why| why.to_string()),
        ),
        changes: review.comparisons.iter().map(change).collect(),
        notices: review.notices.iter().map(notice).collect(),
        guesses: guesses(review),
        lacks: lacking(review),
    }
}

fn subtitle(review: &Review) -> String {
    let sheet = &review.sheet;
    let mut parts: Vec<String> = sheet.date.iter().chain(sheet.surface.iter()).map(|s| printable(s, 40)).collect();
    parts.extend(sheet.lap_length_m.map(lap_length));
    parts.push(counted(review.runs.len(), "run"));
    if !sheet.cars.is_empty() {
        parts.push(counted(sheet.cars.len(), "car"));
    }
    let assumed = if sheet.race_s.is_none() { " (assumed)" } else { "" };
    parts.push(format!("race {:.0} s{assumed}", sheet.race_length_s()));
    parts.join(" · ")
}

/// `lap 214 ± 0.6 m`.
fn lap_length((length, half): (f64, f64)) -> String {
    let (length, half) = (wording::stated(length, METRES.bare()), wording::value(half, 1, METRES));
    format!("lap {length} ± {half}")
}

/// Said where there is no finding: silence is no praise where a question has no answer.
fn calm(runs: &[RunRow], in_doubt: bool) -> &'static str {
    if in_doubt {
        return "No more to act on in what could be used.";
    }
    let some_open = runs.iter().any(|r| r.error.is_some() || r.answers.iter().any(|cell| cell.mark == Mark::Open));
    if some_open { "Nothing to act on. ○ marks what could not be answered." } else { "Nothing to act on." }
}

fn run_rows(review: &Review) -> Vec<RunRow> {
    let lapped = review
        .runs
        .iter()
        .enumerate()
        .filter_map(|(index, run)| Some(RunLaps { index, car: &run.plan().car, laps: &run.done()?.laps }));
    let paces = pace(review.runs.len(), lapped);
    review.runs.iter().zip(paces).enumerate().map(|(index, (run, pace))| run_row(index, run, pace)).collect()
}

fn run_row(index: usize, run: &ConcludedRun, pace: Option<Pace>) -> RunRow {
    let id = &run.plan().id;
    let done = run.done();
    let answers = done.map(|d| &d.answers);
    RunRow {
        id: printable(id, 24),
        page: page_name(index, id),
        note: note(&run.plan().settings, NOTE),
        car: printable(&run.plan().car, 24),
        error: run.failure().map(|e| e.message.clone()),
        laps: done.map(|d| LapCount { counted: d.laps.counted().count(), driven: d.laps.rows.len() }),
        median: number(pace.map(|p| p.median_s), 2),
        best: number(pace.map(|p| p.best_s), 2),
        three: number(pace.and_then(|p| p.best_three_s), 2),
        rank: pace.filter(|_| !run.plan().car.is_empty()).map_or(NOTHING.to_owned(), |p| p.rank.to_string()),
        answers: answer_cells(&run.run),
        spun: number(answers.and_then(|a| a.wheelspin.seconds), 1),
        pack: number(answers.and_then(|a| a.battery.resistance_mohm).map(|m| m.value), 1),
        used: number(answers.and_then(|a| a.battery.used_mah), 0),
    }
}

fn answer_cells(run: &SettledRun) -> Vec<Cell> {
    let figure = |value: Option<f64>| value.map(|v| format!("{v:.2}"));
    let answers = run.done().map(|done| &done.answers);
    let ratio = answers.and_then(|a| a.gearing.realised_ratio);
    vec![
        Cell::new(
            figure(ratio.map(|r| r.value)),
            in_doubt(verdicts::gearing(run.pinion.verdict), rests_on::GEARING, run),
        ),
        heat_cell(run, HotPart::Motor),
        heat_cell(run, HotPart::Controller),
        answers.map_or_else(Cell::empty, |a| {
            let verdict = in_doubt(verdicts::battery(a.battery.verdict), rests_on::BATTERY, run);
            Cell::new(figure(a.battery.lowest_cell_v), verdict)
        }),
    ]
}

fn heat_cell(run: &SettledRun, part: HotPart) -> Cell {
    let Some(heat) = run.heat(part) else { return Cell::empty() };
    let end = heat.race_end_c.as_ref().map(|e| wording::whole_cell(e, TEMPERATURE));
    let verdict = in_doubt(verdicts::heat(heat.verdict), rests_on::heat(part), run);
    Cell::new(end.or(heat.peak_c.map(|p| wording::bare_value(p, 0, TEMPERATURE))), verdict)
}

fn change(c: &Comparison) -> ChangeView {
    let ids = |ids: &[String]| ids.iter().map(|id| printable(id, 24)).collect::<Vec<_>>().join(", ");
    let mut between = format!("{} compared with {}", ids(&c.runs_to), ids(&c.runs_from));
    if !c.together_with.is_empty() {
        between += &format!("; changed together with {}", settings::labels(&c.together_with));
    }
    let (from, to) = (c.from_shown(), c.to_shown());
    ChangeView {
        change: format!("{}: {}", printable(&c.car, 24), settings::change(&c.key, from.as_deref(), to.as_deref(), &[])),
        between,
        effects: c.effects.iter().map(effect_row).collect(),
    }
}

fn effect_row(effect: &Effect) -> RowView {
    let figure = ShownFigure::from(effect.of);
    let remark = match (&effect.why, effect.difference) {
        (Some(why), _) => why.in_words(settings::labels),
        (None, difference) => verdicts::effect(difference.as_ref()).to_owned(),
    };
    RowView {
        cells: vec![
            figure.head(),
            figure.value_cell(effect.from),
            figure.change_cell(effect.difference.as_ref()),
            remark,
        ],
        aside: !effect.claimed(),
    }
}

/// Notices that put a run's figures in doubt as a whole.
fn guesses(review: &Review) -> Vec<RunNotice> {
    const CODES: [NoticeCode; 13] = [
        NoticeCode::NoLapList,
        NoticeCode::NoLaps,
        NoticeCode::PolesAssumed,
        NoticeCode::ChannelFromValues,
        NoticeCode::UnitFromValues,
        NoticeCode::SlowRevs,
        NoticeCode::UnitDoesNotFit,
        NoticeCode::TwoColumns,
        NoticeCode::TimeFromRate,
        NoticeCode::DamagedText,
        NoticeCode::ImportColumn,
        NoticeCode::ImportChannel,
        NoticeCode::ImportUnit,
    ];
    let doubtful = |run: &ConcludedRun| {
        let notices = run.done().map(|d| d.log.reading.notices.iter().chain(&d.laps.notices));
        let own = notices.into_iter().flatten();
        own.filter(|n| CODES.contains(&n.code) && n.severity == Severity::Warning)
            .map(|n| RunNotice { run: printable(&run.plan().id, 24), notice: notice(n) })
            .collect::<Vec<_>>()
    };
    review.runs.iter().flat_map(doubtful).collect()
}

/// Lines of the sheet that would answer more, those of several cars or runs in one.
fn lacking(review: &Review) -> Vec<String> {
    let mut lines: Vec<(&Key, Vec<String>)> = Vec::new();
    for lack in lacks::lacks(&review.sheet, &review.runs) {
        let whose = match lack.place {
            Place::Table(table) => format!("`[{table}]`"),
            Place::Car(car) => printable(&car, 24),
            Place::Run(run) => printable(&run, 24),
        };
        match lines.iter_mut().find(|l| l.0 == lack.key) {
            Some(line) => line.1.push(whose),
            None => lines.push((lack.key, vec![whose])),
        }
    }
    let mut all = Vec::new();
    if !review.has_sheet {
        all.push(
            "a setup sheet: `runtrue sheet FOLDER` writes a starter `weekend.toml` with these runs in it".to_owned(),
        );
    }
    let line = |(key, whose): (&Key, Vec<String>)| {
        format!("{} (`{}` of {}): {}", key.label, key.path, whose.join(", "), key.answers_and_assumed())
    };
    all.extend(lines.into_iter().map(line));
    all
}
