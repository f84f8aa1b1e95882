//! What a weekend's folder holds: the sheet, the logs, the lap lists, and which of them belong together.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use crate::fingerprint::fnv_1a;
use crate::gears::set_rollout_mm;
use crate::import;
use crate::import::columns::Hints;
use crate::laps::lists;
use crate::log::Log;
use crate::notice::Failure;
use crate::paired_lists::{PairedList, pair};
use crate::sheet::mistake::Mistake;
use crate::sheet::{self, RunPlan, Sheet};
use crate::storage::{Converted, UNFINISHED};
use crate::units::Units;

/// File name of the sheet in a weekend's folder.
pub const SHEET: &str = "weekend.toml";
/// Endings of file names that may be logs or lap lists.
pub const LOG_ENDINGS: [&str; 5] = ["csv", "txt", "tsv", "log", "dat"];
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
    /// The sheet is not TOML.
    #[error("the sheet could not be read\n{}", .0.drawing)]
    Sheet(Box<Mistake>),
    /// No log in the folder.
    #[error("there is no log in `{0}`")]
    NoLogs(PathBuf),
}

impl FolderError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Io { .. } => "name a weekend folder or a log".to_owned(),
            Self::Sheet(mistake) => mistake.hint.clone(),
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

/// Plans the review of a weekend's folder, or of the single log at `path`.
///
/// # Errors
/// [`FolderError`] where there is nothing to review.
pub fn plan(path: &Path) -> Result<Plan, FolderError> {
    let io = |source| FolderError::Io { path: path.to_owned(), source };
    if std::fs::metadata(path).map_err(io)?.is_file() {
        return Ok(plan_of_log(path));
    }
    let root = path.to_owned();
    let sheet_path = path.join(SHEET);
    let has_sheet = sheet_path.is_file();
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
        let FoundLogs { runs: mut unlisted, copies, lists } = found;
        let (paired, unpaired) = pair_lists(lists, &mut sheet.runs, &mut unlisted);
        return Ok(Plan { root, sheet, has_sheet, unlisted, copies, paired, unpaired });
    }
    let FoundLogs { mut runs, copies, lists } = find_other_logs(path, |_| false).map_err(io)?;
    if runs.is_empty() {
        return Err(FolderError::NoLogs(root));
    }
    let (mut paired, unpaired) = pair_lists(lists, &mut runs, &mut []);
    // Without a sheet a list of the log's very name is its own, as everyone expects.
    paired.retain(|p| !p.same_name);
    Ok(Plan { root, sheet: Sheet { runs, ..sheet }, has_sheet, unlisted: Vec::new(), copies, paired, unpaired })
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
        let (unlisted, copies) = (Vec::new(), Vec::new());
        Self { root, sheet, has_sheet, unlisted, copies, paired: Vec::new(), unpaired: Vec::new() }
    }
}

fn folder_of(file: &Path) -> PathBuf {
    file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned()
}

/// The folder's sheet; `None` where there is none or it cannot be read.
fn readable_sheet(folder: &Path) -> Option<Sheet> {
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
    match std::fs::read(&path) {
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
}

/// The logs that are not `known` already; those are not even looked into.
fn find_other_logs(folder: &Path, known: impl Fn(&Path) -> bool) -> std::io::Result<FoundLogs> {
    let mut files = files(folder)?;
    files.retain(|f| may_be_log(f) && folder.join(f).is_file());
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
    Ok(FoundLogs { runs, copies, lists })
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

/// Whether a file's name ends as a log's does.
pub fn may_be_log(path: &Path) -> bool {
    path.extension().is_some_and(|e| LOG_ENDINGS.contains(&e.to_string_lossy().to_lowercase().as_str()))
}

/// A small file that reads as a lap list and not as a log.
fn is_lap_list(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|m| m.len() < LONGEST_LAP_LIST)
        && import::read(path, &Hints::default()).is_err()
        && lists::read(path).is_ok()
}

/// What tells a file from an earlier version of itself without reading it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Length, bytes.
    pub length: u64,
    /// When its contents were last changed, as the file itself says: a copy may keep the time of its original.
    pub changed: SystemTime,
    /// Which file it is to the system.
    pub identity: Identity,
}

