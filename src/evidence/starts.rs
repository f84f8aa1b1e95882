//! Do the temperatures start where the air lets them?
//!
//! A part that has not been driven is as warm as the air, or warmer: by sun, or by a run before. It is colder only as
//! far as sensor and thermometer are wrong, or as a car that was kept in a cooler place. A start far below the air
//! means a wrong sensor where one part starts so, and a wrong air temperature where both parts do. Readings in °F that
//! are taken for °C, and the reverse, put the start exactly where the conversion of the air is.

use std::fmt::{self, Display};

use super::{AIR, Evidence, Member, RunToWeigh, Subject, Why as AnyWhy, from_fahrenheit};
use crate::log::Channel;
use crate::statistics::quantiles::{highest, median};
use crate::units::measure::{DEGREES, TEMPERATURE};
use crate::wording::value;

/// Time over which a start is taken, s.
const START_S: f64 = 3.0;
/// A part may start this far below the air, °C: 3 °C of a sensor, 2 °C of a thermometer, and a car that comes out of a
/// cooler place. Common practice, no source.
const BELOW_AIR_K: f64 = 8.0;
/// Farther below than this, no cooler place explains it, °C. Common practice, no source.
const FAR_BELOW_AIR_K: f64 = 15.0;
/// Motor and controller of a car that has stood for long agree within this, °C: two sensors of ± 3 °C.
const ALIKE_K: f64 = 6.0;
/// A start this near to the converted air is a reading in the other unit, °C: a sensor's 3 °C and a thermometer's 2 °C
/// in quadrature.
const CONVERTED_K: f64 = 4.0;
/// Below the air by more than this is no sensor's rounding, °C.
const SURELY_BELOW_K: f64 = 3.0;
/// A car that starts so far above the air has only just come off the track, °C. Common practice, no source.
const HOT_START_K: f64 = 40.0;
/// As far above the air as a car starts that was driven some time before, °C. Common practice, no source.
const WARM_START_K: f64 = 20.0;
/// A part that starts hot gains less than this, °C: it is near what it can reach. Common practice, no source.
const COOL_GAIN_K: f64 = 40.0;
/// In colder air than this a start in °F and a wrong air temperature look alike, °C.
const COLDEST_AIR_C: f64 = 8.0;
/// Airs of a day that are apart by more than this, where the cars start alike, °C. Common practice, no source.
const OTHER_AIR_K: f64 = 12.0;
/// A motor may start this far below its controller, °C: both sensors wrong by 3 °C, and a controller that stays on
/// while the motor cools. Common practice, no source.
const MOTOR_BELOW_K: f64 = 15.0;

/// Why a start cannot be true.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// One part starts below the air.
    BelowAir {
        /// Its first reading, °C.
        start_c: f64,
        /// The air, °C.
        air_c: f64,
    },
    /// Motor and controller both start below the air on the sheet.
    AirTooWarm {
        /// The warmer of their first readings, °C.
        start_c: f64,
        /// The air on the sheet, °C.
        air_c: f64,
    },
    /// Degrees Fahrenheit were read as degrees Celsius.
    Fahrenheit {
        /// The first reading as it is written.
        written: f64,
        /// The same read as °F, in °C.
        celsius: f64,
    },
    /// Degrees Celsius were read as degrees Fahrenheit.
    Celsius {
        /// The first reading as it is written.
        written: f64,
    },
    /// The car starts as in the other runs, and the air on the sheet is another.
    UnlikeOtherRuns {
        /// The air on the sheet, °C.
        air_c: f64,
        /// The air of the runs next to it, °C.
        others_c: f64,
    },
    /// The motor starts far colder than the controller.
    BelowController {
        /// Its first reading, °C.
        start_c: f64,
        /// The controller's, °C.
        controller_c: f64,
    },
}

