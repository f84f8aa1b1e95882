//! What a weekend's folder holds: the sheet, the logs, the lap lists, and which of them belong together.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use crate::archives_in_folder::{LeftPacked, Unpacked, look_into, notices};
use crate::fingerprint::fnv_1a;
use crate::import;
use crate::import::columns::Hints;
use crate::laps::lists;
use crate::notice::Failure;
use crate::packed;
use crate::packed::archive::ArchiveError;
use crate::packed::path::{PathInArchive, is_archive_file, through_archive};
use crate::paired_lists::{PairedList, pair};
use crate::sheet::mistake::Mistake;
use crate::sheet::{self, RunPlan, Sheet};
use crate::storage::{Converted, UNFINISHED};
use crate::units::Units;

pub use crate::folder_names::{LOG_ENDINGS, SHEET, may_be_log};
pub use crate::stamp::{Identity, Stamp, folder_identity, stamp};

/// The folder that lap lists are kept in by convention: what is in it is never taken for a log.
const LAP_LISTS: &str = "laps";
/// The folder that a review writes to by default: nothing in it is an input.
const REPORT: &str = "report";
/// A file longer than this, in bytes, is not tried as a lap list: a day of passings is shorter.
const LONGEST_LAP_LIST: u64 = 1 << 15;

/// Why nothing could be reviewed.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The path does not exist, or may not be read.
    #[error("`{path}` could not be read: {source}")]
    Io {
        /// The path.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// A packed file that cannot be opened.
    #[error("`{path}` could not be read: {source}")]
    Archive {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: ArchiveError,
    },
    /// The sheet is not TOML.
    #[error("the sheet could not be read\n{}", .0.drawing)]
    Sheet(Box<Mistake>),
    /// No log in the folder, but packed files that were not read.
    #[error("there is no log in `{path}`: {why}")]
    OnlyPacked {
        /// The folder.
        path: PathBuf,
        /// Why the first of them was not read.
        why: String,
    },
    /// No log in the folder.
    #[error("there is no log in `{0}`")]
    NoLogs(PathBuf),
}

impl FolderError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Io { .. } => "name a weekend folder or a log".to_owned(),
            Self::Archive { source, .. } => source.hint().to_owned(),
            Self::Sheet(mistake) => mistake.hint.clone(),
            Self::OnlyPacked { .. } => "put logs into the folder, or a zip of them".to_owned(),
            Self::NoLogs(_) => {
                format!("put logs ending in `.csv` or `.txt` into the folder, or name them in `{SHEET}`")
            }
        }
    }
}

/// What is to be reviewed.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The folder that the paths on the sheet start from.
    pub root: PathBuf,
    /// The sheet; where it lists no runs, those found in the folder are filled in.
    pub sheet: Sheet,
    /// Whether the folder has a sheet.
    pub has_sheet: bool,
    /// Logs in the folder that no run of the sheet names.
    pub unlisted: Vec<RunPlan>,
    /// Logs in the folder that were left out, because they were converted from another one there.
    pub copies: Vec<ConvertedCopy>,
    /// Runs of the sheet whose logs are left out.
    pub left_out: Vec<RunPlan>,
    /// Files in archives of the folder that are not read.
    pub left_packed: Vec<LeftPacked>,
    /// Lap lists that runs of the sheet have by their names: the sheet names none for them.
    pub paired: Vec<PairedList>,
    /// Lap lists in the folder that no run has.
    pub unpaired: Vec<PathBuf>,
}

/// A log that was converted from another one in the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConvertedCopy {
    /// The copy, from the folder.
    pub copy: PathBuf,
    /// The log it is a copy of.
    pub log: PathBuf,
}

/// Plans the review of a weekend's folder, of an archive of one, or of the single log at `path`.
///
/// # Errors
/// [`FolderError`] where there is nothing to review.
pub fn plan(path: &Path) -> Result<Plan, FolderError> {
    let io = |source| FolderError::Io { path: path.to_owned(), source };
    if is_archive_file(path) {
        return plan_of_folder(&folder_in_archive(path)?);
    }
    match std::fs::metadata(path).map(|about| about.is_file()) {
        Ok(false) => plan_of_folder(path),
        Err(e) if !packed::path::is_file(path) => Err(io(e)),
        _ => Ok(plan_of_log(path)),
    }
}

