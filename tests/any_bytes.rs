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
