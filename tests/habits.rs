//! Habits of recorders beyond the manners: each must read to the values it was written from.

use std::path::Path;

use rstest::rstest;
use runtrue::import::columns::Hints;
use runtrue::import::read_bytes;
use runtrue::log::{Channel, Log};
use runtrue::notice::NoticeCode;

/// One row of the truth: seconds, turns a minute, volts, amperes, motor and controller in °C.
type Row = (f64, f64, f64, f64, f64, f64);

/// A run of 80 s at 20 Hz by closed formulas.
fn rows() -> Vec<Row> {
    (0..1600)
        .map(|n| {
            let t = f64::from(n) * 0.05;
            let moving = f64::from(u8::from(t >= 4.0));
            let rpm = (moving * (22_000.0 + 17_000.0 * (0.7 * t).sin() + 3000.0 * (2.3 * t).sin())).round();
            let current = ((0.1 + moving * (25.0 + 30.0 * (0.7 * t).cos())) * 10.0).round() / 10.0;
            let volts = ((8.4 - 0.006 * t - 0.009 * current) * 100.0).round() / 100.0;
            let warm = 1.0 - (-t / 60.0).exp();
            (t, rpm, volts, current, (27.0 + 53.0 * warm).round(), (26.0 + 14.0 * warm).round())
        })
        .collect()
}

fn file(head: &str, line: impl Fn(usize, Row) -> String) -> String {
    head.to_owned() + "\n" + &rows().into_iter().enumerate().map(|(n, r)| line(n, r) + "\n").collect::<String>()
}

fn rest((_, r, v, i, m, e): Row, delimiter: &str) -> String {
    [r, v, i, m, e].map(|x| x.to_string()).join(delimiter)
}

fn clock(seconds: f64) -> String {
    let ms = (seconds * 1000.0).round() as u64;
    format!("{:02}:{:02}:{:02}.{:03}", ms / 3_600_000 % 24, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

const HEAD: &str = "RPM,Voltage,Current,Motor Temp,ESC Temp";

fn read(bytes: &[u8]) -> Log {
    let mut logs = read_bytes(Path::new("x.csv"), bytes, &Hints::default()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(logs.len(), 1, "one run");
    logs.remove(0)
}

fn compare(log: &Log, shift_motor: f64) {
    let truth = rows();
    assert_eq!(log.rows(), truth.len());
    let channel = |c: Channel| log.channel(c).unwrap_or_else(|| panic!("no {}", c.name()));
    for (n, row) in truth.iter().enumerate() {
        for (c, value, tolerance) in [
            (Channel::Time, row.0, 0.0011),
            (Channel::Rpm, row.1, 0.001),
            (Channel::Voltage, row.2, 0.0011),
            (Channel::Current, row.3, 0.0011),
            (Channel::MotorTemperature, row.4 + shift_motor, 0.06),
            (Channel::ControllerTemperature, row.5, 0.06),
        ] {
            let read = channel(c)[n];
            assert!((read - value).abs() <= tolerance, "{} of row {n}: {read} for {value}", c.name());
        }
    }
}

#[rstest]
#[case::minutes_and_seconds(file(&format!("Time,{HEAD}"), |_, r| format!("{:02}:{:06.3},{}", (r.0 / 60.0) as u32, r.0 % 60.0, rest(r, ","))))]
#[case::seconds_from_1970(file(&format!("timestamp,{HEAD}"), |_, r| format!("{:.3},{}", 1.77e9 + r.0, rest(r, ","))))]
#[case::milliseconds_from_1970(file(&format!("timestamp,{HEAD}"), |_, r| format!("{:.0},{}", 1.77e12 + r.0 * 1000.0, rest(r, ","))))]
#[case::a_counter_that_runs_over(file(&format!("Time(ms),{HEAD}"), |_, r| format!("{},{}", ((r.0 * 1000.0).round() as u64 + 20_000) % 65_536, rest(r, ","))))]
#[case::hundredths(file(&format!("Time (1/100 s),{HEAD}"), |_, r| format!("{:.0},{}", r.0 * 100.0, rest(r, ","))))]
#[case::minutes(file(&format!("Time [min],{HEAD}"), |_, r| format!("{:.6},{}", r.0 / 60.0, rest(r, ","))))]
#[case::a_date_column_and_midnight(file("Date;Time;RPM;Voltage;Current;Motor temp;Controller temp", |_, r| format!("06.05.2026;{};{}", clock(86_370.0 + r.0), rest(r, ";"))))]
#[case::twelve_hours(file(&format!("Timestamp,{HEAD}"), |_, r| format!("2026/5/6 {} PM,{}", clock(32_585.0 + r.0), rest(r, ","))))]
#[case::a_log_that_starts_late(file(&format!("Time,{HEAD}"), |_, r| format!("{:.3},{}", 812.35 + r.0, rest(r, ","))))]
#[case::numbered_temperatures(file("Time(s),RPM,Volt(V),Curr.(A),Temp1(C),Temp2(C)", |_, r| format!("{:.2},{}", r.0, rest(r, ","))))]
#[case::bare_parts(file("Time;RPM;Voltage;Current;Motor;ESC", |_, r| format!("{:.2};{}", r.0, rest(r, ";"))))]
#[case::time_among_others(file(
    "State,RPM,Voltage(V),Current(A),Motor Temp,ESC Temp,Time(s),mAh,Power(W),BEC(V),Cell1(V),Cell2(V)",
    |n, r| format!("RUN,{},{:.2},{n},{:.0},6.0,{:.2},{:.2}", rest(r, ","), r.0, r.2 * r.3, r.2 / 2.0, r.2 / 2.0)
))]
#[case::comments_and_blank_lines(file("# recorder\n# rate 20\nTime;RPM;Voltage;Current;Motor Temp;ESC Temp", |n, r| {
    format!("{:.2};{}{}", r.0, rest(r, ";"), if n % 300 == 299 { "\n# lap" } else if n % 77 == 5 { "\n" } else { "" })
}))]
#[case::thirty_lines_before((0..30).map(|n| format!("Key{n};{}\n", n * 3)).collect::<String>() + &file("Time;RPM;Voltage;Current;Motor Temp;ESC Temp", |_, r| format!("{:.2};{}", r.0, rest(r, ";"))))]
#[case::line_breaks_in_the_header(file("\"Time\n(s)\",\"RPM\",\"Voltage\n(V)\",\"Current\n(A)\",\"Motor\nTemp (C)\",\"ESC\nTemp (C)\"", |_, r| format!("{:.2},{}", r.0, rest(r, ","))))]
#[case::units_in_the_cells(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2}s,{}rpm,{}V,{}A,{}°C,{}°C", r.0, r.1, r.2, r.3, r.4, r.5)))]
#[case::revs_in_hundreds(file("Time,RPM x100,Voltage,Current,Motor Temp,ESC Temp", |_, r| format!("{:.2},{:.2},{},{},{},{}", r.0, r.1 / 100.0, r.2, r.3, r.4, r.5)))]
#[case::an_idle_column_of_revs(file("Time,RPM,eRPM,Voltage,Current,Motor Temp,ESC Temp", |_, r| format!("{:.2},0,{}", r.0, rest(r, ","))))]
#[case::fahrenheit_untold(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{},{},{},{:.1},{:.1}", r.0, r.1, r.2, r.3, r.4 * 1.8 + 32.0, r.5 * 1.8 + 32.0)))]
#[case::rows_numbered_with_an_interval(file("Log interval: 50 ms\nNo.,RPM,Voltage,Current,Motor Temp,ESC Temp", |n, r| format!("{},{}", n + 1, rest(r, ","))))]
#[case::no_clock_but_a_rate(file("Sampling rate;20 Hz\nRPM;Voltage;Current;Motor Temp;ESC Temp", |_, r| rest(r, ";")))]
#[case::current_with_a_minus(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{},{},{},{},{}", r.0, r.1, r.2, -r.3, r.4, r.5)))]
#[case::negatives_in_brackets(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{},{},{},{},{}", r.0, r.1, r.2, if r.3 < 0.0 { format!("({})", -r.3) } else { r.3.to_string() }, r.4, r.5)))]
#[case::summary_rows(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{}", r.0, rest(r, ","))) + "\nMax,39000,8.40,55.0,80,40\nMin,0,7.3,-5,27,26\n")]
#[case::lone_carriage_returns(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{}", r.0, rest(r, ","))).replace('\n', "\r"))]
#[case::padding(file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{}", r.0, rest(r, ","))) + &"\0".repeat(4096))]
fn habits_read_to_what_was_written(#[case] text: String) {
    compare(&read(text.as_bytes()), 0.0);
}

