//! Did the last change help?

use crate::notice::printable;
use crate::report::charts;
use crate::report::view::answer::{AnswerView, ChartView, KeyFigure, chart};
use crate::report::view::{settings, verdicts};
use crate::units::measure::TEMPERATURE;
use crate::weekend::since::{Changed, Condition, Nature, Since, Wish};
use crate::weekend::where_time_went::{LostRun, SectionChange, WhereTimeWent};
use crate::wording::{self, InFigures, LAP_TIMES, stretch_of_lap};

/// What happened since the car's run before.
pub fn answer(since: &Since, time: Option<&WhereTimeWent>) -> AnswerView {
    let before = printable(&since.run, 40);
    let lost = time.and_then(|time| time.on_run_before.as_ref()).filter(|lost| lost.run == since.run);
    AnswerView {
        about: "change",
        question: "Did the last change help?",
        verdict: verdicts::since(since),
        figure: figure(since, &before),
        sentences: sentences(since, lost, &before),
        details: Vec::new(),
        charts: lost.map(|lost| lost_along_lap(lost, &before)).unwrap_or_default(),
        rests_on: String::new(),
    }
}

fn figure(since: &Since, before: &str) -> KeyFigure {
    let label = match since.over_all_runs_s {
        Some(_) => "median lap by this change, over all runs of the weekend".to_owned(),
        None => format!("median lap against run {before}"),
    };
    match since.over_all_runs_s.or(since.median_lap_change_s) {
        Some(change) => KeyFigure::in_figures(&InFigures::new(&change).signed(), "s", label),
        None => KeyFigure::plain(None, label),
    }
}

/// Where on the lap the median lap gained or lost on that of the run before.
fn lost_along_lap(lost: &LostRun, before: &str) -> Vec<ChartView> {
    let on = format!("run {}", printable(&lost.run, 12));
    chart(
        |size| charts::time_lost(&lost.lost, "this run", &on, size),
        format!("Time that the median lap lost on that of run {before}, along the lap"),
        "A line that rises loses time there, one that falls gains. The band is the 95 % interval of the place.",
    )
}

/// The sections of the lap that clearly changed.
fn changed_sections(lost: &LostRun) -> Option<String> {
    let clear = lost.by_section.iter().filter(|section| !section.slower_by_s.holds(0.0));
    let one = |of: &SectionChange| {
        format!("{} {}", wording::change(&of.slower_by_s, "s", LAP_TIMES), stretch_of_lap(of.from, of.to))
    };
    let all: Vec<String> = clear.map(one).collect();
    (!all.is_empty()).then(|| format!("On the lap it was {}.", all.join(", and ")))
}

fn sentences(since: &Since, lost: Option<&LostRun>, before: &str) -> Vec<String> {
    let mut sentences = vec![changed(&since.changed, before)];
    sentences.extend(by_itself(&since.by_itself));
    if let Some(change) = &since.median_lap_change_s {
        sentences.push(format!("The median lap was {}.", wording::change(change, "s", LAP_TIMES)));
    }
    sentences.extend(lost.and_then(changed_sections));
    if let Some(all) = &since.over_all_runs_s {
        sentences.push(format!(
            "Over all runs of the weekend this change makes the median lap {}.",
            wording::change(all, "s", LAP_TIMES)
        ));
    }
    sentences.extend(since.wish.map(|wish| wished(wish, since.equal_runs_s)));
    sentences
}

/// `Changed since run p1: pinion 31 → 32, drag brake 3 → 10 %.`
fn changed(changed: &[Changed], before: &str) -> String {
    if changed.is_empty() {
        return format!("Nothing was changed on the sheet since run {before}.");
    }
    let each: Vec<String> = changed.iter().map(settings::changed).collect();
    format!("Changed since run {before}: {}.", each.join(", "))
}

/// `What else was different: the air went from 24 to 27 °C.`
fn by_itself(conditions: &[Condition]) -> Option<String> {
    let (bare, degrees) = (|c| wording::bare_value(c, 0, TEMPERATURE), |c| wording::value(c, 0, TEMPERATURE));
    let each = |Condition { what, from, to }: &Condition| match what {
        Nature::Air => format!("the air went from {} to {}", bare(*from), degrees(*to)),
        Nature::MotorStart => format!("the motor started at {} instead of {}", bare(*to), degrees(*from)),
        Nature::Wheelspin => {
            format!("the wheels spun for {:.1} instead of {:.1} % of the laps’ time", 100.0 * to, 100.0 * from)
        }
    };
    let all: Vec<String> = conditions.iter().map(each).collect();
    (!all.is_empty()).then(|| format!("What else was different: {}.", all.join(", ")))
}

/// What to do next; where two runs do not tell, what such cars move anyway.
fn wished(wish: Wish, equal_runs_s: Option<f64>) -> String {
    match (wish, equal_runs_s) {
        (Wish::Keep, _) => "Keep it.".to_owned(),
        (Wish::PutBack, _) => "Put it back.".to_owned(),
        (Wish::RunAgain, Some(s)) => format!(
            "These two runs cannot tell: two equal runs of this car may differ by up to {s:.2} s. Run it once more to know."
        ),
        (Wish::RunAgain, None) => "Run it once more to know.".to_owned(),
    }
}
