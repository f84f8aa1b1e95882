//! Lap lists: lap times or passings, in whatever way the timing wrote them.
//!
//! Lap times in seconds or `m:ss.mmm`; passings by the time of day or by seconds counted up; comma, semicolon or tab,
//! with or without a header and a lap number, decimal point or comma.

use std::path::{Path, PathBuf};

use crate::import::clock;
use crate::import::encoding;
use crate::notice::{Notice, NoticeCode, printable};
use crate::statistics::quantiles::median;

/// A lap list is small; larger files are none.
const MOST_BYTES: u64 = 1 << 22;
/// Seconds that no time of a list reaches: seconds from 1970 stay below for three centuries, and are told apart to a microsecond.
const MOST_S: f64 = 1e10;

/// Why a file gave no lap list.
#[derive(Debug, thiserror::Error)]
pub enum ListError {
    /// The file could not be read.
    #[error("the lap list `{path}` could not be read: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Far too large.
    #[error("`{path}` has {bytes} bytes: that is no lap list")]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
    },
    /// No column of times.
    #[error("`{path}`, line {line}: no column gives lap times or passings, first line `{seen}`")]
    NoTimes {
        /// The file.
        path: PathBuf,
        /// First line that holds something.
        line: u64,
        /// That line.
        seen: String,
    },
}

impl ListError {
    /// What the reader can do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Io { .. } => {
                "check the name in the sheet's `laps`, or leave it out: laps are then found in the log".to_owned()
            }
            _ => "write a line for each lap: `19.412` or `0:19.412`, or each passing: `14:03:05.120`".to_owned(),
        }
    }
}

/// A lap list: passings on a clock of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct LapList {
    /// Seconds of each passing; the first is zero. Increasing.
    pub passings: Vec<f64>,
    /// Remarks on the reading.
    pub notices: Vec<Notice>,
}

/// Reads the lap list at `path`.
///
/// # Errors
/// [`ListError`], naming the file and the line.
pub fn read(path: &Path) -> Result<LapList, ListError> {
    let io = |source| ListError::Io { path: path.to_owned(), source };
    let bytes = std::fs::metadata(path).map_err(io)?.len();
    if bytes > MOST_BYTES {
        return Err(ListError::TooLarge { path: path.to_owned(), bytes });
    }
    let bytes = std::fs::read(path).map_err(io)?;
    parse(&encoding::decode(&bytes, None).text).map_err(|(line, seen)| ListError::NoTimes {
        path: path.to_owned(),
        line,
        seen,
    })
}

struct Cell {
    seconds: f64,
    /// Written with a colon.
    clock: bool,
    /// Written with hours.
    hours: bool,
    whole: bool,
}

