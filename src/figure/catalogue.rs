//! The figures themselves, one entry each.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};

use super::entry::{Bad, Figure, HeatFigure, Reading, Shown, TrendFinding, Used, Weight, Worth};
use super::readings::{answered, effective_tyre, estimated, plain, relative, rise, within_1_percent};
use crate::evidence::Subject;
use crate::log::Channel;
use crate::measure::hot_part::HotPart;
use crate::measure::rests_on;
use crate::units::Measure;
use crate::units::measure::{ACCELERATION, DEGREES, DEGREES_PER_WATT, MILLIMETRES, SPEED, TEMPERATURE};
use crate::wording::{HIGHER, HOTTER, LAP_TIMES, Words};

/// What a run itself leaves open of figures that have no interval of their own, as standard uncertainties: runs that
/// happen to be alike to the recorder's step prove nothing finer. Common practice, no source.
///
/// A temperature read off a recorder's sensor, °C.
const READ_C_U: f64 = 0.3;
/// One spin of a tenth of a second in five minutes, share of the laps' time.
const SPIN_U: f64 = 0.000_3;
/// A tenth of the spun share.
const SPIN_SHARE_U: f64 = 0.1;
/// A hundredth of a second of a lap.
const LAP_U_S: f64 = 0.01;
/// Half a per cent of the charge.
const CHARGE_U: f64 = 0.005;
/// What falls between two rows of the highest revs, relative.
const TOP_U: f64 = 0.002;
/// A voltage, V.
const VOLTAGE_U: f64 = 0.01;
/// A power, relative.
const POWER_U: f64 = 0.01;

/// Changes over a weekend that are worth acting on. Defaults (common practice, no source).
///
/// A temperature, °C.
const HEAT_WORTH: Worth = Worth::By(10.0);
/// Wheelspin, share of the laps' time.
const SPIN_WORTH: Worth = Worth::By(0.03);
/// Cooling, and a pack's resistance, relative.
const AGEING_WORTH: Worth = Worth::Share(0.35);
/// The rolling tyre, relative.
const TYRE_WORTH: Worth = Worth::Share(0.02);
/// Lap times, relative.
const LAP_WORTH: Worth = Worth::Share(0.04);

/// Changes over the weekend below which a trend is not worth a word. Defaults (common practice, no source).
///
/// Cooling and the pack's resistance, relative.
const AGEING_LEAST: Worth = Worth::Share(0.08);
/// A peak, °C.
const PEAK_LEAST: Worth = Worth::By(5.0);
/// The tyre, relative: a third of a tooth.
const TYRE_LEAST: Worth = Worth::Share(0.01);
/// Anything that its interval tells from zero.
const ANY: Worth = Worth::By(0.0);

const LAPS: &[Subject] = &[Subject::Laps];
const REVS: &[Subject] = &[Subject::Channel(Channel::Rpm)];
const PACK: &[Subject] = &[Subject::Channel(Channel::Voltage), Subject::Channel(Channel::Current)];
const MOTOR_HEAT: &[Subject] = rests_on::heat(HotPart::Motor);

const IN_TRENDS: Used = Used { in_trends: true, in_effects: false };
const IN_EFFECTS: Used = Used { in_trends: false, in_effects: true };
const IN_BOTH: Used = Used { in_trends: true, in_effects: true };

const AMOUNT_WORDS: Words = Words::new("more", "less");
const FORCE_WORDS: Words = Words::new("stronger", "weaker");

const NEEDS_AIR: &str = "enter the air temperature (`ambient_c`), and give the run laps";
const NEEDS_THROTTLE: &str = "it needs a throttle channel in the log";

const fn shown(unit: &'static str, digits: usize) -> Shown {
    shown_in(Measure::plain(unit), digits)
}

/// A figure that is shown in the reader's units.
const fn shown_in(unit: Measure, digits: usize) -> Shown {
    Shown { unit, digits, factor: 1.0 }
}

const PER_CENT: Measure = Measure::plain("%");

