//! The sheet as a form: its fields, from the sheet's text.
//!
//! A field is named by the path of its value, as a JSON Pointer (RFC 6901): `/cars/tourer/pinion`,
//! `/runs/3/motor/timing_deg`. `#key` and `#value` after a table's path are a new key of it, `#off` removes a run from
//! the sheet, `+run/…` and `+car` are a new run and a new car.

use toml_edit::{DocumentMut, Item, TableLike};

use crate::sheet::edit::shown;

/// What a field takes.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// Any text.
    Text,
    /// A number, for a phone's keyboard.
    Number,
    /// One of these, where they are a few words.
    Choice(Vec<String>),
}

impl Input {
    /// A choice of `words`; any text where there are none.
    pub fn choice(words: Vec<String>) -> Self {
        if words.is_empty() { Self::Text } else { Self::Choice(words) }
    }
}

/// A field of the form.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Path of its value.
    pub name: String,
    /// What a user calls it.
    pub label: String,
    /// Unit; empty where there is none.
    pub unit: &'static str,
    /// As it is on the sheet, or as it was typed.
    pub value: String,
    /// What it takes.
    pub input: Input,
    /// Whether what was typed cannot be saved.
    pub wrong: bool,
}

impl Field {
    /// An empty field of a known key.
    pub fn of_key(name: String, key: &Key) -> Self {
        let (label, input) = (key.label.to_owned(), key.kind.input());
        Self { name, label, unit: key.unit, value: String::new(), input, wrong: false }
    }

    /// Whether a number is expected.
    pub fn is_number(&self) -> bool {
        self.input == Input::Number
    }

    /// What it may be; empty where it is no choice.
    pub fn choices(&self) -> &[String] {
        match &self.input {
            Input::Choice(words) => words,
            Input::Text | Input::Number => &[],
        }
    }

    /// Whether the value has several lines.
    pub fn long(&self) -> bool {
        self.value.contains('\n')
    }
}

/// A setting without a field of its own, as it was typed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NewSetting {
    /// Its key, dotted.
    pub key: String,
    /// Its value.
    pub value: String,
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
    /// A new setting, as it was typed.
    pub new: NewSetting,
    /// Whether the run is to be removed from the sheet.
    pub off: bool,
}

impl Group {
    /// Whether something in it was typed and not saved.
    pub fn unsaved(&self) -> bool {
        self.off || self.new != NewSetting::default() || self.fields.iter().any(|f| f.wrong)
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

/// What the value of a key is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Any text.
    Text,
    /// A number.
    Number,
    /// One of these words.
    Choice(&'static [&'static str]),
}

impl Kind {
    fn input(self) -> Input {
        match self {
            Self::Text => Input::Text,
            Self::Number => Input::Number,
            Self::Choice(words) => Input::choice(words.iter().map(|&w| w.to_owned()).collect()),
        }
    }
}

/// A key of the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// Path below its table, dotted.
    pub path: &'static str,
    /// What a user calls it.
    pub label: &'static str,
    /// Unit; empty where there is none.
    pub unit: &'static str,
    /// What its value is.
    pub kind: Kind,
}

const fn text(path: &'static str, label: &'static str) -> Key {
    Key { path, label, unit: "", kind: Kind::Text }
}

const fn number(path: &'static str, label: &'static str, unit: &'static str) -> Key {
    Key { path, label, unit, kind: Kind::Number }
}

const fn choice(path: &'static str, label: &'static str, words: &'static [&'static str]) -> Key {
    Key { path, label, unit: "", kind: Kind::Choice(words) }
}

/// A table of the weekend's.
struct Table {
    name: &'static str,
    title: &'static str,
    keys: &'static [Key],
}

