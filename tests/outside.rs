//! Checks against values that others published. Each names its source; `tests/README.md` lists them all and says how
//! each was seen to fail.

use std::path::Path;

use rstest::rstest;
use runtrue::import::dialect::tokenize;
use runtrue::statistics::mean::mean_and_deviation;
use serde_json::{Map, Value};

fn reference(path: &str) -> String {
    let full = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(path);
    std::fs::read_to_string(&full).unwrap_or_else(|e| panic!("{}: {e}", full.display()))
}

/// NIST StRD, univariate summary statistics: certified values in lines 41 and 42, data from line 61. The certified
/// values have fifteen digits, and a double has nearly sixteen. Each bound leaves out the leading digits that all
/// values of a set have in common: none to two, but six in NumAcc3 and seven in NumAcc4, which differ in the tenths
/// alone.
#[rstest]
#[case("Lew", 1e-14)]
#[case("Lottery", 1e-14)]
#[case("Mavro", 1e-13)]
#[case("Michelso", 1e-13)]
#[case("NumAcc1", 1e-14)]
#[case("NumAcc2", 1e-14)]
#[case("NumAcc3", 1e-9)]
#[case("NumAcc4", 2e-8)]
fn mean_and_deviation_of_nist_strd(#[case] name: &str, #[case] bound: f64) {
    let text = reference(&format!("nist/univariate/{name}.dat"));
    let lines: Vec<&str> = text.lines().collect();
    let certified = |line: usize| -> f64 {
        let (_, value) = lines[line].split_once(':').expect("a certified value after a colon");
        value.split_whitespace().next().and_then(|v| v.parse().ok()).expect("a number")
    };
    let data: Vec<f64> = lines[60..].iter().filter_map(|l| l.trim().parse().ok()).collect();
    let (mean, deviation) = mean_and_deviation(&data).unwrap();
    let (true_mean, true_deviation) = (certified(40), certified(41));
    assert!((mean / true_mean - 1.0).abs() < 1e-14, "{name}: mean {mean} for {true_mean}");
    let off = (deviation / true_deviation - 1.0).abs();
    assert!(off < bound, "{name}: deviation {deviation} for {true_deviation}, off by {off:.1e}");
}

/// npm csv-spectrum 2.0.0: every row has as many cells as its JSON has fields, with the same text.
/// `location_coordinates` is left out: its JSON disagrees with its CSV (PROVENANCE.md there).
#[rstest]
#[case("comma_in_quotes", 1)]
#[case("empty", 2)]
#[case("empty_crlf", 2)]
#[case("escaped_quotes", 2)]
#[case("json", 1)]
#[case("newlines", 3)]
#[case("newlines_crlf", 3)]
#[case("quotes_and_newlines", 2)]
#[case("simple", 1)]
#[case("simple_crlf", 1)]
#[case("utf8", 2)]
fn quoting_of_csv_spectrum(#[case] name: &str, #[case] count: usize) {
    let csv = reference(&format!("csv-spectrum/csvs/{name}.csv"));
    let expected: Vec<Map<String, Value>> =
        serde_json::from_str(&reference(&format!("csv-spectrum/json/{name}.json"))).unwrap();
    let rows = tokenize(&csv, b',', 100);
    let (head, body) = rows.split_first().unwrap();
    assert_eq!((body.len(), expected.len()), (count, count), "{name}");
    for (row, object) in body.iter().zip(&expected) {
        assert_eq!((head.cells.len(), row.cells.len()), (object.len(), object.len()), "{name}: {row:?}");
        for (column, cell) in head.cells.iter().zip(&row.cells) {
            // Our cells come without the blanks around them, which a number never needs.
            assert_eq!(cell, object[column].as_str().unwrap().trim(), "{name}");
        }
    }
}

/// RFC 4180, section 2, rules 1, 2, 5, 6 and 7. Rule 3 (a header may be there) is the layout's question; rule 4 keeps
/// blanks as part of a field, which we do not: numbers never need them.
#[rstest]
#[case::rule_1_a_line_each("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", &[["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]])]
#[case::rule_2_no_break_at_the_end("aaa,bbb,ccc\r\nzzz,yyy,xxx", &[["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]])]
#[case::rule_5_quotes_or_none("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", &[["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]])]
#[case::rule_6_a_break_in_quotes("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", &[["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]])]
#[case::rule_6_a_comma_in_quotes("aaa,\"b,bb\",ccc\r\nzzz,yyy,xxx", &[["aaa", "b,bb", "ccc"], ["zzz", "yyy", "xxx"]])]
#[case::rule_7_a_quote_is_doubled("\"aaa\",\"b\"\"bb\",\"ccc\"", &[["aaa", "b\"bb", "ccc"]])]
fn rules_of_rfc_4180(#[case] text: &str, #[case] expected: &[[&str; 3]]) {
    let rows: Vec<Vec<String>> = tokenize(text, b',', 10).into_iter().map(|r| r.cells).collect();
    assert_eq!(rows.len(), expected.len());
    for (row, cells) in rows.iter().zip(expected) {
        assert_eq!(row, cells);
    }
}
