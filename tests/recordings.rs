//! Real recordings with truth, in a folder beside the checkout: wheelspin by ground speed, by the revs alone, and laps.
//!
//! The folder is not in the tree: `RUNTRUE_RECORDINGS` names it, else `../shared/real` beside the checkout is looked
//! at. Where it is missing, each test says so and passes. `cargo test --release --test recordings -- --ignored`.

use std::path::{Path, PathBuf};

use rstest::rstest;
use runtrue::statistics::quantiles::median;
use serde_json::Value;

/// How far spun seconds and the count of stretches may be off, as a share.
const WITHIN: f64 = 0.15;
/// How far the median lap may be off, as a share.
const LAP_WITHIN: f64 = 0.10;
/// Spun seconds by the revs alone of a car that grips, at most: a moment at a start or a lift.
const CLOSE_TO_NONE_S: f64 = 0.2;

/// The recording `name`; `None`, with a line that says so, where the folder is missing.
fn recording(name: &str) -> Option<PathBuf> {
    let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real");
    let folder = std::env::var_os("RUNTRUE_RECORDINGS").map_or_else(beside, PathBuf::from).join(name);
    if folder.is_dir() {
        return Some(folder);
    }
    println!("skipped: there is no {}", folder.display());
    None
}

/// The run of a recording as it is reviewed, with `change` made to its log.
fn reviewed(folder: &Path, change: impl Fn(String) -> String) -> Value {
    let copy = tempfile::tempdir().unwrap();
    let log = std::fs::read_to_string(folder.join("log.csv")).unwrap();
    std::fs::write(copy.path().join("log.csv"), change(log)).unwrap();
    std::fs::copy(folder.join("weekend.toml"), copy.path().join("weekend.toml")).unwrap();
    let review = runtrue::review::review(copy.path(), &|_, _| {}).unwrap();
    let said: Value = serde_json::from_str(&runtrue::review_file::text(&review)).unwrap();
    said["runs"][0].clone()
}

fn truth(folder: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json")).unwrap()).unwrap()
}

/// A log without the columns whose header begins so.
fn without(log: &str, header: &str) -> String {
    let names: Vec<&str> = log.lines().next().unwrap().split(',').collect();
    let kept = |line: &str| {
        let cells = line.split(',').zip(&names).filter(|(_, name)| !name.starts_with(header));
        cells.map(|(cell, _)| cell).collect::<Vec<_>>().join(",") + "\n"
    };
    log.lines().map(kept).collect()
}

fn seconds(run: &Value) -> f64 {
    run["wheelspin"]["seconds"].as_f64().unwrap_or(0.0)
}

fn count(run: &Value) -> usize {
    run["wheelspin"]["events"].as_array().unwrap().len()
}

/// By the ground speed, spun seconds and stretches are those of the truth.
#[rstest]
#[case("slip_a")]
#[case("slip_b")]
#[case("slip_c")]
#[case("slip_d")]
#[case("free_e")]
#[case("grip_f")]
#[case("grip_g")]
#[ignore = "needs recordings that are not in the tree"]
fn ground_speed_tells_wheelspin(#[case] name: &str) {
    let Some(folder) = recording(name) else { return };
    let (run, truth) = (reviewed(&folder, |log| log), truth(&folder));
    let (spun, stretches) = (truth["spun_s"].as_f64().unwrap(), truth["events"].as_array().unwrap().len());
    let said = format!("{:.2} s in {} for {spun:.2} s in {stretches}", seconds(&run), count(&run));
    println!("{name}: {said}");
    assert_eq!(run["wheelspin"]["can_tell"], true, "{name}");
    assert!((seconds(&run) - spun).abs() <= WITHIN * spun + 1e-9, "{name}: {said}");
    assert!((count(&run) as f64 - stretches as f64).abs() <= WITHIN * stretches as f64, "{name}: {said}");
}

/// By the revs alone, a car that grips does not spin: least of all where it starts from standing.
#[rstest]
#[case("slip_c")]
#[case("slip_d")]
#[case("grip_f")]
#[case("grip_g")]
#[ignore = "needs recordings that are not in the tree"]
fn revs_alone_tell_no_wheelspin_where_the_tyres_grip(#[case] name: &str) {
    let Some(folder) = recording(name) else { return };
    let run = reviewed(&folder, |log| without(&log, "GPS"));
    println!("{name}: {} in {} s, {}", count(&run), seconds(&run), run["wheelspin"]["why"]);
    assert!(seconds(&run) <= CLOSE_TO_NONE_S, "{name}: {}", run["wheelspin"]);
}

/// What the revs alone say of recordings with wheelspin.
#[rstest]
#[case("slip_a")]
#[case("slip_b")]
#[case("free_e")]
#[ignore = "prints, checks nothing"]
fn prints_what_the_revs_alone_say(#[case] name: &str) {
    let Some(folder) = recording(name) else { return };
    let (run, truth) = (reviewed(&folder, |log| without(&log, "GPS")), truth(&folder));
    println!("{name}: {} in {:.2} s, {} for {}", count(&run), seconds(&run), run["wheelspin"]["why"], truth["spun_s"]);
}

/// Laps that are found are the truth's and no halves of them, and wheels that cannot spin do not.
#[rstest]
#[case("laps_h")]
#[case("laps_i")]
#[case("laps_k")]
#[ignore = "needs recordings that are not in the tree"]
fn laps_are_whole_or_none(#[case] name: &str) {
    let Some(folder) = recording(name) else { return };
    let (run, truth) = (reviewed(&folder, |log| log), truth(&folder));
    let middle = median(truth["laps_s"].as_array().unwrap().iter().map(|lap| lap.as_f64().unwrap())).unwrap();
    println!("{name}: {} laps of {}, {} s spun", run["laps"]["count"], run["laps"]["median_s"], seconds(&run));
    if let Some(found) = run["laps"]["median_s"].as_f64() {
        assert!((found / middle - 1.0).abs() < LAP_WITHIN, "{name}: {found} for {middle}");
    }
    assert!(seconds(&run) == 0.0, "{name}: {}", run["wheelspin"]);
}
