//! Where most of a lap's time is lost, where one section of the lap stands out.

use serde_json::json;

use super::finding::{About, Finding, Place, name, of_run};
use crate::figure::Weight;
use crate::measure::sections::{Section, Sections};
use crate::measure::time_along_lap::{LapAlong, TimeAlongLaps};
use crate::quantity::Estimate;
use crate::run::SettledRun;
use crate::weekend::where_time_went::WhereTimeWent;
use crate::wording::{stretch_of_lap, uppercase_first, with_interval};

/// Least share of what the median lap loses, least time (s) and least times its share of the lap that a section must
/// take to stand out. Common practice, no source.
const LEAST_SHARE: f64 = 0.45;
const LEAST_S: f64 = 0.08;
const TIMES_ITS_LENGTH: f64 = 1.5;

/// The section in which the median lap loses most on the best lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossPlace {
    /// Where it begins and ends, share of the lap.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// What is lost there, s a lap.
    pub loss_s: Estimate,
    /// What is lost in all, s a lap.
    pub whole_s: f64,
    /// `out of the slowest corner`, `into the slowest corner`; empty elsewhere.
    pub corner: &'static str,
}

/// The section that stands out: most of the loss, more than its length lets expect, and certainly some.
pub fn loss_place(sections: &Sections) -> Option<LossPlace> {
    let all = &sections.sections;
    let whole_s: f64 = all.iter().map(|section| section.loss_s.value).sum();
    let worst = all.iter().max_by(|a, b| a.loss_s.value.total_cmp(&b.loss_s.value))?;
    let length = (worst.to - worst.from).rem_euclid(1.0);
    let stands_out = worst.loss_s.low > 0.0
        && worst.loss_s.value >= LEAST_S
        && worst.loss_s.value >= LEAST_SHARE * whole_s
        && worst.loss_s.value >= TIMES_ITS_LENGTH * length * whole_s
        // Where the laps differ most from each other: else the best lap was lucky there.
        && all.iter().all(|section| section.scatter_s <= worst.scatter_s);
    stands_out.then(|| LossPlace {
        from: worst.from,
        to: worst.to,
        loss_s: worst.loss_s,
        whole_s,
        corner: corner(all, worst),
    })
}

/// How a section lies to the slowest corner of the lap.
fn corner(all: &[Section], section: &Section) -> &'static str {
    let ends = all.iter().filter_map(|section| Some((section, section.end_m_s?.value)));
    match ends.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(before, _)| before) {
        Some(before) if before.to == section.from => "out of the slowest corner",
        Some(before) if before.to == section.to => "into the slowest corner",
        _ => "",
    }
}

pub(super) fn time_finding(run: &SettledRun, time: &WhereTimeWent) -> Option<Finding> {
    let place = loss_place(time.sections.as_ref()?)?;
    let lead = format!(
        "{} of what the median lap loses on the best in run {} goes {}",
        uppercase_first(place.share_in_words()),
        name(run),
        place.in_words(),
    );
    let detail = format!("It is {} of {:.2} s", with_interval(&place.loss_s, "s a lap"), place.whole_s);
    let values = json!({
        "from": place.from, "to": place.to, "loss_s": place.loss_s, "median_less_best_s": place.whole_s,
    });
    let finding = Finding::new("time-lost", Weight::Note, About::Time, lead, detail);
    let shown = run.done().and_then(|done| dearest_lap(done.answers.along.as_ref().ok()?, &place));
    let (lap, on_lap) = shown.unzip();
    let place = Place { lap_fraction: place.from, until: Some(place.to), lap, on_lap };
    Some(of_run(run, Finding { place: Some(place), ..finding }, values))
}

/// The counted lap that was slowest at the place, and the best lap.
fn dearest_lap(along: &TimeAlongLaps, place: &LossPlace) -> Option<(u32, u32)> {
    let seconds = |lap: &LapAlong| lap.along.between(place.from, place.to);
    let best = along.best().lap;
    let others = along.laps.iter().filter(|lap| lap.lap != best);
    Some((others.max_by(|a, b| seconds(a).total_cmp(&seconds(b)))?.lap, best))
}

impl LossPlace {
    /// `between 31 and 42 % of the lap, out of the slowest corner`.
    pub fn in_words(&self) -> String {
        let corner = if self.corner.is_empty() { String::new() } else { format!(", {}", self.corner) };
        format!("{}{corner}", stretch_of_lap(self.from, self.to))
    }

    /// `half`, `two thirds`, …: how much of all that is lost is lost there.
    pub fn share_in_words(&self) -> &'static str {
        share_in_words(self.loss_s.value / self.whole_s)
    }
}

fn share_in_words(share: f64) -> &'static str {
    const SHARES: [(f64, &str); 3] = [(0.5, "about half"), (2.0 / 3.0, "two thirds"), (3.0 / 4.0, "three quarters")];
    if share > 1.0 {
        return "more than all";
    }
    if share > 0.85 {
        return "nearly all";
    }
    SHARES.iter().min_by(|a, b| (a.0 - share).abs().total_cmp(&(b.0 - share).abs())).map_or("", |s| s.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::time_along_lap::{PLACES, TimeAlong, share_at};

    #[test]
    fn shares_by_hand() {
        assert_eq!(
            [0.47, 0.66, 0.74, 0.9, 1.2].map(share_in_words),
            ["about half", "two thirds", "three quarters", "nearly all", "more than all"]
        );
    }

    #[test]
    fn the_lap_that_shows_a_loss_is_the_slowest_there() {
        // Times of the two halves: lap 3 is the slowest lap, lap 2 in the second half, lap 1 the best.
        let along = |first: f64, second: f64| {
            let at = |place: usize| {
                let share = share_at(place);
                2.0 * (first * share.min(0.5) + second * (share - 0.5).max(0.0))
            };
            let seconds: Vec<f64> = (0..=PLACES).map(at).collect();
            TimeAlong { line_moved_s: [seconds.clone(), seconds.clone()], seconds, place_u_s: vec![], walked: vec![] }
        };
        let laps = [along(5.0, 5.0), along(5.0, 5.3), along(5.5, 5.1)];
        let laps: Vec<LapAlong> = (1..).zip(laps).map(|(lap, along)| LapAlong { lap, along }).collect();
        let all = TimeAlongLaps { median: laps[0].along.clone(), laps, usual_u_s: vec![] };
        let loss_s = Estimate::from_half_width(0.3, 0.1);
        let place = LossPlace { from: 0.5, to: 1.0, loss_s, whole_s: 0.3, corner: "" };
        assert_eq!(dearest_lap(&all, &place), Some((2, 1)));
    }
}
