//! What was changed in a form that was sent back, and what of it another change of the sheet does not let through.

use super::form::{Form, Problem, path, pointer};
use crate::notice::Failure;
use crate::sheet::edit::Edit;
use crate::sheet::keys::{self, KEYS, Kind};

/// Mark of a new run that stays off the sheet until it is said which of several cars' it is.
pub const LATER: &str = "later";

/// One thing that was changed in the form.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Name of the field.
    pub field: String,
    /// What it is called on the page, with its car or run.
    pub called: String,
    /// What was typed.
    pub typed: String,
    /// What it does to the sheet.
    pub edit: Edit,
}

/// What a field's value comes down to: browsers send their own line ends, and spaces around it say nothing.
fn plain(value: &str) -> String {
    value.replace("\r\n", "\n").trim().to_owned()
}

/// Path of a key of the user's own, and the name of its field.
fn place_and_field(table: &str, key: &str) -> (Vec<String>, String) {
    let mut place = path(table);
    place.extend(key.split('.').map(str::to_owned));
    let field = pointer(&place.iter().map(String::as_str).collect::<Vec<_>>());
    (place, field)
}

/// What was changed in a form that was `shown`, and what of it cannot be used.
pub fn changes(shown: &Form, sent: &[(String, String)]) -> (Vec<Change>, Vec<Problem>) {
    let mut found = Found::default();
    let mut runs = Vec::new();
    let mut key = (String::new(), String::new());
    for (name, value) in sent {
        let typed = plain(value);
        if let Some(field) = name.strip_prefix("+run/") {
            add_to_runs(&mut runs, &field.replace('/', "."), typed);
        } else if name == "+car" {
            new_car(shown, name, typed, &mut found);
        } else if let Some(table) = name.strip_suffix("#key") {
            key = (table.to_owned(), typed);
        } else if let Some(table) = name.strip_suffix("#value") {
            let new = if key.0 == table { std::mem::take(&mut key.1) } else { String::new() };
            new_key(shown, name, (&new, &typed), &mut found);
        } else if let Some(number) = name.strip_suffix("#off").and_then(|n| n.strip_prefix("/runs/")) {
            let run = number.parse().ok().and_then(|n: usize| Some((n, shown.runs.get(n)?)));
            if let Some((number, run)) = run {
                found.change(name, format!("{}, taken off the sheet", run.title), "", Edit::RemoveRun(number));
            }
        } else if let Some((title, field)) = shown.fields().find(|f| f.1.name == *name) {
            if plain(&field.value) != typed {
                let edit = Edit::Set { path: path(name), text: typed.clone() };
                found.change(name, format!("{title}: {}", field.label), &typed, edit);
            }
        } else if name.starts_with('/') && !typed.is_empty() {
            let message = format!("the sheet has no place for `{typed}` any more: it was changed meanwhile");
            found.problem(name, message, "enter it again");
        }
    }
    for run in runs {
        new_run(run, shown.cars.len(), &mut found);
    }
    (found.changes, found.problems)
}

/// What was found in a form so far.
#[derive(Default)]
struct Found {
    changes: Vec<Change>,
    problems: Vec<Problem>,
}

impl Found {
    fn change(&mut self, field: &str, called: String, typed: &str, edit: Edit) {
        self.changes.push(Change { field: field.to_owned(), called, typed: typed.to_owned(), edit });
    }

    fn problem(&mut self, field: &str, message: String, hint: &str) {
        let failure = Failure { message, hint: Some(hint.to_owned()) };
        self.problems.push(Problem { field: Some(field.to_owned()), failure });
    }
}

fn new_car(shown: &Form, field: &str, typed: String, found: &mut Found) {
    if typed.is_empty() {
        return;
    }
    if shown.cars.iter().any(|c| c.title == typed) {
        let message = format!("a car named `{typed}` is on the sheet already");
        found.problem(field, message, "give the new car another name");
    } else {
        found.change(field, "another car".to_owned(), &typed, Edit::AddCar(typed.clone()));
    }
}

/// A key of the user's own, whose value was typed into the field `name`.
fn new_key(shown: &Form, name: &str, (new, typed): (&str, &str), found: &mut Found) {
    if new.is_empty() && typed.is_empty() {
        return;
    }
    let (place, field) = place_and_field(name.trim_end_matches("#value"), new);
    let filled = shown.value(&field).is_some_and(|v| !v.is_empty());
    if new.is_empty() {
        found.problem(name, format!("the value `{typed}` has no name"), "enter the name of its setting");
    } else if typed.is_empty() {
        found.problem(name, format!("the setting `{new}` has no value"), "enter one");
    } else if filled {
        found.problem(name, format!("`{new}` has a field of its own"), "change its value there");
    } else {
        found.change(&field, new.to_owned(), typed, Edit::Set { path: place, text: typed.to_owned() });
    }
}