/// Reads a lap list's text; on failure the first line that holds something.
///
/// # Errors
/// Line and text of the first line, where no column holds times.
pub fn parse(text: &str) -> Result<LapList, (u64, String)> {
    let lines: Vec<(u64, &str)> =
        text.lines().enumerate().map(|(n, l)| (n as u64 + 1, l.trim())).filter(|(_, l)| !l.is_empty()).collect();
    let delimiter = delimiter(&lines);
    let rows: Vec<(u64, Vec<Option<Cell>>)> = lines
        .iter()
        .map(|(n, line)| (*n, split(line, delimiter).into_iter().map(|c| cell(c.trim().trim_matches('"'))).collect()))
        .collect();
    let heads: Vec<String> = lines
        .first()
        .map(|(_, l)| split(l, delimiter).into_iter().map(str::to_lowercase).collect())
        .unwrap_or_default();
    let width = rows.iter().map(|r| r.1.len()).max().unwrap_or(0);
    let best = (0..width)
        .filter_map(|c| column_score(&rows, c, heads.get(c).map_or("", String::as_str)).map(|s| (c, s)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let Some((column, _)) = best else {
        let (line, seen) = lines.first().map_or((1, ""), |(n, l)| (*n, *l));
        return Err((line, printable(seen, 60)));
    };
    let mut skipped = (0, None);
    let mut times = Vec::new();
    for (at, (line, cells)) in rows.iter().enumerate() {
        match cells.get(column) {
            Some(Some(c)) => times.push((c.seconds, c.hours)),
            _ if at > 0 => skipped = (skipped.0 + 1, skipped.1.or(Some(*line))),
            _ => {}
        }
    }
    let mut notices = Vec::new();
    if skipped.0 > 0 {
        notices.push(
            Notice::warning(NoticeCode::ListLines, "lines of the lap list without a time were passed over")
                .counted(skipped.1, skipped.0),
        );
    }
    Ok(LapList { passings: to_passings(&times, &mut notices), notices })
}

fn delimiter(lines: &[(u64, &str)]) -> Option<char> {
    for candidate in ['\t', ';', '|'] {
        if lines.iter().filter(|(_, l)| l.contains(candidate)).count() * 2 > lines.len() {
            return Some(candidate);
        }
    }
    let with_comma = lines.iter().filter(|(_, l)| l.contains(',')).count();
    if with_comma * 2 <= lines.len() {
        return None;
    }
    // One comma a line may be the decimal mark: `19,412`. It is none where points stand too, a lap number
    // counts up before it, or a colon follows it.
    let body: Vec<&str> =
        lines.iter().map(|(_, l)| *l).filter(|l| l.bytes().next().is_some_and(|b| b.is_ascii_digit())).collect();
    let decimal = body.iter().all(|l| {
        l.matches(',').count() == 1
            && !l.contains('.')
            && l.rsplit_once(',')
                .is_some_and(|(_, r)| (1..=3).contains(&r.len()) && r.bytes().all(|b| b.is_ascii_digit()))
    });
    let firsts: Vec<f64> = body.iter().filter_map(|l| l.split(',').next()?.parse().ok()).collect();
    let counts_up = firsts.len() > 1 && firsts[0] <= 1.0 && firsts.windows(2).all(|w| w[1] - w[0] == 1.0);
    if decimal && !counts_up { None } else { Some(',') }
}

fn split(line: &str, delimiter: Option<char>) -> Vec<&str> {
    match delimiter {
        Some(d) => line.split(d).collect(),
        // Blanks part a lap number from its time, but not a date from its clock.
        None => line.split_whitespace().collect(),
    }
}

fn cell(text: &str) -> Option<Cell> {
    if let Some(seconds) = clock::parse(text) {
        let hours = text.matches(':').count() >= 2;
        return Some(Cell { seconds, clock: true, hours, whole: !text.contains(['.', ',']) });
    }
    let plain = text.trim_end_matches(['s', ' ']).replace(',', ".");
    let seconds: f64 = plain.parse().ok().filter(|s| (0.0..MOST_S).contains(s))?;
    Some(Cell { seconds, clock: false, hours: false, whole: !plain.contains('.') })
}

/// How well a column serves as times; `None` where it cannot.
fn column_score(rows: &[(u64, Vec<Option<Cell>>)], column: usize, head: &str) -> Option<f64> {
    let cells: Vec<&Cell> = rows.iter().filter_map(|r| r.1.get(column)?.as_ref()).collect();
    if cells.len() * 2 < rows.len() || cells.is_empty() {
        return None;
    }
    let clock = cells.iter().filter(|c| c.clock).count() as f64 / cells.len() as f64;
    let whole = cells.iter().filter(|c| c.whole).count() as f64 / cells.len() as f64;
    if whole > 0.9 && clock < 0.5 {
        // Lap numbers, positions, counts.
        return (rows[0].1.len() == 1).then_some(0.1);
    }
    const LAP: [&str; 12] = [
        "lap time",
        "laptime",
        "lap_time",
        "rundenzeit",
        "temps",
        "tiempo",
        "tempo",
        "rondetijd",
        "ラップ",
        "圈速",
        "zeit",
        "time",
    ];
    const NOT: [&str; 9] = ["total", "gap", "diff", "delta", "best", "average", "gesamt", "abstand", "sector"];
    let named = LAP.iter().position(|w| head.contains(w)).map_or(0.0, |at| 1.0 - at as f64 / 20.0);
    let refused = if NOT.iter().any(|w| head.contains(w)) { 2.0 } else { 0.0 };
    let filled = cells.len() as f64 / rows.len() as f64;
    Some(filled + named - refused + 0.2 * clock - 0.01 * column as f64)
}

/// Passings from what was written: lap times are added up, passings taken from the first.
fn to_passings(times: &[(f64, bool)], notices: &mut Vec<Notice>) -> Vec<f64> {
    let values: Vec<f64> = times.iter().map(|t| t.0).collect();
    let rising = values.windows(2).all(|w| w[1] > w[0]);
    let usual = median(values.windows(2).map(|w| w[1] - w[0])).unwrap_or(0.0);
    // Lap times scatter about one value; passings rise by about a lap each.
    let passings = times.iter().filter(|t| t.1).count() * 2 > times.len()
        || rising && values.len() > 3 && values[values.len() - 1] > 2.0 * values[0].max(usual);
    if !passings {
        let mut out = vec![0.0];
        for value in &values {
            let sum = out[out.len() - 1] + value;
            // Beside the sum so far a lap may be as good as none.
            if sum > out[out.len() - 1] {
                out.push(sum);
            }
        }
        let zeroes = (values.len() + 1 - out.len()) as u64;
        if zeroes > 0 {
            notices
                .push(Notice::note(NoticeCode::ListLines, "lap times of zero were passed over").counted(None, zeroes));
        }
        return out;
    }
    let mut out = vec![0.0];
    let mut last = values[0];
    for &value in &values[1..] {
        let mut step = value - last;
        if step < -clock::DAY_S / 2.0 {
            step += clock::DAY_S;
        }
        let passing = out[out.len() - 1] + step;
        if passing > out[out.len() - 1] {
            out.push(passing);
            last = value;
        } else {
            notices.push(Notice::warning(NoticeCode::ListOrder, "a passing not after the one before was passed over"));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("lap,time\n1,19.500\n2,20.250\n", &[0.0, 19.5, 39.75])]
    #[case("19,500\n20,250\n", &[0.0, 19.5, 39.75])]
    #[case("Runde;Zeit\n1;0:19,500\n2;0:20,250\n", &[0.0, 19.5, 39.75])]
    #[case("0:19.500\r\n1:20.250\r\n", &[0.0, 19.5, 99.75])]
    #[case("1\t23:59:50.000\n2\t00:00:10.500\n", &[0.0, 20.5])]
    #[case("passing\n5.0\n25.0\n45.5\n65.0\n", &[0.0, 20.0, 40.5, 60.0])]
    #[case("lap;total;lap time\n1;19.5;19.5\n2;39.75;20.25\n", &[0.0, 19.5, 39.75])]
    #[case("1 19.500\n2 20.250\n", &[0.0, 19.5, 39.75])]
    fn lists(#[case] text: &str, #[case] passings: &[f64]) {
        let list = parse(text).unwrap();
        assert_eq!(list.passings.len(), passings.len(), "{:?}", list.passings);
        assert!(list.passings.iter().zip(passings).all(|(a, b)| (a - b).abs() < 1e-9), "{:?}", list.passings);
    }

    #[test]
    fn no_times_is_an_error_with_its_line() {
        assert_eq!(parse("\nhello world\n"), Err((2, "hello world".to_owned())));
    }
}
