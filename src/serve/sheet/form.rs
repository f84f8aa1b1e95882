//! The sheet as a form: its fields, from the sheet's text.
//!
//! A field is named by the path of its value, as a JSON Pointer (RFC 6901): `/cars/tourer/pinion`,
//! `/runs/3/motor/timing_deg`. `#key` and `#value` after a table's path are a new key of it, `#off` removes a run from
//! the sheet, `+run/…` and `+car` are a new run and a new car.

use toml_edit::{Item, TableLike};

use crate::notice::printable;
use crate::sheet::edit::{document, shown};
use crate::sheet::keys::{self, KEYS, Key, Kind, NOTE, Table};
use crate::units::table::has_one_unit;

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
    /// An empty field of a known key; `cars` are those on the sheet.
    fn of_key(name: String, key: &Key, cars: &[String]) -> Self {
        let words = |words: &[&str]| Input::choice(words.iter().map(|&w| w.to_owned()).collect());
        let input = match key.kind {
            Kind::Number { .. } => Input::Number,
            Kind::Choice(choices) | Kind::Text(choices) => words(choices),
            Kind::Car => Input::choice(cars.to_vec()),
            Kind::Name | Kind::Date | Kind::File => Input::Text,
        };
        Self { name, label: key.label.to_owned(), unit: key.unit, value: String::new(), input, wrong: false }
    }

    /// An empty field of a key of a run: one of its car is called so.
    fn of_run_key(name: String, key: &Key, cars: &[String]) -> Self {
        let mut field = Self::of_key(name, key, cars);
        if key.table == Table::Car {
            field.label += " in this run";
        }
        field
    }

    /// Whether digits are all that is expected: a phone shows its number keys then.
    pub fn takes_digits_alone(&self) -> bool {
        self.input == Input::Number && has_one_unit(self.unit)
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
    form_with(KEYS, text, logs)
}

/// The form with fields for other keys than [`KEYS`].
///
/// # Errors
/// What is wrong with the text, where it is not TOML.
pub fn form_with(keys: &[Key], text: &str, logs: &[String]) -> Result<Form, String> {
    let document = document(keys, text).map_err(|mistake| mistake.brief())?;
    let root: &dyn TableLike = document.as_table();
    let own_cars = table(root, Table::Car.name());
    let cars: Vec<String> = own_cars.map(|t| t.iter().map(|c| c.0.to_owned()).collect()).unwrap_or_default();
    let fields = Fields { keys, cars: &cars };
    let single = |kind: Table| {
        let own = table(root, kind.name());
        fields.group(own, &[kind.name()], heading(kind.name()), keys::of_table(keys, kind))
    };
    let car = |name: &String| {
        let own = own_cars.and_then(|t| table(t, name));
        fields.group(own, &[Table::Car.name(), name], name.clone(), keys::of_table(keys, Table::Car))
    };
    let run = |(number, run): (usize, &dyn TableLike)| {
        let place = [Table::Run.name(), &number.to_string()];
        let mut group = fields.group(Some(run), &place, String::new(), keys::of_run(keys));
        group.title = run_title(keys, &group);
        group
    };
    let runs = runs(root).into_iter().enumerate().map(run).collect();
    let weekend = Table::SINGLE.into_iter().map(single).collect();
    let new_run = new_run_fields(keys, &cars, logs);
    Ok(Form { weekend, cars: cars.iter().map(car).collect(), runs, new_run, new_car: String::new() })
}

/// The fields of a new run, with the sheet's `cars` and the folder's `logs` to choose from.
fn new_run_fields(keys: &[Key], cars: &[String], logs: &[String]) -> Vec<Field> {
    let field = |key: &Key| {
        let name = format!("+run{}", pointer(&key.path.split('.').collect::<Vec<_>>()));
        let field = Field::of_run_key(name, key, cars);
        if key.path == "log" { Field { input: Input::choice(logs.to_vec()), ..field } } else { field }
    };
    keys::of_run(keys).map(field).collect()
}

/// The fields that a log needs to be put on the sheet as the run `id`: what it is called, whose it is, what its answers
/// need, and what often changes.
pub fn first_fields(id: &str, cars: &[String]) -> Vec<Field> {
    let only_car = if let [car] = cars { car.as_str() } else { "" };
    let value = |key: &Key| match key.kind {
        Kind::Car => Some(only_car),
        _ if key.path == "id" => Some(id),
        _ => (key.asked.is_some() || key.often_changed).then_some(""),
    };
    let values: Vec<Option<&str>> = keys::of_run(KEYS).map(value).collect();
    let fields = new_run_fields(KEYS, cars, &[]).into_iter().zip(values);
    fields.filter_map(|(field, value)| value.map(|v| Field { value: v.to_owned(), ..field })).collect()
}

