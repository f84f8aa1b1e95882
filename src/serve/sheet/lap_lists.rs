//! Lap lists that come after the sheet was saved: written into their runs, where their names or a user tell which.

use std::path::Path;

use super::runs::{number_of, read_sheet};
use super::save::{SheetStore, Undo, unedited};
use crate::folder::{self, plain_path};
use crate::laps::typed::TypedLaps;
use crate::notice::{Failure, printable};
use crate::serve::folder::take::keep_list;
use crate::sheet::edit::{Edit, edit};
use crate::sheet::{RunPlan, Sheet};
use crate::weekend::concluded_run::ConcludedRun;

/// Longest name of a run that is shown, characters.
const LONGEST_NAME: usize = 40;

const NO_LOG: &str = "there is no log for it yet: add that log";
const ALL_HAVE_LISTS: &str =
    "every run on the sheet has a lap list already: if this one is of another run, add that run’s log";

/// What became of a lap list that came into the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ListPlace {
    /// It is a run's now; in a sentence.
    Laid(String),
    /// No run has its name, and some run has no list.
    Open,
    /// There is no run that it could be of; in a sentence.
    NoRun(&'static str),
}

impl SheetStore {
    /// Looks for the run of the lap list at `list`, from the weekend's folder, by its name, and writes it on the sheet
    /// where there is one.
    pub fn pair_list(&self, list: &str) -> ListPlace {
        let Ok(plan) = folder::plan(self.folder()) else { return ListPlace::NoRun(NO_LOG) };
        let path = Path::new(list);
        let names_it = |run: &&RunPlan| run.laps.as_deref() == Some(path);
        let Some(run) = plan.sheet.runs.iter().find(names_it) else {
            if let Some(laid) = self.pair_part(path, list) {
                return laid;
            }
            return match plan.unlisted.iter().find(names_it) {
                Some(log) => {
                    ListPlace::Laid(format!("it goes with `{}`, which is not on the sheet yet", log.log.display()))
                }
                None if plan.sheet.runs.iter().any(|run| run.laps.is_none()) => ListPlace::Open,
                None => ListPlace::NoRun(ALL_HAVE_LISTS),
            };
        };
        let laid = format!("laid on run {}", printable(&run.id, LONGEST_NAME));
        let by_name = plan.paired.iter().any(|p| p.list == path);
        ListPlace::Laid(match by_name && plan.has_sheet {
            false => laid,
            true => match self.name_list(&run.id, list) {
                Ok(_) => format!("{laid}, because of its name, and written on the sheet"),
                Err(why) => {
                    format!("{laid}, because of its name; it could not be written on the sheet: {}", why.message)
                }
            },
        })
    }

    /// Lays the list on the run of its name among several in one log: the sheet has no such run until then.
    fn pair_part(&self, path: &Path, list: &str) -> Option<ListPlace> {
        let stem = path.file_stem()?.to_string_lossy().to_lowercase();
        let review = self.current().review()?;
        let is_it = |run: &&ConcludedRun| run.plan().laps.is_none() && run.plan().id.to_lowercase() == stem;
        let run = &review.runs.iter().find(is_it)?.plan().id;
        self.name_list(run, list).ok()?;
        let shown = printable(run, LONGEST_NAME);
        Some(ListPlace::Laid(format!("laid on run {shown}, because of its name, and written on the sheet")))
    }

    /// Keeps typed laps as the lap list of `run`, in a file of its name, and writes it on the sheet.
    ///
    /// # Errors
    /// As [`Self::name_list`], or if the file cannot be written.
    pub fn keep_typed(&self, run: &str, laps: &TypedLaps) -> Result<Option<Undo>, Failure> {
        self.with_open_run(&self.text()?, run)?;
        let list = keep_list(self.folder(), run, &laps.as_list())?;
        self.name_list(run, &list)
    }

