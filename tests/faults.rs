//! What goes wrong around the program: it is killed, the folder is read-only or full, files change, vanish, are links
//! or have odd names, two reviews run at once. Each ends in a clear error or a right answer, and no output is torn.
#![cfg(unix)]

mod copied;

use std::fs;
use std::io::Write;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use copied::copy;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rstest::rstest;
use runtrue::storage::Converted;
use serde_json::Value;

fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_runtrue"));
    command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn run(arguments: &[&str]) -> Output {
    program(arguments).output().unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn weekend() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay"), folder.path());
    folder
}

fn sample(run: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("sample-logs/alder-quay/logs/{run}.csv"))
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.path().is_dir() { all.extend(files(&entry.path())) } else { all.push(entry.path()) }
    }
    all
}

/// `RUNTRUE_KILLS` gives the long form another number.
#[rstest]
#[case::few(10)]
#[ignore = "the long form: .ci/run"]
#[case::many(std::env::var("RUNTRUE_KILLS").ok().and_then(|k| k.parse().ok()).unwrap_or(200))]
fn a_killed_review_leaves_every_output_old_or_new(#[case] kills: usize) {
    let folder = weekend();
    let report = folder.path().join("report");
    let sheet = folder.path().join("weekend.toml");
    let plain = fs::read_to_string(&sheet).unwrap();
    let versions = [plain.clone(), plain.replace("Alder Quay Spring Round", "Another name of the weekend")];
    // Every byte that either version of the weekend may leave.
    let mut whole: Vec<std::collections::BTreeMap<PathBuf, Vec<u8>>> = Vec::new();
    for version in &versions {
        fs::write(&sheet, version).unwrap();
        assert!(run(&["review", text(folder.path())]).status.success());
        let named = |f: PathBuf| (f.strip_prefix(&report).unwrap().to_owned(), fs::read(&f).unwrap());
        whole.push(files(&report).into_iter().map(named).collect());
    }
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut torn = 0;
    for n in 0..kills {
        fs::write(&sheet, &versions[n % 2]).unwrap();
        let mut child = program(&["review", text(folder.path())]).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(random.random_range(0..900_000)));
        child.kill().unwrap();
        child.wait().unwrap();
        for file in files(&report) {
            let name = file.strip_prefix(&report).unwrap();
            // What was being written when it was killed stands beside its place under a name of its own.
            if name.file_name().unwrap().to_string_lossy().starts_with(".runtrue-") {
                torn += 1;
                continue;
            }
            let bytes = fs::read(&file).unwrap();
            assert!(whole.iter().any(|w| w.get(name) == Some(&bytes)), "kill {n}: {} is torn", name.display());
        }
    }
    println!("{kills} kills, {torn} unfinished files seen beside their places, none torn");
    // What is left beside goes with a review an hour later.
    let left = report.join(".runtrue-left");
    let file = fs::File::create(&left).unwrap();
    file.set_modified(std::time::SystemTime::now() - Duration::from_secs(4000)).unwrap();
    assert!(run(&["review", text(folder.path())]).status.success());
    assert!(!left.exists());
}

#[test]
fn a_log_that_can_be_read_once_alone_is_read_whole() {
    let folder = tempfile::tempdir().unwrap();
    let rows = 20_000;
    // Longer than a pipe holds and than a reader takes at a time.
    let log: String = (0..rows).map(|n| format!("{:.3},{}\n", f64::from(n) * 0.05, 12_000 + n % 900)).collect();
    let out = folder.path().join("r1.parquet");
    let mut command = program(&["--format", "json", "convert", "/dev/stdin", "--to", "parquet", "--out", text(&out)]);
    let mut convert = command.stdin(Stdio::piped()).spawn().unwrap();
    convert.stdin.take().unwrap().write_all(format!("time s,rpm\n{log}").as_bytes()).unwrap();
    let done = convert.wait_with_output().unwrap();
    let said: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(said["rows"], rows, "{}", String::from_utf8_lossy(&done.stderr));
    // Its copy says which log it is of, as a copy of the same log in a file does.
    let mark = Converted::from_log(format!("time s,rpm\n{log}").as_bytes());
    assert_eq!(Converted::of_file(&out).unwrap(), Some(mark));
}