/// An empty field for a key that the sheet lacks, in the table at the path `table`; its label names the car or the run
/// that it is for, where there is an `owner`.
pub fn asked_field(key: &Key, table: &[&str], owner: Option<&str>) -> Field {
    let path: Vec<&str> = table.iter().copied().chain(key.path.split('.')).collect();
    let mut field = Field::of_key(pointer(&path), key, &[]);
    if let Some(owner) = owner {
        field.label += &format!(" of {owner}");
    }
    field
}

/// Place of a key among those of a run; unknown ones come last.
pub fn run_key_rank(path: &str) -> usize {
    keys::of_run(KEYS).position(|key| key.path == path).unwrap_or(KEYS.len())
}

/// Dotted names of the keys that a car may have.
pub fn car_keys() -> Vec<&'static str> {
    keys::of_table(KEYS, Table::Car).map(|k| k.path).collect()
}

/// A table's name as the heading above its fields.
fn heading(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
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

/// What the fields of a table are made from.
struct Fields<'a> {
    keys: &'a [Key],
    cars: &'a [String],
}

impl Fields<'_> {
    /// The known keys of a table in their order, then those of its own.
    fn group<'k>(
        &self,
        own: Option<&dyn TableLike>,
        place: &[&str],
        title: String,
        known: impl Iterator<Item = &'k Key>,
    ) -> Group {
        let mut values = Vec::new();
        if let Some(own) = own {
            flatten(own, &mut Vec::new(), &mut values);
        }
        let name = |inner: &[&str]| pointer(&[place, inner].concat());
        let in_run = place[0] == Table::Run.name();
        let field = |key: &Key| {
            let inner: Vec<&str> = key.path.split('.').collect();
            let found = values.iter().position(|(path, _)| path.iter().eq(inner.iter()));
            let value = found.map(|found| values.remove(found).1).unwrap_or_default();
            let of_key = if in_run { Field::of_run_key } else { Field::of_key };
            Field { value, ..of_key(name(&inner), key, self.cars) }
        };
        let mut fields: Vec<Field> = known.map(field).collect();
        fields.extend(values.into_iter().map(|(path, value)| {
            let inner: Vec<&str> = path.iter().map(String::as_str).collect();
            let dotted = inner.join(".");
            match keys::find_in(self.keys, &dotted) {
                Some(key) => Field { value, ..Field::of_key(name(&inner), key, self.cars) },
                None => Field { name: name(&inner), label: dotted, unit: "", value, input: Input::Text, wrong: false },
            }
        }));
        Group { name: pointer(place), title, fields, new: NewSetting::default(), off: false }
    }
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

/// A run's heading: its id, its car, and what was set or noted in it alone.
fn run_title(keys: &[Key], run: &Group) -> String {
    let value =
        |key: &str| run.fields.iter().find(|f| f.name == format!("{}/{key}", run.name)).map(|f| f.value.clone());
    let mut parts = vec![value("id").unwrap_or_default(), value("car").unwrap_or_default()];
    for field in run.fields.iter().filter(|f| !f.value.is_empty()) {
        let dotted = path(&field.name).split_off(2).join(".");
        let key = keys::find_in(keys, &dotted);
        if key.is_some_and(|k| k.table == Table::Run && k.path != NOTE) {
            continue;
        }
        let (label, unit) = key.map_or((dotted.as_str(), ""), |k| (k.label, k.unit));
        let mut lines = field.value.trim().lines();
        let (first, more) = (lines.next().unwrap_or_default(), if lines.next().is_some() { " …" } else { "" });
        let value = keys::with_unit(&format!("{}{more}", printable(first, 80)), unit);
        parts.push(format!("{label} {value}"));
    }
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
        let field = form.runs[0].fields.iter().find(|f| f.name == "/runs/0/pinion").unwrap();
        assert_eq!((field.value.as_str(), field.wrong, form.runs[0].new.key.as_str()), ("3x", true, "wing"));
    }

    #[test]
    fn every_key_has_a_field() {
        let form = form(SHEET, &[]).unwrap();
        let fields: Vec<&str> = form.fields().map(|f| f.1.name.as_str()).collect();
        for key in KEYS {
            let place: &[&str] = match key.table {
                Table::Car => &["cars", "a"],
                Table::Run => &["runs", "0"],
                single => &[single.name()],
            };
            let path: Vec<&str> = place.iter().copied().chain(key.path.split('.')).collect();
            assert!(fields.contains(&pointer(&path).as_str()), "{}", key.path);
        }
    }
}
