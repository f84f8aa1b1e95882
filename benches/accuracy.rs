//! probe
#[path = "../tests/driven/mod.rs"]
mod driven;
use driven::driven;
use runtrue::demo::car::CarSpec;
use runtrue::demo::recorder::Recorder;
use runtrue::measure::motor;
fn main() {
    let which = std::env::args().nth(1).unwrap_or_default();
    if which.contains("heat") {
        heat()
    }
    if which == "coast" {
        coast()
    }
    if which == "top" {
        topdbg()
    }
    if which == "lift" {
        lift()
    }
    if which == "pinion" {
        pinion()
    }
    if which == "weekends" {
        weekends()
    }
    if which == "changes" {
        changes()
    }
    if which == "look" {
        look(&CarSpec::pan(), 8, 50.0, 150.0, 150.9);
        look(&CarSpec::pan(), 5, 50.0, 95.2, 95.75);
    }
    if which.contains("spin") {
        spin(which.contains("v"))
    }
}
fn heat() {
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        let mut errors = vec![];
        for seed in 0..20u64 {
            let rate = [10.0, 20.0, 50.0, 100.0][seed as usize % 4];
            let run = driven(&car, seed, |d| {
                d.ambient = 18.0 + seed as f64;
                d.length = if seed % 2 == 0 { 300.0 } else { 480.0 };
                d.warm = (seed % 5) as f64 * 4.0;
                d.fan = [1.0, 0.0, 0.5][seed as usize % 3];
            });
            let end = run.trace.passings[0] + run.plan.length;
            let truth = run.trace.motor_c[(end * 1000.0) as usize];
            let truthc = run.trace.controller_c[(end * 1000.0) as usize];
            let cut = run.trace.passings[0] + 0.55 * run.plan.length;
            let (log, _, a) = run.answers(&Recorder::plain(rate), cut);
            let d = motor::demand(&log).unwrap();
            let m = a.motor.race_end_c.unwrap();
            let c = a.controller.race_end_c.unwrap();
            let full = d.full.iter().filter(|f| **f).count() as f64 / d.full.len() as f64;
            println!(
                "{} {seed} {rate}: start {:.0} at cut {:.1} truth {truth:.2} got {:.2} [{:+.2} {:+.2}] err {:+.2} {} tau {:.0} | esc {:+.2} ±{:.2} {}| k {:.3e} ({:.3e}) R {:.2} ({:.2}) full {:.2}",
                car.key,
                a.motor.start_c.unwrap(),
                run.trace.motor_c[(cut * 1000.0) as usize],
                m.value,
                m.low - m.value,
                m.high - m.value,
                m.value - truth,
                if m.holds(truth) { "" } else { "MISS" },
                a.motor.time_constant_s.unwrap(),
                c.value - truthc,
                c.half_width(),
                if c.holds(truthc) { "" } else { "MISS" },
                d.motor.constant,
                car.motor_constant,
                d.motor.resistance * 1000.0,
                car.resistance * 1000.0,
                full
            );
            errors.push(m.value - truth);
        }
        let n = errors.len() as f64;
        println!(
            "within 2: {:.2} within 3: {:.2} mean {:+.2}",
            errors.iter().filter(|e| e.abs() < 2.0).count() as f64 / n,
            errors.iter().filter(|e| e.abs() < 3.0).count() as f64 / n,
            errors.iter().sum::<f64>() / n
        );
    }
}
pub fn spin(verbose: bool) {
    use runtrue::laps;
    use runtrue::laps::odometer::Odometer;
    use runtrue::measure::wheelspin;
    for rate in [10.0, 20.0, 50.0, 100.0] {
        let (mut hits, mut misses, mut wrongs) = (0, 0, 0);
        let (mut spun, mut truly) = (0.0, 0.0);
        let mut classes = std::collections::BTreeMap::new();
        for car in [CarSpec::tourer(), CarSpec::pan()] {
            for seed in 0..20u64 {
                let run = driven(&car, seed, |d| {
                    d.spin = [0.0, 0.06, 0.15][seed as usize % 3];
                    d.length = 120.0;
                    if std::env::var("GENTLE").is_ok() {
                        d.spin_grip = (0.75, 0.95);
                        d.lock = 0.1;
                    }
                });
                let log = run.log(&Recorder::plain(rate));
                let laps = laps::measure(Odometer::new(&log), None, None);
                let found = wheelspin::measure(&laps, rate, None);
                let truth = run.trace.wheelspin();
                let meets = |e: &(f64, f64), f: &wheelspin::Event| e.0 < f.end_s && f.start_s < e.1;
                for e in &truth {
                    let peak = (e.0 * 1000.0) as usize..(e.1 * 1000.0) as usize;
                    let peak = peak.map(|n| 1.0 - run.trace.speed[n] / run.trace.wheel[n]).fold(0.0, f64::max);
                    let hit = found.events.iter().filter(|f| meets(e, f)).collect::<Vec<_>>();
                    let long = e.1 - e.0 >= 0.15;
                    if long {
                        let c = classes.entry((peak * 10.0) as i32).or_insert((0, 0, 0.0, 0.0));
                        c.0 += 1;
                        if hit.is_empty() {
                            c.1 += 1;
                            misses += 1
                        } else {
                            hits += 1
                        };
                        c.2 += e.1 - e.0;
                        c.3 += hit.iter().map(|h| h.end_s - h.start_s).sum::<f64>();
                    }
                    if verbose && (hit.is_empty() && long) {
                        println!("MISS {} {seed} {rate} {:.2}-{:.2} peak {peak:.2}", car.key, e.0, e.1);
                    }
                }
                for f in &found.events {
                    if !truth.iter().any(|e| meets(e, f)) {
                        wrongs += 1;
                        if verbose {
                            {
                                let r = (f.start_s * 1000.0) as usize..(f.end_s * 1000.0) as usize;
                                let over =
                                    r.clone().filter(|&n| 1.0 - run.trace.speed[n] / run.trace.wheel[n] > 0.2).count();
                                let p = r.map(|n| 1.0 - run.trace.speed[n] / run.trace.wheel[n]).fold(0.0, f64::max);
                                println!(
                                    "FALSE {} {seed} {rate} {:.2}-{:.2} peak {:.2} truly {p:.2} over {over} ms",
                                    car.key, f.start_s, f.end_s, f.peak_slip
                                )
                            };
                        }
                    }
                }
                spun += found.seconds.unwrap();
                truly += truth.iter().map(|e| e.1 - e.0).sum::<f64>();
            }
        }
        println!(
            "{rate}: F1 {:.3} miss {misses} false {wrongs} of {} time {:+.1}%",
            2.0 * hits as f64 / (2 * hits + misses + wrongs) as f64,
            hits + misses,
            100.0 * (spun / truly - 1.0)
        );
        for (c, v) in classes {
            println!(
                "   peak {:.1}: {} events, {} missed, true {:.1} s found {:.1} s",
                c as f64 / 10.0,
                v.0,
                v.1,
                v.2,
                v.3
            );
        }
    }
}
fn look(car: &CarSpec, seed: u64, rate: f64, from: f64, to: f64) {
    use runtrue::laps::odometer::Odometer;
    let run = driven(car, seed, |d| {
        d.spin = [0.0, 0.06, 0.15][seed as usize % 3];
        d.length = 120.0;
        if std::env::var("GENTLE").is_ok() {
            d.spin_grip = (0.75, 0.95);
            d.lock = 0.1;
        }
    });
    let log = run.log(&Recorder::plain(rate));
    let o = Odometer::new(&log).unwrap();
    let g = o.gripped();
    let per = run.trace.wheel[50000] / (run.trace.motor[50000] * 60.0 / std::f64::consts::TAU);
    println!("{} {seed}", car.key);
    let mut t = from;
    while t < to {
        let n = (t * 1000.0) as usize;
        println!(
            "{t:.2} wheel {:.2} car {:.2} slip {:.2} | revs {:.2} line {:.2} slip {:.2} | demand {:.2} A {:.1} W {:.0}",
            run.trace.wheel[n],
            run.trace.speed[n],
            1.0 - run.trace.speed[n] / run.trace.wheel[n],
            o.rpm_at(t) * per,
            g.rpm_at(t) * per,
            1.0 - g.rpm_at(t) / o.rpm_at(t),
            run.trace.throttle[n],
            run.trace.current[n],
            run.trace.current[n] * run.trace.voltage[n]
        );
        t += 0.02;
    }
}

