//! The JSON Schema (draft 2020-12) of `weekend.toml`, for editors that check TOML by one; made from the reader's own tables.

use serde_json::{Map, Value, json};

use super::read::{NUMBERS, TEXTS, WHOLE};

/// The schema.
pub fn schema() -> Value {
    let ranged = |low: f64, high: f64| json!({ "type": "number", "minimum": low, "maximum": high });
    let text = || json!({ "type": "string" });
    let mut run = car();
    let properties = run["properties"].as_object_mut();
    if let Some(properties) = properties {
        for key in ["id", "car", "log", "laps"] {
            properties.insert(key.to_owned(), text());
        }
    }
    run["required"] = json!(["log"]);
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "weekend.toml",
        "type": "object",
        "properties": {
            // A TOML date has no type of its own in JSON Schema: tools hand it over as text.
            "weekend": { "type": "object", "properties": { "name": text(), "date": text(), "note": text() }, "additionalProperties": false },
            "track": { "type": "object", "properties": {
                "name": text(), "note": text(), "surface": text(),
                "lap_length_m": ranged(5.0, 5000.0), "lap_length_plus_minus_m": ranged(0.0, 1000.0),
            }, "additionalProperties": false },
            "race": { "type": "object", "properties": { "length_s": ranged(5.0, 90_000.0), "note": text() }, "additionalProperties": false },
            "cars": { "type": "object", "additionalProperties": car() },
            "runs": { "type": "array", "items": run },
            "import": { "type": ["object", "array"] },
        },
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
