//! Every sentence that runtrue says, in one file that can be read from top to bottom: `tests/snapshots/words.snap`.
//!
//! The sentences come from real work, not from the source: reviews of weekends with faults, logs, lists and sheets that
//! are broken in every way we know, a season, the local page over the wire, wrong commands. A number stands for all of
//! its kind, so that each sentence is there once. After a change of words: `INSTA_UPDATE=always cargo test --release
//! --test words`, then read what changed aloud.
//!
//! To extend it: a broken input goes into `inputs.rs`, a further weekend or request into its stage here.

#[path = "../../src/cli.rs"]
mod cli;
#[path = "../driven/mod.rs"]
mod driven;
#[path = "../faulted/mod.rs"]
mod faulted;
mod gather;
mod inputs;
mod local_page;
#[path = "../packing/mod.rs"]
mod packing;

use std::path::{Path, PathBuf};

use clap::CommandFactory;
use cli::Arguments;
use driven::{driven_on, reviewed, track};
use faulted::fault::{self, At};
use faulted::worlds::World;
use gather::{Words, program, text_of};
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Drive;
use runtrue::demo::recorder::Recorder;
use runtrue::kept::KeptRuns;
use runtrue::review::review_again;
use runtrue::review_file;
use serde_json::Value;

/// The stages in the order of the work, which is that of the file.
const STAGES: [&str; 12] = [
    "Reading logs",
    "Setup sheet",
    "Lap lists and laps",
    "Evidence",
    "Answers of a run",
    "Findings",
    "Trends",
    "Changes",
    "Terminal and pages",
    "Season",
    "Local page",
    "Command line",
];

/// Where a string of `review.json` belongs.
fn stage(path: &[String]) -> &'static str {
    let has = |part: &str| path.iter().any(|p| p == part);
    if has("evidence") {
        "Evidence"
    } else if has("findings") {
        "Findings"
    } else if has("trends") {
        "Trends"
    } else if has("comparisons") || has("before") {
        "Changes"
    } else if has("weekend") || has("error") {
        "Setup sheet"
    } else if has("reading") {
        "Reading logs"
    } else if has("laps") {
        "Lap lists and laps"
    } else {
        "Answers of a run"
    }
}

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay")
}

