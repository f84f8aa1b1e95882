//! Can the sheet's own values be true?
//!
//! Limits are held against what makers give, and the lap length against all runs of all cars: where every run of every
//! car needs the same other length, it is the length that is wrong, and not each pinion. The number of cells, the
//! capacity and the mass are held against current and voltage ([`super::electrics`]), the air against the first
//! readings ([`super::starts`]).

use std::collections::BTreeSet;
use std::fmt::{self, Display};

use super::{Evidence, LAP_LENGTH, Member, RunToWeigh, Subject, Why as AnyWhy, from_fahrenheit};
use crate::gears::set_rollout_mm;
use crate::log::Channel;
use crate::quantity::COVERAGE_95;
use crate::sheet::{Setting, Sheet};
use crate::statistics::quantiles::median;
use crate::units::measure::{METRES, TEMPERATURE};
use crate::wording::{stated, value};

/// No maker lets a motor or a controller of a model car get hotter than this, °C: magnets and solder do not last.
/// Common practice, no source.
const HIGHEST_LIMIT_C: f64 = 150.0;
/// Limits that makers give, °C. Common practice, no source.
const USUAL_LIMITS_C: std::ops::RangeInclusive<f64> = 60.0..=125.0;
/// How far a lap's turns lie above those by the sheet where all is right, and its standard uncertainty, relative: drive
/// slip, the flattened tyre and the driven line. Common practice, no source.
const ABOVE_SHEET: f64 = 0.011;
const ABOVE_SHEET_U: f64 = 0.009;
/// Standard uncertainty of a tyre's diameter, relative: two tenths of a millimetre in sixty.
const TYRE_U: f64 = 0.002;
/// Off by so many standard uncertainties, the sheet does not explain the runs.
const FAR: f64 = 3.0;
/// Cars, and the runs of one car, are off alike within this, relative: less than a tooth of thirty.
const ALIKE: f64 = 0.02;
/// Share of a car's runs that must be alike: one may have had another pinion.
const MOST: f64 = 0.75;

/// Why a value of the sheet is not sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// The reader refused it: it is shown as written.
    Refused(String),
    /// No maker gives such a limit.
    Limit {
        /// The limit, °C.
        limit_c: f64,
        /// The limit that makers give where the number is one in °F, °C.
        from_fahrenheit_c: Option<f64>,
    },
    /// Every run of every car needs another lap length.
    LapLength {
        /// The length on the sheet, m.
        stated_m: f64,
        /// The length that the runs need, m.
        needed_m: f64,
        /// Cars that say so.
        cars: usize,
    },
}

impl Why {
    /// What to do about it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Refused(_) => "correct it on the sheet",
            Self::Limit { .. } => "enter the maker's limit in °C, or with its unit",
            Self::LapLength { cars: 1, .. } => "measure the lap along the line you drive, and count the pinion's teeth",
            Self::LapLength { .. } => "measure the lap along the line you drive",
        }
    }
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(written) => write!(f, "the sheet says {written}, which is not possible"),
            Self::Limit { limit_c, from_fahrenheit_c: Some(celsius) } => {
                write!(f, "{limit_c:.0} °C is far above any maker's limit; {limit_c:.0} °F would be {celsius:.0} °C")
            }
            Self::Limit { limit_c, .. } => {
                write!(f, "{} is far above any maker's limit", value(*limit_c, 0, TEMPERATURE))
            }
            Self::LapLength { stated_m, needed_m, cars } => {
                let whose = if *cars == 1 { "every run of the car" } else { "every run of all cars" };
                let (needed, said) = (value(*needed_m, 0, METRES), stated(*stated_m, METRES));
                write!(f, "{whose} gives a lap of about {needed}, and the sheet says {said}")?;
                if *cars == 1 { f.write_str("; or the pinion was another in all of them") } else { Ok(()) }
            }
        }
    }
}

