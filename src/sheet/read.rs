//! `weekend.toml` to a [`Sheet`]: every mistake is found, not just the first, and every key of the user's own is
//! carried
//! along.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::check::{settings, single};
use super::keys::{DEFAULT_LAP_LENGTH_SHARE, KEYS, Key, Table};
use super::mistake::{Mistake, Mistakes};
use super::{Sheet, import, runs, syntax};
use crate::notice::printable;

/// Slips of the pen within which an unknown section is taken for a known one that was misspelt.
const LIKELY_SLIPS: usize = 2;
/// What `[import]` is called on the sheet.
const IMPORT: &str = "import";

/// Reads a sheet's text.
///
/// # Errors
/// The first place that is not TOML.
pub fn read(text: &str) -> Result<Sheet, Box<Mistake>> {
    read_with(KEYS, text)
}

/// Reads a sheet's text by other keys than [`KEYS`].
///
/// # Errors
/// The first place that is not TOML.
pub fn read_with(keys: &[Key], text: &str) -> Result<Sheet, Box<Mistake>> {
    let root = DeTable::parse(text)
        .map_err(|e| Box::new(syntax::mistake(keys, text, e.span().unwrap_or(0..0), e.message())))?;
    let mut mistakes = Mistakes::new(text);
    let mut sheet = sheet(keys, root.get_ref(), &mut mistakes);
    sheet.mistakes = mistakes.found;
    sheet.mistakes.sort_by_key(|m| (m.line, m.column));
    Ok(sheet)
}

fn sheet(keys: &[Key], root: &DeTable, mistakes: &mut Mistakes) -> Sheet {
    let mut sheet = Sheet::default();
    for (key, value) in root.iter() {
        let name: &str = key.get_ref();
        if name == IMPORT {
            sheet.import = import::import(value, mistakes);
        } else if let Some(table) = Table::SINGLE.into_iter().find(|t| t.name() == name) {
            match value.get_ref() {
                DeValue::Table(own) => {
                    let stated = single(keys, own, table, mistakes).0;
                    sheet.stated.0.extend(stated.into_iter().map(|(path, s)| (format!("{name}.{path}"), s)));
                }
                _ => wrong_form(key, table, mistakes),
            }
        } else if name == Table::Car.name() {
            match value.get_ref() {
                DeValue::Table(cars) => read_cars(keys, cars, &mut sheet, mistakes),
                _ => wrong_form(key, Table::Car, mistakes),
            }
        } else if name == Table::Run.name() {
            if value.get_ref().as_array().is_none() {
                wrong_form(key, Table::Run, mistakes);
            }
        } else {
            unknown_table(keys, key, mistakes);
        }
    }
    fill_fields(&mut sheet);
    // Runs come last: they need the cars.
    if let Some(DeValue::Array(entries)) = root.get(Table::Run.name()).map(Spanned::get_ref) {
        runs::read_runs(keys, entries, &mut sheet, mistakes);
    }
    sheet
}

/// The fields of a sheet that the rest of the program uses, from what was stated.
fn fill_fields(sheet: &mut Sheet) {
    let text = |path: &str| sheet.stated.text(path).map(str::to_owned);
    let number = |path: &str| sheet.stated.number(path);
    let (name, date, track, surface) =
        (text("weekend.name"), text("weekend.date"), text("track.name"), text("track.surface"));
    let length = number("track.lap_length_m");
    let plus_minus = number("track.lap_length_plus_minus_m");
    let race_s = number("race.length_s");
    (sheet.name, sheet.date, sheet.track, sheet.surface) = (name, date, track, surface);
    sheet.lap_length_m = length.map(|l| (l, plus_minus.unwrap_or(DEFAULT_LAP_LENGTH_SHARE * l)));
    sheet.race_s = race_s;
}

fn wrong_form(key: &Spanned<toml::de::DeString>, table: Table, mistakes: &mut Mistakes) {
    let heading = table.heading();
    let hint = match table {
        Table::Run => format!("write `{heading}` on a line of its own above each run, and the run's keys below it"),
        _ => format!("write `{heading}` on a line of its own, and its keys below it"),
    };
    mistakes.add(key.span(), format!("`{}` is not written as a section", table.name()), hint);
}

fn unknown_table(keys: &[Key], key: &Spanned<toml::de::DeString>, mistakes: &mut Mistakes) {
    let name: &str = key.get_ref();
    let single = Table::SINGLE.map(|t| t.name());
    let known: Vec<&str> = single.into_iter().chain([Table::Car.name(), Table::Run.name(), IMPORT]).collect();
    if let Some(found) = keys.iter().find(|k| k.path.split('.').next() == Some(name)) {
        let hint = format!("write `{name}` below the heading `{}`", found.table.heading());
        mistakes.add(key.span(), format!("`{name}` is outside its section and was skipped"), hint);
        return;
    }
    let near = known.iter().find(|k| strsim::osa_distance(k, name) <= LIKELY_SLIPS);
    let hint = match near {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("sections are `{}`", known.join("`, `")),
    };
    mistakes.add(key.span(), format!("`{}` is not a section of the sheet and was skipped", printable(name, 40)), hint);
}