/// A folder whose own name is the same each time.
struct Folder(#[allow(dead_code)] tempfile::TempDir, PathBuf);

impl Folder {
    fn new() -> Self {
        let kept = tempfile::tempdir().unwrap();
        let path = kept.path().join("weekend");
        std::fs::create_dir(&path).unwrap();
        Self(kept, path)
    }

    fn path(&self) -> &Path {
        &self.1
    }

    fn text(&self) -> &str {
        self.1.to_str().unwrap()
    }

    /// The same folder with `bytes` in a file.
    fn with(self, name: &str, bytes: impl AsRef<[u8]>) -> Self {
        std::fs::write(self.1.join(name), bytes).unwrap();
        self
    }
}

/// Reviews `folder`: the file's sentences, and where `pages` is set those of the terminal and of the pages too.
fn review(words: &mut Words, folder: &Folder, pages: bool) {
    words.in_folder(folder.text());
    let said = program(&["review", folder.text(), "--format", "json"]);
    match serde_json::from_str::<Value>(&said.out) {
        Ok(file) => words.json(&file, &stage),
        Err(_) => words.problem("Setup sheet", &said),
    }
    if pages {
        words.lines("Terminal and pages", &program(&["review", folder.text(), "-v"]).out);
        let entries = std::fs::read_dir(folder.path().join("report")).unwrap();
        let mut files: Vec<PathBuf> = entries.map(|e| e.unwrap().path()).collect();
        files.sort();
        for file in files.iter().filter(|f| f.extension().is_some_and(|e| e == "html")) {
            words.page("Terminal and pages", &std::fs::read_to_string(file).unwrap());
        }
    }
}

/// The sample weekend with lines of its sheet changed.
fn changed(changes: &[(&str, &str)]) -> Folder {
    let folder = Folder::new();
    for part in ["logs", "laps"] {
        std::fs::create_dir(folder.path().join(part)).unwrap();
        for file in std::fs::read_dir(sample().join(part)).unwrap().flatten() {
            std::fs::copy(file.path(), folder.path().join(part).join(file.file_name())).unwrap();
        }
    }
    let mut sheet = std::fs::read_to_string(sample().join("weekend.toml")).unwrap();
    for (from, to) in changes {
        assert!(sheet.contains(from), "{from:?} is not on the sample's sheet");
        sheet = sheet.replace(from, to);
    }
    folder.with("weekend.toml", sheet)
}

fn logs(words: &mut Words) {
    for (name, bytes) in inputs::logs() {
        let folder = Folder::new().with("log.csv", bytes);
        words.in_folder(folder.text());
        let said = program(&["read", folder.path().join("log.csv").to_str().unwrap(), "--format", "json"]);
        assert!(!said.error.contains("panicked"), "{name}: {}", said.error);
        match serde_json::from_str::<Value>(&said.out) {
            Ok(read) => words.json(&read, &|_| "Reading logs"),
            Err(_) => words.problem("Reading logs", &said),
        }
    }
}

/// Sheets, lists and logs that go wrong in a folder.
fn folders(words: &mut Words) {
    let good = || Folder::new().with("good.csv", inputs::log(1200));
    for sheet in inputs::sheets() {
        review(words, &good().with("other.csv", inputs::log(600)).with("weekend.toml", sheet), false);
    }
    for list in inputs::lists() {
        let sheet = "[cars.a]\n[[runs]]\nid = \"r\"\ncar = \"a\"\nlog = \"good.csv\"\nlaps = \"laps.csv\"\n";
        review(words, &good().with("laps.csv", list).with("weekend.toml", sheet), false);
    }
    for log in inputs::lacking() {
        review(words, &Folder::new().with("good.csv", log), false);
    }
    for log in inputs::grounded() {
        review(words, &Folder::new().with("good.csv", log).with("weekend.toml", inputs::GROUNDED_SHEET), false);
    }
}

fn weekends(words: &mut Words) {
    for changes in inputs::weekends() {
        review(words, &changed(changes), false);
    }
    review(words, &changed(&[]), true);
    review(words, &Folder::new().with("mine.csv", inputs::log(1200)), true);
}

/// Every kind of fault on a weekend.
fn faults(words: &mut Words) {
    let weekend = World::Demo.weekend(0);
    let (mut folder, mut kept) = (faulted::weekend::Folder::new(), KeptRuns::default());
    for fault in fault::all() {
        let mut faulty = weekend.clone();
        let at = At { run: 1, seed: 0, strength: fault.strengths[0].1 };
        if fault.put(&mut faulty, at).is_some() {
            let path = folder.lay(&faulty).to_owned();
            words.in_folder(path.to_str().unwrap());
            let review = review_again(&path, &mut kept, &|_, _| {}).unwrap();
            words.json(&serde_json::from_str(&review_file::text(&review)).unwrap(), &stage);
        }
    }
}

/// What changes from run to run of a day.
type Day = fn(f64, &mut Drive);

/// Days of six runs on which something moves: the fan, the air, the tyres, the pack, the grip, the pace.
fn days(words: &mut Words) {
    let all: [(CarSpec, Day); 5] = [
        (CarSpec::tourer(), |n, d| d.fan = 1.0 - n / 6.0),
        (CarSpec::tourer(), |n, d| d.ambient = 18.0 + 3.0 * n),
        (CarSpec::pan(), |n, d| d.tyre -= 0.0004 * n),
        (CarSpec::tourer(), |n, d| d.pack_age = 1.0 + 0.1 * n),
        (CarSpec::pan(), |n, d| d.spin = 0.02 * n),
    ];
    for (car, change) in all {
        let track = track(&car, 1);
        let run = |n: u32| {
            let drive = driven_on(&car, &track, 100 + u64::from(n), |d| {
                d.length = 150.0;
                change(f64::from(n), d);
            });
            (drive, String::new())
        };
        let review = reviewed(&(0..6).map(run).collect::<Vec<_>>(), &Recorder::plain(20.0));
        words.json(&serde_json::from_str(&review_file::text(&review)).unwrap(), &stage);
    }
}

fn season(words: &mut Words) {
    let folder = Folder::new();
    words.in_folder(folder.text());
    let (weekends, out) = (folder.path().join("club"), folder.path().join("season"));
    let (root, out) = (weekends.to_str().unwrap(), out.to_str().unwrap());
    words.lines("Season", &program(&["demo", root, "--season", "5"]).out);
    for (name, file) in inputs::reviews() {
        let report = weekends.join(name).join("report");
        std::fs::create_dir_all(&report).unwrap();
        std::fs::write(report.join("review.json"), file).unwrap();
    }
    // Another's weekend of the same date and name.
    let first = std::fs::read_dir(&weekends).unwrap().flatten().map(|e| e.path()).filter(|p| p.join("logs").is_dir());
    let sheet = std::fs::read(first.min().unwrap().join("weekend.toml")).unwrap();
    std::fs::create_dir_all(weekends.join("zwin/logs")).unwrap();
    std::fs::write(weekends.join("zwin/weekend.toml"), sheet).unwrap();
    std::fs::write(weekends.join("zwin/logs/t1.csv"), inputs::log(400)).unwrap();
    for form in ["json", "text"] {
        let said = program(&["season", root, "--out", out, "--format", form]);
        match serde_json::from_str::<Value>(&said.out) {
            Ok(answers) => words.json(&answers, &|_| "Season"),
            Err(_) => words.lines("Season", &said.out),
        }
        words.problem("Season", &said);
    }
    words.page("Season", &std::fs::read_to_string(Path::new(out).join("index.html")).unwrap());
}

fn commands(words: &mut Words) {
    let folder = changed(&[]);
    words.in_folder(folder.text());
    let mut all = Arguments::command().term_width(0).max_term_width(0);
    all.build();
    for command in std::iter::once(&all.clone()).chain(all.get_subcommands()) {
        let help = command.clone().render_long_help().to_string();
        help.lines().for_each(|line| words.lines("Command line", line));
    }
    for line in inputs::commands() {
        let arguments: Vec<String> = line.split_whitespace().map(|w| w.replace("FOLDER", folder.text())).collect();
        let said = program(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
        words.lines("Command line", &said.out);
        words.lines("Command line", &said.error);
    }
}

#[test]
fn every_sentence_can_be_read_from_top_to_bottom() {
    // Three at a time; the order in which they are put together settles which of two like sentences is kept.
    let gather = |parts: &[fn(&mut Words)]| {
        let mut words = Words::default();
        parts.iter().for_each(|part| part(&mut words));
        words
    };
    let page = |words: &mut Words| local_page::local_page(words, &changed(&[]), &Folder::new());
    let words = std::thread::scope(|scope| {
        let weekends = scope.spawn(|| gather(&[weekends, page]));
        let season = scope.spawn(|| gather(&[days, season, faults]));
        let inputs = gather(&[logs, folders, commands]);
        inputs.merge(weekends.join().unwrap()).merge(season.join().unwrap())
    });
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "../snapshots", omit_expression => true }, {
        insta::assert_snapshot!("words", words.in_order(&STAGES));
    });
}