impl Why {
    /// What to do about it.
    pub fn advice(self) -> &'static str {
        match self {
            Self::BelowAir { .. } | Self::BelowController { .. } => "check the sensor, its plug and its cable",
            Self::AirTooWarm { .. } | Self::UnlikeOtherRuns { .. } => {
                "check the air temperature on the sheet; a number without a unit is in °C, not °F"
            }
            Self::Fahrenheit { .. } => "set the recorder to °C, or name the column's unit in the sheet's `[import]`",
            Self::Celsius { .. } => "name the column's unit in the sheet's `[import]`",
        }
    }
}

/// A temperature in a sentence.
fn degrees(temperature_c: f64) -> String {
    value(temperature_c, 0, TEMPERATURE)
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BelowAir { start_c, air_c } => {
                let below = value(air_c - start_c, 0, DEGREES);
                write!(f, "it starts at {}, which is {below} below the air", degrees(*start_c))
            }
            Self::AirTooWarm { start_c, air_c } => {
                let (start, air) = (degrees(*start_c), degrees(*air_c));
                write!(f, "motor and controller start at {start} or less, and the sheet says {air} of air")
            }
            Self::UnlikeOtherRuns { air_c, others_c } => write!(
                f,
                "the sheet says {}, and {} for the runs next to it, where the car starts much the same",
                degrees(*air_c),
                degrees(*others_c)
            ),
            Self::Fahrenheit { written, celsius } => {
                write!(f, "it starts at {written:.0}, which looks like °F and not °C: that would be {celsius:.0} °C")
            }
            Self::Celsius { written } => {
                write!(f, "it starts at {written:.0}, which looks like °C and not °F")
            }
            Self::BelowController { start_c, controller_c } => {
                let (start, controller) = (degrees(*start_c), degrees(*controller_c));
                write!(f, "the motor starts at {start} and the controller at {controller}")
            }
        }
    }
}

/// A part's first reading, °C.
#[derive(Clone, Copy)]
struct Start {
    channel: Channel,
    celsius: f64,
}

impl Start {
    fn doubted(self, worth: fn(Subject, AnyWhy) -> Evidence, why: Why) -> Evidence {
        worth(Subject::Channel(self.channel), AnyWhy::Start(why))
    }

    /// Far below the air it is unusable; nearer, it may be.
    fn below(self, air_c: f64, why: Why) -> Evidence {
        let far = air_c - self.celsius > FAR_BELOW_AIR_K;
        self.doubted(if far { Evidence::unusable } else { Evidence::doubtful }, why)
    }

    /// Whether it was written in °C and read as °F: then it is far below the air, and so written the air itself.
    fn other_unit(self, air_c: f64) -> Option<Why> {
        let written = self.celsius * 1.8 + 32.0;
        let is_air = (written - air_c).abs() <= CONVERTED_K && air_c - self.celsius > BELOW_AIR_K;
        is_air.then_some(Why::Celsius { written })
    }
}

/// What the starts of a run's temperatures say of them and of the air.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let starts: Vec<Start> = [Channel::MotorTemperature, Channel::ControllerTemperature]
        .into_iter()
        .filter_map(|channel| Some(Start { channel, celsius: start_c(run, channel)? }))
        .collect();
    match (run.plan.ambient_c, starts.as_slice()) {
        (Some(air_c), [motor, controller]) => {
            let found = warm_fahrenheit(run, *motor, *controller, air_c);
            if found.is_empty() { of_both(*motor, *controller, air_c) } else { found }
        }
        (Some(air_c), [only]) => of_one(*only, air_c),
        (None, [motor, controller]) if controller.celsius - motor.celsius > MOTOR_BELOW_K => {
            let why = Why::BelowController { start_c: motor.celsius, controller_c: controller.celsius };
            vec![motor.doubted(Evidence::doubtful, why)]
        }
        _ => Vec::new(),
    }
}

/// The first reading of a part, °C.
fn start_c(run: &RunToWeigh, channel: Channel) -> Option<f64> {
    let values = run.log.channel(channel)?;
    let first = values.iter().copied().find(|v| v.is_finite())?;
    let early = run.log.time().iter().zip(values).filter(|(t, v)| **t <= START_S && v.is_finite()).map(|(_, v)| *v);
    Some(median(early).unwrap_or(first))
}

