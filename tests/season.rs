//! A season gathered from invented weekends: what the model was told is found, what it was not is not, and each
//! weekend's files are its own.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use runtrue::demo::season::{PACK_AGES_A_MONTH, invent};
use runtrue::review_file::read;
use runtrue::season::{gather, partition, schema, store, tabulate};
use runtrue::weekend::trends::Verdict;
use serde_json::{Value, json};

fn runtrue(arguments: &[&std::ffi::OsStr]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_runtrue")).args(arguments).output().unwrap()
}

fn season(paths: &[&Path], root: &Path, more: &[&str]) -> Output {
    let mut arguments: Vec<&std::ffi::OsStr> = vec!["season".as_ref(), "--out".as_ref(), root.as_os_str()];
    arguments.extend(paths.iter().map(|p| p.as_os_str()));
    arguments.extend(more.iter().map(std::ffi::OsStr::new));
    runtrue(&arguments)
}

fn words(output: &[u8]) -> String {
    // The terminal's lines are wrapped.
    String::from_utf8_lossy(output).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Weekends in the answers that were printed.
fn count(output: &Output) -> usize {
    serde_json::from_slice::<Value>(&output.stdout).unwrap()["weekends"].as_array().unwrap().len()
}

/// Writes the first weekends of a season and gives their folders.
fn weekends(folder: &Path, seed: u64, count: u8) -> Vec<PathBuf> {
    let rounds = invent(seed, count);
    for round in &rounds {
        round.weekend.write(&folder.join(&round.folder)).unwrap();
    }
    rounds.iter().map(|r| folder.join(&r.folder)).collect()
}

#[test]
fn a_pack_that_ages_is_told_from_one_that_does_not() {
    for seed in [11, 12] {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().join("season");
        for weekend in weekends(&folder.path().join("w"), seed, 6) {
            store::write(&root, &gather::gather(&weekend).unwrap()).unwrap();
        }
        let (answers, broken) = runtrue::season::answers::answers(&root).unwrap();
        assert!(broken.is_empty());
        assert_eq!(answers.weekends.len(), 6);
        let resistance = |name: &str| &answers.packs.iter().find(|p| p.name == name).unwrap().figures[0];
        let aged = resistance("pack 1");
        assert_eq!(aged.verdict, Verdict::Rising, "{aged:?}");
        // The invented pack has 9.2 mΩ, and a weekend a month, within a fortnight.
        let (low, high) = (aged.low.unwrap(), aged.high.unwrap());
        assert!((low..high).contains(&(9.2 * PACK_AGES_A_MONTH)), "{low} to {high}");
        let sound = resistance("saddle A");
        assert!(!matches!(sound.verdict, Verdict::Rising | Verdict::Falling), "{sound:?}");
        // A tooth more: fewer revs, in every season.
        let revs = answers
            .settings
            .iter()
            .find(|s| s.car == "tourer" && s.key == "pinion" && s.from.as_deref() == Some("31") && s.of == "top_rpm");
        assert!(revs.unwrap().difference.unwrap().high < 0.0, "{revs:?}");
        // Each gearing on each track, and every figure of it.
        assert_eq!(answers.gearing.len(), 3 * (3 + 2));
        assert!(answers.gearing.iter().all(|g| g.weekends == 2 && g.figures.iter().all(Option::is_some)));
    }
}

#[test]
fn a_weekend_gathered_again_replaces_its_own_files_and_no_others() {
    let folder = tempfile::tempdir().unwrap();
    let folders = weekends(folder.path(), 5, 2);
    let root = folder.path().join("season");
    assert!(season(&[&folders[0], &folders[1]], &root, &[]).status.success());
    let bytes = |weekend: &partition::Partition| {
        let of = |table: &&str| {
            let part = format!("year={}/weekend={}/part-0.parquet", weekend.year, weekend.weekend);
            std::fs::read(root.join(table).join(part)).unwrap()
        };
        schema::TABLE_NAMES.iter().map(of).collect::<Vec<_>>()
    };
    let partitions = store::partitions(&root).unwrap();
    assert_eq!(partitions.len(), 2);
    let before: Vec<_> = partitions.iter().map(bytes).collect();
    let sheet = folders[0].join("weekend.toml");
    let text = std::fs::read_to_string(&sheet).unwrap().replace("pinion = 30\n", "pinion = 30\nwing = \"low\"\n");
    std::fs::write(&sheet, text).unwrap();
    assert!(season(&[&folders[0]], &root, &[]).status.success());
    let after: Vec<_> = partitions.iter().map(bytes).collect();
    assert_ne!(before[0], after[0]);
    assert_eq!(before[1], after[1]);
    // What is in the data set stays in its answers, until it is asked to go.
    assert_eq!(count(&season(&[&folders[0]], &root, &["--format", "json"])), 2);
    assert_eq!(count(&season(&[&folders[0]], &root, &["--format", "json", "--only"])), 1);
    assert_eq!(store::partitions(&root).unwrap(), partitions[..1]);
    let kept = std::fs::read_to_string(root.join("season.json")).unwrap();
    assert_eq!(serde_json::from_str::<Value>(&kept).unwrap()["format"], schema::ANSWERS_FORMAT);
}

#[test]
fn a_review_alone_is_enough_and_a_stale_one_is_not_believed() {
    let folder = tempfile::tempdir().unwrap();
    let whole = weekends(folder.path(), 6, 1).remove(0);
    assert!(runtrue(&["review".as_ref(), whole.as_os_str()]).status.success());
    let lone = folder.path().join("by post");
    std::fs::create_dir_all(lone.join("report")).unwrap();
    std::fs::copy(whole.join("report/review.json"), lone.join("report/review.json")).unwrap();
    let (with, without) = (gather::gather(&whole).unwrap(), gather::gather(&lone).unwrap());
    assert!(!with.reviewed_anew && !without.reviewed_anew);
    assert_eq!(with.rows, without.rows);
    // A log that changed after the review: its rows are the new ones.
    let log = whole.join("logs/t1.csv");
    let bytes = std::fs::read(&log).unwrap();
    std::fs::write(&log, &bytes[..bytes.len() / 2]).unwrap();
    let later = std::time::SystemTime::now() + std::time::Duration::from_secs(5);
    std::fs::File::options().append(true).open(&log).unwrap().set_modified(later).unwrap();
    let again = gather::gather(&whole).unwrap();
    assert!(again.reviewed_anew);
    assert_ne!(again.rows, with.rows);
}

#[test]
fn what_cannot_be_gathered_is_said_and_the_rest_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let good = weekends(folder.path(), 7, 1).remove(0);
    let root = folder.path().join("season");
    let with = |name: &str, file: Value| {
        let path = folder.path().join(name).join("report");
        std::fs::create_dir_all(&path).unwrap();
        std::fs::write(path.join("review.json"), file.to_string()).unwrap();
        path.parent().unwrap().to_owned()
    };
    let undated = with(
        "undated",
        json!({ "format": "runtrue review 1", "weekend": { "date": "in May" }, "runs": [{ "id": "r" }] }),
    );
    let foreign = with("foreign", json!({ "format": "another 7" }));
    let nothing = folder.path().join("nothing");
    let some = season(&[&undated, &foreign, &nothing, &good], &root, &[]);
    let said = words(&some.stderr);
    assert!(some.status.success(), "{said}");
    for part in ["no date: `in May` is not one", "`another 7`", "nothing", "hint:"] {
        assert!(said.contains(part), "{part} in {said}");
    }
    let none = season(&[&undated, &nothing], &root, &[]);
    assert_eq!(none.status.code(), Some(1));
    // Twice the same weekend would count its runs twice.
    let twin = folder.path().join("twin");
    invent(7, 1)[0].weekend.write(&twin).unwrap();
    let twice = season(&[&good, &twin], &root, &["--format", "json"]);
    assert!(words(&twice.stderr).contains("has the same date and name as"), "{}", words(&twice.stderr));
    assert_eq!(count(&twice), 1);
    // A weekend that was named and could not be gathered is not taken out for that.
    let other = weekends(&folder.path().join("more"), 8, 2).remove(1);
    assert_eq!(count(&season(&[&other, &good], &root, &["--format", "json"])), 2);
    std::fs::create_dir_all(other.join("report")).unwrap();
    std::fs::write(other.join("report/review.json"), "{").unwrap();
    let only = season(&[&other, &good], &root, &["--format", "json", "--only"]);
    assert!(words(&only.stderr).contains("no weekend was removed"), "{}", words(&only.stderr));
    assert_eq!(count(&only), 2);
    // A file of the data set that is none is named, and its weekend left out of the answers.
    let partition = &store::partitions(&root).unwrap()[0];
    std::fs::write(root.join(partition.file(schema::RUNS)), b"torn").unwrap();
    let broken = season(&[&other], &root, &["--format", "json"]);
    assert!(!broken.status.success());
    // Nothing tells it from somebody's own file: it is moved away by hand.
    let kept = season(&[&good], &root, &["--format", "json"]);
    assert!(words(&kept.stderr).contains("does not look like a file that runtrue wrote"), "{}", words(&kept.stderr));
    assert_eq!(std::fs::read(root.join(partition.file(schema::RUNS))).unwrap(), b"torn");
    std::fs::remove_file(root.join(partition.file(schema::RUNS))).unwrap();
    assert_eq!(count(&season(&[&good], &root, &["--format", "json"])), 2);
    std::fs::remove_file(root.join(partition.file(schema::FIGURES))).unwrap();
    let more = weekends(&folder.path().join("third"), 9, 3).remove(2);
    let lost = season(&[&more], &root, &["--format", "json"]);
    assert!(words(&lost.stderr).contains("figures"), "{}", words(&lost.stderr));
    assert_eq!(count(&lost), 2);
}

