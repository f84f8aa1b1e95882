//! The season's page.

use super::cells::{NOTHING, RowView};
use super::figures::ShownFigure;
use super::mark::Mark;
use super::remarks::FindingView;
use super::settings;
use super::trends::{Open, TrendView, Unanswered, over_season, unanswered};
use super::verdicts;
use crate::figure::Shown;
use crate::notice::printable;
use crate::season::answers::{Answers, GearOnTrack, Mean, OF_GEARS, OverSeason, Part, Round};
use crate::season::settings::SettingEffect;
use crate::weekend::trends::Verdict;
use crate::wording::{self, counted};

/// Share of the effects of nothing that look clear by chance: their intervals are 95 %.
const BY_CHANCE: f64 = 0.05;

/// How the figures of a gearing are made, for page and terminal.
pub const MEANS: &str = "Figures are means over the weekends (of a single weekend: over its runs) with their 95 % \
                         interval; with fewer than three values, the lowest and the highest.";

/// Said where there is no finding.
pub const CALM: &str = "No clear effect and no trend to act on.";

/// The season's page.
pub struct SeasonView {
    /// Weekends, runs, first and last day.
    pub subtitle: String,
    /// Trends to watch, and settings with a clear effect.
    pub findings: Vec<FindingView>,
    /// Said where there is no finding.
    pub calm: &'static str,
    /// Packs and motors over the season, those with a verdict.
    pub trends: Vec<TrendView>,
    /// Those without.
    pub unanswered: Vec<Unanswered>,
    /// How the figures of a gearing are made.
    pub means: &'static str,
    /// Heads of the table of gearings.
    pub gear_heads: Vec<String>,
    /// Gearings by car and track.
    pub gears: Vec<GearsView>,
    /// How many effects were looked at, and how many look clear by chance.
    pub by_chance: String,
    /// What settings did.
    pub settings: Vec<SettingView>,
    /// Weekends in the data set, each with its runs.
    pub weekends: Vec<WeekendRow>,
}

/// Gearings of a car on a track.
pub struct GearsView {
    /// Car and track.
    pub name: String,
    /// The ratio on the sheet, runs, weekends, and the figures.
    pub rows: Vec<RowView>,
}

/// A weekend of the season.
pub struct WeekendRow {
    /// Its day.
    pub date: String,
    /// Its name.
    pub name: String,
    /// Its page, from that of the season; none where it has none.
    pub page: Option<String>,
    /// Number of its runs.
    pub runs: usize,
}

/// What a setting did.
pub struct SettingView {
    /// Car, setting and its two values.
    pub change: String,
    /// Figure, difference, weekends, how clear.
    pub effects: Vec<RowView>,
}

/// A figure of a pack or a motor over the season.
#[derive(Clone, Copy)]
struct Seen<'a> {
    part: &'a Part,
    figure: &'a OverSeason,
}

/// The season's page.
pub fn season(answers: &Answers) -> SeasonView {
    let parts = answers.packs.iter().chain(&answers.motors);
    let seen: Vec<Seen> = parts.flat_map(|part| part.figures.iter().map(move |figure| Seen { part, figure })).collect();
    let (without_verdict, answered): (Vec<Seen>, Vec<Seen>) =
        seen.into_iter().partition(|s| s.figure.verdict == Verdict::CannotTell);
    let trends: Vec<TrendView> = answered.iter().map(|s| over_season(s.part, s.figure)).collect();
    SeasonView {
        subtitle: subtitle(answers),
        findings: findings(&trends, &answers.settings),
        calm: CALM,
        trends,
        unanswered: unanswered(
            without_verdict.iter().map(|s| Open {
                whose: &s.part.name,
                figure: ShownFigure::named(&s.figure.of).label,
                why: s.figure.why.as_deref(),
            }),
            |why| why.unwrap_or("the weekends do not show it").to_owned(),
        ),
        means: MEANS,
        gear_heads: gear_heads(),
        gears: gears(&answers.gearing),
        by_chance: by_chance(&answers.settings),
        settings: by_change(&answers.settings).map(setting).collect(),
        weekends: answers.weekends.iter().map(weekend_row).collect(),
    }
}

fn subtitle(answers: &Answers) -> String {
    let runs: usize = answers.weekends.iter().map(|w| w.runs).sum();
    let mut parts = vec![counted(answers.weekends.len(), "weekend"), counted(runs, "run")];
    let days = || answers.weekends.iter().map(|w| w.date.as_str());
    if let Some((first, last)) = days().min().zip(days().max()) {
        parts.push(if first == last { first.to_owned() } else { format!("{first} to {last}") });
    }
    parts.join(" · ")
}

fn weekend_row(weekend: &Round) -> WeekendRow {
    let Round { date, name, page, runs, .. } = weekend;
    WeekendRow { date: date.clone(), name: printable(name, 60), page: page.clone(), runs: *runs }
}

