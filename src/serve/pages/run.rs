//! A run's page, with other gears to try on its car and another race to ask for.

use askama::Template;

use super::ahead::{AskedRace, RaceForm, race_form};
use super::said::WayBack;
use super::weekend::entry_of;
use super::{Page, PageFrame};
use crate::gear_chart::teeth;
use crate::gears::gears;
use crate::report::pages::{self, SCRIPTS, Scripts, filters};
use crate::report::view::{self, RowView, RunView};
use crate::review::Review;
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::next::{self, Next};

/// Most combinations of gears tried at once.
const MOST_COMBINATIONS: usize = 60;
/// Teeth below and above the pinion on the car that are tried first.
const FIRST_TRIED: f64 = 3.0;

#[derive(Template)]
#[template(path = "run_live.html", config = "src/serve/askama.toml")]
struct RunPage<'a> {
    frame: PageFrame,
    v: &'a RunView,
    page: String,
    log: String,
    number: usize,
    /// Whether the sheet has an entry for the run, without a lap list.
    without_list: bool,
    /// The run's id as the sheet has it.
    run_id: &'a str,
    tried: Option<TriedGears>,
    race: Option<RaceForm>,
    scripts: Scripts,
}

/// Gears to be tried, as they were typed.
#[derive(Debug, Default, serde::Deserialize)]
pub struct AskedGears {
    /// Teeth of the spurs.
    pub spur: Option<String>,
    /// Teeth of the pinions.
    pub pinion: Option<String>,
}

/// Other gears on the run's car.
struct TriedGears {
    spur: String,
    pinion: String,
    error: Option<String>,
    heads: Vec<String>,
    rows: Vec<RowView>,
}

/// A run's page, where `run_ids` are those of the runs on the sheet's text, with the gears `asked` for tried on its car
/// and the `race` that is asked for.
///
/// # Errors
/// If the template cannot be filled in.
pub fn run(
    frame: PageFrame,
    review: &Review,
    index: usize,
    run_ids: &[String],
    asked: &AskedGears,
    race: &AskedRace,
) -> Page {
    let run = &review.runs[index];
    let page = view::page_name(index, &run.plan().id);
    let v = view::run(review, index);
    let filled = RunPage {
        frame: frame.renamed(v.weekend.clone()),
        v: &v,
        log: view::log_name(&page),
        page,
        number: entry_of(&run.plan().id, run_ids).unwrap_or(index) + 1,
        run_id: &run.plan().id,
        without_list: run.plan().laps.is_none() && entry_of(&run.plan().id, run_ids).is_some(),
        tried: try_gears(run, review.sheet.race_length_s(), asked),
        race: race_form(run, review.sheet.race_length_s(), race),
        scripts: SCRIPTS,
    };
    Ok(pages::in_units(&filled.render()?, review.sheet.units()))
}

/// The gears asked for, or those around the ones on the car; `None` where these are not known.
fn try_gears(run: &ConcludedRun, race_s: f64, asked: &AskedGears) -> Option<TriedGears> {
    let settings = &run.plan().settings;
    let (own_spur, own_pinion) = (settings.number("spur")?, settings.number("pinion")?);
    if run.failure().is_some() {
        return None;
    }
    let spur = asked.spur.clone().unwrap_or_else(|| own_spur.to_string());
    let around = || format!("{}-{}", (own_pinion - FIRST_TRIED).max(1.0), own_pinion + FIRST_TRIED);
    let pinion = asked.pinion.clone().unwrap_or_else(around);
    let (rows, error) = match combinations(&spur, &pinion) {
        Ok(pairs) => {
            let all: Vec<_> = pairs.into_iter().filter_map(|(spur, pinion)| gears(settings, spur, pinion)).collect();
            let row = |n: &Next| gears_row(n, n.spur == own_spur && n.pinion == own_pinion);
            (next::tried(&run.run, &all, race_s).iter().map(row).collect(), None)
        }
        Err(e) => (Vec::new(), Some(e)),
    };
    Some(TriedGears { spur, pinion, error, heads: view::next_heads(), rows })
}

/// Teeth of each spur with each pinion.
fn combinations(spur: &str, pinion: &str) -> Result<Vec<(f64, f64)>, String> {
    let (spurs, pinions) = (teeth(spur)?, teeth(pinion)?);
    let count = spurs.len() * pinions.len();
    if count > MOST_COMBINATIONS {
        return Err(format!("these are {count} combinations: try {MOST_COMBINATIONS} or fewer at a time"));
    }
    Ok(spurs.iter().flat_map(|&s| pinions.iter().map(move |&p| (f64::from(s), f64::from(p)))).collect())
}

fn gears_row(next: &Next, on_sheet: bool) -> RowView {
    let mut cells = vec![next.spur.to_string()];
    cells.extend(view::next_cells(next));
    let remark = if on_sheet { "as on the sheet".to_owned() } else { String::new() };
    cells.push(next.why.map_or(remark, |why| why.to_string()));
    RowView { cells, aside: next.top_speed_m_s.is_none() }
}
