//! Takes in a file that was dropped on the page: checked as it arrives, saved under a safe name, never over another.

use std::io::{self, Read};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::routes::MOST_FORM;
use crate::folder::{self, LOG_ENDINGS, SHEET};
use crate::import;
use crate::laps::lists;
use crate::log::Log;
use crate::notice::{Failure, Severity, printable};
use crate::sheet;
use crate::storage::make_readable;

/// Longest name kept, in characters.
const LONGEST: usize = 80;
/// And in bytes, so that no file system refuses it.
const MOST_NAME: usize = 180;
/// A lap list is smaller, bytes.
const LARGEST_LIST: u64 = 1 << 15;
/// Said of a file that is in the folder with the same bytes.
const HERE_ALREADY: &str = "it was here already; nothing was added";
/// Names that Windows keeps for devices (Microsoft, *Naming Files, Paths, and Namespaces*).
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// What a file was taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A log.
    Log,
    /// A lap list.
    LapList,
    /// The sheet.
    Sheet,
}

/// What became of a dropped file.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Receipt {
    /// What it was taken for.
    pub kind: Kind,
    /// Where it is now, from the weekend's folder.
    pub saved: String,
    /// How it was read, in a sentence, and what was guessed or repaired.
    pub say: Vec<String>,
}

/// The last part of a name, with letters, digits, spaces and `.-_()` kept, and none that a system gives a meaning of its own.
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
        Some((stem, end)) if !end.is_empty() && end.chars().count() <= 8 => (stem, end),
        _ => (plain.as_str(), "csv"),
    };
    let mut bytes = 0;
    let fits = |c: &char| {
        bytes += c.len_utf8();
        bytes <= MOST_NAME
    };
    let stem: String = stem.chars().take(LONGEST).take_while(fits).collect();
    let stem = stem.trim_end_matches([' ', '.']);
    let head = stem.split('.').next().unwrap_or_default().trim_end().to_lowercase();
    let numbered = |name: &str| head.strip_prefix(name).is_some_and(|n| n.chars().count() == 1 && n != "0");
    let device = DEVICES.contains(&head.as_str()) || numbered("com") || numbered("lpt");
    let stem = if stem.is_empty() || device { format!("log-{stem}") } else { stem.to_owned() };
    let known = ending.eq_ignore_ascii_case("toml") || LOG_ENDINGS.contains(&ending.to_lowercase().as_str());
    format!("{}.{}", stem.trim_end_matches('-'), if known { ending.to_owned() } else { format!("{ending}.csv") })
}

/// Checks the file `arrived` under the name `raw` and puts it into the weekend's folder.
///
/// # Errors
/// Why it can be used for nothing, or could not be saved; nothing is in the folder then.
pub fn take(folder: &Path, raw: &str, arrived: NamedTempFile) -> Result<Receipt, Failure> {
    let name = safe_name(raw);
    if name.to_lowercase().ends_with(".toml") {
        return take_sheet(folder, &name, arrived);
    }
    let own = printable(raw.rsplit(['/', '\\']).next().unwrap_or_default(), LONGEST);
    let (kind, mut say) = understand(folder, &own, arrived.path())?;
    let place = if kind == Kind::Log { "logs" } else { "laps" };
    let outside =
        |p: &Path| p.canonicalize().ok().zip(folder.canonicalize().ok()).is_some_and(|(p, f)| !p.starts_with(f));
    if outside(&folder.join(place)) {
        let message = format!("`{place}` is a link that leaves the weekend's folder");
        return Err(Failure { message, hint: Some("put a folder in its place".to_owned()) });
    }
    let (saved, remarks) = save(folder, place, &name, arrived).map_err(|e| refused(&own, &e))?;
    say.extend(remarks);
    if kind == Kind::LapList && !has_log(folder, &saved) {
        say.push(
            "no log of this name is here yet; it is taken for the log of the same name, or named on the sheet"
                .to_owned(),
        );
    }
    Ok(Receipt { kind, saved, say })
}

/// Whether the folder has a log of the name of the lap list at `saved`.
fn has_log(folder: &Path, saved: &str) -> bool {
    let stem = Path::new(saved).file_stem();
    folder::find_logs(folder).is_ok_and(|logs| logs.iter().any(|l| l.log.file_stem() == stem))
}

