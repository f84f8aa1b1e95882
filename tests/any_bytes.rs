//! Whatever the bytes: a log or an error, never a panic, never a hang; and what must hold of every log and list.

mod bodies;

use proptest::prelude::*;
use runtrue::sheet;
use runtrue::sheet::edit::{Edit, edit};

/// Pieces that logs are made of, torn and put together at random.
fn piece() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        Just(b"Time [s],RPM,Voltage [V]\n".to_vec()),
        Just("Zeit;Drehzahl;Spannung\n".as_bytes().to_vec()),
        Just(b"\xef\xbb\xbf".to_vec()),
        Just(b"\xff\xfe".to_vec()),
        Just(b"\"".to_vec()),
        Just(b"\r\n\r\n".to_vec()),
        Just(b"65535,-1,999.9\n".to_vec()),
        Just(b"23:59:59.95,100,7.4\n00:00:00.00,100,7.4\n".to_vec()),
        (0u32..5000).prop_map(|n| format!("{}.{:02},{},7.{}\n", n / 20, n % 20 * 5, n * 7, n % 10).into_bytes()),
        (0u32..5000).prop_map(|n| (n..n + 30)
            .map(|n| format!("{},{:02};{};7,4\n", n / 20, n % 20 * 5, n * 7))
            .collect::<String>()
            .into_bytes()),
        proptest::collection::vec(any::<u8>(), 0..40),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_give_a_log_or_an_error(pieces in proptest::collection::vec(piece(), 0..40)) {
        bodies::log(&pieces.concat());
    }

    #[test]
    fn any_text_is_a_list_or_an_error(text in "[0-9:;,.\t\n a-z\"-]{0,300}") {
        bodies::lap_list(&text);
    }

    #[test]
    fn any_text_is_a_sheet_or_a_mistake(text in "(\\[\\[?[a-z.]{1,8}\\]?\\]\n|[a-z_.]{1,10} = (\"[^\"\n]{0,12}\"|[0-9.]{1,6}|true|\\[\\]|\\{\\})\n|[^\n]{0,20}\n){0,20}") {
        bodies::sheet(&text);
    }

    #[test]
    fn anything_typed_into_a_field_is_saved_readable_or_refused(typed in "\\PC{0,30}", field in 0usize..8, text in any::<bool>()) {
        const SHEET: &str = "# mine\n[weekend]\nname = \"x\" # here\n[cars.a]\nspur = 116\npinion = 31\n[[runs]]\nid = \"r\"\nlog = \"r.csv\"\n";
        let paths = ["weekend/name", "weekend/date", "cars/a/pinion", "cars/a/motor/timing_deg", "runs/0/id", "runs/0/log", "runs/0/wing", "runs/0/motor/turns"];
        let path: Vec<String> = paths[field].split('/').map(str::to_owned).collect();
        let path = if text { path } else { [path, vec![typed.clone()]].concat() };
        if let Ok(new) = edit(SHEET, &[Edit::Set { path, text: typed.clone() }]) {
            // A remark behind a value goes with it.
            let cleared = field == 0 && typed.trim().is_empty();
            prop_assert!(new.contains("# mine") && (cleared || new.contains("# here")), "{new}");
            prop_assert!(sheet::read::read(&new).is_ok(), "{new}");
        }
    }
}

/// What fuzzing by the hour has found (`tests/fuzz`), kept.
mod found {
    use super::bodies;

    #[test]
    fn a_header_on_the_first_line_and_nothing_before_it() {
        bodies::log(include_bytes!("../sample-logs/alder-quay/logs/t1.csv").get(..1200).unwrap());
    }

    #[test]
    fn times_that_are_one_when_counted_from_the_start() {
        bodies::log(include_bytes!("fuzz/found/times_an_ulp_apart.csv"));
    }

    #[test]
    fn a_lap_longer_than_any() {
        bodies::lap_list(&format!("{}\n1\n10\u{fffd}", "8".repeat(89)));
        bodies::lap_list("9e9\n0.0000001\n9e9\n");
    }

    /// Forty rows over days took two gigabytes and ten seconds in the search for laps: there are none to be told.
    #[test]
    fn a_row_now_and_then_over_days_has_no_laps() {
        use runtrue::import::{columns::Hints, read_bytes};
        use runtrue::laps::{self, Source, odometer::Odometer};
        let row = |n: u32| format!("{},{},7.4\n", n * 55, 900 + n % 7 * 3000);
        let text = format!("time s,rpm,voltage V\n{}", (0..10_000).map(row).collect::<String>());
        let log = &read_bytes(std::path::Path::new("x.csv"), text.as_bytes(), &Hints::default()).unwrap()[0];
        let laps = laps::measure(Odometer::new(log), None, None);
        assert_eq!((laps.source, laps.rows.len()), (Source::None, 0));
        assert!(laps.notices.iter().any(|n| n.message.contains("too few to tell laps")));
    }
}

/// Texts that are no log, or an odd one, of about as many bytes as are asked for: what grows faster than they do is a
/// fault.
mod shapes {
    use std::path::Path;
    use std::time::Instant;

    use runtrue::import::{columns::Hints, read_bytes};

    use super::bodies;

    fn repeated(piece: &str, bytes: usize) -> Vec<u8> {
        piece.repeat(bytes / piece.len() + 1).into_bytes()
    }

