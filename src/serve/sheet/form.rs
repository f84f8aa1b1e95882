//! The sheet as a form: its fields, from the sheet's text.
//!
//! A field is named by the path of its value, as a JSON Pointer (RFC 6901): `/cars/tourer/pinion`,
//! `/runs/3/motor/timing_deg`. `#key` and `#value` after a table's path are a new key of it, `#off` removes a run from
//! the sheet, `+run/…` and `+car` are a new run and a new car.

use toml_edit::{Item, TableLike};

use super::field_lines::field_lines;
use super::field_mistakes::FieldMistake;
use super::fields::{Field, Group, Input, NewSetting, OWN_PART};
use super::form_names::{path, pointer};
use crate::notice::{Failure, printable};
use crate::sheet::edit::{document, shown};
use crate::sheet::keys::{self, KEYS, Key, Kind, NOTE, Table};
use crate::sheet::read::read_with;

/// Something that is wrong on the sheet, for the list at the top of the form.
#[derive(Debug, Clone, PartialEq)]
pub struct ListedMistake {
    /// Name of the field, where it is in one.
    pub field: Option<String>,
    /// What is wrong, and what to do.
    pub failure: Failure,
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
    /// What is wrong on the sheet as it is.
    pub mistakes: Vec<ListedMistake>,
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
        fields.group(own, &[Table::Car.name(), name], name.clone(), keys::of_car(keys))
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
    let cars = cars.iter().map(car).collect();
    let mut form = Form { weekend, cars, runs, new_run, new_car: String::new(), mistakes: Vec::new() };
    form.mark_mistakes(keys, text);
    Ok(form)
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
    keys::of_car(KEYS).map(|k| k.path).collect()
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
        self.new_run.iter().any(|f| f.wrong.is_some() || !f.value.is_empty())
    }

    /// Marks what is wrong on the sheet, each in its field.
    fn mark_mistakes(&mut self, keys: &[Key], text: &str) {
        let Ok(sheet) = read_with(keys, text) else { return };
        let of_runs = sheet.runs.iter().filter_map(|run| run.mistake.as_ref());
        let lines = field_lines(text);
        for mistake in sheet.mistakes.iter().chain(of_runs) {
            let failure = Failure { message: mistake.message.clone(), hint: Some(mistake.hint.clone()) };
            let on_line = |name: &str| lines.iter().any(|line| line.name == name && line.line == mistake.line);
            let field = self.all_fields_mut().find(|field| on_line(&field.name));
            let name = field.map(|field| {
                let meant = mistake.meant.as_deref();
                let value = field.value.clone();
                let marked = FieldMistake::new(keys, &field.name, &value, failure.clone(), meant);
                field.wrong.get_or_insert(marked);
                field.name.clone()
            });
            self.mistakes.push(ListedMistake { field: name, failure });
        }
    }

    fn all_fields_mut(&mut self) -> impl Iterator<Item = &mut Field> {
        let groups = [&mut self.weekend, &mut self.cars, &mut self.runs];
        groups.into_iter().flatten().flat_map(|g| &mut g.fields)
    }

    /// Puts what was typed in place of the sheet's own values, and marks the fields that something is `wrong` with.
    pub fn keep(&mut self, sent: &[(String, String)], wrong: &[ListedMistake]) {
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
            if let Some(problem) = wrong.iter().find(|p| p.field.as_deref() == Some(&field.name)) {
                let failure = problem.failure.clone();
                field.wrong = Some(FieldMistake::new(KEYS, &field.name, &field.value, failure, None));
            }
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
                None => {
                    let (name, input, part) = (name(&inner), Input::Text, OWN_PART);
                    Field { name, label: dotted, unit: "", value, input, wrong: None, part, is_asked: false }
                }
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
        let failure = Failure { message: "not a number".into(), hint: None };
        form.keep(&sent, &[ListedMistake { field: Some("/runs/0/pinion".into()), failure }]);
        let field = form.runs[0].fields.iter().find(|f| f.name == "/runs/0/pinion").unwrap();
        assert_eq!((field.value.as_str(), field.wrong.is_some(), form.runs[0].new.key.as_str()), ("3x", true, "wing"));
    }

    #[test]
    fn what_is_wrong_on_the_sheet_is_in_its_field_and_in_the_list() {
        let text = "[weekend]\ndate = \"16.5.2026\"\n[cars.a]\nspurr = 116\npinion = 310\nmotor = { timng_deg = 30 }\n[[runs]]\nid = \"r1\"\ncar = \"b\"\nlog = \"r1.csv\"\n[[runs]]\nid = \"r2\"\n";
        let form = form(text, &[]).unwrap();
        let marked: Vec<&str> = form.fields().filter(|f| f.1.wrong.is_some()).map(|f| f.1.name.as_str()).collect();
        assert_eq!(
            marked,
            ["/weekend/date", "/cars/a/pinion", "/cars/a/spurr", "/cars/a/motor/timng_deg", "/runs/0/car"]
        );
        let listed = form.mistakes.iter().filter(|m| m.field.is_some()).count();
        assert_eq!((listed, form.mistakes.len()), (5, 6), "{:?}", form.mistakes);
    }

    #[test]
    fn the_part_that_would_answer_most_comes_first() {
        let titles = |text: &str| -> Vec<&str> {
            form(text, &[]).unwrap().cars[0].parts().iter().map(|part| part.title).collect()
        };
        assert_eq!(titles("[cars.a]\nwing = 3\n").first(), Some(&"Gearing"));
        assert_eq!(titles("[cars.a]\nwing = 3\n").last(), Some(&OWN_PART));
        let car = &form("[cars.a]\nnote = \"new springs\"\n", &[]).unwrap().cars[0];
        let parts = car.parts();
        assert!(parts.last().unwrap().fields.iter().any(|f| f.label == "note" && f.value == "new springs"));
        let geared = "[cars.a]\nspur = 116\npinion = 31\ninternal_ratio = 1.85\n";
        assert_ne!(titles(geared).first(), Some(&"Gearing"));
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