/// What one run by itself says of its values.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    let refused = run.plan.settings.0.iter().filter_map(|(path, value)| match value {
        Setting::Refused(written) => {
            let subject = Subject::Setting(crate::sheet::keys::find(path)?.path);
            Some(Evidence::unusable(subject, AnyWhy::Sheet(Why::Refused(written.clone()))))
        }
        _ => None,
    });
    let limits = ["limits.motor_c", "limits.esc_c"].into_iter().filter_map(|path| {
        let limit_c = run.plan.settings.number(path).filter(|c| *c > HIGHEST_LIMIT_C)?;
        // One that was written with its unit is what it says.
        let is_bare = matches!(run.plan.settings.0.get(path), Some(Setting::Number(_)));
        let from_fahrenheit_c = Some(from_fahrenheit(limit_c)).filter(|c| is_bare && USUAL_LIMITS_C.contains(c));
        let why = AnyWhy::Sheet(Why::Limit { limit_c, from_fahrenheit_c });
        Some(Evidence::unusable(Subject::Setting(path), why))
    });
    refused.chain(limits).collect()
}

/// How far a car's runs are off the sheet, as the logarithm of a ratio.
struct CarOff {
    /// `None` where they are not alike.
    off: Option<f64>,
}

/// What all runs say of the lap length that they share.
pub fn weigh_together(members: &mut [Member], sheet: &Sheet) {
    let Some((stated_m, half_width_m)) = sheet.lap_length_m else { return };
    let length_u = half_width_m / COVERAGE_95 / stated_m;
    let far = FAR * (ABOVE_SHEET_U.powi(2) + TYRE_U.powi(2) + length_u.powi(2)).sqrt();
    let names: BTreeSet<String> = members.iter().map(|m| m.car().to_owned()).filter(|c| !c.is_empty()).collect();
    let told: Vec<CarOff> = names.iter().filter_map(|car| car_off(members, car, stated_m)).collect();
    let Some(cars) = told.iter().map(|car| car.off).collect::<Option<Vec<f64>>>() else { return };
    let Some(off) = median(cars.iter().copied()) else { return };
    let alike = cars.iter().all(|c| (c - off).abs() <= ALIKE && (c - ABOVE_SHEET).abs() > far);
    if !alike {
        return;
    }
    let needed_m = stated_m * (off - ABOVE_SHEET).exp();
    let why = Why::LapLength { stated_m, needed_m, cars: cars.len() };
    // The runs of one car cannot tell a wrong length from a pinion that was wrong all weekend.
    let worth = if cars.len() > 1 { Evidence::unusable } else { Evidence::doubtful };
    for member in members {
        member.evidence.add(worth(Subject::Setting(LAP_LENGTH), AnyWhy::Sheet(why.clone())));
    }
}

/// How far the runs of one car are off; `None` where none of them tells.
fn car_off(members: &[Member], car: &str, stated_m: f64) -> Option<CarOff> {
    let off = |m: &Member| {
        let turns = m.run.laps.gripped_turns()?;
        Some((turns * set_rollout_mm(&m.run.plan.settings)? / (stated_m * 1000.0)).ln())
    };
    // Revs and tyres that are wrong by themselves say nothing of the length.
    let is_sound = |m: &&Member| {
        m.evidence.are_sound(&[Subject::Channel(Channel::Rpm), Subject::Setting("tyre_diameter_mm"), Subject::Log])
    };
    let own = || members.iter().filter(|m| m.car() == car).filter(is_sound);
    let mut all: Vec<f64> = own().filter_map(off).collect();
    all.sort_by(f64::total_cmp);
    // Foam that wears needs more turns from run to run: its first runs are the least off.
    let foam = own().any(|m| m.run.plan.settings.foam());
    let off = if foam { *all.first()? } else { median(all.iter().copied())? };
    let alike = all.iter().filter(|o| foam || (**o - off).abs() <= ALIKE).count();
    Some(CarOff { off: (alike as f64 >= MOST * all.len() as f64).then_some(off) })
}
