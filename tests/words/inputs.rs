//! Inputs that make the program speak: broken logs, lists and sheets, weekends with faults, wrong commands.

use std::f64::consts::TAU;

/// Cells of a row: time, revs, volts, amperes, motor, controller.
type Row = [String; 6];

/// Row `n` of a run at 20 Hz with laps of 12 s.
fn row(n: usize) -> Row {
    let t = n as f64 * 0.05;
    let moving = f64::from(u8::from(t >= 3.0));
    let lap = t / 12.0 * TAU;
    let rpm = moving * (24_000.0 + 12_000.0 * lap.sin() + 4000.0 * (3.0 * lap).cos());
    let current = 0.1 + moving * (28.0 + 25.0 * lap.cos()).max(0.0);
    let warm = 1.0 - (-t / 90.0).exp();
    let numbers = [
        (t, 2),
        (rpm, 0),
        (8.3 - 0.004 * t - 0.009 * current, 2),
        (current, 1),
        (27.0 + 50.0 * warm, 0),
        (26.0 + 14.0 * warm, 0),
    ];
    numbers.map(|(value, digits)| format!("{value:.digits$}"))
}

const HEAD: &str = "Time [s],RPM,Voltage [V],Current [A],Motor Temp [°C],ESC Temp [°C]";

/// A log of `count` rows with `change` made to each.
fn with(head: &str, count: usize, change: impl Fn(usize, &mut Row)) -> String {
    let line = |n: usize| {
        let mut cells = row(n);
        change(n, &mut cells);
        cells.join(",")
    };
    head.to_owned() + "\n" + &(0..count).map(|n| line(n) + "\n").collect::<String>()
}

/// A sound log of `count` rows.
pub fn log(count: usize) -> String {
    with(HEAD, count, |_, _| ())
}

fn some(cells: &mut Row, of: &[usize]) -> String {
    of.iter().map(|&n| cells[n].clone()).collect::<Vec<_>>().join(",")
}

/// A log of some columns alone.
fn columns(head: &str, count: usize, of: &[usize]) -> String {
    let line = |n: usize| some(&mut row(n), of) + "\n";
    head.to_owned() + "\n" + &(0..count).map(line).collect::<String>()
}

