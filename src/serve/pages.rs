//! The local page's own templates, filled in; the report's two pages with what only a running server can offer.

use askama::Template;

use super::form::{Field, Form, RUN, called, pointer};
use super::routes::MOST_BYTES;
use crate::folder::plain_path;
use crate::gear_chart::teeth;
use crate::measure::gearing::gears;
use crate::notice::{Failure, NoticeCode};
use crate::report::pages::{OF_TRACE, OfTrace, filters};
use crate::report::view::{self, RowView, RunView, WeekendView};
use crate::review::Review;
use crate::sheet::RunPlan;
use crate::weekend::conclude::ConcludedRun;
use crate::weekend::lacks::{Place, lacks};
use crate::weekend::next::{self, Next};

/// Script of the local page.
pub const LIVE_SCRIPT: &str = include_str!("templates/live.js");
/// Most gears tried at once.
const MOST_GEARS: usize = 60;

/// A page, or why its template could not be filled in.
pub type Page = Result<String, askama::Error>;

/// A short mark of a text: another text has another, but for one case in 10¹⁹.
pub fn mark_of(text: &str) -> String {
    crate::fingerprint::fingerprint(text)
}

#[derive(Template)]
#[template(path = "empty.html", config = "src/serve/askama.toml")]
struct Empty<'a> {
    name: &'a str,
    folder: &'a str,
    at: &'static str,
    keep: &'static str,
    most: u64,
}

/// The page of a folder without a log.
///
/// # Errors
/// If the template cannot be filled in, as for every page here.
pub fn empty(name: &str, folder: &str) -> Page {
    Empty { name, folder, at: "weekend", keep: "", most: MOST_BYTES }.render()
}

#[derive(Template)]
#[template(path = "reading.html", config = "src/serve/askama.toml")]
struct Reading<'a> {
    name: &'a str,
    folder: &'a str,
    at: &'static str,
    keep: &'static str,
}

/// The page while the first review is being made.
///
/// # Errors
/// If the template cannot be filled in.
pub fn reading(name: &str, folder: &str) -> Page {
    Reading { name, folder, at: "weekend", keep: "" }.render()
}

#[derive(Template)]
#[template(path = "weekend_live.html", config = "src/serve/askama.toml")]
struct Weekend<'a> {
    v: &'a WeekendView,
    at: &'static str,
    base: &'a str,
    unlisted: Vec<Unlisted>,
    asks: Vec<Ask>,
    several: bool,
    most: u64,
}

/// A log that stands on no sheet.
struct Unlisted {
    log: String,
    laps: String,
    fields: Vec<Field>,
}

/// A line that the sheet lacks, as a field.
struct Ask {
    fields: Vec<Field>,
    gives: &'static str,
}

/// The weekend's page with what can be dropped, put on the sheet and filled in. `listed` are the ids of the runs on the sheet's text.
pub fn weekend(review: &Review, base: &str, listed: &[String]) -> Page {
    let mut v = view::weekend(review);
    // The page asks for them itself.
    v.notices.retain(|n| n.code != NoticeCode::NotOnTheSheet);
    let unlisted = review.unlisted.iter().map(|run| unlisted(run, review)).collect();
    let several = !review.has_sheet && review.runs.len() > 1;
    Weekend { v: &v, at: "weekend", base, unlisted, asks: asks(review, listed), several, most: MOST_BYTES }.render()
}

fn unlisted(run: &RunPlan, review: &Review) -> Unlisted {
    let cars: Vec<String> = review.sheet.cars.keys().cloned().collect();
    let field = |key: &str, value: String, choices: Vec<String>, number: bool| {
        let (label, unit) = RUN.iter().find(|k| k.0 == key).map_or(("", ""), |k| (k.1, k.2));
        Field { choices, ..Field::plain(format!("+run/{key}"), label.to_owned(), unit, value, number) }
    };
    let car = if cars.len() == 1 { cars[0].clone() } else { String::new() };
    let fields = vec![
        field("id", run.id.clone(), Vec::new(), false),
        field("car", car, cars, false),
        field("ambient_c", String::new(), Vec::new(), true),
        field("pinion", String::new(), Vec::new(), true),
    ];
    Unlisted { log: plain_path(&run.log), laps: run.laps.as_deref().map(plain_path).unwrap_or_default(), fields }
}

