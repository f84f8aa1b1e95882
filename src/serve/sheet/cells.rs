//! How many cells the pack of a log has, by its voltage at rest: two logs of two numbers are of two cars.

use std::fmt::{self, Display};

use super::runs::{Done, read_sheet};
use super::save::{SheetStore, unedited};
use crate::evidence::electrics::rest::{Cells, Rest, cells, fitting, rest_of};
use crate::folder::{self, SHEET};
use crate::log::Log;
use crate::notice::{Failure, printable};
use crate::review::Review;
use crate::sheet::RunPlan;
use crate::sheet::edit::{Edit, edit};
use crate::units::Units;
use crate::wording::counted;

/// Longest name of a car that is shown, characters.
const LONGEST_NAME: usize = 40;

/// The cells that a log's voltage at rest tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellsAtRest {
    rest: Rest,
    /// Cells in series.
    pub cells: u32,
}

impl CellsAtRest {
    /// Those of a log; `None` where it does not tell.
    pub fn of_log(log: &Log) -> Option<Self> {
        // A car that just rolled may still be drawing a current: a pack that sags looks like fewer cells.
        let rest = rest_of(log).filter(|rest| rest.stands)?;
        Some(Self { rest, cells: fitting(rest.volts)? })
    }

    /// Voltage at rest, V.
    pub fn volts(&self) -> f64 {
        self.rest.volts
    }

    /// Whether the pack cannot have so many `cells`.
    pub fn cannot_be(&self, stated: f64) -> bool {
        matches!(cells(self.rest, stated), Cells::Others(_))
    }

    /// Whether neither of two logs can be of the other's pack.
    pub fn differs_from(&self, other: &Self) -> bool {
        self.cannot_be(f64::from(other.cells)) && other.cannot_be(f64::from(self.cells))
    }
}

impl Display for CellsAtRest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let do_so = if self.cells == 1 { "does" } else { "do" };
        write!(f, "it rested at {:.1} V, as {} {do_so}", self.rest.volts, counted(self.cells as usize, "cell"))
    }
}

/// Runs of a folder without a sheet that are of two cars, by their packs.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoCars {
    /// The runs of the first car, and of the second; those whose pack does not tell are with the first.
    pub runs: [Vec<String>; 2],
    /// What is seen of each.
    pub seen: [CellsAtRest; 2],
}

/// The two cars of a weekend that has no sheet yet; `None` where its logs do not tell two.
pub fn two_cars(review: &Review) -> Option<TwoCars> {
    if review.has_sheet {
        return None;
    }
    let seen = |index: usize| CellsAtRest::of_log(&review.runs[index].done()?.log);
    let all: Vec<Option<CellsAtRest>> = (0..review.runs.len()).map(seen).collect();
    let first = all.iter().flatten().next()?;
    let second = all.iter().flatten().find(|other| first.differs_from(other))?;
    let mut runs = [Vec::new(), Vec::new()];
    for (index, cells) in all.iter().enumerate() {
        let is_second = cells.is_some_and(|cells| first.differs_from(&cells));
        runs[usize::from(is_second)].push(review.runs[index].plan().id.clone());
    }
    Some(TwoCars { runs, seen: [*first, *second] })
}

/// Names of the two cars, where nothing is typed.
pub const CAR_NAMES: [&str; 2] = ["first car", "second car"];

impl SheetStore {
    /// Writes a sheet with two cars of these `names`, each with the runs of its pack.
    ///
    /// # Errors
    /// If the logs are not of two cars any more, the names are alike, or the sheet cannot be written.
    pub fn make_two_cars(&self, names: [&str; 2]) -> Result<Done, Failure> {
        let failed = |message: &str, hint: &str| Failure { message: message.to_owned(), hint: Some(hint.to_owned()) };
        let pick = |n: usize| Some(names[n].trim()).filter(|name| !name.is_empty()).unwrap_or(CAR_NAMES[n]);
        let (first, second) = (pick(0), pick(1));
        if first == second {
            return Err(failed("both cars have the same name", "give each a name of its own"));
        }
        let review = self.current().review();
        let gone = || failed("these logs are not taken for those of two cars any more", "look at the page again");
        let (review, cars) = review.and_then(|r| two_cars(&r).map(|cars| (r, cars))).ok_or_else(gone)?;
        let undo = self.write(|_| {
            if self.folder().join(SHEET).exists() {
                return Err(gone());
            }
            let text = folder::starter_of_car(self.folder(), first, &review.sheet.runs, Units::default());
            let sheet = read_sheet(&text)?;
            let is_second = |run: &RunPlan| cars.runs[1].iter().any(|id| *id == run.id || is_part(id, &run.id));
            let numbers = sheet.runs.iter().enumerate().filter(|(_, run)| is_second(run)).map(|(number, _)| number);
            let path = |number: usize| ["runs", &number.to_string(), "car"].map(str::to_owned).to_vec();
            let mut edits: Vec<Edit> =
                numbers.map(|number| Edit::Set { path: path(number), text: second.to_owned() }).collect();
            edits.push(Edit::AddCar(second.to_owned()));
            Ok(edit(&text, &edits).map_err(unedited)?.into_bytes())
        })?;
        let shown = |name: &str| printable(name, LONGEST_NAME);
        Ok(Done { say: format!("{} and {} are two cars now, on a sheet", shown(first), shown(second)), undo })
    }
}

/// Whether `id` is one of several runs in the log of `entry`.
fn is_part(id: &str, entry: &str) -> bool {
    id.strip_prefix(entry).is_some_and(|rest| rest.starts_with('.'))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::serve::folder::current::Current;
    use crate::sheet::read::read;

    #[test]
    fn logs_of_one_cell_and_of_two_become_two_cars() {
        let folder = tempfile::tempdir().unwrap();
        crate::demo::alder_quay::invent(3).write(folder.path()).unwrap();
        std::fs::remove_file(folder.path().join(SHEET)).unwrap();
        let current = Arc::new(Current::new(folder.path().to_owned()));
        current.refresh();
        let cars = two_cars(&current.review().unwrap()).unwrap();
        let by_name = |id: &String, first: char| id.starts_with(first);
        assert!(cars.runs[0].iter().all(|id| by_name(id, 'p')) != cars.runs[0].iter().all(|id| by_name(id, 't')));
        let mut cells = cars.seen.map(|seen| seen.cells);
        cells.sort_unstable();
        assert_eq!(cells, [1, 2], "{cars:?}");
        let store = SheetStore::new(current);
        assert!(store.make_two_cars(["a", "a"]).is_err());
        store.make_two_cars(["tourer \"1\"", ""]).unwrap();
        let sheet = read(&std::fs::read_to_string(folder.path().join(SHEET)).unwrap()).unwrap();
        assert_eq!(sheet.cars.keys().collect::<Vec<_>>(), ["second car", "tourer \"1\""]);
        for run in sheet.runs {
            let is_second = cars.runs[1].contains(&run.id);
            assert_eq!(run.car == "second car", is_second, "{}", run.id);
            assert_eq!(run.mistake, None);
        }
        assert!(store.make_two_cars(["a", "b"]).is_err());
    }
}
