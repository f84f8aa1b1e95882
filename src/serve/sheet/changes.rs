//! What was changed in a form that was sent back, and what of it another change of the sheet does not let through.

use super::field_mistakes::{Fix, Mended};
use super::form::{Form, ListedMistake, NEW_RUN, run_key_rank};
use super::form_names::{path, pointer};
use crate::notice::Failure;
use crate::sheet::edit::Edit;
use crate::sheet::keys::{self, Kind};

/// Name of the button that mends a field.
pub const FIX: &str = "fix";
/// Key of a new run that is of a car which is not on the sheet yet.
pub const NEW_CAR: &str = "new_car";
/// Mark of a new run that stays off the sheet until it is known which of several cars it is of.
pub const LATER: &str = "later";

/// One thing that was changed in the form.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Name of the field.
    pub field: String,
    /// What a user calls it, with its car or run.
    pub called: String,
    /// What was typed.
    pub typed: String,
    /// What it does to the sheet.
    pub edit: Edit,
}

/// Something that was typed and means nothing.
pub type Problem = ListedMistake;

fn problem(field: &str, message: String, hint: &str) -> Problem {
    Problem { field: Some(field.to_owned()), failure: Failure { message, hint: Some(hint.to_owned()) } }
}

/// A field that was sent back: its name, and what was typed.
pub type SentField = (String, String);

/// What a form that was sent back comes down to.
#[derive(Debug, Default, PartialEq)]
pub struct Changes {
    /// What was changed.
    pub made: Vec<Change>,
    /// What was typed and means nothing.
    pub problems: Vec<Problem>,
}

/// What was changed in a form that `shown` was, and what of it means nothing.
pub fn changes(shown: &Form, sent: &[SentField]) -> Changes {
    let mut reading = Reading { shown, found: Changes::default(), new_runs: Vec::new(), new_key: None };
    let mended = sent.iter().find(|f| f.0 == FIX).and_then(|f| Fix::read(&f.1));
    for (name, value) in sent {
        match &mended {
            Some(mended) if *name == mended.from && *name == mended.to => reading.read(name, plain(&mended.value)),
            Some(mended) if *name == mended.from => reading.read(name, String::new()),
            Some(mended) if *name == mended.to => {}
            _ => reading.read(name, plain(value)),
        }
    }
    mended.iter().filter(|mended| mended.from != mended.to).for_each(|mended| reading.mend(mended));
    reading.finish()
}

/// What a field's value comes down to: browsers send their own line ends, and spaces around it say nothing.
fn plain(value: &str) -> String {
    value.replace("\r\n", "\n").trim().to_owned()
}

/// A setting's key, typed before its value.
struct NewKey {
    table: String,
    key: String,
}

/// A form being read, field by field.
struct Reading<'a> {
    shown: &'a Form,
    found: Changes,
    /// Keys and values of each new run.
    new_runs: Vec<Vec<SentField>>,
    new_key: Option<NewKey>,
}

