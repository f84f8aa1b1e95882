//! The JSON Schema (draft 2020-12) of `weekend.toml`, for editors that check TOML by one; made from the table of keys.

use serde_json::{Map, Value, json};

use super::keys::{KEYS, Key, Kind, Table, of_car, of_table};
use crate::units::{Notation, Unit, in_notation};

/// The schema.
pub fn schema() -> Value {
    schema_of(KEYS)
}

/// The schema of a sheet with other keys than [`KEYS`].
pub fn schema_of(keys: &[Key]) -> Value {
    let mut properties = Map::new();
    for table in Table::SINGLE {
        let mut single = object(of_table(keys, table));
        single["additionalProperties"] = json!(false);
        properties.insert(table.name().to_owned(), single);
    }
    let car = object(of_car(keys));
    let mut run = object(of_table(keys, Table::Run).chain(of_table(keys, Table::Car)));
    run["required"] = json!(["log"]);
    properties.insert(Table::Car.name().to_owned(), json!({ "type": "object", "additionalProperties": car }));
    properties.insert(Table::Run.name().to_owned(), json!({ "type": "array", "items": run }));
    properties.insert("import".to_owned(), json!({ "type": ["object", "array"] }));
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "weekend.toml",
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    })
}

/// A table with these keys; any other key is the user's own.
fn object<'k>(keys: impl Iterator<Item = &'k Key>) -> Value {
    let mut object = json!({ "type": "object", "properties": {} });
    for key in keys {
        let mut table = &mut object;
        let mut path: Vec<&str> = key.path.split('.').collect();
        let last = path.pop().unwrap_or_default();
        for name in path {
            table = &mut table["properties"][name];
            if table.is_null() {
                *table = json!({ "type": "object", "properties": Map::new() });
            }
        }
        table["properties"][last] = value_of(key);
    }
    object
}

/// What the key's value may be, with what it is called.
fn value_of(key: &Key) -> Value {
    let mut value = match key.kind {
        Kind::Number { low, high, whole } => {
            let number = if whole { "integer" } else { "number" };
            match Unit::of_symbol(key.unit) {
                // The range is that of a number without a unit.
                Some(unit) => {
                    json!({ "type": [number, "string"], "minimum": low, "maximum": high, "pattern": with_unit(unit) })
                }
                None => json!({ "type": number, "minimum": low, "maximum": high }),
            }
        }
        Kind::Choice(words) => json!({ "enum": words }),
        // A TOML date has no type of its own in JSON Schema: tools hand it over as text.
        Kind::Text(_) | Kind::Date | Kind::Car | Kind::File => json!({ "type": "string" }),
        Kind::Name => json!({ "type": ["string", "number"] }),
    };
    let unit = if key.unit.is_empty() { String::new() } else { format!(", {}", key.unit) };
    let answers = if key.answers.is_empty() { String::new() } else { format!(": {}", key.answers_and_assumed()) };
    value["description"] = json!(in_notation(&format!("{}{unit}{answers}", key.label), Notation::Stored));
    value
}

/// The pattern of a text that is a number with a unit of the same dimension.
fn with_unit(unit: &Unit) -> String {
    let symbols: Vec<&str> = unit.of.units().flat_map(Unit::all_spellings).collect();
    format!("^\\s*[-+−]?[0-9]*[.,]?[0-9]+\\s*({})\\.?\\s*$", symbols.join("|"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sample's sheet as JSON, with a change.
    fn sample(change: &str, to: &str) -> Value {
        let text = include_str!("../../sample-logs/alder-quay/weekend.toml").replace(change, to);
        let table: toml::Table = text.parse().unwrap();
        serde_json::to_value(table)
            .map(|mut v| {
                v["weekend"]["date"] = json!("2026-05-16");
                v
            })
            .unwrap()
    }

    #[test]
    fn the_sample_fits_and_a_mistake_does_not() {
        let validator = jsonschema::validator_for(&schema()).unwrap();
        assert!(validator.is_valid(&sample("", "")));
        assert!(!validator.is_valid(&sample("pinion = 31", "pinion = 3")));
        assert!(!validator.is_valid(&sample("driven = \"four\"", "driven = \"three\"")));
        assert!(!validator.is_valid(&sample("surface = ", "surfase = ")));
        assert!(!validator.is_valid(&sample("timing_deg = 30", "timing_deg = 300")));
        assert!(validator.is_valid(&sample("mass_kg = 1.35", "mass_kg = \"2.98 lb\"")));
        assert!(!validator.is_valid(&sample("mass_kg = 1.35", "mass_kg = \"2.98 ft\"")));
    }

    #[test]
    fn a_key_of_a_run_is_not_a_car_s() {
        let schema = schema();
        let car = &schema["properties"]["cars"]["additionalProperties"]["properties"];
        let run = &schema["properties"]["runs"]["items"]["properties"];
        for key in ["ambient_c", "part", "log"] {
            assert!(car[key].is_null() && !run[key].is_null(), "{key}");
        }
        assert!(!car["motor"]["properties"]["name"].is_null() && !run["motor"]["properties"]["name"].is_null());
    }
}
