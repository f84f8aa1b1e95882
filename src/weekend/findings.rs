//! Sentences worth acting on, from the answers of the runs.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::comparisons::{Comparison, Effect};
use super::figures::Figure;
use super::trends::{self, Trend};
use crate::measure::Answers;
use crate::measure::battery::Battery;
use crate::measure::heat::Heat;
use crate::measure::wheelspin::Wheelspin;
use crate::measure::{battery, gearing, heat};
use crate::review::Run;

/// What a finding asks of the reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// Do something.
    Act,
    /// Keep an eye on it.
    Watch,
    /// Good to know.
    Note,
}

/// A sentence worth acting on.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// Stable name of the kind, in kebab case.
    pub code: &'static str,
    /// What it asks.
    pub severity: Weight,
    /// The run; `null` for the weekend.
    pub run: Option<String>,
    /// What it is in a few words, for the heading of the run's page; `null` for notes and the weekend's own.
    pub headline: Option<String>,
    /// The sentence.
    pub text: String,
    /// Its figures.
    pub figures: Map<String, Value>,
}

/// Share of the laps' time from which wheelspin is worth a word. A default (common practice, no source).
pub const MUCH_SPIN: f64 = 0.02;
/// Share of its diameter from which a tyre's wear over the weekend is worth a word: a third of a tooth. A default (common practice, no source).
const TYRE_MOVED: f64 = 0.01;
/// Share by which cooling or a pack's resistance moves over the weekend, and kelvin by which a peak does, to be worth a word. Defaults (common
/// practice, no source).
const MOVED: f64 = 0.08;
const PEAK_MOVED_K: f64 = 5.0;
/// Spins no farther apart than this share of a lap are at one place.
const SAME_PLACE: f64 = 0.04;

/// The place, as a share of the lap, where most laps spin, and how many do; `None` where no place has three.
pub fn spun_place(wheelspin: &Wheelspin) -> Option<(f64, usize)> {
    let places: Vec<(u32, f64)> = wheelspin.events.iter().filter_map(|e| e.lap.zip(e.lap_fraction)).collect();
    let near = |at: f64| {
        let mut laps: Vec<u32> = places.iter().filter(|p| (p.1 - at).abs() <= SAME_PLACE).map(|p| p.0).collect();
        laps.dedup();
        laps.len()
    };
    let best = places.iter().map(|p| (p.1, near(p.1))).max_by(|a, b| a.1.cmp(&b.1).then(b.0.total_cmp(&a.0)))?;
    (best.1 >= 3).then_some(best)
}

fn figures(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

/// Findings of one run, unordered.
pub fn of_run(run: &Run, answers: &Answers) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(of_gearing(run, &answers.gearing));
    findings.extend(of_heat(run, "motor", "motor-heat", &answers.motor));
    findings.extend(of_heat(run, "controller", "controller-heat", &answers.controller));
    findings.extend(of_fan(run, &answers.motor));
    findings.extend(of_wheelspin(run, &answers.wheelspin));
    findings.extend(of_battery(run, &answers.battery));
    findings
}

fn name(run: &Run) -> String {
    crate::notice::printable(&run.plan.id, 40)
}

