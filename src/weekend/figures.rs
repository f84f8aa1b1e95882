//! One figure of a run at a time, for trends and comparisons.

use schemars::JsonSchema;
use serde::Serialize;

use crate::measure::forecast::Scene;
use crate::measure::heat::Heat;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::review::{Reviewed, Run};

/// A figure that is followed over the runs of a car.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Highest motor temperature, °C.
    MotorPeakC,
    /// Motor at the race's end above the air, K.
    MotorRiseC,
    /// Heat that the motor sheds per kelvin above the air, relative to the car's first run.
    MotorCooling,
    /// Highest controller temperature, °C.
    ControllerPeakC,
    /// Controller at the race's end above the air, K.
    ControllerRiseC,
    /// Ohmic resistance of the pack, mΩ.
    BatteryResistanceMohm,
    /// Tyre diameter that would make the realised ratio agree with the sheet, mm.
    EffectiveTyreMm,
    /// Share of the laps' time with wheelspin.
    WheelspinShare,
    /// Median lap, s.
    MedianLapS,
    /// Charge a lap, mAh.
    UsedMahPerLap,
    /// Highest revs, turns a minute.
    TopRpm,
    /// Deceleration off throttle, m/s².
    CoastMS2,
    /// Pull in the middle of the speeds, m/s².
    PullMS2,
}

impl Figure {
    /// Those that trends are looked for in.
    pub const TRENDS: [Figure; 9] = [
        Figure::MotorPeakC,
        Figure::MotorRiseC,
        Figure::MotorCooling,
        Figure::ControllerPeakC,
        Figure::BatteryResistanceMohm,
        Figure::EffectiveTyreMm,
        Figure::WheelspinShare,
        Figure::MedianLapS,
        Figure::UsedMahPerLap,
    ];
    /// Those that a changed key is judged by.
    pub const EFFECTS: [Figure; 8] = [
        Figure::MedianLapS,
        Figure::TopRpm,
        Figure::MotorRiseC,
        Figure::ControllerRiseC,
        Figure::CoastMS2,
        Figure::WheelspinShare,
        Figure::UsedMahPerLap,
        Figure::PullMS2,
    ];

    /// Name in `review.json`.
    pub fn name(self) -> &'static str {
        match self {
            Figure::MotorPeakC => "motor_peak_c",
            Figure::MotorRiseC => "motor_rise_c",
            Figure::MotorCooling => "motor_cooling",
            Figure::ControllerPeakC => "controller_peak_c",
            Figure::ControllerRiseC => "controller_rise_c",
            Figure::BatteryResistanceMohm => "battery_resistance_mohm",
            Figure::EffectiveTyreMm => "effective_tyre_mm",
            Figure::WheelspinShare => "wheelspin_share",
            Figure::MedianLapS => "median_lap_s",
            Figure::UsedMahPerLap => "used_mah_per_lap",
            Figure::TopRpm => "top_rpm",
            Figure::CoastMS2 => "coast_m_s2",
            Figure::PullMS2 => "pull_m_s2",
        }
    }

    /// The figure of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::TRENDS.into_iter().chain(Self::EFFECTS).find(|f| f.name() == name)
    }

    /// What it is, in words, with its unit and the decimals it is shown with; a factor for the reader.
    pub fn words(self) -> (&'static str, &'static str, usize, f64) {
        match self {
            Figure::MotorPeakC => ("motor peak", "°C", 1, 1.0),
            Figure::MotorRiseC => ("motor above the air", "K", 1, 1.0),
            Figure::MotorCooling => ("motor cooling", "%", 0, 100.0),
            Figure::ControllerPeakC => ("controller peak", "°C", 1, 1.0),
            Figure::ControllerRiseC => ("controller above the air", "K", 1, 1.0),
            Figure::BatteryResistanceMohm => ("pack resistance", "mΩ", 2, 1.0),
            Figure::EffectiveTyreMm => ("rolling tyre", "mm", 2, 1.0),
            Figure::WheelspinShare => ("wheelspin", "% of the laps", 1, 100.0),
            Figure::MedianLapS => ("median lap", "s", 3, 1.0),
            Figure::UsedMahPerLap => ("charge a lap", "mAh", 1, 1.0),
            Figure::TopRpm => ("highest revs", "1/min", 0, 1.0),
            Figure::CoastMS2 => ("coasting deceleration", "m/s²", 2, 1.0),
            Figure::PullMS2 => ("pull", "m/s²", 2, 1.0),
        }
    }

    /// What a run lacks where it has not the figure, for the end of a sentence.
    pub fn needs(self) -> &'static str {
        match self {
            Figure::MotorRiseC | Figure::ControllerRiseC => ": it takes the sheet's ambient_c and laps",
            Figure::CoastMS2 => ": it takes a throttle channel",
            _ => "",
        }
    }

    /// Change over a weekend that would matter: a trend that may hide one is no steady one. Defaults (common practice, no source).
    pub fn matters(self, typical: f64) -> f64 {
        match self {
            Figure::MotorPeakC | Figure::ControllerPeakC | Figure::MotorRiseC | Figure::ControllerRiseC => 10.0,
            Figure::WheelspinShare => 0.03,
            Figure::MotorCooling | Figure::BatteryResistanceMohm => 0.35 * typical,
            Figure::EffectiveTyreMm => 0.02 * typical,
            Figure::MedianLapS => 0.04 * typical,
            Figure::UsedMahPerLap => 0.15 * typical,
            Figure::TopRpm | Figure::CoastMS2 | Figure::PullMS2 => 0.15 * typical,
        }
    }
}

