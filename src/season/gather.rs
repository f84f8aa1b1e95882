//! A reviewed weekend as rows of the season's tables.
//!
//! What goes in is the review's own file, `review.json`: a weekend whose logs stay elsewhere can be gathered by it alone. Where the folder has none, or
//! the sheet, a log or a list is newer, the weekend is reviewed in passing and its file left as it is.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde_json::{Map, Value, json};

use super::schema::{EFFECTS, EVENTS, FIGURES, FIGURES_OF_A_RUN, KEYS, LAPS, RUNS, Table};
use crate::folder::{self, FolderError, Plan, SHEET, stamp};
use crate::notice::printable;
use crate::report::json;
use crate::review;

/// The review's file in a weekend's folder.
const REVIEW: &str = "report/review.json";
/// Longest name of a weekend's partition.
const LONGEST_KEY: usize = 80;

/// A weekend as the season takes it in.
#[derive(Debug, Clone, PartialEq)]
pub struct Weekend {
    /// Its folder.
    pub folder: PathBuf,
    /// Its day.
    pub date: Date,
    /// Name of its partition: day and name, in letters, digits and dashes.
    pub key: String,
    /// Whether it had to be reviewed.
    pub reviewed_anew: bool,
    /// Its logs that could be read, each by its name, rows, duration and what it showed: the same weekend under another name or date is told by them.
    pub logs: BTreeSet<String>,
    /// Rows of each table, each an object with the table's columns under their pointers.
    pub rows: Vec<(Table, Vec<Value>)>,
}

/// Why a weekend is not in the season.
#[derive(Debug, thiserror::Error)]
pub enum GatherError {
    /// It could not be reviewed.
    #[error(transparent)]
    Review(#[from] folder::FolderError),
    /// Its review cannot be read.
    #[error("`{path}` could not be read: {message}")]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        message: String,
    },
    /// It has no date: a season has an order.
    #[error("`{path}`: the weekend has no date{seen}")]
    NoDate {
        /// Its folder.
        path: PathBuf,
        /// What stands there instead.
        seen: String,
    },
}

impl GatherError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Review(e) => e.hint(),
            Self::File { .. } => "review the weekend again: `runtrue review`".to_owned(),
            Self::NoDate { .. } => {
                format!("write it under `[weekend]` in {SHEET}, such as `date = 2026-05-16`, and review the weekend")
            }
        }
    }
}

/// Folders within folders in which weekends are looked for.
const DEEPEST: usize = 3;

/// The weekends that the paths name: each a weekend's folder, or a folder that holds such folders, in order.
pub fn weekends(paths: &[PathBuf]) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = Vec::new();
    for path in paths {
        let before = found.len();
        look(path, DEEPEST, &mut found);
        // What holds nothing is kept: gathering it says what is wrong with it.
        if found.len() == before && !found.contains(path) {
            found.push(path.clone());
        }
    }
    let mut seen = Vec::new();
    found.retain(|path| {
        let real = path.canonicalize().unwrap_or_else(|_| path.clone());
        let new = !seen.contains(&real);
        seen.push(real);
        new
    });
    found
}

fn look(path: &Path, depth: usize, found: &mut Vec<PathBuf>) {
    // Logs without a sheet are a weekend that lacks its date: it is not passed over.
    if path.join(SHEET).is_file() || path.join(REVIEW).is_file() || holds_logs(path) || holds_logs(&path.join("logs")) {
        found.push(path.to_owned());
    } else if depth > 0 {
        let entries = std::fs::read_dir(path).into_iter().flatten().flatten();
        // A link may lead round in a circle.
        let folders = entries.filter(|e| e.file_type().is_ok_and(|t| t.is_dir()));
        let mut folders: Vec<PathBuf> = folders.map(|e| e.path()).collect();
        folders.sort();
        folders.iter().for_each(|f| look(f, depth - 1, found));
    }
}

fn holds_logs(folder: &Path) -> bool {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|e| e.path()).any(|p| folder::may_be_log(&p) && p.is_file())
}

/// Gathers the weekend in `folder`.
///
/// # Errors
/// [`GatherError`].
pub fn gather(folder: &Path) -> Result<Weekend, GatherError> {
    let path = folder.join(REVIEW);
    let plan = folder::plan(folder);
    let fresh = is_fresh(folder, &path, &plan);
    let broken = |message: String| GatherError::File { path: path.clone(), message };
    let (mut file, mut reviewed_anew) = (Value::Null, !fresh);
    if fresh {
        let text = std::fs::read_to_string(&path).map_err(|e| broken(e.to_string()))?;
        file = serde_json::from_str(&text).map_err(|e| broken(e.to_string()))?;
        reviewed_anew = plan.is_ok_and(|plan| has_more_logs(folder, &plan, &file));
    }
    if reviewed_anew {
        file = serde_json::to_value(json::file(&review::review(folder, &|_, _| {})?))
            .map_err(|e| broken(e.to_string()))?;
    }
    if file["format"] != json::FORMAT {
        let named = file["format"].as_str().map_or("no format".to_owned(), |f| format!("`{}`", printable(f, 40)));
        return Err(broken(format!("it names {named}, not `{}`", json::FORMAT)));
    }
    if !file["weekend"].is_object() {
        return Err(broken("it tells nothing of the weekend".to_owned()));
    }
    let weekend = of_review(folder, &file)?;
    let mut ids = BTreeSet::new();
    if let Some(twice) = list(&file["runs"]).map(|r| plain(&r["id"])).find(|id| !ids.insert(id.clone())) {
        return Err(broken(format!("the run `{}` stands in it twice", printable(&twice, 40))));
    }
    if ids.is_empty() {
        return Err(broken("it tells of no run".to_owned()));
    }
    Ok(Weekend { reviewed_anew, ..weekend })
}