fn clock(seconds: f64) -> String {
    let ms = (seconds * 1000.0).round() as u64;
    format!("{:02}:{:02}:{:02}.{:03}", ms / 3_600_000 % 24, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

/// Logs by what is odd about them.
pub fn logs() -> Vec<(&'static str, Vec<u8>)> {
    let mut all = not_logs();
    all.extend(odd_cells());
    all.extend(odd_clocks());
    all.extend(odd_columns());
    all
}

fn not_logs() -> Vec<(&'static str, Vec<u8>)> {
    let text = |t: &str| t.as_bytes().to_vec();
    vec![
        ("empty", Vec::new()),
        ("nothing but NUL", vec![0; 100]),
        ("binary", vec![1, 2, 3, 0, 255, 7, 1, 2, 3, 4, 5, 6]),
        ("prose", text("Dear diary,\ntoday we raced.\nIt rained.\n")),
        ("no rows", text("Time [s],RPM,Voltage [V]\n")),
        ("five rows", text(&log(5))),
        ("one endless line", "1".repeat(3 << 20).into_bytes()),
        ("no time", columns("RPM,Voltage [V]", 60, &[1, 2]).into_bytes()),
        (
            "time alone",
            with("Time [s],Comment", 60, |_, c| {
                *c = [c[0].clone(), "x".into(), String::new(), String::new(), String::new(), String::new()]
            })
            .into_bytes(),
        ),
        ("NaN everywhere", with(HEAD, 60, |_, c| c[1..].iter_mut().for_each(|v| *v = "NaN".into())).into_bytes()),
    ]
}

fn odd_cells() -> Vec<(&'static str, Vec<u8>)> {
    let mut cut = log(1200);
    cut.truncate(cut.len() - 14);
    let mut damaged = log(1200).into_bytes();
    damaged[400] = 0xff;
    let all: [(&str, String); 9] = [
        (
            "unreadable cells",
            with(HEAD, 1200, |n, c| {
                if n % 50 == 7 {
                    c[1] = "oops".into()
                }
            }),
        ),
        (
            "missing cells",
            with(HEAD, 1200, |n, c| {
                if n % 50 == 7 {
                    c[3] = "--".into()
                }
            }),
        ),
        (
            "full-scale marks",
            with(HEAD, 1200, |n, c| {
                if n % 50 == 7 {
                    c[4] = "65535".into()
                }
            }),
        ),
        (
            "values that cannot be",
            with(HEAD, 1200, |n, c| {
                if n % 50 == 7 {
                    c[2] = "740".into()
                }
            }),
        ),
        (
            "lines that are not rows",
            with(HEAD, 1200, |n, c| {
                if n == 500 {
                    c[0] = format!("# a mark\n{}", c[0])
                }
            }),
        ),
        ("summary lines", log(1200) + "Max,39000,8.40,55.0,80,40\nMin,0,7.3,0,27,26\n"),
        (
            "a stray quote",
            with(HEAD, 1200, |n, c| {
                if n == 30 {
                    c[5] = format!("\"{}", c[5])
                }
            }),
        ),
        ("padding", log(1200) + &"\0".repeat(4096)),
        ("a cut row", cut),
    ];
    let mut all: Vec<_> = all.into_iter().map(|(name, text)| (name, text.into_bytes())).collect();
    all.push(("damaged text", damaged));
    all
}

fn odd_clocks() -> Vec<(&'static str, Vec<u8>)> {
    let timed = |time: &dyn Fn(usize) -> String| with(HEAD, 1200, |n, c| c[0] = time(n));
    let second = log(600);
    let all: [(&str, String); 13] = [
        ("lost rows", with(HEAD, 1200, |n, c| c[0] = format!("{:.2}", (n + n / 100 * 3) as f64 * 0.05))),
        ("missing times", timed(&|n| if n % 90 == 50 { String::new() } else { format!("{:.2}", n as f64 * 0.05) })),
        (
            "no times for a while",
            timed(&|n| if (300..500).contains(&n) { String::new() } else { format!("{:.2}", n as f64 * 0.05) }),
        ),
        ("whole seconds", timed(&|n| clock((39_000 + n / 20) as f64)[..8].to_owned())),
        ("past midnight", timed(&|n| clock(86_380.0 + n as f64 * 0.05))),
        (
            "a counter that runs over",
            with(&HEAD.replace("[s]", "[ms]"), 1200, |n, c| c[0] = format!("{}", (n * 50 + 20_000) % 65_536)),
        ),
        ("set back", timed(&|n| format!("{:.2}", n as f64 * 0.05 - if n > 600 { 3.2 } else { 0.0 }))),
        ("repeated times", timed(&|n| format!("{:.2}", (n - usize::from(n % 100 == 9)) as f64 * 0.05))),
        ("two runs", second.clone() + second.split_once('\n').unwrap().1),
        (
            "rows with a rate",
            format!("Sample rate: 20 Hz\n{}", columns("RPM,Voltage [V],Current [A]", 1200, &[1, 2, 3])),
        ),
        (
            "a row number with a rate",
            format!(
                "Sample rate: 20 Hz\n{}",
                with(&HEAD.replace("Time [s]", "Index"), 1200, |n, c| c[0] = n.to_string())
            ),
        ),
        ("a time without a unit", with(&HEAD.replace("Time [s]", "Time"), 1200, |n, c| c[0] = (n * 50).to_string())),
        ("a column that counts seconds", with(&HEAD.replace("Time [s]", "Column A"), 1200, |_, _| ())),
    ];
    all.into_iter().map(|(name, text)| (name, text.into_bytes())).collect()
}

fn odd_columns() -> Vec<(&'static str, Vec<u8>)> {
    let fahrenheit =
        |c: &mut Row| c[4..].iter_mut().for_each(|v| *v = format!("{:.0}", v.parse::<f64>().unwrap() * 1.8 + 32.0));
    let all: [(&str, String); 9] = [
        ("no header", log(1200).split_once('\n').unwrap().1.to_owned()),
        ("eRPM", with(&HEAD.replace("RPM", "eRPM"), 1200, |_, _| ())),
        ("an idle column of revs", with(&HEAD.replace("RPM", "RPM,eRPM"), 1200, |_, c| c[1] = format!("0,{}", c[1]))),
        ("revs in thousands", with(HEAD, 1200, |_, c| c[1] = format!("{:.2}", c[1].parse::<f64>().unwrap() / 1000.0))),
        ("Fahrenheit without a word", with("Time,RPM,Voltage,Current,Motor Temp,ESC Temp", 1200, |_, c| fahrenheit(c))),
        ("numbered temperatures", with("Time(s),RPM,Volt(V),Curr.(A),Temp1(C),Temp2(C)", 1200, |_, _| ())),
        ("two of one kind", with(&HEAD.replace("ESC Temp", "Motor Temperature"), 1200, |_, _| ())),
        ("a unit that does not fit", with(&HEAD.replace("Voltage [V]", "Voltage [A]"), 1200, |_, _| ())),
        ("current the other way", with(HEAD, 1200, |_, c| c[3] = format!("-{}", c[3]))),
    ];
    all.into_iter().map(|(name, text)| (name, text.into_bytes())).collect()
}

/// Logs that lack what an answer needs.
pub fn lacking() -> Vec<String> {
    let slow = |n: usize| (n * 40, row(n * 40));
    vec![
        columns("Time [s],RPM", 1200, &[0, 1]),
        columns("Time [s],RPM,Voltage [V]", 1200, &[0, 1, 2]),
        columns("Time [s],RPM,Current [A]", 1200, &[0, 1, 3]),
        columns("Time [s],Voltage [V],Current [A],Motor Temp [°C]", 1200, &[0, 2, 3, 4]),
        log(200),
        HEAD.to_owned() + "\n" + &(0..60).map(|n| slow(n).1.join(",") + "\n").collect::<String>(),
        with(HEAD, 1200, |n, c| c[1] = (n * 7919 % 30_000).to_string()),
        with(HEAD, 1200, |_, c| c[1] = "0".into()),
        with(HEAD, 1200, |n, c| c[3] = ((n * 7919 % 60) as f64).to_string()),
    ]
}

/// Sheet of the logs with a ground speed.
pub const GROUNDED_SHEET: &str = "[cars.a]\nspur = 116\npinion = 31\ninternal_ratio = 1.85\ntyre_diameter_mm = 63\n\
                                  [[runs]]\nid = \"r\"\ncar = \"a\"\nlog = \"good.csv\"\n";

/// Logs whose ground speed is late, late by a changing time, in another unit, too seldom, calculated, or drops out.
pub fn grounded() -> Vec<String> {
    let revs = |n: usize| row(n)[1].parse::<f64>().unwrap();
    // 28.6 mm for a motor turn, and up to three per cent of slip.
    let speed = |n: usize| revs(n) * 0.0286 / 60.0 * (0.985 - 0.015 * (n as f64 * 0.05 / 12.0 * TAU).cos());
    let logged = |ground: &dyn Fn(usize) -> f64| {
        with(&format!("{HEAD},GPS speed [m/s]"), 1200, |n, c| c[5] = format!("{},{:.2}", c[5], ground(n)))
    };
    vec![
        logged(&|n| speed(n.saturating_sub(9))),
        logged(&|n| speed(n.saturating_sub(if n < 600 { 4 } else { 18 }))),
        logged(&|n| 3.6 * speed(n)),
        logged(&|n| speed(n - n % 20)),
        logged(&|n| revs(n) * 0.0286 / 60.0),
        logged(&|n| if (100..130).contains(&(n % 300)) { 0.0 } else { speed(n) }),
    ]
}

/// Lap lists for the log of 60 s.
pub fn lists() -> Vec<String> {
    let laps = |time: f64, count: usize| format!("time\n{}", format!("{time:.3}\n").repeat(count));
    vec![
        laps(12.0, 4),
        laps(7.31, 6),
        laps(12.0, 40),
        "lap\tdriver\n1\tme\n2\tme\n".to_owned(),
        "Dear diary,\ntoday we raced.\n".to_owned(),
        "time\n12.0\nbest\n12.0\n0.0\n24.0\n12.0\n".to_owned(),
        "passing\n10:00:00\n10:00:12\n10:00:11\n10:00:24\n10:00:36\n".to_owned(),
        String::new(),
    ]
}

const CAR: &str = "[cars.a]\nspur = 80\npinion = 30\ninternal_ratio = 1\ntyre_diameter_mm = 63\n";
const RUN: &str = "[[runs]]\nid = \"r\"\ncar = \"a\"\nlog = \"good.csv\"\n";

/// Sheets with mistakes, for a folder with `good.csv` and `other.csv`.
pub fn sheets() -> Vec<String> {
    let run = |lines: &str| format!("{CAR}{RUN}{lines}\n");
    vec![
        "[weekend]\nname = Heron\n".into(),
        "[weekend]\nname = \"a\"\nname = \"b\"\n".into(),
        "[weekend]\nnmae = \"Heron\"\ndate = \"in May\"\n".into(),
        "weekend = 3\nruns = 4\ncars = \"x\"\n".into(),
        "[trak]\nlap_length_m = 214\n[track]\nlap_length_m = \"long\"\nlap_length_plus_minus_m = -1\n".into(),
        "[race]\nlength_s = 0\n[laps]\nx = 1\n".into(),
        "[cars.a]\nspur = \"many\"\npinion = 30.5\ninternal_ratio = -2\ntyre_kind = \"wood\"\ndriven = \"six\"\npinoin = 3\n".to_owned() + RUN,
        run("ambient_c = 900"),
        run("ambeint_c = 20"),
        run("part = 3"),
        run("part = 0"),
        run("laps = \"laps/none.csv\""),
        run("pinion = \"x\"\nmotor.poles = 3\nbattery.cells = 20"),
        format!("{CAR}{RUN}{RUN}"),
        format!("{CAR}[[runs]]\nid = \"r\"\ncar = \"nobody\"\nlog = \"good.csv\"\n"),
        format!("{CAR}[[runs]]\nid = \"r\"\ncar = \"a\"\nlog = \"../outside.csv\"\n"),
        format!("{CAR}[[runs]]\nid = \"r\"\ncar = \"a\"\nlog = \"gone.csv\"\n"),
        format!("{CAR}[[runs]]\ncar = \"a\"\nlog = \"good.csv\"\n[[runs]]\nid = \"s\"\ncar = \"a\"\n[[runs]]\nid = 3\nlog = \"good.csv\"\n"),
        format!("[import]\nencoding = \"klingon\"\n{CAR}{RUN}"),
        format!("[import]\ndelimiter = \"semicolon\"\ndecimal = \"x\"\nspeed = 3\n{CAR}{RUN}"),
        format!("[[import.columns]]\ncolumn = \"Nothing\"\nchannel = \"rpm\"\n{CAR}{RUN}"),
        format!("[[import.columns]]\ncolumn = \"RPM\"\nchannel = \"revs\"\n{CAR}{RUN}"),
        format!("[[import.columns]]\ncolumn = \"RPM\"\nchannel = \"rpm\"\nunit = \"furlong\"\n{CAR}{RUN}"),
        format!("[[import.columns]]\ncolumn = \"RPM\"\n[[import.columns]]\nchannel = \"rpm\"\nscale = \"x\"\n{CAR}{RUN}"),
    ]
}

/// Changes to the sample's sheet, a weekend each.
pub fn weekends() -> Vec<&'static [(&'static str, &'static str)]> {
    vec![
        &[],
        // Hot, empty and long.
        &[
            ("motor_c = 100", "motor_c = 70"),
            ("esc_c = 100", "esc_c = 36"),
            ("capacity_mah = 6000", "capacity_mah = 1300"),
            ("cell_v = 3.2", "cell_v = 3.75"),
            ("length_s = 300", "length_s = 480"),
        ],
        &[
            ("motor_c = 85", "motor_c = 62"),
            ("motor_c = 100", "motor_c = 92"),
            ("cells = 2", "cells = 3"),
            ("length_s = 300", "length_s = 600"),
        ],
        // A sheet that cannot be right, and one that says little.
        &[("pinion = 31", "pinion = 22"), ("tyre_diameter_mm = 41.5", "tyre_diameter_mm = 55")],
        &[
            ("lap_length_m = 214.0\n", ""),
            ("lap_length_plus_minus_m = 1.2\n", ""),
            ("mass_kg = 1.35\n", ""),
            ("capacity_mah = 6000\n", ""),
            ("cells = 1\n", ""),
            ("ambient_c = 24\n", ""),
        ],
        &[
            ("tyre_diameter_mm = 63.0\n", ""),
            ("internal_ratio = 1.85\n", ""),
            ("length_s = 300\n", ""),
            ("motor_c = 100\n", ""),
        ],
        // Settings that change with others, and a fan that comes and goes.
        &[
            ("drag_brake_pct = 10\n", "drag_brake_pct = 10\nwing = \"low\"\nmotor.fan_mm = 0\n"),
            ("ambient_c = 26\n", "ambient_c = 26\nmotor.fan_mm = 0\n"),
            ("ambient_c = 25\n", "ambient_c = 25\nsticker = \"red\"\n"),
        ],
        // What cannot be true.
        &[("motor_c = 100", "motor_c = 212"), ("esc_c = 100", "esc_c = 180"), ("ambient_c = 24", "ambient_c = 48")],
        &[("lap_length_m = 214.0", "lap_length_m = 199.0")],
        &[("log = \"logs/t2.csv\"", "log = \"logs/t1.csv\""), ("log = \"logs/p2.csv\"", "log = \"logs/t3.csv\"")],
        // Half as much of everything: a run in a file that holds one.
        &[
            ("laps = \"laps/t2.csv\"\n", ""),
            ("laps = \"laps/t3.csv\"\n", "laps = \"laps/p1.csv\"\n"),
            ("log = \"logs/t5.csv\"\n", "log = \"logs/t5.csv\"\npart = 2\n"),
            ("log = \"logs/t6.csv\"\n", "log = \"logs/gone.csv\"\n"),
        ],
    ]
}

/// Reviews that a season cannot take, by the folder's name.
pub fn reviews() -> [(&'static str, String); 5] {
    let review = |date: &str, runs: &str| {
        format!(
            "{{\"format\": \"runtrue review 1\", \"weekend\": {{\"date\": {date}, \"name\": \"x\"}}, \"runs\": {runs}}}"
        )
    };
    [
        ("undated", review("\"in May\"", "[]")),
        ("foreign", "{\"format\": \"another 7\"}".to_owned()),
        ("no runs", review("\"2026-01-03\"", "[]")),
        ("twice", review("\"2026-01-03\"", "[{\"id\": \"r\"}, {\"id\": \"r\"}]")),
        ("torn", "{".to_owned()),
    ]
}

/// Commands, wrong ones most of them; FOLDER is a weekend's.
pub fn commands() -> Vec<&'static str> {
    vec![
        "",
        "revue",
        "review",
        "review /nowhere/at/all",
        "review FOLDER --colour",
        "review FOLDER/laps",
        "review FOLDER --out /dev/null/report",
        "read FOLDER",
        "read FOLDER/logs/t3.csv",
        "read FOLDER/logs/gone.csv",
        "sheet FOLDER",
        "sheet FOLDER/nowhere",
        "sheet FOLDER/logs",
        "sheet FOLDER/logs",
        "gears",
        "gears --pinion 27-33 --spur 116 --internal 1.85 --tyre 63",
        "gears --pinion x",
        "gears --pinion 33-27 --spur 110",
        "gears --pinion 0 --spur 110 --internal 1 --tyre 63",
        "gears --pinion 30 --spur 110 --internal 0 --tyre 63",
        "gears --from FOLDER",
        "gears --from FOLDER --car nobody",
        "gears --from FOLDER --car tourer",
        "gears --from /nowhere",
        "ahead FOLDER",
        "ahead FOLDER --run nobody",
        "ahead FOLDER --run t2 --air 39 --race 480",
        "ahead FOLDER --run t2 --pinion 30 --start 35 --laps 20",
        "ahead FOLDER --run t2 --race 99999",
        "ahead FOLDER --run t2 --air 500",
        "ahead FOLDER --run t2 --pinion 12",
        "convert FOLDER/logs/t1.csv",
        "convert FOLDER/logs/t1.csv --to csv --out FOLDER/logs/t1.csv",
        "convert FOLDER/logs/t1.csv --to csv --out FOLDER/t1.csv",
        "convert - --to csv",
        "convert FOLDER/logs/gone.csv --to csv",
        "demo FOLDER",
        "demo FOLDER --season 40",
        "season FOLDER/laps --out FOLDER/season",
        "season",
        "serve FOLDER/weekend.toml --no-open",
        "serve FOLDER --no-open --address 203.0.113.9",
        "man FOLDER/man",
        "man FOLDER/weekend.toml",
        "completions tcsh",
        "--quiet --verbose review FOLDER",
    ]
}