/// The folder of a weekend in an archive: where its sheet is, or the whole of it.
fn folder_in_archive(archive: &Path) -> Result<PathBuf, FolderError> {
    let unread = |source| FolderError::Archive { path: archive.to_owned(), source };
    let contents = packed::path::contents(archive).map_err(unread)?;
    let sheets = contents.files.iter().filter(|f| f.path.file_name().is_some_and(|n| n == SHEET));
    let outermost = sheets.min_by_key(|f| f.path.components().count()).and_then(|f| f.path.parent());
    Ok(outermost.map_or_else(|| archive.to_owned(), |inner| archive.join(inner)))
}

fn plan_of_folder(path: &Path) -> Result<Plan, FolderError> {
    let io = |source| FolderError::Io { path: path.to_owned(), source };
    let root = path.to_owned();
    let sheet_path = path.join(SHEET);
    let has_sheet = packed::path::is_file(&sheet_path);
    let mut sheet = Sheet::default();
    if has_sheet {
        let text =
            read_sheet_text(path).map_err(|source| FolderError::Io { path: sheet_path, source })?.unwrap_or_default();
        sheet = sheet::read::read(&text).map_err(FolderError::Sheet)?;
    }
    if !sheet.runs.is_empty() {
        let listed: HashSet<&Path> = sheet.runs.iter().map(|r| r.log.as_path()).collect();
        // A folder that cannot be listed may hold logs that can be read.
        let found = find_other_logs(path, |log| listed.contains(log)).unwrap_or_default();
        let FoundLogs { runs: mut unlisted, copies, lists, left_packed } = found;
        let (left_out, runs) = std::mem::take(&mut sheet.runs).into_iter().partition(|run| run.left_out);
        sheet.runs = runs;
        let (paired, unpaired) = pair_lists(lists, &mut sheet.runs, &mut unlisted);
        return Ok(Plan { root, sheet, has_sheet, unlisted, copies, left_out, left_packed, paired, unpaired });
    }
    let FoundLogs { mut runs, copies, lists, left_packed } = find_other_logs(path, |_| false).map_err(io)?;
    if runs.is_empty() {
        return Err(match notices(&left_packed).into_iter().next() {
            Some(notice) => FolderError::OnlyPacked { path: root, why: notice.message },
            None => FolderError::NoLogs(root),
        });
    }
    let (mut paired, unpaired) = pair_lists(lists, &mut runs, &mut []);
    // Without a sheet a list of the log's very name is its own, as everyone expects.
    paired.retain(|p| !p.same_name);
    let (sheet, unlisted, left_out) = (Sheet { runs, ..sheet }, Vec::new(), Vec::new());
    Ok(Plan { root, sheet, has_sheet, unlisted, copies, left_out, left_packed, paired, unpaired })
}

/// Gives the runs the lists of their names: which of the sheet's got one, and the lists that no run has.
fn pair_lists(lists: Vec<PathBuf>, runs: &mut [RunPlan], unlisted: &mut [RunPlan]) -> (Vec<PairedList>, Vec<PathBuf>) {
    let mut all: Vec<&mut RunPlan> = runs.iter_mut().chain(unlisted.iter_mut()).collect();
    let mut paired = pair(&lists, &mut all);
    let is_free = |list: &PathBuf| all.iter().all(|run| run.laps.as_ref() != Some(list));
    let unpaired = lists.into_iter().filter(is_free).collect();
    paired.retain(|p| runs.iter().any(|run| run.laps.as_ref() == Some(&p.list)));
    (paired, unpaired)
}

/// A single log: as its sheet lists it, if the folder it is in or the one above has a sheet that does.
fn plan_of_log(path: &Path) -> Plan {
    let folder = folder_of(path);
    let name = PathBuf::from(path.file_name().unwrap_or_default());
    let from_above = folder.file_name().map_or(name.clone(), |f| Path::new(f).join(&name));
    for (root, log) in [(folder.clone(), name.clone()), (folder.join(".."), from_above)] {
        if let Some(mut sheet) = readable_sheet(&root).filter(|sheet| sheet.runs.iter().any(|r| r.log == log)) {
            let logs: HashSet<PathBuf> = sheet.runs.iter().map(|r| r.log.clone()).collect();
            let lists = find_other_logs(&root, |other| logs.contains(other)).unwrap_or_default().lists;
            let (mut paired, _) = pair_lists(lists, &mut sheet.runs, &mut []);
            sheet.runs.retain(|r| r.log == log);
            paired.retain(|p| sheet.runs.iter().any(|r| r.laps.as_ref() == Some(&p.list)));
            return Plan { paired, ..Plan::alone(root, sheet, true) };
        }
    }
    let sheet = Sheet { runs: vec![unlisted_run(name, None)], ..Sheet::default() };
    Plan::alone(folder, sheet, false)
}