fn coast() {
    use runtrue::log::Channel;
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        for seed in 0..6u64 {
            for rate in [10.0, 20.0, 50.0] {
                let mut ms = vec![];
                let mut ts = vec![];
                for drag in [0.03, 0.10] {
                    let run = driven(&car, seed, |d| {
                        d.length = 180.0;
                        d.drag_brake = drag;
                    });
                    let mut r = Recorder::plain(rate);
                    r.channels.push(Channel::Throttle);
                    let (_, _, a) = run.answers(&r, f64::INFINITY);
                    let t = &run.trace;
                    let top = t.speed.iter().copied().fold(0.0, f64::max);
                    let truth: Vec<f64> = (1..t.speed.len() - 1)
                        .filter(|&n| t.throttle[n].abs() < 0.02 && t.speed[n] > 0.25 * top && t.speed[n] < 0.75 * top)
                        .map(|n| (t.speed[n - 1] - t.speed[n + 1]) * 500.0)
                        .collect();
                    let truth = runtrue::quantity::median(truth).unwrap();
                    ms.push(a.power.coast_m_s2);
                    ts.push(truth);
                    if seed < 1 {
                        println!(
                            "top {:.2} {:?} pull {:?} full {:?}",
                            top,
                            a.power.top_speed_range_m_s,
                            a.power
                                .pull
                                .iter()
                                .map(|p| (
                                    p.speed_m_s as f32,
                                    p.acceleration_m_s2.value as f32,
                                    p.acceleration_m_s2.half_width() as f32
                                ))
                                .collect::<Vec<_>>(),
                            a.power.full_demand_share
                        );
                    }
                }
                println!(
                    "{} {seed} {rate}: {:?} {:?} truth {:.2} {:.2} change {:.3} for {:.3}",
                    car.key,
                    ms[0].map(|m| (m.value as f32, m.half_width() as f32)),
                    ms[1].map(|m| (m.value as f32, m.half_width() as f32)),
                    ts[0],
                    ts[1],
                    ms[1].map_or(0.0, |m| m.value) - ms[0].map_or(0.0, |m| m.value),
                    ts[1] - ts[0]
                );
            }
        }
    }
}
fn topdbg() {
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        for seed in 0..3u64 {
            let run = driven(&car, seed, |d| {
                d.length = 180.0;
            });
            let (_, laps, a) = run.answers(&Recorder::plain(50.0), f64::INFINITY);
            let t = &run.trace;
            let n = (0..t.speed.len()).max_by(|a, b| t.speed[*a].total_cmp(&t.speed[*b])).unwrap();
            let g = laps.gripped.as_ref().unwrap();
            let top_rpm = g.rows().1.iter().copied().fold(0.0, f64::max);
            println!(
                "{} {seed}: top {:.2} wheel {:.2} motor rpm {:.0} per turn at top by wheel {:.3} mm by car {:.3}; travel used {:.3} gripped top rpm {:.0} realised {:.3} at t {:.2} demand {:.2}",
                car.key,
                t.speed[n],
                t.wheel[n],
                t.motor[n] * 9.5493,
                t.wheel[n] / t.motor[n] * std::f64::consts::TAU * 1000.0,
                t.speed[n] / t.motor[n] * std::f64::consts::TAU * 1000.0,
                a.power.top_speed_m_s.unwrap() / top_rpm * 60000.0,
                top_rpm,
                a.gearing.realised_rollout_mm.unwrap().value,
                n as f64 / 1000.0,
                t.throttle[n]
            );
            for k in (0..300).step_by(50) {
                let k = n - 150 + k;
                println!(
                    "   {:.3} wheel {:.2} car {:.2} throttle {:.2}",
                    k as f64 / 1000.0,
                    t.wheel[k],
                    t.speed[k],
                    t.throttle[k]
                );
            }
        }
    }
}
fn lift() {
    let car = CarSpec::pan();
    let run = driven(&car, 2, |d| {
        d.length = 60.0;
        d.drag_brake = 0.10;
    });
    let t = &run.trace;
    let mut shown = 0;
    for n in 20000..t.speed.len() - 400 {
        if t.throttle[n - 1] > 0.3 && t.throttle[n] < 0.02 && t.speed[n] < 15.0 {
            shown += 1;
            if shown > 2 {
                break;
            }
            for k in (0..300).step_by(15) {
                let k = n - 15 + k;
                println!(
                    "{:.3} wheel {:.2} car {:.2} dw {:.2} dc {:.2} throttle {:.3}",
                    k as f64 / 1000.0,
                    t.wheel[k],
                    t.speed[k],
                    (t.wheel[k] - t.wheel[k - 10]) * 100.0,
                    (t.speed[k] - t.speed[k - 10]) * 100.0,
                    t.throttle[k]
                );
            }
            println!();
        }
    }
}