fn read_cars(keys: &[Key], cars: &DeTable, sheet: &mut Sheet, mistakes: &mut Mistakes) {
    for (key, value) in cars.iter() {
        let name = key.get_ref().to_string();
        let DeValue::Table(car) = value.get_ref() else {
            let shown = printable(&name, 40);
            let hint = format!("write `[cars.{shown}]` on a line of its own, and the car's keys below it");
            mistakes.add(value.span(), format!("the car `{shown}` is not written as a section"), hint);
            continue;
        };
        let settings = settings(keys, car, Table::Car, mistakes);
        if let Some((pinion, spur)) = settings.number("pinion").zip(settings.number("spur"))
            && pinion > spur
        {
            let span = car.get("pinion").map_or(value.span(), Spanned::span);
            let message = format!("the pinion has more teeth ({pinion}) than the spur ({spur})");
            mistakes.add(span, message, "are the two swapped?");
        }
        sheet.cars.insert(name, settings);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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

    #[test]
    fn a_number_may_carry_its_unit() {
        let sheet = read(
            "[track]\nlap_length_m = \"702 ft\"\nlap_length_plus_minus_m = \"2 ft\"\n[race]\nlength_s = \"5 min\"\n\
             [cars.a]\ntyre_diameter_mm = \"2.48 in\"\nmass_kg = \"1350 g\"\n[[runs]]\nlog = \"x.csv\"\n\
             ambient_c = \"77 °F\"\nmass_kg = 1.35\n",
        )
        .unwrap();
        assert_eq!(sheet.mistakes, []);
        assert_eq!((sheet.lap_length_m, sheet.race_s), (Some((213.9696, 0.6096)), Some(300.0)));
        let (car, run) = (&sheet.cars["a"], &sheet.runs[0]);
        assert_eq!((car.tyre_mm(), run.ambient_c), (Some(62.992), Some(25.0)));
        // One value, however it is written; shown as it is written.
        assert_eq!(car.0["mass_kg"], run.settings.0["mass_kg"]);
        assert_eq!(
            (car.0["mass_kg"].to_string(), run.settings.0["mass_kg"].to_string()),
            ("1350 g".into(), "1.35".into())
        );
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

    /// Every mistake that the reader knows, one of each, as it is said.
    #[test]
    fn each_mistake_says_what_would_be_right() {
        let sheets = [
            "spur = 116\n",
            "[trak]\nname = \"x\"\n",
            "weekend = 3\n[weather]\nsun = true\n",
            "runs = 3\ncars = 4\n",
            "[cars]\na = 3\n",
            "[weekend]\nname = 3\ndate = \"16.5.2026\"\npinion = 31\n",
            "[weekend]\ndate = true\ncolour = \"red\"\n",
            "[track]\nlap_lenght_m = 214\n",
            "[race]\nlength_s = \"5 mn\"\n",
            "[race]\nlength_s = \"five\"\n",
            "[track]\nlap_length_m = \"2 kg\"\nlap_length_plus_minus_m = \"2,500 ft\"\n",
            "[track]\nlap_length_m = \"7 mi\"\n[report]\nunits = \"imperial\"\n",
            "[cars.a]\nspur = \"116.5 T\"\ninternal_ratio = \"1.85 mm\"\n",
            "[cars.a]\nspur = 30\npinion = 31\n",
            "[cars.a]\nspur = 116.5\nmass_kg = 1350\ndriven = \"three\"\ntyre_kind = 3\nambient_c = 24\n",
            "[import]\nrate_hz = 0\nrpm = 3\n",
            "import = 3\n",
            "runs = [3]\n",
            "[[runs]]\nid = \"r1\"\n",
            "[[runs]]\nlog = \"/r1.csv\"\ncar = \"a\"\n",
            "[cars.a]\n[cars.b]\n[[runs]]\nlog = 3\n[[runs]]\nlog = \"\"\ncar = \"c\"\n[[runs]]\nlog = \"x.csv\"\ncar = \"a\"\nlaps = \"../x\"\npart = 0\n",
        ];
        let said = |text: &&str| {
            let sheet = read(text).unwrap();
            let all = sheet.mistakes.iter().chain(sheet.runs.iter().filter_map(|r| r.mistake.as_ref()));
            let lines: Vec<String> = all.map(|m| format!("  {}\n    hint: {}\n", m.brief(), m.hint)).collect();
            assert!(!lines.is_empty(), "{text}");
            format!("{text:?}\n{}", lines.concat())
        };
        insta::assert_snapshot!(sheets.iter().map(said).collect::<Vec<_>>().join("\n"));
    }
}
