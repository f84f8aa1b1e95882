//! The weekend's page, with what can be dropped, added to the sheet and filled in.

use askama::Template;

use super::said::WayBack;
use super::{Page, PageFrame};
use crate::folder::plain_path;
use crate::notice::NoticeCode;
use crate::report::pages::{self, SCRIPTS, Scripts, filters};
use crate::report::view::{self, WeekendView};
use crate::review::Review;
use crate::serve::limits::LARGEST_FILE_BYTES;
use crate::serve::sheet::cells::{CAR_NAMES, TwoCars, two_cars};
use crate::serve::sheet::fields::Field;
use crate::serve::sheet::form::{asked_field, first_fields};
use crate::sheet::{RunPlan, Sheet};
use crate::weekend::lacks::{self, Lack, lacks};
use crate::weekend::unlaid_lists::{BestRun, UnlaidList};
use crate::wording::counted;

#[derive(Template)]
#[template(path = "weekend_live.html", config = "src/serve/askama.toml")]
struct WeekendPage<'a> {
    frame: PageFrame,
    v: &'a WeekendView,
    base: &'a str,
    unlisted: Vec<UnlistedLog>,
    lists: Vec<OpenList>,
    two_cars: Option<OfferedCars>,
    entries: Vec<Entry>,
    left_out: Vec<LeftOut>,
    cars: Vec<String>,
    asks: Vec<Ask>,
    one_car_assumed: bool,
    largest_file_bytes: u64,
    scripts: Scripts,
}

/// A log that no run of the sheet names, with the fields that would add it.
struct UnlistedLog {
    log: String,
    laps: String,
    fields: Vec<Field>,
}

/// A run of the sheet that can be changed here.
struct Entry {
    id: String,
    car: String,
    is_first: bool,
    is_last: bool,
    /// Name of its place, where it is said what became of it.
    place: String,
    is_open: bool,
}

/// A run whose log is left out.
struct LeftOut {
    id: String,
    log: String,
}

/// Two cars that the logs seem to be of.
struct OfferedCars {
    cars: [OfferedCar; 2],
}

struct OfferedCar {
    /// Its runs and what is seen of them.
    says: String,
    /// Name of the field for its name.
    field: &'static str,
    /// The name that it gets where none is typed.
    name: &'static str,
}

/// A lap list that no run has, and the runs that it may be of.
struct OpenList {
    list: String,
    says: String,
    runs: Vec<String>,
    best: Option<String>,
}

/// A line that the sheet lacks, as a field.
struct Ask {
    field: Field,
    gives: String,
}

/// The weekend's page, made of the sheet's text with the mark `base`, which reads as `sheet`.
///
/// # Errors
/// If the template cannot be filled in.
pub fn weekend(frame: PageFrame, review: &Review, base: &str, sheet: &Sheet) -> Page {
    let mut v = view::weekend(review);
    // The page asks for them itself, or lists them.
    let asked = |code| matches!(code, NoticeCode::NotOnTheSheet | NoticeCode::ListWithoutRun | NoticeCode::LeftOut);
    let run_ids: Vec<String> = sheet.runs.iter().map(|run| run.id.clone()).collect();
    v.notices.retain(|n| !asked(n.code));
    let page = WeekendPage {
        entries: entries(&frame, sheet),
        left_out: sheet.runs.iter().filter(|run| run.left_out).map(left_out).collect(),
        cars: sheet.cars.keys().cloned().collect(),
        two_cars: two_cars(review).map(offered),
        frame,
        v: &v,
        base,
        unlisted: review.unlisted.iter().map(|run| unlisted_log(run, review)).collect(),
        lists: review.unlaid_lists.iter().map(open_list).collect(),
        asks: asks(review, &run_ids),
        one_car_assumed: !review.has_sheet && review.runs.len() > 1,
        largest_file_bytes: LARGEST_FILE_BYTES,
        scripts: SCRIPTS,
    };
    Ok(pages::in_units(&page.render()?, review.sheet.units()))
}

