//! The summary on the terminal: findings first, then runs against answers, within 80 columns.

use comfy_table::{CellAlignment, ContentArrangement, Table, presets};

use super::view::{self, Mark, WeekendView};
use crate::log::Log;
use crate::notice::printable;
use crate::review::Review;
use crate::season::answers::Answers;

/// Columns of a terminal that everything fits in.
const WIDTH: usize = 80;

/// The summary of a review.
pub fn summary(review: &Review) -> String {
    let v = view::weekend(review);
    let mut out = format!("{}\n{}\n\n", wrap(&v.name, ""), wrap(&v.subtitle, ""));
    for f in &v.findings {
        out += &format!("{} {}\n", f.mark.shape(), wrap(&format!("{}{}", f.lead, f.rest), "  "));
    }
    let failed = v.runs.iter().filter(|r| r.error.is_some()).count();
    if failed > 0 {
        out += &format!("▲ {failed} of {} could not be reviewed\n", v.runs.len());
    } else if v.findings.is_empty() {
        out += &format!("{}\n", v.calm);
    }
    out += &format!("\n{}\n", runs(&v));
    for row in v.runs.iter().filter(|r| r.error.is_some()) {
        out += &format!("▲ {}\n", wrap(&format!("{}: {}", row.id, row.error.as_deref().unwrap_or_default()), "  "));
    }
    out += "● as it should be  ◆ watch  ▲ act  ○ cannot tell\n";
    for n in &v.notices {
        out += &format!("◆ {}\n", wrap(&format!("weekend.toml: {}", n.text), "  "));
        if !n.hint.is_empty() {
            out += &format!("  {}\n", wrap(&format!("hint: {}", n.hint), "  "));
        }
    }
    for (run, n) in &v.guesses {
        out += &format!("◆ {}\n", wrap(&format!("{run}: {}", n.text), "  "));
        if !n.hint.is_empty() {
            out += &format!("  {}\n", wrap(&format!("hint: {}", n.hint), "  "));
        }
    }
    if !v.lacks.is_empty() {
        out += "\nMore of the sheet would answer more:\n";
        for l in &v.lacks {
            out += &format!("- {}\n", wrap(l, "  "));
        }
    }
    out
}

