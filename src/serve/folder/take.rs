//! Takes in a file that was dropped on the page: checked as it arrives, saved under a safe name, never over another.

use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use tempfile::NamedTempFile;

use super::names::{last_name, safe_name};
use crate::folder::{self, SHEET, stamp};
use crate::import;
use crate::import::columns::Hints;
use crate::kept::ReadLog;
use crate::laps::lists::{self, LapList};
use crate::log::Log;
use crate::notice::{Failure, Severity};
use crate::read_by_sheet;
use crate::report::view;
use crate::serve::folder::own::arriving_file;
use crate::serve::limits::{LARGEST_FORM_BYTES, megabytes};
use crate::sheet;
use crate::storage::make_readable;

/// A lap list is smaller, bytes.
const LARGEST_LIST_BYTES: usize = 1 << 15;
/// Folders for logs and for lap lists in the weekend's folder.
const LOGS: &str = "logs";
const LISTS: &str = "laps";
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

/// How a file came into the folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Arrival {
    /// Under its own name.
    New,
    /// Under another name: a different file has its own.
    Renamed,
    /// Not at all: the folder has the same file already.
    AlreadyHere,
}

/// What became of a dropped file.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Receipt {
    /// What it was taken for.
    pub kind: Kind,
    /// How it came into the folder.
    pub arrival: Arrival,
    /// Where it is now, from the weekend's folder.
    pub saved: String,
    /// How it was read, in a sentence, and what was guessed or repaired.
    pub say: Vec<String>,
    /// Whether the weekend's page asks for the run of this lap list.
    pub ask_run: bool,
    /// The run that the log was put on the sheet as; the page can take it off again.
    pub undo_run: Option<String>,
    /// Mark of what the weekend's page says of it.
    pub outcome: Option<String>,
}

/// A dropped file that was taken.
pub struct Taken {
    /// What became of it.
    pub receipt: Receipt,
    /// The log as it was read, for the review that follows.
    pub read_log: Option<ReadLog>,
    /// The runs of a log.
    pub runs: Vec<Log>,
}

/// What a file holds.
enum Content {
    /// The runs of a log, and what was known when it was read.
    Log(Vec<Log>, Hints),
    /// A lap list.
    LapList(LapList),
}

/// Where a file was put.
struct Saved {
    /// From the weekend's folder.
    path: String,
    arrival: Arrival,
}

/// Checks the file `arrived` under the name `raw_name` and puts it into the weekend's folder.
///
/// # Errors
/// Why it can be used for nothing, or could not be saved; nothing is in the folder then.
pub fn take(folder: &Path, raw_name: &str, arrived: NamedTempFile) -> Result<Taken, Failure> {
    let name = safe_name(raw_name);
    if name.to_lowercase().ends_with(".toml") {
        let receipt = take_sheet(folder, &name, arrived)?;
        return Ok(Taken { receipt, read_log: None, runs: Vec::new() });
    }
    let shown_name = last_name(raw_name);
    let written = last_written(arrived.path());
    let content = understand(folder, &shown_name, arrived.path())?;
    let (kind, place) = match content {
        Content::Log(..) => (Kind::Log, LOGS),
        Content::LapList(_) => (Kind::LapList, LISTS),
    };
    if leads_outside(folder, &folder.join(place)) {
        return Err(led_outside(place));
    }
    let saved = save(folder, place, &name, arrived).map_err(|e| not_saved(&shown_name, &e))?;
    let mut say = how_read(&content);
    match saved.arrival {
        Arrival::New => {}
        Arrival::Renamed => say.push(format!("a different `{name}` is already here, so this one has a new name")),
        Arrival::AlreadyHere => say.push("nothing was added".to_owned()),
    }
    let runs = if let Content::Log(runs, _) = &content { runs.clone() } else { Vec::new() };
    let read_log = read_log(folder, &saved, content, written);
    Ok(Taken { receipt: receipt(kind, saved.arrival, saved.path, say), read_log, runs })
}

fn receipt(kind: Kind, arrival: Arrival, saved: String, say: Vec<String>) -> Receipt {
    Receipt { kind, arrival, saved, say, ask_run: false, undo_run: None, outcome: None }
}

/// The log as it was read, where its file has been saved and is still the one that was read.
fn read_log(folder: &Path, saved: &Saved, content: Content, written: Option<SystemTime>) -> Option<ReadLog> {
    let Content::Log(runs, hints) = content else { return None };
    let path = folder.join(&saved.path);
    let stamp = stamp(&path)?;
    let unchanged = saved.arrival != Arrival::AlreadyHere && Some(stamp.changed) == written;
    unchanged.then(|| ReadLog { log: PathBuf::from(&saved.path), stamp, hints, runs })
}

