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

/// A log of time and the columns that `line` writes.
fn log_of(head: &str, line: impl Fn(usize, Row) -> String) -> String {
    file(&format!("Time,{head}"), |n, r| format!("{:.2},{}", r.0, line(n, r)))
}

fn read_with(text: &str, hints: &Hints) -> Log {
    read_bytes(Path::new("x.csv"), text.as_bytes(), hints).unwrap_or_else(|e| panic!("{e}")).remove(0)
}

/// The column that each channel was read from, in the order of the channels.
fn columns(log: &Log) -> Vec<(Channel, &str)> {
    log.reading.channels.iter().map(|c| (c.channel, c.column.as_str())).filter(|c| c.0 != Channel::Time).collect()
}

fn messages(log: &Log, code: NoticeCode) -> Vec<&str> {
    log.reading.notices.iter().filter(|n| n.code == code).map(|n| n.message.as_str()).collect()
}

/// Whatever its values look like, a column with a name of its own is what it says.
#[rstest]
#[case("latitude", |n: usize, _: Row| 51.0 + (n as f64 * 0.01).sin() * 1e-3)]
#[case("SoC", |n: usize, _: Row| 97.0 - n as f64 * 0.01)]
#[case("altitude", |_: usize, r: Row| 84.0 - r.3 * 0.2)]
#[case("cadence", |_: usize, r: Row| r.3)]
#[case("m2vel", |_: usize, r: Row| r.1)]
#[case("m2cur", |_: usize, r: Row| r.3)]
#[case("torque constant [Nm/A]", |_: usize, r: Row| r.3)]
#[case("Current slope [A/s]", |_: usize, r: Row| r.3)]
#[case("StepTime(s)", |n: usize, _: Row| (n % 240) as f64 * 0.05)]
#[case("Power(W)", |_: usize, r: Row| r.2 * r.3)]
#[case("Heating Power LIN [W]", |_: usize, r: Row| r.4)]
#[case("Current [mAh]", |n: usize, _: Row| n as f64)]
#[case("Voltage [A]", |_: usize, r: Row| r.3)]
#[case("Motor current cmd [A]", |_: usize, r: Row| r.3)]
#[case("Current setpoint", |_: usize, r: Row| r.3)]
#[case("Target RPM", |_: usize, r: Row| r.1)]
#[case("Sollstrom [A]", |_: usize, r: Row| r.3)]
#[case("Wheel RPM", |_: usize, r: Row| r.1)]
#[case("Fan [rpm]", |_: usize, r: Row| r.1)]
#[case("PWM frequency [Hz]", |_: usize, r: Row| r.1)]
#[case("Coolant Temperature [°C]", |_: usize, r: Row| r.4)]
#[case("Cabin Temp", |_: usize, r: Row| r.4)]
#[case("cell surface temp", |_: usize, r: Row| r.4)]
#[case("Battery temperature", |_: usize, r: Row| r.4)]
#[case("Tyre temp FL", |_: usize, r: Row| r.4)]
#[case("Heat exchanger [°C]", |_: usize, r: Row| r.4)]
#[case("Motor air temp", |_: usize, r: Row| r.4)]
#[case("冷却水温度", |_: usize, r: Row| r.4)]
fn a_name_that_says_no_channel_stays_an_extra(#[case] name: &str, #[case] value: fn(usize, Row) -> f64) {
    let log =
        read_with(&log_of(&format!("Pack V,{name}"), |n, r| format!("{},{}", r.2, value(n, r))), &Hints::default());
    assert_eq!(columns(&log), [(Channel::Voltage, "Pack V")]);
    assert!(log.batch().schema().field_with_name(name).is_ok(), "kept under its name");
    assert_eq!(messages(&log, NoticeCode::UnusedColumns), [format!("columns that were kept but not used: `{name}`")]);
}

#[test]
fn a_command_never_wins_over_a_measurement() {
    let head = "Motor current command [A],Motor current [A],RPM target,RPM,Voltage setpoint [V],Voltage [V]";
    let line = |_: usize, r: Row| format!("{},{},{},{},{},{}", r.3 + 1.0, r.3, r.1 + 9.0, r.1, 8.0, r.2);
    let log = read_with(&log_of(head, line), &Hints::default());
    let used = [(Channel::Rpm, "RPM"), (Channel::Voltage, "Voltage [V]"), (Channel::Current, "Motor current [A]")];
    assert_eq!(columns(&log), used);
}