static WEEKEND: [Table; 3] = [
    Table {
        name: "weekend",
        title: "Weekend",
        keys: &[text("name", "name"), text("date", "date, such as 2026-05-16")],
    },
    Table {
        name: "track",
        title: "Track",
        keys: &[
            choice("surface", "surface", &["asphalt", "carpet"]),
            number("lap_length_m", "lap length along the driven line", "m"),
            number("lap_length_plus_minus_m", "how sure, plus or minus", "m"),
        ],
    },
    Table { name: "race", title: "Race", keys: &[number("length_s", "race length", "s")] },
];
static CAR: [Key; 18] = [
    number("spur", "spur", "teeth"),
    number("pinion", "pinion", "teeth"),
    number("internal_ratio", "internal ratio", ""),
    number("tyre_diameter_mm", "tyre diameter", "mm"),
    choice("tyre_kind", "tyres", &["rubber", "foam"]),
    number("mass_kg", "mass, ready to race", "kg"),
    choice("driven", "driven wheels", &["four", "rear"]),
    number("drag_brake_pct", "drag brake", "%"),
    number("motor.turns", "motor wind", "turns"),
    number("motor.rotor_mm", "rotor", "mm"),
    number("motor.timing_deg", "end-bell timing", "°"),
    number("motor.fan_mm", "fan", "mm"),
    number("motor.poles", "motor poles", ""),
    number("battery.cells", "cells in series", ""),
    number("battery.capacity_mah", "capacity of the pack", "mAh"),
    number("limits.motor_c", "motor limit", "°C"),
    number("limits.esc_c", "controller limit", "°C"),
    number("limits.cell_v", "lowest cell voltage", "V"),
];
static RUN: [Key; 6] = [
    text("id", "run"),
    text("car", "car"),
    text("log", "log"),
    text("laps", "lap list"),
    number("ambient_c", "air", "°C"),
    number("pinion", "pinion, where it is not the car's", "teeth"),
];

/// The known key with this path: the weekend's, a car's or a run's.
pub fn known_key(path: &str) -> Option<&'static Key> {
    WEEKEND.iter().flat_map(|table| table.keys).chain(&CAR).chain(&RUN).find(|key| key.path == path)
}

/// The key of a run with this path.
pub fn run_key(path: &str) -> Option<&'static Key> {
    RUN.iter().find(|key| key.path == path)
}

/// Place of a key among those of a run; unknown ones come last.
pub fn run_key_rank(path: &str) -> usize {
    RUN.iter().position(|key| key.path == path).unwrap_or(RUN.len())
}

/// Dotted names of the keys that a car may have.
pub fn car_keys() -> Vec<&'static str> {
    CAR.iter().map(|key| key.path).collect()
}

/// A path as a field's name.
pub fn pointer(path: &[&str]) -> String {
    path.iter().map(|p| format!("/{}", p.replace('~', "~0").replace('/', "~1"))).collect()
}

/// The path that a field's name means.
pub fn path(pointer: &str) -> Vec<String> {
    pointer.split('/').skip(1).map(|p| p.replace("~1", "/").replace("~0", "~")).collect()
}

/// What the fields of a new run are called together.
pub const NEW_RUN: &str = "new run";

