//! What a weekend's folder holds: the sheet, the logs, the lap lists.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use crate::archive::UNFINISHED;
use crate::import;
use crate::import::columns::Hints;
use crate::laps::lists;
use crate::log::Log;
use crate::notice::Failure;
use crate::sheet::mistake::Mistake;
use crate::sheet::{self, RunPlan, Sheet};

/// File name of the sheet in a weekend's folder.
pub const SHEET: &str = "weekend.toml";
/// Endings of the files that are looked at.
pub const LOG_ENDINGS: [&str; 5] = ["csv", "txt", "tsv", "log", "dat"];

/// Why nothing could be reviewed.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The path is not there, or may not be read.
    #[error("`{path}` could not be read: {source}")]
    Io {
        /// The path.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The sheet is no TOML.
    #[error("the sheet could not be read\n{}", .0.drawing)]
    Sheet(Box<Mistake>),
    /// No log in the folder.
    #[error("`{0}` holds no log")]
    NoLogs(PathBuf),
}

impl FolderError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Io { .. } => "name a weekend's folder or a log".to_owned(),
            Self::Sheet(mistake) => mistake.hint.clone(),
            Self::NoLogs(_) => format!("put logs ending in `.csv` or `.txt` into it, or name them in `{SHEET}`"),
        }
    }
}

/// What is to be reviewed.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The folder that the sheet's paths start from.
    pub root: PathBuf,
    /// The sheet, with the runs found where it names none.
    pub sheet: Sheet,
    /// Whether there is a sheet.
    pub has_sheet: bool,
    /// Logs in the folder that no run of the sheet names.
    pub unlisted: Vec<RunPlan>,
}

/// Plans the review of a weekend's folder, or of the lone log at `path`.
///
/// # Errors
/// [`FolderError`] where there is nothing to review.
pub fn plan(path: &Path) -> Result<Plan, FolderError> {
    let io = |source| FolderError::Io { path: path.to_owned(), source };
    let about = std::fs::metadata(path).map_err(io)?;
    if about.is_file() {
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
        let logs: HashSet<&Path> = sheet.runs.iter().map(|r| r.log.as_path()).collect();
        let listed = |log: &Path| logs.contains(log);
        // A folder that cannot be listed may hold logs that can be read.
        let unlisted = find_logs_but(path, listed).unwrap_or_default();
        return Ok(Plan { root, sheet, has_sheet, unlisted });
    }
    let found = find_logs(path).map_err(io)?;
    if found.is_empty() {
        return Err(FolderError::NoLogs(root));
    }
    Ok(Plan { root, sheet: Sheet { runs: found, ..sheet }, has_sheet, unlisted: Vec::new() })
}

/// Text of the folder's sheet, without a byte-order mark; `None` where there is none.
///
/// # Errors
/// If the sheet is there and cannot be read.
pub fn read_sheet_text(folder: &Path) -> std::io::Result<Option<String>> {
    // A pipe would never end.
    if std::fs::metadata(folder.join(SHEET)).is_ok_and(|m| !m.is_file()) {
        return Err(std::io::Error::other("it is no file"));
    }
    match std::fs::read(folder.join(SHEET)) {
        Ok(bytes) => Ok(Some(String::from_utf8_lossy(&bytes).trim_start_matches('\u{feff}').to_owned())),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e),
    }
}

/// A lone log: with its entry on the sheet of its folder, or of the one above, where there is one.
fn plan_of_log(path: &Path) -> Plan {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned();
    let name = PathBuf::from(path.file_name().unwrap_or_default());
    let places = [
        (folder.clone(), name.clone()),
        (folder.join(".."), folder.file_name().map_or(name.clone(), |f| Path::new(f).join(&name))),
    ];
    for (root, log) in places {
        let text = read_sheet_text(&root).ok().flatten();
        if let Some(mut sheet) = text.and_then(|t| sheet::read::read(&t).ok()) {
            sheet.runs.retain(|r| r.log == log);
            if !sheet.runs.is_empty() {
                return Plan { root, sheet, has_sheet: true, unlisted: Vec::new() };
            }
        }
    }
    let sheet = Sheet { runs: vec![unplanned(name, None)], ..Sheet::default() };
    Plan { root: folder, sheet, has_sheet: false, unlisted: Vec::new() }
}

/// A log that stands on no sheet.
pub fn unplanned(log: PathBuf, laps: Option<PathBuf>) -> RunPlan {
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

/// Logs of a folder and the folders in it, by name; a list of the same name in a folder `laps` goes with its log.
///
/// # Errors
/// If the folder cannot be listed.
pub fn find_logs(folder: &Path) -> std::io::Result<Vec<RunPlan>> {
    find_logs_but(folder, |_| false)
}

/// Files of a folder and of the folders in it, by their paths from it; none of the report's, of hidden folders, or that are being written.
///
/// # Errors
/// If the folder cannot be listed.
pub fn files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = PathBuf::from(entry.file_name());
        if entry.file_type()?.is_dir() && name != Path::new("report") && !name.to_string_lossy().starts_with('.') {
            // One that may not be looked into, such as a drive's own, holds no log of ours.
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

/// Length and time of change of a file, and which file of the system's it is; `None` where there is none.
pub type Stamp = Option<(u64, SystemTime, Identity)>;

/// Number of a file or folder on its drive, and when the system last changed it: another one of the same name has another.
pub type Identity = (u64, i64, i64);

/// The stamp of the file at `path`.
pub fn stamp(path: &Path) -> Stamp {
    let about = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_file)?;
    Some((about.len(), about.modified().ok()?, identity(&about)))
}

#[cfg(unix)]
fn identity(about: &std::fs::Metadata) -> Identity {
    use std::os::unix::fs::MetadataExt;
    (about.ino(), about.ctime(), about.ctime_nsec())
}

#[cfg(not(unix))]
fn identity(_: &std::fs::Metadata) -> Identity {
    (0, 0, 0)
}

/// Number of the folder at `path` on its drive; `None` where there is none.
#[cfg(unix)]
pub fn which(path: &Path) -> Option<u64> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|m| m.ino())
}

