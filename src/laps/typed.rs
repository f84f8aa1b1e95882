//! Lap times as they are typed or pasted: one a line, with or without lap numbers, or a table copied from a page.

use super::lists::{self, LapList};
use crate::notice::printable;
use crate::statistics::quantiles::median;

/// Most laps that are taken: a day's driving is less.
const MOST_LAPS: usize = 1000;
/// Longest line that is shown, characters.
const LONGEST_SHOWN: usize = 60;

/// Lap times as they were understood.
#[derive(Debug, Clone, PartialEq)]
pub struct TypedLaps {
    /// Time of each lap, s.
    pub times_s: Vec<f64>,
    /// Their median, s.
    pub median_s: f64,
    /// The shortest, s.
    pub best_s: f64,
    /// What was passed over, a sentence each.
    pub remarks: Vec<String>,
}

/// Why a text gives no lap times.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TypedError {
    /// Nothing was typed.
    #[error("no lap times were entered")]
    Empty,
    /// A table with revs.
    #[error("this is a table with revs: a log, not lap times")]
    Revs,
    /// No column holds times.
    #[error("there are no lap times in this; line {line} reads `{seen}`")]
    NoTimes {
        /// The first line that holds something, from 1.
        line: u64,
        /// What it reads.
        seen: String,
    },
    /// Far too many.
    #[error("these are {0} laps; {MOST_LAPS} are taken at most")]
    TooMany(usize),
}

/// Reads lap times out of `text`.
///
/// # Errors
/// [`TypedError`].
pub fn read(text: &str) -> Result<TypedLaps, TypedError> {
    if text.trim().is_empty() {
        return Err(TypedError::Empty);
    }
    if lists::is_table_of_revs(text) {
        return Err(TypedError::Revs);
    }
    let no_times = |(line, seen): (u64, String)| TypedError::NoTimes { line, seen };
    let LapList { passings, notices, .. } = lists::parse(&one_a_line(text)).map_err(no_times)?;
    let times_s: Vec<f64> = passings.windows(2).map(|w| w[1] - w[0]).collect();
    if times_s.len() > MOST_LAPS {
        return Err(TypedError::TooMany(times_s.len()));
    }
    let first = || text.lines().enumerate().find(|(_, line)| !line.trim().is_empty()).unwrap_or((0, ""));
    let Some(median_s) = median(times_s.iter().copied()) else {
        let (line, seen) = first();
        return Err(no_times((line as u64 + 1, printable(seen.trim(), LONGEST_SHOWN))));
    };
    let best_s = times_s.iter().copied().fold(f64::INFINITY, f64::min);
    Ok(TypedLaps { times_s, median_s, best_s, remarks: notices.iter().map(|n| n.text()).collect() })
}

impl TypedLaps {
    /// The text of a lap list, as [`lists::read`] reads it.
    pub fn as_list(&self) -> String {
        let rows = self.times_s.iter().enumerate().map(|(n, time)| format!("{},{time:.3}\n", n + 1));
        format!("lap,lap time s\n{}", rows.collect::<String>())
    }
}

/// The text as a list has it: no `s` behind a time, no point behind a lap number, and times beside each other below
/// each other.
fn one_a_line(text: &str) -> String {
    let has_points = text.contains('.');
    let lines: Vec<String> = text.lines().map(|line| with_points(bare(line), !has_points)).collect();
    let filled: Vec<&String> = lines.iter().filter(|line| !line.is_empty()).collect();
    match filled[..] {
        [only] => times_beside_each_other(only).join("\n"),
        _ => lines.join("\n"),
    }
}

/// A line with points for its decimal commas: those of `0:15,8`, and where `commas` are decimal, those of a cell that is
/// a number in a row of several.
fn with_points(line: &str, commas: bool) -> String {
    let is_digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let is_row = line.split_whitespace().nth(1).is_some();
    let cell = |cell: &str| {
        let number = cell.trim_end_matches(|c: char| c.is_whitespace() || c == ';');
        let Some((whole, _)) = number.rsplit_once(',').filter(|cut| is_digits(cut.1)) else {
            return cell.to_owned();
        };
        let is_clock = whole.rsplit_once(':').is_some_and(|cut| is_digits(cut.1));
        let is_number = commas && is_row && is_digits(whole);
        if is_clock || is_number { format!("{whole}.{}", &cell[whole.len() + 1..]) } else { cell.to_owned() }
    };
    line.split_inclusive(|c: char| c.is_whitespace() || c == ';').map(cell).collect()
}