fn pinion() {
    use runtrue::log::Channel;
    use runtrue::measure::{motion, motor, pinion, warming::Scene};
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        for seed in 0..6u64 {
            let rate = 20.0;
            let base = driven(&car, seed, |d| d.length = 300.0);
            let (log, laps, a) = base.answers(&Recorder::plain(rate), f64::INFINITY);
            let d = motor::demand(&log).unwrap();
            let m = motion::motion(&log, &laps, &a.gearing, Some(&d)).unwrap();
            let p = pinion::pull(
                &d,
                &m,
                (log.channel(Channel::Voltage).unwrap(), log.channel(Channel::Current).unwrap()),
                a.battery.resistance_mohm.map(|r| r.value / 1000.0),
            )
            .unwrap();
            let end = |r: &driven::Driven| r.trace.motor_c[((r.trace.passings[0] + 300.0) * 1000.0) as usize];
            let top = |r: &driven::Driven| {
                let mut v: Vec<f64> = r
                    .trace
                    .passings
                    .windows(2)
                    .map(|w| {
                        r.trace.speed[(w[0] * 1000.0) as usize..(w[1] * 1000.0) as usize]
                            .iter()
                            .copied()
                            .fold(0.0, f64::max)
                    })
                    .collect();
                v.sort_by(f64::total_cmp);
                (v[v.len() / 2], v[v.len() - 1])
            };
            for teeth in [-2i32, -1, 1, 2] {
                let pin = (car.pinion as i32 + teeth) as u32;
                let other = driven(&car, seed, |d| {
                    d.length = 300.0;
                    d.pinion = pin;
                });
                let g = car.pinion as f64 / pin as f64;
                let r = p.regeared(&laps, g).unwrap();
                let w = a.motor.warming.as_ref().unwrap();
                let scene = Scene {
                    start_c: base.plan.ambient + base.plan.warm,
                    air_c: base.plan.ambient,
                    copper: 1.0,
                    spin: 1.0,
                    cooling: 1.0,
                    seconds: 300.0,
                };
                let dt = w.regeared(
                    &scene,
                    &Scene { copper: r.copper, spin: r.spin, ..scene },
                    a.motor.record.as_ref().unwrap().expected,
                );
                let (t0, t1) = (top(&base), top(&other));
                println!(
                    "{} {seed} {teeth:+}: heat {:+.2} ±{:.2} truth {:+.2} | top {:+.2} ±{:.2} % truth median {:+.2} % max {:+.2} % | copper {:.3} full {:.3}",
                    car.key,
                    dt.value,
                    dt.half_width(),
                    end(&other) - end(&base),
                    100.0 * r.top_change.value,
                    100.0 * r.top_change.half_width(),
                    100.0 * (t1.0 / t0.0 - 1.0),
                    100.0 * (t1.1 / t0.1 - 1.0),
                    r.copper,
                    d.full.iter().filter(|f| **f).count() as f64 / d.full.len() as f64
                );
            }
        }
    }
}