/// When the folder at `path` was made; `None` where there is none.
#[cfg(not(unix))]
pub fn which(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path).ok()?.created().ok()
}

/// A path as the sheet writes it, whatever the system's separator.
pub fn plain_path(path: &Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

/// The logs but for those `known`, which are not looked into.
fn find_logs_but(folder: &Path, known: impl Fn(&Path) -> bool) -> std::io::Result<Vec<RunPlan>> {
    let mut files = files(folder)?;
    files.retain(|f| !known(f) && may_be_log(f) && folder.join(f).is_file());
    files.sort();
    let (lists, logs): (Vec<PathBuf>, Vec<PathBuf>) = files
        .into_iter()
        .partition(|f| f.parent().is_some_and(|p| p == Path::new("laps")) || is_lap_list(&folder.join(f)));
    let (mut runs, mut ids): (Vec<RunPlan>, HashSet<String>) = Default::default();
    for log in logs {
        let list = lists.iter().find(|l| l.file_stem() == log.file_stem()).cloned();
        let mut run = unplanned(log, list);
        if !ids.insert(run.id.clone()) {
            run.id = run.log.to_string_lossy().into_owned();
        }
        runs.push(run);
    }
    Ok(runs)
}

/// Text of a starter sheet for the logs of a folder.
///
/// # Errors
/// If the folder cannot be listed.
pub fn starter(folder: &Path) -> std::io::Result<String> {
    Ok(starter_of(folder, &find_logs(folder)?))
}

/// Text of a starter sheet for the logs `found` in a folder.
pub fn starter_of(folder: &Path, found: &[RunPlan]) -> String {
    let starter_run = |r: &RunPlan| sheet::starter::StarterRun {
        id: r.id.clone(),
        log: plain_path(&r.log),
        laps: r.laps.as_deref().map(plain_path),
    };
    let runs: Vec<_> = found.iter().map(starter_run).collect();
    sheet::starter::starter(&sheet::starter::name_of(folder), &runs)
}

/// A small file that reads as a lap list and not as a log.
fn is_lap_list(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|m| m.len() < 1 << 15)
        && import::read(path, &Hints::default()).is_err()
        && lists::read(path).is_ok()
}

/// The file inside the folder; a link may not lead out of it.
///
/// # Errors
/// If it does.
pub fn within(folder: &Path, path: &Path) -> Result<PathBuf, Failure> {
    let full = folder.join(path);
    let escapes =
        folder.canonicalize().ok().zip(full.canonicalize().ok()).is_some_and(|(root, file)| !file.starts_with(root));
    if escapes {
        return Err(Failure {
            message: format!("`{}` is a link that leaves the weekend's folder", path.display()),
            hint: Some("copy the file into the folder".to_owned()),
        });
    }
    match std::fs::metadata(&full) {
        Ok(about) if about.is_file() => Ok(full),
        Ok(_) => Err(Failure { message: format!("`{}` is no file", path.display()), hint: None }),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Err(Failure {
            message: format!("`{}` is not in the weekend's folder", path.display()),
            hint: Some("copy it there, or correct its name on the sheet".to_owned()),
        }),
        // The reader says why.
        Err(_) => Ok(full),
    }
}

/// What the sheet states of how a run's log is to be read.
pub fn hints(plan: &RunPlan, sheet: &Sheet) -> Hints {
    Hints {
        rules: sheet.import.rules.clone(),
        encoding: sheet.import.encoding.clone(),
        delimiter: sheet.import.delimiter,
        decimal: sheet.import.decimal,
        rate_hz: sheet.import.rate_hz,
        poles: plan.settings.number("motor.poles"),
    }
}

/// Reads one log as the review of `sheet` would; for `runtrue read` and `runtrue convert`.
///
/// # Errors
/// [`import::ReadError`].
pub fn read_log(path: &Path) -> Result<Vec<Log>, import::ReadError> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let beside = [folder.to_owned(), folder.join("..")].into_iter().map(|f| f.join(SHEET)).find(|f| f.is_file());
    let sheet = beside
        .and_then(|f| std::fs::read_to_string(f).ok())
        .and_then(|t| sheet::read::read(&t).ok())
        .unwrap_or_default();
    let name = path.file_name().unwrap_or_default();
    let plan = sheet
        .runs
        .iter()
        .find(|r| r.log.file_name() == Some(name))
        .cloned()
        .unwrap_or_else(|| unplanned(PathBuf::from(name), None));
    import::read(path, &hints(&plan, &sheet))
}
