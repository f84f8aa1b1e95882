//! The sheet as a form: its fields from the sheet's text, and the edits from what was sent back.
//!
//! A field is named by the path of its value, as a JSON Pointer (RFC 6901): `/cars/tourer/pinion`, `/runs/3/motor/timing_deg`. `#key` and
//! `#value` after a table's path are a new key of it, `#off` takes a run off the sheet, `+run/…` and `+car` are a new run and a new car.

use toml_edit::{DocumentMut, Item, TableLike};

use crate::folder::Plan;
use crate::sheet::edit::{Edit, shown};

/// A field of the form.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Path of its value.
    pub name: String,
    /// What a user calls it.
    pub label: String,
    /// Unit; empty where there is none.
    pub unit: &'static str,
    /// As it stands on the sheet, or as it was typed.
    pub value: String,
    /// What it may be, where that is a few words.
    pub choices: Vec<String>,
    /// Whether a number is expected, for a phone's keyboard.
    pub number: bool,
}

/// A table of the form: a car, a run, or one of the weekend's.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Path of the table.
    pub name: String,
    /// Heading.
    pub title: String,
    /// Fields.
    pub fields: Vec<Field>,
}

/// The form.
#[derive(Debug, Clone, PartialEq)]
pub struct Form {
    /// Weekend, track, race.
    pub weekend: Vec<Group>,
    /// Cars.
    pub cars: Vec<Group>,
    /// Runs.
    pub runs: Vec<Group>,
    /// The empty fields of a new run.
    pub new_run: Vec<Field>,
}

/// Keys of the sheet: path below the table, what a user calls it, unit, choices, whether it is a number.
type Key = (&'static str, &'static str, &'static str, &'static [&'static str], bool);

const WEEKEND: [(&str, &str, &[Key]); 3] = [
    ("weekend", "Weekend", &[("name", "name", "", &[], false), ("date", "date", "", &[], false)]),
    (
        "track",
        "Track",
        &[
            ("surface", "surface", "", &["asphalt", "carpet"], false),
            ("lap_length_m", "lap length along the driven line", "m", &[], true),
            ("lap_length_plus_minus_m", "how sure, plus or minus", "m", &[], true),
        ],
    ),
    ("race", "Race", &[("length_s", "race length", "s", &[], true)]),
];
const CAR: [Key; 18] = [
    ("spur", "spur", "teeth", &[], true),
    ("pinion", "pinion", "teeth", &[], true),
    ("internal_ratio", "internal ratio", "", &[], true),
    ("tyre_diameter_mm", "tyre diameter", "mm", &[], true),
    ("tyre_kind", "tyres", "", &["rubber", "foam"], false),
    ("mass_kg", "mass, ready to race", "kg", &[], true),
    ("driven", "driven wheels", "", &["four", "rear"], false),
    ("drag_brake_pct", "drag brake", "%", &[], true),
    ("motor.turns", "motor wind", "turns", &[], true),
    ("motor.rotor_mm", "rotor", "mm", &[], true),
    ("motor.timing_deg", "end-bell timing", "°", &[], true),
    ("motor.fan_mm", "fan", "mm", &[], true),
    ("motor.poles", "motor poles", "", &[], true),
    ("battery.cells", "cells in series", "", &[], true),
    ("battery.capacity_mah", "capacity of the pack", "mAh", &[], true),
    ("limits.motor_c", "motor limit", "°C", &[], true),
    ("limits.esc_c", "controller limit", "°C", &[], true),
    ("limits.cell_v", "lowest cell voltage", "V", &[], true),
];
const RUN: [Key; 5] = [
    ("id", "run", "", &[], false),
    ("car", "car", "", &[], false),
    ("log", "log", "", &[], false),
    ("laps", "lap list", "", &[], false),
    ("ambient_c", "air", "°C", &[], true),
];

/// What a user calls a key of a car, of a run or of the weekend, and its unit.
pub fn called(key: &str) -> (&'static str, &'static str) {
    let all = WEEKEND.iter().flat_map(|t| t.2).chain(&CAR).chain(&RUN);
    all.filter(|k| k.0 == key).map(|k| (k.1, k.2)).next().unwrap_or(("", ""))
}

/// Dotted names of the keys that a car may have.
pub fn car_keys() -> Vec<&'static str> {
    CAR.iter().map(|k| k.0).collect()
}

/// A path as a field's name.
pub fn pointer(path: &[&str]) -> String {
    path.iter().map(|p| format!("/{}", p.replace('~', "~0").replace('/', "~1"))).collect()
}

/// The path that a field's name stands for.
fn path(pointer: &str) -> Vec<String> {
    pointer.split('/').skip(1).map(|p| p.replace("~1", "/").replace("~0", "~")).collect()
}

/// The form of a sheet's text; what was `typed` before and could not be saved stands in place of the sheet's own values.
///
/// # Errors
/// What is wrong with the text, where it is no TOML.
pub fn form(text: &str, plan: Option<&Plan>, typed: &[(String, String)]) -> Result<Form, String> {
    let document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| e.message().to_owned())?;
    let root: &dyn TableLike = document.as_table();
    let cars: Vec<String> = table(root, "cars").map(|t| t.iter().map(|c| c.0.to_owned()).collect()).unwrap_or_default();
    let logs: Vec<String> = plan
        .map(|p| p.unlisted.iter().map(|r| r.log.to_string_lossy().replace('\\', "/")).collect())
        .unwrap_or_default();
    let weekend = WEEKEND
        .iter()
        .map(|(name, title, keys)| group(table(root, name), vec![name], (*title).to_owned(), keys, &cars))
        .collect();
    let car_table = |name: &String| table(root, "cars").and_then(|t| table(t, name));
    let car_forms = cars.iter().map(|c| group(car_table(c), vec!["cars", c], c.clone(), &CAR, &cars)).collect();
    let runs = root.get("runs").and_then(Item::as_array_of_tables);
    let run_forms = runs.into_iter().flatten().enumerate().map(|(at, run)| {
        let at = at.to_string();
        let mut form = group(Some(run), vec!["runs", &at], String::new(), &RUN, &cars);
        form.title = title(&form);
        form
    });
    let mut new_run = group(None, vec!["+run"], String::new(), &RUN, &cars).fields;
    for field in &mut new_run {
        field.name = field.name.trim_start_matches('/').to_owned();
        if field.name == "+run/log" {
            field.choices = logs.clone();
        }
    }
    let mut form = Form { weekend, cars: car_forms, runs: run_forms.collect(), new_run };
    form.overlay(typed);
    Ok(form)
}

