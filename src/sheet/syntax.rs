//! A line that is not TOML, said in words: what was probably meant, and how it is written.
//!
//! What a parser expects next helps nobody who does not know the format, so the line itself is looked at.

use std::ops::Range;

use super::keys::{Key, Kind};
use super::mistake::Mistake;
use crate::notice::printable;
use crate::units::written::carries_unit;

/// What is wrong and what would be right.
struct Explained {
    message: String,
    hint: String,
}

fn explained(message: impl Into<String>, hint: impl Into<String>) -> Explained {
    Explained { message: message.into(), hint: hint.into() }
}

/// The mistake at `span` of a text that is not TOML; `parser` is what its parser says.
pub(super) fn mistake(keys: &[Key], text: &str, span: Range<usize>, parser: &str) -> Mistake {
    let place = text.floor_char_boundary(span.start.min(text.len()));
    let start = text[..place].rfind('\n').map_or(0, |end| end + 1);
    let line = text[start..].lines().next().unwrap_or_default().trim();
    let Explained { message, hint } = explain(keys, text, line, parser);
    Mistake::new(text, span, message, hint)
}

fn explain(keys: &[Key], text: &str, line: &str, parser: &str) -> Explained {
    if line.starts_with('[') {
        return heading(text, line, parser);
    }
    let Some((key, value)) = line.split_once('=').map(|(key, value)| (key.trim(), without_remark(value))) else {
        return no_value(line);
    };
    let shown = printable(key, 40);
    if parser.contains("duplicate key") {
        return explained(format!("`{shown}` is there twice in one section"), "keep one of the two lines");
    }
    let quoted = key.starts_with(['"', '\'']);
    if !quoted && key.contains(|c: char| !(c.is_ascii_alphanumeric() || "._-".contains(c))) {
        let meant = keys
            .iter()
            .find(|k| k.label.eq_ignore_ascii_case(key))
            .map_or_else(|| key.split_whitespace().collect::<Vec<_>>().join("_").to_lowercase(), |k| k.path.to_owned());
        let hint = format!("write `{}`, or put the key in quotes", printable(&meant, 40));
        let what = if key.contains(char::is_whitespace) { "a space" } else { "a character that a key cannot have" };
        return explained(format!("the key `{shown}` has {what} in it"), hint);
    }
    let known = keys.iter().find(|k| k.path == key || k.path.rsplit('.').next() == Some(key));
    if value.is_empty() {
        let example = known.map_or("…", |k| k.example);
        let hint = format!("write `{shown} = {example}`, or put a `#` in front of the line");
        return explained(format!("`{shown}` has no value"), hint);
    }
    wrong_value(&shown, value, known)
}

fn heading(text: &str, line: &str, parser: &str) -> Explained {
    let shown = printable(line, 40);
    let both = |form: &str| text.lines().any(|l| l.trim_start().starts_with(form));
    if line.starts_with("[[runs]]") && both("[runs]") || line.starts_with("[runs]") && both("[[runs]]") {
        return explained(
            "runs are written as `[runs]` in one place and as `[[runs]]` in another",
            "write `[[runs]]` above each run",
        );
    }
    if parser.contains("duplicate key") {
        return explained(format!("the section `{shown}` is there twice"), "put all of its keys below one heading");
    }
    let inner = line.trim_start_matches('[').split(']').next().unwrap_or_default();
    if inner.contains(char::is_whitespace) && !inner.contains('"') && line.contains(']') {
        let hint = format!("put the name in quotes: `[{}]`", quoted_names(inner));
        return explained(format!("the heading `{shown}` has a name with a space in it"), hint);
    }
    explained(
        format!("the heading `{shown}` cannot be read"),
        "write `[track]`, `[cars.NAME]` or `[[runs]]` on a line of its own",
    )
}

/// A heading with quotes around each part that has a blank in it; a name alone is a car's.
fn quoted_names(heading: &str) -> String {
    let quoted = |part: &str| {
        let part = printable(part.trim(), 40);
        if part.contains(char::is_whitespace) { format!("\"{part}\"") } else { part }
    };
    let parts: Vec<String> = heading.split('.').map(quoted).collect();
    if parts.len() == 1 { format!("cars.{}", parts[0]) } else { parts.join(".") }
}

fn no_value(line: &str) -> Explained {
    let hint = match line.split_once(':') {
        Some((key, value)) if !key.trim().is_empty() && !key.trim().contains(char::is_whitespace) => {
            format!("write `{} = {}`", printable(key.trim(), 40), printable(value.trim(), 40))
        }
        _ => "write `key = value`; a remark begins with `#`".to_owned(),
    };
    explained("this line is neither a heading nor a key with its value", hint)
}

/// A value without the remark behind it, where it is not in quotes.
fn without_remark(value: &str) -> &str {
    let value = value.trim();
    if value.starts_with(['"', '\'']) { value } else { value.split('#').next().unwrap_or_default().trim() }
}

fn wrong_value(key: &str, value: &str, known: Option<&Key>) -> Explained {
    let shown = printable(value, 40);
    if known.is_some_and(|k| k.kind == Kind::Date) || looks_like_a_date(value) {
        return explained(format!("`{shown}` is not a date"), "write the date as `2026-05-16`, without quotes");
    }
    if value.starts_with(['“', '”', '„', '‘', '’', '«', '»']) {
        return explained("these quotes are not straight ones", format!("write `{key} = \"…\"`"));
    }
    if value.starts_with(['"', '\'']) {
        return wrong_text(key, value);
    }
    if value.starts_with(['[', '{']) {
        return explained(
            format!("the list of `{key}` cannot be read"),
            "put commas between its parts, and close it with the bracket it begins with",
        );
    }
    if value.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c)) {
        return wrong_number(&shown, value, known);
    }
    if value.starts_with('=') {
        return explained(format!("`{key}` has more than one `=`"), format!("write `{key} = …`"));
    }
    explained(format!("`{shown}` is text without quotes"), format!("write `{key} = \"{shown}\"`"))
}