#[test]
fn a_weekend_under_another_name_is_the_same_weekend() {
    let folder = tempfile::tempdir().unwrap();
    let weekend = weekends(folder.path(), 3, 1).remove(0);
    let root = folder.path().join("season");
    assert_eq!(count(&season(&[&weekend], &root, &["--format", "json"])), 1);
    let sheet = weekend.join("weekend.toml");
    let text = std::fs::read_to_string(&sheet).unwrap().replace("round 1", "round one");
    std::fs::write(&sheet, text).unwrap();
    let renamed = season(&[&weekend], &root, &[]);
    assert!(words(&renamed.stderr).contains("held the same logs"), "{}", words(&renamed.stderr));
    assert_eq!(count(&season(&[&weekend], &root, &["--format", "json"])), 1);
    assert!(store::partitions(&root).unwrap()[0].weekend.ends_with("round-one"));
}

/// Tables without a row, of weekends with one run or with none that could be reviewed, are tables.
#[test]
fn a_weekend_of_little_is_a_weekend() {
    let folder = tempfile::tempdir().unwrap();
    let whole = weekends(folder.path(), 4, 1).remove(0);
    let root = folder.path().join("season");
    let lone = folder.path().join("lone");
    let bad = folder.path().join("bad");
    for (path, name, log) in [(&lone, "Lone", true), (&bad, "Bad", false)] {
        std::fs::create_dir_all(path.join("logs")).unwrap();
        let sheet = format!(
            "[weekend]\nname = \"{name}\"\ndate = 2026-03-01\n[cars.tourer]\nbattery.name = 7\n[[runs]]\nid = \"r\"\ncar = \"tourer\"\nlog = \"logs/t1.csv\"\n"
        );
        std::fs::write(path.join("weekend.toml"), sheet).unwrap();
        let bytes = if log { std::fs::read(whole.join("logs/t1.csv")).unwrap() } else { b"no log\n".to_vec() };
        std::fs::write(path.join("logs/t1.csv"), bytes).unwrap();
    }
    let all = season(&[&whole, &lone, &bad], &root, &["--format", "json"]);
    assert!(all.status.success() && all.stderr.is_empty(), "{}", words(&all.stderr));
    assert_eq!(count(&all), 3);
    let answers: Value = serde_json::from_slice(&all.stdout).unwrap();
    let packs: Vec<&str> = answers["packs"].as_array().unwrap().iter().map(|p| p["name"].as_str().unwrap()).collect();
    // A pack may have a number for its name.
    assert!(packs.contains(&"7") && packs.contains(&"pack 1"), "{packs:?}");
    let schema: Value = serde_json::from_slice(&runtrue(&["season".as_ref(), "--schema".as_ref()]).stdout).unwrap();
    let validator = jsonschema::validator_for(&schema["answers"]).unwrap();
    assert!(validator.is_valid(&answers), "{:?}", validator.iter_errors(&answers).next().map(|e| e.to_string()));
}

