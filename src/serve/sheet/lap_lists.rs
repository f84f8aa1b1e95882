//! Lap lists that come after the sheet was saved: written into their runs, where their names or a user tell which.

use std::path::Path;

use super::save::SheetStore;
use crate::folder::{self, plain_path};
use crate::laps::typed::TypedLaps;
use crate::notice::{Failure, printable};
use crate::serve::folder::take::keep_list;
use crate::sheet::RunPlan;
use crate::sheet::edit::{Edit, EditError, edit};
use crate::sheet::read;

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
                Ok(()) => format!("{laid}, because of its name, and written on the sheet"),
                Err(why) => {
                    format!("{laid}, because of its name; it could not be written on the sheet: {}", why.message)
                }
            },
        })
    }

    /// Keeps typed laps as the lap list of `run`, in a file of its name, and writes it on the sheet.
    ///
    /// # Errors
    /// As [`Self::name_list`], or if the file cannot be written.
    pub fn keep_typed(&self, run: &str, laps: &TypedLaps) -> Result<(), Failure> {
        self.open_run(&self.text()?, run)?;
        let list = keep_list(self.folder(), run, &laps.as_list())?;
        self.name_list(run, &list)
    }

    /// Number of the run with the id `run` on the sheet `text`, from 0.
    ///
    /// # Errors
    /// If there is none, or it has a lap list.
    fn open_run(&self, text: &str, run: &str) -> Result<usize, Failure> {
        let sheet = read::read(text).map_err(|m| Failure { message: m.drawing, hint: Some(m.hint) })?;
        let failed = |message: String, hint: &str| Failure { message, hint: Some(hint.to_owned()) };
        let shown = printable(run, LONGEST_NAME);
        let number = sheet.runs.iter().position(|r| r.id == run).ok_or_else(|| {
            failed(format!("there is no run {shown} on the sheet"), "choose one of the runs on the weekend's page")
        })?;
        if sheet.runs[number].laps.is_some() {
            let message = format!("run {shown} has a lap list already; nothing was changed");
            return Err(failed(message, "change it on the setup sheet's page"));
        }
        Ok(number)
    }

    /// Writes `laps` into the run with the id `run`, which must have none.
    ///
    /// # Errors
    /// If there is no such run, it has a list already, or the sheet cannot be written; the sheet is then as it was.
    pub fn name_list(&self, run: &str, list: &str) -> Result<(), Failure> {
        let list = plain_path(Path::new(list));
        self.write(|now| {
            let number = self.open_run(now, run)?;
            let path = ["runs", &number.to_string(), "laps"].map(str::to_owned).to_vec();
            let text = edit(now, &[Edit::Set { path, text: list }]).map_err(unedited)?;
            Ok(self.with_byte_order_mark(text))
        })
    }
}

fn unedited(error: EditError) -> Failure {
    match error {
        EditError::Toml(m) => Failure { message: m.brief(), hint: Some(m.hint) },
        EditError::Wrong(all) => {
            let messages: Vec<String> = all.into_iter().map(|m| m.message).collect();
            Failure { message: messages.join("; "), hint: Some("change it on the setup sheet's page".to_owned()) }
        }
        EditError::Place(_) | EditError::List(_) => Failure { message: error.to_string(), hint: None },
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
