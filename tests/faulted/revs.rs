//! Faults of the revs and of the recorder's clock.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use runtrue::log::Channel::{Rpm, Time};

use super::fault::Fault;
use super::judge::Question::{Battery, Gearing, Laps, Wheelspin};
use super::temperature::{STUCK_FROM, hold};

const RPM: [&str; 1] = ["rpm"];
/// How long a stretch without revs lasts, s.
const STRETCH_S: f64 = 3.0;

pub fn faults() -> Vec<Fault> {
    vec![stuck(), dropped_out(), scaled(), clock("fast", 1.0), clock("slow", -1.0)]
}

/// Stuck at a reading of the run: the middle row's, where it is stuck from the first one.
fn stuck() -> Fault {
    Fault::new("revs stuck", &STUCK_FROM, &RPM, &[Gearing, Wheelspin], |weekend, at| {
        weekend.edit_log(at.run, |record| {
            if at.strength > 0.0 {
                return hold(record, Rpm, at.strength);
            }
            let row = record.row_at(0.5);
            let values = &mut record.column(Rpm)?.values;
            let held = values[row..].iter().copied().find(|v| *v > 0.0)?;
            values.fill(held);
            Some(())
        })
    })
}

/// Zero for stretches that come at random and make up a share of the run.
fn dropped_out() -> Fault {
    let shares = [("40 % of the time", 0.40), ("15 %", 0.15), ("5 %", 0.05)];
    Fault::new("revs drop out", &shares, &RPM, &[Gearing, Wheelspin], |weekend, at| {
        let mut random = ChaCha8Rng::seed_from_u64(at.seed ^ 0xd40);
        weekend.edit_log(at.run, |record| {
            let time = record.time_s.clone();
            let stretches = (time.last()? / STRETCH_S) as usize;
            let out: Vec<bool> = (0..=stretches).map(|_| random.random_bool(at.strength)).collect();
            for (value, t) in record.column(Rpm)?.values.iter_mut().zip(&time) {
                if out[((t / STRETCH_S) as usize).min(stretches)] {
                    *value = 0.0;
                }
            }
            Some(())
        })
    })
}

fn scaled() -> Fault {
    let factors = [("× 7", 7.0), ("× 2", 2.0), ("× 0.5", 0.5)];
    let names = ["rpm", "motor.poles"];
    Fault::new("revs scaled", &factors, &names, &[Gearing], |weekend, at| {
        weekend.edit_log(at.run, |record| {
            record.column(Rpm)?.values.iter_mut().for_each(|v| *v *= at.strength);
            Some(())
        })
    })
}

/// The recorder's clock against that of the lap list: which of the two is wrong, the list does not say.
fn clock(words: &str, sign: f64) -> Fault {
    let shares = [("by 4 %", 0.04), ("by 2 %", 0.02), ("by 1 %", 0.01)];
    let names = ["time", "laps", "log"];
    Fault::new(format!("clock {words}"), &shares, &names, &[Gearing, Battery, Laps], move |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let factor = 1.0 + sign * at.strength;
            record.column(Time)?.values.iter_mut().for_each(|v| *v *= factor);
            record.time_s.iter_mut().for_each(|v| *v *= factor);
            Some(())
        })
    })
}