/// Whether the review is there and no input of it is newer.
fn is_fresh(folder: &Path, review: &Path, plan: &Result<Plan, FolderError>) -> bool {
    let Some((_, reviewed, _)) = stamp(review) else { return false };
    let newer = |path: &Path| stamp(path).is_some_and(|(_, changed, _)| changed > reviewed);
    let plan = match plan {
        Ok(plan) => plan,
        // A review by itself has no logs beside it; a sheet that cannot be read is the weekend's own error.
        Err(e) => return matches!(e, FolderError::NoLogs(_)) || !folder.join(SHEET).is_file(),
    };
    let mut inputs = plan.sheet.runs.iter().flat_map(|r| std::iter::once(&r.log).chain(r.laps.as_ref()));
    !newer(&folder.join(SHEET)) && !inputs.any(|i| newer(&folder.join(i)))
}

/// Whether the folder holds a log that the review does not tell of, such as one copied there with its old time.
fn has_more_logs(folder: &Path, plan: &Plan, file: &Value) -> bool {
    let told: BTreeSet<String> = list(&file["runs"]).map(|r| plain(&r["log"])).collect();
    let new = |log: &PathBuf| !told.contains(&folder::plain_path(log)) && folder.join(log).is_file();
    plan.sheet.runs.iter().any(|r| new(&r.log))
}

/// The weekend that a review's file tells of.
///
/// # Errors
/// [`GatherError::NoDate`].
pub fn of_review(folder: &Path, file: &Value) -> Result<Weekend, GatherError> {
    let about = &file["weekend"];
    let written = about["date"].as_str().unwrap_or_default();
    let seen = if written.is_empty() { String::new() } else { format!(", but `{}`", printable(written, 40)) };
    let date: Date = written
        .get(..10)
        .and_then(|d| d.parse().ok())
        .ok_or_else(|| GatherError::NoDate { path: folder.to_owned(), seen })?;
    let name = match about["name"].as_str() {
        Some(name) if !name.trim().is_empty() => name.to_owned(),
        _ => crate::sheet::starter::name_of(folder),
    };
    let track = about["track"].as_str().unwrap_or(&name);
    let shared = json!({ "date": date.to_string(), "name": name, "track": track, "surface": about["surface"] });
    let runs: Vec<Value> = list(&file["runs"]).enumerate().map(|(at, run)| of_run(run, at, &shared)).collect();
    let each = |of: fn(&Value) -> Vec<Value>| runs.iter().flat_map(of).collect::<Vec<_>>();
    let effects = list(&file["comparisons"]).flat_map(|c| effects(c, &shared)).collect();
    let rows = vec![
        (LAPS, each(laps)),
        (EVENTS, each(events)),
        (FIGURES, each(figures)),
        (KEYS, each(keys)),
        (EFFECTS, effects),
        (RUNS, runs),
    ];
    let logs = list(&file["runs"]).filter(|r| r["error"].is_null()).map(log_of).collect();
    Ok(Weekend { folder: folder.to_owned(), date, key: key(date, &name), reviewed_anew: false, logs, rows })
}

fn list(value: &Value) -> impl Iterator<Item = &Value> {
    value.as_array().into_iter().flatten()
}

/// A run's log by its name, rows and duration, and by what of it no sheet can change.
fn log_of(run: &Value) -> String {
    const SHOWN: [&str; 8] = [
        "/reading/rows_in",
        "/reading/duration_s",
        "/battery/used_wh",
        "/battery/used_mah",
        "/battery/lowest_v",
        "/heat/motor/peak_c",
        "/heat/controller/peak_c",
        "/power/top_rpm",
    ];
    let name = plain(&run["log"]).replace([':', '\n'], "_");
    SHOWN.iter().fold(name, |id, at| id + ":" + &run.pointer(at).map_or(String::new(), plain))
}

