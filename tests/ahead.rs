//! A race that is asked for, by one run of 300 s on a cool day, against the forward model driven in that race.

mod driven;

use driven::scores::against::{Against, share};
use driven::scores::every;
use driven::{driven, reviewed};
use rstest::rstest;
use runtrue::demo::recorder::Recorder;
use runtrue::quantity::Estimate;
use runtrue::statistics::quantiles::median;
use runtrue::weekend::ahead::{Wanted, ahead};

/// Length of the run's race and of the one that is asked for, s.
const RACE_S: f64 = 300.0;
const FINAL_S: f64 = 480.0;
/// Air of the final, °C.
const FINAL_AIR_C: f64 = 36.0;

/// Motor, controller and charge of the final, said and true; `None` where they are not said.
type Final = [Option<Against>; 3];

/// The final of every car and seed, with its own gears or a tooth fewer.
fn finals(seeds: u64, teeth: i32) -> Vec<Final> {
    every(seeds, |car, seed| {
        let run = driven(car, seed, |d| d.length = RACE_S);
        let pinion = car.pinion.saturating_add_signed(teeth);
        let last = driven(car, seed, |d| (d.length, d.ambient, d.pinion) = (FINAL_S, FINAL_AIR_C, pinion));
        let review = reviewed(&[(run, String::new())], &Recorder::plain(20.0));
        let wanted = Wanted {
            air_c: Some(FINAL_AIR_C),
            race_s: Some(FINAL_S),
            pinion: (teeth != 0).then_some(f64::from(pinion)),
            ..Wanted::default()
        };
        let said = ahead(&review.runs[0].run, RACE_S, wanted).unwrap();
        let end = ((last.trace.passings[0] + FINAL_S) * 1000.0) as usize;
        let charge = last.trace.current[..end].iter().sum::<f64>() / 3600.0;
        let against = |found: Option<Estimate>, truth| Some(Against { found: found?, truth });
        [
            against(said.motor_race_end_c, last.trace.motor_c[end]),
            against(said.controller_race_end_c, last.trace.controller_c[end]),
            against(said.used_mah, charge),
        ]
    })
}

#[rstest]
#[case::few(3)]
#[ignore = "the long form: .ci/run"]
#[case::all(20)]
fn a_longer_race_on_a_hot_day_is_foreseen(#[case] seeds: u64, #[values(0, -1)] teeth: i32) {
    let all = finals(seeds, teeth);
    for (n, name) in ["motor", "controller", "charge"].into_iter().enumerate() {
        let said: Vec<Against> = all.iter().filter_map(|of_final| of_final[n]).collect();
        let held = share(said.iter().map(Against::held));
        let off = median(said.iter().map(|a| a.off().abs())).unwrap();
        let worst = said.iter().map(|a| a.off().abs()).fold(0.0, f64::max);
        let half = median(said.iter().map(|a| a.found.half_width())).unwrap();
        println!(
            "{teeth:+} teeth, {name}: {} said, off {off:.2}, worst {worst:.2}, holds {:.0} %, ± {half:.2}",
            said.len(),
            100.0 * held
        );
        assert!(said.len() == all.len(), "{name}");
        assert!(held >= 0.95, "{name}: {held}");
    }
}
