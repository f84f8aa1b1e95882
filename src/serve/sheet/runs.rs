//! Runs of the sheet, changed by a click: renamed, given to another car, moved, left out, put back, taken off.

use super::save::{SheetStore, Undo, unedited};
use crate::folder::{self, plain_path, unlisted_run};
use crate::notice::{Failure, printable};
use crate::sheet::edit::{Edit, edit};
use crate::sheet::keys::LEFT_OUT;
use crate::sheet::{RunPlan, Sheet, read};

/// Longest name of a run, a log or a car that is shown, characters.
const LONGEST_NAME: usize = 40;

/// What is to be done with a run of the sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RunChange {
    /// It gets this name and this car; an empty one stays as it is.
    Rename {
        /// Its new name.
        name: String,
        /// The car that was driven.
        car: String,
    },
    /// It comes before the run that is before it now.
    Earlier,
    /// It comes after the run that is after it now.
    Later,
    /// Its log is not reviewed any more.
    LeaveOut,
    /// Its log is reviewed again.
    PutBack,
    /// It goes from the sheet, with its own comment; its log stays.
    TakeOff,
}

/// What was done, and the way back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    /// In a sentence.
    pub say: String,
    /// `None` where nothing changed, or there was no sheet before.
    pub undo: Option<Undo>,
}

impl SheetStore {
    /// Changes the run with the id `run`.
    ///
    /// # Errors
    /// If there is no such run, or the sheet would have a mistake; it is then as it was.
    pub fn change_run(&self, run: &str, change: &RunChange) -> Result<Done, Failure> {
        let mut say = String::new();
        let undo = self.write(|now| {
            let sheet = read_sheet(now)?;
            let number = number_of(&sheet, run)?;
            let (edits, said) = self.edits(&sheet, number, change)?;
            say = said;
            let text = if edits.is_empty() { now.to_owned() } else { edit(now, &edits).map_err(unedited)? };
            Ok::<_, Failure>(self.with_byte_order_mark(text))
        })?;
        Ok(Done { say, undo })
    }

    /// Leaves the log at `log`, from the folder, out: it gets a run on the sheet that says so.
    ///
    /// # Errors
    /// If no run can be made of it, or the sheet cannot be written.
    pub fn leave_out(&self, log: &str) -> Result<Done, Failure> {
        let undo = self.write(|now| {
            let run = unlisted_run(log.into(), None);
            let id = unused_id(&read_sheet(now)?, &run);
            let values = [("id", id.as_str()), ("log", log), (LEFT_OUT, "yes")];
            let values = values.map(|(key, value)| (key.to_owned(), value.to_owned())).to_vec();
            let text = edit(now, &[Edit::AddRun(values)]).map_err(unedited)?;
            Ok::<_, Failure>(self.with_byte_order_mark(text))
        })?;
        Ok(Done { say: format!("`{}` is left out; it stays in the folder", printable(log, LONGEST_NAME)), undo })
    }

    fn edits(&self, sheet: &Sheet, number: usize, change: &RunChange) -> Result<(Vec<Edit>, String), Failure> {
        let run = &sheet.runs[number];
        let shown = printable(&run.id, LONGEST_NAME);
        let set = |key: &str, text: &str| Edit::Set {
            path: ["runs", &number.to_string(), key].map(str::to_owned).to_vec(),
            text: text.to_owned(),
        };
        Ok(match change {
            RunChange::Rename { name, car } => {
                let (name, car) = (name.trim(), car.trim());
                let is_renamed = !name.is_empty() && name != run.id;
                let mut edits = Vec::new();
                edits.extend(is_renamed.then(|| set("id", name)));
                edits.extend((!car.is_empty() && car != run.car).then(|| set("car", car)));
                // A list that the run has by its name alone would be lost with the name.
                edits.extend(self.list_by_name(&run.id).filter(|_| is_renamed).map(|list| set("laps", &list)));
                let say = match edits.as_slice() {
                    [] => format!("run {shown} is as it was"),
                    _ if is_renamed => format!("run {shown} is called {} now", printable(name, LONGEST_NAME)),
                    _ => format!("run {shown} is one of {} now", printable(car, LONGEST_NAME)),
                };
                (edits, say)
            }
            RunChange::Earlier | RunChange::Later => {
                let reviewed = |n: &usize| !sheet.runs[*n].left_out;
                let is_earlier = *change == RunChange::Earlier;
                let to = match is_earlier {
                    true => (0..number).rev().find(reviewed),
                    false => (number + 1..sheet.runs.len()).find(reviewed),
                };
                let (before, place) = if is_earlier { ("before", "first") } else { ("after", "last") };
                match to {
                    Some(to) => {
                        let other = printable(&sheet.runs[to].id, LONGEST_NAME);
                        (vec![Edit::MoveRun { from: number, to }], format!("run {shown} comes {before} {other} now"))
                    }
                    None => (Vec::new(), format!("run {shown} is the {place} already")),
                }
            }
            RunChange::LeaveOut => {
                (vec![set(LEFT_OUT, "yes")], format!("run {shown} is left out; its log stays in the folder"))
            }
            RunChange::PutBack if run.car.is_empty() => {
                // It never was a run of a car: the page asks for it as for a new log.
                (vec![Edit::RemoveRun(number)], format!("`{}` is back: say whose run it is", plain_path(&run.log)))
            }
            RunChange::PutBack => (vec![set(LEFT_OUT, "")], format!("run {shown} is back")),
            RunChange::TakeOff => {
                (vec![Edit::RemoveRun(number)], format!("run {shown} is off the sheet; its log stays in the folder"))
            }
        })
    }