fn refused(name: &str, e: &io::Error) -> Failure {
    let hint = "is the weekend's folder writable, and is there room?".to_owned();
    Failure { message: format!("`{name}` could not be saved: {e}"), hint: Some(hint) }
}

/// What the file is, and how it was read.
fn understand(folder: &Path, name: &str, path: &Path) -> Result<(Kind, Vec<String>), Failure> {
    let bytes = std::fs::read(path).map_err(|e| refused(name, &e))?;
    let text = folder::read_sheet_text(folder).ok().flatten().unwrap_or_default();
    let sheet = sheet::read::read(&text).unwrap_or_default();
    let plan = folder::unlisted_run(PathBuf::from(name), None);
    match import::read_bytes(Path::new(name), &bytes, &folder::hints(&plan, &sheet)) {
        Ok(logs) => Ok((Kind::Log, logs.iter().flat_map(said).collect())),
        Err(e) => match lists::read(path).ok().filter(|_| bytes.len() as u64 <= LARGEST_LIST) {
            Some(list) => Ok((Kind::LapList, vec![format!("a lap list of {} laps", list.passings.len() - 1)])),
            // The local file header of a zip archive (PKWARE, APPNOTE.TXT).
            None if bytes.starts_with(b"PK\x03\x04") => Err(Failure {
                message: format!("`{name}` is packed, or a spreadsheet"),
                hint: Some("unpack it, or save the table as CSV, and drop that".to_owned()),
            }),
            None => Err(Failure { message: e.to_string(), hint: e.hint() }),
        },
    }
}

fn said(log: &Log) -> Vec<String> {
    let r = &log.reading;
    let channels: Vec<String> = r.channels.iter().map(|c| c.channel.name().replace('_', " ")).collect();
    let mut all = vec![format!(
        "{} rows, {:.0} s at {:.1} rows a second: {}",
        r.rows_kept,
        r.duration_s,
        r.rate_hz,
        channels.join(", ")
    )];
    let warned = r.notices.iter().filter(|n| n.severity == Severity::Warning);
    all.extend(warned.map(|n| crate::report::view::notice(n).text));
    all
}

fn take_sheet(folder: &Path, name: &str, arrived: NamedTempFile) -> Result<Receipt, Failure> {
    if arrived.as_file().metadata().is_ok_and(|m| m.len() > MOST_FORM as u64) {
        let message = format!("`{name}` has more than {} MB", MOST_FORM >> 20);
        return Err(Failure { message, hint: Some("no setup sheet is that long".to_owned()) });
    }
    let text = std::fs::read_to_string(arrived.path()).map_err(|e| match e.kind() {
        io::ErrorKind::InvalidData => Failure {
            message: format!("`{name}` is no UTF-8 text"),
            hint: Some("save it as UTF-8 in the editor that it was written with".to_owned()),
        },
        _ => refused(name, &e),
    })?;
    sheet::read::read(&text).map_err(|m| Failure { message: m.brief(), hint: Some(m.hint) })?;
    let there = |hint: &str| Failure {
        message: format!("there is a `{SHEET}` already, which was left as it is"),
        hint: Some(hint.to_owned()),
    };
    let hint = "change it on the page of the sheet, or move it away first";
    make_readable(arrived.as_file()).map_err(|e| refused(name, &e))?;
    arrived.persist_noclobber(folder.join(SHEET)).map_err(|e| match e.error.kind() {
        io::ErrorKind::AlreadyExists => there(hint),
        _ => refused(name, &e.error),
    })?;
    Ok(Receipt { kind: Kind::Sheet, saved: SHEET.to_owned(), say: vec!["the weekend's sheet".to_owned()] })
}

