//! Edits of a sheet's text: values set, runs and cars added and taken out, with the user's comments and order kept.

use super::Sheet;
use super::blocks::{with_run_moved, with_run_split, without_runs};
use super::entries::{add_car, add_run};
use super::keys::{KEYS, Key};
use super::mistake::Mistake;
use super::read::read_with;
use super::values::set;

pub use super::document::{EditError, document, shown, with_line_ends_of};

/// One edit.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// The value at a path of keys and run numbers (from 0), such as `runs`, `3`, `pinion`; empty text takes it out.
    Set {
        /// Keys from the root.
        path: Vec<String>,
        /// As typed.
        text: String,
    },
    /// Takes the run with this number (from 0) off the sheet, with its own comment.
    RemoveRun(usize),
    /// Puts the run `from` (from 0) in the place of the run `to`, with its own comment.
    MoveRun {
        /// Its number.
        from: usize,
        /// The number that it gets.
        to: usize,
    },
    /// Writes the run with this number (from 0), whose log holds several, once for each of them, under these ids.
    SplitRun {
        /// Its number.
        number: usize,
        /// Ids of the runs in its log.
        ids: Vec<String>,
    },
    /// A new run with these keys.
    AddRun(Vec<(String, String)>),
    /// A new car without settings.
    AddCar(String),
}

/// The sheet's text with `edits` made.
///
/// # Errors
/// [`EditError`]: nothing is returned that the reader would find a new mistake in.
pub fn edit(text: &str, edits: &[Edit]) -> Result<String, EditError> {
    edit_with(KEYS, text, edits)
}

/// The same by other keys than [`KEYS`].
///
/// # Errors
/// [`EditError`].
pub fn edit_with(keys: &[Key], text: &str, edits: &[Edit]) -> Result<String, EditError> {
    let before = read_with(keys, text).map_err(EditError::Toml)?;
    let mut after = text.replace("\r\n", "\n");
    for edit in edits {
        if let Edit::Set { path, text } = edit {
            after = set(keys, &after, path, text.trim())?;
        }
    }
    // Runs keep their numbers until all values are set; a second car comes when all runs have said which is theirs.
    for edit in edits {
        match edit {
            Edit::AddRun(values) => after = add_run(keys, &after, values)?,
            Edit::AddCar(name) => after = add_car(keys, &after, name.trim())?,
            Edit::MoveRun { from, to } => after = with_run_moved(keys, &after, *from, *to)?,
            Edit::SplitRun { number, ids } => after = with_run_split(keys, &after, *number, ids)?,
            Edit::Set { .. } | Edit::RemoveRun(_) => {}
        }
    }
    let gone: Vec<usize> =
        edits.iter().filter_map(|e| if let Edit::RemoveRun(n) = e { Some(*n) } else { None }).collect();
    if !gone.is_empty() {
        after = without_runs(keys, &after, &gone)?;
    }
    let sheet = read_with(keys, &after).map_err(EditError::Toml)?;
    let old = all_mistakes(&before);
    let new: Vec<Mistake> =
        all_mistakes(&sheet).into_iter().filter(|m| old.iter().all(|o| o.message != m.message)).collect();
    if !new.is_empty() {
        return Err(EditError::Wrong(new));
    }
    Ok(with_line_ends_of(text, after))
}

