//! How near the answers come to the forward model's truth, as the table in `benches/README.md`: `cargo bench --bench
//! accuracy`.

#[path = "../tests/driven/mod.rs"]
mod driven;
#[path = "../tests/nodes/mod.rs"]
mod nodes;
mod table;

use driven::scores::against::share;
use driven::scores::{self, Against, RATES, SEEDS};
use runtrue::statistics::quantiles::quantile;
use runtrue::weekend::trends::{Cause, Verdict};
use table::{percent, row};

fn main() {
    println!("| what | promised | reached |\n| --- | --- | --- |");
    wheelspin();
    wheelspin_everywhere();
    heat();
    heat_nodes();
    battery();
    speeds();
    changes();
    trends();
}

fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.map(f64::abs).fold(0.0, f64::max)
}

fn middle(values: impl Iterator<Item = f64>) -> f64 {
    quantile(values.map(f64::abs), 0.5).unwrap_or(f64::NAN)
}

fn held<'a>(all: impl Iterator<Item = &'a Against>) -> String {
    percent(share(all.map(Against::held)))
}

fn wheelspin() {
    for rate in RATES {
        let spins = scores::spins(rate, SEEDS);
        row(
            &format!("wheelspin at {rate:.0} Hz: F1; false events in clean runs; error of the spun time"),
            if rate < 20.0 { "0.85; 0; 12 %" } else { "0.97; 0; 12 %" },
            format!(
                "{:.3} ({} missed, {} false of {}); {}; {:+.1} %",
                spins.f1(),
                spins.misses,
                spins.wrong,
                spins.hits + spins.misses,
                spins.wrong_in_clean,
                100.0 * spins.time_error()
            ),
        );
    }
}

fn wheelspin_everywhere() {
    for rate in RATES {
        let spins = scores::spins_everywhere(rate, SEEDS);
        row(
            &format!(
                "wheelspin at {rate:.0} Hz where the wheels spin out of nearly every corner: F1; error of the spun time"
            ),
            "",
            format!(
                "{:.3} ({} missed, {} false of {}); {:+.1} %",
                spins.f1(),
                spins.misses,
                spins.wrong,
                spins.hits + spins.misses,
                100.0 * spins.time_error()
            ),
        );
    }
}

fn heat() {
    let ends = scores::race_ends(SEEDS);
    for (part, all) in
        [("motor", ends.iter().map(|e| e.0).collect::<Vec<_>>()), ("controller", ends.iter().map(|e| e.1).collect())]
    {
        row(
            &format!("{part} at the race's end, from the first 55 %: within 2 °C; worst; interval holds; widest"),
            "90 %; 3 °C; 95 %; ±4 °C",
            format!(
                "{}; {:.1} °C; {}; ±{:.1} °C",
                percent(share(all.iter().map(|a| a.off().abs() < 2.0))),
                largest(all.iter().map(Against::off)),
                held(all.iter()),
                largest(all.iter().map(|a| a.found.half_width()))
            ),
        );
    }
}

/// Motors of each kind of nodes and load.
const MOTORS: u64 = 100;

fn heat_nodes() {
    let all = nodes::ends(MOTORS);
    for kind in nodes::KINDS {
        let at_share = |share: f64| all.iter().filter(move |end| end.kind == kind && end.share == share);
        let each = |of: &dyn Fn(f64) -> String| nodes::SHARES.map(of).join(", ");
        row(
            &format!(
                "motor of {} nodes under {} load, from 40, 55, 70, 85 % of the race: interval holds; median width",
                if kind.three { "three" } else { "two" },
                if kind.even { "even" } else { "raced" }
            ),
            "95 %; 6 °C at 55 %",
            format!(
                "{} %; {} °C",
                each(&|s| format!("{:.0}", 100.0 * share(at_share(s).map(nodes::End::held)))),
                each(&|s| format!("{:.1}", middle(at_share(s).map(nodes::End::width))))
            ),
        );
    }
}

fn battery() {
    for (rate, amps) in [(10.0, 0.1), (20.0, 1.0), (100.0, 0.1)] {
        let all = scores::resistances(rate, amps, SEEDS);
        let holds = share(all.iter().map(|(found, ohmic, _)| found.holds(*ohmic)));
        let worst = largest(all.iter().map(|(found, ohmic, _)| found.value / ohmic - 1.0));
        row(
            &format!("pack resistance at {rate:.0} Hz, current in steps of {amps} A: worst error; interval holds"),
            "3 %; 95 %",
            format!("{:.1} %; {}", 100.0 * worst, percent(holds)),
        );
    }
    for rate in RATES {
        let all = scores::charges(rate, SEEDS);
        row(
            &format!("charge used at {rate:.0} Hz: worst error; interval holds"),
            "0.3 %",
            format!("{:.2} %; {}", 100.0 * largest(all.iter().map(|a| a.off() / a.truth)), held(all.iter())),
        );
    }
}

