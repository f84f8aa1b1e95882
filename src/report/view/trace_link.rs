//! Addresses into a run's page: the trace at a place, with the laps that show it; the answer that a finding is about.

use super::names::page_name;
use crate::measure::time_along_lap::TimeAlongLaps;
use crate::notice::printable;
use crate::review::Review;
use crate::weekend::findings::{About, Finding, Place};
use crate::weekend::lap_on_lap::LostOn;

/// How far round a point is shown on either side, share of the lap.
const AROUND: f64 = 0.05;

/// A link on a run's page that sets its trace.
pub struct TraceLink {
    /// Where it leads.
    pub address: String,
    /// What it says.
    pub words: String,
}

/// Where a finding leads: into the trace of its run where it has a place, else to the answer that it is about; `None`
/// for the weekend's own. `own_page` is whether it stands on its run's page.
pub fn of_finding(review: &Review, finding: &Finding, own_page: bool) -> Option<String> {
    let id = finding.run.as_ref()?;
    let index = review.runs.iter().position(|run| run.plan().id == *id)?;
    let page = if own_page { String::new() } else { page_name(index, id) };
    let anchor = match finding.place.and_then(|place| Some((place.lap?, place))) {
        Some((lap, place)) => anchor(lap, place.on_lap.map(LostOn::Lap), Some(stretch(&place))),
        None => section(finding.about)?.to_owned(),
    };
    Some(format!("{page}#{anchor}"))
}

/// The section of a run's page.
fn section(about: About) -> Option<&'static str> {
    match about {
        About::Gearing => Some("gearing"),
        About::Motor | About::Controller => Some("heat"),
        About::Wheelspin => Some("grip"),
        About::Battery => Some("battery"),
        About::Time => Some("time"),
        About::Change => Some("change"),
        About::Trend => None,
    }
}

/// The stretch of one lap that shows a place: of one over the line the longer part.
fn stretch(place: &Place) -> (f64, f64) {
    let from = place.lap_fraction;
    match place.until {
        None => ((from - AROUND).max(0.0), (from + AROUND).min(1.0)),
        Some(to) if to > from => (from, to),
        Some(to) if 1.0 - from > to => (from, 1.0),
        Some(to) => (0.0, to),
    }
}

/// `trace=lap-7,with-lap-3,31-42`: what the page's script reads from the address.
pub fn anchor(lap: u32, on: Option<LostOn>, stretch: Option<(f64, f64)>) -> String {
    let with = on.map_or_else(String::new, |on| format!(",with-{}", name(on)));
    let place = stretch
        .map_or_else(String::new, |(from, to)| format!(",{:.0}-{:.0}", (100.0 * from).floor(), (100.0 * to).ceil()));
    format!("trace=lap-{lap}{with}{place}")
}

/// What a lap to compare with is called in the page's data.
pub fn name(on: LostOn) -> String {
    match on {
        LostOn::Lap(lap) => format!("lap-{lap}"),
        LostOn::Median => "median".to_owned(),
        LostOn::Other(n) => format!("run-{n}"),
    }
}

/// The comparisons that are asked for most.
pub fn first_asked(review: &Review, index: usize) -> Vec<TraceLink> {
    let run = &review.runs[index];
    let Some(done) = run.done() else { return Vec::new() };
    let link =
        |lap: u32, on: LostOn, words: String| TraceLink { address: format!("#{}", anchor(lap, Some(on), None)), words };
    let within = |along: &TimeAlongLaps| {
        let (worst, best) = (along.worst().lap, along.best().lap);
        link(worst, LostOn::Lap(best), "the slowest counted lap against the best".to_owned())
    };
    let mut links: Vec<TraceLink> = done.answers.along.as_ref().ok().map(within).into_iter().collect();
    let Some(best) = done.laps.best().map(|lap| lap.number) else { return links };
    let compared = &run.lap_on_lap;
    let run_of = |n: usize| printable(&review.runs[compared.others[n].run].plan().id, 24);
    links.extend(
        compared.best_of_car.map(|n| {
            link(best, LostOn::Other(n), format!("the best lap against the car’s best, in run {}", run_of(n)))
        }),
    );
    let before = compared.run_before.filter(|n| compared.best_of_car != Some(*n));
    links.extend(before.map(|n| {
        link(best, LostOn::Other(n), format!("the best lap against the best of run {}, the run before", run_of(n)))
    }));
    links
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_names_laps_and_place() {
        assert_eq!(anchor(7, Some(LostOn::Lap(3)), Some((0.312, 0.416))), "trace=lap-7,with-lap-3,31-42");
        assert_eq!(anchor(7, None, None), "trace=lap-7");
        assert_eq!(anchor(1, Some(LostOn::Other(0)), None), "trace=lap-1,with-run-0");
    }

    #[test]
    fn a_place_over_the_line_is_shown_by_its_longer_part() {
        let place = |lap_fraction, until| Place { lap_fraction, until, lap: None, on_lap: None };
        assert_eq!(stretch(&place(0.9, Some(0.04))), (0.9, 1.0));
        assert_eq!(stretch(&place(0.98, Some(0.1))), (0.0, 0.1));
        assert_eq!(stretch(&place(0.02, None)), (0.0, 0.07));
    }
}
