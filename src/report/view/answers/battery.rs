//! What did the battery have left?

use crate::measure::battery::{Battery, BatteryVerdict};
use crate::quantity::Estimate;
use crate::report::charts;
use crate::report::view::answer::{AnswerView, ChartView, KeyFigure, not_answered, small_chart};
use crate::report::view::verdicts;
use crate::run::Measured;
use crate::weekend::concluded_run::ConcludedRun;
use crate::wording::{InFigures, with_interval};

/// What the sheet says of the pack.
struct Pack {
    cells: Option<f64>,
    capacity_mah: Option<f64>,
}

pub fn answer(run: &ConcludedRun, done: &Measured, race_s: f64) -> AnswerView {
    let battery = &done.answers.battery;
    let settings = &run.plan().settings;
    let pack = Pack { cells: settings.number("battery.cells"), capacity_mah: settings.number("battery.capacity_mah") };
    AnswerView {
        about: "battery",
        question: "What did the battery have left?",
        verdict: verdicts::battery(battery.verdict),
        figure: figure(battery, &pack),
        sentences: sentences(battery, &pack, race_s),
        details: Vec::new(),
        charts: pack_charts(done, &pack),
        rests_on: String::new(),
    }
}

/// What was left of the pack, or where that is not known or the cells fell too low, their lowest voltage.
fn figure(battery: &Battery, pack: &Pack) -> KeyFigure {
    let (lowest, label) = match battery.lowest_cell_v {
        Some(cell) => (Some(cell), "lowest cell voltage (pack ÷ cells)"),
        None => (battery.lowest_v, "lowest pack voltage"),
    };
    let lowest = lowest.map(|v| format!("{v:.2} V"));
    let known = battery.used_range_mah.zip(pack.capacity_mah);
    let Some((used, capacity)) = known.filter(|_| battery.verdict != BatteryVerdict::UnderFloor) else {
        return KeyFigure::plain(lowest, label);
    };
    let left = |used: f64| (capacity - used).min(capacity).max(0.0);
    let left = Estimate { value: left(used.value), low: left(used.high), high: left(used.low) };
    let mut of = format!("left of {capacity:.0} mAh, if it started full");
    if let Some(lowest) = lowest {
        of += &format!("; {label} {lowest}");
    }
    // Neither less than nothing nor more than the pack holds.
    let whole = if left.half_width() < 1.0 { InFigures::plain(left.value, 0) } else { InFigures::whole(&left) };
    KeyFigure::in_figures(&whole, "mAh", of)
}

fn sentences(battery: &Battery, pack: &Pack, race_s: f64) -> Vec<String> {
    let mut sentences = Vec::new();
    if let Some(used) = battery.used_mah {
        let energy = battery.used_wh.map_or_else(String::new, |wh| format!(" ({wh:.1} Wh)"));
        sentences.push(format!("The run used {used:.0} mAh{energy}."));
    }
    if let Some(end) = &battery.race_end_used_mah {
        sentences.push(format!("A {race_s:.0} s race would use {}.", InFigures::whole(end).sentence("mAh")));
    }
    if let Some(lowest) = battery.lowest_v {
        let cell = battery.floor_cell_v;
        let floor = pack.cells.map_or_else(
            || format!("{cell:.2} V a cell"),
            |cells| format!("{:.2} V ({cells} × {cell:.2} V)", cells * cell),
        );
        sentences.push(format!("The pack dropped to {lowest:.2} V; its floor is {floor}."));
    }
    if let Some(resistance) = &battery.resistance_mohm {
        sentences.push(format!("Pack resistance: {}.", with_interval(resistance, "mΩ")));
    }
    sentences.extend(battery.why.as_ref().map(not_answered));
    sentences
}

fn pack_charts(done: &Measured, pack: &Pack) -> Vec<ChartView> {
    let floor_v = pack.cells.map(|cells| cells * done.answers.battery.floor_cell_v);
    let mut charts = small_chart(|size| charts::voltage(&done.log, floor_v, size), "Pack voltage over time", "");
    charts.extend(small_chart(|size| charts::current(&done.log, size), "Current over time", ""));
    charts
}
