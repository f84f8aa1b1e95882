//! The whole job on one page: bytes → log → laps → answers of a run → the review of the weekend.
//!
//! Nothing downstream recomputes; nothing upstream knows what is downstream. Pages, JSON and Parquet are made from the
//! [`Review`] in `report` and `archive`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::import;
use crate::import::columns::Hints;
use crate::laps::lists::{self, LapList};
use crate::laps::odometer::Odometer;
use crate::laps::{self, Laps};
use crate::log::Log;
use crate::measure::{self, Answers};
use crate::notice::Notice;
use crate::sheet::mistake::Mistake;
use crate::sheet::{self, RunPlan, Sheet};
use crate::weekend;
use crate::weekend::comparisons::{self, Comparison};
use crate::weekend::findings::{self, Finding};
use crate::weekend::gearing;
use crate::weekend::next::{self, Next, WithoutFan};
use crate::weekend::trends::{self, Trend};

/// File name of the sheet in a weekend's folder.
pub const SHEET: &str = "weekend.toml";
/// How far the lap in motor turns may be from what the sheet tells, relative.
const EXPECTED_WIDTH: f64 = 0.10;
/// A line of a log is this long at least; smaller files without one are still tried.
const LOG_ENDINGS: [&str; 5] = ["csv", "txt", "tsv", "log", "dat"];

/// Why a run could not be reviewed.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Failure {
    /// What failed, where, and the value seen.
    pub message: String,
    /// What to do about it.
    pub hint: Option<String>,
}

/// What was found out about a run.
#[derive(Debug, Clone)]
pub struct Reviewed {
    /// The normalised log.
    pub log: Log,
    /// Its laps.
    pub laps: Laps,
    /// Its answers.
    pub answers: Answers,
}

/// One run of the weekend.
#[derive(Debug, Clone)]
pub struct Run {
    /// What the sheet says of it.
    pub plan: RunPlan,
    /// What was found out, or why not.
    pub outcome: Result<Reviewed, Failure>,
    /// What other pinions would do.
    pub next: Vec<Next>,
    /// The race without the fan, where the car ran with and without one.
    pub without_fan: Option<WithoutFan>,
}

impl Run {
    fn new(plan: RunPlan, outcome: Result<Reviewed, Failure>) -> Self {
        Self { plan, outcome, next: Vec::new(), without_fan: None }
    }
}

/// The review of a weekend.
#[derive(Debug, Clone)]
pub struct Review {
    /// The sheet; empty where there is none.
    pub sheet: Sheet,
    /// Whether a sheet was there.
    pub has_sheet: bool,
    /// Runs in order.
    pub runs: Vec<Run>,
    /// What rises or falls over the runs of a car.
    pub trends: Vec<Trend>,
    /// What changed keys did.
    pub comparisons: Vec<Comparison>,
    /// Findings, what to act on first.
    pub findings: Vec<Finding>,
    /// Remarks on the weekend as a whole.
    pub notices: Vec<Notice>,
}

/// Why nothing could be reviewed.
#[derive(Debug, thiserror::Error)]
pub enum ReviewError {
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

impl ReviewError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Io { .. } => "name a weekend's folder or a log".to_owned(),
            Self::Sheet(mistake) => mistake.hint.clone(),
            Self::NoLogs(_) => format!("put logs ending in `.csv` or `.txt` into it, or name them in `{SHEET}`"),
        }
    }
}

/// Reviews the weekend in the folder `path`, or the lone log there. `progress` is told how many runs of how many are done.
///
/// # Errors
/// [`ReviewError`] where there is nothing to review; a single run that fails stays in the review with its error.
pub fn review(path: &Path, progress: &mut dyn FnMut(usize, usize)) -> Result<Review, ReviewError> {
    let (folder, sheet, has_sheet) = plan(path)?;
    let mut runs = Vec::new();
    let count = sheet.runs.len();
    // A run knows nothing of the others yet: as many at a time as there are cores.
    for (done, plans) in sheet.runs.chunks(rayon::current_num_threads()).enumerate() {
        progress(done * rayon::current_num_threads(), count);
        runs.extend(plans.par_iter().flat_map_iter(|plan| review_run(&folder, plan, &sheet)).collect::<Vec<_>>());
    }
    progress(count, count);
    weigh_pinions(&mut runs, &sheet);
    weekend::heat::share(&mut runs);
    let race_s = sheet.race_length_s();
    let fans: Vec<_> = runs.iter().map(|r| next::without_fan(r, &runs, race_s)).collect();
    for (run, without_fan) in runs.iter_mut().zip(fans) {
        (run.next, run.without_fan) = (next::next(run, race_s), without_fan);
    }
    let (trends, comparisons) = (trends::trends(&runs, race_s), comparisons::comparisons(&runs, race_s));
    let mut findings: Vec<Finding> = runs
        .iter()
        .filter_map(|r| r.outcome.as_ref().ok().map(|o| findings::of_run(r, &o.answers)))
        .flatten()
        .collect();
    findings.extend(findings::of_weekend(&trends, &comparisons));
    findings::order(&mut findings);
    let notices = sheet_notices(&sheet);
    Ok(Review { sheet, has_sheet, runs, trends, comparisons, findings, notices })
}

