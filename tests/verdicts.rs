//! Gearing verdicts of whole weekends against the model's truth, with one pinion a tooth off the sheet in each.

use rstest::rstest;
use runtrue::demo::alder_quay::invent;
use runtrue::review::review;
use runtrue::run::GearingVerdict;

/// Weekends have two cars, ten runs, one wrong pinion and foam that wears.
#[rstest]
#[case::few(2)]
#[ignore = "the long form: .ci/run"]
#[case::all(20)]
fn every_weekends_wrong_pinion_is_found_and_no_other(#[case] weekends: u64) {
    let threads: Vec<_> = (0..weekends)
        .map(|seed| {
            std::thread::spawn(move || {
                let folder = tempfile::tempdir().unwrap();
                let weekend = invent(seed);
                weekend.write(folder.path()).unwrap();
                let reviewed = review(folder.path(), &|_, _| {}).unwrap();
                let mut wrong = Vec::new();
                for (run, planned) in reviewed.runs.iter().zip(&weekend.runs) {
                    let done =
                        run.done().unwrap_or_else(|| panic!("seed {seed}, {}: {:?}", run.plan().id, run.failure()));
                    let pinion = &run.run.pinion;
                    let gearing = &done.answers.gearing;
                    let sheet = run.plan().settings.number("pinion").unwrap();
                    let on_car = f64::from(planned.drive.pinion);
                    let expected = if sheet == on_car { GearingVerdict::Agrees } else { GearingVerdict::Differs };
                    let best = pinion.best().unwrap();
                    if pinion.verdict != expected || best.pinion != on_car {
                        wrong.push(format!(
                            "seed {seed}, {}: {:?}, {} teeth at {:.3}",
                            run.plan().id,
                            pinion.verdict,
                            best.pinion,
                            best.probability
                        ));
                    }
                    let truth = planned.realised_ratio(
                        &planned.run(
                            &weekend.track,
                            weekend.run_seed(reviewed.runs.iter().position(|r| r.plan().id == run.plan().id).unwrap()),
                        ),
                        weekend.stated_length,
                    );
                    let realised = gearing.realised_ratio.unwrap();
                    assert!(realised.holds(truth), "seed {seed}, {}: {realised:?} for {truth}", run.plan().id);
                    assert!(
                        (realised.value / truth - 1.0).abs() < 0.0025,
                        "seed {seed}, {}: {} for {truth}",
                        run.plan().id,
                        realised.value
                    );
                }
                wrong
            })
        })
        .collect();
    let wrong: Vec<String> = threads.into_iter().flat_map(|t| t.join().unwrap()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