impl Reading<'_> {
    /// Sets the value under the key that was meant.
    fn mend(&mut self, mended: &Mended) {
        if self.shown.value(&mended.to).is_some_and(|value| !value.is_empty()) {
            let called = path(&mended.to).last().cloned().unwrap_or_default();
            self.problem(&mended.from, format!("`{called}` has a value already"), "take one of the two out");
        } else {
            let edit = Edit::Set { path: path(&mended.to), text: mended.value.clone() };
            self.change(&mended.to, path(&mended.to).join(" "), &mended.value, edit);
        }
    }

    fn read(&mut self, name: &str, typed: String) {
        if let Some(key) = name.strip_prefix("+run/") {
            self.read_new_run(&key.replace('/', "."), typed);
        } else if name == "+car" {
            self.read_new_car(name, typed);
        } else if let Some(table) = name.strip_suffix("#key") {
            self.new_key = Some(NewKey { table: table.to_owned(), key: typed });
        } else if let Some(table) = name.strip_suffix("#value") {
            self.read_new_setting(name, table, typed);
        } else if let Some(number) = name.strip_suffix("#off").and_then(|n| n.strip_prefix("/runs/")) {
            self.read_removed_run(name, number);
        } else {
            self.read_field(name, typed);
        }
    }

    /// Adds a key to the last of the new runs: a page may offer several, and the next one begins where a key comes
    /// again.
    fn read_new_run(&mut self, key: &str, typed: String) {
        match self.new_runs.last_mut() {
            Some(run) if run.iter().all(|f| f.0 != key) => run.push((key.to_owned(), typed)),
            _ => self.new_runs.push(vec![(key.to_owned(), typed)]),
        }
    }

    fn read_new_car(&mut self, name: &str, typed: String) {
        if typed.is_empty() {
            return;
        }
        if self.shown.cars.iter().any(|c| c.title == typed) {
            self.problem(name, format!("there is already a car called `{typed}`"), "give the new car another name");
        } else {
            self.change(name, "new car".to_owned(), &typed, Edit::AddCar(typed.clone()));
        }
    }

    /// A setting without a field of its own: its value, whose key came before it.
    fn read_new_setting(&mut self, name: &str, table: &str, typed: String) {
        let key = self.new_key.take_if(|new| new.table == table).map(|new| new.key).unwrap_or_default();
        let mut place = path(table);
        place.extend(key.split('.').map(str::to_owned));
        let field = pointer(&place.iter().map(String::as_str).collect::<Vec<_>>());
        if key.is_empty() && typed.is_empty() {
            return;
        }
        if key.is_empty() {
            self.problem(
                name,
                format!("the value `{typed}` has no setting"),
                "enter the name of its setting beside it",
            );
        } else if typed.is_empty() {
            self.problem(name, format!("the setting `{key}` has no value"), "enter its value beside it");
        } else if self.shown.value(&field).is_some_and(|value| !value.is_empty()) {
            self.problem(name, format!("`{key}` already has its own field"), "change it in that field");
        } else {
            self.change(&field, key, &typed, Edit::Set { path: place, text: typed.clone() });
        }
    }

    fn read_removed_run(&mut self, name: &str, number: &str) {
        let Ok(number) = number.parse::<usize>() else { return };
        if let Some(run) = self.shown.runs.get(number) {
            self.change(name, format!("{}: removed from the sheet", run.title), "", Edit::RemoveRun(number));
        }
    }

    fn read_field(&mut self, name: &str, typed: String) {
        if let Some((title, field)) = self.shown.fields().find(|f| f.1.name == name) {
            if plain(&field.value) != typed {
                let edit = Edit::Set { path: path(name), text: typed.clone() };
                self.change(name, format!("{title}: {}", field.label), &typed, edit);
            }
        } else if name.starts_with('/') && !typed.is_empty() {
            let message = format!("`{typed}` was typed into a line that is no longer on the sheet");
            self.problem(name, message, "enter it again where it belongs now");
        }
    }

    fn finish(mut self) -> Changes {
        let cars = self.shown.cars.len();
        for run in std::mem::take(&mut self.new_runs) {
            let run = self.with_new_car(run);
            match new_run(run, cars) {
                None => {}
                Some(Ok(change)) => self.found.made.push(change),
                Some(Err(problem)) => self.found.problems.push(problem),
            }
        }
        self.found
    }

    /// The run with the car that was named in it and is not on the sheet yet.
    fn with_new_car(&mut self, mut run: Vec<SentField>) -> Vec<SentField> {
        let named = run.iter().position(|f| f.0 == NEW_CAR).map(|at| run.remove(at).1).unwrap_or_default();
        if named.is_empty() {
            return run;
        }
        let is_there = self.shown.cars.iter().any(|car| car.title == named)
            || self.found.made.iter().any(|change| change.edit == Edit::AddCar(named.clone()));
        if !is_there {
            self.change("+run/new_car", "new car".to_owned(), &named, Edit::AddCar(named.clone()));
        }
        run.retain(|f| f.0 != "car");
        run.push(("car".to_owned(), named));
        run
    }

    fn change(&mut self, field: &str, called: String, typed: &str, edit: Edit) {
        self.found.made.push(Change { field: field.to_owned(), called, typed: typed.to_owned(), edit });
    }

    fn problem(&mut self, field: &str, message: String, hint: &str) {
        self.found.problems.push(problem(field, message, hint));
    }
}

