mod world;
use runtrue::log::Channel;
use runtrue::statistics::quantiles::{median, quantile};
use world::{Options, Weekend};
#[test]
fn debug() {
    let seeds = 0..20u64;
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
            let q = |f: &dyn Fn(usize) -> f64, rows: &[usize]| -> String {
                [0.05, 0.5, 0.95]
                    .map(|s| format!("{:.3}", quantile(rows.iter().map(|&k| f(k)), s).unwrap_or(f64::NAN)))
                    .join("/")
            };
            let _ = median([1.0]);
            let heat = review.runs[n].run.heat(runtrue::measure::hot_part::HotPart::Motor).unwrap();
            let w = heat.warming.as_ref();
            let heating = w.map(|w| w.whole_heating().value).unwrap_or(f64::NAN);
            let expected = heat.record.as_ref().and_then(|r| r.expected);
            let e = &trace.energy;
            let rel = done
                .answers
                .pull(&done.sound_log, review.runs[n].plan().settings.number("mass_kg"))
                .and_then(|p| p.regeared(&done.laps, 1.05));
            let real = weekend.driven_anew(n, |s| s.pinion = (s.pinion as f64 / 1.05).round() as u32);
            let g = run.setup.pinion as f64 / ((run.setup.pinion as f64 / 1.05).round());
            let span = trace.passings_s[trace.passings_s.len() - 1] - trace.passings_s[0];
            let said_w = expected.map_or(f64::NAN, |c| c.value * 90.0);
            println!(
                "{} seed {seed}: copper W said {:.2} true {:.2}; all W true {:.2}; C = true W / heating {:.1}; winding+can {:.0}; R said*0.8 {:.4} true winding {:.4}; drag brake {}",
                run.id,
                said_w,
                e.copper / span,
                (e.copper + e.iron) / span,
                (e.copper + e.iron) / span / heating,
                car.heat.winding_j_k + car.heat.can_j_k,
                0.8 * d.motor.resistance,
                car.motor.winding_ohm * 1.15,
                run.setup.drag_brake_pct
            );
            let _ = (&rel, &real, g);
            let _ = (&at_full, &fast, &fill, &q, top, hand, a, v);
        }
    }
}
