//! Names of files that come in: made safe to be kept, and to be shown.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use crate::folder_names::LOG_ENDINGS;
use crate::notice::printable;

/// Longest name kept, in characters.
const LONGEST_NAME: usize = 80;
/// And in bytes, so that no file system refuses it.
const LONGEST_NAME_BYTES: usize = 180;
/// Longest ending of a name, in characters.
const LONGEST_ENDING: usize = 8;
/// Names that Windows keeps for devices (Microsoft, *Naming Files, Paths, and Namespaces*).
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// The last part of a name, with letters, digits, spaces and `.-_()` kept, and none that a system gives a meaning of
/// its own.
pub fn safe_name(raw: &str) -> String {
    let base = raw.rsplit(['/', '\\']).next().unwrap_or_default();
    // Some systems write an umlaut as a letter and its dots: a list must find its log all the same.
    let plain: String = base
        .nfc()
        .map(|c| if c.is_alphanumeric() || is_combining_mark(c) || " .-_()".contains(c) { c } else { '-' })
        .collect::<String>()
        .trim_matches([' ', '.', '-'])
        .to_owned();
    let (stem, ending) = match plain.rsplit_once('.') {
        Some((stem, end)) if !end.is_empty() && end.chars().count() <= LONGEST_ENDING => (stem, end),
        _ => (plain.as_str(), "csv"),
    };
    let mut bytes = 0;
    let fits = |c: &char| {
        bytes += c.len_utf8();
        bytes <= LONGEST_NAME_BYTES
    };
    let stem: String = stem.chars().take(LONGEST_NAME).take_while(fits).collect();
    let stem = stem.trim_end_matches([' ', '.']);
    let head = stem.split('.').next().unwrap_or_default().trim_end().to_lowercase();
    let numbered = |name: &str| head.strip_prefix(name).is_some_and(|n| n.chars().count() == 1 && n != "0");
    let device = DEVICES.contains(&head.as_str()) || numbered("com") || numbered("lpt");
    let stem = if stem.is_empty() || device { format!("log-{stem}") } else { stem.to_owned() };
    let known = ending.eq_ignore_ascii_case("toml") || LOG_ENDINGS.contains(&ending.to_lowercase().as_str());
    format!("{}.{}", stem.trim_end_matches('-'), if known { ending.to_owned() } else { format!("{ending}.csv") })
}

/// The last part of a name, as it is shown.
pub fn last_name(raw_name: &str) -> String {
    printable(raw_name.rsplit(['/', '\\']).next().unwrap_or_default(), LONGEST_NAME)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("r1.csv", "r1.csv")]
    #[case("Läufe (2) – früh.CSV", "Läufe (2) - früh.CSV")]
    #[case("../../etc/passwd", "passwd.csv")]
    #[case("C:\\logs\\..\\x.csv", "x.csv")]
    #[case("..", "log.csv")]
    #[case("", "log.csv")]
    #[case(".hidden.csv", "hidden.csv")]
    #[case("nul.csv", "log-nul.csv")]
    #[case("COM1", "log-COM1.csv")]
    #[case("com1.old.csv", "log-com1.old.csv")]
    #[case("COM¹.csv", "log-COM¹.csv")]
    #[case("nul .old.csv", "log-nul .old.csv")]
    #[case("WEEKEND.TOML", "WEEKEND.TOML")]
    #[case("La\u{308}ufe.csv", "Läufe.csv")]
    #[case("a\u{0}b\nc\u{202e}.csv", "a-b-c.csv")]
    #[case("<script>alert(1)</script>.csv", "script.csv")]
    #[case("run.exe", "run.exe.csv")]
    #[case("weekend.toml", "weekend.toml")]
    fn names_are_made_safe(#[case] raw: &str, #[case] safe: &str) {
        assert_eq!(safe_name(raw), safe);
    }

    #[test]
    fn long_names_are_cut() {
        assert!(safe_name(&"x".repeat(5000)).chars().count() <= LONGEST_NAME + 4);
    }
}