#[test]
fn a_unit_alone_leads_to_a_channel_only_where_the_values_can_be_it_and_is_said() {
    let head = "Sensor [V],U1 [V],I1 [A],Foo [1/min]";
    let line = |n: usize, r: Row| format!("{:.2},{},{},{}", 2.5 + 2.4 * (n as f64 * 0.1).sin(), r.2, r.3, r.1);
    let log = read_with(&log_of(head, line), &Hints::default());
    let used = [(Channel::Rpm, "Foo [1/min]"), (Channel::Voltage, "U1 [V]"), (Channel::Current, "I1 [A]")];
    assert_eq!(columns(&log), used);
    assert_eq!(messages(&log, NoticeCode::ChannelFromValues).len(), 3);
}

/// The columns of `order` without a header: t time, r revs, v volts, i amperes, m and e motor and controller, g
/// throttle in per cent.
fn headless(order: &str) -> String {
    let cell = |letter: char, r: Row| match letter {
        't' => format!("{:.2}", r.0),
        'r' => r.1.to_string(),
        'v' => r.2.to_string(),
        'i' => r.3.to_string(),
        'm' => r.4.to_string(),
        'e' => r.5.to_string(),
        _ => {
            ((50.0 + 70.0 * (0.7 * r.0).cos()).clamp(0.0, 100.0).round() * f64::from(u8::from(r.0 >= 4.0))).to_string()
        }
    };
    rows().into_iter().map(|r| order.chars().map(|c| cell(c, r)).collect::<Vec<_>>().join(",") + "\n").collect()
}

#[rstest]
fn columns_without_names_are_told_together(
    #[values("trvime", "tegmivr", "temirv", "tvigmer", "trime", "trie", "trvm")] order: &str,
    #[values(None, Some(2.0))] cells: Option<f64>,
) {
    let hints = Hints { cells, ambient_c: cells.map(|_| 25.0), ..Hints::default() };
    let log = read_with(&headless(order), &hints);
    for (letter, channel) in
        [('r', Channel::Rpm), ('v', Channel::Voltage), ('m', Channel::MotorTemperature), ('i', Channel::Current)]
    {
        let expected = order.find(letter).map(|place| format!("column {}", place + 1));
        // A lone temperature is taken for the motor's.
        let expected = expected.or_else(|| (letter == 'm').then(|| format!("column {}", order.find('e').unwrap() + 1)));
        let read = columns(&log).into_iter().find(|c| c.0 == channel).map(|c| c.1.to_owned());
        assert_eq!(read, expected, "{} in {order}", channel.name());
    }
}

#[test]
fn temperatures_without_names_that_end_alike_are_told_with_a_doubt() {
    let line = |_: usize, r: Row| format!("{},{},{},{},{}", r.1, r.2, r.3, r.4, r.4 - 1.0);
    let text = log_of("x", line);
    let log = read_with(text.split_once('\n').unwrap().1, &Hints::default());
    let said = messages(&log, NoticeCode::ChannelFromValues);
    assert!(said.iter().any(|m| m.contains("motor temperature") && m.ends_with("`column 6` would fit nearly as well")));
    assert!(said.iter().all(|m| !m.contains("rpm") || !m.contains("nearly")), "{said:?}");
}

#[test]
fn a_column_in_a_unit_of_time_does_not_beat_the_clock() {
    let lag = |n: usize| 20.0 + 15.0 * (n as f64 * 1.7).sin();
    let head = "Latency [ms],Time,Steering [us],RPM";
    let line = |n: usize, r: Row| format!("{:.1},{},{:.0},{}", lag(n), (r.0).floor(), 1500.0 + lag(n), r.1);
    let log = read_with(&file(head, line), &Hints::default());
    assert_eq!(log.reading.channels[0].column, "Time");
    let alone = file("Latency [ms],RPM", |n, r| format!("{:.1},{}", lag(n), r.1));
    let error = read_bytes(Path::new("x.csv"), alone.as_bytes(), &Hints::default()).unwrap_err();
    assert!(error.to_string().contains("no column gives the time"), "{error}");
}

