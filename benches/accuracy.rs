//! How near the answers come to the forward model's truth, as the table of DEVELOPERS.md: `cargo bench --bench accuracy`.

#[path = "../tests/driven/mod.rs"]
mod driven;

use driven::scores::{self, Against, RATES, share};
use runtrue::statistics::quantiles::quantile;
use runtrue::weekend::trends::{Cause, Verdict};

fn main() {
    println!("| what | promised | reached |\n| --- | --- | --- |");
    wheelspin();
    wheelspin_everywhere();
    heat();
    battery();
    speeds();
    changes();
    trends();
}

fn row(what: &str, promised: &str, reached: String) {
    println!("| {what} | {promised} | {reached} |");
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
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
        let spins = scores::spins(rate);
        row(
            &format!("wheelspin at {rate:.0} Hz: F1; false in clean runs; spun time"),
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
        let spins = scores::spins_everywhere(rate);
        row(
            &format!("wheelspin at {rate:.0} Hz where nearly every corner's exit spins: F1; spun time"),
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
    let ends = scores::race_ends();
    for (part, all) in
        [("motor", ends.iter().map(|e| e.0).collect::<Vec<_>>()), ("controller", ends.iter().map(|e| e.1).collect())]
    {
        row(
            &format!("{part} at the race's end from its first 55 %: within 2 K; worst; interval holds; widest"),
            "90 %; 3 K; 95 %; ±4 K",
            format!(
                "{}; {:.1} K; {}; ±{:.1} K",
                percent(share(all.iter().map(|a| a.off().abs() < 2.0))),
                largest(all.iter().map(Against::off)),
                held(all.iter()),
                largest(all.iter().map(|a| a.found.half_width()))
            ),
        );
    }
}

fn battery() {
    for (rate, amps) in [(10.0, 0.1), (20.0, 1.0), (100.0, 0.1)] {
        let all = scores::resistances(rate, amps);
        row(
            &format!("pack's resistance at {rate:.0} Hz, steps of {amps} A: between ohmic and slow within 12 %"),
            "95 %",
            percent(share(all.iter().map(|(r, low, high)| r.value > 0.88 * low && r.value < 1.12 * high))),
        );
    }
    for rate in RATES {
        let all = scores::charges(rate);
        row(
            &format!("charge at {rate:.0} Hz: worst; interval holds"),
            "0.3 %",
            format!("{:.2} %; {}", 100.0 * largest(all.iter().map(|a| a.off() / a.truth)), held(all.iter())),
        );
    }
}

fn speeds() {
    let tops = scores::top_speeds();
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
    let changes = scores::against_before();
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
        let all = scores::drag_brakes(rate);
        let off = || all.iter().map(|(found, truth)| found / truth - 1.0);
        row(
            &format!("coasting, 3 to 10 % drag brake, at {rate:.0} Hz: change's median and worst error"),
            "10 %",
            format!("{:.1} %, {:.1} %", 100.0 * middle(off()), 100.0 * largest(off())),
        );
    }
}

fn changes() {
    let pinions = scores::pinions();
    let heats = || pinions.iter().map(|p| &p.0);
    let tops = || pinions.iter().map(|p| &p.1);
    row(
        "a tooth more or less: change of the motor's race end, median and worst; interval holds",
        "1.5 K",
        format!(
            "{:.2} K, {:.2} K; {}",
            middle(heats().map(Against::off)),
            largest(heats().map(Against::off)),
            held(heats())
        ),
    );
    row(
        "a tooth more or less: change of the top speed, of that speed, median and worst; interval holds",
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
        "its sign, where the change is 0.2 K or 0.1 % at least",
        "always right",
        format!("{} and {} of {} wrong", wrong(&mut heats(), 0.2), wrong(&mut tops(), 0.001), pinions.len()),
    );
    let timings = scores::timings();
    row(
        "timing change, three runs a side: rise's worst error; interval above zero",
        "2 K; all",
        format!(
            "{:.2} K; {}",
            largest(timings.iter().map(Against::off)),
            percent(share(timings.iter().map(|a| a.found.low > 0.0)))
        ),
    );
    let stickers = scores::stickers();
    let claimed = stickers.iter().filter(|c| **c).count();
    row("a change that does nothing: effects claimed", "1 in 20", format!("{claimed} of {}", stickers.len()));
}

fn trends() {
    let fans = scores::fading_fans();
    row(
        "fan fading over eight runs: cooling falling; peak put down to cooling, to nothing, to something else",
        "all",
        format!(
            "{}; {}, {}, {}",
            percent(share(fans.iter().map(|f| f.0 == Verdict::Falling))),
            fans.iter().filter(|f| f.1 == Some(Cause::Cooling)).count(),
            fans.iter().filter(|f| f.1.is_none()).count(),
            fans.iter().filter(|f| f.1.is_some_and(|c| c != Cause::Cooling)).count()
        ),
    );
    let days = scores::warm_days();
    row(
        "day that warms by 15 K: cooling steady, cannot tell, moving; peak put down to the air",
        "all",
        format!(
            "{}, {}, {}; {}",
            days.iter().filter(|d| d.0 == Verdict::Steady).count(),
            days.iter().filter(|d| d.0 == Verdict::CannotTell).count(),
            days.iter().filter(|d| !matches!(d.0, Verdict::Steady | Verdict::CannotTell)).count(),
            percent(share(days.iter().map(|d| d.1 == Some(Cause::Air))))
        ),
    );
    let tyres = scores::worn_tyres();
    row(
        "tyres that wear untold, eight runs: change a run, median and worst error",
        "10 %",
        format!(
            "{:.1} %, {:.1} %",
            100.0 * middle(tyres.iter().map(|r| r - 1.0)),
            100.0 * largest(tyres.iter().map(|r| r - 1.0))
        ),
    );
}
