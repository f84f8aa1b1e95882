//! Which lines of the sheet are missing that these logs would answer more with.

use super::conclude::ConcludedRun;
use crate::log::Channel;
use crate::sheet::Sheet;
use crate::sheet::starter::CAR;

/// Where on the sheet a line belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A table of the weekend, such as `track`.
    Table(&'static str),
    /// The car with this key.
    Car(String),
    /// The run with this id.
    Run(String),
}

/// A line that the sheet lacks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lack {
    /// Where it belongs.
    pub place: Place,
    /// Its key, dotted.
    pub key: &'static str,
    /// What it would answer.
    pub gives: &'static str,
}

/// Keys of a car, the channel without which they answer nothing, and what they answer.
const OF_CAR: [(&str, Channel, &str); 9] = [
    ("spur", Channel::Rpm, "is the gearing the one on the sheet"),
    ("pinion", Channel::Rpm, "is the gearing the one on the sheet"),
    ("internal_ratio", Channel::Rpm, "the final drive ratio; 1 for direct drive"),
    ("tyre_diameter_mm", Channel::Rpm, "rollout and realised ratio"),
    ("mass_kg", Channel::Current, "the pull on the ground, and what other pinions would do"),
    ("battery.cells", Channel::Voltage, "the lowest voltage of a cell"),
    ("battery.capacity_mah", Channel::Current, "what the battery had left"),
    ("limits.motor_c", Channel::MotorTemperature, "the motor's own limit in place of a default"),
    ("limits.esc_c", Channel::ControllerTemperature, "the controller's own limit in place of a default"),
];

/// The lines that the sheet lacks, the track's first, then each car's, then the runs'.
pub fn lacks(sheet: &Sheet, runs: &[ConcludedRun]) -> Vec<Lack> {
    let mut lacks = Vec::new();
    let has = |run: &ConcludedRun, channel| run.done().is_some_and(|d| d.log.channel(channel).is_some());
    if sheet.lap_length_m.is_none() && runs.iter().any(|r| has(r, Channel::Rpm)) {
        lacks.push(Lack {
            place: Place::Table("track"),
            key: "lap_length_m",
            gives: "what a motor turn moved the car, the realised ratio, the top speed",
        });
    }
    if sheet.race_s.is_none() && runs.iter().any(|r| r.done().is_some()) {
        lacks.push(Lack {
            place: Place::Table("race"),
            key: "length_s",
            gives: "what heat and battery are told for; 300 s is assumed",
        });
    }
    let car_of = |run: &ConcludedRun| if run.plan().car.is_empty() { CAR.to_owned() } else { run.plan().car.clone() };
    for (key, channel, gives) in OF_CAR {
        for run in runs.iter().filter(|r| has(r, channel) && !r.plan().settings.0.contains_key(key)) {
            let lack = Lack { place: Place::Car(car_of(run)), key, gives };
            if !lacks.contains(&lack) {
                lacks.push(lack);
            }
        }
    }
    let airless = |r: &&ConcludedRun| {
        let hot = has(r, Channel::MotorTemperature) || has(r, Channel::ControllerTemperature);
        hot && r.plan().ambient_c.is_none() && !has(r, Channel::Ambient)
    };
    lacks.extend(runs.iter().filter(airless).map(|run| Lack {
        place: Place::Run(run.plan().id.clone()),
        key: "ambient_c",
        gives: "how much of the heat is the air",
    }));
    lacks
}