fn speeds() {
    let tops = scores::top_speeds(SEEDS);
    row(
        "top speed: median and worst error; interval holds",
        "",
        format!(
            "{:.2} %, {:.2} %; {}",
            100.0 * middle(tops.iter().map(|a| a.off() / a.truth)),
            100.0 * largest(tops.iter().map(|a| a.off() / a.truth)),
            held(tops.iter())
        ),
    );
    let changes = scores::against_before(SEEDS);
    row(
        "top speed against the run before, a tooth or two apart: median and worst error; interval holds",
        "",
        format!(
            "{:.2} m/s, {:.2} m/s; {}",
            middle(changes.iter().map(Against::off)),
            largest(changes.iter().map(Against::off)),
            held(changes.iter())
        ),
    );
    for rate in [10.0, 20.0, 50.0] {
        let all = scores::drag_brakes(rate, SEEDS);
        let off = || all.iter().map(|(found, truth)| found / truth - 1.0);
        row(
            &format!("coasting at {rate:.0} Hz, drag brake 3 → 10 %: median and worst error of the change"),
            "10 %",
            format!("{:.1} %, {:.1} %", 100.0 * middle(off()), 100.0 * largest(off())),
        );
    }
}

fn changes() {
    let pinions = scores::pinions(SEEDS);
    let heats = || pinions.iter().map(|p| &p.0);
    let tops = || pinions.iter().map(|p| &p.1);
    row(
        "one tooth more or fewer: change of the motor at the race's end, median and worst error; interval holds",
        "1.5 °C",
        format!(
            "{:.2} °C, {:.2} °C; {}",
            middle(heats().map(Against::off)),
            largest(heats().map(Against::off)),
            held(heats())
        ),
    );
    row(
        "one tooth more or fewer: change of the top speed, as a share of it, median and worst error; interval holds",
        "1 %",
        format!(
            "{:.2} %, {:.2} %; {}",
            100.0 * middle(tops().map(Against::off)),
            100.0 * largest(tops().map(Against::off)),
            held(tops())
        ),
    );
    let wrong = |all: &mut dyn Iterator<Item = &Against>, least: f64| {
        all.filter(|a| a.truth.abs() >= least && a.found.value * a.truth <= 0.0).count()
    };
    row(
        "the sign of both, where the change is at least 0.2 °C or 0.1 %",
        "always right",
        format!("{} and {} of {} wrong", wrong(&mut heats(), 0.2), wrong(&mut tops(), 0.001), pinions.len()),
    );
    let timings = scores::timings(SEEDS);
    row(
        "more timing, three runs each: worst error of the motor's rise; interval above zero",
        "2 °C; all",
        format!(
            "{:.2} °C; {}",
            largest(timings.iter().map(Against::off)),
            percent(share(timings.iter().map(|a| a.found.low > 0.0)))
        ),
    );
    let stickers = scores::stickers(SEEDS);
    let claimed = stickers.iter().filter(|c| **c).count();
    row(
        "a change that does nothing: effects claimed all the same",
        "1 in 20",
        format!("{claimed} of {}", stickers.len()),
    );
}

fn trends() {
    let fans = scores::fading_fans(SEEDS);
    row(
        "a fan that fades over eight runs: cooling seen to fall; peak blamed on cooling, on nothing, on something else",
        "all",
        format!(
            "{}; {}, {}, {}",
            percent(share(fans.iter().map(|f| f.0 == Verdict::Falling))),
            fans.iter().filter(|f| f.1 == Some(Cause::Cooling)).count(),
            fans.iter().filter(|f| f.1.is_none()).count(),
            fans.iter().filter(|f| f.1.is_some_and(|c| c != Cause::Cooling)).count()
        ),
    );
    let days = scores::warm_days(SEEDS);
    row(
        "a day that warms by 15 °C: cooling steady, cannot tell, moving; peak blamed on the air",
        "all",
        format!(
            "{}, {}, {}; {}",
            days.iter().filter(|d| d.0 == Verdict::Steady).count(),
            days.iter().filter(|d| d.0 == Verdict::CannotTell).count(),
            days.iter().filter(|d| !matches!(d.0, Verdict::Steady | Verdict::CannotTell)).count(),
            percent(share(days.iter().map(|d| d.1 == Some(Cause::Air))))
        ),
    );
    let tyres = scores::worn_tyres(SEEDS);
    row(
        "tyres that wear, not on the sheet, over eight runs: median and worst error of the wear per run",
        "10 %",
        format!(
            "{:.1} %, {:.1} %",
            100.0 * middle(tyres.iter().map(|r| r - 1.0)),
            100.0 * largest(tyres.iter().map(|r| r - 1.0))
        ),
    );
}
