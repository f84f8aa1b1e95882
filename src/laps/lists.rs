//! Lap lists: lap times or passings, however the timing wrote them.
//!
//! Lap times in seconds or as `m:ss.mmm`; passings by the time of day or in seconds counted up; comma, semicolon or
//! tab, with or without a header and a lap number, decimal point or comma.

use std::path::{Path, PathBuf};

use crate::import::columns::Hints;
use crate::import::{self, clock, encoding};
use crate::log::{Channel, Log};
use crate::notice::{Notice, NoticeCode, Tally, printable};
use crate::packed;
use crate::packed::workbook::{Packing, Workbook, WorkbookError, packing};
use crate::statistics::quantiles::median;

/// Bytes of a megabyte.
const MB: u64 = 1 << 20;
/// Largest lap list that is read, bytes: a day's timing takes far less.
const MOST_BYTES: u64 = 4 * MB;
/// A file with fewer lines is not looked at as a log.
const LOG_ROWS: usize = 100;
/// Largest time in a list, s: seconds since 1970 stay below it for three centuries, and are exact to a microsecond.
const MOST_S: f64 = 1e10;
/// A time this many times the others' median is not a lap time but a slip: a date, a counter, a digit too many. A
/// default, no source: a car that stands for half an hour between two passings stays below it.
const ABSURD: f64 = 50.0;
/// Share of whole numbers above which a column without clock times holds lap numbers, positions or counts.
const MOSTLY_WHOLE: f64 = 0.9;

/// Words that head a column of laps.
const LAP_WORDS: [&str; 6] = ["lap", "runde", "tour", "vuelta", "giro", "ronde"];

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
    #[error("`{path}` has {:.1} MB: a lap list has {} MB at most", *bytes as f64 / MB as f64, MOST_BYTES / MB)]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
    },
    /// A log in place of a lap list.
    #[error("`{path}` is a log with revs, not a lap list")]
    IsALog {
        /// The file.
        path: PathBuf,
    },
    /// No column of times.
    #[error("`{path}` has no column of lap times or passings; line {line} reads `{seen}`")]
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
                "check the file name under `laps` on the sheet, or leave it out: laps are then found in the log"
                    .to_owned()
            }
            Self::IsALog { .. } => {
                "enter the lap list of this run under `laps`, or leave it out: laps are then found in the log"
                    .to_owned()
            }
            _ => "write one lap time in each line, as `19.412` or `0:19.412`, or one passing, as `14:03:05.120`"
                .to_owned(),
        }
    }
}

/// A lap list: passings on a clock of its own.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LapList {
    /// Seconds of each passing; the first is zero. Increasing.
    pub passings: Vec<f64>,
    /// A time that no lap can take, and its line, where one was left out.
    pub absurd: Option<AbsurdTime>,
    /// Remarks on the reading.
    pub notices: Vec<Notice>,
}

/// A time of a list that no lap can take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AbsurdTime {
    /// The time, s.
    pub seconds: f64,
    /// Its line, from 1.
    pub line: u64,
}

/// Reads the lap list at `path`.
///
/// # Errors
/// [`ListError`], naming the file and the line.
pub fn read(path: &Path) -> Result<LapList, ListError> {
    let io = |source| ListError::Io { path: path.to_owned(), source };
    let bytes = packed::path::size(path).map_err(io)?;
    if bytes > MOST_BYTES {
        return Err(ListError::TooLarge { path: path.to_owned(), bytes });
    }
    let bytes = packed::path::read(path).map_err(io)?;
    if !matches!(packing(&bytes), Ok(Packing::Workbook)) {
        return read_text(path, &encoding::decode(&bytes, None).text, &bytes);
    }
    // The first worksheet with a list counts; where none has one, the first with anything says why.
    let broken = |e: WorkbookError| io(std::io::Error::other(e));
    let mut workbook = Workbook::open(&bytes).map_err(broken)?;
    let mut first_refusal = None;
    for name in workbook.worksheets() {
        let text = workbook.text(&name).map_err(broken)?;
        match read_text(path, &text, text.as_bytes()) {
            Ok(list) => return Ok(list),
            Err(e) if !text.trim().is_empty() => drop(first_refusal.get_or_insert(e)),
            Err(_) => {}
        }
    }
    Err(first_refusal.unwrap_or_else(|| ListError::NoTimes { path: path.to_owned(), line: 1, seen: String::new() }))
}

