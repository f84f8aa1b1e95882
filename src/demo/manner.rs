//! The manners in which recorders write their files.

use encoding_rs::{Encoding, GB18030, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::recorder::Rows;
use crate::log::Channel;

/// How a file says the time.
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

/// Where a file says its units.
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
pub struct TextManner(pub &'static Encoding, pub bool);

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
    /// Names of time, index, revs, electrical revs, volts, amperes, motor, controller, throttle, wheel and ground speed.
    pub names: Option<[&'static str; 11]>,
    /// Where units stand.
    pub units: UnitManner,
    /// The time.
    pub clock: ClockManner,
    /// Electrical revs of a motor of so many poles.
    pub poles: Option<f64>,
    /// Thousands of revs.
    pub krpm: bool,
    /// Factor and spelling of volts.
    pub volts: (f64, &'static str, usize),
    /// Factor and spelling of amperes.
    pub amperes: (f64, &'static str, usize),
    /// Temperatures in °F.
    pub fahrenheit: bool,
    /// Spelling of a cell without a reading, and every how many rows one stands.
    pub missing: Option<(&'static str, usize)>,
    /// Half of the last row.
    pub cut: bool,
    /// Lines after the last row.
    pub summary: Vec<String>,
    /// Every how many rows one is left out.
    pub lose: Option<usize>,
    /// From the middle on the clock shows these seconds less.
    pub set_back: f64,
}

/// Names in English.
pub const ENGLISH: [&str; 11] = [
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
            text: TextManner(UTF_8, false),
            preamble: Vec::new(),
            names: Some(ENGLISH),
            units: UnitManner::InHeader,
            clock: ClockManner::Seconds,
            poles: None,
            krpm: false,
            volts: (1.0, "V", 2),
            amperes: (1.0, "A", 1),
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
        let TextManner(encoding, mark) = self.text;
        let text = if mark { format!("\u{feff}{text}") } else { text.to_owned() };
        match encoding {
            e if e == UTF_16LE => text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            e if e == UTF_16BE => text.encode_utf16().flat_map(u16::to_be_bytes).collect(),
            e => e.encode(&text).0.into_owned(),
        }
    }

    fn line(&self, cells: Vec<String>) -> String {
        let quoted = |c: String| {
            if self.quoted || self.grouping == Some(self.delimiter) || self.decimal == self.delimiter {
                format!("\"{c}\"")
            } else {
                c
            }
        };
        let mut line = cells.into_iter().map(quoted).collect::<Vec<_>>().join(&self.delimiter.to_string());
        if self.trailing {
            line.push(self.delimiter);
        }
        line
    }

    fn name_of(&self, channel: Channel) -> &'static str {
        let names = self.names.unwrap_or(ENGLISH);
        names[match channel {
            Channel::Time => {
                if self.clock == ClockManner::Index {
                    1
                } else {
                    0
                }
            }
            Channel::Rpm => {
                if self.poles.is_some() {
                    3
                } else {
                    2
                }
            }
            Channel::Voltage => 4,
            Channel::Current => 5,
            Channel::MotorTemperature => 6,
            Channel::ControllerTemperature => 7,
            Channel::Throttle => 8,
            Channel::WheelSpeed => 9,
            _ => 10,
        }]
    }

    fn unit(&self, channel: Channel) -> &'static str {
        match channel {
            Channel::Time => match self.clock {
                ClockManner::Seconds => "s",
                ClockManner::Milliseconds => "ms",
                ClockManner::Microseconds => {
                    if self.text.0 == WINDOWS_1252 {
                        "µs"
                    } else {
                        "us"
                    }
                }
                _ => "",
            },
            Channel::Rpm => {
                if self.krpm {
                    "krpm"
                } else {
                    "1/min"
                }
            }
            Channel::Voltage => self.volts.1,
            Channel::Current => self.amperes.1,
            Channel::Throttle => "%",
            Channel::WheelSpeed | Channel::GroundSpeed => "m/s",
            // The degree sign of the two-byte encodings is not the western one.
            _ if self.text.0 == SHIFT_JIS || self.text.0 == GB18030 => {
                if self.fahrenheit {
                    "F"
                } else {
                    "℃"
                }
            }
            _ => {
                if self.fahrenheit {
                    "°F"
                } else {
                    "°C"
                }
            }
        }
    }

    fn heads(&self, rows: &Rows, with_units: bool) -> Vec<String> {
        let all = std::iter::once(Channel::Time).chain(rows.channels.iter().map(|c| c.0));
        all.map(|c| match self.unit(c) {
            unit if with_units && !unit.is_empty() => format!("{} [{unit}]", self.name_of(c)),
            _ => self.name_of(c).to_owned(),
        })
        .collect()
    }

    fn unit_row(&self, rows: &Rows) -> Vec<String> {
        std::iter::once(Channel::Time)
            .chain(rows.channels.iter().map(|c| c.0))
            .map(|c| self.unit(c).to_owned())
            .collect()
    }

    fn cells(&self, rows: &Rows, row: usize) -> Vec<String> {
        let mut cells = vec![self.time(rows, row)];
        for (at, (channel, values)) in rows.channels.iter().enumerate() {
            let blank = self.missing.is_some_and(|(_, every)| (row + at) % every == every - 1);
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
            Channel::Voltage => (value / self.volts.0, self.volts.2),
            Channel::Current => (value / self.amperes.0, self.amperes.2),
            Channel::MotorTemperature | Channel::ControllerTemperature if self.fahrenheit => (value * 1.8 + 32.0, 1),
            Channel::MotorTemperature | Channel::ControllerTemperature => (value, 0),
            Channel::Throttle => (value, 0),
            _ => (value, 2),
        };
        self.number(scaled, decimals)
    }

    fn number(&self, value: f64, decimals: usize) -> String {
        let text = format!("{value:.decimals$}");
        let text = if text.trim_start_matches('-').bytes().all(|b| b == b'0' || b == b'.') {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        };
        let (whole, rest) = text.split_once('.').map_or((text.as_str(), None), |(w, r)| (w, Some(r)));
        let mut out = String::new();
        let digits = whole.trim_start_matches('-').len();
        for (at, c) in whole.trim_start_matches('-').chars().enumerate() {
            if let Some(mark) = self.grouping.filter(|_| at > 0 && (digits - at).is_multiple_of(3)) {
                out.push(mark);
            }
            out.push(c);
        }
        let sign = if whole.starts_with('-') { "-" } else { "" };
        match rest {
            Some(rest) => format!("{sign}{out}{}{rest}", self.decimal),
            None => format!("{sign}{out}"),
        }
    }

    fn time(&self, rows: &Rows, row: usize) -> String {
        let back = if row >= rows.time.len() / 2 { self.set_back } else { 0.0 };
        let seconds = rows.time[row] - back;
        let clock = |start: f64, whole: bool| {
            let ms = ((start + seconds) * 1000.0).round() as i64;
            let ms = ms.rem_euclid(86_400_000);
            let (h, m, s, ms) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000);
            if whole { format!("{h:02}:{m:02}:{s:02}") } else { format!("{h:02}:{m:02}:{s:02}{}{ms:03}", self.decimal) }
        };
        match self.clock {
            ClockManner::Seconds => self.number(seconds, 3),
            ClockManner::Milliseconds => self.number(seconds * 1e3, 0),
            ClockManner::Microseconds => self.number(seconds * 1e6, 0),
            ClockManner::TimeOfDay(start) => clock(start, false),
            ClockManner::WholeSeconds(start) => clock(start, true),
            ClockManner::DateAndTime(start) => {
                let day = 16 + i64::from(start + seconds >= 86_400.0);
                format!("2026-05-{day} {}", clock(start, false))
            }
            ClockManner::Index => self.number(row as f64, 0),
        }
    }
}
