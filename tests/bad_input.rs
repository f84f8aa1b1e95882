//! Bad input through the program itself: a clear error or a notice, the other runs reviewed, inputs untouched.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use rstest::rstest;
use serde_json::Value;

fn runtrue(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_runtrue")).args(arguments).output().unwrap()
}

/// What was said on standard error, the breaks of the terminal's width taken out.
fn errors(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).replace("\n  ", " ")
}

fn rows(count: u32) -> String {
    (0..count).map(|n| format!("{}.{:02},{},7.4\n", n / 20, n % 20 * 5, (n % 100) * 300)).collect()
}

fn log() -> String {
    format!("Time [s],RPM,Voltage [V]\n{}", rows(600))
}

#[rstest]
#[case("empty", b"", "is empty")]
#[case("nothing but NUL", &[0; 100], "is empty")]
#[case("binary", &[1, 2, 3, 0, 255, 7, 1, 2, 3, 4, 5, 6], "is not a log but an image or a program")]
#[case("prose", b"Dear diary,\ntoday we raced.\nIt rained.\n", "there is no table of numbers in")]
#[case(
    "no rows",
    b"Time [s],RPM,Voltage [V]\n",
    "(tried: comma: no rows of numbers in 1 line; semicolon: not in the file; tab: not in the file; `|`: not in the file)"
)]
fn files_that_are_no_log(#[case] name: &str, #[case] bytes: &[u8], #[case] says: &str) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.csv");
    fs::write(&path, bytes).unwrap();
    let output = runtrue(&["read", path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1), "{name}");
    assert!(errors(&output).contains(says) && errors(&output).contains("hint: "), "{name}: {}", errors(&output));
}

#[rstest]
#[case("one channel and no time", (0..60).map(|n| format!("{}\n", n * 900 % 7000)).collect::<String>(), "no column gives the time")]
#[case("no time", format!("RPM,Voltage [V]\n{}", (0..60).map(|n| format!("{},7.4\n", n * 100 % 7000)).collect::<String>()), "no column gives the time")]
#[case("time alone", format!("Time [s],Comment\n{}", (0..60).map(|n| format!("{n}.5,x\n")).collect::<String>()), "no column holds rpm, voltage, current or another reading of the car")]
#[case("NaN everywhere", format!("Time [s],RPM,Voltage [V]\n{}", (0..60).map(|n| format!("{n}.5,NaN,NaN\n")).collect::<String>()), "no column holds rpm, voltage, current or another reading of the car")]
fn tables_that_lack_what_is_needed(#[case] name: &str, #[case] text: String, #[case] says: &str) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.csv");
    fs::write(&path, text).unwrap();
    let output = runtrue(&["read", path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1), "{name}");
    assert!(errors(&output).contains(says), "{name}: {}", errors(&output));
}