/// Puts the file into `place` under `name`, or `name` with a number where another file has it; says so. A file that is in the folder already
/// with the same bytes, under whatever name, is left alone.
fn save(folder: &Path, place: &str, name: &str, mut arrived: NamedTempFile) -> io::Result<(String, Vec<String>)> {
    for there in [place, ""].into_iter().flat_map(|p| files(&folder.join(p))) {
        if same_bytes(&there, arrived.path()).unwrap_or(false) {
            let short = folder::plain_path(there.strip_prefix(folder).unwrap_or(&there));
            return Ok((short, vec![HERE_ALREADY.to_owned()]));
        }
    }
    std::fs::create_dir_all(folder.join(place))?;
    make_readable(arrived.as_file())?;
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "csv"));
    for number in 1.. {
        let own = if number == 1 { name.to_owned() } else { format!("{stem}-{number}.{ending}") };
        // A log in the folder itself has the name too, as a run's id.
        if folder.join(&own).exists() {
            continue;
        }
        let target = folder.join(place).join(&own);
        match arrived.persist_noclobber(&target) {
            Ok(_) => {
                let renamed = (number > 1).then(|| format!("another {name} is here: this one is {own}"));
                return Ok((format!("{place}/{own}"), renamed.into_iter().collect()));
            }
            // Two of one name may arrive at once.
            Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => {
                if same_bytes(&target, e.file.path())? {
                    return Ok((format!("{place}/{own}"), vec![HERE_ALREADY.to_owned()]));
                }
                arrived = e.file;
            }
            Err(e) => return Err(e.error),
        }
    }
    Err(io::Error::other("no name is free"))
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|e| e.path()).filter(|p| p.is_file()).collect()
}

fn same_bytes(a: &Path, b: &Path) -> io::Result<bool> {
    if std::fs::metadata(a)?.len() != std::fs::metadata(b)?.len() {
        return Ok(false);
    }
    let (mut a, mut b) = (io::BufReader::new(std::fs::File::open(a)?), io::BufReader::new(std::fs::File::open(b)?));
    let (mut x, mut y) = ([0; 1 << 13], [0; 1 << 13]);
    loop {
        let count = a.read(&mut x)?;
        if count == 0 {
            return Ok(true);
        }
        b.read_exact(&mut y[..count])?;
        if x[..count] != y[..count] {
            return Ok(false);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::serve::versions::OWN;
    use rstest::rstest;
    use std::io::Write;

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
        assert!(safe_name(&"x".repeat(5000)).chars().count() <= LONGEST + 4);
    }

    fn arrived(folder: &Path, bytes: &[u8]) -> NamedTempFile {
        std::fs::create_dir_all(folder.join(OWN)).unwrap();
        let mut file = NamedTempFile::new_in(folder.join(OWN)).unwrap();
        file.write_all(bytes).unwrap();
        file
    }

    fn log(start: f64) -> Vec<u8> {
        let rows = (0..200).map(|n| format!("{},{},{}\n", n as f64 * 0.05, 12000 + n * 10, start + n as f64 * 0.01));
        format!("time s,rpm,voltage V\n{}", rows.collect::<String>()).into_bytes()
    }

    #[test]
    fn nothing_is_written_over_and_the_same_file_is_kept_once() {
        let folder = tempfile::tempdir().unwrap();
        let take_log = |bytes: &[u8]| take(folder.path(), "x/r1.csv", arrived(folder.path(), bytes)).unwrap();
        assert_eq!(take_log(&log(7.0)).saved, "logs/r1.csv");
        assert_eq!(take_log(&log(8.0)).saved, "logs/r1-2.csv");
        let again = take_log(&log(8.0));
        assert_eq!(again.saved, "logs/r1-2.csv");
        assert!(again.say.contains(&HERE_ALREADY.to_owned()), "{again:?}");
        assert_eq!(std::fs::read(folder.path().join("logs/r1.csv")).unwrap(), log(7.0));
        assert_eq!(std::fs::read_dir(folder.path().join("logs")).unwrap().count(), 2);
    }

    #[test]
    fn lists_sheets_and_rubbish_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        let take = |name: &str, bytes: &[u8]| take(folder.path(), name, arrived(folder.path(), bytes));
        let laps = take("r1.csv", b"lap,time\n1,15.2\n2,15.3\n3,15.1\n").unwrap();
        assert_eq!((laps.kind, laps.saved.as_str()), (Kind::LapList, "laps/r1.csv"));
        assert_eq!(take("weekend.toml", b"[weekend]\nname = \"x\"\n").unwrap().kind, Kind::Sheet);
        let second = take("weekend.toml", b"[weekend]\nname = \"y\"\n").unwrap_err();
        assert!(second.message.contains("left as it is"), "{second:?}");
        let rubbish = take("x.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR").unwrap_err();
        assert!(rubbish.message.contains("`x.csv` is not a log but an image or a program"), "{rubbish:?}");
        let packed = take("runs.zip", b"PK\x03\x04....").unwrap_err();
        assert!(packed.message.contains("`runs.zip` is packed"), "{packed:?}");
        assert!(!folder.path().join("logs").exists());
    }
}
