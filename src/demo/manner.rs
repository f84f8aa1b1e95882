//! The ways in which recorders write their files.

use encoding_rs::{Encoding, GB18030, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::recorder::Rows;
use crate::log::Channel;

/// How a file writes the time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClockManner {
    /// Seconds, three decimals.
    Seconds,
    /// Whole milliseconds.
    Milliseconds,
    /// Whole microseconds.
    Microseconds,
    /// `h:mm:ss.mmm`, from these seconds after midnight.
    TimeOfDay(f64),
    /// Date and time, from these seconds after a midnight.
    DateAndTime(f64),
    /// Time of day without a fraction.
    WholeSeconds(f64),
    /// A row number.
    Index,
}

/// Where a file names its units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitManner {
    /// In brackets behind each name.
    InHeader,
    /// In a row of their own.
    Row,
    /// Nowhere.
    None,
}

/// A character encoding with or without a byte-order mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TextManner {
    /// The encoding.
    pub encoding: &'static Encoding,
    /// Whether the file begins with a byte-order mark.
    pub marked: bool,
}

impl TextManner {
    /// The encoding without a byte-order mark.
    pub fn plain(encoding: &'static Encoding) -> Self {
        Self { encoding, marked: false }
    }

    /// The encoding with a byte-order mark.
    pub fn marked(encoding: &'static Encoding) -> Self {
        Self { encoding, marked: true }
    }
}

/// How volts or amperes are written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// What one of the file's units is, in V or A.
    pub factor: f64,
    /// The file's unit.
    pub unit: &'static str,
    /// Decimals of a cell.
    pub decimals: usize,
}

