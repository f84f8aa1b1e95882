//! `weekend.toml` to a [`Sheet`]: every mistake found, not just the first, and every unknown key carried along.

use std::ops::Range;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::Mistake;
use super::words::{distance, inside};
use super::{RunPlan, Setting, Settings, Sheet};
use crate::notice::printable;

/// Keys with a meaning of their own and the range of a number that a car or a track can have (common practice, no
/// source, and wide).
pub const NUMBERS: [(&str, f64, f64); 18] = [
    ("mass_kg", 0.1, 30.0),
    ("internal_ratio", 0.2, 10.0),
    ("spur", 10.0, 300.0),
    ("pinion", 5.0, 200.0),
    ("tyre_diameter_mm", 15.0, 250.0),
    ("motor.poles", 2.0, 40.0),
    ("motor.turns", 0.5, 100.0),
    ("motor.rotor_mm", 1.0, 100.0),
    ("motor.timing_deg", -10.0, 90.0),
    ("motor.fan_mm", 0.0, 100.0),
    ("battery.cells", 1.0, 14.0),
    ("battery.capacity_mah", 50.0, 50_000.0),
    ("limits.motor_c", 20.0, 250.0),
    ("limits.esc_c", 20.0, 250.0),
    ("limits.cell_v", 0.5, 4.5),
    ("ambient_c", -30.0, 60.0),
    ("drag_brake_pct", 0.0, 100.0),
    ("part", 1.0, 1000.0),
];
/// The same of the track and the race.
pub const OF_TABLES: [(&str, f64, f64); 3] =
    [("lap_length_m", 5.0, 5000.0), ("lap_length_plus_minus_m", 0.0, 1000.0), ("length_s", 5.0, 90_000.0)];
/// Of these those that count things.
pub const WHOLE: [&str; 5] = ["spur", "pinion", "motor.poles", "battery.cells", "part"];
/// Keys of the tables that have no keys of the user's own.
pub const KEYS: [(&str, &[&str]); 3] = [
    ("weekend", &["name", "date", "note"]),
    ("track", &["surface", "lap_length_m", "lap_length_plus_minus_m", "name", "note"]),
    ("race", &["length_s", "note"]),
];
/// Texts with a meaning of their own, and what they may be.
pub const TEXTS: [(&str, [&str; 2]); 2] = [("driven", ["four", "rear"]), ("tyre_kind", ["rubber", "foam"])];
const RUN_KEYS: [&str; 6] = ["id", "car", "log", "laps", "part", "ambient_c"];
const TABLES: [&str; 6] = ["weekend", "track", "race", "cars", "runs", "import"];

pub(super) type Table<'a> = DeTable<'a>;

/// Reads a sheet and gathers what is wrong with it.
pub(super) struct Reader<'a> {
    text: &'a str,
    pub(super) sheet: Sheet,
}

/// Reads a sheet's text.
///
/// # Errors
/// The first mistake of TOML itself, where the text is none.
pub fn read(text: &str) -> Result<Sheet, Box<Mistake>> {
    let root = DeTable::parse(text).map_err(|e| {
        let span = e.span().unwrap_or(0..0);
        Box::new(Mistake::at(
            text,
            span,
            e.message().trim_end_matches('.').to_owned(),
            "text stands in quotes, numbers stand without and with a point (`63.0`), and each key stands once in its table",
        ))
    })?;
    let mut reader = Reader { text, sheet: Sheet::default() };
    reader.root(root.get_ref());
    Ok(reader.sheet)
}

