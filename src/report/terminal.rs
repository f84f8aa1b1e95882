//! The summary on the terminal: findings first, then runs against answers, within 80 columns or the terminal's own where
//! it has fewer.

use std::sync::OnceLock;

use comfy_table::{CellAlignment, ContentArrangement, Table, presets};

use super::view::{self, Cell, FindingView, Mark, NoticeView, RunRow, WeekendView};
use crate::gear_chart::{Gear, GearChart};
use crate::log::{Channel, Log};
use crate::notice::printable;
use crate::review::Review;
use crate::season::answers::Answers;
use crate::units::measure::{MILLIMETRES, SPEED, TEMPERATURE};
use crate::units::{Measure, Units, in_notation};
use crate::weekend::ahead::Ahead;
use crate::weekend::concluded_run::ConcludedRun;
use crate::wording::{bare_value, counted, stated, symbol};

/// Columns of a terminal that everything fits in, unless it has fewer; and the fewest that sentences are broken for.
const WIDTH: usize = 80;
const LEAST_WIDTH: usize = 40;
/// Columns that the table of runs needs: on a narrower terminal each run has lines of its own.
const TABLE_WIDTH: usize = 76;
/// Columns of the terminal.
static COLUMNS: OnceLock<usize> = OnceLock::new();

/// Takes the terminal's columns, once, before anything is written; without them there are 80, as in a file.
pub fn fit_to(columns: usize) {
    // Said twice, the first counts.
    let _ = COLUMNS.set(columns.clamp(LEAST_WIDTH, WIDTH));
}

fn width() -> usize {
    COLUMNS.get().copied().unwrap_or(WIDTH)
}

/// Longest note of a run in the summary, characters: longer ones are on the run's page.
const SHORT_NOTE: usize = 60;

/// The summary of a review.
pub fn summary(review: &Review, units: Units) -> String {
    let v = view::weekend(review);
    let wrap = |text: &str, indent: &str| wrap(&in_notation(text, units), indent);
    let marked = |mark: Mark, text: &str| marked(mark, &in_notation(text, units));
    let mut out = format!("{}\n{}\n", wrap(&v.name, ""), wrap(&v.subtitle, ""));
    v.note.iter().for_each(|note| out += &format!("{}\n", wrap(&format!("Note: {note}"), "  ")));
    out += "\n";
    for d in &v.doubts {
        out += &marked(d.mark, &format!("{}{}", d.what, d.why));
        out += &hint(&in_notation(&d.hint, units));
    }
    if !v.doubts.is_empty() {
        out += "\n";
    }
    v.findings.iter().for_each(|f| out += &finding(f, units));
    let failed = v.runs.iter().filter(|r| r.error.is_some()).count();
    if failed > 0 {
        out += &format!("▲ {failed} of {} could not be reviewed\n", counted(v.runs.len(), "run"));
    } else if v.findings.is_empty() {
        out += &format!("{}\n", v.calm);
    }
    out += &format!("\n{}\n", if width() < TABLE_WIDTH { runs_by_lines(&v, units) } else { runs(&v, units) });
    for row in &v.runs {
        let short = row.note.iter().filter(|note| note.chars().count() <= SHORT_NOTE);
        short.for_each(|note| out += &format!("{}\n", wrap(&format!("Note on {}: {note}", row.id), "  ")));
    }
    for row in v.runs.iter().filter(|r| r.error.is_some()) {
        out += &marked(Mark::Act, &format!("{}: {}", row.id, row.error.as_deref().unwrap_or_default()));
    }
    let key: Vec<String> = v.key.iter().map(|(mark, word)| format!("{} {word}", mark.shape())).collect();
    out += &format!("{}\n", key.join("  "));
    out += &where_time_went(review, units);
    v.notices.iter().for_each(|n| out += &remark("weekend.toml", n, units));
    v.guesses.iter().for_each(|g| out += &remark(&g.run, &g.notice, units));
    if !v.lacks.is_empty() {
        out += "\nFill in more of the sheet to get more answers:\n";
        for line in &v.lacks {
            out += &format!("- {}\n", wrap(line, "  "));
        }
    }
    out
}