/// Names of time, index, revs, electrical revs, voltage, current, motor and controller temperature, throttle, wheel and
/// ground speed.
pub type ColumnNames = [&'static str; 11];

/// How a file is written. [`Manner::default`] is the plain one.
#[derive(Debug, Clone, PartialEq)]
pub struct Manner {
    /// Between cells.
    pub delimiter: char,
    /// Decimal mark.
    pub decimal: char,
    /// Thousands separator of whole parts.
    pub grouping: Option<char>,
    /// Every cell in quotes.
    pub quoted: bool,
    /// A delimiter at the end of each row.
    pub trailing: bool,
    /// CR LF.
    pub crlf: bool,
    /// Encoding.
    pub text: TextManner,
    /// Lines before the header.
    pub preamble: Vec<String>,
    /// The header; `None` where there is none.
    pub names: Option<ColumnNames>,
    /// Where the units are named.
    pub units: UnitManner,
    /// The time.
    pub clock: ClockManner,
    /// Electrical revs of a motor with this many poles, in place of the motor's own.
    pub poles: Option<f64>,
    /// Revs in thousands.
    pub krpm: bool,
    /// The voltage.
    pub volts: Scale,
    /// The current.
    pub amperes: Scale,
    /// Temperatures in °F.
    pub fahrenheit: bool,
    /// How a cell without a reading is written, and after how many cells there is one.
    pub missing: Option<(&'static str, usize)>,
    /// The file ends in the middle of the last row.
    pub cut: bool,
    /// Lines after the last row.
    pub summary: Vec<String>,
    /// After how many rows one is left out.
    pub lose: Option<usize>,
    /// In the second half of the rows the clock shows this many seconds less.
    pub set_back: f64,
}

/// Names in English.
pub const ENGLISH: ColumnNames = [
    "Time",
    "Index",
    "RPM",
    "eRPM",
    "Voltage",
    "Current",
    "Motor Temp",
    "ESC Temp",
    "Throttle",
    "Wheel Speed",
    "Ground Speed",
];

impl Default for Manner {
    fn default() -> Self {
        Self {
            delimiter: ',',
            decimal: '.',
            grouping: None,
            quoted: false,
            trailing: false,
            crlf: false,
            text: TextManner::plain(UTF_8),
            preamble: Vec::new(),
            names: Some(ENGLISH),
            units: UnitManner::InHeader,
            clock: ClockManner::Seconds,
            poles: None,
            krpm: false,
            volts: Scale { factor: 1.0, unit: "V", decimals: 2 },
            amperes: Scale { factor: 1.0, unit: "A", decimals: 1 },
            fahrenheit: false,
            missing: None,
            cut: false,
            summary: Vec::new(),
            lose: None,
            set_back: 0.0,
        }
    }
}

impl Manner {
    /// Writes `rows` as a file's bytes.
    pub fn write(&self, rows: &Rows) -> Vec<u8> {
        let mut lines: Vec<String> = self.preamble.clone();
        if self.names.is_some() {
            lines.push(self.line(self.heads(rows, self.units == UnitManner::InHeader)));
            if self.units == UnitManner::Row {
                lines.push(self.line(self.unit_row(rows)));
            }
        }
        for row in 0..rows.time.len() {
            let inner = row > 0 && row + 1 < rows.time.len();
            if !self.lose.is_some_and(|n| inner && row % n == n / 2) {
                lines.push(self.line(self.cells(rows, row)));
            }
        }
        lines.extend(self.summary.iter().cloned());
        let end = if self.crlf { "\r\n" } else { "\n" };
        let mut text = lines.join(end) + end;
        if self.cut {
            let last = lines.last().map_or(0, String::len);
            text.truncate(text.floor_char_boundary(text.len() - end.len() - last / 2));
        }
        self.encode(&text)
    }

    fn encode(&self, text: &str) -> Vec<u8> {
        let TextManner { encoding, marked } = self.text;
        let text = if marked { format!("\u{feff}{text}") } else { text.to_owned() };
        // The standard that `encoding_rs` follows writes no UTF-16.
        if encoding == UTF_16LE {
            text.encode_utf16().flat_map(u16::to_le_bytes).collect()
        } else if encoding == UTF_16BE {
            text.encode_utf16().flat_map(u16::to_be_bytes).collect()
        } else {
            encoding.encode(&text).0.into_owned()
        }
    }

    fn line(&self, cells: Vec<String>) -> String {
        let quotes = self.quoted || self.grouping == Some(self.delimiter) || self.decimal == self.delimiter;
        let quoted = |cell: String| if quotes { format!("\"{cell}\"") } else { cell };
        let mut line = cells.into_iter().map(quoted).collect::<Vec<_>>().join(&self.delimiter.to_string());
        if self.trailing {
            line.push(self.delimiter);
        }
        line
    }

    fn column_name(&self, channel: Channel) -> &'static str {
        let column = match channel {
            Channel::Time if self.clock != ClockManner::Index => 0,
            Channel::Time => 1,
            Channel::Rpm if self.poles.is_none() => 2,
            Channel::Rpm => 3,
            Channel::Voltage => 4,
            Channel::Current => 5,
            Channel::MotorTemperature => 6,
            Channel::ControllerTemperature => 7,
            Channel::Throttle => 8,
            Channel::WheelSpeed => 9,
            _ => 10,
        };
        self.names.unwrap_or(ENGLISH)[column]
    }

    fn unit(&self, channel: Channel) -> &'static str {
        let encoding = self.text.encoding;
        // The degree sign of the two-byte encodings is not the western one.
        let two_bytes = encoding == SHIFT_JIS || encoding == GB18030;
        match channel {
            Channel::Time => match self.clock {
                ClockManner::Seconds => "s",
                ClockManner::Milliseconds => "ms",
                ClockManner::Microseconds if encoding == WINDOWS_1252 => "µs",
                ClockManner::Microseconds => "us",
                _ => "",
            },
            Channel::Rpm if self.krpm => "krpm",
            Channel::Rpm => "1/min",
            Channel::Voltage => self.volts.unit,
            Channel::Current => self.amperes.unit,
            Channel::Throttle => "%",
            Channel::WheelSpeed | Channel::GroundSpeed => "m/s",
            _ if two_bytes && self.fahrenheit => "F",
            _ if two_bytes => "℃",
            _ if self.fahrenheit => "°F",
            _ => "°C",
        }
    }

    fn heads(&self, rows: &Rows, with_units: bool) -> Vec<String> {
        let head = |channel: Channel| match self.unit(channel) {
            unit if with_units && !unit.is_empty() => format!("{} [{unit}]", self.column_name(channel)),
            _ => self.column_name(channel).to_owned(),
        };
        columns(rows).map(head).collect()
    }

    fn unit_row(&self, rows: &Rows) -> Vec<String> {
        columns(rows).map(|channel| self.unit(channel).to_owned()).collect()
    }

    fn cells(&self, rows: &Rows, row: usize) -> Vec<String> {
        let mut cells = vec![self.time(rows, row)];
        for (column, (channel, values)) in rows.channels.iter().enumerate() {
            let blank = self.missing.is_some_and(|(_, every)| (row + column) % every == every - 1);
            cells.push(match self.missing {
                Some((spelling, _)) if blank => spelling.to_owned(),
                _ => self.value(*channel, values[row]),
            });
        }
        cells
    }

    fn value(&self, channel: Channel, value: f64) -> String {
        let (scaled, decimals) = match channel {
            Channel::Rpm if self.krpm => (value / 1000.0, 3),
            Channel::Rpm => (value * self.poles.map_or(1.0, |p| p / 2.0), 0),
            Channel::Voltage => (value / self.volts.factor, self.volts.decimals),
            Channel::Current => (value / self.amperes.factor, self.amperes.decimals),
            Channel::MotorTemperature | Channel::ControllerTemperature if self.fahrenheit => (value * 1.8 + 32.0, 1),
            Channel::MotorTemperature | Channel::ControllerTemperature => (value, 0),
            Channel::Throttle => (value, 0),
            _ => (value, 2),
        };
        self.number(scaled, decimals)
    }

    fn number(&self, value: f64, decimals: usize) -> String {
        let text = format!("{value:.decimals$}");
        let (sign, digits) = match text.strip_prefix('-') {
            // No recorder writes a zero with a minus.
            Some(digits) if digits.bytes().any(|b| (b'1'..=b'9').contains(&b)) => ("-", digits),
            Some(digits) => ("", digits),
            None => ("", text.as_str()),
        };
        let (whole, fraction) = digits.split_once('.').map_or((digits, None), |(w, f)| (w, Some(f)));
        let mut grouped = String::new();
        for (index, digit) in whole.chars().enumerate() {
            if let Some(mark) = self.grouping.filter(|_| index > 0 && (whole.len() - index).is_multiple_of(3)) {
                grouped.push(mark);
            }
            grouped.push(digit);
        }
        match fraction {
            Some(fraction) => format!("{sign}{grouped}{}{fraction}", self.decimal),
            None => format!("{sign}{grouped}"),
        }
    }

    fn time(&self, rows: &Rows, row: usize) -> String {
        let back = if row >= rows.time.len() / 2 { self.set_back } else { 0.0 };
        let seconds = rows.time[row] - back;
        match self.clock {
            ClockManner::Seconds => self.number(seconds, 3),
            ClockManner::Milliseconds => self.number(seconds * 1e3, 0),
            ClockManner::Microseconds => self.number(seconds * 1e6, 0),
            ClockManner::TimeOfDay(start) => self.time_of_day(start + seconds),
            ClockManner::WholeSeconds(start) => TimeOfDay::new(start + seconds).in_whole_seconds(),
            ClockManner::DateAndTime(start) => {
                let day = 16 + i64::from(start + seconds >= 86_400.0);
                format!("2026-05-{day} {}", self.time_of_day(start + seconds))
            }
            ClockManner::Index => self.number(row as f64, 0),
        }
    }

    fn time_of_day(&self, seconds: f64) -> String {
        let time = TimeOfDay::new(seconds);
        format!("{}{}{:03}", time.in_whole_seconds(), self.decimal, time.milliseconds % 1000)
    }
}

/// Channels in the order of the file's columns.
fn columns(rows: &Rows) -> impl Iterator<Item = Channel> {
    std::iter::once(Channel::Time).chain(rows.channels.iter().map(|c| c.0))
}

/// A time of the day.
struct TimeOfDay {
    /// Since midnight.
    milliseconds: i64,
}

impl TimeOfDay {
    /// The time at `seconds` after a midnight.
    fn new(seconds: f64) -> Self {
        Self { milliseconds: ((seconds * 1000.0).round() as i64).rem_euclid(86_400_000) }
    }

    fn in_whole_seconds(&self) -> String {
        let ms = self.milliseconds;
        format!("{:02}:{:02}:{:02}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60)
    }
}
