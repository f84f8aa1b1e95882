//! Are the temperatures those of the motor and the controller?
//!
//! A sensor that sticks, is clipped, has come loose or broken reads lower than its part, and every verdict on it comes
//! out too good. Each of the two is held against the heat that the load brings into its part ([`inertia`]), against
//! what no temperature does ([`plain`]), and against the car's other runs ([`together`]).

mod course;
mod inertia;
mod plain;
mod together;
mod why;

use course::Course;
use inertia::Departure;
use plain::Jump;

use super::{Evidence, RunToWeigh, Span, Subject};
use crate::log::Channel;

pub use together::weigh_together;
pub use why::Why;

/// A part that has a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The motor.
    Motor,
    /// The controller.
    Controller,
}

impl Part {
    /// Both, in the order of [`Course::sensors`].
    const BOTH: [Self; 2] = [Self::Motor, Self::Controller];

    fn subject(self) -> Subject {
        Subject::Channel(match self {
            Self::Motor => Channel::MotorTemperature,
            Self::Controller => Channel::ControllerTemperature,
        })
    }

    fn index(self) -> usize {
        usize::from(self == Self::Controller)
    }

    fn words(self) -> &'static str {
        match self {
            Self::Motor => "motor",
            Self::Controller => "controller",
        }
    }
}

/// With rows farther apart than this, s, the course of a temperature is not seen.
const LONGEST_STEP_S: f64 = 5.0;
/// Less of a run than this tells nothing of a temperature, s.
const LEAST_SOUND_S: f64 = 30.0;
/// What is left out before a sensor was seen to go wrong, s: the steps over which readings are averaged.
const MARGIN_S: f64 = 2.0;

/// What one run by itself says of them.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let course = Course::new(run);
    if course.step_s > LONGEST_STEP_S {
        return Vec::new();
    }
    Part::BOTH.into_iter().filter_map(|part| weigh_sensor(&course, part, run.plan.ambient_c)).collect()
}

fn weigh_sensor(course: &Course, part: Part, air_c: Option<f64>) -> Option<Evidence> {
    let sensor = part.index();
    if let Some(by_c) = plain::swing(course, sensor) {
        return Some(Evidence::unusable(part.subject(), super::Why::Temperature(Why::Swings { part, by_c })));
    }
    if let Some(still) = plain::stood_still(course, sensor, air_c).filter(|still| !still.may_balance) {
        return Some(stood_still(course, part, still.at_c));
    }
    let jumped = plain::jump(course, sensor);
    let too_soon = plain::stood_too_soon(course, sensor, air_c);
    let left = inertia::departure(course, sensor).filter(|left| too_soon.is_none_or(|step| left.last_sound < step));
    let (last_sound, why) = match (jumped, left) {
        // A jump down is a departure too.
        (Some(jump), left) if left.is_none_or(|l| l.last_sound + course.steps(LEAST_SOUND_S) > jump.last_sound) => {
            (jump.last_sound, jump_why(course, part, &jump))
        }
        (_, Some(left)) if left.flat => {
            (left.last_sound, flat_why(course, part, &left, &course.sensors[sensor].as_ref()?.celsius))
        }
        (_, Some(left)) => (left.last_sound, came_loose(course, part, left.last_sound)?),
        (_, None) => {
            let last_sound = too_soon?;
            let at_c = course.sensors[sensor].as_ref()?.celsius[last_sound];
            (last_sound, Why::StoodStill { part, at_c, driven_s: course.driven_s(last_sound..course.drives.len()) })
        }
    };
    let jumped = matches!(why, Why::Jumped { .. });
    match inertia::fell_from(course, sensor, last_sound).filter(|_| !jumped) {
        Some(highest) => Some(sound_until(course, part, highest, came_loose(course, part, highest)?)),
        None => Some(sound_until(course, part, last_sound, why)),
    }
}

fn stood_still(course: &Course, part: Part, at_c: f64) -> Evidence {
    let why = Why::StoodStill { part, at_c, driven_s: course.driven_s(0..course.drives.len()) };
    Evidence::unusable(part.subject(), super::Why::Temperature(why))
}

/// Only what comes before is sound; nothing, where that is too little.
fn sound_until(course: &Course, part: Part, last_sound: usize, why: Why) -> Evidence {
    let why = super::Why::Temperature(why);
    if course.driven_s(0..last_sound) < LEAST_SOUND_S {
        return Evidence::unusable(part.subject(), why);
    }
    let to_s = (course.time_s(last_sound) - MARGIN_S).max(0.0);
    Evidence::partly(part.subject(), why, Span { from_s: 0.0, to_s })
}

fn jump_why(course: &Course, part: Part, jump: &Jump) -> Why {
    Why::Jumped { part, at_s: course.time_s(jump.last_sound + 1), from_c: jump.from_c, to_c: jump.to_c }
}

fn came_loose(course: &Course, part: Part, last_sound: usize) -> Option<Why> {
    let celsius = &course.sensors[part.index()].as_ref()?.celsius;
    let to_c = celsius[last_sound..].iter().copied().filter(|c| c.is_finite()).fold(f64::INFINITY, f64::min);
    Some(Why::CameLoose { part, from_s: course.time_s(last_sound), from_c: celsius[last_sound], to_c })
}

fn flat_why(course: &Course, part: Part, left: &Departure, celsius: &[f64]) -> Why {
    let from_s = course.time_s(left.last_sound);
    let quantum = course.quantum(part.index());
    let highest = celsius.iter().copied().filter(|c| c.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let comes_down = celsius[left.last_sound..].iter().any(|c| *c < left.read_c - 1.5 * quantum);
    if comes_down && left.read_c > highest - 1.5 * quantum {
        Why::Clipped { part, most_c: left.read_c, from_s }
    } else {
        Why::Stopped { part, at_c: left.read_c, from_s, least_c: left.least_c }
    }
}