/// Number of the sheet's entry of a run, from 0: the parts of a file that holds several runs share one.
fn entry_of(id: &str, listed: &[String]) -> Option<usize> {
    let part = |r: &String| id.strip_prefix(r.as_str()).is_some_and(|rest| rest.starts_with('.'));
    listed.iter().position(|r| r == id).or_else(|| listed.iter().position(part))
}

fn asks(review: &Review, listed: &[String]) -> Vec<Ask> {
    let several = review.sheet.cars.len() > 1;
    let field = |path: Vec<&str>, key: &str, whose: &str| {
        let (label, unit) = called(key);
        let label = if whose.is_empty() { label.to_owned() } else { format!("{label} of {whose}") };
        let path: Vec<&str> = path.into_iter().chain(key.split('.')).collect();
        Field::plain(pointer(&path), label, unit, String::new(), true)
    };
    let ask = |lack: crate::weekend::lacks::Lack| {
        let field = match &lack.place {
            Place::Table(table) => field(vec![table], lack.key, ""),
            Place::Car(car) => field(vec!["cars", car], lack.key, if several { car } else { "" }),
            Place::Run(id) => {
                let at = entry_of(id, listed)?;
                field(vec!["runs", &at.to_string()], lack.key, &format!("run {id}"))
            }
        };
        Some(Ask { fields: vec![field], gives: lack.gives })
    };
    let mut asks: Vec<Ask> = lacks(&review.sheet, &review.runs).into_iter().filter_map(ask).collect();
    asks.dedup_by(|a, b| a.fields == b.fields);
    asks
}

#[derive(Template)]
#[template(path = "run_live.html", config = "src/serve/askama.toml")]
struct RunPage<'a> {
    v: &'a RunView,
    at: &'static str,
    page: String,
    log: String,
    number: usize,
    tried: Option<Tried>,
    of_trace: OfTrace,
}

/// Other gears on the run's car.
struct Tried {
    spur: String,
    pinion: String,
    error: Option<String>,
    rows: Vec<RowView>,
}

/// A run's page, where the sheet's text lists the runs `listed`, with the gears asked for as `spur` and `pinion` tried on its car.
pub fn run(review: &Review, index: usize, listed: &[String], spur: Option<&str>, pinion: Option<&str>) -> Page {
    let run = &review.runs[index];
    let page = view::page_name(index, &run.plan().id);
    RunPage {
        v: &view::run(review, index),
        at: "run",
        log: view::log_name(&page),
        page,
        number: entry_of(&run.plan().id, listed).unwrap_or(index) + 1,
        tried: tried(run, review.sheet.race_length_s(), spur, pinion),
        of_trace: OF_TRACE,
    }
    .render()
}