/// Where the time went in the last run of each car.
fn where_time_went(review: &Review, units: Units) -> String {
    let is_last = |n: &usize| {
        let car = &review.runs[*n].plan().car;
        review.runs[n + 1..].iter().all(|later| later.plan().car != *car)
    };
    let one = |n: usize| {
        let run = &review.runs[n];
        let time = view::time_went(run, run.done()?).filter(|time| !time.sections.is_empty())?;
        let slowest = format!("slowest {}", SPEED.symbol(units.into()));
        let mut table = table(&["lap, %", "best s", "median s", "scatter s", &slowest, "lost s"]);
        for row in &time.sections {
            table.add_row(row.cells.iter().map(|cell| in_notation(cell, units)));
        }
        right(&mut table, 1..6);
        let said: String =
            time.sentences.iter().take(2).map(|s| format!("{}\n", wrap(&in_notation(s, units), "  "))).collect();
        let id = printable(&run.plan().id, 24);
        Some(format!("\nWhere the time went in run {id}\n{said}{}\n", table.trim_fmt()))
    };
    (0..review.runs.len()).filter(is_last).filter_map(one).collect()
}

fn finding(f: &FindingView, units: Units) -> String {
    marked(f.mark, &in_notation(&format!("{}{}", f.lead, f.rest), units))
}

/// A line behind its mark.
fn marked(mark: Mark, text: &str) -> String {
    format!("{} {}\n", mark.shape(), wrap(text, "  "))
}

/// A notice on what is named `place`, with its hint.
fn remark(place: &str, notice: &NoticeView, units: Units) -> String {
    let said = in_notation(&format!("{place}: {}", notice.text), units);
    marked(Mark::Watch, &said) + &hint(&in_notation(&notice.hint, units))
}

/// A hint on a line of its own, where there is one.
fn hint(hint: &str) -> String {
    if hint.is_empty() {
        return String::new();
    }
    format!("  {}\n", wrap(&format!("hint: {hint}"), "  "))
}

/// Names of the answers in the summary.
fn answer_names(units: Units) -> [String; 4] {
    let degrees = TEMPERATURE.symbol(units.into());
    ["ratio".to_owned(), format!("motor {degrees}"), format!("ESC {degrees}"), "cell V".to_owned()]
}

/// An answer with its mark.
fn answer(cell: &Cell, units: Units) -> String {
    match &cell.value {
        None if cell.mark == Mark::Open => cell.mark.shape().to_owned(),
        _ => format!("{} {}", in_notation(cell.text(), units), cell.mark.shape()),
    }
}

/// The runs, each in lines of its own, broken between two figures.
fn runs_by_lines(v: &WeekendView, units: Units) -> String {
    let names = answer_names(units);
    let one = |r: &RunRow| {
        let name = format!("{} {}", printable(&r.id, 10), printable(&r.car, 10));
        let Some(laps) = &r.laps else { return format!("{name}: ▲ could not be reviewed\n") };
        let mut figures = vec![
            format!("{}/{} laps", laps.counted, laps.driven),
            format!("median {} s", r.median),
            format!("best {} s", r.best),
        ];
        figures.extend(names.iter().zip(&r.answers).map(|(name, cell)| format!("{name} {}", answer(cell, units))));
        figures.push(format!("{} mAh", r.used));
        // A blank that does not break keeps a figure in one piece.
        let figures: Vec<String> = figures.into_iter().map(|f| f.replace(' ', "\u{a0}")).collect();
        format!("{}\n", wrap(&format!("{name}: {}", figures.join(", ")), "  ").replace('\u{a0}', " "))
    };
    v.runs.iter().map(one).collect()
}

