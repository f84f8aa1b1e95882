//! What the sheet says, and which log it names, against what the logs of the sample weekend can bear. The weekend's own
//! truth: a lap of 214 m, air of 26 to 33 °C, a motor that reached 113 °C in run t5, all pinions as on the sheet but
//! that of t3.

use std::fs;
use std::path::Path;

use rstest::rstest;
use runtrue::evidence::{Subject, Worth};
use runtrue::measure::heat::HeatVerdict;
use runtrue::measure::hot_part::HotPart;
use runtrue::review::{Review, review};
use runtrue::run::GearingVerdict;
use runtrue::units::{Units, in_notation};

/// The review of the sample with `change` made to its sheet.
fn reviewed(change: impl Fn(String) -> String) -> Review {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
    let folder = tempfile::tempdir().unwrap();
    for part in ["logs", "laps"] {
        fs::create_dir(folder.path().join(part)).unwrap();
        for file in fs::read_dir(sample.join(part)).unwrap().map(Result::unwrap) {
            fs::copy(file.path(), folder.path().join(part).join(file.file_name())).unwrap();
        }
    }
    let sheet = fs::read_to_string(sample.join("weekend.toml")).unwrap();
    let changed = change(sheet.clone());
    fs::write(folder.path().join("weekend.toml"), changed).unwrap();
    review(folder.path(), &|_, _| {}).unwrap()
}

/// What is not sound, as `run subject worth`.
fn doubts(review: &Review) -> Vec<String> {
    let of_run = |run: &runtrue::weekend::concluded_run::ConcludedRun| {
        let not_sound = run.run.evidence().unwrap().not_sound();
        let id = run.plan().id.clone();
        not_sound.map(|e| format!("{id} {} {:?}", e.of.key(), e.worth)).collect::<Vec<_>>()
    };
    review.runs.iter().flat_map(of_run).collect()
}

fn with(key: &str, value: &str) -> impl Fn(String) -> String {
    move |sheet| {
        let lines = sheet.lines().map(|line| match line.split_once(" = ") {
            Some((found, _)) if found.trim() == key => format!("{key} = {value}"),
            _ => line.to_owned(),
        });
        lines.collect::<Vec<_>>().join("\n")
    }
}

#[test]
fn nothing_speaks_against_the_sample() {
    assert_eq!(doubts(&reviewed(|sheet| sheet)), Vec::<String>::new());
}

#[rstest]
#[case("212", "212 °F would be 100 °C")]
#[case("250", "250 °C is far above any maker's limit")]
// One that was written with its unit is no slip of the unit.
#[case("\"414 °F\"", "212 °C is far above any maker's limit")]
fn a_limit_that_no_maker_gives_is_not_believed(#[case] limit: &str, #[case] says: &str) {
    let review = reviewed(with("motor_c", limit));
    let run = &review.runs[4].run;
    let why = run.evidence().unwrap().refusal(Subject::Setting("limits.motor_c")).unwrap().to_string();
    let why = in_notation(&why, Units::Metric);
    assert!(why.contains(says), "{why}");
    // It is judged by the default instead, and was over it.
    let heat = run.heat(HotPart::Motor).unwrap();
    assert_eq!((heat.limit_c, heat.verdict), (runtrue::sheet::DEFAULT_MOTOR_C, HeatVerdict::Over));
}

#[rstest]
#[case("199.0")]
#[case("226.0")]
fn a_lap_length_that_no_run_of_either_car_bears_is_named_and_no_pinion(#[case] length: &str) {
    let review = reviewed(with("lap_length_m", length));
    for run in &review.runs {
        let evidence = run.run.evidence().unwrap();
        let why = evidence.refusal(Subject::Setting("track.lap_length_m")).unwrap().to_string();
        assert!(why.contains("every run of all cars") && (why.contains("21") || why.contains("214")), "{why}");
        let odd = run.plan().id == "t3";
        assert!(odd || run.run.pinion.verdict != GearingVerdict::Differs, "{}", run.plan().id);
        assert_eq!(run.done().unwrap().answers.gearing.realised_ratio, None);
    }
}

#[test]
fn one_car_alone_leaves_open_whether_length_or_pinion_is_wrong() {
    let without_pan = |sheet: String| {
        let from = sheet.find("[[runs]]\nid = \"p1\"").unwrap();
        with("lap_length_m", "199.0")(sheet[..from].to_owned())
    };
    let review = reviewed(without_pan);
    for run in review.runs.iter().filter(|r| r.plan().id != "t3") {
        assert_eq!(run.run.evidence().unwrap().worth(Subject::Setting("track.lap_length_m")), Worth::Doubtful);
        assert_eq!(run.run.pinion.verdict, GearingVerdict::CannotTell, "{}", run.plan().id);
    }
}

