//! What is wrong in a field of the form, said beside it, with what could be clicked to mend it.

use crate::import::clock::DAY_S;
use crate::import::clock::parse_date;
use crate::notice::{Failure, printable};
use crate::sheet::keys::{Key, Kind, find_by_place, with_unit};

use super::form_names::{path, pointer};

/// Slips of the pen within which a word is taken for one of a few.
const LIKELY_SLIPS: usize = 2;
/// Powers of ten that a number may be off by: a slip of the decimal mark, or grams for kilograms.
const POWERS: [i32; 6] = [-1, 1, -2, 2, -3, 3];
/// Ways to mend a value that are offered at most.
const MOST_FIXES: usize = 2;
/// Longest value on a button, characters.
const LONGEST_VALUE: usize = 24;
/// Parts what a button sends: no key has it in its name.
const BETWEEN: char = '\t';

/// What is wrong in a field.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldMistake {
    /// What is wrong, and what would be right.
    pub failure: Failure,
    /// What could be clicked to mend it.
    pub fixes: Vec<Fix>,
}

/// A way to mend a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fix {
    /// What its button says.
    pub say: String,
    /// What its button sends.
    pub sends: String,
}

/// What a button was to mend: the value goes from one field to another, or into the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mended {
    /// Name of the field that was wrong.
    pub from: String,
    /// Name of the field that gets the value.
    pub to: String,
    /// The value.
    pub value: String,
}

impl Fix {
    fn new(say: String, from: &str, to: &str, value: &str) -> Self {
        Self { say, sends: format!("{from}{BETWEEN}{to}{BETWEEN}{value}") }
    }

    /// What a button sent means.
    pub fn read(sent: &str) -> Option<Mended> {
        let mut parts = sent.splitn(3, BETWEEN).map(str::to_owned);
        Some(Mended { from: parts.next()?, to: parts.next()?, value: parts.next()? })
    }
}

impl FieldMistake {
    /// The mistake `failure` in the field `name` with this `value`; `meant` is the key that was probably meant.
    pub fn new(keys: &[Key], name: &str, value: &str, failure: Failure, meant: Option<&str>) -> Self {
        let place = path(name);
        let key = find_by_place(keys, &place);
        let use_it = |better: String| {
            let shown = with_unit(&printable(&better, LONGEST_VALUE), key.map_or("", |key| key.unit));
            Fix::new(format!("Make it {shown}"), name, name, &better)
        };
        let mut fixes: Vec<Fix> = match (meant, key) {
            (Some(meant), _) => vec![renamed(name, &place, meant, value)],
            (None, Some(key)) => better_values(key, value).into_iter().take(MOST_FIXES).map(use_it).collect(),
            (None, None) => Vec::new(),
        };
        if !value.is_empty() && !matches!(key.map(|key| key.kind), Some(Kind::File | Kind::Car)) {
            fixes.push(Fix::new("Take it out".to_owned(), name, name, ""));
        }
        Self { failure, fixes }
    }
}

/// The value under the key that was meant.
fn renamed(name: &str, place: &[String], meant: &str, value: &str) -> Fix {
    // A car and a run have a name of their own behind the table's.
    let table = place.len().min(if place.len() > 2 { 2 } else { 1 });
    let to: Vec<&str> = place[..table].iter().map(String::as_str).chain(meant.split('.')).collect();
    Fix::new(format!("Call it {meant}"), name, &pointer(&to), value)
}

/// Values that may have been meant, the likeliest first.
fn better_values(key: &Key, value: &str) -> Vec<String> {
    match key.kind {
        Kind::Number { low, high, whole } => {
            let Some(number) = leading_number(value) else { return Vec::new() };
            let fits = |n: &f64| (low..=high).contains(n) && (!whole || n.fract() == 0.0);
            let mut all: Vec<f64> = Vec::new();
            // What is a number with something behind it is meant as it is; one out of bounds is not.
            all.extend(Some(number).filter(fits));
            if all.is_empty() {
                all.extend(POWERS.iter().map(|&power| shifted(number, power)).filter(fits));
            }
            if all.is_empty() && whole {
                all.extend(Some(number.round()).filter(fits));
            }
            all.iter().map(f64::to_string).collect()
        }
        Kind::Choice(words) => {
            let near = |word: &&&str| strsim::osa_distance(word, &value.trim().to_lowercase()) <= LIKELY_SLIPS;
            words.iter().filter(near).map(|&word| word.to_owned()).collect()
        }
        Kind::Date => parse_date(value).and_then(date_of).into_iter().collect(),
        Kind::Text(_) | Kind::Name | Kind::Car | Kind::File => Vec::new(),
    }
}

/// The number times a power of ten, as it would be typed.
fn shifted(number: f64, power: i32) -> f64 {
    let times = 10f64.powi(power.abs());
    if power < 0 { number / times } else { number * times }
}

/// The number that a value begins with; a decimal comma is taken.
fn leading_number(value: &str) -> Option<f64> {
    let value = value.trim();
    let end = value.find(|c: char| !(c.is_ascii_digit() || "+-.,".contains(c))).unwrap_or(value.len());
    value[..end].replace(',', ".").parse().ok().filter(|n: &f64| n.is_finite())
}

fn date_of(seconds: f64) -> Option<String> {
    let days = jiff::Span::new().try_days((seconds / DAY_S) as i64).ok()?;
    Some(jiff::civil::date(1970, 1, 1).checked_add(days).ok()?.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::keys::KEYS;
    use rstest::rstest;

    #[rstest]
    #[case("/cars/a/pinion", "310", None, "Make it 31 teeth; Take it out")]
    #[case("/cars/a/pinion", "31 t", None, "Make it 31 teeth; Take it out")]
    #[case("/cars/a/spur", "116.5", None, "Make it 117 teeth; Take it out")]
    #[case("/cars/a/mass_kg", "1350", None, "Make it 13.5 kg; Make it 1.35 kg; Take it out")]
    #[case("/cars/a/tyre_diameter_mm", "6300", None, "Make it 63 mm; Take it out")]
    #[case("/cars/a/tyre_kind", "ruber", None, "Make it rubber; Take it out")]
    #[case("/cars/a/spurr", "116", Some("spur"), "Call it spur; Take it out")]
    #[case("/weekend/date", "16.5.2026", None, "Make it 2026-05-16; Take it out")]
    #[case("/weekend/date", "soon", None, "Take it out")]
    #[case("/runs/0/log", "../x.csv", None, "")]
    fn what_could_be_clicked(#[case] name: &str, #[case] value: &str, #[case] meant: Option<&str>, #[case] says: &str) {
        let failure = Failure { message: "wrong".into(), hint: None };
        let mistake = FieldMistake::new(KEYS, name, value, failure, meant);
        assert_eq!(mistake.fixes.iter().map(|fix| fix.say.as_str()).collect::<Vec<_>>().join("; "), says);
    }

    #[test]
    fn a_key_of_a_run_stays_in_its_run() {
        let failure = Failure { message: "wrong".into(), hint: None };
        let mistake = FieldMistake::new(KEYS, "/runs/3/motor/timng_deg", "30", failure, Some("motor.timing_deg"));
        let mended = Fix::read(&mistake.fixes[0].sends).unwrap();
        assert_eq!(
            (mended.from.as_str(), mended.to.as_str(), mended.value.as_str()),
            ("/runs/3/motor/timng_deg", "/runs/3/motor/timing_deg", "30")
        );
    }
}