fn wrong_text(key: &str, value: &str) -> Explained {
    let quote = if value.starts_with('"') { '"' } else { '\'' };
    if value.matches(quote).count() % 2 == 1 {
        return explained(format!("the text of `{key}` has no closing quote"), format!("end it with `{quote}`"));
    }
    if value.contains('\\') {
        return explained(
            format!("the text of `{key}` has a `\\`, which has a meaning of its own"),
            "write paths with `/`, such as `logs/r1.csv`, and any other `\\` twice",
        );
    }
    explained(format!("there is something behind the text of `{key}`"), "put a remark behind a `#`")
}

fn wrong_number(shown: &str, value: &str, known: Option<&Key>) -> Explained {
    if has_thousands(value) {
        let hint = "write it without a separator, such as `6000`, or with a point if a fraction is meant";
        return explained(format!("`{shown}` has a separator in it"), hint);
    }
    let end = value.find(|c: char| !(c.is_ascii_digit() || "+-.,_".contains(c))).unwrap_or(value.len());
    let (number, rest) = (value[..end].replace(',', "."), value[end..].trim());
    let plain = number.parse::<f64>().ok().filter(|n| n.is_finite());
    let zeros = value.len() > 1 && value.starts_with('0') && value.bytes().all(|b| b.is_ascii_digit());
    let Some(plain) = plain else {
        return explained(format!("`{shown}` is not a number"), "write a number as `31` or `63.0`, and text in quotes");
    };
    if !rest.is_empty() {
        // In another unit, or as minutes and seconds, the digits alone would be another value.
        let unit = known.map_or("", |k| k.unit);
        let hint = if unit.is_empty() || rest == unit {
            format!("write the number alone: `{plain}`")
        } else if carries_unit(value, unit) {
            format!("put a number with its unit in quotes: `\"{shown}\"`")
        } else {
            format!("write the number alone, in {unit}")
        };
        return explained(format!("`{shown}` is more than a number"), hint);
    }
    if zeros {
        let hint = format!("write `{plain}`, or `\"{shown}\"` if it is a name");
        return explained(format!("`{shown}` has a zero in front"), hint);
    }
    let hint = format!("write it with a point and digits on both sides: `{plain:?}`");
    explained(format!("`{shown}` is not written as a number"), hint)
}

/// Whether three digits stand behind a comma or a blank, where nothing tells a thousand from a fraction.
fn has_thousands(value: &str) -> bool {
    let groups: Vec<&str> = value.split([',', ' ']).collect();
    let digits = |group: &&str| group.bytes().all(|b| b.is_ascii_digit());
    groups.len() > 1 && groups.iter().all(digits) && groups[1..].iter().all(|group| group.len() == 3)
}

/// Whether a value is digits in three groups, as dates are written in many countries.
fn looks_like_a_date(value: &str) -> bool {
    let parts: Vec<&str> = value.split(['.', '-', '/', ' ']).filter(|p| !p.is_empty()).collect();
    parts.len() == 3 && parts.iter().all(|p| p.len() <= 4 && p.bytes().all(|b| b.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use crate::sheet::read::read;

    #[test]
    fn each_broken_line_says_how_it_is_written() {
        let lines = [
            "[weekend]\ndate = 16.5.2026",
            "[weekend]\ndate = 2026-5-16",
            "[weekend]\ndate = May",
            "[weekend]\nname = Heron Park",
            "[weekend]\nname = \"Heron",
            "[weekend]\nname = “Heron”",
            "[weekend]\nname = \"Heron\" park",
            "[weekend",
            "[weekend]\nname = \"a\"\nname = \"b\"",
            "[weekend]\n[weekend]",
            "[track]\nlap length = 214",
            "[track]\nTrack Name = 214",
            "[track]\nlap_length_m = 214 m",
            "[track]\nlap_length_m = 702 ft",
            "[track]\nlap_length_m = 214,5",
            "[track]\nlap_length_m = .5",
            "[track]\nlap_length_m = = 3",
            "[track]\nlap_length_m: 214",
            "[track]\nit rained",
            "[cars.my car]\nspur = 116",
            "[cars.my car.motor]\npoles = 2",
            "[cars.a.battery]\ncapacity_mah = 6,000",
            "[cars.a.battery]\ncapacity_mah = 6 000",
            "[race]\nlength_s = 5 min",
            "[race]\nlength_s = 5:00",
            "[race]\nlength_s = 300 s",
            "[cars.a]\nspur =",
            "[cars.a]\nspur = 0116",
            "[cars.a]\nspur = --3",
            "[cars.a]\ntags = [1 2]",
            "[[runs]]\nlog = \"logs\\r1\\x.csv\"",
            "[runs]\nlog = \"a\"\n[[runs]]\nlog = \"b\"",
            "[[runs]\nlog = \"a\"",
        ];
        let said = |text: &&str| {
            let mistake = read(&format!("{text}\n")).unwrap_err();
            format!("{text:?}\n  {}\n    hint: {}\n", mistake.brief(), mistake.hint)
        };
        insta::assert_snapshot!(lines.iter().map(said).collect::<Vec<_>>().join("\n"));
    }
}
