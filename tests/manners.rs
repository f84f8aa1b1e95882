//! Every manner of writing a log reads to the same values as the plain one, to the resolution that was written.

mod written;

use std::path::Path;
use std::sync::OnceLock;

use rstest::rstest;
use runtrue::demo::car::CarSpec;
use runtrue::demo::drive::Drive;
use runtrue::demo::manner::{ClockManner, Manner};
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::demo::simulation::simulate;
use runtrue::demo::track::{Corner, Track};
use runtrue::import::columns::Hints;
use runtrue::import::read_bytes;
use runtrue::log::{Channel, Log};
use runtrue::notice::NoticeCode;
use written::{makes_sense, manners};

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