impl Form {
    fn overlay(&mut self, typed: &[(String, String)]) {
        let groups = [&mut self.weekend, &mut self.cars, &mut self.runs];
        let fields = groups.into_iter().flatten().flat_map(|g| &mut g.fields).chain(&mut self.new_run);
        for field in fields {
            if let Some((_, value)) = typed.iter().find(|t| t.0 == field.name) {
                field.value.clone_from(value);
            }
        }
    }
}

fn table<'a>(parent: &'a dyn TableLike, key: &str) -> Option<&'a dyn TableLike> {
    parent.get(key)?.as_table_like()
}

/// The known keys of a table in their order, then those of its own.
fn group(own: Option<&dyn TableLike>, place: Vec<&str>, title: String, keys: &[Key], cars: &[String]) -> Group {
    let mut values = Vec::new();
    if let Some(own) = own {
        flatten(own, &mut Vec::new(), &mut values);
    }
    let named = |inner: &[&str]| pointer(&[&place[..], inner].concat());
    let mut fields: Vec<Field> = keys
        .iter()
        .map(|&(key, label, unit, choices, number)| {
            let inner: Vec<&str> = key.split('.').collect();
            let at = values.iter().position(|(path, _)| path.iter().eq(inner.iter()));
            let choices = if key == "car" { cars.to_vec() } else { choices.iter().map(|&c| c.to_owned()).collect() };
            let value = at.map(|at| values.remove(at).1).unwrap_or_default();
            Field { name: named(&inner), label: label.to_owned(), unit, value, choices, number }
        })
        .collect();
    fields.extend(values.into_iter().map(|(path, value)| {
        let inner: Vec<&str> = path.iter().map(String::as_str).collect();
        let key = inner.join(".");
        let (label, unit) = called(&key);
        let label = if label.is_empty() { key } else { label.to_owned() };
        Field { name: named(&inner), label, unit, value, choices: Vec::new(), number: false }
    }));
    Group { name: pointer(&place), title, fields }
}

/// Every plain value of a table with its path.
fn flatten(table: &dyn TableLike, path: &mut Vec<String>, values: &mut Vec<(Vec<String>, String)>) {
    for (key, item) in table.iter() {
        path.push(key.to_owned());
        match (item.as_table_like(), item.as_value()) {
            (Some(inner), _) => flatten(inner, path, values),
            (None, Some(value)) if !value.is_array() => values.push((path.clone(), shown(value))),
            _ => {}
        }
        path.pop();
    }
}