/// Whether the page fills in a new run's key by itself.
fn filled_in(key: &str) -> bool {
    [LATER, "id"].contains(&key) || keys::find(key).is_some_and(|k| k.kind == Kind::File)
}

/// What a new run's keys come down to where the sheet has so many `cars`; `None` where nothing was typed, or the run
/// waits for its car.
fn new_run(mut run: Vec<SentField>, cars: usize) -> Option<Result<Change, Problem>> {
    let value = |key: &str| run.iter().find(|f| f.0 == key).map_or("", |f| f.1.as_str());
    if !value(LATER).is_empty() && value("car").is_empty() && cars > 1 {
        let typed = run.iter().any(|(key, value)| !filled_in(key) && !value.is_empty());
        let message = format!("the run of `{}` has no car", value("log"));
        return typed.then(|| Err(problem("+run/car", message, "choose the car that was driven")));
    }
    run.retain(|f| f.0 != LATER);
    run.sort_by_key(|(key, _)| run_key_rank(key));
    let typed = typed_line(&run);
    if typed.is_empty() {
        return None;
    }
    let field = "+run/log";
    if run.iter().any(|(key, value)| key == "log" && !value.is_empty()) {
        let edit = Edit::AddRun(run);
        return Some(Ok(Change { field: field.to_owned(), called: NEW_RUN.to_owned(), typed, edit }));
    }
    Some(Err(problem(field, format!("the new run ({typed}) has no log"), "choose its log")))
}

/// What was typed of a new run, in one line.
fn typed_line(run: &[SentField]) -> String {
    run.iter().filter(|f| !f.1.is_empty()).map(|f| f.1.as_str()).collect::<Vec<_>>().join(", ")
}

