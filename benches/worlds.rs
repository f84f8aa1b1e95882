//! How near a review comes to the truth of weekends that it was not made on, as the table in `benches/README.md`:
//! `cargo bench --bench worlds`; `RUNTRUE_SEEDS` weekends.

#[path = "../tests/scored/mod.rs"]
mod scored;
mod table;
#[path = "../tests/world/mod.rs"]
mod world;

use scored::spins::Spins;
use scored::{Against, RunScore, Tally};
use table::{percent, row};
use world::{Coverage, Opening, Options};

/// Weekends where none are asked for.
const WEEKENDS: u64 = 24;
/// Of those, one in so many is driven with each way of opening the throttle.
const FEWER_OPENED: u64 = 4;

fn main() {
    let weekends = std::env::var("RUNTRUE_SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(WEEKENDS);
    let runs = scored::scored(weekends, Options::default());
    println!("| {} runs of {weekends} weekends | promised | reached |\n| --- | --- | --- |", runs.len());
    lists(&runs);
    gearing(&runs);
    wheelspin(&runs);
    heat(&runs);
    battery(&runs);
    coasting(&runs);
    openings(weekends.div_ceil(FEWER_OPENED));
    if std::env::var("RUNTRUE_EACH").is_ok() {
        runs.iter().for_each(each);
    }
}

/// Every figure's own scale: as it is.
fn as_it_is(_: &Against) -> f64 {
    1.0
}

fn lists(runs: &[RunScore]) {
    let is_within = |r: &&RunScore| !matches!(r.coverage, Coverage::LogEndsEarly | Coverage::LogStartsLate);
    let within = Tally::new(runs.iter().filter(is_within).map(|r| r.first.as_ref()), as_it_is);
    row(
        "first passing of a list within its log: median error; within 95 %; worst; interval holds; not laid",
        "0.20 s; ; ; 95 %",
        format!(
            "{:.2} s; {:.2} s; {:.1} s; {}; {} of {}",
            within.median_off,
            within.most_off,
            within.worst_off,
            percent(within.held),
            within.missing,
            within.runs
        ),
    );
    for (what, coverage) in
        [("outlasts its log", Coverage::LogEndsEarly), ("begins before its log", Coverage::LogStartsLate)]
    {
        let some = runs.iter().filter(|r| r.coverage == coverage);
        let laps = |r: &RunScore| r.first.map(|f| f.off().abs() / r.lap_s);
        let far = some.clone().filter(|r| laps(r).is_some_and(|off| off > 0.5)).count();
        let tally = Tally::new(some.map(|r| r.first.as_ref()), as_it_is);
        row(
            &format!("list that {what}: interval holds; worst; more than half a lap off; not laid"),
            "95 %; half a lap; none",
            format!("{}; {:.1} s; {far}; {} of {}", percent(tally.held), tally.worst_off, tally.missing, tally.runs),
        );
    }
}

fn gearing(runs: &[RunScore]) {
    let held = Tally::new(runs.iter().map(|r| r.ratio.as_ref()), |a| a.truth).held;
    let ratio = Tally::new(runs.iter().map(|r| r.ratio_by_sheet.as_ref()), |a| a.truth);
    row(
        "realised ratio: within 95 %; worst; interval holds; missing",
        "0.15 %; 0.5 %; 95 %",
        format!(
            "{:.2} %; {:.2} %; {}; {} of {}",
            100.0 * ratio.most_off,
            100.0 * ratio.worst_off,
            percent(held),
            ratio.missing,
            ratio.runs
        ),
    );
    let wrong =
        |r: &&RunScore| (r.verdict == "agrees" && !r.pinion_is_right) || (r.verdict == "differs" && r.pinion_is_right);
    let open = runs.iter().filter(|r| r.verdict == "cannot tell").count();
    row("gearing verdicts: wrong; open", "none", format!("{}; {open}", runs.iter().filter(wrong).count()));
}

fn wheelspin(runs: &[RunScore]) {
    let all = Spins::new(runs.iter().map(|r| r.spins.as_ref()));
    row(
        "wheelspin: precision; recall; spun seconds",
        "0.98; 0.93; ±12 %",
        format!("{:.3}; {:.3}; {:+.1} %", all.precision, all.recall, 100.0 * all.seconds_off),
    );
    let of = |s: scored::spins::Share| format!("{} of {}", percent(s.value()), s.all);
    row(
        "recall of spins that grow slowly; marginal; over 1 s; in every corner",
        "60 %; 90 %; 95 %; 93 %",
        format!("{}; {}; {}; {}", of(all.slow), of(all.marginal), of(all.long), of(all.every_corner)),
    );
    let told = |s: scored::spins::Share| format!("{} of {}", s.all - s.held, s.all);
    let slow = Spins::new(runs.iter().filter(|r| r.rate_hz < 15.0).map(|r| r.spins.as_ref()));
    row("runs of which wheelspin cannot be told; at 10 Hz", "5 %", format!("{}; {}", told(all.told), told(slow.told)));
}

/// Wheelspin where drivers are made to open the throttle in ways that spin.
fn openings(weekends: u64) {
    for (what, opening) in [
        ("too much out of nearly every corner", Opening::EveryCorner),
        ("a little too much with a slow finger", Opening::Slowly),
        ("too much, and felt late", Opening::Long),
        ("hardly too much", Opening::Hardly),
    ] {
        let runs = scored::scored(weekends, Options { opening: Some(opening), ..Options::default() });
        let spins = Spins::new(runs.iter().map(|r| r.spins.as_ref()));
        row(
            &format!("throttle opened {what}: precision; recall; spun seconds"),
            "0.98; 0.93; ±12 %",
            format!("{:.3}; {:.3}; {:+.1} %", spins.precision, spins.recall, 100.0 * spins.seconds_off),
        );
    }
}

fn heat(runs: &[RunScore]) {
    for (part, of) in [
        ("motor", (|r| r.motor_end.as_ref()) as fn(&RunScore) -> Option<&Against>),
        ("controller", |r| r.controller_end.as_ref()),
    ] {
        for halted in [false, true] {
            let tally = Tally::new(runs.iter().filter(|r| r.halted == halted).map(of), as_it_is);
            let after = if halted { ", the car stood in the race" } else { "" };
            row(
                &format!("{part}'s race end{after}: within 95 %; worst; interval holds; half width; missing"),
                "2 K; ; 95 %",
                format!(
                    "{:.2} K; {:.1} K; {}; {:.1} K; {} of {}",
                    tally.most_off,
                    tally.worst_off,
                    percent(tally.held),
                    tally.half_width,
                    tally.missing,
                    tally.runs
                ),
            );
        }
    }
}

fn battery(runs: &[RunScore]) {
    let said: Vec<_> = runs.iter().filter_map(|r| r.resistance).collect();
    let held = said.iter().filter(|(e, low, high)| e.holds(0.5 * (low + high))).count();
    row(
        "pack's resistance: left out; interval holds the ohmic's middle",
        "15 %; 95 %",
        format!(
            "{}; {}",
            percent(1.0 - said.len() as f64 / runs.len() as f64),
            percent(held as f64 / said.len() as f64)
        ),
    );
    let charge = Tally::new(runs.iter().map(|r| r.race_charge.as_ref()), |a| a.truth);
    row(
        "charge at the race's end: within 95 %; interval holds; missing",
        "; 95 %",
        format!("{:.1} %; {}; {}", 100.0 * charge.most_off, percent(charge.held), charge.missing),
    );
}

fn coasting(runs: &[RunScore]) {
    let tally = Tally::new(runs.iter().map(|r| r.coasting.as_ref()), |a| a.truth);
    row(
        "coasting: median error; within 95 %; interval holds; missing (no throttle, or a driver who hardly coasts)",
        "; ; 95 %",
        format!(
            "{:.1} %; {:.1} %; {}; {} of {}",
            100.0 * tally.median_off,
            100.0 * tally.most_off,
            percent(tally.held),
            tally.missing,
            tally.runs
        ),
    );
}

/// One run in a line, for whoever looks for what went wrong.
fn each(run: &RunScore) {
    let figure = |name: &str, a: Option<&Against>| match a {
        Some(a) => format!("{name} {:+.2} ±{:.2}{}", a.off(), a.found.half_width(), if a.held() { "" } else { " !" }),
        None => format!("{name} -"),
    };
    let spins = run.spins.as_ref().map_or("spins -".to_owned(), |s| {
        let missed: Vec<String> = s
            .spins
            .iter()
            .filter(|s| !s.found)
            .map(|s| format!("{:.2}-{:.2}/{:.2}", s.spin.start_s, s.spin.end_s, s.spin.peak_slip))
            .collect();
        let wrong: Vec<String> = s
            .wrong
            .iter()
            .map(|w| format!("{:.2}-{:.2}/{:.2} truly {:.2}", w.start_s, w.end_s, w.peak_slip, w.true_slip))
            .collect();
        format!("spun {:.1} of {:.1} s, missed {missed:?}, wrong {wrong:?}", s.said_s, s.true_s)
    });
    println!(
        "{} {:.0} Hz {:?} {:?}{} {} | {} | {} | {} | {} | {:?} | {spins}",
        run.place,
        run.rate_hz,
        run.current,
        run.coverage,
        if run.halted { " halted" } else { "" },
        run.verdict,
        figure("first", run.first.as_ref()),
        figure("ratio", run.ratio.as_ref()),
        figure("motor", run.motor_end.as_ref()),
        figure("controller", run.controller_end.as_ref()),
        run.resistance.map(|(e, a, b)| (e.value.round(), e.half_width().round(), a.round(), b.round())),
    );
}