const fn temperature(part: HotPart, above_air: bool) -> Figure {
    Figure {
        unit: "°C",
        shown: shown_in(if above_air { DEGREES } else { TEMPERATURE }, 1),
        words: HOTTER,
        worth: HEAT_WORTH,
        bad: Bad::Rise,
        heat: Some(HeatFigure { part, above_air }),
        rests_on: rests_on::heat(part),
        ..Figure::PLAIN
    }
}

const PEAK_RISES: TrendFinding =
    TrendFinding { code: "peak-rises", weight: Weight::Watch, lead: "", advice: "", least: PEAK_LEAST };

const PACE_MOVES: TrendFinding =
    TrendFinding { code: "pace-moves", weight: Weight::Note, lead: "", advice: "", least: ANY };

/// Every figure, in the order of trends and tables.
pub static FIGURES: &[Figure] = &[
    Figure {
        key: "median_lap_s",
        rests_on: LAPS,
        column: "median_s",
        unit: "s",
        about: "median lap that counts",
        label: "median lap",
        shown: shown("s", 2),
        words: LAP_TIMES,
        worth: LAP_WORTH,
        used: IN_BOTH,
        bad: Bad::Neither,
        rising: Some(TrendFinding { lead: "laps get slower from run to run", ..PACE_MOVES }),
        falling: Some(TrendFinding { lead: "laps get faster from run to run", ..PACE_MOVES }),
        read: |run| plain(run.done()?.laps.median_s(), LAP_U_S),
        ..Figure::PLAIN
    },
    Figure {
        key: "best_lap_s",
        rests_on: LAPS,
        column: "best_s",
        unit: "s",
        about: "best lap that counts",
        label: "best lap",
        shown: shown("s", 2),
        words: LAP_TIMES,
        worth: LAP_WORTH,
        read: |run| plain(run.done()?.laps.best_s(), LAP_U_S),
        ..Figure::PLAIN
    },
    Figure {
        key: "lap_scatter_s",
        rests_on: LAPS,
        column: "lap_scatter_s",
        unit: "s",
        about: "robust standard deviation of the laps that count; none with fewer than five",
        label: "scatter of the laps",
        shown: shown("s", 2),
        bad: Bad::Rise,
        read: |run| answered(run, |a| estimated(a.consistency.as_ref().map(|laps| laps.scatter_s))),
        ..Figure::PLAIN
    },
    Figure {
        key: "within_1_percent_share",
        rests_on: LAPS,
        column: "within_1_percent_share",
        about: "share of the laps that count which are within 1 % of their median; none with fewer than five",
        label: "laps within 1 % of the median",
        shown: Shown { unit: Measure::plain("% of the laps"), digits: 0, factor: 100.0 },
        bad: Bad::Fall,
        read: |run| answered(run, |a| within_1_percent(a.consistency.as_ref()?)),
        ..Figure::PLAIN
    },
    Figure {
        key: "pace_s_a_lap",
        rests_on: LAPS,
        column: "pace_s_a_lap",
        unit: "s",
        about: "change of the lap time from lap to lap over the run",
        label: "pace over the run",
        shown: shown("s a lap", 3),
        words: LAP_TIMES,
        bad: Bad::Rise,
        read: |run| answered(run, |a| estimated(a.consistency.as_ref()?.pace_s_a_lap)),
        ..Figure::PLAIN
    },
    Figure {
        key: "median_behind_best_s",
        rests_on: LAPS,
        column: "median_behind_best_s",
        unit: "s",
        about: "time lost by the median lap against the best, of the laps that count",
        label: "median lap behind the best",
        shown: shown("s", 2),
        bad: Bad::Rise,
        read: |run| {
            let laps = &run.done()?.laps;
            plain(Some(laps.median_s()? - laps.best_s()?), LAP_U_S)
        },
        ..Figure::PLAIN
    },
    Figure {
        key: "motor_peak_c",
        column: "motor_peak_c",
        about: "motor's highest reading",
        label: "motor peak",
        used: IN_TRENDS,
        rising: Some(TrendFinding { lead: "motor gets hotter from run to run", ..PEAK_RISES }),
        read: |run| plain(run.heat(HotPart::Motor).filter(|h| !h.in_part)?.peak_c, READ_C_U),
        ..temperature(HotPart::Motor, false)
    },
    Figure {
        key: "motor_rise_c",
        column: "motor_rise_k",
        unit: "K",
        about: "motor at the race's end above the air",
        label: "motor above the air",
        used: IN_BOTH,
        needs: Some(NEEDS_AIR),
        read: |run| rise(run, HotPart::Motor),
        ..temperature(HotPart::Motor, true)
    },
    Figure {
        key: "motor_cooling",
        rests_on: MOTOR_HEAT,
        column: "motor_cooling",
        unit: "1/s",
        about: "how fast the motor sheds heat, comparable between the runs of one motor",
        label: "motor cooling",
        shown: Shown { unit: PER_CENT, digits: 0, factor: 100.0 },
        words: AMOUNT_WORDS,
        worth: AGEING_WORTH,
        used: IN_TRENDS,
        bad: Bad::Fall,
        relative: true,
        falling: Some(TrendFinding {
            code: "cooling-falls",
            weight: Weight::Act,
            lead: "motor cools less from run to run",
            advice: "Check the fan, the airflow and the heat sink",
            least: AGEING_LEAST,
        }),
        read: |run| {
            let cooling = run.cooling()?;
            Some(Reading::plain(cooling.value.exp(), cooling.standard_u * cooling.value.exp()))
        },
        ..Figure::PLAIN
    },
    Figure {
        key: "controller_peak_c",
        column: "controller_peak_c",
        about: "controller's highest reading",
        label: "controller peak",
        used: IN_TRENDS,
        rising: Some(TrendFinding { lead: "controller gets hotter from run to run", ..PEAK_RISES }),
        read: |run| plain(run.heat(HotPart::Controller).filter(|h| !h.in_part)?.peak_c, READ_C_U),
        ..temperature(HotPart::Controller, false)
    },
    Figure {
        key: "battery_resistance_mohm",
        rests_on: PACK,
        column: "resistance_mohm",
        unit: "mΩ",
        about: "ohmic resistance of the pack",
        label: "pack resistance",
        shown: shown("mΩ", 2),
        words: HIGHER,
        worth: AGEING_WORTH,
        used: IN_TRENDS,
        bad: Bad::Rise,
        rising: Some(TrendFinding {
            code: "pack-ages",
            weight: Weight::Watch,
            lead: "pack resistance rises from run to run",
            advice: "The pack is ageing, or it was colder",
            least: AGEING_LEAST,
        }),
        read: |run| answered(run, |a| estimated(a.battery.resistance_mohm)),
        ..Figure::PLAIN
    },
    Figure {
        key: "effective_tyre_mm",
        rests_on: rests_on::GEARING,
        column: "effective_tyre_mm",
        unit: "mm",
        about: "tyre diameter that would make the realised ratio agree with the sheet",
        label: "rolling tyre",
        shown: shown_in(MILLIMETRES, 2),
        words: Words::new("larger", "smaller"),
        worth: TYRE_WORTH,
        used: IN_TRENDS,
        bad: Bad::Either,
        falling: Some(TrendFinding {
            code: "tyre-wears",
            weight: Weight::Watch,
            lead: "tyres roll smaller from run to run",
            advice: "Measure the tyres and set the rollout again",
            least: TYRE_LEAST,
        }),
        read: effective_tyre,
        ..Figure::PLAIN
    },
    Figure {
        key: "wheelspin_share",
        rests_on: rests_on::WHEELSPIN,
        column: "wheelspin_share",
        about: "share of the laps' time with wheelspin",
        label: "wheelspin",
        shown: Shown { unit: Measure::plain("% of the lap"), digits: 1, factor: 100.0 },
        words: AMOUNT_WORDS,
        worth: SPIN_WORTH,
        used: IN_BOTH,
        bad: Bad::Rise,
        rising: Some(TrendFinding {
            code: "wheelspin-rises",
            weight: Weight::Watch,
            lead: "wheels spin more from run to run",
            advice: "",
            least: ANY,
        }),
        read: |run| {
            let share = run.done()?.answers.wheelspin.share?;
            Some(Reading::plain(share, SPIN_U.hypot(SPIN_SHARE_U * share)))
        },
        ..Figure::PLAIN
    },
    Figure {
        key: "used_mah_per_lap",
        rests_on: PACK,
        column: "mah_per_lap",
        unit: "mAh",
        about: "charge used in a lap that counts",
        label: "charge a lap",
        shown: shown("mAh", 1),
        words: AMOUNT_WORDS,
        used: IN_BOTH,
        bad: Bad::Rise,
        read: |run| answered(run, |a| relative(a.battery.mah_per_lap, CHARGE_U)),
        ..Figure::PLAIN
    },
    Figure {
        key: "top_rpm",
        rests_on: REVS,
        column: "top_rpm",
        unit: "1/min",
        about: "highest revs while the wheels grip",
        label: "highest revs",
        shown: shown("rpm", 0),
        used: IN_EFFECTS,
        read: |run| answered(run, |a| relative(a.power.gripping_rpm, TOP_U)),
        ..Figure::PLAIN
    },
    Figure {
        key: "controller_rise_c",
        column: "controller_rise_k",
        unit: "K",
        about: "controller at the race's end above the air",
        label: "controller above the air",
        used: IN_EFFECTS,
        needs: Some(NEEDS_AIR),
        read: |run| rise(run, HotPart::Controller),
        ..temperature(HotPart::Controller, true)
    },
    Figure {
        key: "coast_m_s2",
        rests_on: REVS,
        column: "coast_m_s2",
        unit: "m/s²",
        about: "median deceleration off throttle and off the brake, between a quarter and three quarters of the top speed",
        label: "coasting deceleration",
        shown: shown_in(ACCELERATION, 2),
        words: FORCE_WORDS,
        used: IN_EFFECTS,
        needs: Some(NEEDS_THROTTLE),
        read: |run| answered(run, |a| estimated(a.power.coast_m_s2)),
        ..Figure::PLAIN
    },
    Figure {
        key: "pull_m_s2",
        rests_on: REVS,
        column: "pull_m_s2",
        unit: "m/s²",
        about: "strongest acceleration in the middle of the speeds",
        label: "pull",
        shown: shown_in(ACCELERATION, 2),
        words: FORCE_WORDS,
        used: IN_EFFECTS,
        bad: Bad::Fall,
        read: |run| answered(run, |a| estimated(a.power.middle_pull_m_s2)),
        ..Figure::PLAIN
    },
    Figure {
        key: "realised_ratio",
        rests_on: rests_on::GEARING,
        column: "realised_ratio",
        about: "motor turns for a wheel turn, as driven",
        label: "ratio on track",
        read: |run| answered(run, |a| estimated(a.gearing.realised_ratio)),
        ..Figure::PLAIN
    },
    Figure {
        key: "realised_rollout_mm",
        rests_on: rests_on::GEARING,
        column: "realised_rollout_mm",
        unit: "mm",
        about: "travel for a motor turn, as driven",
        label: "realised rollout",
        shown: shown_in(MILLIMETRES, 2),
        read: |run| answered(run, |a| estimated(a.gearing.realised_rollout_mm)),
        ..Figure::PLAIN
    },
    Figure {
        key: "set_ratio",
        column: "set_ratio",
        about: "motor turns for a wheel turn, from the sheet",
        label: "ratio on the sheet",
        read: |run| answered(run, |a| plain(a.gearing.set_ratio, 0.0)),
        ..Figure::PLAIN
    },
    Figure {
        key: "motor_race_end_c",
        column: "motor_race_end_c",
        about: "motor at the race's end",
        label: "motor at the end of the race",
        read: |run| estimated(run.heat(HotPart::Motor)?.race_end_c),
        ..temperature(HotPart::Motor, false)
    },
    Figure {
        key: "controller_race_end_c",
        column: "controller_race_end_c",
        about: "controller at the race's end",
        label: "controller at the end of the race",
        read: |run| estimated(run.heat(HotPart::Controller)?.race_end_c),
        ..temperature(HotPart::Controller, false)
    },
    Figure {
        key: "motor_rise_per_w",
        column: "motor_rise_k_per_w",
        unit: "K/W",
        about: "motor at the race's end above the air, for a watt of mean electrical power",
        label: "motor above the air per watt",
        shown: shown_in(DEGREES_PER_WATT, 3),
        words: HOTTER,
        bad: Bad::Rise,
        needs: Some(NEEDS_AIR),
        read: |run| {
            let watts = run.done()?.answers.power.mean_w.filter(|w| *w > 0.0)?;
            let rise = rise(run, HotPart::Motor)?.interval?;
            Some(Reading::estimated(rise.scaled(watts.recip())))
        },
        ..Figure::PLAIN
    },
    Figure {
        key: "lowest_cell_v",
        rests_on: PACK,
        column: "lowest_cell_v",
        unit: "V",
        about: "lowest voltage of a cell",
        label: "lowest cell",
        shown: shown("V", 2),
        bad: Bad::Fall,
        read: |run| answered(run, |a| plain(a.battery.lowest_cell_v, VOLTAGE_U)),
        ..Figure::PLAIN
    },
    Figure {
        key: "used_mah",
        rests_on: PACK,
        column: "used_mah",
        unit: "mAh",
        about: "charge used in the run",
        label: "charge used",
        shown: shown("mAh", 0),
        words: AMOUNT_WORDS,
        read: |run| answered(run, |a| estimated(a.battery.used_range_mah)),
        ..Figure::PLAIN
    },
    Figure {
        key: "used_wh",
        rests_on: PACK,
        column: "used_wh",
        unit: "Wh",
        about: "energy used in the run",
        label: "energy used",
        shown: shown("Wh", 2),
        words: AMOUNT_WORDS,
        read: |run| answered(run, |a| relative(a.battery.used_wh, CHARGE_U)),
        ..Figure::PLAIN
    },
    Figure {
        key: "race_end_used_mah",
        rests_on: PACK,
        column: "race_end_used_mah",
        unit: "mAh",
        about: "charge that a race would use",
        label: "charge for a race",
        shown: shown("mAh", 0),
        words: AMOUNT_WORDS,
        read: |run| answered(run, |a| estimated(a.battery.race_end_used_mah)),
        ..Figure::PLAIN
    },
    Figure {
        key: "wheelspin_s",
        rests_on: rests_on::WHEELSPIN,
        column: "wheelspin_s",
        unit: "s",
        about: "time with wheelspin",
        label: "time with wheelspin",
        shown: shown("s", 1),
        words: AMOUNT_WORDS,
        bad: Bad::Rise,
        read: |run| answered(run, |a| relative(a.wheelspin.seconds, SPIN_SHARE_U)),
        ..Figure::PLAIN
    },
    Figure {
        key: "top_speed_m_s",
        rests_on: REVS,
        column: "top_speed_m_s",
        unit: "m/s",
        about: "the car's highest speed",
        label: "top speed",
        shown: shown_in(SPEED, 1),
        read: |run| answered(run, |a| estimated(a.power.top_speed_range_m_s)),
        ..Figure::PLAIN
    },
    Figure {
        key: "mean_w",
        rests_on: PACK,
        column: "mean_w",
        unit: "W",
        about: "mean electrical power from the first lap to the last",
        label: "mean power",
        shown: shown("W", 0),
        read: |run| answered(run, |a| relative(a.power.mean_w, POWER_U)),
        ..Figure::PLAIN
    },
    Figure {
        key: "peak_w",
        column: "peak_w",
        unit: "W",
        about: "highest electrical power",
        label: "highest power",
        shown: shown("W", 0),
        read: |run| answered(run, |a| relative(a.power.peak_w, POWER_U)),
        ..Figure::PLAIN
    },
];

/// The figure of this key, or of this column.
pub fn find(name: &str) -> Option<&'static Figure> {
    FIGURES.iter().find(|f| f.key == name).or_else(|| FIGURES.iter().find(|f| f.column == name))
}

impl JsonSchema for Figure {
    fn schema_name() -> Cow<'static, str> {
        "Figure".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let keys: Vec<&str> = FIGURES.iter().map(|f| f.key).collect();
        json_schema!({ "type": "string", "enum": keys })
    }
}