/// When the file's content last changed.
fn last_written(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path).ok()?.modified().ok()
}

/// Whether a place in the folder is a link out of it.
fn leads_outside(folder: &Path, place: &Path) -> bool {
    let real = place.canonicalize().ok().zip(folder.canonicalize().ok());
    real.is_some_and(|(place, folder)| !place.starts_with(folder))
}

/// Why a file could not be saved, where the system refused.
pub fn not_saved(name: &str, e: &io::Error) -> Failure {
    let hint = "check that the weekend's folder can be written to and that the disk is not full".to_owned();
    Failure { message: format!("`{name}` could not be saved: {e}"), hint: Some(hint) }
}

/// What the file holds: a log, or else a lap list.
fn understand(folder: &Path, name: &str, path: &Path) -> Result<Content, Failure> {
    let bytes = std::fs::read(path).map_err(|e| not_saved(name, &e))?;
    let text = folder::read_sheet_text(folder).ok().flatten().unwrap_or_default();
    let sheet = sheet::read::read(&text).unwrap_or_default();
    let plan = folder::unlisted_run(PathBuf::from(name), None);
    let hints = read_by_sheet::hints(&plan, &sheet);
    let no_log = match import::read_bytes(Path::new(name), &bytes, &hints) {
        Ok(logs) => return Ok(Content::Log(logs, hints)),
        Err(e) => e,
    };
    if bytes.len() <= LARGEST_LIST_BYTES
        && let Ok(list) = lists::read(path)
    {
        return Ok(Content::LapList(list));
    }
    Err(Failure { message: no_log.to_string(), hint: no_log.hint() })
}

/// How a file was read: a sentence for each run or list, then what was guessed or repaired.
fn how_read(content: &Content) -> Vec<String> {
    match content {
        Content::Log(logs, _) => logs.iter().flat_map(how_log_was_read).collect(),
        Content::LapList(list) => {
            let laps = list.passings.len() - 1;
            vec![format!("lap list with {laps} {}", if laps == 1 { "lap" } else { "laps" })]
        }
    }
}

fn how_log_was_read(log: &Log) -> Vec<String> {
    let r = &log.reading;
    let channels: Vec<String> = r.channels.iter().map(|c| c.channel.name().replace('_', " ")).collect();
    let rows = format!("{} rows over {:.0} s ({:.1} a second)", r.rows_kept, r.duration_s, r.rate_hz);
    let mut all = vec![format!("{rows}: {}", channels.join(", "))];
    let warned = r.notices.iter().filter(|n| n.severity == Severity::Warning);
    all.extend(warned.map(|n| view::notice(n).text));
    all
}

fn take_sheet(folder: &Path, name: &str, arrived: NamedTempFile) -> Result<Receipt, Failure> {
    if arrived.as_file().metadata().is_ok_and(|m| m.len() > LARGEST_FORM_BYTES as u64) {
        let message = format!("`{name}` is larger than {} MB", megabytes(LARGEST_FORM_BYTES as u64));
        let hint = "a setup sheet is a short text: check that this is the right file".to_owned();
        return Err(Failure { message, hint: Some(hint) });
    }
    let text = std::fs::read_to_string(arrived.path()).map_err(|e| match e.kind() {
        io::ErrorKind::InvalidData => Failure {
            message: format!("`{name}` is not saved as UTF-8 text"),
            hint: Some("open it in your editor and save it as UTF-8".to_owned()),
        },
        _ => not_saved(name, &e),
    })?;
    sheet::read::read(&text).map_err(|m| Failure { message: m.brief(), hint: Some(m.hint) })?;
    make_readable(arrived.as_file()).map_err(|e| not_saved(name, &e))?;
    arrived.persist_noclobber(folder.join(SHEET)).map_err(|e| match e.error.kind() {
        io::ErrorKind::AlreadyExists => Failure {
            message: format!("`{SHEET}` already exists; it was not changed"),
            hint: Some("change it on the setup sheet's page, or move it out of the folder first".to_owned()),
        },
        _ => not_saved(name, &e.error),
    })?;
    let say = vec!["the weekend's setup sheet".to_owned()];
    Ok(receipt(Kind::Sheet, Arrival::New, SHEET.to_owned(), say))
}

/// Keeps the text of a lap list as the one of `run`, never over another file; gives its place from the weekend's folder.
///
/// # Errors
/// If it cannot be written, or lap lists lie outside the folder.
pub fn keep_list(folder: &Path, run: &str, text: &str) -> Result<String, Failure> {
    let name = safe_name(&format!("{run}.csv"));
    if leads_outside(folder, &folder.join(LISTS)) {
        return Err(led_outside(LISTS));
    }
    let written = arriving_file(folder).and_then(|mut file| file.write_all(text.as_bytes()).map(|()| file));
    let saved = written.and_then(|file| save(folder, LISTS, &name, file)).map_err(|e| not_saved(&name, &e))?;
    Ok(saved.path)
}

