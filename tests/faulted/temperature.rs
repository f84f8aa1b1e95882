//! Faults of a temperature sensor.

use runtrue::log::Channel::{self, ControllerTemperature, MotorTemperature};

use super::fault::{At, Fault};
use super::judge::Question::{self, Controller, Motor};
use super::weekend::{Record, Weekend};

/// A part with a sensor.
#[derive(Clone, Copy)]
struct Part {
    channel: Channel,
    question: Question,
    words: &'static str,
}

const MOTOR: Part = Part { channel: MotorTemperature, question: Motor, words: "motor temperature" };
const CONTROLLER: Part = Part { channel: ControllerTemperature, question: Controller, words: "controller temperature" };

/// From which share of the run on a channel is stuck.
pub const STUCK_FROM: [(&str, f64); 3] = [("from the first row", 0.0), ("from a fifth", 0.2), ("from half", 0.5)];
/// What a sensor that has come loose reads above the air, °C: it hangs in the body.
const LOOSE_ABOVE_AIR_C: f64 = 3.0;
/// Share of the run at which it comes loose, and at which a reading jumps.
const LOOSE_AT: f64 = 0.5;
const JUMP_AT: f64 = 0.4;
/// A clip this far below the peak must leave this much of the rise, or there is hardly a run left, °C.
const LEAST_RISE_C: f64 = 3.0;

pub fn faults() -> Vec<Fault> {
    let both = [MOTOR, CONTROLLER].into_iter().flat_map(|part| [stuck(part), loose(part), clipped(part), jump(part)]);
    let mut all: Vec<Fault> = both.chain([MOTOR, CONTROLLER].into_iter().flat_map(|p| [open(p), offset(p)])).collect();
    all.extend([fahrenheit(MOTOR), fahrenheit(CONTROLLER), celsius(MOTOR), celsius(CONTROLLER), swapped()]);
    all
}

fn on_part(
    part: Part,
    what: &str,
    strengths: &[(&'static str, f64)],
    put: impl Fn(&mut Weekend, At) -> Option<()> + Send + Sync + 'static,
) -> Fault {
    Fault::new(format!("{} {what}", part.words), strengths, &[part.channel.name()], &[part.question], put)
}

/// Holds a channel at its reading from a share of the log's time on.
pub fn hold(record: &mut Record, channel: Channel, from: f64) -> Option<()> {
    let row = record.row_at(from);
    let values = &mut record.column(channel)?.values;
    let held = values[row..].iter().copied().find(|v| v.is_finite())?;
    values[row..].fill(held);
    Some(())
}

fn stuck(part: Part) -> Fault {
    on_part(part, "stuck", &STUCK_FROM, move |weekend, at| {
        weekend.edit_log(at.run, |record| hold(record, part.channel, at.strength))
    })
}

/// Falls to a little above the air as quickly as the bare sensor cools.
fn loose(part: Part) -> Fault {
    let lags = [("cools in 3 s", 3.0), ("cools in 8 s", 8.0), ("cools in 20 s", 20.0)];
    on_part(part, "comes loose at half", &lags, move |weekend, at| {
        let rest = weekend.air_c(at.run)? + LOOSE_ABOVE_AIR_C;
        weekend.edit_log(at.run, |record| {
            let row = record.row_at(LOOSE_AT);
            let time = record.time_s.clone();
            let values = &mut record.column(part.channel)?.values;
            let held = values[row];
            for n in row..values.len() {
                values[n] = rest + (held - rest) * (-(time[n] - time[row]) / at.strength).exp();
            }
            Some(())
        })
    })
}

/// Never reads more than a plateau below the run's peak.
fn clipped(part: Part) -> Fault {
    let below = [("12 °C below the peak", 12.0), ("8 °C below", 8.0), ("5 °C below", 5.0)];
    on_part(part, "clipped", &below, move |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let values = &mut record.column(part.channel)?.values;
            let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max) - at.strength;
            if most < values[0] + LEAST_RISE_C {
                return None;
            }
            values.iter_mut().for_each(|v| *v = v.min(most));
            Some(())
        })
    })
}

/// From one row to the next the readings are higher, or lower, and stay so.
fn jump(part: Part) -> Fault {
    let steps = [("40 °C", 40.0), ("25 °C", 25.0), ("15 °C", 15.0)];
    on_part(part, "jumps", &steps, move |weekend, at| {
        let step = if at.seed.is_multiple_of(2) { at.strength } else { -at.strength };
        weekend.edit_log(at.run, |record| {
            let row = record.row_at(JUMP_AT);
            record.column(part.channel)?.values[row..].iter_mut().for_each(|v| *v += step);
            Some(())
        })
    })
}

/// No sensor, or a broken wire: one number in warm air.
fn open(part: Part) -> Fault {
    let readings = [("0 °C throughout", 0.0), ("−40 °C throughout", -40.0), ("0 °C from half on", 0.5)];
    on_part(part, "not connected", &readings, move |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let row = if at.strength > 0.0 { record.row_at(at.strength) } else { 0 };
            record.column(part.channel)?.values[row..].fill(at.strength.min(0.0));
            Some(())
        })
    })
}

/// The whole run reads so much lower that it starts colder than the air.
fn offset(part: Part) -> Fault {
    let starts = [("starts 24 °C below the air", 24.0), ("15 °C below", 15.0), ("10 °C below", 10.0)];
    on_part(part, "too low", &starts, move |weekend, at| {
        let start = weekend.air_c(at.run)? - at.strength;
        weekend.edit_log(at.run, |record| {
            let values = &mut record.column(part.channel)?.values;
            let off = start - values[0];
            values.iter_mut().for_each(|v| *v += off);
            Some(())
        })
    })
}

const WHOLE: [(&str, f64); 1] = [("", 0.0)];

fn fahrenheit(part: Part) -> Fault {
    on_part(part, "in °F under a °C header", &WHOLE, move |weekend, at| {
        weekend.edit_log(at.run, |record| {
            record.column(part.channel)?.values.iter_mut().for_each(|v| *v = *v * 1.8 + 32.0);
            Some(())
        })
    })
}

fn celsius(part: Part) -> Fault {
    on_part(part, "in °C under a °F header", &WHOLE, move |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let header = &mut record.column(part.channel)?.header;
            let renamed = header.replace("°C", "°F");
            (renamed != *header).then(|| *header = renamed)
        })
    })
}

fn swapped() -> Fault {
    let names = [MotorTemperature.name(), ControllerTemperature.name()];
    Fault::new("motor and controller temperature swapped", &WHOLE, &names, &[Motor, Controller], |weekend, at| {
        weekend.edit_log(at.run, |record| {
            let motor = record.column(MotorTemperature)?.values.clone();
            let controller = std::mem::replace(&mut record.column(ControllerTemperature)?.values, motor);
            record.column(MotorTemperature)?.values = controller;
            Some(())
        })
    })
}