#[test]
fn a_folder_of_folders_is_looked_through_and_logs_without_a_sheet_are_not_passed_over() {
    let folder = tempfile::tempdir().unwrap();
    let parent = folder.path().join("club");
    let made = weekends(&parent.join("2026"), 2, 2);
    std::fs::remove_file(made[1].join("weekend.toml")).unwrap();
    let said = season(&[&parent], &folder.path().join("season"), &["--format", "json"]);
    assert_eq!(count(&said), 1);
    assert!(words(&said.stderr).contains("no date") && words(&said.stderr).contains("hint"), "{}", words(&said.stderr));
    assert_eq!(gather::weekends(&[parent.clone(), made[0].clone()]), made);
}

#[test]
fn names_of_every_kind_become_folders_and_stay_apart() {
    let key = |name: &str| {
        let file = json!({ "format": "runtrue review 1", "weekend": { "date": "2026-05-16", "name": name }, "runs": [{ "id": "r" }] });
        let review = read::read(&file.to_string()).unwrap();
        tabulate::weekend(Path::new("x"), review, runtrue::figure::FIGURES).unwrap().partition.weekend
    };
    let (long, longer) = (format!("{} Saturday", "x ".repeat(60)), format!("{} Sunday", "x ".repeat(60)));
    let names =
        ["../../etc", "Läufe", "Laufe", "a=b/c%2F", "春の大会", "秋の大会", "🏁", "🏆", &long, &longer, "con", ". ."]
            .map(key);
    for name in &names {
        assert!(name.len() <= 80 && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'), "{name}");
        // No engine takes it for a date.
        assert!(name.parse::<jiff::civil::Date>().is_err(), "{name}");
    }
    let mut apart = names.to_vec();
    apart.sort();
    apart.dedup();
    assert_eq!(apart.len(), names.len());
}

/// A weekend of one log that a recorder always names and ends alike.
fn of_one_log(folder: &Path, name: &str, date: &str, revs: u32) -> PathBuf {
    let path = folder.join(format!("{name} {date} {revs}"));
    std::fs::create_dir_all(&path).unwrap();
    let sheet = format!(
        "[weekend]\nname = \"{name}\"\ndate = {date}\n[[runs]]\nid = \"r\"\nlog = \"run1.csv\"\n[cars.a]\nspur = 80\npinion = 30\n"
    );
    std::fs::write(path.join("weekend.toml"), sheet).unwrap();
    let row = |n: u32| format!("{:.1},{},7.4\n", f64::from(n) / 10.0, revs + 100 * (n % 40));
    let log = format!("time s,rpm,voltage V\n{}", (0..300).map(row).collect::<String>());
    std::fs::write(path.join("run1.csv"), log).unwrap();
    path
}

#[test]
fn weekends_whose_logs_are_named_alike_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let (root, json) = (folder.path().join("season"), ["--format", "json"]);
    let of = |name: &str, date: &str, revs: u32| of_one_log(folder.path(), name, date, revs);
    let (one, two) = (of("January", "2026-01-03", 5000), of("February", "2026-02-03", 6000));
    assert_eq!(count(&season(&[&one, &two], &root, &json)), 2);
    // Another entrant of the same round, by name: it goes over none.
    let ben = of("January", "2026-01-03", 7000);
    let refused = season(&[&ben], &root, &json);
    assert!(words(&refused.stderr).contains("in the data set, but other logs"), "{}", words(&refused.stderr));
    assert_eq!(count(&season(&[&one], &root, &json)), 2);
    // The same logs twice in one call count once, and the first stays.
    let copy = of("Copy of January", "2026-01-03", 5000);
    let twice = season(&[&one, &copy], &root, &json);
    assert!(words(&twice.stderr).contains("holds the same logs as"), "{}", words(&twice.stderr));
    assert_eq!(count(&twice), 2);
    // A weekend that gained a run under another name is itself still.
    let later = folder.path().join("later");
    std::fs::rename(&one, &later).unwrap();
    let text = std::fs::read_to_string(later.join("weekend.toml")).unwrap().replace("January", "First round");
    std::fs::write(later.join("weekend.toml"), text + "[[runs]]\nid = \"s\"\nlog = \"run2.csv\"\n").unwrap();
    std::fs::copy(two.join("run1.csv"), later.join("run2.csv")).unwrap();
    assert_eq!(count(&season(&[&later], &root, &json)), 2);
}

