//! Nothing of the user's is written over or lost: by a report, a data set, a demo, a copy of a log, a starter sheet,
//! the manual pages, or a sheet that is saved on the local page. What runtrue wrote itself is renewed.
#![cfg(unix)]

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, RecordBatch};
use rstest::rstest;
use runtrue::log::Log;
use runtrue::notice::{NoticeCode, Severity};
use runtrue::storage::{Converted, is_converted};
use serde_json::Value;

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_runtrue")).args(arguments).stdin(Stdio::null()).output().unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn sample(run: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("sample-logs/alder-quay/logs/{run}.csv"))
}

/// Every file and link in a folder, with what it holds or where it leads.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        match fs::read_link(&path) {
            Ok(target) => drop(all.insert(path, target.into_os_string().into_encoded_bytes())),
            Err(_) if path.is_dir() => all.extend(contents(&path)),
            Err(_) => drop(all.insert(path.clone(), fs::read(&path).unwrap())),
        }
    }
    all
}

/// What was said on standard error, the breaks of the terminal's width taken out.
fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A Parquet file of another program.
fn foreign_parquet() -> Vec<u8> {
    let column: ArrayRef = Arc::new(Float64Array::from(vec![1.0, 2.0]));
    let batch = RecordBatch::try_from_iter([("mine", column)]).unwrap();
    let mut bytes = Vec::new();
    let mut writer = parquet::arrow::ArrowWriter::try_new(&mut bytes, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    bytes
}

/// A weekend of one log.
fn small_weekend() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("logs")).unwrap();
    fs::copy(sample("t1"), folder.path().join("logs/t1.csv")).unwrap();
    folder
}

#[rstest]
#[case("index.html", b"<!doctype html><title>My weekend</title>".to_vec())]
#[case("run-01-t1.html", b"<html>mine</html>".to_vec())]
#[case("review.json", br#"{"format": "my review 1"}"#.to_vec())]
#[case("review.json", b"not even JSON".to_vec())]
#[case("runs.parquet", foreign_parquet())]
#[case("laps.parquet", b"".to_vec())]
#[case("logs/run-01-t1.parquet", foreign_parquet())]
#[case("logs", b"a file in the place of the folder".to_vec())]
fn a_report_is_written_over_nothing_of_the_users(#[case] name: &str, #[case] content: Vec<u8>) {
    let folder = small_weekend();
    let report = folder.path().join("report");
    let file = report.join(name);
    fs::create_dir_all(file.parent().unwrap()).unwrap();
    fs::write(&file, &content).unwrap();
    let before = contents(folder.path());
    let arguments = ["review", text(folder.path()), "--out", text(&report)];
    for arguments in [&arguments[..2], &arguments] {
        let refused = run(arguments);
        assert_eq!(refused.status.code(), Some(1), "{}", said(&refused));
        assert!(said(&refused).contains(text(&file)) && said(&refused).contains("hint: move it"), "{}", said(&refused));
        assert_eq!(contents(folder.path()), before, "nothing is written at all");
    }
    // Once it is out of the way, and whatever else the user keeps in the folder.
    fs::remove_file(&file).unwrap();
    fs::create_dir_all(report.join("logs")).unwrap();
    for own in ["notes.txt", "logs/notes.txt", "my page.html"] {
        fs::write(report.join(own), "mine").unwrap();
    }
    for _ in 0..2 {
        let done = run(&arguments);
        assert!(done.status.success(), "{}", said(&done));
    }
    for own in ["notes.txt", "logs/notes.txt", "my page.html"] {
        assert_eq!(fs::read(report.join(own)).unwrap(), b"mine");
    }
}

/// A pipe in the place of a file is neither waited for nor replaced.
#[test]
fn a_pipe_in_a_report_is_not_opened() {
    let folder = small_weekend();
    fs::create_dir(folder.path().join("report")).unwrap();
    let pipe = folder.path().join("report/index.html");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let refused = run(&["review", text(folder.path())]);
    assert!(said(&refused).contains("index.html"), "{}", said(&refused));
    assert!(!fs::symlink_metadata(&pipe).unwrap().is_file());
}