fn runs(v: &WeekendView) -> String {
    let mut table =
        table(&["run", "car", "laps", "median s", "best s", "ratio", "motor °C", "ESC °C", "cell V", "mAh"]);
    let marked = |m: &view::Marked| {
        if m.text == "–" && m.mark == Mark::Open {
            "○".to_owned()
        } else {
            format!("{} {}", m.text, m.mark.shape())
        }
    };
    for r in &v.runs {
        let short = |t: &str| printable(t, 10);
        if r.error.is_some() {
            table.add_row(vec![short(&r.id), short(&r.car), "▲ could not be reviewed".to_owned()]);
            continue;
        }
        let mut row = vec![short(&r.id), short(&r.car), r.laps.replace(" of ", "/"), r.median.clone(), r.best.clone()];
        row.extend(r.marked.iter().map(marked));
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
        .set_width(WIDTH as u16)
        .set_header(heads);
    for column in table.column_iter_mut() {
        column.set_padding((0, 1));
    }
    table
}

fn right(table: &mut Table, columns: std::ops::Range<usize>) {
    for at in columns {
        if let Some(column) = table.column_mut(at) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
}

/// The summary of a season.
pub fn season(answers: &Answers) -> String {
    let v = view::season(answers);
    let mut out = format!("{}\n\n", wrap(&format!("Season: {}", v.subtitle), ""));
    for (mark, text) in &v.told {
        out += &format!("{} {}\n", mark.shape(), wrap(text, "  "));
    }
    if v.told.is_empty() {
        out += "Nothing stands out from the scatter.\n";
    }
    if !v.settings.is_empty() {
        out += &format!("{}.\n", wrap(&v.by_chance, ""));
    }
    for t in v.trends.iter().filter(|t| t.mark != Mark::Watch) {
        out += &format!("{} {}\n", t.mark.shape(), wrap(&format!("{}: {}", t.name, t.verdict), "  "));
    }
    for u in &v.untold {
        out += &format!("○ {}\n", wrap(u, "  "));
    }
    if !v.gears.is_empty() {
        let means = "Means over weekends (of one, over its runs) with their 95 % interval; of fewer than three values, the lowest and the highest.";
        out += &format!("\n{}\n", wrap(means, ""));
    }
    for gears in &v.gears {
        let heads: Vec<&str> =
            ["set ratio", "runs, weekends"].into_iter().chain(v.gear_heads.iter().map(String::as_str)).collect();
        let mut table = table(&heads);
        for row in &gears.rows {
            table.add_row(row.cells.clone());
        }
        right(&mut table, 0..heads.len());
        out += &format!("\n{}\n{}\n", wrap(&gears.name, "  "), table.trim_fmt());
    }
    out
}

/// Breaks `text` at blanks so that lines, with `indent` before all but the first, fit the terminal.
pub fn wrap(text: &str, indent: &str) -> String {
    let most = WIDTH - 2;
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
pub fn reading(name: &str, logs: &[Log]) -> String {
    let mut out = String::new();
    for (at, log) in logs.iter().enumerate() {
        let r = &log.reading;
        let part = if logs.len() > 1 { format!(", run {} of {}", at + 1, logs.len()) } else { String::new() };
        out += &format!("{}{part}\n", wrap(&printable(name, 200), "  "));
        let delimiter = if r.delimiter == "\t" { "tab" } else { &r.delimiter };
        out += &format!("{} of {} rows, {:.2} a second, {:.1} s\n", r.rows_kept, r.rows_in, r.rate_hz, r.duration_s);
        out += &format!("encoding {}, delimiter {delimiter}, decimal {}\n", r.encoding, r.decimal);
        let mut table = table(&["channel", "column", "its unit", "factor", "lowest", "highest"]);
        for source in &r.channels {
            let values = || log.channel(source.channel).unwrap_or(&[]).iter().copied().filter(|v| v.is_finite());
            let digits = if source.channel == crate::log::Channel::Rpm { 0 } else { 2 };
            let number = |v: Option<f64>| v.map_or("–".to_owned(), |v| format!("{v:.digits$}"));
            table.add_row(vec![
                format!("{} [{}]", source.channel.name().replace('_', " "), source.channel.unit()),
                printable(&source.column, 28),
                source.unit.clone(),
                source.scale.map_or("converted".to_owned(), |f| {
                    format!("{f:.6}").trim_end_matches('0').trim_end_matches('.').to_owned()
                }),
                number(values().min_by(f64::total_cmp)),
                number(values().max_by(f64::total_cmp)),
            ]);
        }
        right(&mut table, 3..6);
        out += &format!("{}\n", table.trim_fmt());
        for n in r.notices.iter().map(view::notice) {
            out += &format!("{} {}\n", if n.warning { Mark::Watch.shape() } else { "·" }, wrap(&n.text, "  "));
            if !n.hint.is_empty() {
                out += &format!("  {}\n", wrap(&format!("hint: {}", n.hint), "  "));
            }
        }
        out.push('\n');
    }
    out
}

/// How each run's log was read, a line a run.
pub fn how_read(review: &Review) -> String {
    let line = |r: &crate::weekend::conclude::ConcludedRun| {
        let done = r.done()?;
        Some(
            wrap(&format!("{}: {}", crate::notice::printable(&r.plan().id, 24), view::run::reading(done)), "  ") + "\n",
        )
    };
    review.runs.iter().filter_map(line).collect::<String>() + "\n"
}

/// The table of FDR and rollout.
pub fn gears(pinions: &[u32], spurs: &[u32], internal: f64, tyre_mm: Option<f64>) -> String {
    let mut heads = vec!["pinion".to_owned()];
    heads.extend(spurs.iter().map(|s| format!("spur {s}")));
    let mut out = format!(
        "FDR{}, internal ratio {internal}\n",
        tyre_mm.map_or(String::new(), |d| format!(" / rollout in mm on a {d} mm tyre"))
    );
    let mut table = table(&heads.iter().map(String::as_str).collect::<Vec<_>>());
    for (pinion, cells) in crate::measure::gearing::table(pinions, spurs, internal, tyre_mm) {
        let mut row = vec![pinion.to_string()];
        row.extend(
            cells
                .into_iter()
                .map(|(ratio, rollout)| rollout.map_or(format!("{ratio:.2}"), |r| format!("{ratio:.2} / {r:.1}"))),
        );
        table.add_row(row);
    }
    right(&mut table, 0..spurs.len() + 1);
    out += &format!("{}\n", table.trim_fmt());
    out
}
