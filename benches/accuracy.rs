//! probe
#[path = "../tests/driven/mod.rs"]
mod driven;
use driven::driven;
use runtrue::demo::car::CarSpec;
use runtrue::demo::recorder::Recorder;
use runtrue::measure::motor;
fn main() {
    let which = std::env::args().nth(1).unwrap_or_default();
    if which.contains("heat") { heat() }
}
fn heat() {
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        let mut errors = vec![];
        for seed in 0..20u64 {
            let rate = [10.0, 20.0, 50.0, 100.0][seed as usize % 4];
            let run = driven(&car, seed, |d| { d.ambient = 18.0 + seed as f64; d.length = if seed % 2 == 0 {300.0} else {480.0}; d.warm = (seed % 5) as f64 * 4.0; d.fan = [1.0, 0.0, 0.5][seed as usize % 3];});
            let end = run.trace.passings[0] + run.plan.length;
            let truth = run.trace.motor_c[(end * 1000.0) as usize];
            let truthc = run.trace.controller_c[(end * 1000.0) as usize];
            let cut = run.trace.passings[0] + 0.55 * run.plan.length;
            let (log, _, a) = run.answers(&Recorder::plain(rate), cut);
            let d = motor::demand(&log).unwrap();
            let m = a.motor.race_end_c.unwrap();
            let c = a.controller.race_end_c.unwrap();
            let full = d.full.iter().filter(|f| **f).count() as f64 / d.full.len() as f64;
            println!("{} {seed} {rate}: start {:.0} at cut {:.1} truth {truth:.2} got {:.2} [{:+.2} {:+.2}] err {:+.2} {} tau {:.0} | esc {:+.2} ±{:.2} {}| k {:.3e} ({:.3e}) R {:.2} ({:.2}) full {:.2}",
              car.key, a.motor.start_c.unwrap(), run.trace.motor_c[(cut*1000.0) as usize], m.value, m.low-m.value, m.high-m.value, m.value-truth, if m.holds(truth) {""} else {"MISS"}, a.motor.time_constant_s.unwrap(),
              c.value-truthc, c.half_width(), if c.holds(truthc) {""} else {"MISS"},
              d.motor.constant, car.motor_constant, d.motor.resistance*1000.0, car.resistance*1000.0, full);
            errors.push(m.value - truth);
        }
        let n = errors.len() as f64;
        println!("within 2: {:.2} within 3: {:.2} mean {:+.2}", errors.iter().filter(|e| e.abs() < 2.0).count() as f64 / n, errors.iter().filter(|e| e.abs() < 3.0).count() as f64 / n, errors.iter().sum::<f64>() / n);
    }
}