impl Plan {
    /// The runs of `sheet` and nothing beside them.
    fn alone(root: PathBuf, sheet: Sheet, has_sheet: bool) -> Self {
        let (unlisted, left_out) = (Vec::new(), Vec::new());
        let (copies, left_packed, paired, unpaired) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        Self { root, sheet, has_sheet, unlisted, copies, left_out, left_packed, paired, unpaired }
    }
}

pub(crate) fn folder_of(file: &Path) -> PathBuf {
    file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned()
}

/// The folder's sheet; `None` where there is none or it cannot be read.
pub(crate) fn readable_sheet(folder: &Path) -> Option<Sheet> {
    sheet::read::read(&read_sheet_text(folder).ok()??).ok()
}

/// Text of the folder's sheet, without a byte-order mark; `None` where there is no sheet.
///
/// # Errors
/// If there is a sheet that cannot be read.
pub fn read_sheet_text(folder: &Path) -> std::io::Result<Option<String>> {
    let path = folder.join(SHEET);
    // Reading a pipe would never end.
    if std::fs::metadata(&path).is_ok_and(|m| !m.is_file()) {
        return Err(std::io::Error::other("it is not a file"));
    }
    match packed::path::read(&path) {
        Ok(bytes) => Ok(Some(String::from_utf8_lossy(&bytes).trim_start_matches('\u{feff}').to_owned())),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e),
    }
}

/// The run of a log that no sheet lists, named after its file.
pub fn unlisted_run(log: PathBuf, laps: Option<PathBuf>) -> RunPlan {
    let id = log.file_stem().map_or_else(|| "run".to_owned(), |s| s.to_string_lossy().into_owned());
    RunPlan {
        id,
        car: String::new(),
        log,
        laps,
        part: None,
        left_out: false,
        ambient_c: None,
        settings: sheet::Settings::default(),
        mistake: None,
    }
}

/// Logs of a folder and of the folders in it, by name, each with the lap list of its name if there is one.
///
/// # Errors
/// If the folder cannot be listed.
pub fn find_logs(folder: &Path) -> std::io::Result<Vec<RunPlan>> {
    let FoundLogs { mut runs, lists, .. } = find_other_logs(folder, |_| false)?;
    pair_lists(lists, &mut runs, &mut []);
    Ok(runs)
}

/// Logs that were found in a folder.
#[derive(Default)]
struct FoundLogs {
    runs: Vec<RunPlan>,
    copies: Vec<ConvertedCopy>,
    /// What is a lap list and not a log.
    lists: Vec<PathBuf>,
    /// What is packed and not read.
    left_packed: Vec<LeftPacked>,
}

/// The logs that are not `known` already; those are not even looked into.
fn find_other_logs(folder: &Path, known: impl Fn(&Path) -> bool) -> std::io::Result<FoundLogs> {
    let mut files = files(folder)?;
    let Unpacked { files: packed, left: left_packed } = look_into(folder, &files);
    let is_packed = through_archive(folder).is_some();
    files.retain(|f| may_be_log(f) && (is_packed || folder.join(f).is_file()));
    files.extend(packed);
    files.sort();
    let copies = converted_copies(folder, &files, &known);
    files.retain(|f| !known(f) && copies.iter().all(|c| c.copy != *f));
    let (lists, logs): (Vec<PathBuf>, Vec<PathBuf>) = files
        .into_iter()
        .partition(|f| f.parent().is_some_and(|p| p == Path::new(LAP_LISTS)) || is_lap_list(&folder.join(f)));
    let mut ids = HashSet::new();
    let mut runs = Vec::new();
    for log in logs {
        let mut run = unlisted_run(log, None);
        if !ids.insert(run.id.clone()) {
            run.id = run.log.to_string_lossy().into_owned();
        }
        runs.push(run);
    }
    Ok(FoundLogs { runs, copies, lists, left_packed })
}

/// The files that are not `known` and were converted from another one of `files`, by the mark that converting leaves.
fn converted_copies(folder: &Path, files: &[PathBuf], known: impl Fn(&Path) -> bool) -> Vec<ConvertedCopy> {
    let mark = |file: &PathBuf| Converted::of_file(&folder.join(file)).ok()??.source;
    let marked: Vec<(&PathBuf, u64)> = files.iter().filter(|f| !known(f)).filter_map(|f| Some((f, mark(f)?))).collect();
    if marked.is_empty() {
        return Vec::new();
    }
    let fingerprint = |file: &PathBuf| Some(fnv_1a(&std::fs::read(folder.join(file)).ok()?));
    let others = files.iter().filter(|f| marked.iter().all(|m| m.0 != *f));
    let originals: Vec<(&PathBuf, u64)> = others.filter_map(|f| Some((f, fingerprint(f)?))).collect();
    let copy = |(copy, source): (&PathBuf, u64)| {
        let log = originals.iter().find(|o| o.1 == source)?.0.clone();
        Some(ConvertedCopy { copy: copy.clone(), log })
    };
    marked.into_iter().filter_map(copy).collect()
}

