mod world;
use world::{Options, Weekend};
use runtrue::log::Channel;
use runtrue::statistics::quantiles::{median, quantile};
#[test]
fn debug() {
    let seeds = [0u64,2,3,4,5,6,8,10,14,15,16,17,19];
    for seed in seeds {
        let options = Options { rate_hz: Some(20.0), runs: Some(1), clean: true, ..Options::default() };
        let weekend = Weekend::draw_with(6_600 + seed, options);
        let folder = tempfile::tempdir().unwrap();
        weekend.write(folder.path()).unwrap();
        let review = runtrue::review::review(folder.path(), &|_, _| {}).unwrap();
        for (n, run) in weekend.runs.iter().enumerate() {
            let done = review.runs[n].done().unwrap();
            let car = &weekend.cars[run.car];
            let d = done.answers.demand.as_ref().unwrap();
            let trace = weekend.driven_anew(n, |_| {});
            // rows by time
            let m = done.answers.motion.as_ref().unwrap();
            let top = m.top_speed().unwrap();
            let hand = &run.columns.throttle;
            let log = &done.sound_log;
            let v = log.channel(Channel::Voltage).unwrap();
            let a = log.channel(Channel::Current).unwrap();
            let at_full: Vec<usize> = (0..d.current.len().min(hand.len())).filter(|&k| hand[k] > 99.0).collect();
            let fast: Vec<usize> = (0..m.speed.len()).filter(|&k| m.speed[k] > 0.97 * top).collect();
            let fill = |k: usize| (d.motor.constant * d.omega[k] + d.motor.resistance * a[k]) / v[k];
            let q = |f: &dyn Fn(usize) -> f64, rows: &[usize]| -> String { [0.05,0.5,0.95].map(|s| format!("{:.3}", quantile(rows.iter().map(|&k| f(k)), s).unwrap_or(f64::NAN))).join("/") };
            let _ = median([1.0]);
            println!("{} seed {seed}: at_full {} k {:.5} true {:.5} R {:.4} true {:.4} limit {:.0} hand>99: {} of {}; full {} ; of hand full {} ; fast {} full {}; fill hand {} fast {}; hand fast {}; pos {} recorder {:?} amps max {:.1} ceiling {:.1} passings {}",
                run.id, d.motor.at_full_demand, d.motor.constant, car.motor.constant, d.motor.resistance, car.motor.winding_ohm + car.controller.path_ohm, car.controller.limit_a,
                at_full.len(), hand.len(), d.full.iter().filter(|f| **f).count(), at_full.iter().filter(|&&k| d.full[k]).count(), fast.len(), fast.iter().filter(|&&k| d.full[k]).count(),
                q(&fill, &at_full), q(&fill, &fast), q(&|k| hand.get(k).copied().unwrap_or(f64::NAN), &fast), run.recorder.has_throttle, run.recorder.current,
                quantile(a.iter().copied(), 0.999).unwrap(), quantile(d.current.iter().copied(), 0.999).unwrap(), trace.passings_s.len() == run.truth.passings_s.len());
        }
    }
}