fn findings(trends: &[TrendView], effects: &[SettingEffect]) -> Vec<FindingView> {
    let watch = trends.iter().filter(|t| t.mark == Mark::Watch);
    let of_trends =
        watch.map(|t| FindingView { mark: t.mark, lead: t.name.clone(), rest: format!(": {}", t.verdict), link: None });
    of_trends.chain(by_change(effects).filter_map(|c| clear_effects(c, effects))).collect()
}

/// Car, setting and its two values.
fn change(effect: &SettingEffect) -> String {
    let value = |text: &Option<String>| text.as_ref().map(|text| printable(text, 24));
    let (from, to) = (value(&effect.from), value(&effect.to));
    let change = settings::change(&effect.key, from.as_deref(), to.as_deref(), &effect.together_with);
    format!("{}: {change}", printable(&effect.car, 24))
}

/// The clear effects of one change, in a sentence.
fn clear_effects(effects: &[SettingEffect], all: &[SettingEffect]) -> Option<FindingView> {
    // Settings that changed together have one effect: it is said once, with the first of them.
    let said_before = |effect: &SettingEffect, other: &String| {
        let names = |o: &SettingEffect| o.car == effect.car && o.key == *other && o.together_with.contains(&effect.key);
        *other < effect.key && all.iter().any(names)
    };
    if effects.iter().any(|e| e.together_with.iter().any(|other| said_before(e, other))) {
        return None;
    }
    let clear = effects.iter().filter(|e| verdicts::is_clear(e.difference.as_ref())).filter_map(|effect| {
        let figure = ShownFigure::named(&effect.of);
        Some(format!("{} {}", figure.label, figure.change(&effect.difference?)))
    });
    let clear: Vec<String> = clear.collect();
    let rest = format!(": {}", clear.join(", "));
    (!clear.is_empty()).then(|| FindingView { mark: Mark::Plain, lead: change(&effects[0]), rest, link: None })
}

/// A word on chance, where many effects are looked at.
fn by_chance(all: &[SettingEffect]) -> String {
    let count = all.iter().filter(|s| s.difference.is_some()).count();
    format!("Of {count} effects checked, about {:.0} would look clear by chance alone", BY_CHANCE * count as f64)
}

/// The effects of each change.
fn by_change(all: &[SettingEffect]) -> impl Iterator<Item = &[SettingEffect]> {
    all.chunk_by(|a, b| (&a.car, &a.key, &a.from, &a.to) == (&b.car, &b.key, &b.from, &b.to))
}

fn gear_heads() -> Vec<String> {
    let own = ["ratio on the sheet", "runs", "weekends"].map(str::to_owned);
    own.into_iter().chain(OF_GEARS.map(|name| ShownFigure::named(name).head())).collect()
}

fn gears(all: &[GearOnTrack]) -> Vec<GearsView> {
    let same = |a: &GearOnTrack, b: &GearOnTrack| (&a.car, &a.track) == (&b.car, &b.track);
    let row = |gear: &GearOnTrack| {
        let mut cells = vec![format!("{:.2}", gear.set_ratio), gear.runs.to_string(), gear.weekends.to_string()];
        cells.extend(gear.figures.iter().map(|mean| mean.as_ref().map_or(NOTHING.to_owned(), mean_or_range)));
        RowView::plain(cells)
    };
    let table = |rows: &[GearOnTrack]| GearsView {
        name: format!("{}, {}", printable(&rows[0].car, 24), printable(&rows[0].track, 40)),
        rows: rows.iter().map(row).collect(),
    };
    all.chunk_by(same).map(table).collect()
}

/// A mean with its interval, or the lowest and highest of too few values.
fn mean_or_range(mean: &Mean) -> String {
    let Shown { unit, digits, .. } = ShownFigure::named(&mean.of).shown;
    if let Some(estimate) = &mean.mean {
        return wording::cell(estimate, unit);
    }
    wording::bare_range(mean.lowest, mean.highest, digits, unit)
}

fn setting(effects: &[SettingEffect]) -> SettingView {
    let row = |effect: &SettingEffect| {
        let figure = ShownFigure::named(&effect.of);
        let mut remark = verdicts::effect(effect.difference.as_ref()).to_owned();
        if !effect.together_with.is_empty() {
            remark += &format!("; one effect with {}", settings::labels(&effect.together_with));
        }
        if effect.left_out > 0 {
            let weekends = counted(effect.left_out, "weekend");
            remark += &format!("; {weekends} left out, where other settings changed with it");
        }
        RowView {
            cells: vec![
                figure.head(),
                figure.change_cell(effect.difference.as_ref()),
                effect.weekends.to_string(),
                remark,
            ],
            aside: !verdicts::is_clear(effect.difference.as_ref()),
        }
    };
    SettingView { change: change(&effects[0]), effects: effects.iter().map(row).collect() }
}
