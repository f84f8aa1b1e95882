//! The season's page.

use super::weekend::{TrendView, counted, untold};
use super::{Mark, RowView, plus_minus, with_doubt};
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::report::charts;
use crate::season::answers::{Answers, GearOnTrack, Mean, OverSeason, Part};
use crate::season::settings::SettingEffect;
use crate::weekend::trends::Verdict;

/// The season's page.
pub struct SeasonView {
    /// Weekends, runs, first and last day.
    pub subtitle: String,
    /// What stands out.
    pub told: Vec<(Mark, String)>,
    /// Packs and motors over the season, those with a verdict.
    pub trends: Vec<TrendView>,
    /// Those without, in a sentence for each part and reason.
    pub untold: Vec<String>,
    /// Heads of the table of gearings.
    pub gear_heads: [String; 4],
    /// Gearings by car and track.
    pub gears: Vec<GearsView>,
    /// How many effects were looked at, and how many stand out by chance.
    pub by_chance: String,
    /// What settings did.
    pub settings: Vec<SettingView>,
    /// Weekends in the data set, each with its runs.
    pub weekends: Vec<RowView>,
}

/// Gearings of a car on a track.
pub struct GearsView {
    /// Car and track.
    pub name: String,
    /// Set ratio, runs and weekends, and the figures.
    pub rows: Vec<RowView>,
}

/// What a setting did.
pub struct SettingView {
    /// Car, key and its two values.
    pub change: String,
    /// Figure, difference, weekends, remark.
    pub effects: Vec<RowView>,
}

/// A figure of a season in words, with its unit, the digits it is shown with, and a factor for the reader.
fn words(of: &str) -> (String, &'static str, usize, f64) {
    let own = |name: &str, unit, digits| (name.to_owned(), unit, digits, 1.0);
    match of {
        "resistance_mohm" => own("pack resistance", "mΩ", 2),
        "motor_rise_k" => own("motor above the air", "K", 1),
        "motor_rise_k_per_w" => own("motor above the air for each watt", "K/W", 3),
        "mean_w" => own("mean power", "W", 1),
        "realised_ratio" => own("realised ratio", "", 2),
        "median_s" => own("median lap", "s", 2),
        "top_speed_m_s" => own("top speed", "m/s", 1),
        other => match crate::figure::find(other) {
            Some(figure) => {
                let crate::figure::Shown { unit, digits, factor } = figure.shown;
                (figure.label.to_owned(), unit, digits, factor)
            }
            None => own(&printable(other, 40), "", 3),
        },
    }
}

/// The season's page.
pub fn season(answers: &Answers) -> SeasonView {
    let runs: usize = answers.weekends.iter().map(|w| w.runs).sum();
    let days: Vec<&str> = answers.weekends.iter().map(|w| w.date.as_str()).collect();
    let mut parts = vec![counted(answers.weekends.len(), "weekend"), counted(runs, "run")];
    if let (Some(first), Some(last)) = (days.iter().min(), days.iter().max()) {
        parts.push(if first == last { (*first).to_owned() } else { format!("{first} to {last}") });
    }
    let each =
        || answers.packs.iter().chain(&answers.motors).flat_map(|part| part.figures.iter().map(move |f| (part, f)));
    let has_verdict = |f: &OverSeason| f.verdict != Verdict::CannotTell;
    let trends: Vec<TrendView> = each().filter(|t| has_verdict(t.1)).map(|(p, f)| trend(p, f)).collect();
    let names: Vec<(&str, Option<&str>, String)> = each()
        .filter(|t| !has_verdict(t.1))
        .map(|(part, f)| (part.name.as_str(), f.why.as_deref(), words(&f.of).0))
        .collect();
    let told = trends.iter().filter(|t| t.mark == Mark::Watch).map(|t| (t.mark, format!("{}: {}", t.name, t.verdict)));
    let told = told.chain(by_change(&answers.settings).filter_map(|c| stands_out(c, &answers.settings))).collect();
    let week = |w: &crate::season::answers::Round| RowView {
        cells: vec![w.date.clone(), printable(&w.name, 60), w.runs.to_string()],
        aside: false,
    };
    SeasonView {
        subtitle: parts.join(" · "),
        told,
        trends,
        untold: untold(names.iter().map(|(whose, why, figure)| (*whose, *why, figure.as_str()))),
        gear_heads: crate::season::answers::OF_GEARS.map(|of| {
            let (name, unit, ..) = words(of);
            if unit.is_empty() { name } else { format!("{name}, {unit}") }
        }),
        gears: gears(&answers.gearing),
        by_chance: by_chance(&answers.settings),
        settings: by_change(&answers.settings).map(setting).collect(),
        weekends: answers.weekends.iter().map(week).collect(),
    }
}

fn trend(part: &Part, f: &OverSeason) -> TrendView {
    let (name, unit, digits, _) = words(&f.of);
    let signed = |v: f64| format!("{v:+.*}", digits + 1);
    let steady = f.verdict == Verdict::Steady;
    let between =
        f.low.zip(f.high).map(|(l, h)| format!("95 % between {} and {} {unit} a month", signed(l), signed(h)));
    let per_month = f.per_month.map(|p| format!(" {} {unit} a month", signed(p))).filter(|_| !steady);
    TrendView {
        name: format!("{}, {name}", printable(&part.name, 24)),
        // Power is the driver's and the track's choice: more of it is nothing to worry about.
        mark: if f.verdict == Verdict::Rising && f.of != "mean_w" { Mark::Watch } else { Mark::Good },
        verdict: format!("{}{}", f.verdict.words(), per_month.unwrap_or_default()),
        say: between.unwrap_or_default(),
        svg: charts::over_season(f, unit, digits, charts::SMALL),
    }
}

