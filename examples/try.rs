use runtrue::demo::{car::CarSpec, drive::drive, recorder::Recorder, track::Track, weekend::plain_drive};
use runtrue::laps::{self, odometer::Odometer, lists::LapList, Source};
use rand::{SeedableRng,RngExt};
fn main() {
    let n: u64 = std::env::args().nth(1).map_or(20, |s| s.parse().unwrap());
    let mut errs = vec![]; let mut errs2=vec![]; let mut cover=0; let mut tot=0; let mut rat=vec![]; let mut found=vec![]; let mut cnt=0; let mut cnterr=0; let mut widths=vec![];
    let t0=std::time::Instant::now(); let mut spent=0.0;
    for spec in [CarSpec::tourer(), CarSpec::pan()] {
        for seed in 0..n {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed*7+1);
            let track = Track::invent(rng.random_range(120.0..320.0), if spec.foam {17.0} else {20.0}, &mut rng);
            let mut d = plain_drive(&spec); if seed%3==0 { d.spin=0.1; } if seed%4==1 { d.stops=vec![(3,4.0)]; }
            d.from_grid = seed%2==0; let tr = drive(&spec, &track, &d, seed+100);
            for hz in [10.0,20.0,50.0,100.0] {
                let rows = Recorder::plain(hz).sample(&tr, seed);
                let rpm = rows.channels[0].1.clone();
                let od = Odometer::from_rows(rows.time.clone(), rpm);
                let p0 = tr.passings[0];
                let list = LapList{passings: tr.passings.iter().map(|p| ((p-p0)*1000.0).round()/1000.0).collect(), notices: vec![]};
                let s0=std::time::Instant::now();
                let l = laps::measure(od.clone(), Some(&list), None);
                spent+=s0.elapsed().as_secs_f64();
                tot+=1;
                if l.source!=Source::List { println!("no list {} {} {}", spec.key, seed, hz); continue; }
                let f = l.first_passing.unwrap();
                let e=f.value-p0; errs.push(e.abs()); errs2.push(((seed%2) as f64, e.abs())); widths.push(f.half_width()); if f.holds(p0) {cover+=1;}
                if e.abs()>0.5 || !f.holds(p0) { println!("{} {} {} err {:.2} [{:.2},{:.2}] laps {} t {:.1} drift", spec.key, seed,hz,e,f.low-p0,f.high-p0,tr.passings.len()-1, tr.passings[1]-p0); }
                // ratio
                let truth: Vec<f64> = tr.passing_turns.windows(2).enumerate().filter(|(i,_)| d.stops.iter().all(|s| s.0!=*i)).map(|(_,w)| w[1]-w[0]).collect();
                let m = runtrue::quantity::median(truth).unwrap();
                let mm = runtrue::quantity::median(l.counted().map(|l| l.turns)).unwrap();
                rat.push(((mm/m-1.0)*100.0).abs());
                if ((mm/m-1.0)*100.0).abs()>0.15 { println!("   ratio off {} {} {} {:.3}%", spec.key, seed,hz,(mm/m-1.0)*100.0); }
                let l2 = laps::measure(od, None, None);
                cnt+=1; let c=l2.rows.len() as i64-(tr.passings.len() as i64-1); if c.abs()>1 { cnterr+=1; println!("   count {} {} {} {} vs {}", spec.key,seed,hz,l2.rows.len(),tr.passings.len()-1); }
                // place consistency: laps fraction of truth at found passing
                let fr: Vec<f64> = l2.counted().map(|l| { let i=(l.start_s*1000.0) as usize; tr.laps[i] }).collect();
                let base = runtrue::quantity::median(fr.iter().map(|x| x-x.floor())).unwrap();
                for l in l2.counted() { let i=(l.start_s*1000.0) as usize; let x=tr.laps[i]; let dx=(x-base+0.5).rem_euclid(1.0)-0.5; found.push((dx*track.length/tr.speed[i].max(1.0)).abs()); }
            }
        }
    }
    let q=|v:&Vec<f64>,p| runtrue::quantity::quantile(v.iter().copied(),p).unwrap();
    println!("align: median {:.3} p92 {:.3} max {:.2} cover {}/{} width med {:.2} p90 {:.2}", q(&errs,0.5),q(&errs,0.92),q(&errs,1.0),cover,tot,q(&widths,0.5),q(&widths,0.9));
    println!("ratio: median {:.4}% p95 {:.4} max {:.4}", q(&rat,0.5),q(&rat,0.95),q(&rat,1.0));
    println!("found: count bad {}/{}; time median {:.3} p90 {:.3}", cnterr,cnt,q(&found,0.5),q(&found,0.9));
    for k in [0.0,1.0] { let e: Vec<f64> = errs2.iter().filter(|x: &&(f64,f64)| x.0==k).map(|x| x.1).collect(); println!("start {k}: median {:.3} p92 {:.3}", q(&e,0.5), q(&e,0.92)); }
    println!("{:.1}s, align {:.1} ms each", t0.elapsed().as_secs_f64(), spent/tot as f64*1e3);
}
