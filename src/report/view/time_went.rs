//! Where the time of a run went: sections, the lap of the best of them, how even the laps were.

use super::answer::{ChartView, chart};
use super::cells::{NOTHING, RowView};
use crate::measure::consistency::{Consistency, FadedWith, Pace, Reading};
use crate::measure::sections::{BestSections, Section, Sections};
use crate::notice::printable;
use crate::quantity::Estimate;
use crate::report::charts;
use crate::run::Measured;
use crate::units::measure::{DEGREES, SPEED};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::findings::loss_place;
use crate::weekend::where_time_went::{LostLap, LostRun, SectionChange, WhereTimeWent};
use crate::wording::{
    InFigures, LAP_TIMES, cell, change, change_each, counted, head, stretch_of_lap, uppercase_first, whole,
    with_interval,
};

/// Heads of the table of sections.
pub fn section_heads() -> [String; 6] {
    ["place on the lap, %", "best, s", "median, s", "scatter, s", &head("slowest", SPEED), "median lost on best lap, s"]
        .map(str::to_owned)
}

/// Where the time went.
pub struct TimeView {
    /// What there is to say, in sentences.
    pub sentences: Vec<String>,
    /// Heads of the table's columns.
    pub heads: [String; 6],
    /// The sections; empty where the lap could not be cut.
    pub sections: Vec<RowView>,
    /// What is to be known to read the table; empty without one.
    pub caption: &'static str,
}

/// Where the time of a run went; `None` where there is nothing to say.
pub fn time_went(run: &ConcludedRun, done: &Measured) -> Option<TimeView> {
    let mut sentences = Vec::new();
    let sections = run.time.as_ref().and_then(|time| time.sections.as_ref());
    if let Some(sections) = sections {
        sentences.push(lost(sections));
        sentences.push(best_sections(&sections.best_sections));
    } else if let Err(why) = &done.answers.along {
        sentences.push(format!("Where on the lap the time went is not known: {why}."));
    } else {
        sentences.push("The lap was not cut: its speed has no two clear slowest points.".to_owned());
    }
    if let Some(consistency) = &done.answers.consistency {
        sentences.extend(even(consistency));
    }
    sentences.extend(run.time.iter().flat_map(against));
    let rows: Vec<RowView> = sections.map(|s| s.sections.iter().map(row).collect()).unwrap_or_default();
    let caption = if rows.is_empty() {
        ""
    } else {
        "The lap is cut at its slowest points, alike in all runs of the car. Places are by distance from the line. The \
         lowest speed is that of the median lap."
    };
    (!rows.is_empty() || done.answers.consistency.is_some()).then_some(TimeView {
        sentences,
        heads: section_heads(),
        sections: rows,
        caption,
    })
}

fn row(section: &Section) -> RowView {
    let speed = section.slowest_m_s.as_ref().map_or(NOTHING.to_owned(), |speed| cell(speed, SPEED));
    RowView::plain(vec![
        format!("{:.0} to {:.0}", 100.0 * section.from, 100.0 * section.to),
        format!("{:.2}", section.best_s),
        InFigures::new(&section.median_s).plus_minus(),
        format!("{:.2}", section.scatter_s),
        speed,
        InFigures::new(&section.loss_s).plus_minus(),
    ])
}

/// Where the median lap loses on the best one.
fn lost(sections: &Sections) -> String {
    let whole: f64 = sections.sections.iter().map(|section| section.loss_s.value).sum();
    match loss_place(sections) {
        Some(place) => format!(
            "The median lap is {whole:.2} s slower than the best. {} of that goes {}: {}.",
            uppercase_first(place.share_in_words()),
            place.in_words(),
            with_interval(&place.loss_s, "s")
        ),
        None => format!(
            "The median lap is {whole:.2} s slower than the best; no section of the lap stands out as the place where \
             it goes."
        ),
    }
}