/// Whether the interval of an effect excludes zero.
fn claimed(s: &SettingEffect) -> bool {
    s.difference.is_some_and(|d| d.low > 0.0 || d.high < 0.0)
}

/// Car, key and its two values.
fn change(s: &SettingEffect) -> String {
    let shown = |t: &Option<String>| t.as_ref().map_or_else(|| "not set".to_owned(), |t| printable(t, 24));
    let with = match s.together_with.as_slice() {
        [] => String::new(),
        keys => format!(", with {}", printable(&keys.join(", "), 60)),
    };
    let (car, key) = (printable(&s.car, 24), printable(&s.key, 40));
    format!("{car}: {key} from {} to {}{with}", shown(&s.from), shown(&s.to))
}

/// The effects of one change whose intervals exclude zero, in a sentence.
fn stands_out(effects: &[SettingEffect], all: &[SettingEffect]) -> Option<(Mark, String)> {
    // Keys that changed together have one effect: it is told once, with the first of them.
    let told = |s: &SettingEffect, other: &String| {
        *other < s.key && all.iter().any(|o| o.car == s.car && o.key == *other && o.together_with.contains(&s.key))
    };
    if effects.iter().any(|s| s.together_with.iter().any(|other| told(s, other))) {
        return None;
    }
    let told = effects.iter().filter(|s| claimed(s)).filter_map(|s| {
        let (name, unit, _, factor) = words(&s.of);
        Some(format!("{name} {} {unit}", signed(&s.difference?, factor)))
    });
    let told: Vec<String> = told.collect();
    (!told.is_empty()).then(|| (Mark::Plain, format!("{}: {}", change(&effects[0]), told.join(", "))))
}

/// A word on chance, where many effects are looked at.
fn by_chance(all: &[SettingEffect]) -> String {
    let count = all.iter().filter(|s| s.difference.is_some()).count();
    format!(
        "Of the {count} effects of settings that were looked at, about {:.0} would stand out by chance alone",
        0.05 * count as f64
    )
}

/// The effects of each change.
fn by_change(all: &[SettingEffect]) -> impl Iterator<Item = &[SettingEffect]> {
    all.chunk_by(|a, b| (&a.car, &a.key, &a.from, &a.to) == (&b.car, &b.key, &b.from, &b.to))
}

/// `+0.42 ± 0.05`.
fn signed(d: &Estimate, factor: f64) -> String {
    let scaled = Estimate { value: factor * d.value, low: factor * d.low, high: factor * d.high };
    let text = with_doubt(&scaled);
    let none = plus_minus(&scaled).0.trim_start_matches(['-', '0', '.']).is_empty();
    match () {
        () if none => text.trim_start_matches('-').to_owned(),
        () if scaled.value > 0.0 => format!("+{text}"),
        () => text,
    }
}

fn gears(all: &[GearOnTrack]) -> Vec<GearsView> {
    let same = |a: &GearOnTrack, b: &GearOnTrack| (&a.car, &a.track) == (&b.car, &b.track);
    let cell = |mean: &Option<Mean>| {
        let Some(m) = mean else { return "–".to_owned() };
        let digits = words(&m.of).2;
        match &m.mean {
            Some(e) => with_doubt(e),
            None => {
                let (low, high) = (format!("{:.digits$}", m.lowest), format!("{:.digits$}", m.highest));
                if low == high { low } else { format!("{low} to {high}") }
            }
        }
    };
    let row = |g: &GearOnTrack| {
        let mut cells = vec![format!("{:.2}", g.set_ratio), format!("{} on {}", g.runs, g.weekends)];
        cells.extend(g.figures.iter().map(cell));
        RowView { cells, aside: false }
    };
    let table = |rows: &[GearOnTrack]| GearsView {
        name: format!("{}, {}", printable(&rows[0].car, 24), printable(&rows[0].track, 40)),
        rows: rows.iter().map(row).collect(),
    };
    all.chunk_by(same).map(table).collect()
}

fn setting(effects: &[SettingEffect]) -> SettingView {
    let row = |s: &SettingEffect| {
        let (name, unit, _, factor) = words(&s.of);
        let difference = s.difference.map_or_else(|| "–".to_owned(), |d| signed(&d, factor));
        let mut remark = if claimed(s) { "stands out from the scatter" } else { "within the scatter" }.to_owned();
        if !s.together_with.is_empty() {
            remark += &format!("; one effect with {}", printable(&s.together_with.join(", "), 60));
        }
        if s.left_out > 0 {
            remark += &format!("; {} left out, where other keys changed with it", counted(s.left_out, "weekend"));
        }
        RowView {
            cells: vec![format!("{name}, {unit}"), difference, s.weekends.to_string(), remark],
            aside: !claimed(s),
        }
    };
    SettingView { change: change(&effects[0]), effects: effects.iter().map(row).collect() }
}
