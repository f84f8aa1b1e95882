//! The JSON Schema (draft 2020-12) of `weekend.toml`, for editors that check TOML by one; made from the reader's own tables.

use serde_json::{Map, Value, json};

use super::read::{KEYS, NUMBERS, OF_TABLES, TEXTS, WHOLE};

/// The schema.
pub fn schema() -> Value {
    let text = || json!({ "type": "string" });
    let table = |keys: &[&str]| {
        let kind = |key: &str| match OF_TABLES.iter().find(|n| n.0 == key) {
            Some((_, low, high)) => json!({ "type": "number", "minimum": low, "maximum": high }),
            // A TOML date has no type of its own in JSON Schema: tools hand it over as text.
            None => text(),
        };
        let properties: Map<String, Value> = keys.iter().map(|&key| (key.to_owned(), kind(key))).collect();
        json!({ "type": "object", "properties": properties, "additionalProperties": false })
    };
    let mut run = car();
    let properties = run["properties"].as_object_mut();
    if let Some(properties) = properties {
        for key in ["id", "car", "log", "laps"] {
            properties.insert(key.to_owned(), text());
        }
    }
    run["required"] = json!(["log"]);
    let mut properties: Map<String, Value> =
        KEYS.iter().map(|(name, keys)| ((*name).to_owned(), table(keys))).collect();
    properties.insert("cars".to_owned(), json!({ "type": "object", "additionalProperties": car() }));
    properties.insert("runs".to_owned(), json!({ "type": "array", "items": run }));
    properties.insert("import".to_owned(), json!({ "type": ["object", "array"] }));
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "weekend.toml",
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    })
}

/// Keys of a car with their ranges; any other key is the user's own.
fn car() -> Value {
    let mut car = json!({ "type": "object", "properties": {} });
    let mut put = |name: &str, value: Value| {
        let mut table = &mut car;
        let mut keys: Vec<&str> = name.split('.').collect();
        let last = keys.pop().unwrap_or_default();
        for key in keys {
            table = &mut table["properties"][key];
            if table.is_null() {
                *table = json!({ "type": "object", "properties": Map::new() });
            }
        }
        table["properties"][last] = value;
    };
    for (name, low, high) in NUMBERS {
        let kind = if WHOLE.contains(&name) { "integer" } else { "number" };
        put(name, json!({ "type": kind, "minimum": low, "maximum": high }));
    }
    for (name, allowed) in TEXTS {
        put(name, json!({ "enum": allowed }));
    }
    car
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
    }
}
