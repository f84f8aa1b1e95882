//! The sheet as a form: its fields, from the sheet's text.
//!
//! A field is named by the path of its value, as a JSON Pointer (RFC 6901): `/cars/tourer/pinion`, `/runs/3/motor/timing_deg`. `#key` and
//! `#value` after a table's path are a new key of it, `#off` takes a run off the sheet, `+run/…` and `+car` are a new run and a new car.

use toml_edit::{DocumentMut, Item, TableLike};

use super::changes::Problem;
use crate::sheet::edit::shown;

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
    /// Whether what was typed cannot be saved.
    pub wrong: bool,
}

impl Field {
    /// A field without a choice.
    pub fn plain(name: String, label: String, unit: &'static str, value: String, number: bool) -> Self {
        Self { name, label, unit, value, choices: Vec::new(), number, wrong: false }
    }

    /// Whether the value has several lines.
    pub fn long(&self) -> bool {
        self.value.contains('\n')
    }
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
    /// A new key and its value, as they were typed.
    pub new: (String, String),
    /// Whether the run is to be taken off.
    pub off: bool,
}

impl Group {
    /// Whether something in it was typed and not saved.
    pub fn unsaved(&self) -> bool {
        self.off || !self.new.0.is_empty() || !self.new.1.is_empty() || self.fields.iter().any(|f| f.wrong)
    }
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
    /// The fields of a new run.
    pub new_run: Vec<Field>,
    /// Name of a new car.
    pub new_car: String,
}

