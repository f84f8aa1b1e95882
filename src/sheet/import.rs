//! `[import]` of the sheet: how the user wants logs to be read.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::ImportPlan;
use super::check::{Bounds, number, number_of};
use super::mistake::Mistakes;
use crate::import::columns::Rule;
use crate::notice::printable;

/// `[import]`: file settings, and columns in any of the forms that come to mind: `[[import.columns]]` or `[[import]]`
/// with `column`, `channel`, `unit`, `scale`; or the column's header as a key with the channel or a table of these.
pub(super) fn import(value: &Spanned<DeValue>, mistakes: &mut Mistakes) -> ImportPlan {
    let mut plan = ImportPlan::default();
    import_into(value, &mut plan, mistakes);
    plan
}

fn import_into(value: &Spanned<DeValue>, plan: &mut ImportPlan, mistakes: &mut Mistakes) {
    match value.get_ref() {
        DeValue::Array(items) => items.iter().for_each(|item| import_into(item, plan, mistakes)),
        DeValue::Table(table) if table.contains_key("column") => plan.rules.extend(rule(table, None, mistakes)),
        DeValue::Table(table) => {
            for (key, value) in table.iter() {
                import_key(key.get_ref(), value, plan, mistakes);
            }
        }
        _ => mistakes.add(value.span(), "`import` is not written as a section", IMPORT_HINT),
    }
}

fn import_key(name: &str, value: &Spanned<DeValue>, plan: &mut ImportPlan, mistakes: &mut Mistakes) {
    match (name, value.get_ref()) {
        ("encoding", DeValue::String(t)) => plan.encoding = Some(t.to_string()),
        ("delimiter", DeValue::String(t)) => plan.delimiter = one_byte(t),
        ("decimal", DeValue::String(t)) => plan.decimal = one_byte(t).filter(|b| matches!(b, b'.' | b',')),
        ("rate_hz", _) => plan.rate_hz = number(value, name, &RATE, mistakes),
        ("columns" | "column" | "channels", DeValue::Array(_) | DeValue::Table(_)) => {
            import_into(value, plan, mistakes);
        }
        (_, DeValue::Table(inner)) => plan.rules.extend(rule(inner, Some(name), mistakes)),
        (_, DeValue::String(channel)) => {
            plan.rules.push(Rule { column: name.to_owned(), channel: Some(channel.to_string()), ..Rule::default() })
        }
        _ => {
            let message = format!("`[import]` cannot use the value of `{}`", printable(name, 40));
            mistakes.add(value.span(), message, IMPORT_HINT);
        }
    }
}

fn rule(table: &DeTable, name: Option<&str>, mistakes: &mut Mistakes) -> Option<Rule> {
    let text = |key: &str| match table.get(key)?.get_ref() {
        DeValue::String(t) => Some(t.to_string()),
        other => number_of(other).map(|n| n.to_string()),
    };
    // A key may be the header with its channel inside, or the channel with its column inside.
    let (column, channel) = match (text("column"), name) {
        (Some(column), Some(channel)) => (column, text("channel").or(Some(channel.to_owned()))),
        (Some(column), None) => (column, text("channel")),
        (None, Some(column)) => (column.to_owned(), text("channel")),
        (None, None) => return None,
    };
    let scale = table.get("scale").and_then(|v| number(v, "scale", &SCALE, mistakes));
    Some(Rule { column, channel: channel.map(|c| channel_name(&c)), unit: text("unit"), scale })
}

/// Rows a second that a log can have. Common practice, no source, and wide.
const RATE: Bounds = Bounds { low: 0.1, high: 100_000.0, whole: false, unit: "Hz" };
/// Factors of a column that can be meant: any, short of what would overflow.
const SCALE: Bounds = Bounds { low: -1e12, high: 1e12, whole: false, unit: "" };
const IMPORT_HINT: &str = "write `[[import.columns]]` with `column`, `channel`, `unit` and `scale` below it; \
                           or `encoding`, `delimiter`, `decimal` or `rate_hz` below `[import]`";

/// A channel as users may call it.
fn channel_name(text: &str) -> String {
    let plain = text.trim().to_lowercase().replace([' ', '-'], "_");
    match plain.as_str() {
        "motor_c" | "motor_temp" => "motor_temperature",
        "esc_c" | "esc_temp" | "controller_c" | "controller_temp" | "esc_temperature" => "controller_temperature",
        "ambient_c" | "ambient_temperature" | "air" => "ambient",
        "speed" => "ground_speed",
        "volts" | "voltage_v" => "voltage",
        "amps" | "current_a" => "current",
        "time_s" => "time",
        other => other,
    }
    .to_owned()
}

fn one_byte(text: &str) -> Option<u8> {
    match text {
        "tab" | "\\t" => Some(b'\t'),
        t if t.len() == 1 => Some(t.as_bytes()[0]),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::read::read;
    use rstest::rstest;

    #[rstest]
    #[case("[[import.columns]]\ncolumn = \"A\"\nchannel = \"rpm\"\nunit = \"krpm\"\n")]
    #[case("[[import]]\ncolumn = \"A\"\nchannel = \"rpm\"\nunit = \"krpm\"\n")]
    #[case("[import]\n\"A\" = { channel = \"rpm\", unit = \"krpm\" }\n")]
    #[case("[import]\nrpm = { column = \"A\", unit = \"krpm\" }\n")]
    #[case("[import]\ncolumn = \"A\"\nchannel = \"rpm\"\nunit = \"krpm\"\n")]
    fn forms_of_import(#[case] text: &str) {
        let rule = Rule { column: "A".into(), channel: Some("rpm".into()), unit: Some("krpm".into()), scale: None };
        assert_eq!(read(text).unwrap().import.rules, [rule]);
    }
}