fn runs(v: &WeekendView, units: Units) -> String {
    let names = answer_names(units);
    let names = names.iter().map(String::as_str);
    let heads = ["run", "car", "laps", "median s", "best s"].into_iter().chain(names).chain(["mAh"]);
    let mut table = table(&heads.collect::<Vec<_>>());
    for r in &v.runs {
        let short = |t: &str| printable(t, 10);
        let Some(laps) = &r.laps else {
            table.add_row(vec![short(&r.id), short(&r.car), "▲ could not be reviewed".to_owned()]);
            continue;
        };
        let laps = format!("{}/{}", laps.counted, laps.driven);
        let mut row = vec![short(&r.id), short(&r.car), laps, r.median.clone(), r.best.clone()];
        row.extend(r.answers.iter().map(|cell| answer(cell, units)));
        row.push(r.used.clone());
        table.add_row(row);
    }
    right(&mut table, 2..10);
    table.trim_fmt()
}

fn table(heads: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width() as u16)
        .set_header(heads);
    for column in table.column_iter_mut() {
        column.set_padding((0, 1));
    }
    table
}

fn right(table: &mut Table, columns: std::ops::Range<usize>) {
    for n in columns {
        if let Some(column) = table.column_mut(n) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
}

/// A race that is asked for.
pub fn ahead(race: &Ahead, units: Units) -> String {
    let v = view::ahead(race);
    let said = |text: &str| in_notation(text, units);
    let mut table = table(&["", "", ""]);
    v.lines.iter().for_each(|line| {
        table.add_row(line.iter().map(|cell| said(cell)));
    });
    let lines = table.trim_fmt();
    let lines = lines.trim_start_matches('\n').trim_start();
    format!("{}\n{lines}\n{}\n", wrap(&said(&v.name), ""), wrap(&said(&v.assumes), "  "))
}

/// The summary of a season.
pub fn season(answers: &Answers, units: Units) -> String {
    let v = view::season(answers);
    let said = |text: &str| in_notation(text, units);
    let mut out = format!("{}\n\n", wrap(&format!("Season: {}", v.subtitle), ""));
    v.findings.iter().for_each(|f| out += &finding(f, units));
    if v.findings.is_empty() {
        out += &format!("{}\n", v.calm);
    }
    if !v.settings.is_empty() {
        out += &format!("{}.\n", wrap(&v.by_chance, ""));
    }
    // Those to watch are among the findings.
    for t in v.trends.iter().filter(|t| t.mark != Mark::Watch) {
        out += &marked(t.mark, &said(&format!("{}: {}", t.name, t.verdict)));
    }
    v.unanswered.iter().for_each(|u| out += &marked(Mark::Open, &said(&u.sentence())));
    if !v.gears.is_empty() {
        out += &format!("\n{}\n", wrap(v.means, ""));
    }
    for gears in &v.gears {
        let heads: Vec<String> = v.gear_heads.iter().map(|head| said(head)).collect();
        let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
        let mut table = table(&heads);
        for row in &gears.rows {
            table.add_row(row.cells.iter().map(|cell| said(cell)));
        }
        right(&mut table, 0..heads.len());
        out += &format!("\n{}\n{}\n", wrap(&gears.name, "  "), table.trim_fmt());
    }
    out
}

/// Breaks `text` at blanks so that lines, with `indent` before all but the first, fit the terminal.
pub fn wrap(text: &str, indent: &str) -> String {
    let most = width() - 2;
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.len() - 1;
        let length = lines[last].chars().count() + word.chars().count() + 1;
        if length > most - indent.len() && !lines[last].is_empty() {
            lines.push(word.to_owned());
        } else {
            if !lines[last].is_empty() {
                lines[last].push(' ');
            }
            lines[last].push_str(word);
        }
    }
    lines.join(&format!("\n{indent}"))
}

