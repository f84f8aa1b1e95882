//! At home among other tools: JSON of every command, standard input and output, quiet, exit codes, completions, manual
//! pages.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use rstest::rstest;
use serde_json::Value;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay")
}

fn runtrue(arguments: &[&str], input: &[u8]) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_runtrue"))
        .args(arguments)
        .env("NO_COLOR", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that needs no input may be gone before it is written.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

fn json(output: &[u8]) -> Value {
    serde_json::from_slice(output).unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(output)))
}

#[test]
fn every_command_speaks_json() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (demo, log, parquet) = (path("demo"), sample().join("logs/t4.csv").display().to_string(), path("t4.parquet"));
    std::fs::create_dir(path("logs")).unwrap();
    std::fs::copy(&log, path("logs/t4.csv")).unwrap();
    let (own, report, man, season) = (path(""), path("report"), path("man"), path("season"));
    for (arguments, key) in [
        (vec!["demo", &demo], "seed"),
        (vec!["read", &log], "runs"),
        (vec!["convert", &log, "--to", "parquet", "--out", &parquet], "rows"),
        (vec!["sheet", &own], "sheet"),
        (vec!["review", &own, "--out", &report], "format"),
        (vec!["man", &man], "folder"),
        (vec!["season", &demo, "--out", &season], "weekends"),
    ] {
        let output = runtrue(&[arguments.clone(), vec!["--format", "json"]].concat(), b"");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        assert!(!json(&output.stdout)[key].is_null(), "{arguments:?} lacks {key}");
    }
    let gears = runtrue(&["gears", "--pinion", "31", "--spur", "116", "--internal", "1.85", "--format", "json"], b"");
    assert!((json(&gears.stdout)[0]["ratio"].as_f64().unwrap() - 116.0 / 31.0 * 1.85).abs() < 1e-12);
}

#[test]
fn the_review_on_standard_output_is_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let report = folder.path().display().to_string();
    let output = runtrue(&["review", sample().to_str().unwrap(), "--out", &report, "--format", "json"], b"");
    assert_eq!(output.stdout, std::fs::read(folder.path().join("review.json")).unwrap());
}

#[test]
fn a_log_comes_in_and_goes_out_by_pipes() {
    let log = std::fs::read(sample().join("logs/t1.csv")).unwrap();
    let read = runtrue(&["read", "-", "--format", "json"], &log);
    assert!(json(&read.stdout)["runs"][0]["rows_kept"].as_u64().unwrap() > 3000);
    let plain = runtrue(&["convert", "-", "--to", "csv", "--out", "-"], &log);
    assert!(plain.stdout.starts_with(b"time_s,rpm,"), "{}", String::from_utf8_lossy(&plain.stderr));
    // What was converted reads as itself.
    let again = runtrue(&["convert", "-", "--to", "csv", "--out", "-"], &plain.stdout);
    assert_eq!(plain.stdout, again.stdout);
    let parquet = runtrue(&["convert", "-", "--to", "parquet", "--out", "-"], &log);
    assert!(parquet.stdout.starts_with(b"PAR1") && parquet.stdout.ends_with(b"PAR1"));
    assert_eq!(runtrue(&["convert", "-", "--to", "csv"], &log).status.code(), Some(2));
}

#[test]
fn quiet_says_nothing_and_verbose_more() {
    let folder = tempfile::tempdir().unwrap();
    let (weekend, report) = (sample().display().to_string(), folder.path().display().to_string());
    let of = |more: &str| runtrue(&["review", &weekend, "--out", &report, more], b"");
    assert_eq!(of("-q").stdout, b"");
    assert!(String::from_utf8(of("-v").stdout).unwrap().contains("rows a second"));
    assert_eq!(runtrue(&["review", "-q", "-v", "x"], b"").status.code(), Some(2));
}

#[rstest]
#[case(&["read", "nowhere.csv"], 1)]
#[case(&["review", "nowhere"], 1)]
#[case(&["gears"], 2)]
#[case(&["nonsense"], 2)]
#[case(&["--help"], 0)]
#[case(&["serve", "/dev/null/x", "--no-open"], 1)]
fn exit_codes_are_those_of_the_readme(#[case] arguments: &[&str], #[case] code: i32) {
    assert_eq!(runtrue(arguments, b"").status.code(), Some(code));
}

#[test]
fn errors_are_json_where_results_are() {
    let output = runtrue(&["read", "nowhere.csv", "--format", "json"], b"");
    let error = &json(&output.stderr)["error"];
    assert!(error["message"].as_str().unwrap().contains("nowhere.csv") && error["hint"].is_string());
}

#[rstest]
fn completions_and_manual_pages(#[values("bash", "zsh", "fish", "powershell", "elvish")] shell: &str) {
    let script = String::from_utf8(runtrue(&["completions", shell], b"").stdout).unwrap();
    assert!(script.contains("runtrue") && script.contains("review"), "{shell}");
    let folder = tempfile::tempdir().unwrap();
    runtrue(&["man", folder.path().to_str().unwrap()], b"");
    let page = std::fs::read_to_string(folder.path().join("runtrue-review.1")).unwrap();
    assert!(page.starts_with(".ie") && page.contains("Weekend folders"), "{page}");
}

#[test]
fn the_local_pages_address_is_json_too() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_runtrue"))
        .args(["serve", folder.path().to_str().unwrap(), "--no-open", "--format", "json"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(json(line.as_bytes())["url"].as_str().unwrap().starts_with("http://127.0.0.1:"), "{line}");
}
