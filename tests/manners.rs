//! Every manner of writing a log reads to the same values as the plain one, to the resolution that was written.

use std::path::Path;
use std::sync::OnceLock;

use encoding_rs::{GB18030, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use rstest::rstest;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Drive;
use runtrue::demo::manner::{ClockManner, Manner, Scale, TextManner, UnitManner};
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::demo::simulation::simulate;
use runtrue::demo::track::{Corner, Track};
use runtrue::import::columns::Hints;
use runtrue::import::read_bytes;
use runtrue::log::{Channel, Log};
use runtrue::notice::NoticeCode;

fn rows() -> &'static Rows {
    static ROWS: OnceLock<Rows> = OnceLock::new();
    ROWS.get_or_init(|| {
        let car = CarSpec::tourer();
        let corner = |(start, length, speed)| Corner { start, length, speed };
        let track = Track {
            length: 120.0,
            corners: [(30.0, 4.0, 9.0), (55.0, 3.0, 11.0), (90.0, 5.0, 7.5)].map(corner).into(),
        };
        let mut plan = Drive::plain(&car);
        plan.length = 40.0;
        Recorder::plain(20.0).sample(&simulate(&car, &track, &plan, 5), 5)
    })
}

fn read(bytes: &[u8]) -> Log {
    let hints = Hints { poles: Some(4.0), ..Hints::default() };
    let mut logs = read_bytes(Path::new("log.csv"), bytes, &hints)
        .unwrap_or_else(|e| panic!("{e}\n{}", String::from_utf8_lossy(&bytes[..bytes.len().min(600)])));
    assert_eq!(logs.len(), 1, "one run");
    logs.remove(0)
}

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

type Change = fn(&mut Manner);