/// Day and name in letters, digits and dashes: a folder's name on any system, and a partition's for any engine. A name that is not all in it is told
/// from others by a number made of it.
fn key(date: Date, name: &str) -> String {
    let day = date.to_string();
    let plain = |c: char| c.is_ascii_alphanumeric();
    let lower = name.to_lowercase();
    let words: Vec<&str> = lower.split(|c| !plain(c)).filter(|w| !w.is_empty()).collect();
    let key = [day.as_str()].into_iter().chain(words.iter().copied()).collect::<Vec<_>>().join("-");
    let whole = !words.is_empty() && key.len() <= LONGEST_KEY && lower.is_ascii();
    if whole {
        return key;
    }
    let number = fnv_1a(name.as_bytes());
    format!("{}-{number:016x}", &key[..key.len().min(LONGEST_KEY - 17)])
}

/// Tells a folder from others without naming it.
pub fn mark_of(folder: &Path) -> String {
    let real = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    format!("{:016x}", fnv_1a(real.to_string_lossy().as_bytes()))
}

/// FNV-1a, 64 bits (IETF draft-eastlake-fnv): the same on every machine and in every version.
fn fnv_1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, b| (hash ^ u64::from(*b)).wrapping_mul(0x0100_0000_01b3))
}

/// A run's part of the file with what the tables need beside it.
fn of_run(run: &Value, at: usize, shared: &Value) -> Value {
    let mut row = with(run, shared);
    let setting = |key: &str| {
        let named = [&run["settings"][key], &run["car"]].into_iter().find(|v| !v.is_null()).map(plain);
        named.filter(|n| !n.is_empty())
    };
    let counted = list(&run["laps"]["rows"]).filter(|l| l["set_aside"].is_null()).count();
    row["position"] = json!(at + 1);
    row["motor"] = json!(setting("motor.name"));
    row["pack"] = json!(setting("battery.name"));
    row["laps_counted"] = if run["laps"].is_null() { Value::Null } else { json!(counted) };
    let rise = |m: &Value| {
        let (air, end) = (run["ambient_c"].as_f64()?, &m["race_end_c"]);
        let above = |of: &str| Some(end[of].as_f64()? - air);
        Some((above("value")?, above("low")?, above("high")?))
    };
    if let Some((value, low, high)) = rise(&run["heat"]["motor"]) {
        row["motor_rise_k"] = json!({ "value": value, "low": low, "high": high });
        if let Some(w) = run["power"]["mean_w"].as_f64().filter(|w| *w > 0.0) {
            row["motor_rise_k_per_w"] = json!({ "value": value / w, "low": low / w, "high": high / w });
        }
    }
    row
}

/// An object with the weekend's own fields in it.
fn with(row: &Value, shared: &Value) -> Value {
    let mut all: Map<String, Value> = row.as_object().cloned().unwrap_or_default();
    all.extend(shared.as_object().cloned().unwrap_or_default());
    Value::Object(all)
}

/// The run that a row belongs to.
fn of(run: &Value) -> Value {
    json!({ "date": run["date"], "id": run["id"], "car": run["car"] })
}

fn laps(run: &Value) -> Vec<Value> {
    list(&run["laps"]["rows"]).map(|l| with(l, &of(run))).collect()
}

fn events(run: &Value) -> Vec<Value> {
    list(&run["wheelspin"]["events"])
        .map(|e| {
            let mut row = with(e, &of(run));
            row["kind"] = json!("wheelspin");
            row
        })
        .collect()
}

fn figures(run: &Value) -> Vec<Value> {
    let figure = |&(name, unit, from): &(&str, &str, &str)| {
        let seen = run.pointer(from).filter(|v| !v.is_null())?;
        let mut row = of(run);
        (row["of"], row["unit"]) = (json!(name), json!(unit));
        match seen.as_f64() {
            Some(value) => row["value"] = json!(value),
            None => {
                for end in ["value", "low", "high"] {
                    row[end] = seen[end].clone();
                }
            }
        }
        Some(row)
    };
    FIGURES_OF_A_RUN.iter().filter_map(figure).collect()
}

fn keys(run: &Value) -> Vec<Value> {
    let settings = run["settings"].as_object().into_iter().flatten();
    settings
        .map(|(key, value)| {
            let mut row = of(run);
            (row["key"], row["text"], row["number"]) = (json!(key), json!(plain(value)), value.clone());
            row
        })
        .collect()
}

/// A value of the sheet in words.
fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Number(n) => n.as_f64().map_or_else(|| n.to_string(), |n| n.to_string()),
        Value::Null => String::new(),
        other => other.to_string(),
    }
}

fn effects(comparison: &Value, shared: &Value) -> Vec<Value> {
    let together: Vec<&str> = list(&comparison["together_with"]).filter_map(Value::as_str).collect();
    let set = |value: &Value| (!value.is_null()).then(|| plain(value));
    let row = |effect: &Value| {
        effect["difference"].as_object().map(|m| {
            json!({
                "date": shared["date"], "car": comparison["car"], "key": comparison["key"],
                "from": set(&comparison["from"]), "to": set(&comparison["to"]), "of": effect["of"],
                "difference": m["value"], "low": m["low"], "high": m["high"],
                "together_with": if together.is_empty() { Value::Null } else { json!(together.join(", ")) },
            })
        })
    };
    list(&comparison["effects"]).filter_map(row).collect()
}