fn tried(run: &ConcludedRun, race_s: f64, spur: Option<&str>, pinion: Option<&str>) -> Option<Tried> {
    let settings = &run.plan().settings;
    let (own_spur, own_pinion) = (settings.number("spur")?, settings.number("pinion")?);
    if run.failure().is_some() {
        return None;
    }
    let spur = spur.map_or_else(|| own_spur.to_string(), str::to_owned);
    let pinion = pinion.map_or_else(|| format!("{}-{}", (own_pinion - 3.0).max(1.0), own_pinion + 3.0), str::to_owned);
    let (rows, error) = match teeth(&spur).and_then(|s| Ok((s, teeth(&pinion)?))) {
        Ok((spurs, pinions)) if spurs.len() * pinions.len() > MOST_GEARS => {
            (Vec::new(), Some(format!("{} pairs of gears; up to {MOST_GEARS} at once", spurs.len() * pinions.len())))
        }
        Ok((spurs, pinions)) => {
            let pairs = spurs.iter().flat_map(|s| pinions.iter().map(move |p| (f64::from(*s), f64::from(*p))));
            let all: Vec<_> = pairs.filter_map(|(s, p)| gears(settings, s, p)).collect();
            let row = |n: &Next| gears_row(n, n.spur == own_spur && n.pinion == own_pinion);
            (next::tried(&run.run, &all, race_s).iter().map(row).collect(), None)
        }
        Err(e) => (Vec::new(), Some(e)),
    };
    Some(Tried { spur, pinion, error, rows })
}

fn gears_row(next: &Next, on_sheet: bool) -> RowView {
    let mut cells = vec![next.spur.to_string()];
    cells.extend(view::next_cells(next));
    let remark = if on_sheet { "on the sheet".to_owned() } else { String::new() };
    cells.push(next.why.map_or(remark, |why| why.words()));
    RowView { cells, aside: next.why.is_some() }
}

#[derive(Template)]
#[template(path = "sheet.html", config = "src/serve/askama.toml")]
struct SheetPage<'a> {
    name: &'a str,
    at: &'static str,
    keep: &'static str,
    base: &'a str,
    form: &'a Form,
    keys: Vec<&'static str>,
    problems: &'a [Failure],
    kept: &'a [(String, String)],
    versions: Vec<(String, String)>,
    saved: bool,
}

/// The sheet as a form, with what is wrong with what was sent, and what of it the form does not show.
pub fn sheet(
    name: &str,
    base: &str,
    form: &Form,
    problems: &[Failure],
    kept: &[(String, String)],
    versions: Vec<(String, String)>,
    saved: bool,
) -> Page {
    let keys = super::form::car_keys();
    SheetPage { name, at: "sheet", keep: "1", base, form, keys, problems, kept, versions, saved }.render()
}

#[derive(Template)]
#[template(path = "text.html", config = "src/serve/askama.toml")]
struct TextPage<'a> {
    name: &'a str,
    at: &'static str,
    keep: &'static str,
    base: &'a str,
    text: &'a str,
    now: Option<&'a str>,
    problems: &'a [Failure],
    kept: &'a [(String, String)],
}

/// The sheet as text; beside a text that was not saved the sheet as it is now.
pub fn text(
    name: &str,
    base: &str,
    text: &str,
    now: Option<&str>,
    problems: &[Failure],
    kept: &[(String, String)],
) -> Page {
    TextPage { name, at: "sheet", keep: "1", base, text, now, problems, kept }.render()
}

/// Heading, a sentence, and files with what they are.
pub type Group = (&'static str, &'static str, Vec<(String, String)>);

#[derive(Template)]
#[template(path = "files.html", config = "src/serve/askama.toml")]
struct Files<'a> {
    name: &'a str,
    folder: &'a str,
    at: &'static str,
    keep: &'static str,
    groups: &'a [Group],
}

/// What can be taken away.
pub fn files(name: &str, folder: &str, groups: &[Group]) -> Page {
    Files { name, folder, at: "files", keep: "", groups }.render()
}

#[derive(Template)]
#[template(path = "message.html", config = "src/serve/askama.toml")]
struct Message<'a> {
    title: &'a str,
    message: &'a str,
    hint: &'a str,
    link: &'a str,
    link_text: &'a str,
    at: &'static str,
    keep: &'static str,
}

/// What went wrong, what to do, and where to go on.
pub fn message(title: &str, failure: &Failure, link: (&str, &str)) -> Page {
    let hint = failure.hint.as_deref().unwrap_or_default();
    Message { title, message: &failure.message, hint, link: link.0, link_text: link.1, at: "", keep: "" }.render()
}
