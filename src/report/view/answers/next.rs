//! What could be changed next?

use crate::measure::hot_part::HotPart;
use crate::report::charts;
use crate::report::view::answer::{AnswerView, ChartView, KeyFigure, not_answered, small_chart};
use crate::report::view::verdicts::{self, PinionRoom};
use crate::sheet::DEFAULT_MOTOR_C;
use crate::sheet::keys::printable_label;
use crate::units::measure::{DEGREES, SPEED, TEMPERATURE};
use crate::weekend::best_pinion::{BestPinion, BestVerdict};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::next::Next;
use crate::wording::{self, HIGHER, HOTTER, LAP_TIMES};

/// What another pinion would do, and whether the fan is needed.
pub fn answer(run: &ConcludedRun) -> AnswerView {
    let limit_c = run.run.heat(HotPart::Motor).map_or(DEFAULT_MOTOR_C, |heat| heat.limit_c);
    let keeps_limit = |n: &&Next| n.motor_race_end_c.is_some_and(|end| end.high < limit_c);
    let largest = run.next.iter().filter(keeps_limit).map(|n| n.pinion).max_by(f64::total_cmp);
    let on_car = run.run.pinion_on_car();
    let faster = faster(run).and_then(|best| best.pinion);
    let room = on_car.filter(|_| has_forecast(run)).map(|on_car| PinionRoom { faster, on_car, largest, limit_c });
    AnswerView {
        about: "next",
        question: "What could be changed next?",
        verdict: verdicts::next_pinion(room),
        figure: KeyFigure::plain(
            largest.map(|teeth| format!("{teeth} teeth")),
            format!("largest nearby pinion that keeps the motor under {}", wording::value(limit_c, 0, TEMPERATURE)),
        ),
        sentences: sentences(run, on_car),
        details: Vec::new(),
        charts: pinion_charts(run, on_car, limit_c),
        rests_on: String::new(),
    }
}

/// Whether the motor's heat could be forecast for any pinion.
fn has_forecast(run: &ConcludedRun) -> bool {
    run.next.iter().any(|n| n.motor_race_end_c.is_some())
}

/// The pinion that is known to be faster within the limits.
fn faster(run: &ConcludedRun) -> Option<&BestPinion> {
    run.best_pinion.as_ref().filter(|best| best.verdict == BestVerdict::Faster)
}

/// The best pinion in a sentence: `33 teeth: 0.04 s a lap faster (0.01 to 0.07), motor 92 °C at the end of the race.`
fn best(run: &ConcludedRun) -> Option<String> {
    let best = run.best_pinion.as_ref()?;
    let (teeth, lap, motor) = (best.pinion?, best.lap_change_s?, best.motor_race_end_c?);
    let others: Vec<String> = best.not_told_from.iter().map(f64::to_string).collect();
    match best.verdict {
        BestVerdict::Faster => {
            let lap = wording::change(&lap, "s a lap", LAP_TIMES);
            let motor = wording::value(motor.value, 0, TEMPERATURE);
            let mut said = format!("{teeth} teeth: {lap}, motor {motor} at the end of the race.");
            if !others.is_empty() {
                said += &format!(" Whether {} would be as fast cannot be told.", others.join(" or "));
            }
            Some(said)
        }
        BestVerdict::OnCar => Some(format!("{teeth} teeth, as on the car, lap faster than the pinions around it.")),
        BestVerdict::CannotTell => None,
    }
}

fn sentences(run: &ConcludedRun, on_car: Option<f64>) -> Vec<String> {
    let mut sentences: Vec<String> = best(run).into_iter().collect();
    let neighbours = run.next.iter().filter(|n| on_car.is_some_and(|teeth| (n.pinion - teeth).abs() == 1.0));
    for next in neighbours {
        if let (Some(speed), Some(heat)) = (&next.top_speed_change_m_s, &next.motor_change_k) {
            let speed = wording::change(speed, SPEED, HIGHER);
            let heat = wording::change(heat, DEGREES, HOTTER);
            sentences.push(format!("{} teeth: top speed {speed}, motor {heat} at the end of the race.", next.pinion));
        }
    }
    if let Some(fan) = &run.without_fan {
        let end = wording::whole(&fan.motor_race_end_c, TEMPERATURE);
        sentences.push(format!("Without the fan the motor would end the race at {end}."));
    }
    if has_forecast(run) {
        sentences.push("Race rules and the maker's limits come first.".to_owned());
    }
    sentences.extend(run.next.iter().find_map(|n| n.why).map(not_answered));
    let missing: Vec<String> = ["spur", "pinion"]
        .into_iter()
        .filter(|key| run.plan().settings.number(key).is_none())
        .map(printable_label)
        .collect();
    if !missing.is_empty() {
        sentences.push(format!("To answer this, enter {} on the sheet.", missing.join(" and ")));
    }
    sentences
}

fn pinion_charts(run: &ConcludedRun, on_car: Option<f64>, limit_c: f64) -> Vec<ChartView> {
    const CAPTION: &str = "Blue: the pinion on the car. Bars are 95 % intervals.";
    let mut charts = small_chart(
        |size| charts::heat_by_pinion(&run.next, on_car, limit_c, size),
        "Motor temperature at the end of the race with each pinion, against its limit",
        CAPTION,
    );
    charts.extend(small_chart(
        |size| charts::speed_by_pinion(&run.next, on_car, size),
        "Top speed of the car with each pinion",
        CAPTION,
    ));
    charts
}