/// The lap of the best sections, and what of it is luck.
fn best_sections(best: &BestSections) -> String {
    let lap = format!(
        "The best time of each section together makes a lap of {:.2} s, {:.2} s faster than the best lap.",
        best.lap_s, best.faster_by_s
    );
    let Some(chance) = best.by_chance_s else {
        return format!("{lap} How much of that is luck cannot be told from so few laps.");
    };
    let luck = with_interval(&chance, "s");
    if best.faster_by_s > chance.high {
        format!("{lap} Luck alone would make that {luck}: fast sections came in different laps.")
    } else if best.faster_by_s < chance.low {
        format!(
            "{lap} Luck alone would make that {luck}: laps that were fast in one section were fast in the others too."
        )
    } else {
        format!("{lap} Luck alone would make that {luck}, so it is no time in hand.")
    }
}

/// How even the laps were, and whether the pace held.
fn even(consistency: &Consistency) -> Vec<String> {
    let laps = consistency.laps;
    let first = format!(
        "{} of {} were within 1 % of the median; lap times scatter by {}. The longest clean stretch was {}.",
        consistency.within_1_percent,
        counted(laps, "lap"),
        with_interval(&consistency.scatter_s, "s"),
        counted(consistency.longest_clean, "lap"),
    );
    let pace = match (consistency.pace, consistency.pace_s_a_lap) {
        (_, None) => "Whether the pace held cannot be told from so few laps.".to_owned(),
        (Pace::NoClearChange, Some(slope)) => {
            format!("The pace shows no clear change: {}.", change_each(&slope, "s", LAP_TIMES, "each lap"))
        }
        (Pace::Improving, Some(slope)) => format!("The laps got {}.", change_each(&slope, "s", LAP_TIMES, "each lap")),
        (Pace::Fading, Some(slope)) => {
            let slower = change_each(&slope, "s", LAP_TIMES, "each lap");
            format!("The laps got {slower}. {}", faded(&consistency.faded_with))
        }
    };
    vec![first, pace]
}

/// What got worse while the pace faded.
fn faded(with: &[FadedWith]) -> String {
    let one = |faded: &FadedWith| {
        let amount = |unit: &'static str| with_interval(&faded.change, unit);
        match faded.of {
            Reading::Voltage => format!("the pack’s voltage fell by {}", with_interval(&faded.change.mirrored(), "V")),
            Reading::MotorTemperature => {
                format!("the motor got hotter by {}", whole(&faded.change, DEGREES))
            }
            Reading::Wheelspin => format!("the wheels spun more, by {}", amount("s a lap")),
        }
    };
    let all: Vec<String> = with.iter().map(one).collect();
    match all.as_slice() {
        [] => "Nothing that the log shows got worse meanwhile.".to_owned(),
        all => format!("Meanwhile {}. The log does not tell whether that is why.", all.join(", and ")),
    }
}

/// The run against the car's best run.
fn against(time: &WhereTimeWent) -> Vec<String> {
    // The run before is the first question of the page already.
    time.on_best_run.as_ref().and_then(|best| compared(best, ", the car’s best,")).into_iter().collect()
}

/// The slowest counted lap against the best, along the lap.
pub fn worst_lap_chart(time: &WhereTimeWent) -> Vec<ChartView> {
    let LostLap { lap, on, lost } = &time.worst_lap;
    chart(
        |size| charts::time_lost(lost, &format!("lap {lap}"), &format!("lap {on}"), size),
        format!("Time that the slowest counted lap, {lap}, lost on the best, {on}, along the lap"),
        format!("The slowest counted lap ({lap}) against the best ({on}). Where the line rises, it lost time."),
    )
}

/// In which sections a run differs clearly from another; `None` where too few laps count to say.
fn compared(lost: &LostRun, which: &str) -> Option<String> {
    if lost.by_section.is_empty() {
        return None;
    }
    let other = format!("run {}{which}", printable(&lost.run, 24));
    let whole = format!("Against {other} the median lap was {}", seconds(&lost.slower_by_s));
    let differs = |of: &&SectionChange| !of.slower_by_s.holds(0.0);
    let one = |of: &SectionChange| format!("{} {}", seconds(&of.slower_by_s), stretch_of_lap(of.from, of.to));
    let clear: Vec<String> = lost.by_section.iter().filter(differs).map(one).collect();
    Some(match clear.as_slice() {
        [] => format!("{whole}. No single section is clearly slower or faster."),
        clear => format!("{whole}. It was {}.", clear.join(", and ")),
    })
}

fn seconds(slower_by_s: &Estimate) -> String {
    change(slower_by_s, "s", LAP_TIMES)
}