/// Files of a folder and of the folders in it, as paths from it; without those of the report, of hidden folders, and
/// those still being written.
///
/// # Errors
/// If the folder cannot be listed.
pub fn files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    if let Some(PathInArchive { archive, inner }) = through_archive(folder) {
        let contents = packed::path::contents(&archive).map_err(std::io::Error::other)?;
        let below = contents.files.iter().filter_map(|f| Some(f.path.strip_prefix(&inner).ok()?.to_owned()));
        return Ok(below.collect());
    }
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = PathBuf::from(entry.file_name());
        if entry.file_type()?.is_dir() && name != Path::new(REPORT) && !name.to_string_lossy().starts_with('.') {
            // A folder that may not be looked into, such as a drive's own, holds no log of ours.
            for inner in std::fs::read_dir(entry.path()).into_iter().flatten().flatten() {
                files.push(name.join(inner.file_name()));
            }
        } else {
            files.push(name);
        }
    }
    files.retain(|f| !f.file_name().is_some_and(|n| n.to_string_lossy().starts_with(UNFINISHED)));
    Ok(files)
}

/// A small file that reads as a lap list and not as a log.
fn is_lap_list(path: &Path) -> bool {
    packed::path::size(path).is_ok_and(|bytes| bytes < LONGEST_LAP_LIST)
        && import::read(path, &Hints::default()).is_err()
        && lists::read(path).is_ok()
}

/// A path as the sheet writes it: with slashes, whatever the system uses.
pub fn plain_path(path: &Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

/// Text of a starter sheet for the logs of a folder.
///
/// # Errors
/// If the folder cannot be listed.
pub fn starter(folder: &Path) -> std::io::Result<String> {
    Ok(starter_for(folder, &find_logs(folder)?, Units::default()))
}

/// Text of a starter sheet for the logs `found` in a folder, whose pages show these `units`.
pub fn starter_for(folder: &Path, found: &[RunPlan], units: Units) -> String {
    starter_of_car(folder, sheet::starter::CAR, found, units)
}

/// The same with another name of the car.
pub fn starter_of_car(folder: &Path, car: &str, found: &[RunPlan], units: Units) -> String {
    let starter_run = |r: &RunPlan| sheet::starter::StarterRun {
        id: r.id.clone(),
        log: plain_path(&r.log),
        laps: r.laps.as_deref().map(plain_path),
    };
    let runs: Vec<_> = found.iter().map(starter_run).collect();
    sheet::starter::starter_with(sheet::keys::KEYS, &sheet::starter::name_of(folder), car, &runs, units)
}

/// The full path of the file that the sheet names as `path`. A link may not lead out of the folder.
///
/// # Errors
/// If there is no such file in the folder, or it lies outside.
pub fn within(folder: &Path, path: &Path) -> Result<PathBuf, Failure> {
    let full = folder.join(path);
    let name = path.display();
    let refused = |message: String, hint: &str| Err(Failure { message, hint: Some(hint.to_owned()) });
    let through = through_archive(&full);
    let on_drive = through.as_ref().map_or(&full, |through| &through.archive);
    let real = folder.canonicalize().ok().zip(on_drive.canonicalize().ok());
    let escapes = real.is_some_and(|(root, file)| !file.starts_with(root));
    if escapes {
        return refused(
            format!("`{name}` is a link that leads out of the weekend's folder"),
            "copy the file into the folder",
        );
    }
    match std::fs::metadata(&full) {
        Err(_) if through.is_some() => match packed::path::size(&full) {
            Ok(_) => Ok(full),
            Err(e) => refused(format!("`{name}` could not be read: {e}"), "correct its name on the sheet"),
        },
        Ok(about) if about.is_file() => Ok(full),
        Ok(_) => refused(format!("`{name}` is not a file"), "name the log or the lap list itself"),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => refused(
            format!("`{name}` is not in the weekend's folder"),
            "copy it there, or correct its name on the sheet",
        ),
        // Reading it will say why.
        Err(_) => Ok(full),
    }
}