    /// The lap list that the run with the id `run` has by its name alone.
    fn list_by_name(&self, run: &str) -> Option<String> {
        let plan = folder::plan(self.folder()).ok()?;
        let paired = plan.paired.into_iter().find(|paired| paired.run == run)?;
        Some(plain_path(&paired.list))
    }
}

pub(super) fn read_sheet(text: &str) -> Result<Sheet, Failure> {
    read::read(text).map_err(|m| Failure { message: m.brief(), hint: Some(m.hint) })
}

/// Number of the run with the id `run` on the sheet, from 0.
///
/// # Errors
/// If there is none.
pub(super) fn number_of(sheet: &Sheet, run: &str) -> Result<usize, Failure> {
    sheet.runs.iter().position(|r| r.id == run).ok_or_else(|| Failure {
        message: format!("there is no run {} on the sheet", printable(run, LONGEST_NAME)),
        hint: Some("choose one of the runs on the weekend's page".to_owned()),
    })
}

/// The id of a run of no sheet, with a number behind it where a run of `sheet` has it.
pub(super) fn unused_id(sheet: &Sheet, run: &RunPlan) -> String {
    let numbered = (2..).map(|n| format!("{} ({n})", run.id));
    let is_unused = |id: &String| sheet.runs.iter().all(|r| r.id != *id);
    std::iter::once(run.id.clone()).chain(numbered).find(is_unused).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::sync::Arc;

    use rstest::rstest;

    use super::*;
    use crate::serve::folder::current::Current;

    const SHEET: &str = "[cars.a]\npinion = 31\n[cars.b]\npinion = 32\n\n# wet\n[[runs]]\nid = \"t1\"\ncar = \"a\"\nlog = \"t1.csv\"\n\n[[runs]]\nid = \"t2\"\ncar = \"a\"\nlog = \"t2.csv\"\nleft_out = \"yes\"\n\n[[runs]]\nid = \"t3\"\ncar = \"b\"\nlog = \"t3.csv\"\n";

    fn store(folder: &Path) -> SheetStore {
        std::fs::write(folder.join("weekend.toml"), SHEET).unwrap();
        SheetStore::new(Arc::new(Current::new(folder.to_owned())))
    }

    fn ids(folder: &Path) -> String {
        let text = std::fs::read_to_string(folder.join("weekend.toml")).unwrap();
        let runs = read::read(&text).unwrap().runs;
        let shown = |r: &RunPlan| format!("{}{}{}", r.id, if r.left_out { "-" } else { "" }, r.car);
        runs.iter().map(shown).collect::<Vec<_>>().join(" ")
    }

    #[rstest]
    #[case("t1", RunChange::Rename { name: "heat 1".into(), car: "b".into() }, "heat 1b t2-a t3b")]
    #[case("t1", RunChange::Rename { name: String::new(), car: String::new() }, "t1a t2-a t3b")]
    // The run between them is left out: nobody sees it.
    #[case("t1", RunChange::Later, "t2-a t3b t1a")]
    #[case("t3", RunChange::Earlier, "t3b t1a t2-a")]
    #[case("t1", RunChange::Earlier, "t1a t2-a t3b")]
    #[case("t1", RunChange::LeaveOut, "t1-a t2-a t3b")]
    #[case("t2", RunChange::PutBack, "t1a t2a t3b")]
    #[case("t1", RunChange::TakeOff, "t2-a t3b")]
    fn a_run_is_changed_and_the_way_back_leads_to_the_sheet_before(
        #[case] run: &str,
        #[case] change: RunChange,
        #[case] expected: &str,
    ) {
        let folder = tempfile::tempdir().unwrap();
        let store = store(folder.path());
        let before = ids(folder.path());
        let done = store.change_run(run, &change).unwrap();
        assert_eq!(ids(folder.path()), expected);
        assert_eq!(done.undo.is_some(), expected != before, "{}", done.say);
        if let Some(undo) = done.undo {
            let bytes = super::super::versions::version(folder.path(), &undo.version).unwrap();
            store.put_back(&undo.base, bytes).unwrap();
            assert_eq!(std::fs::read_to_string(folder.path().join("weekend.toml")).unwrap(), SHEET);
        }
    }

    #[test]
    fn what_would_be_wrong_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let store = store(folder.path());
        for (run, change) in [
            ("t1", RunChange::Rename { name: "t3".into(), car: String::new() }),
            ("t1", RunChange::Rename { name: String::new(), car: "c".into() }),
            ("t9", RunChange::TakeOff),
        ] {
            assert!(store.change_run(run, &change).is_err(), "{change:?}");
        }
        assert!(store.leave_out("../x.csv").is_err());
        assert_eq!(std::fs::read_to_string(folder.path().join("weekend.toml")).unwrap(), SHEET);
    }

    #[test]
    fn a_log_that_is_on_no_sheet_is_left_out_and_comes_back_to_be_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let store = store(folder.path());
        std::fs::write(folder.path().join("t3.csv"), "x").unwrap();
        store.leave_out("logs/t3.csv").unwrap();
        assert_eq!(ids(folder.path()), "t1a t2-a t3b t3 (2)-");
        assert!(folder::plan(folder.path()).unwrap().left_out.iter().any(|r| r.id == "t3 (2)"));
        store.change_run("t3 (2)", &RunChange::PutBack).unwrap();
        assert_eq!(ids(folder.path()), "t1a t2-a t3b");
    }
}