/// Reads the list in `text`, which was decoded from `bytes`.
fn read_text(path: &Path, text: &str, bytes: &[u8]) -> Result<LapList, ListError> {
    if is_log(path, bytes) || is_table_of_revs(text) {
        return Err(ListError::IsALog { path: path.to_owned() });
    }
    parse(text).map_err(|(line, seen)| ListError::NoTimes { path: path.to_owned(), line, seen })
}

/// Whether a text's first line heads a column of revs and none of laps: such a table is a log, however short.
pub fn is_table_of_revs(text: &str) -> bool {
    let Some(head) = text.lines().map(str::trim).find(|line| !line.is_empty()) else { return false };
    let cells = || head.split([',', ';', '\t', '|']).map(|cell| cell.trim().trim_matches('"'));
    // `Tourenzahl` is revs.
    let of_laps =
        |cell: &str| !import::names_revs(cell) && LAP_WORDS.iter().any(|word| cell.to_lowercase().contains(word));
    cells().any(import::names_revs) && !cells().any(of_laps)
}

/// Whether a file is a log: hundreds of rows with a column that is headed as revs.
fn is_log(path: &Path, bytes: &[u8]) -> bool {
    if bytes.iter().filter(|byte| **byte == b'\n').count() < LOG_ROWS {
        return false;
    }
    let has_revs = |log: &Log| {
        let guessed = log.reading.notices.iter().any(|notice| notice.code == NoticeCode::ChannelFromValues);
        !guessed && log.channel(Channel::Rpm).is_some()
    };
    import::read_bytes(path, bytes, &Hints::default()).is_ok_and(|logs| logs.iter().any(has_revs))
}

/// A cell that holds a time.
#[derive(Clone, Copy)]
struct Cell {
    seconds: f64,
    /// Written with a colon.
    clock: bool,
    /// Written with hours.
    hours: bool,
    /// Written without a decimal mark.
    whole: bool,
}

/// A line's number and its cells; `None` for a cell without a time.
type Row = (u64, Vec<Option<Cell>>);

/// Reads a lap list's text; on failure the first line that holds something.
///
/// # Errors
/// Line and text of the first line, where no column holds times.
pub fn parse(text: &str) -> Result<LapList, (u64, String)> {
    let lines: Vec<(u64, &str)> =
        text.lines().enumerate().map(|(n, l)| (n as u64 + 1, l.trim())).filter(|(_, l)| !l.is_empty()).collect();
    let delimiter = delimiter(&lines);
    let rows: Vec<Row> = lines
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
    let (times, skipped) = times_of_column(&rows, column);
    let mut notices = Vec::new();
    if skipped.count > 0 {
        let notice = Notice::warning(NoticeCode::ListLines, "lines of the lap list without a time were skipped");
        notices.push(notice.counted(skipped.first_line, skipped.count));
    }
    let (times, absurd) = longest_without_absurd(times, &mut notices);
    Ok(LapList { passings: to_passings(&times, &mut notices), absurd, notices })
}

/// The longest stretch of times between those that are absurdly long: how much time passed there is not known.
fn longest_without_absurd(times: Vec<(u64, Cell)>, notices: &mut Vec<Notice>) -> (Vec<Cell>, Option<AbsurdTime>) {
    let most = ABSURD * median(times.iter().map(|(_, cell)| cell.seconds)).unwrap_or(f64::INFINITY);
    let absurd = |(_, cell): &(u64, Cell)| most > 0.0 && cell.seconds > most;
    let Some(&(line, first)) = times.iter().find(|time| absurd(time)) else {
        return (times.into_iter().map(|(_, cell)| cell).collect(), None);
    };
    let count = times.iter().filter(|time| absurd(time)).count();
    let longest = times.split(absurd).max_by_key(|stretch| stretch.len()).unwrap_or_default();
    let mut message = format!("a time of {} s in the lap list is far too long and was left out", first.seconds);
    if longest.len() + count < times.len() {
        let (from, to) = (longest.first().map_or(0, |t| t.0), longest.last().map_or(0, |t| t.0));
        message += &format!("; the laps of lines {from} to {to} are used");
    }
    let notice = Notice::warning(NoticeCode::ListLines, message).counted(Some(line), count as u64);
    notices.push(notice.hint("correct the line"));
    let left_out = AbsurdTime { seconds: first.seconds, line };
    (longest.iter().map(|(_, cell)| *cell).collect(), Some(left_out))
}