fn led_outside(place: &str) -> Failure {
    let message = format!("`{place}` is a link to a place outside the weekend's folder");
    Failure { message, hint: Some("replace the link with a folder".to_owned()) }
}

/// Puts the file into `place` under `name`, or `name` with a number where a different file has it. A file that is in
/// the folder already with the same bytes, under whatever name, is left alone.
fn save(folder: &Path, place: &str, name: &str, mut arrived: NamedTempFile) -> io::Result<Saved> {
    for there in [place, ""].into_iter().flat_map(|p| files(&folder.join(p))) {
        if same_bytes(&there, arrived.path()).unwrap_or(false) {
            let path = folder::plain_path(there.strip_prefix(folder).unwrap_or(&there));
            return Ok(Saved { path, arrival: Arrival::AlreadyHere });
        }
    }
    std::fs::create_dir_all(folder.join(place))?;
    make_readable(arrived.as_file())?;
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "csv"));
    for number in 1.. {
        let free = if number == 1 { name.to_owned() } else { format!("{stem}-{number}.{ending}") };
        // A log in the folder itself has the name too, as a run's id.
        if folder.join(&free).exists() {
            continue;
        }
        let target = folder.join(place).join(&free);
        let path = format!("{place}/{free}");
        match arrived.persist_noclobber(&target) {
            Ok(_) => {
                let arrival = if number == 1 { Arrival::New } else { Arrival::Renamed };
                return Ok(Saved { path, arrival });
            }
            // Two of one name may arrive at once.
            Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => {
                if same_bytes(&target, e.file.path())? {
                    return Ok(Saved { path, arrival: Arrival::AlreadyHere });
                }
                arrived = e.file;
            }
            Err(e) => return Err(e.error),
        }
    }
    Err(io::Error::other("no free name was found"))
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

    fn arrived(folder: &Path, bytes: &[u8]) -> NamedTempFile {
        let mut file = arriving_file(folder).unwrap();
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
        let take_log = |bytes: &[u8]| take(folder.path(), "x/r1.csv", arrived(folder.path(), bytes)).unwrap().receipt;
        for (bytes, saved, arrival) in [
            (log(7.0), "logs/r1.csv", Arrival::New),
            (log(8.0), "logs/r1-2.csv", Arrival::Renamed),
            (log(8.0), "logs/r1-2.csv", Arrival::AlreadyHere),
        ] {
            let receipt = take_log(&bytes);
            assert_eq!((receipt.saved.as_str(), receipt.arrival), (saved, arrival));
        }
        assert_eq!(std::fs::read(folder.path().join("logs/r1.csv")).unwrap(), log(7.0));
        assert_eq!(std::fs::read_dir(folder.path().join("logs")).unwrap().count(), 2);
    }

    #[test]
    fn typed_laps_are_kept_under_the_run_s_name_and_over_no_other_file() {
        let folder = tempfile::tempdir().unwrap();
        for (text, place) in [("15.1\n", "laps/t 1.csv"), ("15.2\n", "laps/t 1-2.csv"), ("15.1\n", "laps/t 1.csv")] {
            assert_eq!(keep_list(folder.path(), "../t 1", text).unwrap(), place);
        }
        assert_eq!(std::fs::read_to_string(folder.path().join("laps/t 1.csv")).unwrap(), "15.1\n");
    }

    #[test]
    fn lists_sheets_and_rubbish_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        let take = |name: &str, bytes: &[u8]| {
            take(folder.path(), name, arrived(folder.path(), bytes)).map(|taken| taken.receipt)
        };
        let laps = take("r1.csv", b"lap,time\n1,15.2\n2,15.3\n3,15.1\n").unwrap();
        assert_eq!((laps.kind, laps.saved.as_str()), (Kind::LapList, "laps/r1.csv"));
        assert_eq!(take("weekend.toml", b"[weekend]\nname = \"x\"\n").unwrap().kind, Kind::Sheet);
        let second = take("weekend.toml", b"[weekend]\nname = \"y\"\n").unwrap_err();
        assert!(second.message.contains("already exists"), "{second:?}");
        let rubbish = take("x.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR").unwrap_err();
        assert!(rubbish.message.contains("`x.csv` is not a log but"), "{rubbish:?}");
        assert!(!folder.path().join("logs").exists());
    }
}