/// How much a part gains over the run, °C.
fn gain_c(run: &RunToWeigh, channel: Channel, start_c: f64) -> f64 {
    run.log.channel(channel).and_then(highest).map_or(0.0, |peak| peak - start_c)
}

/// Parts in °F at a warm start: such a part starts far above the air, where °F would put it near the other part or near
/// a car that was driven before, and gains as only a part that starts cool does. No controller starts so far above its
/// motor.
fn warm_fahrenheit(run: &RunToWeigh, motor: Start, controller: Start, air_c: f64) -> Vec<Evidence> {
    let is_so = |part: Start, beside: Start| {
        let celsius = from_fahrenheit(part.celsius);
        let warm = (-CONVERTED_K..=WARM_START_K).contains(&(celsius - air_c));
        let beside_too = from_fahrenheit(beside.celsius);
        let near = (celsius - beside.celsius).abs() <= BELOW_AIR_K || (celsius - beside_too).abs() <= BELOW_AIR_K;
        let gains = gain_c(run, part.channel, part.celsius) > COOL_GAIN_K;
        let above_motor = part.channel == Channel::ControllerTemperature && part.celsius - beside.celsius > HOT_START_K;
        part.celsius - air_c > HOT_START_K && air_c >= COLDEST_AIR_C && warm && near && (gains || above_motor)
    };
    let doubted = |part: Start| {
        let celsius = from_fahrenheit(part.celsius);
        part.doubted(Evidence::unusable, Why::Fahrenheit { written: part.celsius, celsius })
    };
    let is_motor_so = is_so(motor, controller);
    // Beside such a motor, a controller that starts like it is so too, however little it gains.
    let alike = (motor.celsius - controller.celsius).abs() <= 1.8 * BELOW_AIR_K;
    let is_controller_so = is_so(controller, motor) || is_motor_so && alike;
    let found = [(motor, is_motor_so), (controller, is_controller_so)];
    found.into_iter().filter(|(_, is_so)| *is_so).map(|(part, _)| doubted(part)).collect()
}

fn of_both(motor: Start, controller: Start, air_c: f64) -> Vec<Evidence> {
    let both = [motor, controller];
    let below = both.map(|s| air_c - s.celsius > BELOW_AIR_K);
    let alike = (motor.celsius - controller.celsius).abs() <= ALIKE_K;
    let units = both.map(|s| s.other_unit(air_c));
    // Parts that are alike are at rest, and so as warm as the air: what they read is the air in another unit. One part
    // alone is so only if the other reads the air as it is.
    let read_air = |s: Start| (s.celsius - air_c).abs() <= BELOW_AIR_K;
    if let ([Some(one), Some(other)], true) = (units, alike || below == [true, true]) {
        return vec![motor.doubted(Evidence::unusable, one), controller.doubted(Evidence::unusable, other)];
    }
    for (part, unit, beside) in [(motor, units[0], controller), (controller, units[1], motor)] {
        if let (Some(unit), true) = (unit, read_air(beside)) {
            return vec![part.doubted(Evidence::unusable, unit)];
        }
    }
    let cooler = both.iter().all(|s| air_c - s.celsius > SURELY_BELOW_K);
    if below != [false, false] && cooler && alike {
        let why = AnyWhy::Start(Why::AirTooWarm { start_c: motor.celsius.max(controller.celsius), air_c });
        let far = both.iter().any(|s| air_c - s.celsius > FAR_BELOW_AIR_K);
        let worth = if far { Evidence::unusable } else { Evidence::doubtful };
        return vec![worth(Subject::Setting(AIR), why)];
    }
    let each = both.iter().zip(below).filter(|(_, below)| *below);
    each.map(|(s, _)| s.below(air_c, Why::BelowAir { start_c: s.celsius, air_c })).collect()
}