/// The folder, and the sheet in it or one made up from the logs found.
fn plan(path: &Path) -> Result<(PathBuf, Sheet, bool), ReviewError> {
    let io = |source| ReviewError::Io { path: path.to_owned(), source };
    let about = std::fs::metadata(path).map_err(io)?;
    if about.is_file() {
        return Ok(plan_of_log(path));
    }
    let sheet_path = path.join(SHEET);
    if sheet_path.is_file() {
        let bytes =
            std::fs::read(&sheet_path).map_err(|source| ReviewError::Io { path: sheet_path.clone(), source })?;
        let text = String::from_utf8_lossy(&bytes);
        let sheet = sheet::read::read(text.trim_start_matches('\u{feff}')).map_err(ReviewError::Sheet)?;
        if !sheet.runs.is_empty() {
            return Ok((path.to_owned(), sheet, true));
        }
        let runs = find_logs(path).map_err(io)?;
        return if runs.is_empty() {
            Err(ReviewError::NoLogs(path.to_owned()))
        } else {
            Ok((path.to_owned(), Sheet { runs, ..sheet }, true))
        };
    }
    let runs = find_logs(path).map_err(io)?;
    if runs.is_empty() {
        return Err(ReviewError::NoLogs(path.to_owned()));
    }
    Ok((path.to_owned(), Sheet { runs, ..Sheet::default() }, false))
}

/// A lone log: with its entry on the sheet of its folder, or of the one above, where there is one.
fn plan_of_log(path: &Path) -> (PathBuf, Sheet, bool) {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned();
    let name = PathBuf::from(path.file_name().unwrap_or_default());
    let places = [
        (folder.clone(), name.clone()),
        (folder.join(".."), folder.file_name().map_or(name.clone(), |f| Path::new(f).join(&name))),
    ];
    for (root, log) in places {
        let text = std::fs::read_to_string(root.join(SHEET)).ok();
        if let Some(mut sheet) = text.and_then(|t| sheet::read::read(&t).ok()) {
            sheet.runs.retain(|r| r.log == log);
            if !sheet.runs.is_empty() {
                return (root, sheet, true);
            }
        }
    }
    (folder, Sheet { runs: vec![unplanned(name, None)], ..Sheet::default() }, false)
}

fn unplanned(log: PathBuf, laps: Option<PathBuf>) -> RunPlan {
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
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = PathBuf::from(entry.file_name());
        if entry.file_type()?.is_dir() && name != Path::new("report") && !name.to_string_lossy().starts_with('.') {
            for inner in std::fs::read_dir(entry.path())?.flatten() {
                files.push(name.join(inner.file_name()));
            }
        } else {
            files.push(name);
        }
    }
    files.retain(|f| {
        f.extension().is_some_and(|e| LOG_ENDINGS.contains(&e.to_string_lossy().to_lowercase().as_str()))
            && folder.join(f).is_file()
    });
    files.sort();
    let (lists, logs): (Vec<PathBuf>, Vec<PathBuf>) = files
        .into_iter()
        .partition(|f| f.parent().is_some_and(|p| p == Path::new("laps")) || is_lap_list(&folder.join(f)));
    let mut runs: Vec<RunPlan> = Vec::new();
    for log in logs {
        let list = lists.iter().find(|l| l.file_stem() == log.file_stem()).cloned();
        let mut run = unplanned(log, list);
        if runs.iter().any(|r| r.id == run.id) {
            run.id = run.log.to_string_lossy().into_owned();
        }
        runs.push(run);
    }
    Ok(runs)
}

/// A small file that reads as a lap list and not as a log.
fn is_lap_list(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|m| m.len() < 1 << 15)
        && import::read(path, &Hints::default()).is_err()
        && lists::read(path).is_ok()
}