#[test]
fn a_folder_that_may_not_be_written_to_and_a_full_disk_are_said() {
    let folder = weekend();
    let blocked = folder.path().join("report");
    fs::write(&blocked, "a file in its place").unwrap();
    let output = run(&["review", text(folder.path())]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.code() == Some(1) && said.contains("report") && said.contains("--out"), "{said}");
    // The kernel's own full disk.
    let full = run(&["convert", text(&sample("t1")), "--to", "csv", "--out", "/dev/full/x.csv"]);
    assert_eq!(full.status.code(), Some(1));
    let mut child = Command::new("sh");
    let line = format!(
        "{} review {} --format json --out {} > /dev/full",
        env!("CARGO_BIN_EXE_runtrue"),
        text(folder.path()),
        text(&folder.path().join("r"))
    );
    let output = child.args(["-c", &line]).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(String::from_utf8_lossy(&output.stderr).contains("error"));
}

/// What the shell's limit on a file's size counts in, bytes.
const BLOCK: usize = 512;

/// A disk that fills in the middle of a report, by the system's limit on a file's size: what is no larger than
/// `review.json` fits, larger pages do not. So that the page of the one run is larger, the other runs have no log.
#[test]
fn a_disk_that_fills_in_the_middle_leaves_each_file_old_or_new() {
    let folder = weekend();
    let report = folder.path().join("report");
    let logs = folder.path().join("logs");
    files(&logs).iter().filter(|log| !log.ends_with("t1.csv")).for_each(|log| fs::remove_file(log).unwrap());
    assert!(run(&["review", text(folder.path())]).status.success());
    let bytes = |f: &PathBuf| fs::read(f).unwrap();
    let before: std::collections::BTreeMap<PathBuf, Vec<u8>> =
        files(&report).iter().map(|f| (f.clone(), bytes(f))).collect();
    let sheet = folder.path().join("weekend.toml");
    let renamed = fs::read_to_string(&sheet).unwrap().replace("Alder Quay Spring Round", "Another name");
    fs::write(&sheet, renamed).unwrap();
    let blocks = before[&report.join("review.json")].len().div_ceil(BLOCK) + 1;
    let line = format!(
        "trap '' XFSZ; ulimit -f {blocks}; exec {} review {}",
        env!("CARGO_BIN_EXE_runtrue"),
        text(folder.path())
    );
    let output = Command::new("sh").args(["-c", &line]).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        output.status.code() == Some(1) && said.contains("could not be written") && said.contains("hint"),
        "{said}"
    );
    let mut after = files(&report);
    after.sort();
    assert_eq!(
        after.iter().collect::<Vec<_>>(),
        before.keys().collect::<Vec<_>>(),
        "nothing is gone and nothing left beside"
    );
    let new = after.iter().filter(|f| bytes(f) != before[*f]).count();
    assert!(new > 0, "the small files are new");
    let too_large: Vec<&PathBuf> = after.iter().filter(|f| before[*f].len() > blocks * BLOCK).collect();
    assert!(!too_large.is_empty());
    for file in too_large {
        assert_eq!(bytes(file), before[file], "{}: the page did not fit", file.display());
    }
    assert!(run(&["review", text(folder.path())]).status.success());
    assert!(fs::read_to_string(report.join("index.html")).unwrap().contains("Another name"));
}

#[test]
fn two_reviews_of_one_folder_at_once_both_end_whole() {
    let folder = weekend();
    let both: Vec<_> = (0..2).map(|_| program(&["review", text(folder.path())]).spawn().unwrap()).collect();
    for child in both {
        assert!(child.wait_with_output().unwrap().status.success());
    }
    let json: Value = serde_json::from_slice(&fs::read(folder.path().join("report/review.json")).unwrap()).unwrap();
    assert_eq!(json["runs"].as_array().unwrap().len(), 10);
    assert!(
        files(&folder.path().join("report")).iter().all(|f| !f.file_name().unwrap().to_string_lossy().starts_with('.'))
    );
}