fn all_mistakes(sheet: &Sheet) -> Vec<Mistake> {
    sheet.mistakes.iter().chain(sheet.runs.iter().filter_map(|r| r.mistake.as_ref())).cloned().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::read;
    use crate::sheet::starter::{StarterRun, starter};
    use crate::units::Units;
    use rstest::rstest;

    const SHEET: &str = "# mine\n[weekend]\nname = \"Here\" # where\n\n[cars.a]  # the touring car\nspur = 116\n# the big one\npinion = 31   # teeth\n\n[cars.a.motor]\n# timing_deg = 30\n\n# first\n[[runs]]\nid = \"r1\"\nlog = \"r1.csv\"\nmotor.timing_deg = 37\n\n# second\n[[runs]]\nid = \"r2\"\nlog = \"r2.csv\"\n";

    fn path(path: &str) -> Vec<String> {
        path.split('/').map(str::to_owned).collect()
    }

    fn set_one(place: &str, typed: &str) -> String {
        edit(SHEET, &[Edit::Set { path: path(place), text: typed.to_owned() }]).unwrap()
    }

    #[rstest]
    #[case("cars/a/pinion", "32", "pinion = 31   # teeth", "pinion = 32   # teeth")]
    #[case("cars/a/pinion", "31", "", "")]
    #[case("weekend/name", "2026", "\"Here\" # where", "\"2026\" # where")]
    #[case("cars/a/motor/timing_deg", "32,5", "# timing_deg = 30", "timing_deg = 32.5")]
    #[case("runs/0/motor/timing_deg", "", "motor.timing_deg = 37\n", "")]
    #[case("runs/1/motor/timing_deg", "38", "log = \"r2.csv\"\n", "log = \"r2.csv\"\nmotor.timing_deg = 38\n")]
    #[case("runs/1/wing", "low", "log = \"r2.csv\"\n", "log = \"r2.csv\"\nwing = \"low\"\n")]
    #[case("cars/a/mass_kg", "2.9 lb", "pinion = 31   # teeth\n", "pinion = 31   # teeth\nmass_kg = \"2.9 lb\"\n")]
    #[case("weekend/date", "2026-05-16", "name = \"Here\" # where\n", "name = \"Here\" # where\ndate = 2026-05-16\n")]
    fn a_value_changes_and_nothing_else(
        #[case] place: &str,
        #[case] typed: &str,
        #[case] old: &str,
        #[case] new: &str,
    ) {
        assert_eq!(set_one(place, typed), SHEET.replacen(old, new, 1));
    }

    #[test]
    fn tables_are_made_where_they_are_missing() {
        let text = set_one("cars/a/battery/cells", "2");
        assert_eq!(read::read(&text).unwrap().cars["a"].number("battery.cells"), Some(2.0));
        let text = edit("", &[Edit::AddCar("pan".to_owned()), Edit::AddRun(vec![("log".into(), "x.csv".into())])]);
        let sheet = read::read(&text.unwrap()).unwrap();
        assert_eq!((sheet.cars.len(), sheet.runs[0].car.as_str(), sheet.runs[0].id.as_str()), (1, "pan", "x"));
    }

    #[test]
    fn runs_come_and_go_with_their_comments() {
        let run = vec![("id".into(), "r3".into()), ("log".into(), "r3.csv".into()), ("pinion".into(), "30".into())];
        let text = edit(SHEET, &[Edit::AddRun(run), Edit::RemoveRun(0)]).unwrap();
        assert!(text.contains("# second\n[[runs]]\nid = \"r2\"") && !text.contains("r1.csv"), "{text}");
        assert!(!text.contains("# first"), "{text}");
        assert!(text.ends_with("\n[[runs]]\nid = \"r3\"\nlog = \"r3.csv\"\npinion = 30\n"), "{text}");
    }

    #[test]
    fn a_second_car_stands_below_the_comments_of_the_first() {
        let text = "[cars.a]\nspur = 1\n[cars.a.limits]\nmotor_c = 100\n# esc_c = 90\n# cell_v = 3.2\n\n# first\n[[runs]]\nlog = \"x.csv\"\n";
        let new = edit(text, &[Edit::AddCar("b c".to_owned())]).unwrap();
        assert!(new.contains("# cell_v = 3.2\n\n[cars.\"b c\"]\n\n# first\n[[runs]]"), "{new}");
    }

    #[test]
    fn a_list_is_not_written_over_and_zeros_in_front_make_a_name() {
        let set = |text: &str, place: &str, typed: &str| {
            edit(text, &[Edit::Set { path: path(place), text: typed.to_owned() }])
        };
        assert!(set("[cars.a]\ntags = [\"a\", \"b\"]\n", "cars/a/tags", "x").is_err());
        assert!(set("[cars.a]\naero = { wing = 3 }\n", "cars/a/aero", "x").is_err());
        assert!(set("[cars.a]\nspur = 1\n", "cars/a/tyre_set", "007").unwrap().contains("tyre_set = \"007\""));
    }

    #[test]
    fn a_second_car_leaves_the_runs_with_the_first() {
        let sheet = read::read(&edit(SHEET, &[Edit::AddCar("b".to_owned())]).unwrap()).unwrap();
        assert!(sheet.runs.iter().all(|r| r.car == "a" && r.mistake.is_none()));
    }

    #[rstest]
    // A comment of the user's own is not a line to be filled in.
    #[case(
        "[cars.a]\nspur = 1\n[cars.a.motor]\n# turns = 13.5 # the old wind\npoles = 2\n",
        "cars/a/motor/turns",
        "8.5",
        "[cars.a]\nspur = 1\n[cars.a.motor]\n# turns = 13.5 # the old wind\npoles = 2\nturns = 8.5\n"
    )]
    #[case(
        "[cars.a]\nspur = 1\n# motor.turns = 10.5\n[cars.a.motor]\npoles = 2\n",
        "cars/a/motor/turns",
        "8.5",
        "[cars.a]\nspur = 1\n# motor.turns = 10.5\n[cars.a.motor]\npoles = 2\nturns = 8.5\n"
    )]
    #[case(
        "[cars.a]\n# of the maker\nspur = 100\npinion = 30\n",
        "cars/a/spur",
        "",
        "[cars.a]\n# of the maker\npinion = 30\n"
    )]
    #[case("cars.a = { spur = 100 }\n", "cars/a/spur", "101", "cars.a = { spur = 101 }\n")]
    #[case(
        "[cars.a]\nspur = 100\n",
        "cars/a/battery/capacity_mah",
        "6000,5",
        "[cars.a]\nspur = 100\n\n[cars.a.battery]\ncapacity_mah = 6000.5\n"
    )]
    fn odd_sheets(#[case] text: &str, #[case] place: &str, #[case] typed: &str, #[case] new: &str) {
        let text = text.replace("= 1\n", "= 100\n");
        let set = edit(&text, &[Edit::Set { path: path(place), text: typed.to_owned() }]).unwrap();
        assert_eq!(set, new.replace("= 1\n", "= 100\n"));
    }

    #[test]
    fn runs_in_one_line_are_runs() {
        let text = "[cars.a]\nspur = 100\n".to_owned();
        let text = format!("runs = [{{ log = \"a.csv\" }}]\n{text}");
        let new = edit(&text, &[Edit::AddRun(vec![("log".into(), "b.csv".into())])]).unwrap();
        assert_eq!(read::read(&new).unwrap().runs.len(), 2, "{new}");
    }

    #[test]
    fn a_heading_stays_when_its_run_goes() {
        let text = SHEET.replace("# first", "# ===== Saturday =====");
        let new = edit(&text, &[Edit::RemoveRun(0)]).unwrap();
        assert!(new.contains("# ===== Saturday =====\n\n# second\n[[runs]]\nid = \"r2\""), "{new}");
        let last = edit(&text, &[Edit::RemoveRun(1)]).unwrap();
        assert!(!last.contains("# second") && last.ends_with("motor.timing_deg = 37\n"), "{last}");
    }

    /// What is right above a run, or right below its keys, is its own; a blank line parts it from the next.
    #[rstest]
    #[case(
        Edit::RemoveRun(0),
        "# mine\n\n# === Saturday ===\n\n# ~~~\n# wet\n[[runs]]\nid = \"r2\" # dry\nlog = \"b.csv\"\n# of r2\n\n[track]\nsurface = \"carpet\"\n\n[[runs]]\nid = \"r3\"\nlog = \"c.csv\""
    )]
    #[case(
        Edit::RemoveRun(1),
        "# mine\n\n# === Saturday ===\n# of r1\n[[runs]]\nid = \"r1\"\nlog = \"a.csv\"\n# pinion = 31\n\n# ~~~\n\n[track]\nsurface = \"carpet\"\n\n[[runs]]\nid = \"r3\"\nlog = \"c.csv\""
    )]
    #[case(
        Edit::RemoveRun(2),
        "# mine\n\n# === Saturday ===\n# of r1\n[[runs]]\nid = \"r1\"\nlog = \"a.csv\"\n# pinion = 31\n\n# ~~~\n# wet\n[[runs]]\nid = \"r2\" # dry\nlog = \"b.csv\"\n# of r2\n\n[track]\nsurface = \"carpet\""
    )]
    #[case(Edit::MoveRun { from: 1, to: 0 }, "# mine\n\n# === Saturday ===\n# wet\n[[runs]]\nid = \"r2\" # dry\nlog = \"b.csv\"\n# of r2\n\n# ~~~\n# of r1\n[[runs]]\nid = \"r1\"\nlog = \"a.csv\"\n# pinion = 31\n\n[track]\nsurface = \"carpet\"\n\n[[runs]]\nid = \"r3\"\nlog = \"c.csv\"")]
    #[case(Edit::MoveRun { from: 0, to: 2 }, "# mine\n\n# === Saturday ===\n# wet\n[[runs]]\nid = \"r2\" # dry\nlog = \"b.csv\"\n# of r2\n\n# ~~~\n[[runs]]\nid = \"r3\"\nlog = \"c.csv\"\n\n[track]\nsurface = \"carpet\"\n\n# of r1\n[[runs]]\nid = \"r1\"\nlog = \"a.csv\"\n# pinion = 31")]
    fn runs_take_their_own_comments_along(#[case] change: Edit, #[case] new: &str) {
        const TEXT: &str = "# mine\n\n# === Saturday ===\n# of r1\n[[runs]]\nid = \"r1\"\nlog = \"a.csv\"\n# pinion = 31\n\n# ~~~\n# wet\n[[runs]]\nid = \"r2\" # dry\nlog = \"b.csv\"\n# of r2\n\n[track]\nsurface = \"carpet\"\n\n[[runs]]\nid = \"r3\"\nlog = \"c.csv\"";
        let text = format!("[cars.a]\nspur = 116\n\n{TEXT}");
        assert_eq!(edit(&text, &[change]).unwrap(), format!("[cars.a]\nspur = 116\n\n{new}"));
    }

    #[test]
    fn a_run_whose_log_holds_two_is_split_with_all_it_says() {
        let text = SHEET.replace("# second", "# both heats\n# wing = 3");
        let ids = ["r2.1", "r2.2"].map(str::to_owned).to_vec();
        let new = edit(&text, &[Edit::SplitRun { number: 1, ids }]).unwrap();
        let sheet = read::read(&new).unwrap();
        let parts: Vec<_> = sheet.runs.iter().map(|r| (r.id.as_str(), r.part, r.log.to_str().unwrap())).collect();
        assert_eq!(parts, [("r1", None, "r1.csv"), ("r2.1", Some(1), "r2.csv"), ("r2.2", Some(2), "r2.csv")]);
        assert_eq!(new.matches("# both heats").count(), 2, "{new}");
    }

    /// A line of a longer text that looks like a heading: the text is refused rather than torn.
    #[test]
    fn what_looks_like_a_run_and_is_none_is_not_torn() {
        let text = "[cars.a]\nspur = 100\n[[runs]]\nlog = \"a.csv\"\nnote = \"\"\"\n[[runs]]\n# x\n\"\"\"\n[[runs]]\nlog = \"b.csv\"\n";
        for change in [Edit::RemoveRun(0), Edit::MoveRun { from: 1, to: 0 }] {
            match edit(text, &[change]) {
                Ok(new) => assert!(read::read(&new).unwrap().runs.iter().all(|r| r.mistake.is_none()), "{new}"),
                Err(e) => assert!(matches!(e, EditError::Place(_)), "{e}"),
            }
        }
    }

    #[test]
    fn a_path_too_deep_is_refused() {
        let path = vec!["a".to_owned(); 60_000];
        assert!(matches!(edit("", &[Edit::Set { path, text: "1".into() }]), Err(EditError::Place(_))));
    }

    #[rstest]
    #[case("cars/a/battery/capacity_mah", "6,000")]
    #[case("cars/a/pinion", "3")]
    #[case("cars/a/pinion", "three")]
    #[case("cars/a/mass_kg", "2.9 ft")]
    #[case("cars/a/mass_kg", "290 lb")]
    #[case("runs/1/id", "r1")]
    #[case("runs/1/log", "../x.csv")]
    #[case("runs/1/car", "b")]
    fn what_the_reader_would_refuse_is_not_written(#[case] place: &str, #[case] typed: &str) {
        let refused = edit(SHEET, &[Edit::Set { path: path(place), text: typed.to_owned() }]);
        assert!(matches!(refused, Err(EditError::Wrong(_))), "{refused:?}");
    }

    #[test]
    fn line_ends_and_a_quote_in_a_name_survive() {
        let text = SHEET.replace('\n', "\r\n");
        let new = edit(&text, &[Edit::Set { path: path("weekend/name"), text: "a \"b\" <c>".to_owned() }]).unwrap();
        assert_eq!(read::read(&new).unwrap().name.as_deref(), Some("a \"b\" <c>"));
        assert_eq!(new.matches("\r\n").count(), new.matches('\n').count());
        assert_eq!(new.matches('\n').count(), text.matches('\n').count());
    }

    #[test]
    fn a_starter_sheet_fills_its_commented_lines() {
        let run = StarterRun { id: "r1".into(), log: "r1.csv".into(), laps: None };
        let text = starter("x", &[run], Units::Metric);
        let new = edit(
            &text,
            &[
                Edit::Set { path: path("cars/car/pinion"), text: "31".into() },
                Edit::Set { path: path("cars/car/battery/cells"), text: "1".into() },
                Edit::Set { path: path("runs/0/ambient_c"), text: "21".into() },
            ],
        )
        .unwrap();
        assert_eq!(new.lines().count(), text.lines().count());
        assert!(
            new.contains("\npinion = 31") && new.contains("\nambient_c = 21") && new.contains("\ncells = 1"),
            "{new}"
        );
    }
}