/// The times of a column, and the lines after the first that have none.
fn times_of_column(rows: &[Row], column: usize) -> (Vec<(u64, Cell)>, Tally) {
    let (mut times, mut skipped) = (Vec::new(), Tally::default());
    for (n, (line, cells)) in rows.iter().enumerate() {
        match cells.get(column) {
            Some(Some(cell)) => times.push((*line, *cell)),
            // The first line may be the header.
            _ if n > 0 => skipped.add(*line, String::new),
            _ => {}
        }
    }
    (times, skipped)
}

/// What separates the cells of a line; `None` for blanks.
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
    // One comma a line may be the decimal mark: `19,412`. It is not where there is a point too, where a lap number
    // counts up before it, or where a colon follows it.
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
        // Blanks separate a lap number from its time.
        None => line.split_whitespace().collect(),
    }
}

/// Reads a cell; `None` where it holds no time.
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
fn column_score(rows: &[Row], column: usize, head: &str) -> Option<f64> {
    let cells: Vec<&Cell> = rows.iter().filter_map(|r| r.1.get(column)?.as_ref()).collect();
    if cells.len() * 2 < rows.len() || cells.is_empty() {
        return None;
    }
    let clock = cells.iter().filter(|c| c.clock).count() as f64 / cells.len() as f64;
    let whole = cells.iter().filter(|c| c.whole).count() as f64 / cells.len() as f64;
    if whole > MOSTLY_WHOLE && clock < 0.5 {
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
    let named = LAP.iter().position(|w| head.contains(w)).map_or(0.0, |rank| 1.0 - rank as f64 / 20.0);
    let refused = if NOT.iter().any(|w| head.contains(w)) { 2.0 } else { 0.0 };
    let filled = cells.len() as f64 / rows.len() as f64;
    // The time of day beside a lap time is mostly written in whole seconds.
    let coarse_clock = if clock > 0.5 { 0.3 * whole } else { 0.0 };
    Some(filled + named - refused + 0.2 * clock - coarse_clock - 0.01 * column as f64)
}

/// Passings from what was written: lap times are added up, passings counted from the first.
fn to_passings(times: &[Cell], notices: &mut Vec<Notice>) -> Vec<f64> {
    let values: Vec<f64> = times.iter().map(|t| t.seconds).collect();
    let rising = values.windows(2).all(|w| w[1] > w[0]);
    let usual = median(values.windows(2).map(|w| w[1] - w[0])).unwrap_or(0.0);
    // Lap times scatter about one value; passings rise by about a lap each.
    let are_passings = times.iter().filter(|t| t.hours).count() * 2 > times.len()
        || rising && values.len() > 3 && values[values.len() - 1] > 2.0 * values[0].max(usual);
    if are_passings { counted_passings(&values, notices) } else { summed_laps(&values, notices) }
}

/// Passings from lap times.
fn summed_laps(values: &[f64], notices: &mut Vec<Notice>) -> Vec<f64> {
    let mut out = vec![0.0];
    for value in values {
        let sum = out[out.len() - 1] + value;
        // A tiny lap time may vanish beside the sum so far.
        if sum > out[out.len() - 1] {
            out.push(sum);
        }
    }
    let zeroes = (values.len() + 1 - out.len()) as u64;
    if zeroes > 0 {
        notices.push(Notice::note(NoticeCode::ListLines, "lap times of zero were skipped").counted(None, zeroes));
    }
    out
}

/// Passings from passings on any clock, past midnight too.
fn counted_passings(values: &[f64], notices: &mut Vec<Notice>) -> Vec<f64> {
    let mut out = vec![0.0];
    let Some((&first, later)) = values.split_first() else { return out };
    let mut last = first;
    for &value in later {
        let mut step = value - last;
        if step < -clock::DAY_S / 2.0 {
            step += clock::DAY_S;
        }
        let passing = out[out.len() - 1] + step;
        if passing > out[out.len() - 1] {
            out.push(passing);
            last = value;
        } else {
            notices
                .push(Notice::warning(NoticeCode::ListOrder, "a passing that is not after the one before was skipped"));
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

    #[rstest]
    #[case("time,rpm\n0.0,12000\n0.1,12500\n", true)]
    #[case("Zeit [s];Drehzahl [1/min]\n0,0;12000\n", true)]
    #[case("lap,time,rpm\n1,15.2,31000\n", false)]
    #[case("15.2\n15.3\n", false)]
    fn a_table_with_revs_is_no_list(#[case] text: &str, #[case] of_revs: bool) {
        assert_eq!(is_table_of_revs(text), of_revs);
    }

    #[test]
    fn no_times_is_an_error_with_its_line() {
        assert_eq!(parse("\nhello world\n"), Err((2, "hello world".to_owned())));
    }
}