/// Adds a key to the last of the new runs: a page may offer several, and the next one begins where a key comes again.
fn add_to_runs(runs: &mut Vec<Vec<(String, String)>>, key: &str, typed: String) {
    match runs.last_mut() {
        Some(run) if run.iter().all(|f| f.0 != key) => run.push((key.to_owned(), typed)),
        _ => runs.push(vec![(key.to_owned(), typed)]),
    }
}

/// Whether the page fills in a new run's key by itself.
fn filled_in(key: &str) -> bool {
    [LATER, "id"].contains(&key) || keys::find(key).is_some_and(|k| k.kind == Kind::File)
}

/// What a new run's keys come down to where the sheet has so many `cars`: nothing where nothing was typed, or where the
/// run waits for its car.
fn new_run(mut run: Vec<(String, String)>, cars: usize, found: &mut Found) {
    let value = |key: &str| run.iter().find(|f| f.0 == key).map_or("", |f| f.1.as_str());
    if !value(LATER).is_empty() && value("car").is_empty() && cars > 1 {
        if run.iter().any(|(key, value)| !filled_in(key) && !value.is_empty()) {
            let message = format!("the run of `{}` has no car", value("log"));
            found.problem("+run/car", message, "choose the car that was driven");
        }
        return;
    }
    run.retain(|f| f.0 != LATER);
    run.sort_by_key(|(key, _)| keys::of_run(KEYS).position(|k| k.path == *key).unwrap_or(KEYS.len()));
    let typed: Vec<&str> = run.iter().filter(|f| !f.1.is_empty()).map(|f| f.1.as_str()).collect();
    let typed = typed.join(", ");
    if run.iter().any(|(key, value)| key == "log" && !value.is_empty()) {
        found.change("+run/log", "another run".to_owned(), &typed, Edit::AddRun(run));
    } else if !typed.is_empty() {
        found.problem("+run/log", format!("the new run ({typed}) has no log"), "choose its log");
    }
}

/// Those of `changes` that another change of the sheet, from the form `old` to the form `new`, does not let through.
pub fn conflicts<'a>(changes: &'a [Change], old: &Form, new: &Form) -> Vec<&'a Change> {
    let identity = |form: &Form, number: &str| {
        ["id", "log", "part"].map(|key| form.value(&format!("/runs/{number}/{key}")).map(str::to_owned))
    };
    // Who takes a run off takes off what was on the page, not what another has written since.
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
        let (changes, problems) = changes(&form(text, &[]).unwrap(), sent);
        assert_eq!(problems, []);
        edit(text, &changes.into_iter().map(|c| c.edit).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn a_form_sent_back_as_it_was_changes_nothing() {
        let text = format!("{SHEET}note = \"\"\"\nfirst\nsecond\"\"\"\nwing = \" padded \"\n");
        let form = form(&text, &[]).unwrap();
        assert_eq!(form.runs[0].title, "r1 · pinion 32 teeth · note first … · wing padded");
        assert!(form.cars[0].fields.iter().any(|f| f.name == "/cars/a~1b/wing" && f.value == "low"));
        assert_eq!(changes(&form, &sent(&form)), (Vec::new(), Vec::new()));
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
        let (changes, problems) = changes(&form(&text, &[]).unwrap(), &run);
        assert_eq!((changes.len(), problems[0].field.as_deref()), (0, Some("+run/car")));
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
            let (changes, problems) = changes(&shown, &[(name.into(), value.into())]);
            assert_eq!((changes.len(), problems[0].field.as_deref()), (0, Some(field)), "{name}");
        }
        let keys = [("/cars/a~1b#key".into(), "pinion".into()), ("/cars/a~1b#value".into(), "29".into())];
        assert!(changes(&shown, &keys).1[0].failure.message.contains("a field of its own"));
    }

    #[test]
    fn names_that_no_page_sends_are_no_panic() {
        let shown = form(SHEET, &[]).unwrap();
        for name in ["", "/", "#", "/runs", "/runs/9/pinion", "/cars//x", "~", "/~2"] {
            let pairs = [(format!("{name}#key"), "runs".to_owned()), (format!("{name}#value"), "1".to_owned())];
            let (changes, _) = changes(&shown, &pairs);
            conflicts(&changes, &shown, &shown);
            let _ = edit(SHEET, &changes.into_iter().map(|c| c.edit).collect::<Vec<_>>());
        }
    }

    #[test]
    fn two_people_change_two_things_and_not_the_same_one() {
        let old = form(SHEET, &[]).unwrap();
        let mut mine = sent(&old);
        set(&mut mine, "/runs/0/pinion", "33");
        let mine = changes(&old, &mine).0;
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