/// The times of a text's only line.
fn times_beside_each_other(line: &str) -> Vec<&str> {
    let blanks = |c: char| c.is_whitespace() || c == ';';
    let mut times: Vec<&str> = match line.contains(blanks) {
        true => line.split(blanks).map(|time| time.trim_end_matches(',')).collect(),
        false if line.contains(['.', ':']) => line.split(',').collect(),
        false => vec![line],
    };
    times.retain(|time| !time.is_empty());
    // A lap number and its time.
    if times.len() == 2 && times[0] == "1" {
        times.remove(0);
    }
    times
}

/// A line without the unit behind it and the mark behind its lap number.
fn bare(line: &str) -> &str {
    let line = line.trim().trim_start_matches('#').trim_start();
    let has_unit = |head: &str| head.ends_with(|c: char| c.is_ascii_digit() || c == ' ');
    let line = ["sec", "s"].iter().find_map(|unit| line.strip_suffix(unit).filter(|h| has_unit(h))).unwrap_or(line);
    let line = line.trim_end();
    let rest = line.trim_start_matches(|c: char| c.is_ascii_digit());
    let numbered = rest.len() < line.len() && rest.starts_with(['.', ')', ':']);
    let time = rest.get(1..).filter(|time| numbered && time.starts_with([' ', '\t'])).map(str::trim_start);
    time.filter(|time| !time.is_empty()).unwrap_or(line)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("15.8\n15.9\n16.0\n")]
    #[case("15,8\r\n15,9\r\n16,0\r\n")]
    #[case("0:15.8\n0:15.9\n0:16.0\n")]
    #[case("0:15,8\n0:15,9\n0:16,0\n")]
    #[case("1 15,8\n2 15,9\n3 16,0")]
    #[case("1. 15.8\n2. 15.9\n3. 16.0")]
    #[case("1) 15,8 s\n2) 15,9 s\n3) 16,0 s")]
    #[case("Lap 1: 15.8\nLap 2: 15.9\nLap 3: 16.0")]
    #[case("15.8 15.9 16.0")]
    #[case("15,8 15,9 16,0")]
    #[case("15.8, 15.9, 16.0")]
    #[case("15.8,15.9,16.0")]
    #[case("Lap\tTime\tGap\tTotal\n1\t15.8\t0.0\t15.8\n2\t15.9\t0.1\t31.7\n3\t16.0\t0.2\t47.7\n")]
    #[case("Runde  Rundenzeit  Gesamt\n1  0:15,8  0:15,8\n2  0:15,9  0:31,7\n3  0:16,0  0:47,7\n")]
    #[case("1,0:15,8\n2,0:15,9\n3,0:16,0\n")]
    #[case("1 15,8 15,8\n2 15,9 31,7\n3 16,0 47,7\n")]
    #[case("1;15,8;15,8\n2;15,9;31,7\n3;16,0;47,7\n")]
    #[case("1\t14:03:05\t15.8\n2\t14:03:21\t15.9\n3\t14:03:37\t16.0\n")]
    fn times_are_found_however_they_are_written(#[case] text: &str) {
        let typed = read(text).unwrap();
        assert_eq!(typed.times_s.len(), 3, "{typed:?}");
        let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
        assert!(typed.times_s.iter().zip([15.8, 15.9, 16.0]).all(|(a, b)| near(*a, b)), "{typed:?}");
        assert!(near(typed.best_s, 15.8) && near(typed.median_s, 15.9), "{typed:?}");
        let again = lists::parse(&typed.as_list()).unwrap();
        assert!(near(again.passings[3], 47.7), "{again:?}");
    }

    #[rstest]
    #[case(" \n", TypedError::Empty)]
    #[case("time,rpm\n0.0,1200\n0.1,1300\n", TypedError::Revs)]
    #[case("\nhello world\n", TypedError::NoTimes { line: 2, seen: "hello world".into() })]
    fn what_is_no_lap_time_is_said(#[case] text: &str, #[case] error: TypedError) {
        let read = read(text).unwrap_err();
        let line = |e: &TypedError| matches!(e, TypedError::NoTimes { .. });
        assert!(read == error || line(&read) && line(&error), "{read:?}");
    }

    #[test]
    fn any_text_is_times_or_an_error() {
        for text in ["1", "s", "#", "1.", "1. ", ",", ";;", "0", "\u{feff}", "1:", "é1. x", "1.\u{a0}5", "9e9\n9e9"] {
            let _ = read(text);
        }
    }
}