#[test]
fn a_review_that_is_behind_its_folder_is_not_believed() {
    let folder = tempfile::tempdir().unwrap();
    let weekend = of_one_log(folder.path(), "x", "2026-01-03", 5000);
    let sheet = std::fs::read_to_string(weekend.join("weekend.toml")).unwrap();
    let without_runs = sheet.split("[[runs]]").next().unwrap().to_owned();
    std::fs::write(weekend.join("weekend.toml"), &without_runs).unwrap();
    assert!(runtrue(&["review".as_ref(), weekend.as_os_str()]).status.success());
    assert!(!gather::gather(&weekend).unwrap().reviewed_anew);
    // A log that was copied there with its old time.
    let new = weekend.join("run2.csv");
    std::fs::copy(weekend.join("run1.csv"), &new).unwrap();
    let old = std::time::SystemTime::now() - std::time::Duration::from_secs(90_000);
    std::fs::File::options().append(true).open(&new).unwrap().set_modified(old).unwrap();
    let gathered = gather::gather(&weekend).unwrap();
    assert!(gathered.reviewed_anew && gathered.origin.logs.len() == 2);
    // A sheet that cannot be read any more is the weekend's error, not a reason to believe the old review.
    std::fs::write(weekend.join("weekend.toml"), without_runs + "= =\n").unwrap();
    assert!(gather::gather(&weekend).unwrap_err().to_string().contains("sheet"));
}