#[test]
fn whole_seconds_under_time_are_a_clock() {
    let log = read_with(&file("time,RPM", |n, r| format!("{n},{}", r.1)), &Hints::default());
    assert_eq!((log.rows(), log.time()[1599]), (1600, 1599.0));
    assert_eq!(messages(&log, NoticeCode::UnitFromValues), ["`time` names no unit; its steps look like s"]);
}

#[rstest]
#[case(None, 1.0)]
#[case(Some(1.0), -1.0)]
fn a_named_current_is_turned_unless_its_scale_is_stated(#[case] scale: Option<f64>, #[case] sign: f64) {
    use runtrue::import::columns::Rule;
    let text = log_of("RPM,Curr", |_, r| format!("{},{}", r.1, -r.3));
    let rule = Rule { column: "Curr".into(), channel: Some("current".into()), scale, ..Rule::default() };
    let log = read_with(&text, &Hints { rules: vec![rule], ..Hints::default() });
    let sum: f64 = log.channel(Channel::Current).unwrap().iter().sum();
    assert_eq!(sum.signum(), sign);
}

#[rstest]
#[case::wholly("RPM", 0)]
#[case::half("RPM", 800)]
#[case::wholly_named("X", 0)]
fn a_motor_that_turns_backwards_is_read_by_its_amount(#[case] name: &str, #[case] forward_from: usize) {
    use runtrue::import::columns::Rule;
    let from = if forward_from == 0 { 1600 } else { forward_from };
    let text = log_of(&format!("{name},Voltage"), |n, r| format!("{},{}", if n < from { -r.1 } else { r.1 }, r.2));
    let rule = Rule { column: "X".into(), channel: Some("rpm".into()), ..Rule::default() };
    let rules = if name == "X" { vec![rule] } else { Vec::new() };
    let log = read_with(&text, &Hints { rules, ..Hints::default() });
    let truth: Vec<f64> = rows().iter().map(|r| r.1).collect();
    assert_eq!(log.channel(Channel::Rpm).unwrap(), truth);
    assert_eq!(messages(&log, NoticeCode::RevsBackwards).len(), 1);
}

#[test]
fn a_few_seconds_backwards_are_revs() {
    let back = |n: usize| (600..700).contains(&n);
    let text = log_of("RPM,Voltage", |n, r| format!("{},{}", if back(n) { -r.1 } else { r.1 }, r.2));
    let log = read_with(&text, &Hints::default());
    assert_eq!(log.channel(Channel::Rpm).unwrap(), rows().iter().map(|r| r.1).collect::<Vec<f64>>());
    assert_eq!(messages(&log, NoticeCode::RevsBackwards).len(), 1);
}

#[test]
fn a_voltage_with_a_minus_throughout_is_turned() {
    let log = read_with(&log_of("RPM,Voltage", |_, r| format!("{},{}", r.1, -r.2)), &Hints::default());
    assert_eq!(log.channel(Channel::Voltage).unwrap(), rows().iter().map(|r| r.2).collect::<Vec<f64>>());
    assert_eq!(messages(&log, NoticeCode::SignTurned).len(), 1);
}

#[rstest]
#[case::metres_a_second(1.0, Some("m/s"))]
#[case::kilometres_an_hour(3.6, Some("km/h"))]
#[case::miles_an_hour(2.236_94, Some("mph"))]
#[case::something_else(1.65, None)]
fn a_speed_without_a_unit_is_in_what_revs_and_rollout_say(#[case] factor: f64, #[case] unit: Option<&str>) {
    // 28 mm a turn; the sheet's tyre is a little larger.
    let text = log_of("RPM,Speed", |_, r| format!("{},{:.2}", r.1, r.1 / 60_000.0 * 28.0 * factor));
    for (rollout_mm, unit) in [(Some(28.6), unit), (None, None)] {
        let log = read_with(&text, &Hints { rollout_mm, ..Hints::default() });
        let source = log.reading.channels.iter().find(|c| c.channel == Channel::GroundSpeed);
        assert_eq!(source.map(|s| s.unit.as_str()), unit);
        assert_eq!(messages(&log, NoticeCode::UnitDoesNotFit).len(), usize::from(unit.is_none()));
        if let Some(speeds) = log.channel(Channel::GroundSpeed) {
            let off = speeds.iter().zip(rows()).map(|(v, r)| (v - r.1 / 60_000.0 * 28.0).abs()).fold(0.0, f64::max);
            assert!(off < 0.01, "{off}");
        }
    }
}