/// A manner by its name: what it changes on the plain one.
fn manners() -> Vec<(&'static str, Change)> {
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

/// Resolution that a manner writes a channel with, half of it and a rounding.
fn resolution(m: &Manner, channel: Channel) -> f64 {
    match channel {
        Channel::Rpm => {
            if m.krpm {
                0.5001
            } else {
                0.501
            }
        }
        Channel::Voltage => 0.5001 * m.volts.factor * 0.1f64.powi(m.volts.decimals as i32) + 0.0051,
        Channel::Current => 0.5001 * m.amperes.factor * 0.1f64.powi(m.amperes.decimals as i32) + 0.051,
        Channel::Time => {
            if matches!(m.clock, ClockManner::WholeSeconds(_)) {
                1.0
            } else {
                0.0011
            }
        }
        _ => 0.06,
    }
}

/// Compares a log with the rows it was written from; rows may be lost where the manner says so.
fn compare(log: &Log, m: &Manner, what: &str) {
    let rows = rows();
    let lost = m.lose.map_or(0, |n| rows.time.len() / n + 2) + usize::from(m.cut && m.summary.is_empty());
    assert!(
        log.rows() <= rows.time.len() && log.rows() + lost >= rows.time.len(),
        "{what}: {} of {} rows",
        log.rows(),
        rows.time.len()
    );
    let time = log.time();
    assert!(time.windows(2).all(|w| w[1] > w[0]), "{what}: time runs forward");
    // Rows are matched by order; lost ones are stepped over by what the manner left out.
    let kept: Vec<usize> = (0..rows.time.len())
        .filter(|&r| !m.lose.is_some_and(|n| r > 0 && r + 1 < rows.time.len() && r % n == n / 2))
        .collect();
    let clock_counts_lost = !matches!(m.clock, ClockManner::Index) || m.names.is_some();
    for (at, &row) in kept.iter().enumerate().take(log.rows()) {
        // Where a clock was set back, the step in between is known only as the usual one.
        if clock_counts_lost && m.set_back == 0.0 {
            assert!(
                (time[at] - rows.time[row]).abs() <= resolution(m, Channel::Time),
                "{what}: row {row} at {} for {}",
                time[at],
                rows.time[row]
            );
        }
        for (c, (channel, values)) in rows.channels.iter().enumerate() {
            let read = log.channel(*channel).unwrap_or_else(|| panic!("{what}: no {}", channel.name()))[at];
            if m.missing.is_some_and(|(_, every)| (row + c) % every == every - 1) {
                assert!(read.is_nan(), "{what}: {} of row {row} is missing, read {read}", channel.name());
            } else {
                let tolerance = resolution(m, *channel);
                assert!(
                    (read - values[row]).abs() <= tolerance,
                    "{what}: {} of row {row} is {read}, written {}",
                    channel.name(),
                    values[row]
                );
            }
        }
    }
}

#[test]
fn each_manner_reads_to_the_plain_values() {
    for (name, change) in manners() {
        let mut manner = Manner::default();
        change(&mut manner);
        compare(&read(&manner.write(rows())), &manner, name);
    }
}

#[test]
fn each_pair_of_manners_reads_to_the_plain_values() {
    let half = |odd: usize| {
        for (at, (first, one)) in manners().into_iter().enumerate().filter(|(at, _)| at % 2 == odd) {
            for (second, other) in manners().into_iter().skip(at + 1) {
                let mut manner = Manner::default();
                one(&mut manner);
                other(&mut manner);
                if makes_sense(&manner) {
                    compare(&read(&manner.write(rows())), &manner, &format!("{first}, then {second}"));
                }
            }
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(|| half(0));
        half(1);
    });
}

/// Pairs that no recorder could write, or that leave nothing to tell by.
fn makes_sense(m: &Manner) -> bool {
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

#[rstest]
#[case("header again")]
#[case("clock from zero")]
fn several_runs_in_a_file_are_split(#[case] how: &str) {
    let text = String::from_utf8(Manner::default().write(rows())).unwrap();
    let second = if how == "header again" { text.clone() } else { text.split_once('\n').unwrap().1.to_owned() };
    let logs = read_bytes(Path::new("log.csv"), (text + &second).as_bytes(), &Hints::default()).unwrap();
    assert_eq!(logs.len(), 2);
    assert_eq!(logs[0].rows(), logs[1].rows());
    assert_eq!(logs[0].channel(Channel::Rpm), logs[1].channel(Channel::Rpm));
}

#[test]
fn what_is_dropped_is_counted_with_its_first_line() {
    let text = "Time [s],RPM,Voltage [V]\n".to_owned()
        + &(0..60).map(|n| format!("{}.{:02},{},7.4\n", n / 20, n % 20 * 5, 900 + n * 100)).collect::<String>();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    lines[10] = "0.45,oops,7.4".into();
    lines[20] = "0.95,,7.4".into();
    lines[21] = "1.00,--,7.4".into();
    lines[30] = "# marker".into();
    let log = read((lines.join("\n") + "\n").as_bytes());
    let notice = |code: NoticeCode| log.reading.notices.iter().find(|n| n.code == code).map(|n| (n.line, n.count));
    assert_eq!(notice(NoticeCode::UnreadableCells), Some((Some(11), 1)));
    assert_eq!(notice(NoticeCode::MissingCells), Some((Some(21), 2)));
    assert_eq!(notice(NoticeCode::NotARow), Some((Some(31), 1)));
    assert_eq!(notice(NoticeCode::LostRows), Some((Some(32), 1)));
    assert_eq!((log.reading.rows_in, log.reading.rows_kept), (60, 59));
}

/// A line is counted as an editor counts it, whatever ends it and wherever a long log is cut for reading.
#[rstest]
fn a_dropped_line_is_named_by_its_number(
    #[values("\n", "\r\n")] end: &str,
    #[values(true, false)] ended: bool,
    #[values(10, 30_000, 99_990)] bad: usize,
    #[values(0, 2)] above: usize,
) {
    let rows = bad.max(40) + 30;
    let mut lines: Vec<String> = (0..above).map(|n| format!("Device {n}")).collect();
    lines.push("time s,rpm,voltage V".into());
    lines.extend((0..rows).map(|n| format!("{:.2},{},7.{}", n as f64 * 0.05, 900 + n % 4000 * 7, n % 10)));
    lines[bad + above] = "this is no row".into();
    let text = lines.join(end) + if ended { end } else { "" };
    let log = &read_bytes(Path::new("x.csv"), text.as_bytes(), &Hints::default()).unwrap()[0];
    let notice = log.reading.notices.iter().find(|n| n.code == NoticeCode::NotARow).unwrap();
    assert_eq!((notice.line, notice.count), (Some((bad + above + 1) as u64), 1));
    // The row that is lost with it shows in the clock on the line after.
    let lost = log.reading.notices.iter().find(|n| n.code == NoticeCode::LostRows).unwrap();
    assert_eq!(lost.line, Some((bad + above + 2) as u64));
}