#[test]
fn a_hot_start_is_no_fahrenheit() {
    let text =
        file(&format!("Time,{HEAD}"), |_, r| format!("{:.2},{},{},{},{},{}", r.0, r.1, r.2, r.3, r.4 + 40.0, r.5));
    compare(&read(text.as_bytes()), 40.0);
}

#[test]
fn a_log_in_big5_is_told_by_its_words() {
    let text = file("時間(秒),轉速,電壓(V),電流(A),馬達溫度(℃),電變溫度(℃)", |_, r| {
        format!("{:.2},{}", r.0, rest(r, ","))
    });
    let (bytes, _, _) = encoding_rs::BIG5.encode(&text);
    compare(&read(&bytes), 0.0);
}

/// Numbers about a mark that differ in their last digits are one suspect, not one each: the time does not grow with
/// their square.
#[test]
fn many_numbers_about_a_mark_are_one_mark() {
    let rows =
        (0..60_000).map(|n| format!("{:.2},{},{:.9}\n", n as f64 * 0.05, 900 + n % 4000 * 7, 99.9 + n as f64 * 1e-11));
    let text = format!("Time s,RPM,Motor Temp °C\n{}", rows.collect::<String>());
    let log = &read_bytes(Path::new("x.csv"), text.as_bytes(), &Hints::default()).unwrap()[0];
    assert_eq!(log.rows(), 60_000);
}

#[test]
fn blank_lines_are_no_stray_quote() {
    let text = file("Time,RPM", |_, r| format!("{:.2},{}\n\n", r.0, r.1));
    let log = &read_bytes(Path::new("x.csv"), text.as_bytes(), &Hints::default()).unwrap()[0];
    assert!(log.reading.notices.iter().all(|n| n.code != NoticeCode::StrayQuote), "{:?}", log.reading.notices);
}