/// Reviews one entry of the sheet: one run, or several where the file holds several.
fn review_run(folder: &Path, plan: &RunPlan, sheet: &Sheet) -> Vec<Run> {
    let failed = |failure: Failure| vec![Run::new(plan.clone(), Err(failure))];
    if let Some(mistake) = &plan.mistake {
        return failed(Failure { message: mistake.brief(), hint: Some(mistake.hint.clone()) });
    }
    let logs = match within(folder, &plan.log).and_then(|path| {
        import::read(&path, &hints(plan, sheet)).map_err(|e| Failure { hint: e.hint(), message: e.to_string() })
    }) {
        Ok(logs) => logs,
        Err(failure) => return failed(failure),
    };
    let (list, list_notice) = read_list(folder, plan);
    if let Some(part) = plan.part {
        let count = logs.len();
        return match logs.into_iter().nth(part - 1) {
            Some(log) => vec![answer(plan.clone(), log, list.as_ref(), list_notice, sheet)],
            None => failed(Failure {
                message: format!("`part = {part}`, but `{}` holds {count} runs", plan.log.display()),
                hint: Some(format!("between 1 and {count}")),
            }),
        };
    }
    let several = logs.len() > 1;
    let one = |(at, log): (usize, Log)| {
        let id = if several { format!("{}.{}", plan.id, at + 1) } else { plan.id.clone() };
        answer(RunPlan { id, ..plan.clone() }, log, list.as_ref(), list_notice.clone(), sheet)
    };
    logs.into_iter().enumerate().map(one).collect()
}

fn read_list(folder: &Path, plan: &RunPlan) -> (Option<LapList>, Option<Notice>) {
    let Some(path) = &plan.laps else { return (None, None) };
    let read = within(folder, path)
        .and_then(|p| lists::read(&p).map_err(|e| Failure { hint: Some(e.hint()), message: e.to_string() }));
    match read {
        Ok(list) => (Some(list), None),
        Err(failure) => {
            let notice = Notice::warning("no-lap-list", format!("{}; laps were found in the log", failure.message));
            (None, Some(notice.hint(failure.hint.unwrap_or_default())))
        }
    }
}

/// The file inside the folder; a link may not lead out of it.
fn within(folder: &Path, path: &Path) -> Result<PathBuf, Failure> {
    let full = folder.join(path);
    let escapes =
        folder.canonicalize().ok().zip(full.canonicalize().ok()).is_some_and(|(root, file)| !file.starts_with(root));
    if escapes {
        return Err(Failure {
            message: format!("`{}` is a link that leaves the weekend's folder", path.display()),
            hint: Some("copy the file into the folder".to_owned()),
        });
    }
    Ok(full)
}

fn hints(plan: &RunPlan, sheet: &Sheet) -> Hints {
    Hints {
        rules: sheet.import.rules.clone(),
        encoding: sheet.import.encoding.clone(),
        delimiter: sheet.import.delimiter,
        decimal: sheet.import.decimal,
        rate_hz: sheet.import.rate_hz,
        poles: plan.settings.number("motor.poles"),
    }
}

fn answer(plan: RunPlan, log: Log, list: Option<&LapList>, notice: Option<Notice>, sheet: &Sheet) -> Run {
    let expected = plan.settings.set_ratio().zip(plan.settings.tyre_mm()).zip(sheet.lap_length_m).map(
        |((ratio, tyre), (length, _))| (length * 1000.0 / measure::gearing::rollout_mm(tyre, ratio), EXPECTED_WIDTH),
    );
    let mut laps = laps::measure(Odometer::new(&log), list, expected);
    laps.notices.extend(notice);
    let answers = measure::measure(&log, &laps, &plan, sheet);
    Run::new(plan, Ok(Reviewed { log, laps, answers }))
}

/// Weighs the pinions of each car over all its runs and writes the verdicts into their answers.
fn weigh_pinions(runs: &mut [Run], sheet: &Sheet) {
    let mut by_car: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (at, run) in runs.iter().enumerate() {
        if run.outcome.as_ref().is_ok_and(|o| o.answers.gearing.evidence.is_some()) {
            by_car.entry(run.plan.car.clone()).or_default().push(at);
        }
    }
    for members in by_car.values() {
        let evidence: Vec<gearing::Run> = members
            .iter()
            .filter_map(|&at| {
                let evidence = runs[at].outcome.as_ref().ok()?.answers.gearing.evidence?;
                Some(gearing::Run { settings: &runs[at].plan.settings, evidence })
            })
            .collect();
        let weighed = gearing::weigh(&evidence, sheet.lap_length_m);
        for (&at, result) in members.iter().zip(weighed) {
            let (Ok(outcome), Some(weighed)) = (&mut runs[at].outcome, result) else { continue };
            let gearing = &mut outcome.answers.gearing;
            (gearing.verdict, gearing.fits) = (weighed.verdict, weighed.fits);
            gearing.why = gearing.why.take().or(weighed.why.map(str::to_owned));
        }
    }
}

fn sheet_notices(sheet: &Sheet) -> Vec<Notice> {
    let of = |m: &Mistake| Notice::warning("sheet", m.message.clone()).at(Some(m.line), 1).hint(m.hint.clone());
    sheet.mistakes.iter().map(of).collect()
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
