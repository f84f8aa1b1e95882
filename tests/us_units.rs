//! A weekend for a racer from a country of inches: what is written on the sheet, what is shown, and that no quantity
//! leaves the program unread.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use runtrue::report::pages;
use runtrue::report::{tables, view};
use runtrue::review::review;
use runtrue::review_file;
use runtrue::sheet::Sheet;
use runtrue::sheet::read::read;
use runtrue::units::Units;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay")
}

/// What the program prints on both outputs.
fn program(arguments: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_runtrue"));
    let output = command.args(arguments).stdin(Stdio::null()).output().unwrap();
    [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap()).concat()
}

/// A copy of the sample with lines of its sheet changed.
fn sample_with(folder: &Path, changes: &[(&str, &str)]) {
    for part in ["logs", "laps"] {
        fs::create_dir(folder.join(part)).unwrap();
        for file in fs::read_dir(sample().join(part)).unwrap().flatten() {
            fs::copy(file.path(), folder.join(part).join(file.file_name())).unwrap();
        }
    }
    let mut sheet = fs::read_to_string(sample().join("weekend.toml")).unwrap();
    for (from, to) in changes {
        assert!(sheet.contains(from), "{from}");
        sheet = sheet.replace(from, to);
    }
    fs::write(folder.join("weekend.toml"), sheet).unwrap();
}

/// The text files in a folder, those in its folders too, by their path in it.
fn texts(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap().flatten().map(|e| e.path()) {
        if entry.is_dir() {
            all.extend(texts(&entry));
        } else if let Ok(text) = String::from_utf8(fs::read(&entry).unwrap()) {
            all.push((entry, text));
        }
    }
    all
}

/// Characters that Unicode keeps for the inside of a program, or for private use, and what `printable` makes of them.
fn assert_clean(what: &str, text: &str) {
    let inside = |c: char| matches!(c, '\u{fdd0}'..='\u{fdef}' | '\u{e000}'..='\u{f8ff}');
    let at = text.find(inside).or_else(|| text.find("\\u{fdd"));
    assert_eq!(
        at,
        None,
        "{what}: …{}…",
        at.map_or("", |at| &text[at..text.ceil_char_boundary((at + 200).min(text.len()))])
    );
}

/// Everything that the program prints and writes of a weekend and a season, in both units and as JSON.
#[test]
fn no_mark_leaves_the_program() {
    let folder = tempfile::tempdir().unwrap();
    let weekend = folder.path().join("weekend");
    let season = folder.path().join("season");
    let (weekend_text, season_text) = (weekend.to_str().unwrap(), season.to_str().unwrap());
    program(&["demo", weekend_text, "--seed", "3"]);
    // A limit in another unit, and a run that cannot be read.
    let sheet = fs::read_to_string(weekend.join("weekend.toml")).unwrap();
    let odd = sheet.replacen("motor_c = ", "motor_c = \"248 °F\" # ", 1);
    let odd = odd + "\n[[runs]]\nid = \"x\"\nlog = \"no.csv\"\ncar = \"tourer\"\nambient_c = 55\n";
    fs::write(weekend.join("weekend.toml"), odd).unwrap();
    for units in ["metric", "us"] {
        let shown = ["--units", units];
        let review = ["review", weekend_text, "-v"];
        assert_clean("review", &program(&[&review[..], &shown].concat()));
        for (file, text) in texts(&weekend.join("report")) {
            assert_clean(file.to_str().unwrap(), &text);
        }
        for race in [&["--air", "95°F", "--race", "8min", "--pinion", "30"][..], &["--air", "-400"], &["--air", "2 kg"]]
        {
            let ahead = [&["ahead", weekend_text, "--run", "t2"], race, &shown[..]].concat();
            assert_clean("ahead", &program(&ahead));
            assert_clean("ahead", &program(&[&ahead[..], &["--format", "json"]].concat()));
        }
        assert_clean("gears", &program(&[&["gears", "--from", weekend_text, "--car", "tourer"][..], &shown].concat()));
        let log = weekend.join("logs/t2.csv");
        assert_clean("read", &program(&[&["read", log.to_str().unwrap()][..], &shown].concat()));
        assert_clean("season", &program(&[&["season", weekend_text, "--out", season_text][..], &shown].concat()));
    }
    assert_clean("review", &program(&["review", weekend_text, "--format", "json"]));
    assert_clean("season", &program(&["season", weekend_text, "--out", season_text, "--format", "json"]));
    for (file, text) in texts(&season) {
        assert_clean(file.to_str().unwrap(), &text);
    }
    for schema in ["review", "sheet", "season"] {
        assert_clean(schema, &program(&[schema, "--schema"]));
    }
}