fn show(r: &runtrue::review::Review, only: &[&str]) {
    for t in &r.trends {
        if only.contains(&t.of.name()) {
            println!(
                "   {} {:?} {:?} cause {:?} per run {:.4} [{:?} {:?}]",
                t.of.name(),
                t.values.iter().map(|v| (v * 1000.0).round() / 1000.0).collect::<Vec<_>>(),
                t.verdict,
                t.cause,
                t.per_run,
                t.low,
                t.high
            );
        }
    }
}
fn weekends() {
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        for seed in 0..4u64 {
            let track = driven::track(&car, seed);
            let eight = |f: &dyn Fn(usize, &mut runtrue::demo::drive::Drive)| -> Vec<(driven::Driven, String)> {
                (0..8)
                    .map(|n| {
                        (
                            driven::driven_on(&car, &track, seed * 100 + n as u64, |d| {
                                d.length = 240.0;
                                d.warm = 2.0 + (n as f64 * 1.7) % 5.0;
                                f(n, d)
                            }),
                            String::new(),
                        )
                    })
                    .collect()
            };
            let rate = [20.0, 10.0, 50.0, 20.0][seed as usize % 4];
            println!("{} {seed} fan fading", car.key);
            if !car.foam {
                show(
                    &driven::reviewed(&eight(&|n, d| d.fan = 1.0 - n as f64 / 8.0), &Recorder::plain(rate)),
                    &["motor_cooling", "motor_peak_c"],
                );
            }
            println!("{} {seed} warming day", car.key);
            show(
                &driven::reviewed(&eight(&|n, d| d.ambient = 18.0 + 15.0 * n as f64 / 7.0), &Recorder::plain(rate)),
                &["motor_cooling", "motor_peak_c", "motor_rise_c", "controller_peak_c"],
            );
            println!("{} {seed} tyre wear 0.25 mm a run", car.key);
            show(
                &driven::reviewed(&eight(&|n, d| d.tyre -= 0.00025 * n as f64), &Recorder::plain(rate)),
                &["effective_tyre_mm"],
            );
        }
    }
}
fn changes() {
    let mut claimed = 0;
    let mut all = 0;
    for car in [CarSpec::tourer(), CarSpec::pan()] {
        for seed in 0..5u64 {
            let track = driven::track(&car, seed);
            let six =
                |line: &str, f: &dyn Fn(bool, &mut runtrue::demo::drive::Drive)| -> Vec<(driven::Driven, String)> {
                    (0..6)
                        .map(|n| {
                            let on = n >= 3;
                            (
                                driven::driven_on(&car, &track, seed * 100 + n as u64, |d| {
                                    d.length = 240.0;
                                    d.warm = 2.0 + (n as f64 * 1.7) % 5.0;
                                    d.ambient = 22.0 + (n as f64 * 2.3) % 4.0;
                                    f(on, d)
                                }),
                                if on { line.to_owned() } else { String::new() },
                            )
                        })
                        .collect()
                };
            let mut r = Recorder::plain(20.0);
            r.channels.push(runtrue::log::Channel::Throttle);
            let timing = six("motor.timing_deg = 37\n", &|on, d| {
                if on {
                    d.timing = (0.955, 1.10)
                }
            });
            let end = |r: &driven::Driven| {
                r.trace.motor_c[((r.trace.passings[0] + 240.0) * 1000.0) as usize] - r.plan.ambient
            };
            let mean = |s: &[(driven::Driven, String)]| s.iter().map(|r| end(&r.0)).sum::<f64>() / s.len() as f64;
            let truth = mean(&timing[3..]) - mean(&timing[..3]);
            let rev = driven::reviewed(&timing, &r);
            for c in &rev.comparisons {
                for e in &c.effects {
                    if e.of.name() == "motor_rise_c" {
                        println!(
                            "{} {seed} timing rise {:?} truth {truth:.2}",
                            car.key,
                            e.difference.map(|d| (d.value as f32, d.low as f32, d.high as f32))
                        );
                    }
                }
            }
            let rev = driven::reviewed(
                &six("drag_brake_pct = 10\n", &|on, d| {
                    if on {
                        d.drag_brake = 0.10
                    }
                }),
                &r,
            );
            for c in &rev.comparisons {
                for e in &c.effects {
                    if e.of.name() == "coast_m_s2" {
                        println!(
                            "{} {seed} drag coast {:?}",
                            car.key,
                            e.difference.map(|d| (d.value as f32, d.low as f32, d.high as f32))
                        );
                    }
                }
            }
            let rev = driven::reviewed(&six("sticker = \"red\"\n", &|_, _| ()), &r);
            for c in &rev.comparisons {
                for e in &c.effects {
                    all += 1;
                    if e.claimed() {
                        claimed += 1;
                        println!("{} {seed} false {:?} {:?}", car.key, e.of, e.difference);
                    }
                }
            }
        }
    }
    println!("false effects {claimed} of {all}");
}