/// What a run itself leaves open of figures that have no interval of their own, standard uncertainties: one spin of a tenth of a second in five minutes and
/// a tenth of the spun share, a hundredth of a second of a lap, half a per cent of a lap's charge, and of the highest revs what falls between two
/// rows. Common practice, no source: runs that happen to be alike to the recorder's step prove nothing finer.
const SPIN_U: f64 = 0.000_3;
const SPIN_SHARE_U: f64 = 0.1;
const LAP_U_S: f64 = 0.01;
const CHARGE_U: f64 = 0.005;
const TOP_U: f64 = 0.002;

/// The heat of the part that a figure is about: the controller's for its own, else the motor's.
pub fn heat_of(run: &Run, figure: Figure) -> Option<&Heat> {
    let answers = &run.outcome.as_ref().ok()?.answers;
    let controller = matches!(figure, Figure::ControllerPeakC | Figure::ControllerRiseC);
    Some(if controller { &answers.controller } else { &answers.motor })
}

/// The figure of a run and its standard uncertainty within the run; `None` where it has none.
pub fn of_run(run: &Run, figure: Figure) -> Option<(f64, f64)> {
    let done = run.outcome.as_ref().ok()?;
    let answers = &done.answers;
    let standard = |e: Estimate| (e.value, e.half_width() / COVERAGE_95);
    let rise = |heat: &Heat| {
        let (end, air) = heat.race_end_c.zip(run.plan.ambient_c)?;
        Some((end.value - air, end.half_width() / COVERAGE_95))
    };
    match figure {
        Figure::MotorPeakC => answers.motor.peak_c.map(|c| (c, 0.3)),
        Figure::ControllerPeakC => answers.controller.peak_c.map(|c| (c, 0.3)),
        Figure::MotorRiseC => rise(&answers.motor),
        Figure::ControllerRiseC => rise(&answers.controller),
        Figure::MotorCooling => answers.motor.cooling.map(|ln| (ln.value.exp(), ln.standard_u * ln.value.exp())),
        Figure::BatteryResistanceMohm => answers.battery.resistance_mohm.map(standard),
        Figure::EffectiveTyreMm => effective_tyre(run, done),
        Figure::WheelspinShare => answers.wheelspin.share.map(|s| (s, SPIN_U.hypot(SPIN_SHARE_U * s))),
        Figure::MedianLapS => done.laps.median_s().map(|s| (s, LAP_U_S)),
        Figure::UsedMahPerLap => answers.battery.mah_per_lap.map(|m| (m, CHARGE_U * m)),
        Figure::TopRpm => answers.power.top_rpm.map(|r| (r, TOP_U * r)),
        Figure::CoastMS2 => answers.power.coast_m_s2.map(standard),
        Figure::PullMS2 => answers.power.pull.get(1).map(|p| standard(p.acceleration_m_s2)),
    }
}

/// Tyre diameter by which the realised ratio would be the set one with the pinion that was on the car.
fn effective_tyre(run: &Run, done: &Reviewed) -> Option<(f64, f64)> {
    let gearing = &done.answers.gearing;
    let evidence = gearing.evidence?;
    let realised = gearing.realised_ratio?;
    let tyre = run.plan.settings.tyre_mm()?;
    let counted = crate::statistics::quantiles::median(done.laps.counted().map(|l| l.turns))?;
    // Turns that spun away are no smaller tyre.
    let gripped = realised.value * evidence.gripped_turns / counted;
    let set = run.plan.settings.ratio_with(pinion_on_car(run)?)?;
    Some((tyre * set / gripped, tyre * evidence.relative_u))
}

/// The pinion that was on the car: the sheet's, or the one that the weighing named where it differs.
pub fn pinion_on_car(run: &Run) -> Option<f64> {
    let gearing = &run.outcome.as_ref().ok()?.answers.gearing;
    let best = gearing.fits.iter().max_by(|a, b| a.probability.total_cmp(&b.probability));
    match best {
        Some(fit) if gearing.verdict == crate::measure::gearing::Verdict::Differs => Some(fit.pinion),
        _ => run.plan.settings.number("pinion"),
    }
}

/// The rise that a run's fitted model gives for a race from `start` kelvin above air of `air_c`: runs that started warm or on another
/// day are made alike. Value and standard uncertainty.
pub fn rise_alike(heat: &Heat, start: f64, air_c: f64, race_s: f64) -> Option<(f64, f64)> {
    let warming = heat.warming.as_ref()?;
    let end = warming.imagined(&Scene::as_driven(air_c + start, air_c, race_s));
    Some((end.value - air_c, end.half_width() / COVERAGE_95))
}
