//! The manners of writing a log, by name, and which of them go together.

use encoding_rs::{GB18030, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use runtrue::demo::manner::{ClockManner, Manner, Scale, TextManner, UnitManner};

const GERMAN: [&str; 11] = [
    "Zeit",
    "Zähler",
    "Drehzahl",
    "eRPM",
    "Spannung",
    "Strom",
    "Motortemperatur",
    "Reglertemperatur",
    "Gas",
    "Rad",
    "Tempo",
];
const FRENCH: [&str; 11] = [
    "Temps",
    "Index",
    "Régime moteur",
    "eRPM",
    "Tension",
    "Courant",
    "Température moteur",
    "Température variateur",
    "Gaz",
    "Roue",
    "Vitesse",
];
const SPANISH: [&str; 11] = [
    "Tiempo",
    "Índice",
    "Revoluciones",
    "eRPM",
    "Voltaje",
    "Corriente",
    "Temperatura motor",
    "Temperatura variador",
    "Acelerador",
    "Rueda",
    "Velocidad",
];
const ITALIAN: [&str; 11] = [
    "Tempo",
    "Indice",
    "Giri motore",
    "eRPM",
    "Tensione",
    "Corrente",
    "Temperatura motore",
    "Temperatura regolatore",
    "Gas",
    "Ruota",
    "Velocità",
];
const PORTUGUESE: [&str; 11] = [
    "Tempo",
    "Índice",
    "Rotação",
    "eRPM",
    "Tensão",
    "Corrente",
    "Temperatura do motor",
    "Temperatura do ESC",
    "Acelerador",
    "Roda",
    "Velocidade",
];
const DUTCH: [&str; 11] = [
    "Tijd",
    "Index",
    "Toerental",
    "eRPM",
    "Spanning",
    "Stroom",
    "Motortemperatuur",
    "Regelaartemperatuur",
    "Gas",
    "Wiel",
    "Snelheid",
];
const JAPANESE: [&str; 11] =
    ["時間", "番号", "回転数", "eRPM", "電圧", "電流", "モーター温度", "アンプ温度", "スロットル", "車輪速度", "速度"];
const CHINESE: [&str; 11] =
    ["时间", "序号", "转速", "eRPM", "电压", "电流", "电机温度", "电调温度", "油门", "轮速", "速度"];

fn scale(factor: f64, unit: &'static str, decimals: usize) -> Scale {
    Scale { factor, unit, decimals }
}

/// What a manner changes.
pub type Change = fn(&mut Manner);

/// A manner by its name: what it changes on the plain one.
pub fn manners() -> Vec<(&'static str, Change)> {
    [of_text(), of_heads(), of_values()].concat()
}

/// Delimiters, numbers, quotes, line ends, encodings.
fn of_text() -> Vec<(&'static str, Change)> {
    vec![
        ("semicolon", |m| m.delimiter = ';'),
        ("tab", |m| m.delimiter = '\t'),
        ("pipe", |m| m.delimiter = '|'),
        ("decimal comma", |m| {
            m.decimal = ',';
            if m.delimiter == ',' {
                m.delimiter = ';';
            }
        }),
        ("quoted decimal comma", |m| {
            m.decimal = ',';
            m.quoted = true;
        }),
        ("thousands point", |m| {
            (m.decimal, m.grouping) = (',', Some('.'));
            if m.delimiter == ',' {
                m.delimiter = ';';
            }
        }),
        ("thousands comma", |m| {
            if m.decimal == '.' {
                (m.grouping, m.quoted) = (Some(','), true);
            }
        }),
        ("thousands blank", |m| m.grouping = Some(' ')),
        ("thousands apostrophe", |m| m.grouping = Some('\'')),
        ("quoted", |m| m.quoted = true),
        ("trailing delimiter", |m| m.trailing = true),
        ("cr lf", |m| m.crlf = true),
        ("mark", |m| m.text = TextManner::marked(UTF_8)),
        ("utf-16 le", |m| m.text = TextManner::marked(UTF_16LE)),
        ("utf-16 be", |m| m.text = TextManner::marked(UTF_16BE)),
        ("utf-16 le without a mark", |m| m.text = TextManner::plain(UTF_16LE)),
        ("utf-16 be without a mark", |m| m.text = TextManner::plain(UTF_16BE)),
        ("windows-1252", |m| m.text = TextManner::plain(WINDOWS_1252)),
        ("shift_jis", |m| (m.text, m.names) = (TextManner::plain(SHIFT_JIS), m.names.map(|_| JAPANESE))),
        ("gb18030", |m| (m.text, m.names) = (TextManner::plain(GB18030), m.names.map(|_| CHINESE))),
    ]
}

/// What stands above the rows, and in which language.
fn of_heads() -> Vec<(&'static str, Change)> {
    vec![
        ("preamble", |m| {
            m.preamble = ["Recording of run 7", "Firmware 2.1, serial 00017", "", "Comment: \"quick\" one"]
                .map(String::from)
                .into()
        }),
        ("row of units", |m| m.units = UnitManner::Row),
        ("no units", |m| m.units = UnitManner::None),
        ("no header", |m| (m.names, m.units) = (None, UnitManner::None)),
        ("german", |m| m.names = m.names.map(|_| GERMAN)),
        ("french", |m| m.names = m.names.map(|_| FRENCH)),
        ("spanish", |m| m.names = m.names.map(|_| SPANISH)),
        ("italian", |m| m.names = m.names.map(|_| ITALIAN)),
        ("portuguese", |m| m.names = m.names.map(|_| PORTUGUESE)),
        ("dutch", |m| m.names = m.names.map(|_| DUTCH)),
        ("japanese", |m| m.names = m.names.map(|_| JAPANESE)),
        ("chinese", |m| m.names = m.names.map(|_| CHINESE)),
    ]
}

/// Clocks, units, cells and rows without a reading.
fn of_values() -> Vec<(&'static str, Change)> {
    vec![
        ("ms", |m| m.clock = ClockManner::Milliseconds),
        ("µs", |m| m.clock = ClockManner::Microseconds),
        ("time of day", |m| m.clock = ClockManner::TimeOfDay(51_000.25)),
        ("past midnight", |m| m.clock = ClockManner::TimeOfDay(86_380.0)),
        ("date and time", |m| m.clock = ClockManner::DateAndTime(86_380.0)),
        ("whole seconds", |m| m.clock = ClockManner::WholeSeconds(39_000.3)),
        ("index with a rate", |m| {
            m.clock = ClockManner::Index;
            m.preamble.push("Sample rate: 20 Hz".into());
        }),
        ("index with an interval", |m| {
            m.clock = ClockManner::Index;
            m.preamble.push("Sampling interval [ms] = 50".into());
        }),
        ("electrical revs", |m| {
            if m.names.is_some() {
                m.poles = Some(4.0);
            }
        }),
        ("krpm", |m| {
            if m.names.is_some() && m.poles.is_none() {
                m.krpm = true;
            }
        }),
        ("mV and mA", |m| (m.volts, m.amperes) = (scale(0.001, "mV", 0), scale(0.001, "mA", 0))),
        ("dV and cA", |m| (m.volts, m.amperes) = (scale(0.1, "dV", 1), scale(0.01, "cA", 0))),
        ("°F", |m| m.fahrenheit = true),
        ("NaN", |m| m.missing = Some(("NaN", 37))),
        ("dashes", |m| m.missing = Some(("--", 41))),
        ("blank cells", |m| m.missing = Some(("", 43))),
        ("n/a", |m| m.missing = Some(("#N/A", 47))),
        ("full scale", |m| m.missing = Some(("65535", 53))),
        ("lost rows", |m| {
            if !matches!(m.clock, ClockManner::WholeSeconds(_)) {
                m.lose = Some(61);
            }
        }),
        ("a cut last row", |m| m.cut = true),
        ("summary lines", |m| m.summary = vec![format!("Max{0}{0}{0}", m.delimiter), "End of recording".into()]),
        ("a clock set back", |m| {
            if matches!(m.clock, ClockManner::Seconds | ClockManner::Milliseconds | ClockManner::TimeOfDay(_)) {
                m.set_back = 3.2;
            }
        }),
    ]
}

/// Whether a recorder could write so, and leaves something to tell by.
pub fn makes_sense(m: &Manner) -> bool {
    let two_byte = [SHIFT_JIS, GB18030].contains(&m.text.encoding);
    let names_fit = match m.names {
        Some(n) if n == JAPANESE => m.text.encoding != WINDOWS_1252 && m.text.encoding != GB18030,
        Some(n) if n == CHINESE => m.text.encoding != WINDOWS_1252 && m.text.encoding != SHIFT_JIS,
        Some(_) => !two_byte || m.names == Some(JAPANESE) || m.names == Some(CHINESE),
        None => true,
    };
    // Without a word on units or columns, scaled values and marks cannot be told from readings.
    let nothing_told =
        m.names.is_none() && (m.poles.is_some() || m.krpm || m.fahrenheit || m.clock == ClockManner::Index);
    let units_untold = m.units == UnitManner::None && (m.krpm || m.amperes.factor != 1.0 || m.fahrenheit);
    let index_told =
        m.clock != ClockManner::Index || (m.preamble.iter().any(|p| p.contains("Sampl")) && m.lose.is_none());
    let separators = m.grouping != Some(m.decimal)
        && (m.grouping != Some(m.delimiter) || m.quoted)
        && !(m.grouping == Some(',') && m.decimal == ',');
    let set_back = m.set_back == 0.0
        || matches!(m.clock, ClockManner::Seconds | ClockManner::Milliseconds | ClockManner::TimeOfDay(_));
    let lost = m.lose.is_none() || !matches!(m.clock, ClockManner::WholeSeconds(_));
    let summary = m.summary.first().is_none_or(|s| s.contains(m.delimiter));
    names_fit
        && !nothing_told
        && !units_untold
        && index_told
        && separators
        && set_back
        && lost
        && summary
        && !(m.krpm && m.poles.is_some())
}