#[test]
fn a_folder_and_a_missing_file_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let output = runtrue(&["read", folder.path().to_str().unwrap()]);
    assert!(errors(&output).contains("is a folder, not a log"), "{}", errors(&output));
    let output = runtrue(&["review", folder.path().to_str().unwrap()]);
    assert!(errors(&output).contains("there is no log in"), "{}", errors(&output));
    let output = runtrue(&["review", "/nowhere/at/all"]);
    assert_eq!(output.status.code(), Some(1));
    let output = runtrue(&["review"]);
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn two_gigabytes_of_one_line_are_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.csv");
    // A sparse file: digits at its head, then holes, as a damaged card leaves it.
    let file = fs::File::create(&path).unwrap();
    fs::write(&path, "1".repeat(3 << 20)).unwrap();
    file.set_len(2 << 30).unwrap();
    let output = runtrue(&["read", path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(errors(&output).contains("does not end within a million characters"), "{}", errors(&output));
}

/// A weekend of one good run and several that are not.
fn weekend(folder: &Path) {
    fs::create_dir(folder.join("logs")).unwrap();
    fs::write(folder.join("logs/good.csv"), log()).unwrap();
    fs::write(folder.join("logs/empty.csv"), "").unwrap();
    let sheet = r#"
[weekend]
name = "<script>alert(1)</script>"
[cars."<b>car</b>"]
spur = 116
pinion = 31
[[runs]]
id = "good"
car = "<b>car</b>"
log = "logs/good.csv"
note = "<img src=x onerror=alert(1)>"
[[runs]]
id = "unknown car"
car = "nobody"
log = "logs/good.csv"
[[runs]]
id = "outside"
car = "<b>car</b>"
log = "../outside.csv"
[[runs]]
id = "good"
car = "<b>car</b>"
log = "logs/good.csv"
[[runs]]
id = "../../\u0007<script>"
car = "<b>car</b>"
log = "logs/good.csv"
laps = "laps/none.csv"
[[runs]]
id = "empty"
car = "<b>car</b>"
log = "logs/empty.csv"
[[runs]]
id = "gone"
car = "<b>car</b>"
log = "logs/gone.csv"
"#;
    fs::write(folder.join("weekend.toml"), sheet).unwrap();
}

#[test]
fn one_bad_run_does_not_stop_the_others() {
    let folder = tempfile::tempdir().unwrap();
    weekend(folder.path());
    let before = fs::read(folder.path().join("weekend.toml")).unwrap();
    let output = runtrue(&["review", folder.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
    let json: Value = serde_json::from_slice(&fs::read(folder.path().join("report/review.json")).unwrap()).unwrap();
    let error = |at: usize| json["runs"][at]["error"]["message"].as_str().unwrap_or_default().to_owned();
    assert!(json["runs"][0]["error"].is_null());
    for (at, says) in [
        (1, "`nobody` is not on the sheet"),
        (2, "is outside the weekend's folder"),
        (3, "two runs have the id `good`"),
        (5, "is empty"),
        (6, "is not in the weekend's folder"),
    ] {
        assert!(error(at).contains(says), "run {at}: {}", error(at));
    }
    assert!(json["runs"][4]["error"].is_null());
    assert_eq!(fs::read(folder.path().join("weekend.toml")).unwrap(), before);
    // Pages lie in the report's folder alone, and hostile names stay text.
    for entry in fs::read_dir(folder.path().join("report"))
        .unwrap()
        .flatten()
        .filter(|e| e.path().extension().is_some_and(|x| x == "html"))
    {
        let html = fs::read_to_string(entry.path()).unwrap();
        // The page's own scripts come last; what stands before them, and their data, holds no element of a name.
        let (html, own) = html.split_once("</main>").unwrap_or((&html, ""));
        let data = own.split_once("id=\"trace-data\">").and_then(|(_, rest)| rest.split_once("</script>"));
        assert!(data.is_none_or(|(data, _)| !data.contains('<')));
        assert!(!html.contains("<script") && !html.contains("<img") && !html.contains("<b>car"), "{:?}", entry.path());
    }
    let names: Vec<String> =
        fs::read_dir(folder.path()).unwrap().flatten().map(|e| e.file_name().to_string_lossy().into_owned()).collect();
    assert_eq!(names.len(), 3, "{names:?}");
    let printed = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(!printed.contains('\u{7}'));
    assert!(printed.lines().all(|l| l.chars().count() <= 80), "{printed}");
}

#[test]
fn a_sheet_that_is_no_toml_is_drawn() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("weekend.toml"), "[weekend]\nname = Heron\n").unwrap();
    let output = runtrue(&["review", folder.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(errors(&output).contains("weekend.toml:2:8") && errors(&output).contains("hint: "), "{}", errors(&output));
}

#[test]
fn a_lone_log_and_a_folder_without_a_sheet_are_reviewed() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("mine.csv"), log()).unwrap();
    let output = runtrue(&["review", folder.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
    assert!(String::from_utf8_lossy(&output.stdout).contains("a setup sheet: `runtrue sheet FOLDER`"));
    let output = runtrue(&["sheet", folder.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
    let output = runtrue(&["sheet", folder.path().to_str().unwrap()]);
    assert!(errors(&output).contains("already exists; not changed"), "{}", errors(&output));
    let output = runtrue(&["review", folder.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
}