/// What the runs of a car say of each other's air: one whose air is far from that of the runs next to it, while the car
/// does not start colder or warmer by as much.
pub fn weigh_together(members: &mut [Member]) {
    let coolest = |m: &Member| {
        let starts = [Channel::MotorTemperature, Channel::ControllerTemperature].into_iter();
        starts.filter_map(|channel| start_c(&m.run, channel)).min_by(f64::total_cmp)
    };
    let known: Vec<Option<(f64, f64)>> = members.iter().map(|m| m.run.plan.ambient_c.zip(coolest(m))).collect();
    let cars: Vec<String> = members.iter().map(|m| m.car().to_owned()).collect();
    for (n, member) in members.iter_mut().enumerate() {
        let Some((air_c, start_c)) = known[n] else { continue };
        let of_car = |m: &usize| cars[*m] == cars[n] && known[*m].is_some();
        // The runs next to it in time, on either side where there are.
        let before: Vec<usize> = (0..n).rev().filter(of_car).take(2).collect();
        let after: Vec<usize> = (n + 1..known.len()).filter(of_car).take(2).collect();
        let beside: Vec<(f64, f64)> = match (before.as_slice(), after.as_slice()) {
            ([one, ..], [other, ..]) => vec![*one, *other],
            ([one, other], _) | (_, [one, other]) => vec![*one, *other],
            _ => continue,
        }
        .into_iter()
        .filter_map(|m| known[m])
        .collect();
        let [(one_c, one_start), (other_c, other_start)] = beside.as_slice() else { continue };
        let others_c = (one_c + other_c) / 2.0;
        let above_air = (one_start - one_c + other_start - other_c) / 2.0;
        let alike = (one_c - other_c).abs() <= ALIKE_K;
        // A car that starts as warm as its own air says that the air is right.
        let start_is_off = (start_c - air_c - above_air).abs() > BELOW_AIR_K && (start_c - air_c).abs() > ALIKE_K;
        if alike && (air_c - others_c).abs() > OTHER_AIR_K && start_is_off {
            let why = AnyWhy::Start(Why::UnlikeOtherRuns { air_c, others_c });
            member.evidence.add(Evidence::doubtful(Subject::Setting(AIR), why));
        }
    }
}

/// With one sensor it is open whether sensor or air is wrong: both are doubted.
fn of_one(only: Start, air_c: f64) -> Vec<Evidence> {
    if air_c - only.celsius <= BELOW_AIR_K {
        return Vec::new();
    }
    let why = only.other_unit(air_c).unwrap_or(Why::BelowAir { start_c: only.celsius, air_c });
    let air = AnyWhy::Start(Why::AirTooWarm { start_c: only.celsius, air_c });
    vec![only.below(air_c, why), Evidence::doubtful(Subject::Setting(AIR), air)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    fn subjects(motor_c: f64, controller_c: f64, air_c: f64) -> Vec<&'static str> {
        let motor = Start { channel: Channel::MotorTemperature, celsius: motor_c };
        let controller = Start { channel: Channel::ControllerTemperature, celsius: controller_c };
        of_both(motor, controller, air_c).iter().map(|e| e.of.key()).collect()
    }

    #[rstest]
    // As warm as the air, a warm start, a hot motor beside a controller that has cooled, a car from a cool hall.
    #[case((31.0, 31.0, 31.0), &[])]
    #[case((58.0, 44.0, 31.0), &[])]
    #[case((88.0, 45.0, 31.0), &[])]
    #[case((25.0, 25.0, 31.0), &[])]
    // One part below the air, by a lot and by less.
    #[case((7.0, 31.0, 31.0), &["motor_temperature"])]
    #[case((31.0, 21.0, 31.0), &["controller_temperature"])]
    #[case((0.0, 31.0, 31.0), &["motor_temperature"])]
    // Both alike: it is the air.
    #[case((31.0, 31.0, 60.0), &["ambient_c"])]
    #[case((20.0, 21.0, 31.0), &["ambient_c"])]
    // 31 °C that is taken for °F is -1 °C.
    #[case((-0.5, -0.5, 31.0), &["motor_temperature", "controller_temperature"])]
    fn what_starts_where_it_cannot(#[case] starts: (f64, f64, f64), #[case] doubted: &[&str]) {
        assert_eq!(subjects(starts.0, starts.1, starts.2), doubted);
    }
}
