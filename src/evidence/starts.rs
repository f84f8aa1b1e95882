//! Do the temperatures start where the air lets them?
//!
//! A part that has not been driven is as warm as the air, or warmer: by sun, or by a run before. It is colder only as
//! far as sensor and thermometer are wrong, or as a car that was kept in a cooler place. A start far below the air
//! means a wrong sensor where one part starts so, and a wrong air temperature where both parts do. Readings in °F that
//! are taken for °C, and the reverse, put the start exactly where the conversion of the air is.

use std::fmt::{self, Display};

use super::{AIR, Evidence, Member, RunToWeigh, Subject, Why as AnyWhy};
use crate::log::Channel;
use crate::statistics::quantiles::{highest, median};

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
const COOL_GAIN_K: f64 = 25.0;
/// In colder air than this a start in °F and a wrong air temperature look alike, °C.
const COLDEST_AIR_C: f64 = 8.0;
/// Airs of a day that are apart by more than this, where the cars start alike, °C. Common practice, no source.
const OTHER_AIR_K: f64 = 12.0;
/// Fewest other runs that tell a day's air.
const LEAST_OTHERS: usize = 3;
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
        /// The air of the other runs, °C.
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
                "check the air temperature on the sheet: it is in °C"
            }
            Self::Fahrenheit { .. } => "set the recorder to °C, or name the column's unit in the sheet's `[import]`",
            Self::Celsius { .. } => "name the column's unit in the sheet's `[import]`",
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BelowAir { start_c, air_c } => {
                write!(f, "it starts at {start_c:.0} °C, which is {:.0} °C below the air", air_c - start_c)
            }
            Self::AirTooWarm { start_c, air_c } => {
                write!(f, "motor and controller start at {start_c:.0} °C or less, and the sheet says {air_c:.0} °C")
            }
            Self::UnlikeOtherRuns { air_c, others_c } => write!(
                f,
                "the sheet says {air_c:.0} °C and {others_c:.0} °C for the other runs, and the car starts as warm as in those"
            ),
            Self::Fahrenheit { written, celsius } => {
                write!(f, "it starts at {written:.0}, which looks like °F and not °C: that would be {celsius:.0} °C")
            }
            Self::Celsius { written } => {
                write!(f, "it starts at {written:.0}, which looks like °C and not °F")
            }
            Self::BelowController { start_c, controller_c } => {
                write!(f, "the motor starts at {start_c:.0} °C and the controller at {controller_c:.0} °C")
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

    /// The unit that it was written in, where that is plainly not the one it was read in.
    fn other_unit(self, air_c: f64) -> Option<Why> {
        let (fahrenheit, celsius) = (self.celsius * 1.8 + 32.0, (self.celsius - 32.0) / 1.8);
        let near = (celsius - air_c).abs() <= CONVERTED_K && self.celsius - air_c > BELOW_AIR_K;
        if near && air_c >= COLDEST_AIR_C {
            Some(Why::Fahrenheit { written: self.celsius, celsius })
        } else if (fahrenheit - air_c).abs() <= CONVERTED_K && air_c - self.celsius > BELOW_AIR_K {
            Some(Why::Celsius { written: fahrenheit })
        } else {
            None
        }
    }
}

/// What the starts of a run's temperatures say of them and of the air.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let starts: Vec<Start> = [Channel::MotorTemperature, Channel::ControllerTemperature]
        .into_iter()
        .filter_map(|channel| Some(Start { channel, celsius: start_c(run, channel)? }))
        .collect();
    match (run.plan.ambient_c, starts.as_slice()) {
        (Some(air_c), [motor, controller]) => match warm_fahrenheit(*motor, *controller, air_c, gain_c(run, &starts)) {
            Some(found) => found,
            None => of_both(*motor, *controller, air_c),
        },
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

/// How much the hotter of the parts gains over the run, °C.
fn gain_c(run: &RunToWeigh, starts: &[Start]) -> f64 {
    let peak = |s: &Start| run.log.channel(s.channel).and_then(highest).map_or(0.0, |peak| peak - s.celsius);
    starts.iter().map(peak).fold(0.0, f64::max)
}

/// Both parts in °F at a warm start: they start far above the air, near each other, where °F would put a car that was
/// driven before, and gain as only a car that starts cool does.
fn warm_fahrenheit(motor: Start, controller: Start, air_c: f64, gain_c: f64) -> Option<Vec<Evidence>> {
    let both = [motor, controller];
    let converted = both.map(|s| (s.celsius - 32.0) / 1.8);
    let warm = both
        .iter()
        .zip(converted)
        .all(|(s, c)| s.celsius - air_c > HOT_START_K && (-CONVERTED_K..=WARM_START_K).contains(&(c - air_c)));
    let found = warm && gain_c > COOL_GAIN_K && air_c >= COLDEST_AIR_C;
    let doubted = |s: Start, celsius| s.doubted(Evidence::unusable, Why::Fahrenheit { written: s.celsius, celsius });
    found.then(|| both.iter().zip(converted).map(|(s, celsius)| doubted(*s, celsius)).collect())
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
    each.map(|(s, _)| s.doubted(Evidence::unusable, Why::BelowAir { start_c: s.celsius, air_c })).collect()
}

/// What the runs of a day say of each other's air: one whose air is far from the others' while its car starts as warm as
/// theirs.
pub fn weigh_together(members: &mut [Member]) {
    let coolest = |m: &Member| {
        let starts = [Channel::MotorTemperature, Channel::ControllerTemperature].into_iter();
        starts.filter_map(|channel| start_c(&m.run, channel)).min_by(f64::total_cmp)
    };
    let known: Vec<Option<(f64, f64)>> = members.iter().map(|m| m.run.plan.ambient_c.zip(coolest(m))).collect();
    for (n, member) in members.iter_mut().enumerate() {
        let Some((air_c, start_c)) = known[n] else { continue };
        let others: Vec<(f64, f64)> =
            known.iter().enumerate().filter(|(m, _)| *m != n).filter_map(|(_, k)| *k).collect();
        let (others_c, others_start) = (median(others.iter().map(|k| k.0)), median(others.iter().map(|k| k.1)));
        let (Some(others_c), Some(others_start), true) = (others_c, others_start, others.len() >= LEAST_OTHERS) else {
            continue;
        };
        let starts_alike = (start_c - others_start).abs() <= ALIKE_K;
        if starts_alike && (air_c - others_c).abs() > OTHER_AIR_K && (start_c - air_c).abs() > BELOW_AIR_K {
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
    // 31 °C is 88 °F; 31 taken for °F is -1 °C.
    #[case((88.0, 87.0, 31.0), &["motor_temperature", "controller_temperature"])]
    #[case((-0.5, -0.5, 31.0), &["motor_temperature", "controller_temperature"])]
    #[case((88.0, 31.0, 31.0), &["motor_temperature"])]
    fn what_starts_where_it_cannot(#[case] starts: (f64, f64, f64), #[case] doubted: &[&str]) {
        assert_eq!(subjects(starts.0, starts.1, starts.2), doubted);
    }
}