    /// The sheet's text with an entry for the run with the id `run`, and its number there, from 0. A log that holds
    /// several runs has one entry until one of them is to have a lap list: then it gets one for each.
    ///
    /// # Errors
    /// If there is no such run, or it has a lap list.
    fn with_open_run(&self, text: &str, run: &str) -> Result<(String, usize), Failure> {
        let sheet = read_sheet(text)?;
        let parts = self.parts_of(&sheet, run);
        let number = match (number_of(&sheet, run), &parts) {
            (Ok(number), _) => number,
            (Err(_), Some((number, _))) => *number,
            (Err(failure), None) => return Err(failure),
        };
        if sheet.runs[number].laps.is_some() {
            let shown = printable(run, LONGEST_NAME);
            let message = format!("run {shown} has a lap list already; nothing was changed");
            let hint = Some("change it on the setup sheet's page".to_owned());
            return Err(Failure { message, hint });
        }
        let Some((_, ids)) = parts else { return Ok((text.to_owned(), number)) };
        let place = ids.iter().position(|id| id == run).unwrap_or(0);
        let split = edit(text, &[Edit::SplitRun { number, ids }]).map_err(unedited)?;
        Ok((split, number + place))
    }

    /// The entry of a log that holds several runs, where `run` is one of them and has no entry of its own, and the ids of
    /// all of them.
    fn parts_of(&self, sheet: &Sheet, run: &str) -> Option<(usize, Vec<String>)> {
        if number_of(sheet, run).is_ok() {
            return None;
        }
        let review = self.current().review()?;
        let log = &review.runs.iter().find(|r| r.plan().id == run)?.plan().log;
        let of_log = |r: &&ConcludedRun| r.plan().log == *log;
        let ids: Vec<String> = review.runs.iter().filter(of_log).map(|r| r.plan().id.clone()).collect();
        let number = sheet.runs.iter().position(|r| r.log == *log && r.part.is_none())?;
        Some((number, ids))
    }

    /// Writes `laps` into the run with the id `run`, which must have none.
    ///
    /// # Errors
    /// If there is no such run, it has a list already, or the sheet cannot be written; the sheet is then as it was.
    pub fn name_list(&self, run: &str, list: &str) -> Result<Option<Undo>, Failure> {
        let list = plain_path(Path::new(list));
        self.write(|now| {
            let (now, number) = self.with_open_run(now, run)?;
            let path = ["runs", &number.to_string(), "laps"].map(str::to_owned).to_vec();
            let text = edit(&now, &[Edit::Set { path, text: list }]).map_err(unedited)?;
            Ok(self.with_byte_order_mark(text))
        })
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::serve::folder::current::Current;

    const TABLE: &str = "# mine\n[cars.a]\npinion = 31 # teeth\n\n[[runs]]\nid = \"t1\"\nlog = \"t1.csv\"\nlaps = \"laps/x.csv\"\n\n[[runs]]\nid = \"t2\" # second\nlog = \"t2.csv\"\n";

    fn store(folder: &Path) -> SheetStore {
        std::fs::create_dir_all(folder.join("laps")).unwrap();
        std::fs::write(folder.join("weekend.toml"), TABLE).unwrap();
        SheetStore::new(Arc::new(Current::new(folder.to_owned())))
    }

    #[test]
    fn a_list_is_written_into_the_run_of_its_name_and_comments_stay() {
        let folder = tempfile::tempdir().unwrap();
        let store = store(folder.path());
        std::fs::write(folder.path().join("laps/t2-laps.csv"), "15.1\n15.2\n15.3\n").unwrap();
        let ListPlace::Laid(say) = store.pair_list("laps/t2-laps.csv") else { panic!() };
        assert!(say.starts_with("laid on run t2, because of its name, and written"), "{say}");
        let sheet = std::fs::read_to_string(folder.path().join("weekend.toml")).unwrap();
        assert_eq!(sheet, format!("{TABLE}laps = \"laps/t2-laps.csv\"\n"));
        assert_eq!(store.pair_list("laps/t2-laps.csv"), ListPlace::Laid("laid on run t2".into()));
    }

    #[test]
    fn a_run_s_own_list_is_never_changed() {
        let folder = tempfile::tempdir().unwrap();
        let store = store(folder.path());
        std::fs::write(folder.path().join("laps/t1.csv"), "15.1\n15.2\n15.3\n").unwrap();
        assert_eq!(store.pair_list("laps/t1.csv"), ListPlace::Open);
        for run in ["t1", "t9"] {
            assert!(store.name_list(run, "laps/t1.csv").is_err(), "{run}");
        }
        assert!(store.name_list("t2", "../out.csv").is_err());
        assert_eq!(std::fs::read_to_string(folder.path().join("weekend.toml")).unwrap(), TABLE);
        store.name_list("t2", "laps/t1.csv").unwrap();
    }
}