/// The form of a sheet's text, with `logs` to choose from for a new run.
///
/// # Errors
/// What is wrong with the text, where it is not TOML.
pub fn form(text: &str, logs: &[String]) -> Result<Form, String> {
    let document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| e.message().to_owned())?;
    let root: &dyn TableLike = document.as_table();
    let cars: Vec<String> = table(root, "cars").map(|t| t.iter().map(|c| c.0.to_owned()).collect()).unwrap_or_default();
    let weekend =
        WEEKEND.iter().map(|t| group(table(root, t.name), vec![t.name], t.title.to_owned(), t.keys, &cars)).collect();
    let car_table = |name: &String| table(root, "cars").and_then(|t| table(t, name));
    let car_forms = cars.iter().map(|c| group(car_table(c), vec!["cars", c], c.clone(), &CAR, &cars)).collect();
    let run_form = |(number, run): (usize, &dyn TableLike)| {
        let number = number.to_string();
        let mut form = group(Some(run), vec!["runs", &number], String::new(), &RUN, &cars);
        form.title = title(&form);
        form
    };
    let runs = runs(root).into_iter().enumerate().map(run_form).collect();
    let mut new_run = group(None, vec!["+run"], String::new(), &RUN, &cars).fields;
    for field in &mut new_run {
        field.name = field.name.trim_start_matches('/').to_owned();
        if field.name == "+run/log" {
            field.input = Input::choice(logs.to_vec());
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
    /// Every field with the title of its group.
    pub fn fields(&self) -> impl Iterator<Item = (&str, &Field)> {
        let groups = self.weekend.iter().chain(&self.cars).chain(&self.runs);
        let new = self.new_run.iter().map(|f| (NEW_RUN, f));
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

    /// Puts what was typed in place of the sheet's own values, and marks the fields `wrong`.
    pub fn keep(&mut self, sent: &[(String, String)], wrong: &[&str]) {
        let typed = |name: &str| sent.iter().find(|t| t.0 == name).map(|t| t.1.clone());
        for group in [&mut self.weekend, &mut self.cars, &mut self.runs].into_iter().flatten() {
            let extra = |end: &str| typed(&format!("{}#{end}", group.name)).unwrap_or_default();
            group.new = NewSetting { key: extra("key"), value: extra("value") };
            group.off = !extra("off").is_empty();
        }
        self.new_car = typed("+car").unwrap_or_default();
        let groups = [&mut self.weekend, &mut self.cars, &mut self.runs];
        for field in groups.into_iter().flatten().flat_map(|g| &mut g.fields).chain(&mut self.new_run) {
            field.value = typed(&field.name).unwrap_or_else(|| field.value.clone());
            field.wrong = wrong.contains(&field.name.as_str());
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
        .map(|key| {
            let inner: Vec<&str> = key.path.split('.').collect();
            let mut field = Field::of_key(named(&inner), key);
            if key.path == "car" {
                field.input = Input::choice(cars.to_vec());
            }
            let known = values.iter().position(|(path, _)| path.iter().eq(inner.iter()));
            field.value = known.map(|index| values.remove(index).1).unwrap_or_default();
            field
        })
        .collect();
    fields.extend(values.into_iter().map(|(path, value)| {
        let inner: Vec<&str> = path.iter().map(String::as_str).collect();
        let key = inner.join(".");
        let (label, unit) = known_key(&key).map_or((key.clone(), ""), |k| (k.label.to_owned(), k.unit));
        Field { name: named(&inner), label, unit, value, input: Input::Text, wrong: false }
    }));
    Group { name: pointer(&place), title, fields, new: NewSetting::default(), off: false }
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
    let value = |key: &str| run.fields.iter().find(|f| f.name.ends_with(key)).map_or("", |f| f.value.as_str());
    let mut parts = vec![value("/id"), value("/car")];
    let known = |f: &&Field| RUN.iter().any(|k| k.path != "pinion" && f.name.ends_with(&format!("/{}", k.path)));
    let differs = run.fields.iter().filter(|f| !f.value.is_empty() && !known(f));
    let label = |f: &Field| f.label.split_once(',').map_or(f.label.as_str(), |l| l.0).to_owned();
    let own: Vec<String> = differs.map(|f| format!("{} {}", label(f), f.value)).collect();
    parts.extend(own.iter().map(String::as_str));
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(" · ")
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str = "[cars.a]\npinion = 31\n[[runs]]\nid = \"r1\"\nlog = \"r1.csv\"\npinion = 32\n";

    #[test]
    fn typed_values_stay_in_the_form() {
        let mut form = form(SHEET, &[]).unwrap();
        let sent = [("/runs/0/pinion".to_owned(), "3x".to_owned()), ("/runs/0#key".into(), "wing".into())];
        form.keep(&sent, &["/runs/0/pinion"]);
        let field = form.runs[0].fields.last().unwrap();
        assert_eq!((field.value.as_str(), field.wrong, form.runs[0].new.key.as_str()), ("3x", true, "wing"));
    }
}