/// A run's heading: its id, its car, and the keys in which it differs from it.
fn title(run: &Group) -> String {
    let of = |key: &str| run.fields.iter().find(|f| f.name.ends_with(key)).map_or("", |f| f.value.as_str());
    let mut parts = vec![of("/id"), of("/car")];
    let own: Vec<String> = run.fields[RUN.len()..].iter().map(|f| format!("{} {}", f.label, f.value)).collect();
    parts.extend(own.iter().map(String::as_str));
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(" · ")
}

/// The edits that the fields sent stand for, in their order.
pub fn edits(sent: &[(String, String)]) -> Vec<Edit> {
    let mut edits = Vec::new();
    let mut run = Vec::new();
    let mut key: Option<(&str, &str)> = None;
    for (name, value) in sent {
        if let Some(field) = name.strip_prefix("+run/") {
            run.push((field.to_owned(), value.clone()));
        } else if name == "+car" && !value.trim().is_empty() {
            edits.push(Edit::AddCar(value.clone()));
        } else if let Some(table) = name.strip_suffix("#key") {
            key = Some((table, value.trim()));
        } else if let Some(table) = name.strip_suffix("#value") {
            if let Some((_, key)) = key.filter(|k| k.0 == table && !k.1.is_empty()) {
                let mut path = path(table);
                path.extend(key.split('.').map(str::to_owned));
                edits.push(Edit::Set { path, text: value.clone() });
            }
        } else if let Some(number) = name.strip_suffix("#off").and_then(|n| n.strip_prefix("/runs/")) {
            edits.extend(number.parse().ok().map(Edit::RemoveRun));
        } else if name.starts_with('/') {
            edits.push(Edit::Set { path: path(name), text: value.clone() });
        }
    }
    if run.iter().any(|(key, value)| key == "log" && !value.trim().is_empty()) {
        run.sort_by_key(|(key, _)| RUN.iter().position(|k| k.0 == key).unwrap_or(RUN.len()));
        edits.push(Edit::AddRun(run));
    }
    edits
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::edit::edit;

    const SHEET: &str = "[cars.\"a/b\"]\npinion = 31\nmotor.timing_deg = 30\nwing = \"low\"\n[[runs]]\nid = \"r1\"\nlog = \"r1.csv\"\npinion = 32\n";

    fn sent(form: &Form) -> Vec<(String, String)> {
        let groups = form.weekend.iter().chain(&form.cars).chain(&form.runs);
        groups.flat_map(|g| &g.fields).chain(&form.new_run).map(|f| (f.name.clone(), f.value.clone())).collect()
    }

    #[test]
    fn a_form_sent_back_as_it_was_changes_nothing() {
        let form = form(SHEET, None, &[]).unwrap();
        assert_eq!(form.runs[0].title, "r1 · pinion 32");
        assert!(form.cars[0].fields.iter().any(|f| f.name == "/cars/a~1b/wing" && f.value == "low"));
        assert_eq!(edit(SHEET, &edits(&sent(&form))).unwrap(), SHEET);
    }

    #[test]
    fn what_was_typed_is_set_added_and_taken_out() {
        let mut sent = sent(&form(SHEET, None, &[]).unwrap());
        let set = |sent: &mut Vec<(String, String)>, name: &str, value: &str| {
            sent.iter_mut().find(|f| f.0 == name).unwrap().1 = value.to_owned();
        };
        set(&mut sent, "/cars/a~1b/motor/timing_deg", "35");
        set(&mut sent, "/runs/0/pinion", "");
        set(&mut sent, "+run/log", "r2.csv");
        set(&mut sent, "+run/ambient_c", "21,5");
        sent.push(("/runs/0#key".into(), "motor.fan_mm".into()));
        sent.push(("/runs/0#value".into(), "30".into()));
        let new = edit(SHEET, &edits(&sent)).unwrap();
        let wanted = SHEET.replace("= 30", "= 35").replace("pinion = 32\n", "motor.fan_mm = 30\n");
        assert_eq!(new, format!("{wanted}\n[[runs]]\nlog = \"r2.csv\"\nambient_c = 21.5\n"));
    }

    #[test]
    fn typed_values_stay_in_the_form() {
        let form = form(SHEET, None, &[("/runs/0/pinion".into(), "3x".into())]).unwrap();
        assert_eq!(form.runs[0].fields.last().unwrap().value, "3x");
    }
}