#[rstest]
#[case::a_page("report/index.html", "pages/index.html")]
#[case::a_page_that_is_not_there_yet("report/run-01-t1.html", "pages/none.html")]
#[case::a_folder("report/logs", "pages")]
#[case::the_report("report", "pages")]
fn a_report_is_not_written_through_a_link(#[case] link: &str, #[case] target: &str) {
    let folder = small_weekend();
    let elsewhere = tempfile::tempdir().unwrap();
    // Not even over a page that runtrue wrote.
    assert!(run(&["review", text(folder.path()), "--out", text(&elsewhere.path().join("pages"))]).status.success());
    let link = folder.path().join(link);
    fs::create_dir_all(link.parent().unwrap()).unwrap();
    symlink(elsewhere.path().join(target), &link).unwrap();
    let before = (contents(folder.path()), contents(elsewhere.path()));
    let refused = run(&["review", text(folder.path())]);
    assert_eq!(refused.status.code(), Some(1), "{}", said(&refused));
    assert!(said(&refused).contains(&format!("{}` is a link", text(&link))), "{}", said(&refused));
    assert_eq!((contents(folder.path()), contents(elsewhere.path())), before);
}

/// Pages of versions that did not name themselves are known by how they begin, and renewed.
#[test]
fn a_report_of_an_earlier_version_is_renewed() {
    let folder = small_weekend();
    assert!(run(&["review", text(folder.path())]).status.success());
    let report = folder.path().join("report");
    let new = contents(&report);
    for page in new.keys().filter(|f| f.extension().is_some_and(|e| e == "html")) {
        let html = fs::read_to_string(page).unwrap();
        let earlier = html.replacen("<meta name=\"generator\" content=\"runtrue\">\n", "", 1);
        assert_ne!(earlier, html);
        fs::write(page, earlier).unwrap();
    }
    let renewed = run(&["review", text(folder.path())]);
    assert!(renewed.status.success(), "{}", said(&renewed));
    assert_eq!(contents(&report), new);
}

#[rstest]
#[case("logs/t1.csv", "time s,rpm\n1,2\n")]
#[case("logs/mine.csv", "time s,rpm\n1,2\n")]
#[case("laps/t1.csv", "1,15.2\n")]
#[case("weekend.toml", "[weekend]\n")]
#[case("truth.json", "{\"seed\": 1}\n")]
#[case("notes.txt", "mine")]
#[case("2026/notes.txt", "mine")]
#[case("logs", "a file")]
fn a_demo_goes_into_no_folder_that_holds_something(
    #[case] name: &str,
    #[case] content: &str,
    #[values(&[], &["--season", "1"])] more: &[&str],
) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(name);
    fs::create_dir_all(file.parent().unwrap()).unwrap();
    fs::write(&file, content).unwrap();
    let before = contents(folder.path());
    let refused = run(&[&["demo", text(folder.path())], more].concat());
    assert_eq!(refused.status.code(), Some(1), "{}", said(&refused));
    let named = Path::new(name).components().next().unwrap();
    assert!(said(&refused).contains(text(named.as_ref())) && said(&refused).contains("hint: "), "{}", said(&refused));
    assert_eq!(contents(folder.path()), before);
}

