//! Archives and workbooks: read like a folder and like a text, within bounds, never out of the folder, never a panic.

mod packing;

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use packing::{CLOCK, Cell, MOMENT, PLAIN, archive, log_rows, parts, workbook};
use proptest::prelude::*;
use rstest::rstest;
use runtrue::folder::plan;
use runtrue::import::columns::Hints;
use runtrue::import::read_bytes;
use runtrue::log::{Channel, Log};
use runtrue::notice::NoticeCode;
use runtrue::packed::archive::Archive;
use runtrue::review::review;

fn sample(run: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay").join(run)).unwrap()
}

fn folder_with(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    folder
}

fn runtrue(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_runtrue")).args(arguments).stdin(Stdio::null()).output().unwrap()
}

fn said(output: &Output) -> String {
    let all = [output.stdout.as_slice(), b" ", &output.stderr].concat();
    String::from_utf8_lossy(&all).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The runs of a folder with what each was read from.
fn logs(path: &Path) -> Vec<String> {
    plan(path).unwrap().sheet.runs.iter().map(|run| run.log.to_string_lossy().into_owned()).collect()
}

fn read(name: &str, bytes: &[u8]) -> Vec<Log> {
    read_bytes(Path::new(name), bytes, &Hints::default()).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn the_logs_of_an_archive_in_a_folder_are_its_runs_and_nothing_is_unpacked() {
    let bytes = archive(&[
        ("logs/t1.csv", &sample("logs/t1.csv")),
        ("laps/t1.csv", &sample("laps/t1.csv")),
        ("__MACOSX/._t1.csv", b"litter"),
        (".hidden.csv", b"litter"),
        ("photo.jpg", b"\xff\xd8"),
        ("more.zip", &archive(&[("t9.csv", b"1")])),
        ("../../evil.csv", b"1"),
    ]);
    let folder = folder_with(&[("saturday.zip", &bytes)]);
    let review = review(folder.path(), &|_, _| {}).unwrap();
    assert_eq!(logs(folder.path()), ["saturday.zip/logs/t1.csv"]);
    let done = review.runs[0].done().unwrap();
    assert_eq!(review.runs[0].plan().laps, Some(PathBuf::from("saturday.zip/laps/t1.csv")));
    assert_eq!(done.laps.rows.len(), 19);
    let left: Vec<String> =
        review.notices.iter().filter(|n| n.code == NoticeCode::PackedFile).map(|n| n.message.clone()).collect();
    assert_eq!(
        left,
        [
            "`saturday.zip/more.zip` was not read: it is packed in a packed file",
            "`saturday.zip/photo.jpg` was not read: it is neither a log nor a lap list, by its name",
            "`saturday.zip/..-..-evil.csv` was not read: its name leads out of the packed file",
        ]
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

/// Who unpacks an archive beside it has each log once.
#[test]
fn a_log_that_lies_beside_its_archive_is_one_run() {
    let bytes = archive(&[("t1.csv", &sample("logs/t1.csv")), ("t2.csv", &sample("logs/t2.csv"))]);
    let folder = folder_with(&[("runs.zip", &bytes), ("logs/t1.csv", &sample("logs/t1.csv"))]);
    assert_eq!(logs(folder.path()), ["logs/t1.csv", "runs.zip/t2.csv"]);
}

#[test]
fn a_weekend_in_an_archive_is_reviewed_with_its_sheet() {
    let names = ["weekend.toml", "logs/t1.csv", "logs/t3.csv", "laps/t1.csv", "laps/t3.csv"];
    let inner: Vec<String> = names.iter().map(|name| format!("alder quay/{name}")).collect();
    let bytes: Vec<Vec<u8>> = names.iter().map(|name| sample(name)).collect();
    let files: Vec<(&str, &[u8])> = inner.iter().zip(&bytes).map(|(n, b)| (n.as_str(), b.as_slice())).collect();
    let folder = folder_with(&[("spring.zip", &archive(&files))]);
    let path = folder.path().join("spring.zip");
    let review = review(&path, &|_, _| {}).unwrap();
    assert_eq!(review.sheet.name.as_deref(), Some("Alder Quay Spring Round"));
    assert_eq!(review.runs.iter().filter(|run| run.done().is_some()).count(), 2);
    let output = runtrue(&["review", path.to_str().unwrap()]);
    assert!(output.status.success(), "{}", said(&output));
    assert!(folder.path().join("spring.report/index.html").is_file());
}

#[test]
fn each_log_in_an_archive_is_read() {
    let files: [(&str, &[u8]); 3] =
        [("t1.csv", &sample("logs/t1.csv")), ("t2.csv", &sample("logs/t2.csv")), ("notes.pdf", b"%PDF")];
    let folder = folder_with(&[("runs.zip", &archive(&files))]);
    let path = folder.path().join("runs.zip");
    let output = runtrue(&["read", path.to_str().unwrap()]);
    let text = said(&output);
    assert!(output.status.success(), "{text}");
    for part in ["runs.zip/t1.csv", "runs.zip/t2.csv", "runs.zip/notes.pdf` was not read: it is neither a log nor"] {
        assert!(text.contains(part), "{text}");
    }
    let one = runtrue(&["read", path.join("t2.csv").to_str().unwrap()]);
    assert!(one.status.success() && !said(&one).contains("t1.csv"), "{}", said(&one));
    let converted = folder.path().join("t1.parquet");
    let (from, to) = (path.join("t1.csv"), converted.to_str().unwrap());
    assert!(runtrue(&["convert", from.to_str().unwrap(), "--to", "parquet", "--out", to]).status.success());
}

#[test]
fn a_sheet_names_a_log_in_an_archive_and_none_outside_of_it() {
    let bytes = archive(&[("t1.csv", &sample("logs/t1.csv"))]);
    let run = |log: &str| format!("[cars.a]\nspur = 116\n[[runs]]\nlog = \"{log}\"\n");
    for (log, is_read) in [
        ("runs.zip/t1.csv", true),
        ("runs.zip/../runs.zip/t1.csv", false),
        ("runs.zip/t9.csv", false),
        ("runs.zip", false),
        ("runs.zip/../../../etc/passwd", false),
    ] {
        let folder = folder_with(&[("runs.zip", &bytes), ("weekend.toml", run(log).as_bytes())]);
        let review = review(folder.path(), &|_, _| {}).unwrap();
        assert_eq!(review.runs[0].done().is_some(), is_read, "{log}: {:?}", review.runs[0].failure());
    }
}

fn archive_of_one() -> Vec<u8> {
    archive(&[("t1.csv", b"time,rpm\n0,1\n")])
}

/// A moment as a workbook counts it: days since the end of 1899.
fn day(seconds: f64) -> f64 {
    46_158.5 + seconds / 86_400.0
}

#[rstest]
#[case("Time [s]", PLAIN, |n: usize| n as f64 * 0.05)]
#[case("Clock", CLOCK, |n: usize| 0.6 + n as f64 * 0.05 / 86_400.0)]
#[case("Clock", CLOCK, |n: usize| n as f64 * 0.05 / 86_400.0)]
#[case("Date and time", MOMENT, |n: usize| day(n as f64 * 0.05))]
fn a_worksheet_is_read_as_its_table_would_be(
    #[case] header: &str,
    #[case] style: u8,
    #[case] time: impl Fn(usize) -> f64,
) {
    let rows = log_rows(Cell::Text(header.to_owned()), 400, |n| Cell::Number(time(n), style));
    let logs = read("x.xlsx", &workbook(&[("Data", rows)]));
    let reading = &logs[0].reading;
    assert_eq!((logs.len(), reading.rows_kept), (1, 400), "{reading:?}");
    assert!((reading.duration_s - 19.95).abs() < 1e-3 && (reading.rate_hz - 20.0).abs() < 0.01, "{reading:?}");
    assert_eq!(logs[0].channel(Channel::Rpm).unwrap()[41], 700.0);
    assert_eq!(logs[0].channel(Channel::Voltage).unwrap()[100], 8.3);
    assert!(!reading.notices.iter().any(|n| n.code == NoticeCode::Worksheet));
}

#[test]
fn lines_before_the_header_blank_cells_and_rows_and_commas_are_read_too() {
    let text = |words: &str| Cell::Text(words.to_owned());
    let mut rows = vec![vec![text("Logger \"7\"\nof mine")], vec![], vec![text("Zeit [s]"), text("Drehzahl")]];
    rows.extend((0..300).map(|n| {
        // As text: whoever opened a German table in another country's program has these.
        let time = text(&format!("{},{:02}", n / 20, n % 20 * 5));
        vec![time, if n % 50 == 7 { Cell::Blank } else { Cell::Number(n as f64, PLAIN) }]
    }));
    let logs = read("x.xlsx", &workbook(&[("Blatt1", rows)]));
    assert_eq!(logs[0].reading.rows_kept, 300);
    assert_eq!(logs[0].channel(Channel::Rpm).unwrap()[200], 200.0);
}

#[test]
fn the_first_worksheet_with_a_log_is_read_and_named() {
    let text = |words: &str| Cell::Text(words.to_owned());
    let notes = vec![vec![text("set up on Friday")], vec![text("wing low")]];
    let log = |rows: usize| log_rows(text("Time [s]"), rows, |n| Cell::Number(n as f64 * 0.05, PLAIN));
    let bytes = workbook(&[("Notes", notes), ("Run 1", log(200)), ("Run 2", log(300))]);
    let logs = read("x.xlsx", &bytes);
    let notice = logs[0].reading.notices.iter().find(|n| n.code == NoticeCode::Worksheet).unwrap();
    assert_eq!(
        (logs.len(), logs[0].reading.rows_kept, notice.message.as_str()),
        (1, 200, "the worksheet `Run 1` was read; the others were not: `Notes`, `Run 2`")
    );
    let folder = folder_with(&[("x.xlsx", &bytes)]);
    assert_eq!(logs_read(folder.path()), 1);
    let laps: Vec<Vec<Cell>> = [15.2, 15.3, 15.1, 15.2].iter().map(|s| vec![Cell::Number(*s, PLAIN)]).collect();
    let folder = folder_with(&[("t1.csv", &sample("logs/t1.csv")), ("laps/t1.xlsx", &workbook(&[("Laps", laps)]))]);
    assert_eq!(plan(folder.path()).unwrap().sheet.runs[0].laps, Some("laps/t1.xlsx".into()));
}

fn logs_read(folder: &Path) -> usize {
    review(folder, &|_, _| {}).unwrap().runs.iter().filter(|run| run.done().is_some()).count()
}

#[rstest]
#[case(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and so on".to_vec(), "x.xls` is a workbook of another kind")]
#[case(archive(&[("mimetype", b"ods"), ("content.xml", b"<x/>")]), "x.xls` is a workbook of another kind")]
#[case(archive_of_one(), "x.xls` is a packed file, not a log")]
#[case(b"PK\x03\x04....".to_vec(), "x.xls` could not be read: the packed file is damaged")]
#[case(workbook(&[("Empty", vec![])]), "x.xls` is empty")]
#[case(workbook(&[("Words", vec![vec![Cell::Text("hello".into())]])]), "there is no table of numbers in `x.xls`")]
fn what_is_no_log_is_said(#[case] bytes: Vec<u8>, #[case] sentence: &str) {
    let refused = read_bytes(Path::new("x.xls"), &bytes, &Hints::default()).unwrap_err().to_string();
    assert!(refused.contains(sentence), "{refused}");
}

/// A worksheet with few cells that would take gigabytes if all between them were written.
#[test]
fn far_apart_cells_end_with_an_error() {
    let cell =
        |row: usize| format!("<row r=\"{row}\"><c r=\"A{row}\"><v>1</v></c><c r=\"XFD{row}\"><v>1</v></c></row>");
    let cells: String = (1..40_000).map(cell).collect();
    let mut parts = parts(&[("Far", vec![])]);
    let last = parts.last_mut().unwrap();
    last.1 = last.1.replace("<sheetData>", &format!("<sheetData>{cells}"));
    let files: Vec<(&str, &[u8])> = parts.iter().map(|(n, x)| (n.as_str(), x.as_bytes())).collect();
    let refused = read_bytes(Path::new("x.xlsx"), &archive(&files), &Hints::default()).unwrap_err().to_string();
    assert!(refused.contains("the worksheet would have more than 256 MB as text"), "{refused}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Cut, with bytes turned, with pieces put in and taken out: a log or an error, in no time.
    #[test]
    fn broken_archives_and_workbooks_are_a_log_or_an_error(
        is_workbook in any::<bool>(),
        cut in 0.0..1.0f64,
        turned in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..12),
        put_in in proptest::collection::vec(any::<u8>(), 0..8),
    ) {
        let mut bytes = if is_workbook {
            workbook(&[("Data", log_rows(Cell::Text("Time [s]".into()), 40, |n| Cell::Number(n as f64 * 0.05, MOMENT)))])
        } else {
            archive(&[("t1.csv", b"time,rpm\n0,1\n"), ("laps/t1.csv", b"15.1\n15.2\n")])
        };
        for (at, byte) in turned {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        let place = (cut * bytes.len() as f64) as usize;
        if put_in.len() % 2 == 0 {
            bytes.splice(place..place, put_in);
        } else {
            bytes.truncate(place);
        }
        let _ = read_bytes(Path::new("x.xlsx"), &bytes, &Hints::default());
        if let Ok(mut archive) = Archive::open(Cursor::new(bytes.as_slice())) {
            let paths: Vec<PathBuf> = archive.contents().files.iter().map(|f| f.path.clone()).collect();
            for path in paths {
                prop_assert!(path.components().all(|part| matches!(part, std::path::Component::Normal(_))));
                let _ = archive.read(&path);
            }
        }
    }
}
