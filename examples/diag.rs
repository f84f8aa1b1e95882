use runtrue::demo::{car::CarSpec, drive::drive, recorder::Recorder, track::Track, weekend::plain_drive};
use runtrue::laps::{self, odometer::Odometer, place::Places};
use rand::{SeedableRng,RngExt};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let spec = if a[1]=="pan" {CarSpec::pan()} else {CarSpec::tourer()};
    let seed: u64 = a[2].parse().unwrap();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed*7+1);
    let track = Track::invent(rng.random_range(120.0..320.0), if spec.foam {17.0} else {20.0}, &mut rng);
    let mut d = plain_drive(&spec); if seed%3==0 { d.spin=0.1; } if seed%4==1 { d.stops=vec![(3,4.0)]; }
    d.from_grid = seed%2==0; let tr = drive(&spec, &track, &d, seed+100);
    let rows = Recorder::plain(20.0).sample(&tr, seed);
    let od = Odometer::from_rows(rows.time.clone(), rows.channels[0].1.clone()).unwrap();
    let pl = Places::find(&od, None).unwrap();
    let lap: Vec<f64> = tr.passings.windows(2).map(|w| w[1]-w[0]).collect();
    println!("laps {:?}", lap.iter().map(|x| (x*100.0).round()/100.0).collect::<Vec<_>>());
    println!("corners {:?}", track.corners.iter().map(|c| ((c.0/track.length*1000.0).round()/1000.0, c.2.round())).collect::<Vec<_>>());
    println!("delta  v   sd_true(mm) sd_map sd_odo  sd_diff corr(diff,v)  skip={}", d.stops.len());
    let ok: Vec<usize> = (1..tr.passings.len()-1).filter(|i| d.stops.iter().all(|s| *i<s.0 || *i>s.0+1)).collect();
    let sd=|v:&Vec<f64>| { let m=v.iter().sum::<f64>()/v.len() as f64; (v.iter().map(|x|(x-m).powi(2)).sum::<f64>()/v.len() as f64).sqrt() };
    for k in -16..=16 { let dl=k as f64*0.25;
        let t: Vec<f64> = ok.iter().map(|i| tr.passings[*i]+dl).collect();
        let tl: Vec<f64> = t.iter().zip(&ok).map(|(t,i)| (tr.laps[(t*1000.0) as usize]-*i as f64)*track.length).collect();
        let ml: Vec<f64> = t.iter().map(|t| { let x=pl.laps_at(*t); x}).collect();
        let b=ml[0]; let ml: Vec<f64> = ml.iter().map(|x| ((x-b+0.5).rem_euclid(1.0)-0.5)*track.length).collect();
        let df: Vec<f64> = ml.iter().zip(&tl).map(|(a,b)| a-b).collect();
        let v: Vec<f64> = t.iter().map(|t| tr.speed[(t*1000.0) as usize]).collect();
        let (mv,md)=(v.iter().sum::<f64>()/v.len() as f64, df.iter().sum::<f64>()/v.len() as f64);
        let c=v.iter().zip(&df).map(|(a,b)|(a-mv)*(b-md)).sum::<f64>()/v.len() as f64/sd(&v)/sd(&df);
        println!("{:5.2} {:5.1} sdv {:.2}  true {:.3} map {:.3} diff {:.3} corr {:.2}", dl, mv, sd(&v), sd(&tl), sd(&ml), sd(&df), c);
    }
    for dl in [0.0,0.5,1.0] { let v: Vec<f64> = tr.passings.iter().enumerate().map(|(i,t)| { let _=i; pl.laps_at(*t+dl)}).collect(); println!("shift {dl}: {:?}", v.iter().map(|x| ((x-v[5]+0.5).rem_euclid(1.0)-0.5)*track.length).map(|x| (x*10.0).round()/10.0).collect::<Vec<_>>()); }
    println!("pos at start {:.2} first passing {:.2} followed {:?}", tr.laps[0]*track.length, tr.passings[0], pl.followed);
    let _=laps::measure(Some(od),None,None);
}