#[test]
fn a_demo_is_written_again_until_somebody_changes_it() {
    let folder = tempfile::tempdir().unwrap();
    let (place, other) = (folder.path().join("demo"), folder.path().join("other"));
    let demo = |place: &Path, more: &[&str]| run(&[&["demo", text(place)], more].concat());
    let relative = |place: &Path| -> Vec<(PathBuf, Vec<u8>)> {
        let strip = |(path, bytes): (PathBuf, Vec<u8>)| (path.strip_prefix(place).unwrap().to_owned(), bytes);
        contents(place).into_iter().map(strip).collect()
    };
    // Empty, then another seed, a season, and a weekend again: nothing of the one before is left.
    fs::create_dir(&place).unwrap();
    let forms: [&[&str]; 4] = [&[], &["--seed", "2"], &["--season", "1", "--seed", "3"], &[]];
    for form in forms {
        let done = demo(&place, form);
        assert!(done.status.success(), "{form:?}: {}", said(&done));
        assert!(demo(&other, form).status.success());
        assert_eq!(relative(&place), relative(&other), "{form:?}");
        fs::remove_dir_all(&other).unwrap();
    }
    for changed in ["truth.json", "weekend.toml", "logs/t1.csv"] {
        let file = place.join(changed);
        let as_it_was = fs::read(&file).unwrap();
        fs::write(&file, [&as_it_was[..], b"\n"].concat()).unwrap();
        let before = contents(&place);
        let refused = demo(&place, &["--seed", "2"]);
        assert_eq!(refused.status.code(), Some(1), "{changed}");
        assert_eq!(contents(&place), before, "{changed}");
        fs::write(&file, as_it_was).unwrap();
    }
    // Links are somebody's.
    fs::rename(place.join("logs"), folder.path().join("logs")).unwrap();
    symlink(folder.path().join("logs"), place.join("logs")).unwrap();
    assert_eq!(demo(&place, &["--seed", "2"]).status.code(), Some(1));
}

/// A disk that is full, by the system's limit on a file's size: nothing half-written is left, and no folder.
#[test]
fn a_demo_that_does_not_fit_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    for place in ["new/demo", "empty"] {
        let place = folder.path().join(place);
        if place.ends_with("empty") {
            fs::create_dir(&place).unwrap();
        }
        let line = format!("trap '' XFSZ; ulimit -f 300; exec {} demo {}", env!("CARGO_BIN_EXE_runtrue"), text(&place));
        let output = Command::new("sh").args(["-c", &line]).output().unwrap();
        assert!(output.status.code() == Some(1) && said(&output).contains("could not be written"), "{}", said(&output));
        assert!(contents(folder.path()).is_empty());
    }
    let left: Vec<_> = fs::read_dir(folder.path()).unwrap().flatten().map(|e| e.file_name()).collect();
    assert_eq!(left, ["empty"]);
    assert_eq!(fs::read_dir(folder.path().join("empty")).unwrap().count(), 0);
}

#[test]
fn starter_sheets_conversions_and_manual_pages_go_over_nothing() {
    let folder = small_weekend();
    let nowhere = folder.path().join("nowhere.toml");
    // A link that leads nowhere yet is there all the same.
    for (link, arguments) in [
        ("weekend.toml", vec!["sheet", text(folder.path())]),
        ("t1.parquet", vec!["convert", "logs/t1.csv", "--to", "parquet", "--out", "t1.parquet"]),
        ("runtrue-read.1", vec!["man", "."]),
    ] {
        symlink(&nowhere, folder.path().join(link)).unwrap();
        let before = contents(folder.path());
        let refused =
            Command::new(env!("CARGO_BIN_EXE_runtrue")).args(&arguments).current_dir(folder.path()).output().unwrap();
        assert_eq!(refused.status.code(), Some(1), "{link}: {}", said(&refused));
        assert_eq!(contents(folder.path()), before, "{link}");
        fs::remove_file(folder.path().join(link)).unwrap();
    }
    fs::write(folder.path().join("runtrue.1"), "my notes").unwrap();
    let before = contents(folder.path());
    assert_eq!(run(&["man", text(folder.path())]).status.code(), Some(1));
    assert_eq!(contents(folder.path()), before);
    fs::remove_file(folder.path().join("runtrue.1")).unwrap();
    for _ in 0..2 {
        let done = run(&["man", text(folder.path())]);
        assert!(done.status.success(), "{}", said(&done));
    }
    // Of a log of two runs neither is written where one has no place.
    let rows =
        |start: u32| (0..300).map(move |n| format!("{:.2},{}\n", f64::from(n + start) * 0.05, 900 + 50 * (n % 90)));
    let two = rows(0).chain(["time s,rpm\n".to_owned()]).chain(rows(0)).collect::<String>();
    fs::write(folder.path().join("two.csv"), format!("time s,rpm\n{two}")).unwrap();
    fs::write(folder.path().join("out.2.csv"), "mine").unwrap();
    let before = contents(folder.path());
    let out = folder.path().join("out.csv");
    let refused = run(&["convert", text(&folder.path().join("two.csv")), "--to", "csv", "--out", text(&out)]);
    assert!(refused.status.code() == Some(1) && said(&refused).contains("out.2.csv"), "{}", said(&refused));
    assert_eq!(contents(folder.path()), before);
}