/// A finding on `run`: its code, what it asks and its headline.
fn finding(
    run: &Run,
    (code, severity, headline): (&'static str, Weight, &str),
    text: String,
    values: Value,
) -> Finding {
    let headline = (!headline.is_empty()).then(|| headline.to_owned());
    Finding { code, severity, run: Some(run.plan.id.clone()), headline, text, figures: figures(values) }
}

fn of_gearing(run: &Run, g: &gearing::Gearing) -> Option<Finding> {
    let best = g.fits.iter().max_by(|a, b| a.probability.total_cmp(&b.probability));
    if let (gearing::Verdict::Differs, Some(best)) = (g.verdict, best) {
        let sheet = g.fits.get(g.fits.len() / 2).map_or(best.pinion, |f| f.pinion);
        let set = g.set_ratio.unwrap_or(best.ratio);
        // What the sheet's pinion would show on this track, with this run's own offset.
        let measured = g.realised_ratio.map_or(String::new(), |m| {
            format!(": it measured {:.2}, where {sheet} teeth would measure {:.2}", m.value, m.value * set / best.ratio)
        });
        let sure =
            if best.probability > 0.99 { "over 99".to_owned() } else { format!("{:.0}", 100.0 * best.probability) };
        let text = format!(
            "Run {} drove {} teeth, the sheet says {sheet}{measured} (probability {sure} %)",
            name(run),
            best.pinion
        );
        let values = json!({ "pinion": best.pinion, "sheet_pinion": sheet, "probability": best.probability, "realised_ratio": g.realised_ratio });
        let headline = format!("drove {} teeth, the sheet says {sheet}", best.pinion);
        return Some(finding(run, ("pinion-differs", Weight::Act, &headline), text, values));
    }
    (g.why.as_deref() == Some(super::gearing::NO_PINION_FITS)).then(|| {
        let values = json!({ "realised_ratio": g.realised_ratio, "set_ratio": g.set_ratio });
        let text = format!("The sheet does not fit run {}: {}", name(run), super::gearing::NO_PINION_FITS);
        finding(run, ("gearing-does-not-fit", Weight::Act, "the sheet does not fit it"), text, values)
    })
}

fn of_heat(run: &Run, part: &str, code: &'static str, heat: &Heat) -> Option<Finding> {
    let limit = format!(
        "{:.0} °C ({})",
        heat.limit_c,
        if heat.limit_stated { "on the sheet" } else { "assumed: state the maker's own" }
    );
    let peak = heat.peak_c?;
    let (weight, headline, text) = match (heat.verdict, heat.race_end_c) {
        (heat::Verdict::Over, _) if peak > heat.limit_c => (
            Weight::Act,
            format!("the {part} went over its limit"),
            format!(
                "The {part} reached {peak:.0} °C in run {}, over its {limit}, for {:.0} s: {}",
                name(run),
                heat.over_limit_s.unwrap_or(0.0),
                remedy(run, part, heat)
            ),
        ),
        (heat::Verdict::Over, Some(end)) => (
            Weight::Act,
            format!("the {part} would go over its limit"),
            format!(
                "The {part} of run {} would be at {:.0} ± {:.0} °C at a race's end, over its {limit}: {}",
                name(run),
                end.value,
                end.half_width().max(1.0),
                remedy(run, part, heat)
            ),
        ),
        (heat::Verdict::Close, Some(end)) => (
            Weight::Watch,
            format!("the {part} is near its limit"),
            format!(
                "The {part} of run {} {} at {:.0} ± {:.0} °C at a race's end, {} its {limit}",
                name(run),
                if heat.race_end_read { "was" } else { "would be" },
                end.value,
                end.half_width().max(1.0),
                if end.value > heat.limit_c { "probably over" } else { "close to" }
            ),
        ),
        _ => return None,
    };
    let values = json!({ "peak_c": heat.peak_c, "limit_c": heat.limit_c, "over_limit_s": heat.over_limit_s, "race_end_c": heat.race_end_c });
    Some(finding(run, (code, weight, &headline), text, values))
}

/// What would keep a part under its limit: for the motor, the largest pinion whose forecast does, where one is near.
fn remedy(run: &Run, part: &str, heat: &Heat) -> String {
    let cool = "cool it better, or gear it down, before the next run";
    if part != "motor" {
        return cool.to_owned();
    }
    let now = super::figures::pinion_on_car(run);
    let smaller: Vec<_> = run.next.iter().filter(|n| now.is_some_and(|teeth| n.pinion < teeth)).collect();
    if smaller.is_empty() || smaller.iter().any(|n| n.motor_race_end_c.is_none()) {
        return cool.to_owned();
    }
    let ends = smaller.iter().rev().filter_map(|n| n.motor_race_end_c.map(|c| (n.pinion, c)));
    ends.into_iter().find(|(_, end)| end.high < heat.limit_c).map_or_else(
        || format!("{cool}; two teeth less are not enough"),
        |(teeth, end)| format!("{teeth} teeth would end at {:.0} ± {:.0} °C", end.value, end.half_width().max(1.0)),
    )
}

fn of_fan(run: &Run, motor: &Heat) -> Option<Finding> {
    let fan = run.without_fan.as_ref()?;
    let end = fan.motor_race_end_c;
    let needed = fan.needed?;
    let text = format!(
        "Without the fan the motor of run {} would end a race at {:.0} ± {:.0} °C, {} its {:.0} °C: the fan is {}",
        name(run),
        end.value,
        end.half_width(),
        if needed { "over" } else { "under" },
        motor.limit_c,
        if needed { "needed" } else { "not needed for the motor's limit" }
    );
    let values = json!({ "motor_race_end_c": end, "limit_c": motor.limit_c });
    Some(finding(run, ("fan", Weight::Note, ""), text, values))
}

fn of_wheelspin(run: &Run, w: &Wheelspin) -> Option<Finding> {
    let (seconds, share) = (w.seconds?, w.share.filter(|s| *s >= MUCH_SPIN)?);
    let place =
        spun_place(w).map_or(String::new(), |(at, laps)| format!(", on {laps} laps {at:.2} of a lap after the line"));
    let text = format!(
        "The wheels spun for {seconds:.1} s in run {}, {:.1} % of its laps' time{place}",
        name(run),
        100.0 * share
    );
    let values = json!({ "seconds": seconds, "share": share, "events": w.events.len() });
    Some(finding(run, ("wheelspin", Weight::Watch, "the wheels spun"), text, values))
}

fn of_battery(run: &Run, b: &Battery) -> Option<Finding> {
    let values = json!({ "lowest_cell_v": b.lowest_cell_v, "floor_cell_v": b.floor_cell_v, "used_mah": b.used_mah, "race_end_used_mah": b.race_end_used_mah });
    match b.verdict {
        battery::Verdict::UnderFloor => {
            let text = format!(
                "The cells fell to {:.2} V each in run {}, under their floor of {:.2} V: a pack driven there may be damaged",
                b.lowest_cell_v?,
                name(run),
                b.floor_cell_v
            );
            Some(finding(run, ("cell-under-floor", Weight::Act, "the cells fell under their floor"), text, values))
        }
        battery::Verdict::Short => {
            let used = b.race_end_used_mah?.value;
            let text = format!("A race would use {used:.0} mAh after run {}'s pace, most of the pack", name(run));
            Some(finding(run, ("charge-short", Weight::Watch, "a race would take most of the pack"), text, values))
        }
        _ => None,
    }
}

/// Findings across the runs: trends and changes.
pub fn of_weekend(trends: &[Trend], comparisons: &[Comparison]) -> Vec<Finding> {
    trends.iter().filter_map(of_trend).chain(comparisons.iter().filter_map(of_comparison)).collect()
}

fn of_trend(t: &Trend) -> Option<Finding> {
    let (low, high) = t.low.zip(t.high)?;
    let rising = match t.verdict {
        trends::Verdict::Rising => true,
        trends::Verdict::Falling => false,
        _ => return None,
    };
    let (words, unit, digits, factor) = t.of.words();
    let car = crate::notice::printable(&t.car, 40);
    let change = format!(
        "{:+.digits$} {unit} a run, 95 % between {:+.digits$} and {:+.digits$}",
        factor * t.per_run,
        factor * low,
        factor * high
    );
    let moved = t.per_run.abs() * (t.values.len() - 1) as f64;
    let (code, weight, text) = match (t.of, rising) {
        (Figure::MotorCooling | Figure::BatteryResistanceMohm, _) if moved < MOVED * t.values.first()?.abs() => {
            return None;
        }
        (Figure::MotorPeakC | Figure::ControllerPeakC, _) if moved < PEAK_MOVED_K => return None,
        (Figure::MotorCooling, false) => (
            "cooling-falls",
            Weight::Act,
            format!("The {car}'s motor cooling falls from run to run ({change}): look at fan, airflow and heat sink"),
        ),
        (Figure::MotorPeakC | Figure::ControllerPeakC, true) => (
            "peak-rises",
            Weight::Watch,
            format!("The {car}'s {words} rises ({change}); cause: {}", t.cause.unwrap_or("cannot tell")),
        ),
        (Figure::BatteryResistanceMohm, true) => (
            "pack-ages",
            Weight::Watch,
            format!("The resistance of the {car}'s pack rises ({change}): it ages, or gets colder"),
        ),
        (Figure::EffectiveTyreMm, false) => {
            let worn = -t.per_run * (t.values.len() - 1) as f64 / t.values.first()?;
            let moved = format!("the gearing moved by {:.1} %", 100.0 * worn);
            let text = format!("The {car}'s tyres roll smaller from run to run ({change}): {moved}");
            (worn >= TYRE_MOVED).then_some(("tyre-wears", Weight::Watch, text))?
        }
        (Figure::WheelspinShare, true) => {
            ("wheelspin-rises", Weight::Watch, format!("The {car} spins its wheels more from run to run ({change})"))
        }
        (Figure::MedianLapS, _) => (
            "pace-moves",
            Weight::Note,
            format!(
                "The {car}'s median lap gets {} from run to run ({change})",
                if rising { "slower" } else { "faster" }
            ),
        ),
        _ => return None,
    };
    let values =
        json!({ "per_run": t.per_run, "low": low, "high": high, "p": t.p, "values": t.values, "cause": t.cause });
    Some(Finding { code, severity: weight, run: None, headline: None, text, figures: figures(values) })
}

fn of_comparison(c: &Comparison) -> Option<Finding> {
    let judged: Vec<&Effect> = c.effects.iter().filter(|e| e.difference.is_some()).collect();
    if judged.is_empty() {
        return None;
    }
    let say = |e: &&Effect| {
        let (words, unit, digits, factor) = e.of.words();
        let d = e.difference?;
        Some(format!("{words} {:+.digits$} ± {:.digits$} {unit}", factor * d.value, factor * d.half_width()))
    };
    let claimed: Vec<String> = judged.iter().filter(|e| e.claimed()).filter_map(say).collect();
    let mut keys = vec![crate::notice::printable(&c.key, 40)];
    keys.extend(c.together_with.iter().map(|k| crate::notice::printable(k, 40)));
    // Keys that changed together make one sentence, with the first of them.
    if c.together_with.iter().any(|k| *k < c.key) {
        return None;
    }
    let (from, to) = c.shown();
    let change = format!("{} from {from} to {to}", keys.join(" with "));
    let car = crate::notice::printable(&c.car, 40);
    // Nothing found is worth a word only where something that matters would have been.
    let sharp =
        |e: &&&Effect| e.difference.is_some_and(|d| d.half_width() < e.of.matters(e.from.unwrap_or(0.0).abs()) / 2.0);
    if claimed.is_empty() && !judged.iter().all(|e| sharp(&e)) {
        return None;
    }
    let text = if claimed.is_empty() {
        format!("{change} on the {car}: no effect that stands out from the scatter of the runs")
    } else {
        format!("{change} on the {car}: {}", claimed.join(", "))
    };
    let values =
        json!({ "key": c.key, "runs_from": c.runs_from, "runs_to": c.runs_to, "together_with": c.together_with });
    Some(Finding { code: "change", severity: Weight::Note, run: None, headline: None, text, figures: figures(values) })
}

/// What to act on first; within that the order of the runs.
pub fn order(findings: &mut [Finding]) {
    findings.sort_by_key(|f| f.severity);
}