#[test]
fn a_file_that_changes_or_vanishes_while_it_is_read_is_no_panic() {
    let folder = weekend();
    let log = folder.path().join("logs/t3.csv");
    let bytes = fs::read(&log).unwrap();
    for n in 0..6 {
        let child = program(&["review", text(folder.path())]).spawn().unwrap();
        for step in 0..40 {
            match (n + step) % 3 {
                0 => drop(fs::remove_file(&log)),
                1 => fs::write(&log, &bytes[..bytes.len() / 3]).unwrap(),
                _ => fs::write(&log, &bytes).unwrap(),
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert!(!String::from_utf8_lossy(&output.stderr).contains("panicked"));
    }
}

#[test]
fn a_log_on_a_slow_pipe_is_read_whole() {
    let bytes = fs::read(sample("t6")).unwrap();
    let mut child = program(&["read", "-", "--format", "json"]).stdin(Stdio::piped()).spawn().unwrap();
    let mut pipe = child.stdin.take().unwrap();
    for piece in bytes.chunks(bytes.len() / 20 + 1) {
        pipe.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(10));
    }
    drop(pipe);
    let slow: Value = serde_json::from_slice(&child.wait_with_output().unwrap().stdout).unwrap();
    let whole: Value = serde_json::from_slice(&run(&["read", text(&sample("t6")), "--format", "json"]).stdout).unwrap();
    assert_eq!(slow["runs"], whole["runs"]);
}

#[test]
fn links_and_cycles_neither_loop_nor_lead_out() {
    let folder = weekend();
    fs::remove_file(folder.path().join("weekend.toml")).unwrap();
    symlink(folder.path(), folder.path().join("again")).unwrap();
    symlink("loop", folder.path().join("loop")).unwrap();
    symlink("/etc/passwd", folder.path().join("logs/passwd.csv")).unwrap();
    symlink("t1.csv", folder.path().join("logs/t9.csv")).unwrap();
    let output = run(&["review", text(folder.path())]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let json: Value = serde_json::from_slice(&fs::read(folder.path().join("report/review.json")).unwrap()).unwrap();
    let of = |id: &str| json["runs"].as_array().unwrap().iter().find(|r| r["id"] == id).cloned().unwrap();
    assert!(of("passwd")["error"]["message"].as_str().unwrap().contains("leads out of the weekend's folder"));
    assert!(of("t9")["error"].is_null());
}

#[rstest]
#[case("a b  c.csv")]
#[case("-rf.csv")]
#[case("läuf–ü.csv")]
#[case("日本語.csv")]
#[case("quote\"'`$(x).csv")]
#[case("new\nline.csv")]
#[case("\u{202e}vsc.csv")]
#[case(".hidden.csv")]
#[case("CON.csv")]
#[case("%2e%2e.csv")]
fn names_of_every_kind(#[case] name: &str) {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(sample("t1"), folder.path().join(name)).unwrap();
    let output = run(&["review", text(folder.path())]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let pages = files(&folder.path().join("report")).into_iter().filter(|f| f.extension().is_some_and(|e| e == "html"));
    assert_eq!(pages.count(), 2);
    let shown = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(shown.chars().all(|c| c == '\n' || !c.is_control()) && !shown.contains('\u{202e}'), "{shown:?}");
}

#[test]
fn a_name_that_is_no_utf_8() {
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().unwrap();
    let name = std::ffi::OsStr::from_bytes(b"l\xe4uf.csv");
    if fs::copy(sample("t1"), folder.path().join(name)).is_ok() {
        let output = run(&["review", text(folder.path())]);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
}

#[test]
fn a_clock_before_1970() {
    let folder = tempfile::tempdir().unwrap();
    let rows =
        (0..400).map(|n| format!("1969-12-31 23:59:{:06.3},{}\n", 40.0 + n as f64 * 0.05, 12_000 + 20 * (n % 60)));
    fs::write(folder.path().join("old.csv"), format!("Date,RPM\n{}", rows.collect::<String>())).unwrap();
    let output = run(&["read", text(&folder.path().join("old.csv")), "--format", "json"]);
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!((json["runs"][0]["rate_hz"].as_f64().unwrap() - 20.0).abs() < 0.01, "{json}");
}

#[test]
fn a_thousand_tiny_logs() {
    let count = std::env::var("RUNTRUE_TINY").ok().and_then(|c| c.parse().ok()).unwrap_or(1000);
    let folder = tempfile::tempdir().unwrap();
    let rows = (0..12).map(|n| format!("{:.1},{},7.4\n", n as f64 * 0.1, 1000 + 100 * n));
    let log = format!("time s,rpm,voltage V\n{}", rows.collect::<String>());
    for n in 0..count {
        fs::write(folder.path().join(format!("{n:06}.csv")), &log).unwrap();
    }
    let output = run(&["review", text(folder.path()), "-q"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let json: Value = serde_json::from_slice(&fs::read(folder.path().join("report/review.json")).unwrap()).unwrap();
    assert_eq!(json["runs"].as_array().unwrap().len(), count);
    assert!(json["runs"].as_array().unwrap().iter().all(|r| r["laps"]["count"] == 0));
}

#[test]
fn a_log_that_may_not_be_read_is_an_error_of_its_run_alone() {
    let folder = weekend();
    let log = folder.path().join("logs/t2.csv");
    fs::set_permissions(&log, fs::Permissions::from_mode(0o000)).unwrap();
    // The superuser reads all the same.
    if fs::read(&log).is_ok() {
        return;
    }
    assert!(run(&["review", text(folder.path())]).status.success());
}