/// Units of a country of inches.
const US: [&str; 4] = ["°F", "ft/s²", "mph", " ft"];
/// Those that people are shown elsewhere.
const METRIC: [&str; 7] = ["°C", "m/s", "km/h", " mm ", " mm.", " mm,", " m "];

/// What the sample weekend says in US units: the sentences and heads of pages and terminal that hold a quantity.
#[test]
fn us_units_can_be_read_from_top_to_bottom() {
    let folder = changed(&[]);
    let mut words = Words::default();
    let said = |line: &[&str]| program(&[line, &["--units", "us"]].concat()).out.replace("\n  ", " ");
    let race = ["--run", "t2", "--air", "95°F", "--start", "104°F", "--pinion", "30"];
    let gears = ["--pinion", "28-30", "--spur", "116", "--internal", "1.85", "--tyre", "2.48in"];
    let log = folder.path().join("logs/t2.csv");
    let terminal = [
        said(&["review", folder.text()]),
        said(&[&["ahead", folder.text()], &race[..]].concat()),
        said(&[&["gears"], &gears[..]].concat()),
    ];
    terminal.iter().flat_map(|text| text.lines()).for_each(|line| keep_us(&mut words, "Terminal", line));
    // How a log was read names the units of its channels, with those of people beside the values.
    let read = said(&["read", log.to_str().unwrap()]);
    read.lines().filter(|line| line.contains("°F")).for_each(|line| words.add("Reading logs", line));
    let mut pages: Vec<PathBuf> =
        std::fs::read_dir(folder.path().join("report")).unwrap().map(|e| e.unwrap().path()).collect();
    pages.sort();
    for page in pages.iter().filter(|f| f.extension().is_some_and(|e| e == "html")) {
        let html = std::fs::read_to_string(page).unwrap();
        // What stands on the sheet and in the log is shown as it is written there.
        let own = html.split_once("How the log was read").map_or(html.as_str(), |(page, _)| page);
        let (above, below) = own.split_once("Setup</h2>").unwrap_or((own, ""));
        let below = below.split_once("</section>").map_or("", |(_, below)| below);
        let texts = [above, below].map(gather::all_text_of).concat();
        texts.iter().for_each(|text| keep_us(&mut words, "Pages", text));
    }
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "../snapshots", omit_expression => true }, {
        insta::assert_snapshot!("us", words.in_order(&["Terminal", "Reading logs", "Pages"]));
    });
}

/// Keeps a text with a quantity in US units, and holds that it has none in others.
fn keep_us(words: &mut Words, stage: &'static str, text: &str) {
    let text = text.trim();
    let has = |unit: &&str| format!("{text} ").contains(*unit);
    // Two values of the sheet stand there as they are written on it.
    assert!(text.contains('→') || !METRIC.iter().any(has), "{text}");
    let parts: Vec<&str> = text.split(" in").collect();
    let behind_a_number = parts[..parts.len() - 1].iter().any(|before| before.ends_with(|c: char| c.is_ascii_digit()));
    if behind_a_number || text.ends_with(", in") || US.iter().any(has) {
        words.add(stage, text);
    }
}

/// The gatherer keeps a sentence once for all its numbers, and a page's text apart from its script.
#[test]
fn sentences_are_kept_once() {
    let mut words = Words::default();
    for text in ["Run t3 took 4.5 s", "Run t4 took −12 s", "Run of another kind"] {
        words.add("Findings", text);
    }
    assert_eq!(words.in_order(&["Findings"]).lines().count(), 4, "{}", words.in_order(&["Findings"]));
    let html =
        "<p>It was <b>very</b> hot</p><script>var not_a = 'word at all'</script><td title=\"why it was hot\">1</td>";
    assert_eq!(text_of(html), ["It was very hot", "why it was hot"]);
}