#[test]
fn reviews_that_others_made_are_checked() {
    let folder = tempfile::tempdir().unwrap();
    let whole = weekends(folder.path(), 4, 1).remove(0);
    let root = folder.path().join("season");
    let lone = folder.path().join("lone");
    std::fs::create_dir_all(lone.join("report")).unwrap();
    let head = json!({ "date": "2026-01-03", "name": "x" });
    for (runs, said) in [
        (json!([]), "it has no runs"),
        (json!("hello"), "expected a sequence at line 1 column"),
        (json!([{ "id": "r" }, { "id": "r" }]), "two runs with the id `r`"),
    ] {
        let file = json!({ "format": "runtrue review 1", "weekend": head, "runs": runs });
        std::fs::write(lone.join("report/review.json"), file.to_string()).unwrap();
        let output = season(&[&lone, &whole], &root, &["--format", "json"]);
        assert!(words(&output.stderr).contains(said), "{}", words(&output.stderr));
        assert_eq!(count(&output), 1);
    }
    // Runs of which nothing is known are runs.
    let file = json!({ "format": "runtrue review 1", "weekend": head, "runs": [{ "id": "r" }, { "id": "s" }] });
    std::fs::write(lone.join("report/review.json"), file.to_string()).unwrap();
    assert_eq!(count(&season(&[&lone], &root, &["--format", "json"])), 2);
}

/// Adding a figure to the catalogue is all that its columns and rows need.
#[test]
fn the_tables_hold_the_figures_of_the_catalogue() {
    let review = json!({ "format": "runtrue review 1", "weekend": { "date": "2026-05-16", "name": "x" }, "runs": [{
        "id": "r", "figures": { "median_lap_s": { "value": 19.5, "low": null, "high": null }, "top_rpm": { "value": 1.0 } }
    }] });
    let review = read::read(&review.to_string()).unwrap();
    let figures = &runtrue::figure::FIGURES[..1];
    let rows = tabulate::weekend(Path::new("x"), review, figures).unwrap().rows;
    assert_eq!((figures[0].key, figures[0].column), ("median_lap_s", "median_s"));
    let [only] = rows.figures.as_slice() else { panic!("{:?}", rows.figures) };
    assert_eq!((only.row.column, only.row.unit, only.row.estimate.value), ("median_s", "s", Some(19.5)));
    let columns = schema::runs(figures).columns;
    let column = columns.last().unwrap();
    let schema::Cells::Figure(name, cell) = column.cells else { panic!("{}", column.name) };
    assert_eq!((column.name, cell(&rows.runs[0], name)), ("median_s", Some(19.5)));
}

