//! Faults of current and voltage.

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use runtrue::log::Channel::{Current, Voltage};
use runtrue::statistics::mean::mean_and_deviation;

use super::fault::Fault;
use super::judge::Question::{self, Battery, Power, Wheelspin};
use super::temperature::{STUCK_FROM, hold};

/// Half-width of the noise of a current that follows nothing, A.
const NOISE_A: f64 = 5.0;

pub fn faults() -> Vec<Fault> {
    vec![
        zero(),
        stuck_current(),
        current_gain(),
        not_following(),
        stuck_voltage(),
        too_high(),
        voltage_gain(),
        below_empty(),
    ]
}

const CURRENT: [&str; 1] = ["current"];
const VOLTAGE: [&str; 1] = ["voltage"];
/// What rests on them.
const OF_CURRENT: [Question; 3] = [Battery, Power, Wheelspin];
const OF_VOLTAGE: [Question; 2] = [Battery, Power];

fn zero() -> Fault {
    Fault::new("current zero", &STUCK_FROM, &CURRENT, &OF_CURRENT, |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let row = record.row_at(at.strength);
            record.column(Current)?.values[row..].fill(0.0);
            Some(())
        })
    })
}

/// Stuck at the mean of the run, which is a reading that a recorder may well show.
fn stuck_current() -> Fault {
    Fault::new("current stuck at a value", &STUCK_FROM, &CURRENT, &OF_CURRENT, |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let row = record.row_at(at.strength);
            let values = &mut record.column(Current)?.values;
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            values[row..].fill(mean);
            Some(())
        })
    })
}

fn current_gain() -> Fault {
    let gains = [("× 10", 10.0), ("× 2", 2.0), ("× 0.5", 0.5)];
    Fault::new("current gain", &gains, &CURRENT, &OF_CURRENT, |weekend, at| {
        weekend.edit_log(at.run, |record| {
            record.column(Current)?.values.iter_mut().for_each(|v| *v *= at.strength);
            Some(())
        })
    })
}

/// Readings that have nothing to do with what the motor takes.
fn not_following() -> Fault {
    let manners =
        [("noise about the mean", 0.0), ("its readings in random order", 1.0), ("the same from half on", 2.0)];
    Fault::new("current follows nothing", &manners, &CURRENT, &OF_CURRENT, |weekend, at| {
        let mut random = ChaCha8Rng::seed_from_u64(at.seed ^ 0x0cc0);
        weekend.edit_log(at.run, |record| {
            let row = if at.strength > 1.0 { record.row_at(0.5) } else { 0 };
            let values = &mut record.column(Current)?.values[row..];
            if at.strength > 0.0 {
                values.shuffle(&mut random);
            } else {
                let mean = mean_and_deviation(values)?.0;
                values.iter_mut().for_each(|v| *v = mean + random.random_range(-NOISE_A..NOISE_A));
            }
            Some(())
        })
    })
}

fn stuck_voltage() -> Fault {
    Fault::new("voltage stuck", &STUCK_FROM, &VOLTAGE, &OF_VOLTAGE, |weekend, at| {
        weekend.edit_log(at.run, |record| hold(record, Voltage, at.strength))
    })
}

/// So high that a full cell reads more than any lithium cell is charged to.
fn too_high() -> Fault {
    let volts = [("by 0.4 V a cell", 0.4), ("by 0.3 V a cell", 0.3), ("by 0.2 V a cell", 0.2)];
    Fault::new("voltage too high", &volts, &VOLTAGE, &OF_VOLTAGE, |weekend, at| {
        let off = at.strength * weekend.number(at.run, "battery.cells")?;
        weekend.edit_log(at.run, |record| {
            record.column(Voltage)?.values.iter_mut().for_each(|v| *v += off);
            Some(())
        })
    })
}

fn voltage_gain() -> Fault {
    let gains = [("× 0.8", 0.8), ("× 0.85", 0.85), ("× 0.9", 0.9)];
    Fault::new("voltage gain", &gains, &VOLTAGE, &OF_VOLTAGE, |weekend, at| {
        weekend.edit_log(at.run, |record| {
            record.column(Voltage)?.values.iter_mut().for_each(|v| *v *= at.strength);
            Some(())
        })
    })
}

/// At rest, before the run, the pack reads as empty, or emptier than a cell can be.
fn below_empty() -> Fault {
    let volts = [("1.5 V a cell", 1.5), ("2.5 V a cell", 2.5), ("2.9 V a cell", 2.9)];
    // An empty pack and one of fewer cells rest alike.
    let names = ["voltage", "battery.cells"];
    Fault::new("voltage at rest below empty", &volts, &names, &OF_VOLTAGE, |weekend, at| {
        let start = at.strength * weekend.number(at.run, "battery.cells")?;
        weekend.edit_log(at.run, |record| {
            let values = &mut record.column(Voltage)?.values;
            let off = start - values[0];
            values.iter_mut().for_each(|v| *v = (*v + off).max(0.0));
            Some(())
        })
    })
}
