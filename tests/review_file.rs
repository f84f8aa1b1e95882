//! The contract of `review.json`: its schema, the sample weekend under it, and the same bytes every time.

use std::fs;
use std::path::{Path, PathBuf};

use runtrue::report::write;
use runtrue::review::review;
use runtrue::review_file;
use runtrue::units::Units;
use serde_json::Value;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay")
}

fn written(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    write::write(&review(&sample(), &|_, _| {}).unwrap(), folder, Units::Metric).unwrap();
    let mut files: Vec<PathBuf> = [folder.to_owned(), folder.join("logs")]
        .iter()
        .flat_map(|f| fs::read_dir(f).unwrap().flatten().map(|e| e.path()))
        .filter(|p| p.is_file())
        .collect();
    files.sort();
    files.into_iter().map(|p| (p.strip_prefix(folder).unwrap().to_owned(), fs::read(p).unwrap())).collect()
}

#[test]
fn the_sample_weekend_keeps_the_schema() {
    let file: Value = serde_json::from_str(&review_file::text(&review(&sample(), &|_, _| {}).unwrap())).unwrap();
    let validator = jsonschema::validator_for(&review_file::schema().to_value()).unwrap();
    let errors: Vec<String> = validator.iter_errors(&file).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

#[test]
fn the_schema_names_what_was_agreed() {
    let schema = review_file::schema().to_value();
    let fields = |of: &str| -> Vec<String> {
        let properties = if of.is_empty() { &schema["properties"] } else { &schema["$defs"][of]["properties"] };
        properties.as_object().unwrap_or_else(|| panic!("no {of}")).keys().cloned().collect()
    };
    for (of, names) in [
        ("", "format weekend runs trends comparisons findings"),
        (
            "RunFile",
            "id car log ambient_c error reading laps gearing wheelspin heat battery power next best_pinion hotter hotter_than_median",
        ),
        ("RunFile", "sections best_sections consistency time_lost time_lost_why"),
        ("Section", "from to best_s best_lap median_s scatter_s slowest_m_s end_m_s loss_s"),
        ("BestSections", "lap_s faster_by_s by_chance_s"),
        ("Consistency", "laps scatter_s within_1_percent longest_clean pace_s_a_lap pace faded_with"),
        ("TimeLostFile", "places worst_lap on_best_run on_run_before"),
        ("LostRunFile", "run slower_by_s seconds band_s sections"),
        ("SectionChange", "from to slower_by_s"),
        ("Reading", "rows_in rows_kept rate_hz duration_s encoding delimiter decimal channels notices"),
        ("ChannelSource", "channel column unit scale"),
        ("Notice", "code severity message line count"),
        ("LapsFile", "source first_passing_s count best_s median_s rows"),
        ("LapFile", "lap start_s end_s time_s revs set_aside"),
        ("Gearing", "set_ratio set_rollout_mm realised_ratio realised_rollout_mm budget verdict fits"),
        ("Contribution", "what relative_u"),
        ("Fit", "pinion ratio probability"),
        ("Wheelspin", "can_tell seconds share events"),
        ("Heat", "start_c peak_c peak_at_s limit_c over_limit_s race_end_c time_constant_s verdict"),
        ("Battery", "resistance_mohm lowest_v lowest_cell_v used_mah used_wh race_end_used_mah verdict"),
        ("Power", "top_rpm top_speed_m_s mean_w peak_w pull coast_m_s2"),
        ("Next", "pinion ratio rollout_mm top_speed_m_s motor_race_end_c"),
        ("Next", "lap_change_s lap_change_measured_s lap_change_together_s controller_race_end_c heat"),
        ("BestPinion", "pinion lap_change_s motor_race_end_c not_told_from verdict"),
        ("Trend", "of car runs values per_run low high p verdict cause"),
        ("Comparison", "car key from to runs_from runs_to effects"),
        ("Effect", "of from to difference why"),
        ("Finding", "code severity run text figures"),
        ("Estimate", "value low high"),
    ] {
        let has = fields(of);
        for name in names.split(' ') {
            assert!(has.iter().any(|h| h == name), "{of} lacks {name}: {has:?}");
        }
    }
}

#[test]
fn the_same_inputs_give_the_same_bytes() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (first, second) = (written(one.path()), written(two.path()));
    assert_eq!(first.len(), 26);
    for (a, b) in first.iter().zip(&second) {
        assert!(a == b, "{:?} differs", a.0);
    }
}

#[test]
fn pages_load_nothing_and_stay_small() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in written(folder.path()).into_iter().filter(|f| f.0.extension().is_some_and(|e| e == "html")) {
        let html = String::from_utf8(bytes).unwrap();
        assert!(html.len() < 1_500_000, "{name:?}");
        // Scripts are in the page itself, after all that is read.
        let read = html.split_once("<script>").map_or(html.as_str(), |(read, _)| read);
        assert!(read.contains("</main>") && !read.contains("<script") && !html.contains("src="), "{name:?}");
        assert!(
            read.matches("http").count()
                == read.matches("http-equiv").count() + read.matches("http://www.w3.org/2000/svg").count(),
            "{name:?}"
        );
    }
}

#[test]
fn the_samples_story_is_told() {
    let told = review(&sample(), &|_, _| {}).unwrap();
    let has = |code: &str, run: &str| told.findings.iter().any(|f| f.code == code && f.run.as_deref() == Some(run));
    assert!(has("pinion-differs", "t3"));
    assert!(has("motor-heat", "t5"));
    assert!(told.runs.iter().all(|r| r.done().is_some()));
}
