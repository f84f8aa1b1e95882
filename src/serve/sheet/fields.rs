//! The fields of the sheet's form, and the tables that they are in.

use std::cmp::Reverse;

use super::field_mistakes::FieldMistake;
use crate::sheet::keys::{Key, Kind, Table};
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
    /// What is wrong with what is on the sheet, or with what was typed.
    pub wrong: Option<FieldMistake>,
    /// Which part of a car it would be in.
    pub part: &'static str,
    /// Whether the sheet is asked for it where it is empty.
    pub is_asked: bool,
}

impl Field {
    /// An empty field of a known key; `cars` are those on the sheet.
    pub(super) fn of_key(name: String, key: &Key, cars: &[String]) -> Self {
        let words = |words: &[&str]| Input::choice(words.iter().map(|&w| w.to_owned()).collect());
        let input = match key.kind {
            Kind::Number { .. } => Input::Number,
            Kind::Choice(choices) | Kind::Text(choices) => words(choices),
            Kind::Car => Input::choice(cars.to_vec()),
            Kind::Name | Kind::Date | Kind::File => Input::Text,
        };
        let part = part_of(key.path);
        let (label, value, is_asked) = (key.label.to_owned(), String::new(), key.asked.is_some());
        Self { name, label, unit: key.unit, value, input, wrong: None, part, is_asked }
    }

    /// An empty field of a key of a run: one of its car is called so.
    pub(super) fn of_run_key(name: String, key: &Key, cars: &[String]) -> Self {
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
    /// Whether something in it is wrong, or was typed and not saved.
    pub fn unsaved(&self) -> bool {
        self.off || self.new != NewSetting::default() || self.fields.iter().any(|f| f.wrong.is_some())
    }

    /// Its fields part by part: the part that would answer most comes first.
    pub fn parts(&self) -> Vec<Part<'_>> {
        let mut parts: Vec<Part> = Vec::new();
        for field in &self.fields {
            match parts.iter_mut().find(|part| part.title == field.part) {
                Some(part) => part.fields.push(field),
                None => parts.push(Part { title: field.part, fields: vec![field] }),
            }
        }
        let open = |part: &Part| part.fields.iter().filter(|f| f.is_asked && f.value.is_empty()).count();
        // Alike as in the table of keys; what is the user's own comes last.
        parts.sort_by_key(|part| (part.title == OWN_PART, Reverse(open(part))));
        // A setting that is added belongs there.
        if parts.last().is_none_or(|last| last.title != OWN_PART) {
            parts.push(Part { title: OWN_PART, fields: Vec::new() });
        }
        parts
    }
}

/// Fields of one part of a table.
pub struct Part<'f> {
    /// What it is called.
    pub title: &'static str,
    /// The fields.
    pub fields: Vec<&'f Field>,
}

/// Part of a car for settings that are not keys of the sheet.
pub(super) const OWN_PART: &str = "Notes and settings of your own";

/// Which part of a car a key is in.
fn part_of(key: &str) -> &'static str {
    match key.split('.').next().unwrap_or_default() {
        "spur" | "pinion" | "internal_ratio" => "Gearing",
        "motor" => "Motor",
        "battery" => "Battery",
        "limits" => "Limits",
        "mass_kg" | "driven" | "drag_brake_pct" => "Weight and drive",
        key if key.starts_with("tyre") => "Tyres",
        _ => OWN_PART,
    }
}
