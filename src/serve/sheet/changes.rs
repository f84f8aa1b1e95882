//! What was changed in a form that was sent back, and what of it another change of the sheet does not let through.

use super::form::{Form, RUN, path, pointer};
use crate::notice::Failure;
use crate::sheet::edit::Edit;

/// Mark of a new run that stays off the sheet until it is said which of several cars' it is.
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
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Name of the field, where it is one.
    pub field: Option<String>,
    /// What is wrong, and what to do.
    pub failure: Failure,
}

/// What a field's value comes down to: browsers send their own line ends, and spaces around it say nothing.
fn plain(value: &str) -> String {
    value.replace("\r\n", "\n").trim().to_owned()
}

/// Where a key of the user's own stands: its path, and the name of its field.
fn place_of(table: &str, key: &str) -> (Vec<String>, String) {
    let mut place = path(table);
    place.extend(key.split('.').map(str::to_owned));
    let field = pointer(&place.iter().map(String::as_str).collect::<Vec<_>>());
    (place, field)
}

/// What was changed in a form that `shown` was, and what of it means nothing.
pub fn changes(shown: &Form, sent: &[(String, String)]) -> (Vec<Change>, Vec<Problem>) {
    let (mut changes, mut problems) = (Vec::new(), Vec::new());
    let mut wrong = |field: &str, message: String, hint: &str| {
        let failure = Failure { message, hint: Some(hint.to_owned()) };
        problems.push(Problem { field: Some(field.to_owned()), failure });
    };
    let mut change = |field: &str, called: String, typed: &str, edit| {
        changes.push(Change { field: field.to_owned(), called, typed: typed.to_owned(), edit });
    };
    let mut runs = Vec::new();
    let mut key = (String::new(), String::new());
    for (name, value) in sent {
        let typed = plain(value);
        if let Some(field) = name.strip_prefix("+run/") {
            add_to_runs(&mut runs, field, typed);
        } else if name == "+car" {
            match () {
                () if typed.is_empty() => {}
                () if shown.cars.iter().any(|c| c.title == typed) => {
                    wrong(name, format!("there is a car `{typed}` already"), "give the other one another name");
                }
                () => change(name, "another car".to_owned(), &typed, Edit::AddCar(typed.clone())),
            }
        } else if let Some(table) = name.strip_suffix("#key") {
            key = (table.to_owned(), typed);
        } else if let Some(table) = name.strip_suffix("#value") {
            let new = if key.0 == table { std::mem::take(&mut key.1) } else { String::new() };
            let (place, field) = place_of(table, &new);
            let there = shown.value(&field).is_some_and(|v| !v.is_empty());
            match (new.is_empty(), typed.is_empty()) {
                (true, true) => {}
                (true, false) => wrong(name, format!("`{typed}` has no key"), "name the key that it is the value of"),
                (false, true) => wrong(name, format!("`{new}` has no value"), "give it one"),
                _ if there => wrong(name, format!("`{new}` has a field of its own"), "change it there"),
                _ => change(&field, new, &typed, Edit::Set { path: place, text: typed.clone() }),
            }
        } else if let Some(number) = name.strip_suffix("#off").and_then(|n| n.strip_prefix("/runs/")) {
            let of = |n: usize| shown.runs.get(n).map(|run| (n, format!("{}, off the sheet", run.title)));
            if let Some((number, called)) = number.parse().ok().and_then(of) {
                change(name, called, "", Edit::RemoveRun(number));
            }
        } else if let Some((title, field)) = shown.fields().find(|f| f.1.name == *name) {
            if plain(&field.value) != typed {
                let edit = Edit::Set { path: path(name), text: typed.clone() };
                change(name, format!("{title}: {}", field.label), &typed, edit);
            }
        } else if name.starts_with('/') && !typed.is_empty() {
            wrong(name, format!("`{typed}` has no place on the sheet any more"), "enter it again");
        }
    }
    for (field, told) in runs.into_iter().filter_map(|run| new_run(run, shown.cars.len())) {
        match told {
            Ok((typed, edit)) => change(field, "another run".to_owned(), &typed, edit),
            Err((message, hint)) => wrong(field, message, hint),
        }
    }
    (changes, problems)
}

/// Adds a key to the last of the new runs: a page may offer several, and the next one begins where a key comes again.
fn add_to_runs(runs: &mut Vec<Vec<(String, String)>>, key: &str, typed: String) {
    match runs.last_mut() {
        Some(run) if run.iter().all(|f| f.0 != key) => run.push((key.to_owned(), typed)),
        _ => runs.push(vec![(key.to_owned(), typed)]),
    }
}

/// Name of a field, and what was typed there with what it does to the sheet, or what is wrong with it and what to do.
type Told = (&'static str, Result<(String, Edit), (String, &'static str)>);

/// What a new run's keys come down to where the sheet has so many `cars`; `None` where nothing was typed, or the run waits for its car.
fn new_run(mut run: Vec<(String, String)>, cars: usize) -> Option<Told> {
    let of = |key: &str| run.iter().find(|f| f.0 == key).map_or("", |f| f.1.as_str());
    if !of(LATER).is_empty() && of("car").is_empty() && cars > 1 {
        let typed = ["ambient_c", "pinion"].iter().any(|key| !of(key).is_empty());
        let message = format!("`{}` has no car", of("log"));
        return typed.then_some(("+run/car", Err((message, "say whose car it was"))));
    }
    run.retain(|f| f.0 != LATER);
    run.sort_by_key(|(key, _)| RUN.iter().position(|k| k.0 == key).unwrap_or(RUN.len()));
    let typed = typed_of(&run);
    let has_log = run.iter().any(|(key, value)| key == "log" && !value.is_empty());
    match (has_log, typed.is_empty()) {
        (true, _) => Some(("+run/log", Ok((typed, Edit::AddRun(run))))),
        (false, false) => Some(("+run/log", Err((format!("another run, {typed}, has no log"), "name its log")))),
        (false, true) => None,
    }
}

/// What was typed of a new run, in one line.
fn typed_of(run: &[(String, String)]) -> String {
    run.iter().filter(|f| !f.1.is_empty()).map(|f| f.1.as_str()).collect::<Vec<_>>().join(", ")
}

/// Those of `changes` that another change of the sheet, from the form `old` to the form `new`, does not let through.
pub fn conflicts<'a>(changes: &'a [Change], old: &Form, new: &Form) -> Vec<&'a Change> {
    let run_of = |form: &Form, at: &str| {
        let of = |key: &str| form.value(&format!("/runs/{at}/{key}")).map(str::to_owned);
        (of("id"), of("log"), of("part"))
    };
    // Who takes a run off takes off what stood there, not what another has written since.
    let whole_run = |form: &Form, at: usize| {
        let group = form.runs.get(at);
        group.map(|g| g.fields.iter().map(|f| (f.name.clone(), f.value.clone())).collect::<Vec<_>>())
    };
    let fails = |c: &&Change| {
        let same_run = match c.edit {
            Edit::RemoveRun(at) => whole_run(old, at) == whole_run(new, at),
            Edit::Set { ref path, .. } => match path.as_slice() {
                [runs, at, ..] if runs == "runs" => run_of(old, at) == run_of(new, at),
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
        assert_eq!(form.runs[0].title, "r1 · pinion 32 · note first\nsecond · wing  padded ");
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