/// Keys of the sheet: path below the table, what a user calls it, unit, choices, whether it is a number.
pub type Key = (&'static str, &'static str, &'static str, &'static [&'static str], bool);

const WEEKEND: [(&str, &str, &[Key]); 3] = [
    ("weekend", "Weekend", &[("name", "name", "", &[], false), ("date", "date, such as 2026-05-16", "", &[], false)]),
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
pub const RUN: [Key; 6] = [
    ("id", "run", "", &[], false),
    ("car", "car", "", &[], false),
    ("log", "log", "", &[], false),
    ("laps", "lap list", "", &[], false),
    ("ambient_c", "air", "°C", &[], true),
    ("pinion", "pinion, where it is not the car's", "teeth", &[], true),
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
pub fn path(pointer: &str) -> Vec<String> {
    pointer.split('/').skip(1).map(|p| p.replace("~1", "/").replace("~0", "~")).collect()
}

/// The form of a sheet's text, with `logs` to choose from for a new run.
///
/// # Errors
/// What is wrong with the text, where it is no TOML.
pub fn form(text: &str, logs: &[String]) -> Result<Form, String> {
    let document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| e.message().to_owned())?;
    let root: &dyn TableLike = document.as_table();
    let cars: Vec<String> = table(root, "cars").map(|t| t.iter().map(|c| c.0.to_owned()).collect()).unwrap_or_default();
    let weekend = WEEKEND
        .iter()
        .map(|(name, title, keys)| group(table(root, name), vec![name], (*title).to_owned(), keys, &cars))
        .collect();
    let car_table = |name: &String| table(root, "cars").and_then(|t| table(t, name));
    let car_forms = cars.iter().map(|c| group(car_table(c), vec!["cars", c], c.clone(), &CAR, &cars)).collect();
    let run_form = |(at, run): (usize, &dyn TableLike)| {
        let at = at.to_string();
        let mut form = group(Some(run), vec!["runs", &at], String::new(), &RUN, &cars);
        form.title = title(&form);
        form
    };
    let runs = runs(root).into_iter().enumerate().map(run_form).collect();
    let mut new_run = group(None, vec!["+run"], String::new(), &RUN, &cars).fields;
    for field in &mut new_run {
        field.name = field.name.trim_start_matches('/').to_owned();
        if field.name == "+run/log" {
            field.choices = logs.to_vec();
        }
    }
    Ok(Form { weekend, cars: car_forms, runs, new_run, new_car: String::new() })
}

/// The runs, in tables of their own or in one line.
fn runs(root: &dyn TableLike) -> Vec<&dyn TableLike> {
    match root.get("runs") {
        Some(Item::ArrayOfTables(runs)) => runs.iter().map(|r| r as &dyn TableLike).collect(),
        Some(Item::Value(toml_edit::Value::Array(runs))) => {
            runs.iter().filter_map(|r| r.as_inline_table()).map(|r| r as &dyn TableLike).collect()
        }
        _ => Vec::new(),
    }
}

impl Form {
    /// Every field with the group it stands in.
    pub fn fields(&self) -> impl Iterator<Item = (&str, &Field)> {
        let groups = self.weekend.iter().chain(&self.cars).chain(&self.runs);
        let new = self.new_run.iter().map(|f| ("another run", f));
        groups.flat_map(|g| g.fields.iter().map(|f| (g.title.as_str(), f))).chain(new)
    }

    /// The value that a field shows.
    pub fn value(&self, name: &str) -> Option<&str> {
        self.fields().find(|f| f.1.name == name).map(|f| f.1.value.as_str())
    }

    /// Whether something of a new run was typed and not saved.
    pub fn adds_a_run(&self) -> bool {
        self.new_run.iter().any(|f| f.wrong || !f.value.is_empty())
    }

    /// Puts what was typed in place of the sheet's own values, and marks what is wrong.
    pub fn keep(&mut self, sent: &[(String, String)], problems: &[Problem]) {
        let typed = |name: &str| sent.iter().find(|t| t.0 == name).map(|t| t.1.clone());
        for group in [&mut self.weekend, &mut self.cars, &mut self.runs].into_iter().flatten() {
            let of = |end: &str| typed(&format!("{}#{end}", group.name)).unwrap_or_default();
            (group.new, group.off) = ((of("key"), of("value")), !of("off").is_empty());
        }
        self.new_car = typed("+car").unwrap_or_default();
        let groups = [&mut self.weekend, &mut self.cars, &mut self.runs];
        for field in groups.into_iter().flatten().flat_map(|g| &mut g.fields).chain(&mut self.new_run) {
            field.value = typed(&field.name).unwrap_or_else(|| field.value.clone());
            field.wrong = problems.iter().any(|p| p.field.as_ref() == Some(&field.name));
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
            Field { name: named(&inner), label: label.to_owned(), unit, value, choices, number, wrong: false }
        })
        .collect();
    fields.extend(values.into_iter().map(|(path, value)| {
        let inner: Vec<&str> = path.iter().map(String::as_str).collect();
        let key = inner.join(".");
        let (label, unit) = called(&key);
        let label = if label.is_empty() { key } else { label.to_owned() };
        Field::plain(named(&inner), label, unit, value, false)
    }));
    Group { name: pointer(&place), title, fields, new: Default::default(), off: false }
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
    let known = |f: &&Field| RUN.iter().any(|k| k.0 != "pinion" && f.name.ends_with(&format!("/{}", k.0)));
    let differs = run.fields.iter().filter(|f| !f.value.is_empty() && !known(f));
    let label = |f: &Field| f.label.split_once(',').map_or(f.label.as_str(), |l| l.0).to_owned();
    let own: Vec<String> = differs.map(|f| format!("{} {}", label(f), f.value)).collect();
    parts.extend(own.iter().map(String::as_str));
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(" · ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notice::Failure;

    const SHEET: &str = "[cars.a]\npinion = 31\n[[runs]]\nid = \"r1\"\nlog = \"r1.csv\"\npinion = 32\n";

    #[test]
    fn typed_values_stay_in_the_form() {
        let mut form = form(SHEET, &[]).unwrap();
        let failure = Failure { message: String::new(), hint: None };
        let problem = Problem { field: Some("/runs/0/pinion".into()), failure };
        let sent = [("/runs/0/pinion".to_owned(), "3x".to_owned()), ("/runs/0#key".into(), "wing".into())];
        form.keep(&sent, &[problem]);
        let field = form.runs[0].fields.last().unwrap();
        assert_eq!((field.value.as_str(), field.wrong, form.runs[0].new.0.as_str()), ("3x", true, "wing"));
    }
}