#[test]
fn air_far_above_where_both_sensors_start_is_not_believed() {
    let review = reviewed(with("ambient_c", "60"));
    let cold: Vec<String> = doubts(&review).into_iter().filter(|d| d.contains("ambient_c Unusable")).collect();
    assert!(cold.len() >= 8, "{cold:?}");
    assert_eq!(review.runs[0].plan().ambient_c, None);
}

#[test]
fn one_log_under_two_runs_is_that_of_the_run_whose_laps_it_has() {
    let review = reviewed(|sheet| sheet.replace("logs/t2.csv", "logs/t1.csv"));
    // Only t1's lap list is the log's own.
    assert_eq!(doubts(&review), ["t2 log Unusable"]);
    let compared = review.comparisons.iter().flat_map(|c| c.runs_from.iter().chain(&c.runs_to));
    assert!(compared.into_iter().all(|id| id != "t2"));
    assert_eq!(review.runs[1].run.heat(HotPart::Motor).unwrap().verdict, HeatVerdict::CannotTell);
}

#[test]
fn logs_of_two_cars_that_were_exchanged_answer_nothing() {
    let review = reviewed(|sheet| {
        sheet
            .replace("logs/t3.csv", "logs/x.csv")
            .replace("logs/p1.csv", "logs/t3.csv")
            .replace("logs/x.csv", "logs/p1.csv")
    });
    for id in ["t3", "p1"] {
        let run = &review.runs.iter().find(|r| r.plan().id == id).unwrap().run;
        assert_eq!(run.evidence().unwrap().worth(Subject::Log), Worth::Unusable);
        assert_eq!(run.heat(HotPart::Motor).unwrap().verdict, HeatVerdict::CannotTell);
        assert!(run.heat(HotPart::Motor).unwrap().why.as_ref().unwrap().to_string().contains("this log is from the"));
    }
}

#[test]
fn a_value_that_was_refused_stands_for_nothing() {
    // The run's own pinion is impossible: the car's does not stand in for it.
    let review = reviewed(|sheet| sheet.replacen("id = \"t2\"", "id = \"t2\"\npinion = 310", 1));
    let run = &review.runs[1].run;
    assert_eq!(run.evidence().unwrap().worth(Subject::Setting("pinion")), Worth::Unusable);
    assert_eq!(run.plan().settings.number("pinion"), None);
    assert_eq!(run.pinion.verdict, GearingVerdict::CannotTell);
    let compared = review.comparisons.iter().flat_map(|c| c.runs_from.iter().chain(&c.runs_to));
    assert!(compared.into_iter().all(|id| id != "t2"));
}

#[test]
fn a_converted_copy_beside_its_log_is_no_run() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay");
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("t1.csv");
    fs::copy(sample.join("logs/t1.csv"), &log).unwrap();
    let converted = std::process::Command::new(env!("CARGO_BIN_EXE_runtrue"))
        .args([
            "convert",
            log.to_str().unwrap(),
            "--to",
            "csv",
            "--out",
            folder.path().join("clean.csv").to_str().unwrap(),
        ])
        .output()
        .unwrap();
    assert!(converted.status.success(), "{}", String::from_utf8_lossy(&converted.stderr));
    let alone = review(folder.path(), &|_, _| {}).unwrap();
    assert_eq!(alone.runs.iter().map(|r| r.plan().id.as_str()).collect::<Vec<_>>(), ["t1"]);
    assert!(alone.notices.iter().any(|n| n.message.contains("was converted from `t1.csv`")));
    // On the sheet it is a run that has another's readings.
    fs::write(
        folder.path().join("weekend.toml"),
        "[cars.a]\n[[runs]]\nid = \"one\"\nlog = \"t1.csv\"\n[[runs]]\nid = \"two\"\nlog = \"clean.csv\"\n",
    )
    .unwrap();
    let both = review(folder.path(), &|_, _| {}).unwrap();
    assert_eq!(doubts(&both), ["one log Unusable", "two log Unusable"]);
    let why = both.runs[1].run.evidence().unwrap().of(Subject::Log).unwrap().why.as_ref().unwrap().to_string();
    assert_eq!(why, "it has the same readings as the log of run one, and one entry is wrong");
}