#[rstest]
#[case("rpm_ref,rpm_act", "rpm_act")]
#[case("Motor speed set [rpm],Motor speed [rpm]", "Motor speed [rpm]")]
#[case("RPM target,RPM", "RPM")]
fn a_command_never_wins_over_what_was_measured(#[case] head: &str, #[case] measured: &str) {
    let log = read_with(&log_of(head, |_, r| format!("{},{}", 1.2 * r.1, r.1)), &Hints::default());
    assert_eq!(columns(&log).into_iter().find(|c| c.0 == Channel::Rpm).map(|c| c.1), Some(measured));
}

#[test]
fn a_temperature_that_stays_as_it_is_is_not_the_motors() {
    let text = log_of("RPM,temperature", |n, r| format!("{},{:.1}", r.1, 16.0 + 0.5 * (n as f64 * 0.01).sin()));
    let log = read_with(&text, &Hints::default());
    assert!(log.channel(Channel::MotorTemperature).is_none());
}

#[test]
fn columns_without_names_in_small_units_and_degrees_fahrenheit_are_told() {
    let fahrenheit = |c: f64| c * 1.8 + 32.0;
    let line = |r: Row| {
        let milli = |x: f64| (1000.0 * x).round();
        let (motor, controller) = (fahrenheit(r.4), fahrenheit(r.5));
        format!("{:.2},{},{motor:.1},{},{},{controller:.1}\n", r.0, milli(r.3), r.1, milli(r.2))
    };
    let log = read_with(&rows().into_iter().map(line).collect::<String>(), &Hints::default());
    compare(&log, 0.0);
}

#[test]
fn what_a_lone_column_without_a_name_may_be_is_said() {
    // A temperature of the one or the other, and whole amperes or a throttle.
    let text = log_of("x", |_, r| format!("{},{},{},{}", r.1, r.2, r.5, r.3.round()));
    let log = read_with(text.split_once('\n').unwrap().1, &Hints::default());
    let said = messages(&log, NoticeCode::ChannelFromValues);
    assert!(said.iter().any(|m| m.contains("does not say whose temperature it is")), "{said:?}");
    assert!(said.iter().any(|m| m.contains("may as well be a throttle")), "{said:?}");
}

#[test]
fn a_polish_log_in_windows_1250_is_read() {
    let text = file("Czas;Obroty;Napięcie;Prąd;Temperatura silnika;Temperatura regulatora", |_, r| {
        format!("{:.2};{}", r.0, rest(r, ";"))
    });
    let (bytes, _, _) = encoding_rs::WINDOWS_1250.encode(&text);
    let log = read(&bytes);
    compare(&log, 0.0);
    assert_eq!((log.reading.encoding.as_str(), log.reading.channels[2].column.as_str()), ("windows-1250", "Napięcie"));
}

/// A header in a language that is not known, as Finnish is not: values in the channels' own units may speak, and it is
/// said.
#[test]
fn a_header_in_an_unknown_language_is_told_by_plain_values() {
    let rows = (0..600).map(|n| {
        let wave = (n as f64 * 0.1).sin();
        let revs = 15_000.0 + 12_000.0 * wave;
        let amperes = (20.0 + 18.0 * wave).max(0.0);
        format!("{:.2};{revs:.0};{:.2};{amperes:.1}\n", n as f64 * 0.05, 8.2 - 0.01 * amperes)
    });
    let text = format!("Aika;Kierrosluku;Jannite;Virta\n{}", rows.collect::<String>());
    let logs =
        runtrue::import::read_bytes(std::path::Path::new("x.csv"), text.as_bytes(), &Default::default()).unwrap();
    let channels: Vec<_> = logs[0].reading.channels.iter().map(|c| (c.channel, c.column.as_str())).collect();
    assert!(channels.contains(&(runtrue::log::Channel::Rpm, "Kierrosluku")), "{channels:?}");
    assert!(channels.contains(&(runtrue::log::Channel::Voltage, "Jannite")), "{channels:?}");
}