/// The copies of a log in every format tell which log they are of, and the CSV reads as the log itself.
#[rstest]
fn a_converted_log_is_known_and_reads_as_itself(
    #[values("t1", "t2", "t3", "t4", "t5", "t6", "p1", "p2", "p3", "p4")] name: &str,
) {
    let folder = tempfile::tempdir().unwrap();
    let log = sample(name);
    let bytes = fs::read(&log).unwrap();
    assert!(!is_converted(&bytes) && Converted::of_file(&log).unwrap().is_none());
    let expected = Some(Converted { source: Some(runtrue::fingerprint::fnv_1a(&bytes)) });
    for (format, ending) in [("parquet", "parquet"), ("arrow", "arrow"), ("csv", "csv")] {
        let copy = folder.path().join(format!("copy.{ending}"));
        let done = run(&["convert", text(&log), "--to", format, "--out", text(&copy)]);
        assert!(done.status.success(), "{}", said(&done));
        assert_eq!(Converted::of_file(&copy).unwrap(), expected, "{format}");
    }
    let csv = folder.path().join("copy.csv");
    assert!(is_converted(&fs::read(&csv).unwrap()));
    let again = folder.path().join("again.csv");
    assert!(run(&["convert", text(&csv), "--to", "csv", "--out", text(&again)]).status.success());
    assert_eq!(fs::read(&csv).unwrap(), fs::read(&again).unwrap());
    let (original, copy) =
        (runtrue::read_by_sheet::read_log(&log).unwrap(), runtrue::read_by_sheet::read_log(&csv).unwrap());
    assert_eq!((original.len(), copy.len()), (1, 1));
    let (original, copy) = (&original[0], &copy[0]);
    let names = |log: &Log| -> Vec<String> { log.batch().schema().fields().iter().map(|f| f.name().clone()).collect() };
    assert_eq!(names(original), names(copy));
    for (index, name) in names(original).iter().enumerate() {
        assert_eq!(original.batch().column(index), copy.batch().column(index), "{name}");
    }
    // Missing readings are missing in the copy too; nothing else is to be said of it.
    let remarks = copy.reading.notices.iter().filter(|n| n.severity == Severity::Warning);
    assert!(remarks.into_iter().all(|n| n.code == NoticeCode::MissingCells), "{:?}", copy.reading.notices);
    // Readers that take every row to be as wide as the first.
    let mut strict = csv::Reader::from_path(&csv).unwrap();
    assert_eq!(strict.records().map(|r| r.unwrap().len()).min(), Some(names(copy).len() + 1));
}