impl Reader<'_> {
    pub(super) fn mistake(&mut self, span: Range<usize>, message: String, hint: &str) {
        let mistake = Mistake::at(self.text, span, message, hint);
        self.sheet.mistakes.push(mistake);
    }

    fn root(&mut self, root: &Table) {
        for (key, value) in root.iter() {
            let name: &str = key.get_ref();
            if let (Some((_, known)), DeValue::Table(table)) = (KEYS.iter().find(|k| k.0 == name), value.get_ref()) {
                self.unknown_keys(name, table, known);
            }
            match (name, value.get_ref()) {
                ("weekend", DeValue::Table(t)) => self.weekend(t),
                ("track", DeValue::Table(t)) => self.track(t),
                ("race", DeValue::Table(t)) => self.sheet.race_s = self.ranged(t, "length_s"),
                ("cars", DeValue::Table(t)) => self.cars(t),
                ("import", _) => self.import(value),
                ("runs", DeValue::Array(_)) => {}
                (known, _) if TABLES.contains(&known) => {
                    let form = if known == "runs" { "`[[runs]]`, once for each run" } else { "a table: `[…]`" };
                    self.mistake(key.span(), format!("`{known}` has the wrong form"), &format!("write it as {form}"));
                }
                _ => self.unknown(key, &TABLES),
            }
        }
        // Runs come last: they need the cars.
        if let Some(DeValue::Array(runs)) = root.get("runs").map(Spanned::get_ref) {
            for run in runs.iter() {
                match run.get_ref() {
                    DeValue::Table(table) => self.run(table, run.span()),
                    _ => {
                        self.mistake(run.span(), "a run is no table".to_owned(), "write `[[runs]]`, once for each run")
                    }
                }
            }
        }
    }

    fn unknown_keys(&mut self, name: &str, table: &Table, known: &[&str]) {
        for (key, _) in table.iter().filter(|(key, _)| !known.contains(&key.get_ref().as_ref())) {
            let hint = format!("keys of `[{name}]` are `{}`", known.join("`, `"));
            self.mistake(key.span(), format!("`{}` is not known in `[{name}]`", printable(key.get_ref(), 40)), &hint);
        }
    }

    fn weekend(&mut self, table: &Table) {
        self.sheet.name = self.words(table, "name");
        self.sheet.date = match table.get("date").map(Spanned::get_ref) {
            Some(DeValue::Datetime(date)) => Some(date.to_string()),
            Some(DeValue::String(text)) => {
                let looks =
                    text.starts_with(|c: char| c.is_ascii_digit()) && text.parse::<jiff::civil::Date>().is_err();
                if looks && let Some(value) = table.get("date") {
                    self.mistake(
                        value.span(),
                        "`date` is no date".to_owned(),
                        "write it as `2026-05-16`, without quotes",
                    );
                }
                Some(text.to_string())
            }
            _ => None,
        };
    }

    fn track(&mut self, table: &Table) {
        self.sheet.track = self.words(table, "name");
        self.sheet.surface = self.words(table, "surface");
        let length = self.ranged(table, "lap_length_m");
        let doubt = self.ranged(table, "lap_length_plus_minus_m");
        // Without a stated doubt a hundredth is assumed: what pacing or a tape along the line gives.
        self.sheet.lap_length_m = length.map(|l| (l, doubt.unwrap_or(0.01 * l)));
    }

    fn cars(&mut self, table: &Table) {
        for (key, value) in table.iter() {
            let name = key.get_ref().to_string();
            match value.get_ref() {
                DeValue::Table(car) => {
                    let settings = self.settings(car, "", &[]);
                    if settings.number("pinion").zip(settings.number("spur")).is_some_and(|(p, s)| p > s) {
                        let span = car.get("pinion").map_or(value.span(), Spanned::span);
                        self.mistake(
                            span,
                            "the pinion has more teeth than the spur".to_owned(),
                            "are the two swapped?",
                        );
                    }
                    self.sheet.cars.insert(name, settings);
                }
                _ => self.mistake(
                    value.span(),
                    format!("the car `{}` is no table", printable(&name, 40)),
                    "write `[cars.NAME]` and the car's keys below it",
                ),
            }
        }
    }

    /// Every key of a table under its dotted name, checked where it is known.
    fn settings(&mut self, table: &Table, prefix: &str, skip: &[&str]) -> Settings {
        let mut settings = Settings::default();
        for (key, value) in table.iter() {
            let name = format!("{prefix}{}", key.get_ref());
            if skip.contains(&name.as_str()) {
                continue;
            }
            if let DeValue::Table(inner) = value.get_ref() {
                settings.0.extend(self.settings(inner, &format!("{name}."), &[]).0);
                continue;
            }
            if let Some(setting) = self.setting(&name, key, value) {
                settings.0.insert(name, setting);
            }
        }
        settings
    }

    fn setting(&mut self, name: &str, key: &Spanned<toml::de::DeString>, value: &Spanned<DeValue>) -> Option<Setting> {
        if let Some(&(_, low, high)) = NUMBERS.iter().find(|n| n.0 == name) {
            return self.number(value, name, low, high).map(Setting::Number);
        }
        if let Some((_, allowed)) = TEXTS.iter().find(|t| t.0 == name) {
            let text = match value.get_ref() {
                DeValue::String(text) => text.trim().to_lowercase(),
                _ => String::new(),
            };
            if !allowed.contains(&text.as_str()) {
                self.mistake(
                    value.span(),
                    format!("`{name}` is not understood"),
                    &format!("one of `\"{}\"`", allowed.join("\"`, `\"")),
                );
                return None;
            }
            return Some(Setting::Text(text));
        }
        let known: Vec<&str> = NUMBERS.iter().map(|n| n.0).chain(TEXTS.iter().map(|t| t.0)).collect();
        if !known.contains(&name) {
            self.near_miss(key, name, &known);
        }
        match value.get_ref() {
            DeValue::String(text) => Some(Setting::Text(text.to_string())),
            DeValue::Boolean(flag) => Some(Setting::Flag(*flag)),
            DeValue::Datetime(date) => Some(Setting::Text(date.to_string())),
            other => number_of(other).map(Setting::Number),
        }
    }

    /// A key that is one slip away from a known one is likely meant to be it.
    fn near_miss(&mut self, key: &Spanned<toml::de::DeString>, name: &str, known: &[&str]) {
        let last = |k: &str| k.rsplit('.').next().unwrap_or(k).to_owned();
        let near = known.iter().find(|k| distance(&last(k), &last(name)) == 1 || last(k) == last(name));
        if let Some(near) = near {
            let hint = format!("did you mean `{near}`? It is carried along as it is");
            self.mistake(key.span(), format!("`{}` is not known", printable(name, 40)), &hint);
        }
    }

    fn unknown(&mut self, key: &Spanned<toml::de::DeString>, known: &[&str]) {
        let near = known.iter().min_by_key(|k| distance(k, key.get_ref()));
        let hint = near.map_or(String::new(), |n| format!("tables are `{}`; nearest is `{n}`", known.join("`, `")));
        self.mistake(key.span(), format!("`{}` is not known and was passed over", printable(key.get_ref(), 40)), &hint);
    }

    pub(super) fn number(&mut self, value: &Spanned<DeValue>, name: &str, low: f64, high: f64) -> Option<f64> {
        let Some(number) = number_of(value.get_ref()) else {
            self.mistake(
                value.span(),
                format!("`{name}` is no number"),
                &format!("write a number between {low} and {high}: no quotes, no unit, no separator of thousands"),
            );
            return None;
        };
        if WHOLE.contains(&name) && number.fract() != 0.0 {
            self.mistake(value.span(), format!("`{name}` is {number}, no whole number"), "it counts teeth or parts");
            return None;
        }
        if !(low..=high).contains(&number) {
            self.mistake(
                value.span(),
                format!("`{name}` is {number}, outside what is possible"),
                &format!("between {low} and {high}; check the unit in the key's name"),
            );
            return None;
        }
        Some(number)
    }

    fn ranged(&mut self, table: &Table, key: &str) -> Option<f64> {
        let value = table.get(key)?;
        let (_, low, high) = *NUMBERS.iter().chain(&OF_TABLES).find(|n| n.0 == key)?;
        self.number(value, key, low, high)
    }

    fn words(&mut self, table: &Table, key: &str) -> Option<String> {
        let value = table.get(key)?;
        match value.get_ref() {
            DeValue::String(text) => Some(text.to_string()),
            _ => {
                self.mistake(value.span(), format!("`{key}` is no text"), "put it in quotes");
                None
            }
        }
    }

    fn run(&mut self, table: &Table, span: Range<usize>) {
        let index = self.sheet.runs.len() + 1;
        let log = self.words(table, "log");
        let id = id_of(table, log.as_deref()).unwrap_or_else(|| format!("run {index}"));
        let mut wrong = None;
        let mut blame = |reader: &Self, key: &str, message: String, hint: String| {
            let span = table.get(key).map_or(span.clone(), Spanned::span);
            wrong.get_or_insert(Mistake::at(reader.text, span, message, hint));
        };
        let taken = self.sheet.runs.iter().any(|r| r.id == id);
        if taken {
            let message = format!("the id `{}` stands twice", printable(&id, 40));
            blame(self, "id", message, "give each run an id of its own".to_owned());
        }
        let car = self
            .words(table, "car")
            .or_else(|| (self.sheet.cars.len() == 1).then(|| self.sheet.cars.keys().next().cloned()).flatten());
        let known: Vec<String> = self.sheet.cars.keys().map(|k| format!("`{}`", printable(k, 40))).collect();
        match &car {
            Some(car) if !self.sheet.cars.contains_key(car) => {
                let hint = if known.is_empty() {
                    "write a table `[cars.NAME]`".to_owned()
                } else {
                    format!("cars on the sheet are {}", known.join(", "))
                };
                blame(self, "car", format!("the car `{}` is not on the sheet", printable(car, 40)), hint);
            }
            None => {
                blame(self, "car", "the run names no car".to_owned(), format!("write `car = …`: {}", known.join(", ")))
            }
            _ => {}
        }
        let laps_text = self.words(table, "laps");
        let mut path = |key: &str, text: Option<&str>| {
            let path = text.map(inside)?;
            let hint = "write the path from the weekend's folder, such as `logs/r1.csv`".to_owned();
            path.map_err(|why| blame(self, key, format!("`{key}` {why}"), hint)).ok()
        };
        let (log_path, laps) = (path("log", log.as_deref()), path("laps", laps_text.as_deref()));
        if log.is_none() {
            blame(self, "log", "the run names no log".to_owned(), "write `log = \"logs/r1.csv\"`".to_owned());
        }
        let overrides = self.settings(table, "", &RUN_KEYS);
        let base = car.as_ref().and_then(|c| self.sheet.cars.get(c)).cloned().unwrap_or_default();
        let part = self.ranged(table, "part").map(|p| p as usize);
        let ambient_c = self.ranged(table, "ambient_c");
        let free = |i: &String| self.sheet.runs.iter().all(|r| r.id != *i);
        let id = std::iter::once(id.clone()).chain((2..).map(|n| format!("{id} ({n})"))).find(free).unwrap_or(id);
        self.sheet.runs.push(RunPlan {
            id,
            car: car.unwrap_or_default(),
            log: log_path.unwrap_or_default(),
            laps,
            part,
            ambient_c,
            settings: base.overridden(&overrides),
            mistake: wrong,
        });
    }
}

