//! Sentences worth acting on, from the answers of the runs.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::measure::Answers;
use crate::measure::wheelspin::Wheelspin;
use crate::measure::{battery, gearing, heat};

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
    /// The sentence.
    pub text: String,
    /// Its figures.
    pub figures: Map<String, Value>,
}

/// Share of the laps' time from which wheelspin is worth a word. A default (common practice, no source).
pub const MUCH_SPIN: f64 = 0.02;
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
pub fn of_run(id: &str, answers: &Answers) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut add = |code, severity, text: String, values: Value| {
        findings.push(Finding { code, severity, run: Some(id.to_owned()), text, figures: figures(values) });
    };
    let shown = crate::notice::printable(id, 40);
    let g = &answers.gearing;
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
        add(
            "pinion-differs",
            Weight::Act,
            format!("Run {shown} drove {} teeth, the sheet says {sheet}{measured} (probability {sure} %)", best.pinion),
            json!({ "pinion": best.pinion, "sheet_pinion": sheet, "probability": best.probability, "realised_ratio": g.realised_ratio }),
        );
    }
    if g.why.as_deref() == Some(super::gearing::NO_PINION_FITS) {
        let figures = json!({ "realised_ratio": g.realised_ratio, "set_ratio": g.set_ratio });
        add(
            "gearing-does-not-fit",
            Weight::Act,
            format!("The sheet does not fit run {shown}: {}", super::gearing::NO_PINION_FITS),
            figures,
        );
    }
    for (part, code, heat) in
        [("motor", "motor-heat", &answers.motor), ("controller", "controller-heat", &answers.controller)]
    {
        let figures = json!({ "peak_c": heat.peak_c, "limit_c": heat.limit_c, "over_limit_s": heat.over_limit_s, "race_end_c": heat.race_end_c });
        let limit = if heat.limit_stated { "on the sheet" } else { "assumed: state the maker's own" };
        let peak = heat.peak_c.unwrap_or(f64::NAN);
        match heat.verdict {
            heat::Verdict::Over => add(
                code,
                Weight::Act,
                format!(
                    "The {part} reached {peak:.0} °C in run {shown}, over its {:.0} °C ({limit}), for {:.0} s: gear it down or cool it before the next run",
                    heat.limit_c,
                    heat.over_limit_s.unwrap_or(0.0)
                ),
                figures,
            ),
            heat::Verdict::Close => add(
                code,
                Weight::Watch,
                format!(
                    "The {part} was {:.0} °C below its {:.0} °C ({limit}) at a race's end in run {shown}",
                    heat.race_end_c.map_or(heat.limit_c - peak, |e| heat.limit_c - e.value).max(0.0),
                    heat.limit_c
                ),
                figures,
            ),
            _ => {}
        }
    }
    let w = &answers.wheelspin;
    if let (Some(seconds), Some(share)) = (w.seconds, w.share.filter(|s| *s >= MUCH_SPIN)) {
        let place = spun_place(w)
            .map_or(String::new(), |(at, laps)| format!(", on {laps} laps {at:.2} of a lap after the line"));
        add(
            "wheelspin",
            Weight::Watch,
            format!(
                "The wheels spun for {seconds:.1} s in run {shown}, {:.1} % of its laps' time{place}",
                100.0 * share
            ),
            json!({ "seconds": seconds, "share": share, "events": w.events.len() }),
        );
    }
    let b = &answers.battery;
    let figures = json!({ "lowest_cell_v": b.lowest_cell_v, "floor_cell_v": b.floor_cell_v, "used_mah": b.used_mah, "race_end_used_mah": b.race_end_used_mah });
    match b.verdict {
        battery::Verdict::UnderFloor => add(
            "cell-under-floor",
            Weight::Act,
            format!(
                "The cells fell to {:.2} V each in run {shown}, under its floor of {:.2} V: a pack driven there may be damaged",
                b.lowest_cell_v.unwrap_or(f64::NAN),
                b.floor_cell_v
            ),
            figures,
        ),
        battery::Verdict::Short => add(
            "charge-short",
            Weight::Watch,
            format!(
                "A race would use {:.0} mAh after run {shown}'s pace, most of the pack",
                b.race_end_used_mah.map_or(f64::NAN, |m| m.value)
            ),
            figures,
        ),
        _ => {}
    }
    findings
}

/// What to act on first; within that the order of the runs.
pub fn order(findings: &mut [Finding]) {
    findings.sort_by_key(|f| f.severity);
}