/// A server on a folder whose files may not grow beyond some blocks, stopped when it is dropped.
struct Server {
    child: Child,
    host: String,
    cookie: String,
    /// Path below which all its pages are, with a slash before it and none after it.
    room: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    fn start(folder: &Path, limit: &str) -> Self {
        let line = format!(
            "trap '' XFSZ; {limit}; exec {} serve {} --no-open --format json",
            env!("CARGO_BIN_EXE_runtrue"),
            text(folder)
        );
        let mut command = Command::new("sh");
        let mut child = command.args(["-c", &line]).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut said = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut said).unwrap();
        let said: Value = serde_json::from_str(&said).unwrap();
        let (host, path) = said["url"].as_str().unwrap().strip_prefix("http://").unwrap().split_once('/').unwrap();
        let mut server = Self { child, host: host.to_owned(), cookie: String::new(), room: String::new() };
        let answer = server.ask("GET", &format!("/{path}"), "");
        let cookie = answer.lines().find_map(|l| l.strip_prefix("set-cookie: ")).unwrap();
        server.room = cookie.split("Path=").nth(1).unwrap().split("/;").next().unwrap().to_owned();
        server.cookie = cookie.split(';').next().unwrap().to_owned();
        server
    }

    fn ask(&self, method: &str, path: &str, form: &str) -> String {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let head = format!(
            "{method} {3}{path} HTTP/1.1\r\nHost: {0}\r\nOrigin: http://{0}\r\nCookie: {1}\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {2}\r\n\r\n{form}",
            self.host,
            self.cookie,
            form.len(),
            self.room
        );
        stream.write_all(head.as_bytes()).unwrap();
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).unwrap();
        String::from_utf8_lossy(&bytes).into_owned()
    }

    /// The page that a form's answer leads to.
    fn page_after(&self, answer: &str) -> String {
        assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
        let location = answer.lines().find_map(|l| l.strip_prefix("location: ")).unwrap();
        let path = location.trim_start_matches("./").split('#').next().unwrap();
        self.ask("GET", &format!("/{path}"), "")
    }

    /// Saves `sheet` as the text of the sheet that is shown.
    fn save(&self, sheet: &str) -> String {
        let page = self.ask("GET", "/sheet-text", "");
        let base = page.split("name=\"base\" value=\"").nth(1).unwrap().split('"').next().unwrap();
        let encoded: String = sheet.bytes().map(|b| format!("%{b:02X}")).collect();
        self.ask("POST", "/sheet-text", &format!("base={base}&text={encoded}"))
    }
}

/// Where the version or the new sheet does not fit on the disk, the sheet is as it was and there is no new version.
#[rstest]
#[case::no_room_for_the_version(8000, 100)]
#[case::no_room_for_the_sheet(100, 8000)]
fn a_save_that_fails_leaves_the_sheet_and_no_version(#[case] old: usize, #[case] new: usize) {
    let folder = small_weekend();
    let sheet = folder.path().join("weekend.toml");
    let of_length = |name: &str, length: usize| format!("# {}\n[weekend]\nname = \"{name}\"\n", "x".repeat(length));
    fs::write(&sheet, of_length("mine", old)).unwrap();
    let server = Server::start(folder.path(), "ulimit -f 4");
    let page = server.page_after(&server.save(&of_length("new", new)));
    assert!(page.contains("role=\"alert\"") && page.contains("could not be saved"), "{page}");
    assert_eq!(fs::read_to_string(&sheet).unwrap(), of_length("mine", old));
    assert!(contents(&folder.path().join(".runtrue/sheets")).is_empty());
    drop(server);
    let server = Server::start(folder.path(), ":");
    let answer = server.save(&of_length("new", new));
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let versions: Vec<Vec<u8>> = contents(&folder.path().join(".runtrue/sheets")).into_values().collect();
    assert_eq!(versions, [of_length("mine", old).into_bytes()]);
}

/// A sheet that its owner has write-protected stays, and what was typed stays on the page.
#[test]
fn a_write_protected_sheet_is_not_replaced() {
    let folder = small_weekend();
    let sheet = folder.path().join("weekend.toml");
    fs::write(&sheet, "[weekend]\nname = \"mine\"\n").unwrap();
    fs::set_permissions(&sheet, fs::Permissions::from_mode(0o444)).unwrap();
    let server = Server::start(folder.path(), ":");
    let page = server.page_after(&server.save("[weekend]\nname = \"typed on the page\"\n"));
    assert!(page.contains("role=\"alert\"") && page.contains("it is write-protected"), "{page}");
    assert!(page.contains("typed on the page") && page.contains("hint"), "{page}");
    assert_eq!(fs::read(&sheet).unwrap(), b"[weekend]\nname = \"mine\"\n");
    assert_eq!(fs::metadata(&sheet).unwrap().permissions().mode() & 0o777, 0o444);
    assert!(contents(&folder.path().join(".runtrue/sheets")).is_empty());
}