pub(super) fn number_of(value: &DeValue) -> Option<f64> {
    let number = match value {
        DeValue::Integer(i) => i64::from_str_radix(&i.as_str().replace('_', ""), i.radix()).ok()? as f64,
        DeValue::Float(f) => f.as_str().replace('_', "").parse().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}

/// The run's id as written, or its log's name.
fn id_of(table: &Table, log: Option<&str>) -> Option<String> {
    let written = match table.get("id").map(|v| v.get_ref()) {
        Some(DeValue::String(text)) => Some(text.to_string()),
        Some(other) => number_of(other).map(|n| n.to_string()),
        None => None,
    };
    let stem = |log: &str| Path::new(log).file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned());
    written.or_else(|| log.map(stem)).filter(|i| !i.trim().is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    const CAR: &str = "[cars.a]\nspur = 116\npinion = 31\ninternal_ratio = 1.85\nmotor.timing_deg = 30\n";

    #[test]
    fn a_run_overrides_its_car_and_carries_unknown_keys() {
        let sheet =
            read(&format!("{CAR}[[runs]]\nid = \"r1\"\nlog = \"l/r1.csv\"\nmotor.timing_deg = 37\nwing = \"low\"\n"))
                .unwrap();
        let run = &sheet.runs[0];
        assert_eq!(run.settings.number("motor.timing_deg"), Some(37.0));
        assert_eq!(run.settings.text("wing"), Some("low"));
        assert!((run.settings.set_ratio().unwrap() - 116.0 / 31.0 * 1.85).abs() < 1e-12);
        assert_eq!((run.mistake.as_ref(), sheet.mistakes.len()), (None, 0));
    }

    #[rstest]
    #[case("../x.csv")]
    #[case("/etc/passwd")]
    #[case("a/../../x.csv")]
    #[case("..\\x.csv")]
    #[case("C:\\x.csv")]
    fn paths_stay_inside(#[case] path: &str) {
        assert!(inside(path).unwrap_err().contains("leaves the weekend's folder"));
    }

    #[test]
    fn mistakes_are_found_together_and_underlined() {
        let text = format!(
            "{CAR}pinon = 3\ntyre_diameter_mm = 6300\n[[runs]]\nid = \"x\"\ncar = \"b\"\nlog = \"x.csv\"\n[[runs]]\nid = \"x\"\nlog = \"../y.csv\"\n"
        );
        let sheet = read(&text).unwrap();
        let drawn: Vec<String> = sheet
            .mistakes
            .iter()
            .chain(sheet.runs.iter().filter_map(|r| r.mistake.as_ref()))
            .map(Mistake::drawn)
            .collect();
        insta::assert_snapshot!(drawn.join("\n\n"));
    }
}
