//! A race that is asked for, in lines: what it is, its figure, what that is measured against.

use super::cells::NOTHING;
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::units::Measure;
use crate::units::measure::TEMPERATURE;
use crate::weekend::ahead::{Ahead, Wanted};
use crate::wording::{self, InFigures};

/// What to say of a race that is asked for.
pub struct AheadView {
    /// The race in words.
    pub name: String,
    /// What each line is about, its figure with its interval, and what it is measured against; may be empty.
    pub lines: Vec<[String; 3]>,
    /// What it takes to stay as it was.
    pub assumes: String,
}

/// The words of a race that is asked for.
pub fn ahead(ahead: &Ahead) -> AheadView {
    let whole = |e: &Option<Estimate>, unit: Measure| shown(e, |e| wording::whole(e, unit));
    let lap = |e: &Estimate| match e.half_width() > 0.0 {
        true => InFigures::new(e).sentence("s"),
        false => InFigures::plain(e.value, 2).sentence("s"),
    };
    let line = |what: &str, figure: String, against: String| [what.to_owned(), figure, against];
    let limit = |limit_c: f64| format!("limit {}", wording::value(limit_c, 0, TEMPERATURE));
    let reached = ahead
        .motor_limit_after_s
        .as_ref()
        .map_or("not within an hour".to_owned(), |e| InFigures::whole(e).sentence("s"));
    let lines = vec![
        line("lap time", shown(&ahead.lap_s, lap), String::new()),
        line("laps until the flag", shown(&ahead.laps, |e| format!("{:.1}", e.value)), String::new()),
        line("motor at the end", whole(&ahead.motor_race_end_c, TEMPERATURE), limit(ahead.motor_limit_c)),
        line("motor reaches its limit after", reached, String::new()),
        line(
            "controller at the end",
            whole(&ahead.controller_race_end_c, TEMPERATURE),
            limit(ahead.controller_limit_c),
        ),
        line("charge used", whole(&ahead.used_mah, "mAh".into()), String::new()),
        line("lowest cell", ahead.lowest_cell_v.map_or(NOTHING.to_owned(), |v| format!("{v:.2} V")), String::new()),
    ];
    AheadView { name: name(ahead), lines, assumes: format!("This assumes {}.", ahead.assumes.join("; ")) }
}

fn shown(estimate: &Option<Estimate>, words: impl Fn(&Estimate) -> String) -> String {
    estimate.as_ref().map_or(NOTHING.to_owned(), words)
}

/// `A race of 480 s like run t2, in air of 39 °C, with 32 teeth`.
fn name(ahead: &Ahead) -> String {
    let Wanted { air_c, pinion, spur, start_c, .. } = ahead.wanted;
    let parts = [
        air_c.map(|c| format!(", in air of {}", wording::stated(c, TEMPERATURE))),
        start_c.map(|c| format!(", started at {}", wording::stated(c, TEMPERATURE))),
        pinion.map(|teeth| format!(", with a {teeth}-tooth pinion")),
        spur.map(|teeth| format!(", with a {teeth}-tooth spur")),
    ];
    let changes: String = parts.into_iter().flatten().collect();
    format!("A race of {:.0} s like run {}{changes}", ahead.race_s, printable(&ahead.run, 40))
}