/// Those of `changes` that another change of the sheet, from the form `old` to the form `new`, does not let through.
pub fn conflicts<'a>(changes: &'a [Change], old: &Form, new: &Form) -> Vec<&'a Change> {
    // A run is known by these.
    let identity = |form: &Form, number: &str| {
        ["id", "log", "part"].map(|key| form.value(&format!("/runs/{number}/{key}")).map(str::to_owned))
    };
    // Who removes a run removes what was there, not what another has written since.
    let whole_run = |form: &Form, number: usize| {
        let group = form.runs.get(number);
        group.map(|g| g.fields.iter().map(|f| (f.name.clone(), f.value.clone())).collect::<Vec<_>>())
    };
    let fails = |c: &&Change| {
        let same_run = match c.edit {
            Edit::RemoveRun(number) => whole_run(old, number) == whole_run(new, number),
            Edit::Set { ref path, .. } => match path.as_slice() {
                [runs, number, ..] if runs == "runs" => identity(old, number) == identity(new, number),
                _ => true,
            },
            _ => true,
        };
        !same_run || old.value(&c.field) != new.value(&c.field)
    };
    changes.iter().filter(fails).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::serve::sheet::form::form;
    use crate::sheet::edit::edit;

    const SHEET: &str = "[cars.\"a/b\"]\npinion = 31\nmotor.timing_deg = 30\nwing = \"low\"\n[[runs]]\nid = \"r1\"\nlog = \"r1.csv\"\npinion = 32\n";

    fn sent(form: &Form) -> Vec<(String, String)> {
        form.fields().map(|(_, f)| (f.name.clone(), f.value.replace('\n', "\r\n"))).collect()
    }

    fn set(sent: &mut [(String, String)], name: &str, value: &str) {
        sent.iter_mut().find(|f| f.0 == name).unwrap().1 = value.to_owned();
    }

    fn edited(text: &str, sent: &[(String, String)]) -> String {
        let Changes { made, problems } = changes(&form(text, &[]).unwrap(), sent);
        assert_eq!(problems, []);
        edit(text, &made.into_iter().map(|c| c.edit).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn a_form_sent_back_as_it_was_changes_nothing() {
        let text = format!("{SHEET}note = \"\"\"\nfirst\nsecond\"\"\"\nwing = \" padded \"\n");
        let form = form(&text, &[]).unwrap();
        assert_eq!(form.runs[0].title, "r1 · pinion 32 teeth · note first … · wing padded");
        assert!(form.cars[0].fields.iter().any(|f| f.name == "/cars/a~1b/wing" && f.value == "low"));
        assert_eq!(changes(&form, &sent(&form)), Changes::default());
    }

    #[test]
    fn what_was_typed_is_set_added_and_taken_out() {
        let mut sent = sent(&form(SHEET, &[]).unwrap());
        set(&mut sent, "/cars/a~1b/motor/timing_deg", "35");
        set(&mut sent, "/runs/0/pinion", "");
        set(&mut sent, "+run/log", "r2.csv");
        set(&mut sent, "+run/ambient_c", "21,5");
        sent.push(("/runs/0#key".into(), "motor.fan_mm".into()));
        sent.push(("/runs/0#value".into(), "30".into()));
        let wanted = SHEET.replace("= 30", "= 35").replace("pinion = 32\n", "motor.fan_mm = 30\n");
        assert_eq!(edited(SHEET, &sent), format!("{wanted}\n[[runs]]\nlog = \"r2.csv\"\nambient_c = 21.5\n"));
    }

    #[test]
    fn a_number_keeps_the_unit_that_was_typed() {
        let mut typed = sent(&form(SHEET, &[]).unwrap());
        set(&mut typed, "/track/lap_length_m", "702 ft");
        set(&mut typed, "/cars/a~1b/mass_kg", "2,9 lb");
        let new = edited(SHEET, &typed);
        assert!(new.contains("lap_length_m = \"702 ft\"") && new.contains("mass_kg = \"2,9 lb\""), "{new}");
        let again = form(&new, &[]).unwrap();
        assert_eq!(again.value("/track/lap_length_m"), Some("702 ft"));
        assert_eq!(changes(&again, &sent(&again)), Changes::default());
    }

    #[test]
    fn several_runs_come_at_once_and_those_without_a_car_come_later() {
        let text =
            format!("[cars.b]\npinion = 30\n{}", SHEET.replace("log = \"r1.csv\"", "log = \"r1.csv\"\ncar = \"b\""));
        let run = |log: &str, car: &str, pinion: &str| {
            [("log", log), (LATER, "1"), ("id", log.trim_end_matches(".csv")), ("car", car), ("pinion", pinion)]
                .map(|(key, value)| (format!("+run/{key}"), value.to_owned()))
        };
        let all = [run("x.csv", "b", "33"), run("y.csv", "", ""), run("z.csv", "a/b", "33")];
        let sent: Vec<_> = all.into_iter().flatten().collect();
        let new = edited(&text, &sent);
        assert!(new.ends_with("[[runs]]\nid = \"x\"\ncar = \"b\"\nlog = \"x.csv\"\npinion = 33\n\n[[runs]]\nid = \"z\"\ncar = \"a/b\"\nlog = \"z.csv\"\npinion = 33\n"), "{new}");
    }

    #[test]
    fn what_was_typed_of_a_run_without_a_car_is_not_passed_over() {
        let text = format!("[cars.b]\npinion = 30\n{SHEET}");
        let run =
            [("log", "y.csv"), (LATER, "1"), ("ambient_c", "21")].map(|(k, v)| (format!("+run/{k}"), v.to_owned()));
        let Changes { made, problems } = changes(&form(&text, &[]).unwrap(), &run);
        assert_eq!((made.len(), problems[0].field.as_deref()), (0, Some("+run/car")));
    }

    #[test]
    fn a_second_car_comes_beside_runs_that_name_none() {
        let mut sent = sent(&form(SHEET, &[]).unwrap());
        sent.insert(0, ("+car".into(), "pan".into()));
        let new = edited(SHEET, &sent);
        assert!(new.contains("[cars.pan]") && new.contains("car = \"a/b\""), "{new}");
    }

    #[test]
    fn nothing_typed_is_passed_over() {
        let shown = form(SHEET, &[]).unwrap();
        for (name, value, field) in [
            ("+run/id", "r9", "+run/log"),
            ("+car", "a/b", "+car"),
            ("/gone", "3", "/gone"),
            ("/cars/a~1b#value", "3", "/cars/a~1b#value"),
        ] {
            let Changes { made, problems } = changes(&shown, &[(name.into(), value.into())]);
            assert_eq!((made.len(), problems[0].field.as_deref()), (0, Some(field)), "{name}");
        }
        let keys = [("/cars/a~1b#key".into(), "pinion".into()), ("/cars/a~1b#value".into(), "29".into())];
        assert!(changes(&shown, &keys).problems[0].failure.message.contains("already has its own field"));
    }

    #[test]
    fn a_log_of_a_car_that_is_new_brings_it_along() {
        let run = [("log", "y.csv"), (LATER, "1"), ("id", "y"), ("car", "a/b"), (NEW_CAR, "pan")];
        let sent: Vec<_> = run.iter().map(|(k, v)| (format!("+run/{k}"), (*v).to_owned())).collect();
        let new = edited(SHEET, &sent);
        assert!(new.contains("[cars.pan]") && new.contains("id = \"y\"\ncar = \"pan\""), "{new}");
        assert!(new.contains("id = \"r1\"\nlog = \"r1.csv\"\npinion = 32\ncar = \"a/b\""), "{new}");
    }

    #[test]
    fn a_button_mends_the_field_beside_it() {
        let text = "[cars.a]\nspurr = 116 # teeth\npinion = 310\n[[runs]]\nlog = \"r1.csv\"\ntimng = 3\n";
        let with = |button: &str| {
            let mut sent = sent(&form(text, &[]).unwrap());
            sent.push((FIX.to_owned(), button.to_owned()));
            edited(text, &sent)
        };
        assert_eq!(with("/cars/a/pinion\t/cars/a/pinion\t31"), text.replace("310", "31"));
        assert_eq!(with("/cars/a/pinion\t/cars/a/pinion\t"), text.replace("pinion = 310\n", ""));
        let renamed = with("/cars/a/spurr\t/cars/a/spur\t116");
        assert!(renamed.contains("\nspur = 116\n") && !renamed.contains("spurr"), "{renamed}");
        let in_run = with("/runs/0/timng\t/runs/0/motor/timing_deg\t3");
        assert!(in_run.contains("motor.timing_deg = 3\n") && !in_run.contains("timng"), "{in_run}");
    }

    #[test]
    fn names_that_no_page_sends_are_no_panic() {
        let shown = form(SHEET, &[]).unwrap();
        for name in ["", "/", "#", "/runs", "/runs/9/pinion", "/cars//x", "~", "/~2"] {
            let pairs = [(format!("{name}#key"), "runs".to_owned()), (format!("{name}#value"), "1".to_owned())];
            let made = changes(&shown, &pairs).made;
            conflicts(&made, &shown, &shown);
            let _ = edit(SHEET, &made.into_iter().map(|c| c.edit).collect::<Vec<_>>());
        }
    }

    #[test]
    fn two_people_change_two_things_and_not_the_same_one() {
        let old = form(SHEET, &[]).unwrap();
        let mut mine = sent(&old);
        set(&mut mine, "/runs/0/pinion", "33");
        let mine = changes(&old, &mine).made;
        let now = |text: String| form(&text, &[]).unwrap();
        assert!(conflicts(&mine, &old, &now(SHEET.replace("\"low\"", "\"high\""))).is_empty());
        assert_eq!(conflicts(&mine, &old, &now(SHEET.replace("= 32", "= 34"))).len(), 1);
        let gone = [Change {
            field: "/runs/0#off".into(),
            called: String::new(),
            typed: String::new(),
            edit: Edit::RemoveRun(0),
        }];
        assert_eq!(conflicts(&gone, &old, &now(SHEET.replace("= 32", "= 32\nambient_c = 21"))).len(), 1);
        assert!(conflicts(&gone, &old, &now(SHEET.replace("\"low\"", "\"high\""))).is_empty());
        let first = SHEET.replace("[[runs]]", "[[runs]]\nid = \"r0\"\nlog = \"r0.csv\"\n[[runs]]");
        assert_eq!(conflicts(&mine, &old, &now(first)).len(), 1);
    }
}