#[test]
fn the_sheet_in_other_units_is_the_same_weekend() {
    let folder = tempfile::tempdir().unwrap();
    let changes = [("lap_length_m = 214.0", "lap_length_m = \"21400 cm\""), ("mass_kg = 1.35", "mass_kg = \"1350 g\"")];
    sample_with(folder.path(), &changes);
    let written = |folder: &Path| review_file::text(&review(folder, &|_, _| {}).unwrap());
    let path = |text: String, folder: &Path| text.replace(folder.to_str().unwrap(), "");
    assert_eq!(path(written(folder.path()), folder.path()), path(written(&sample()), &sample()));
}

/// JSON and tables are the same whatever people are shown.
#[test]
fn what_programs_read_stays_metric() {
    let folder = tempfile::tempdir().unwrap();
    sample_with(folder.path(), &[("[race]", "[report]\nunits = \"us\"\n\n[race]")]);
    let metric = review(&sample(), &|_, _| {}).unwrap();
    let us = review(folder.path(), &|_, _| {}).unwrap();
    assert_eq!((metric.sheet.units(), us.sheet.units()), (Units::Metric, Units::Us));
    let findings = |review: &runtrue::review::Review| {
        let file: serde_json::Value = serde_json::from_str(&review_file::text(review)).unwrap();
        file["findings"].clone()
    };
    assert_eq!(findings(&us), findings(&metric));
    assert!(findings(&us).to_string().contains("°C") && !findings(&us).to_string().contains("°F"));
    let runs = |review| tables::runs(review, runtrue::figure::FIGURES).unwrap();
    assert_eq!(runs(&us), runs(&metric));
}

/// A page holds both readings of each quantity, each in its place.
#[test]
fn a_page_holds_both_units() {
    let review = review(&sample(), &|_, _| {}).unwrap();
    let view = view::run(&review, 3);
    let (metric, us) = (pages::run(&view, Units::Metric).unwrap(), pages::run(&view, Units::Us).unwrap());
    let count = |page: &str, of: &str| page.matches(of).count();
    assert!(count(&metric, " data-us=\"") > 40, "{}", count(&metric, " data-us=\""));
    assert_eq!(count(&metric, " data-us=\""), count(&us, " data-metric=\""));
    assert_eq!((count(&metric, " data-metric=\""), count(&us, " data-us=\"")), (0, 0));
    assert!(metric.contains("<html lang=\"en\" data-units=\"metric\">") && us.contains("data-units=\"us\""));
    // What a chart says is in the page's units too.
    for part in us.split("<text").skip(1) {
        let inside = part.split_once('>').unwrap().1.split_once("</text>").unwrap().0;
        let shown: String = inside.split('<').map(|p| p.split_once('>').map_or(p, |p| p.1)).collect();
        assert!(!["°C", "km/h", "m/s", "mm"].iter().any(|unit| shown.contains(unit)), "{shown}");
    }
    // The one is the other, switched.
    let switched = |page: &str, from: &str, to: &str| {
        let mut out = String::new();
        let mut rest = page;
        while let Some((before, behind)) = rest.split_once(&format!(" data-{from}=\"")) {
            let (hidden, behind) = behind.split_once("\">").unwrap();
            let (shown, behind) = behind.split_once("</").unwrap();
            out += &format!("{before} data-{to}=\"{shown}\">{hidden}</");
            rest = behind;
        }
        (out + rest).replace(&format!("data-units=\"{to}\""), &format!("data-units=\"{from}\""))
    };
    let body = |page: String| page.split_once("<main>").unwrap().1.to_owned();
    let without_labels = |page: String| {
        page.split("aria-label=\"").map(|p| p.split_once('"').map_or(p, |p| p.1).to_owned()).collect::<String>()
    };
    assert_eq!(without_labels(body(switched(&metric, "us", "metric"))), without_labels(body(us)));
}

#[test]
fn the_sheet_says_its_units() {
    let units = |text: &str| read(text).unwrap().units();
    assert_eq!(units(""), Units::Metric);
    assert_eq!(units("[report]\nunits = \"us\"\n"), Units::Us);
    assert_eq!(units("[report]\nunits = \"US\"\n"), Units::Us);
    assert_eq!(Sheet::default().units(), Units::Metric);
}