/// Which file of a drive a name stands for: another file put in its place has another identity. All zero where the
/// system does not tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Identity {
    /// The file's number on its drive.
    number: u64,
    /// When the system last changed the file or its entry, s since 1970.
    changed_s: i64,
    /// The rest of that time, ns.
    changed_ns: i64,
}

/// The stamp of the file at `path`; `None` where there is no file.
pub fn stamp(path: &Path) -> Option<Stamp> {
    let about = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_file)?;
    Some(Stamp { length: about.len(), changed: about.modified().ok()?, identity: identity(&about) })
}

#[cfg(unix)]
fn identity(about: &std::fs::Metadata) -> Identity {
    use std::os::unix::fs::MetadataExt;
    Identity { number: about.ino(), changed_s: about.ctime(), changed_ns: about.ctime_nsec() }
}

#[cfg(not(unix))]
fn identity(_: &std::fs::Metadata) -> Identity {
    Identity::default()
}

/// Tells the folder at `path` from another that takes its place: its number on the drive. `None` where there is no
/// folder.
#[cfg(unix)]
pub fn folder_identity(path: &Path) -> Option<u64> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|m| m.ino())
}

/// Tells the folder at `path` from another that takes its place: when it was made. `None` where there is no folder.
#[cfg(not(unix))]
pub fn folder_identity(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path).ok()?.created().ok()
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
    let starter_run = |r: &RunPlan| sheet::starter::StarterRun {
        id: r.id.clone(),
        log: plain_path(&r.log),
        laps: r.laps.as_deref().map(plain_path),
    };
    let runs: Vec<_> = found.iter().map(starter_run).collect();
    sheet::starter::starter(&sheet::starter::name_of(folder), &runs, units)
}

/// The full path of the file that the sheet names as `path`. A link may not lead out of the folder.
///
/// # Errors
/// If there is no such file in the folder, or it lies outside.
pub fn within(folder: &Path, path: &Path) -> Result<PathBuf, Failure> {
    let full = folder.join(path);
    let name = path.display();
    let refused = |message: String, hint: &str| Err(Failure { message, hint: Some(hint.to_owned()) });
    let escapes =
        folder.canonicalize().ok().zip(full.canonicalize().ok()).is_some_and(|(root, file)| !file.starts_with(root));
    if escapes {
        return refused(
            format!("`{name}` is a link that leads out of the weekend's folder"),
            "copy the file into the folder",
        );
    }
    match std::fs::metadata(&full) {
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

/// What the sheet says about how a run's log is to be read.
pub fn hints(plan: &RunPlan, sheet: &Sheet) -> Hints {
    Hints {
        rules: sheet.import.rules.clone(),
        encoding: sheet.import.encoding.clone(),
        delimiter: sheet.import.delimiter,
        decimal: sheet.import.decimal,
        rate_hz: sheet.import.rate_hz,
        poles: plan.settings.number("motor.poles"),
        cells: plan.settings.number("battery.cells"),
        ambient_c: plan.ambient_c,
        rollout_mm: set_rollout_mm(&plan.settings),
    }
}

/// Reads one log with what the sheet beside it, or in the folder above, says about reading it.
///
/// # Errors
/// [`import::ReadError`].
pub fn read_log(path: &Path) -> Result<Vec<Log>, import::ReadError> {
    let folder = folder_of(path);
    let nearest = [folder.clone(), folder.join("..")].into_iter().find(|f| f.join(SHEET).is_file());
    let sheet = nearest.and_then(|f| readable_sheet(&f)).unwrap_or_default();
    let name = path.file_name().unwrap_or_default();
    let listed = sheet.runs.iter().find(|r| r.log.file_name() == Some(name)).cloned();
    let run = listed.unwrap_or_else(|| unlisted_run(PathBuf::from(name), None));
    import::read(path, &hints(&run, &sheet))
}