fn unlisted_log(run: &RunPlan, review: &Review) -> UnlistedLog {
    let cars: Vec<String> = review.sheet.cars.keys().cloned().collect();
    UnlistedLog {
        log: plain_path(&run.log),
        laps: run.laps.as_deref().map(plain_path).unwrap_or_default(),
        fields: first_fields(&run.id, &cars),
    }
}

fn entries(frame: &PageFrame, sheet: &Sheet) -> Vec<Entry> {
    let reviewed: Vec<&RunPlan> = sheet.runs.iter().filter(|run| !run.left_out).collect();
    let entry = |(number, run): (usize, &&RunPlan)| {
        let place = format!("run {}", run.id);
        Entry {
            id: run.id.clone(),
            car: run.car.clone(),
            is_first: number == 0,
            is_last: number + 1 == reviewed.len(),
            is_open: frame.said_at(&place).is_some(),
            place,
        }
    };
    reviewed.iter().enumerate().map(entry).collect()
}

fn left_out(run: &RunPlan) -> LeftOut {
    LeftOut { id: run.id.clone(), log: plain_path(&run.log) }
}

fn offered(found: TwoCars) -> OfferedCars {
    let TwoCars { runs, seen } = found;
    let car = |n: usize, field: &'static str| {
        let (ids, volts) = (runs[n].join(", "), seen[n].volts());
        let cells = counted(seen[n].cells as usize, "cell");
        let says = format!("{ids}: the pack rested at {volts:.1} V, as {cells} would");
        OfferedCar { says, field, name: CAR_NAMES[n] }
    };
    OfferedCars { cars: [car(0, "first"), car(1, "second")] }
}

fn open_list(unlaid: &UnlaidList) -> OpenList {
    let laps = counted(unlaid.laps, "lap");
    let fit = match &unlaid.best {
        Some(BestRun { id, is_sure: true }) => format!("It fits the log of run {id}, and no other."),
        Some(BestRun { id, is_sure: false }) => format!("Of all logs it fits that of run {id} best, but not surely."),
        None if unlaid.open_runs.is_empty() => "Every run has a lap list already.".to_owned(),
        None => "It fits no log of a run without a list.".to_owned(),
    };
    OpenList {
        list: plain_path(&unlaid.list),
        says: format!("{laps}, median {:.2} s. {fit}", unlaid.median_s),
        runs: unlaid.open_runs.clone(),
        best: unlaid.best.as_ref().map(|best| best.id.clone()),
    }
}

/// Number of a run's entry on the sheet, from 0: the parts of a file that holds several runs share one.
pub fn entry_of(id: &str, run_ids: &[String]) -> Option<usize> {
    let is_part = |entry: &String| id.strip_prefix(entry.as_str()).is_some_and(|rest| rest.starts_with('.'));
    run_ids.iter().position(|entry| entry == id).or_else(|| run_ids.iter().position(is_part))
}

fn asks(review: &Review, run_ids: &[String]) -> Vec<Ask> {
    let mut asks: Vec<Ask> =
        lacks(&review.sheet, &review.runs).into_iter().filter_map(|lack| ask(lack, review, run_ids)).collect();
    asks.dedup_by(|a, b| a.field == b.field);
    asks
}

fn ask(lack: Lack, review: &Review, run_ids: &[String]) -> Option<Ask> {
    let several_cars = review.sheet.cars.len() > 1;
    let (table, owner) = match lack.place {
        lacks::Place::Table(table) => (vec![table.to_owned()], None),
        lacks::Place::Car(car) => (vec!["cars".to_owned(), car.clone()], several_cars.then_some(car)),
        lacks::Place::Run(id) => {
            let number = entry_of(&id, run_ids)?;
            (vec!["runs".to_owned(), number.to_string()], Some(format!("run {id}")))
        }
    };
    let table: Vec<&str> = table.iter().map(String::as_str).collect();
    Some(Ask { field: asked_field(lack.key, &table, owner.as_deref()), gives: lack.key.answers_and_assumed() })
}