/// How a file was understood: one block for each run in it.
pub fn reading(name: &str, logs: &[Log], units: Units) -> String {
    let block = |(n, log): (usize, &Log)| {
        let part = if logs.len() > 1 { format!(", run {} of {}", n + 1, logs.len()) } else { String::new() };
        let r = &log.reading;
        let mut out = format!("{}{part}\n", wrap(&printable(name, 200), "  "));
        out +=
            &format!("{} of {} rows used, {:.2} a second, {:.1} s\n", r.rows_kept, r.rows_in, r.rate_hz, r.duration_s);
        let (delimiter, decimal) = (view::sign_name(&r.delimiter), view::sign_name(&r.decimal));
        out += &format!("text in {}, columns split by {delimiter}, decimal {decimal}\n", r.encoding);
        out += &format!("{}\n", channels(log, units).trim_fmt());
        for n in r.notices.iter().map(view::notice) {
            let mark = if n.warning { Mark::Watch.shape() } else { "·" };
            let (said, advice) = (in_notation(&n.text, units), in_notation(&n.hint, units));
            out += &format!("{mark} {}\n{}", wrap(&said, "  "), hint(&advice));
        }
        out + "\n"
    };
    logs.iter().enumerate().map(block).collect()
}

/// The channels of a log with what they were read from.
fn channels(log: &Log, units: Units) -> Table {
    let mut table = table(&["channel", "column", "its unit", "factor", "lowest", "highest"]);
    for source in &log.reading.channels {
        let values = || log.channel(source.channel).unwrap_or(&[]).iter().copied().filter(|v| v.is_finite());
        let digits = if source.channel == Channel::Rpm { 0 } else { 2 };
        let measure = measure(source.channel);
        // The factor leads to the unit beside the channel; where people are shown another, it stands with the value.
        let (kept, own) = (source.channel.unit(), measure.symbol(units.into()));
        let unit = if own == kept { String::new() } else { format!(" {own}") };
        let shown = |v: f64| format!("{:.digits$}{unit}", measure.value(v, units.into()));
        let number = |v: Option<f64>| v.map_or("–".to_owned(), shown);
        let factor = |f: f64| format!("{f:.6}").trim_end_matches('0').trim_end_matches('.').to_owned();
        table.add_row(vec![
            format!("{} [{}]", source.channel.name().replace('_', " "), kept),
            printable(&source.column, 28),
            source.unit.clone(),
            source.scale.map_or("converted".to_owned(), factor),
            number(values().min_by(f64::total_cmp)),
            number(values().max_by(f64::total_cmp)),
        ]);
    }
    right(&mut table, 3..6);
    table
}

/// What a channel measures.
fn measure(channel: Channel) -> Measure {
    match channel {
        Channel::MotorTemperature | Channel::ControllerTemperature | Channel::Ambient => TEMPERATURE,
        Channel::WheelSpeed | Channel::GroundSpeed => SPEED,
        other => other.unit().into(),
    }
}

/// How each run's log was read, a line a run.
pub fn how_read(review: &Review) -> String {
    let line = |run: &ConcludedRun| {
        let sentence = view::run::reading(run.done()?);
        Some(wrap(&format!("{}: {sentence}", printable(&run.plan().id, 24)), "  ") + "\n")
    };
    review.runs.iter().filter_map(line).collect::<String>() + "\n"
}

/// The chart of FDR and rollout.
pub fn gears(chart: &GearChart, units: Units) -> String {
    let said = |text: String| in_notation(&text, units);
    let mut heads = vec!["pinion".to_owned()];
    heads.extend(chart.spurs.iter().map(|s| format!("spur {s}")));
    let rollout = chart.tyre_mm.map_or(String::new(), |d| {
        said(format!(" / rollout, {}, on a {} tyre", symbol(MILLIMETRES), stated(d, MILLIMETRES)))
    });
    let mut table = table(&heads.iter().map(String::as_str).collect::<Vec<_>>());
    let cell = |gear: &Gear| match gear.rollout_mm {
        Some(rollout) => format!("{:.2} / {}", gear.ratio, said(bare_value(rollout, 1, MILLIMETRES))),
        None => format!("{:.2}", gear.ratio),
    };
    for row in &chart.rows {
        table.add_row(std::iter::once(row.pinion.to_string()).chain(row.gears.iter().map(cell)));
    }
    right(&mut table, 0..heads.len());
    format!("FDR{rollout}, internal ratio {}\n{}\n", chart.internal_ratio, table.trim_fmt())
}
