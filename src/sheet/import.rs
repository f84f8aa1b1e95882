//! `[import]` of the sheet: what the user states of how logs are to be read.

use toml::Spanned;
use toml::de::DeValue;

use super::ImportPlan;
use super::read::{Reader, Table, number_of};
use crate::import::columns::Rule;
use crate::notice::printable;

impl Reader<'_> {
    /// `[import]`: file settings, and columns in any of the forms that come to mind: `[[import.columns]]` or `[[import]]` with
    /// `column`, `channel`, `unit`, `scale`; or the column's header as a key with the channel or a table of these.
    pub(super) fn import(&mut self, value: &Spanned<DeValue>) {
        let mut plan = ImportPlan::default();
        self.import_into(value, &mut plan);
        self.sheet.import = plan;
    }

    fn import_into(&mut self, value: &Spanned<DeValue>, plan: &mut ImportPlan) {
        match value.get_ref() {
            DeValue::Array(items) => items.iter().for_each(|item| self.import_into(item, plan)),
            DeValue::Table(table) if table.contains_key("column") => plan.rules.extend(self.rule(table, None)),
            DeValue::Table(table) => {
                for (key, value) in table.iter() {
                    let name: &str = key.get_ref();
                    match (name, value.get_ref()) {
                        ("encoding", DeValue::String(t)) => plan.encoding = Some(t.to_string()),
                        ("delimiter", DeValue::String(t)) => plan.delimiter = one_byte(t),
                        ("decimal", DeValue::String(t)) => {
                            plan.decimal = one_byte(t).filter(|b| matches!(b, b'.' | b','))
                        }
                        ("rate_hz", _) => plan.rate_hz = self.number(value, name, 0.1, 100_000.0),
                        ("columns" | "column" | "channels", DeValue::Array(_) | DeValue::Table(_)) => {
                            self.import_into(value, plan)
                        }
                        (_, DeValue::Table(inner)) => plan.rules.extend(self.rule(inner, Some(name))),
                        (_, DeValue::String(channel)) => {
                            plan.rules.push(Rule {
                                column: name.to_owned(),
                                channel: Some(channel.to_string()),
                                ..Rule::default()
                            });
                        }
                        _ => self.mistake(
                            value.span(),
                            format!("`[import]` cannot use `{}`", printable(name, 40)),
                            IMPORT_HINT,
                        ),
                    }
                }
            }
            _ => self.mistake(value.span(), "`import` has the wrong form".to_owned(), IMPORT_HINT),
        }
    }

    fn rule(&mut self, table: &Table, name: Option<&str>) -> Option<Rule> {
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
        let scale = table.get("scale").and_then(|v| self.number(v, "scale", -1e12, 1e12));
        Some(Rule { column, channel: channel.map(|c| channel_name(&c)), unit: text("unit"), scale })
    }
}

const IMPORT_HINT: &str = "write `[[import.columns]]` with `column`, `channel`, `unit`, `scale`, or `encoding`, `delimiter`, `decimal`, `rate_hz` under `[import]`";

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