/// What a version wrote that listed no figures is read from its answers.
#[test]
fn a_review_of_an_older_version_has_the_same_figures() {
    let folder = tempfile::tempdir().unwrap();
    let weekend = weekends(folder.path(), 6, 1).remove(0);
    assert!(runtrue(&["review".as_ref(), weekend.as_os_str()]).status.success());
    let new = gather::gather(&weekend).unwrap();
    let path = weekend.join("report/review.json");
    let mut file: Value = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
    for run in file["runs"].as_array_mut().unwrap() {
        assert!(run.as_object_mut().unwrap().remove("figures").is_some());
    }
    std::fs::write(&path, file.to_string()).unwrap();
    let old = gather::gather(&weekend).unwrap();
    assert!(!old.reviewed_anew && old.rows.figures.len() > 20 * old.rows.runs.len());
    for figure in &old.rows.figures {
        let same = new.rows.figures.iter().find(|f| f.run == figure.run && f.row.column == figure.row.column).unwrap();
        let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(1.0),
            (a, b) => a == b,
        };
        let (a, b) = (figure.row.estimate, same.row.estimate);
        assert!(near(a.value, b.value) && near(a.low, b.low) && near(a.high, b.high), "{figure:?} {same:?}");
    }
}

/// Files in a folder and the folders in it, with what they hold.
fn contents(folder: &Path) -> std::collections::BTreeMap<PathBuf, Vec<u8>> {
    let mut all = std::collections::BTreeMap::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.file_type().unwrap().is_dir() {
            all.extend(contents(&entry.path()))
        } else {
            all.insert(entry.path(), std::fs::read(entry.path()).unwrap_or_default());
        }
    }
    all
}

/// The user's own files in the data set's folder stay, and nothing is written where one of them is in the way.
#[test]
fn a_data_set_is_written_over_nothing_of_the_users() {
    let folder = tempfile::tempdir().unwrap();
    let weekend = of_one_log(folder.path(), "January", "2026-01-03", 5000);
    let part = "laps/year=2026/weekend=2026-01-03-january/part-0.parquet";
    for (name, text) in [
        ("index.html", "<!doctype html><p>my club"),
        ("season.json", "{\"format\": \"mine\"}"),
        ("runs", "my runs"),
        (part, "my laps"),
    ] {
        let root = folder.path().join(format!("root of {}", name.replace('/', "-")));
        let file = root.join(name);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(&file, text).unwrap();
        std::fs::write(root.join("notes.txt"), "mine").unwrap();
        let before = contents(&root);
        let refused = season(&[&weekend], &root, &[]);
        let said = words(&refused.stderr);
        assert_eq!(refused.status.code(), Some(1), "{name}: {said}");
        assert!(said.contains(name) && said.contains("hint: ") && said.contains("--out"), "{name}: {said}");
        assert_eq!(contents(&root), before, "{name}");
        std::fs::remove_file(&file).unwrap();
        let done = season(&[&weekend], &root, &[]);
        assert!(done.status.success(), "{name}: {}", words(&done.stderr));
        assert_eq!(std::fs::read(root.join("notes.txt")).unwrap(), b"mine");
    }
}

#[cfg(unix)]
#[test]
fn a_data_set_is_not_written_through_a_link_and_none_of_the_users_files_is_removed() {
    let folder = tempfile::tempdir().unwrap();
    let weekend = of_one_log(folder.path(), "January", "2026-01-03", 5000);
    let other = of_one_log(folder.path(), "February", "2026-02-03", 6000);
    let elsewhere = folder.path().join("elsewhere");
    std::fs::create_dir(&elsewhere).unwrap();
    let root = folder.path().join("season");
    std::fs::create_dir(&root).unwrap();
    std::os::unix::fs::symlink(&elsewhere, root.join("laps")).unwrap();
    let refused = season(&[&weekend], &root, &[]);
    assert!(words(&refused.stderr).contains("laps` is a link"), "{}", words(&refused.stderr));
    assert_eq!(std::fs::read_dir(&elsewhere).unwrap().count(), 0);
    std::fs::remove_file(root.join("laps")).unwrap();
    assert!(season(&[&weekend, &other], &root, &[]).status.success());
    // A file that somebody put in the place of one of the data set's stays when its weekend goes.
    let keys = root.join("keys/year=2026/weekend=2026-02-03-february/part-0.parquet");
    std::fs::write(&keys, "mine").unwrap();
    let only = season(&[&weekend], &root, &["--only"]);
    assert!(words(&only.stderr).contains("february"), "{}", words(&only.stderr));
    assert_eq!(std::fs::read(&keys).unwrap(), b"mine");
}