    /// A table of `columns` named as `name` says, of so many rows that it has about `bytes`.
    fn table(columns: usize, bytes: usize, name: impl Fn(usize) -> String) -> Vec<u8> {
        let head: Vec<String> = (0..columns).map(|c| if c == 0 { "time".to_owned() } else { name(c) }).collect();
        let row = |n: usize| {
            let cells =
                (0..columns).map(|c| if c == 0 { format!("{n}.5") } else { ((n * 7 + c) % 97 * 10).to_string() });
            cells.collect::<Vec<_>>().join(",")
        };
        let rows = (bytes / (4 * columns)).max(12);
        (head.join(",") + "\n" + &(0..rows).map(|n| row(n) + "\n").collect::<String>()).into_bytes()
    }

    /// Wide rows at the head and in the middle, and rows of one cell all else.
    fn wide_then_short(columns: usize, bytes: usize) -> Vec<u8> {
        let wide = (0..bytes / 8 / (2 * columns) + 12).map(|_| "1,".repeat(columns - 1) + "1\n").collect::<String>();
        let short = "1\n".repeat(bytes / 6);
        [wide.clone(), short.clone(), wide.clone(), wide, short].concat().into_bytes()
    }

    fn all(bytes: usize) -> Vec<(String, Vec<u8>)> {
        let mut all = Vec::new();
        for piece in [
            ",",
            ";",
            "\t",
            "|",
            "\"",
            "\n",
            "\r",
            "\r\n",
            " ",
            ".",
            "-",
            "'",
            ":",
            "(",
            "[",
            "a",
            "1",
            "é",
            "1,",
            "1;",
            "1,1;1\t1|",
            "1,1;1\t1|\n",
            "1\n",
            "\"\n",
            "\",\"",
            "\"1\",",
            "\"1\",\"2\"\n",
            "nan,nan,1\n",
            "12:00:00,",
            "12:00:00,1\n",
            "1V,2A\n",
            "-,-,-\n",
            "1 234 567,",
            "time,rpm\n",
            "1,2\ntime,rpm\n",
            "1,2\r",
            "a b c d,",
        ] {
            all.push((format!("{piece:?} again and again"), repeated(piece, bytes)));
        }
        let mut seed = 1_u64;
        let mut random = |count: u64| {
            // Knuth's linear congruential generator (MMIX).
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) % count
        };
        all.push(("random bytes".into(), (0..bytes).map(|_| random(256) as u8).collect()));
        all.push(("random digits".into(), (0..bytes).map(|_| b"0123456789,.;\n\t -"[random(17) as usize]).collect()));
        let backwards = (0..bytes / 12).rev().map(|n| format!("{n},{}\n", n * 100 % 20_000)).collect::<String>();
        all.push(("a clock that runs back".into(), ("time,rpm\n".to_owned() + &backwards).into_bytes()));
        let restarts = (0..bytes / 8).map(|n| format!("{}.5,{}\n", n % 12, n % 12 * 100)).collect::<String>();
        all.push(("a clock that starts again".into(), ("time,rpm\n".to_owned() + &restarts).into_bytes()));
        let again = (0..bytes / 120).map(|_| "time,rpm\n".to_owned() + &"1.5,20\n".repeat(12)).collect::<String>();
        all.push(("a header again and again".into(), again.into_bytes()));
        let columns = (bytes / 60).clamp(20, 4096);
        for name in ["rpm", "temp", "motor", "time", "current x [A]", "x"] {
            all.push((format!("{columns} columns `{name}`"), table(columns, bytes, |_| name.to_owned())));
        }
        all.push((
            format!("{columns} columns"),
            table(columns, bytes, |c| format!("motor temp of the left {c} [degC]")),
        ));
        all.push(("too many columns".into(), table(5000, bytes, |c| format!("c{c}"))));
        all.push(("wide rows, then short ones".into(), wide_then_short(columns, bytes)));
        all
    }

    #[test]
    fn any_shape_gives_a_log_or_an_error() {
        for (name, text) in all(40_000) {
            println!("{name}");
            bodies::log(&text);
        }
    }

    /// What is read of it is no more than some values for each byte.
    #[test]
    fn a_table_does_not_grow_beyond_its_text() {
        for (name, text) in all(300_000) {
            for log in read_bytes(Path::new("x.csv"), &text, &Hints::default()).unwrap_or_default() {
                let values = log.rows() * log.batch().num_columns();
                assert!(values <= 10 * text.len() + 4096, "{name}: {values} values of {} bytes", text.len());
            }
        }
    }

    /// `cargo test --release --test any_bytes -- --ignored --nocapture prints_`: how long 3 MB of each shape take.
    #[test]
    #[ignore = "prints figures"]
    fn prints_how_long_each_shape_takes() {
        for (name, text) in all(3_000_000) {
            let start = Instant::now();
            let read = read_bytes(Path::new("x.csv"), &text, &Hints::default());
            let said = read.map_or_else(|e| e.to_string(), |logs| format!("{} runs", logs.len()));
            println!(
                "{:6.2} s  {:4.1} MB  {name}: {}",
                start.elapsed().as_secs_f64(),
                text.len() as f64 / 1e6,
                &said[..said.len().min(60)]
            );
        }
    }

    #[test]
    fn more_columns_than_any_recorder_writes_are_refused_with_their_number() {
        let text = table(4097, 1, |c| format!("c{c}"));
        let error = read_bytes(Path::new("x.csv"), &text, &Hints::default()).unwrap_err();
        assert_eq!(error.to_string(), "`x.csv`, line 1: the table has 4097 columns; the limit is 4096");
        assert!(error.hint().is_some());
        let text = table(4096, 1, |c| if c == 1 { "rpm".into() } else { format!("c{c}") });
        assert_eq!(read_bytes(Path::new("x.csv"), &text, &Hints::default()).unwrap()[0].batch().num_columns(), 4096);
    }
}
