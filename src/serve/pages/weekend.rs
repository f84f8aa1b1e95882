//! The weekend's page, with what can be dropped, added to the sheet and filled in.

use askama::Template;

use super::{Page, PageFrame, Place};
use crate::folder::plain_path;
use crate::notice::NoticeCode;
use crate::report::pages::{self, SCRIPTS, Scripts, filters};
use crate::report::view::{self, WeekendView};
use crate::review::Review;
use crate::serve::limits::LARGEST_FILE_BYTES;
use crate::serve::sheet::form::{Field, asked_field, first_fields};
use crate::sheet::RunPlan;
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

/// The weekend's page, made of the sheet's text with the mark `base`. `run_ids` are those of the runs on that text, in
/// order.
///
/// # Errors
/// If the template cannot be filled in.
pub fn weekend(review: &Review, base: &str, run_ids: &[String]) -> Page {
    let mut v = view::weekend(review);
    // The page asks for them itself.
    let asked = |code| matches!(code, NoticeCode::NotOnTheSheet | NoticeCode::ListWithoutRun);
    v.notices.retain(|n| !asked(n.code));
    let page = WeekendPage {
        frame: PageFrame::new(v.name.clone(), Place::Weekend),
        v: &v,
        base,
        unlisted: review.unlisted.iter().map(|run| unlisted_log(run, review)).collect(),
        lists: review.unlaid_lists.iter().map(open_list).collect(),
        asks: asks(review, run_ids),
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
