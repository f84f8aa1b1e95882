//! Whether a lap list is the log's own: what it is worth.
//!
//! A list that belongs to the log finds the car at one place of the track at each passing, and it does so in the order
//! of its laps only. So its best fit is compared with the best fits of the same laps in other orders, which is what the
//! list of another run would leave: errors that add up from lap to lap. With L the likelihood of each, L / mean(L of
//! the orders) is a likelihood ratio against "the list has nothing to do with this log" (a permutation test; Fisher
//! 1935, from memory). Its mean under that hypothesis is 1, so by Markov's inequality no more than one foreign list in
//! [`AGAINST_CHANCE`] exceeds it. Neighbouring laps are swapped too, because laps grow slower over every run.
//!
//! Nor may what is left be more than the place is uncertain by the run's own account. A crash or a carried car moves the
//! place once, and by the same for all passings after it: one such step is allowed in a list whose order fits. Where more
//! is left, the list's clock is let run at a rate of its own, and then the list may begin before the log or end after it.
//!
//! Wrong where a driver laps so evenly that any order fits: then the list is doubtful, and laid all the same.

use super::align::{self, Alignment, Clock, Fit, Window};
use super::driven::{Driven, Whereabouts};
use super::lap_orders::{laps_of, order_ratio};
use super::list_verdict::{ListReason, ListVerdict};
use super::lists::LapList;
use super::odometer::Odometer;
use super::passing_errors::LEAST_SCATTER;
use super::period::LONGEST_LAP_S;
use super::place::Places;
use crate::quantity::{Estimate, Uncertain};
use crate::statistics::quantiles::{median, median_step, quantile, robust_deviation};
use crate::statistics::straight_line::{StraightLine, straight_line};

/// A list is a log's own where it fits this many times better than its laps in another order.
const AGAINST_CHANCE: f64 = 100.0;
/// Share of the passings' distances below which they are looked at: up to a quarter may be spoilt laps.
const MOST_PASSINGS: f64 = 0.75;
/// That quantile of the distance of a normal distribution from its mean, in standard deviations.
const NORMAL_QUANTILE: f64 = 1.150_3;
/// A lap that a crash or a stop spoilt takes this many times as long as most at least, and moves the car's place by less
/// than this share of a lap. Common practice, no source.
const SPOILT_LAP: f64 = 1.05;
const MOST_MOVED: f64 = 0.08;
/// A list with fewer laps than the log by this many can lie at several laps of it: up to two more are those to the line
/// and back to the pits.
const FEWER_LAPS: f64 = 3.0;
/// Probability that the list may have of beginning at another lap.
const OPEN: f64 = 0.05;
/// Rows a second below which a list is not refused for how its passings scatter. Common practice, no source.
const COARSE_HZ: f64 = 1.5;
/// Fewest laps of a part of a list that is tried by itself.
const LEAST_PART: usize = 6;
/// Places are held to this many robust deviations where a clock's rate is worked out, and their errors are taken to be
/// alike from one to the next by no more than this.
const FAR_OFF: f64 = 3.0;
const MOST_ALIKE: f64 = 0.9;
/// A clock is said to run fast or slow from this rate on.
const CLOCK_OFF: f64 = 0.003;
/// Rows of a table of readings at least, and the longest step between them, s: no lap takes so little.
const READINGS: usize = 100;
const READING_STEP_S: f64 = 1.5;
/// Sectors that a lap may have, and how near their times must come to a lap, as a share of it.
const MOST_SECTORS: usize = 8;
const NEAR_A_LAP: f64 = 0.05;
/// Steps in which lap times are written, s.
const RESOLUTIONS_S: [f64; 4] = [1.0, 0.1, 0.01, 0.001];
/// Slack when times are compared with a step, in steps.
const STEP_SLACK: f64 = 1e-3;

/// A list laid onto its log.
pub(super) struct LaidList {
    /// How likely each offset is.
    pub alignment: Alignment,
    /// Log time of the first passing, s.
    pub first: Estimate,
    /// Log seconds of each passing after the first.
    pub passings: Vec<f64>,
    /// Log seconds in a second of the list; 1 where nothing else shows.
    pub scale: f64,
    /// The same with its interval, where the log's clock runs fast or slow.
    pub clock_scale: Option<Estimate>,
    /// Sound or doubtful.
    pub verdict: ListVerdict,
}

/// Why a list is not laid.
pub(super) enum Misfit {
    /// It fits nowhere.
    Nowhere,
    /// Where it fits best, lap times and the log disagree.
    Apart(Disagreement),
    /// It is known already.
    Known(ListReason),
}

/// How far a list and the log disagree.
#[derive(Clone, Copy)]
pub(super) struct Disagreement {
    /// From lap to lap, s.
    lap_s: f64,
    /// The most over the run, s.
    most_s: f64,
}

/// What can be said of a list without laying it: far too many rows, or far too long.
pub(super) fn refuse_early(odometer: &Odometer, list: &LapList) -> Option<ListReason> {
    let passings = &list.passings;
    let log_s = driven_s(odometer)?;
    let step_s = median_step(passings)?;
    let (rows, middle_s) = (passings.len(), passings[passings.len() / 2]);
    if rows >= READINGS && (step_s < READING_STEP_S || rows as f64 > log_s / READING_STEP_S) {
        Some(ListReason::Readings { rows, step_s })
    } else if middle_s > log_s + LONGEST_LAP_S.min(step_s) {
        Some(ListReason::LongerThanLog { list_s: passings[rows - 1], log_s })
    } else {
        None
    }
}

/// Time from when the car first sets off to when it last moves, s; `None` where it never does.
fn driven_s(odometer: &Odometer) -> Option<f64> {
    align::moving(odometer).map(|(set_off, stopped)| stopped - set_off)
}

/// Lays `list` where it can be the log's own: on the turns of the wheels and of the car.
pub(super) fn lay(
    (odometer, gripped): (&Odometer, &Odometer),
    places: &Places,
    list: &LapList,
) -> Result<LaidList, Misfit> {
    let driven = Driven::new(odometer, places.lap_turns).ok_or(Misfit::Nowhere)?;
    let trial = Trial { odometer, gripped, places, driven: &driven, passings: &list.passings };
    let judged = trial.best_judged().ok_or(Misfit::Nowhere)?;
    let laid = trial.laid(&judged).ok_or(Misfit::Nowhere)?;
    if let Some(known) = trial.open(&laid) {
        return Err(Misfit::Known(known));
    }
    let verdict = trial.verdict(&judged).ok_or(Misfit::Apart(judged.off))?;
    Ok(LaidList { verdict, ..laid })
}

impl Misfit {
    /// Why the list is refused, where the log's own laps take `log_lap_s`.
    pub fn reason(self, odometer: &Odometer, list: &LapList, log_lap_s: Option<f64>) -> ListReason {
        let laps: Vec<f64> = laps_of(&list.passings).collect();
        let Some(log_s) = log_lap_s else { return ListReason::NoPattern };
        let log_length_s = driven_s(odometer).unwrap_or(0.0);
        let too_short = || ListReason::TooShort { laps: laps.len(), log_laps: (log_length_s / log_s) as usize };
        let Some(list_s) = median(laps.iter().copied()) else { return too_short() };
        let near = |s: f64| (s / log_s - 1.0).abs() < NEAR_A_LAP;
        let summed = |parts: &usize| near(median(laps.windows(*parts).map(|w| w.iter().sum())).unwrap_or(0.0));
        if let Some(parts) = (2..=MOST_SECTORS).find(summed).filter(|_| !near(list_s)) {
            return ListReason::Sectors { parts, list_s, log_s };
        }
        if !near(list_s) {
            return ListReason::OtherLapTime { list_s, log_s };
        }
        if let Self::Known(known) = self {
            return known;
        }
        let length_s = list.passings.last().copied().unwrap_or(0.0);
        if length_s > log_length_s + log_s {
            return ListReason::LongerThanLog { list_s: length_s, log_s: log_length_s };
        }
        match self {
            Self::Apart(off) => ListReason::AnotherRun { lap_s: off.lap_s, most_s: off.most_s },
            Self::Nowhere | Self::Known(_) => too_short(),
        }
    }
}

/// A list that is tried on a log.
struct Trial<'a> {
    odometer: &'a Odometer,
    gripped: &'a Odometer,
    places: &'a Places,
    driven: &'a Driven,
    passings: &'a [f64],
}

/// What a list looks like where it fits best.
#[derive(Clone, Copy)]
struct Judged {
    fit: Fit,
    /// Log-likelihood ratio against its laps in another order.
    order: f64,
    /// Scatter of the passings' places, share of a lap.
    scatter: f64,
    /// The same before and after the lap that moved the place most, each around its own middle.
    scatter_in_parts: f64,
    /// The most that it is by the run's own account.
    account: f64,
    off: Disagreement,
}

/// Passings that lie in the log.
struct Followed {
    /// Times by the list, s.
    inside: Vec<f64>,
    /// Laps driven at each.
    laps: Vec<f64>,
    /// How far each is from whole laps after the first.
    moved: Vec<f64>,
}

impl Judged {
    fn order_tells(&self) -> bool {
        self.order > AGAINST_CHANCE.ln()
    }

    fn is_sound(&self) -> bool {
        self.order_tells() && self.scatter.min(self.scatter_in_parts) <= self.account
    }
}

impl Trial<'_> {
    /// The list by the log's clock; where that is not sound, at a clock's own rate, if that tells more.
    fn best_judged(&self) -> Option<Judged> {
        let as_it_is = self.judge(Clock::AsTheLogs);
        if as_it_is.is_some_and(|judged| judged.is_sound()) {
            return as_it_is;
        }
        let at_own_rate = self.judge(Clock::Free);
        let tells = |judged: &Judged| judged.order_tells() && as_it_is.is_none_or(|usual| usual.order < judged.order);
        at_own_rate.filter(|judged| judged.is_sound() || tells(judged)).or(as_it_is)
    }

    fn judge(&self, clock: Clock) -> Option<Judged> {
        let window = Window::new(self.driven, self.passings)?;
        let mut fit = align::best_fit(self.places, self.passings, window, clock)?;
        let order = order_ratio(self.places, self.passings, window, clock, fit.score);
        if clock == Clock::Free {
            fit.scale = self.rate_at(fit.first_s, fit.scale)?.value;
        }
        let Followed { inside, laps, moved } = self.followed(fit.first_s, fit.scale);
        let distances = distances_from_middle(&moved);
        let step = largest_step(&moved)?;
        let (before, after) = moved.split_at(1 + step);
        let in_parts = match spoils_a_lap(step, &inside, &moved) {
            true => [distances_from_middle(before), distances_from_middle(after)].concat(),
            false => distances.clone(),
        };
        let variance = |p: &f64| self.places.variance_at(fit.first_s + p * fit.scale) + LEAST_SCATTER * LEAST_SCATTER;
        let lap_s = (inside.last()? - inside.first()?) / (laps.last()? - laps.first()?);
        let steps = moved.windows(2).map(|w| (w[1] - w[0]).abs());
        let written = resolution_s(self.passings) / lap_s;
        // Rounded lap times that are added up walk off by a random step each.
        let rounding = written * written / 12.0 * (inside.len() as f64 / 6.0).max(1.0);
        let account = (median(inside.iter().map(variance))? + rounding).sqrt();
        let most_s = distances.iter().copied().fold(0.0, f64::max) * lap_s;
        let scatter = |distances: Vec<f64>| Some(quantile(distances, MOST_PASSINGS)? / NORMAL_QUANTILE);
        let (scatter, scatter_in_parts) = (scatter(distances)?, scatter(in_parts)?);
        let off = Disagreement { lap_s: median(steps)? * lap_s, most_s };
        Some(Judged { fit, order, scatter, scatter_in_parts, account, off })
    }

    /// The passings that lie in the log where the first is at `first`, by a clock of which a second takes `scale` of
    /// the log's.
    fn followed(&self, first: f64, scale: f64) -> Followed {
        let (from, to) = self.odometer.span();
        let in_log = |p: &f64| (from..=to).contains(&(first + p * scale));
        let inside: Vec<f64> = self.passings.iter().copied().filter(in_log).collect();
        let laps: Vec<f64> = inside.iter().map(|p| self.places.laps_at(first + p * scale)).collect();
        Followed { moved: align::unwrapped(&laps), inside, laps }
    }

    /// What the list is worth; `None` where it is refused.
    fn verdict(&self, judged: &Judged) -> Option<ListVerdict> {
        if judged.is_sound() {
            return Some(ListVerdict::Sound);
        }
        if judged.order_tells() {
            return Some(ListVerdict::Doubtful(ListReason::Scatters { most_s: judged.off.most_s }));
        }
        if judged.scatter <= judged.account {
            return Some(ListVerdict::Doubtful(ListReason::AnyOrder));
        }
        if self.is_coarse() {
            return Some(ListVerdict::Doubtful(ListReason::Scatters { most_s: judged.off.most_s }));
        }
        let half = self.passings.len() / 2;
        let (first, second) = self.passings.split_at(half + 1);
        let fits = |part: &[f64]| self.part_fits(part);
        (half >= LEAST_PART && (fits(first) || fits(second)))
            .then_some(ListVerdict::Doubtful(ListReason::PartFits { laps: half, of: self.passings.len() - 1 }))
    }

    /// Whether the log has so few rows a second that its laps are known no better than from row to row.
    fn is_coarse(&self) -> bool {
        let time = self.odometer.rows().0;
        (time.len() as f64) < COARSE_HZ * (self.odometer.span().1 - self.odometer.span().0)
    }

    /// Whether a part of the list is the log's own by itself.
    fn part_fits(&self, part: &[f64]) -> bool {
        let Some(first) = part.first() else { return false };
        let passings: Vec<f64> = part.iter().map(|p| p - first).collect();
        let trial = Trial { passings: &passings, ..*self };
        trial.judge(Clock::AsTheLogs).is_some_and(|judged| judged.is_sound())
    }

    fn laid(&self, judged: &Judged) -> Option<LaidList> {
        let lay_at = |scale: f64| {
            let passings: Vec<f64> = self.passings.iter().map(|p| p * scale).collect();
            let alignment = align::align(self.places, self.gripped, &passings, Window::new(self.driven, &passings)?)?;
            let first = alignment.first_passing()?;
            Some(LaidList { alignment, first, passings, scale, clock_scale: None, verdict: ListVerdict::Sound })
        };
        let laid = lay_at(judged.fit.scale)?;
        if judged.fit.scale == 1.0 {
            return Some(laid);
        }
        let settled = self.rate_at(laid.first.value, judged.fit.scale)?;
        let estimate = Estimate::from(settled);
        let shows =
            judged.is_sound() && !self.is_coarse() && (estimate.value - 1.0).abs() > CLOCK_OFF && !estimate.holds(1.0);
        Some(LaidList { clock_scale: shows.then_some(estimate), ..lay_at(settled.value)? })
    }

    /// Log seconds in a second of the list, whose first passing is at `first` by the rate `scale`: the slope of the
    /// passings' places by least squares, with errors that are alike from one to the next (Bartlett 1935, from memory).
    /// Places that lie far off, as on a spoilt lap, are held to [`FAR_OFF`] deviations of the others.
    fn rate_at(&self, first: f64, scale: f64) -> Option<Uncertain> {
        let Followed { inside, laps, moved } = self.followed(first, scale);
        let (_, left) = line_through(&inside, &moved)?;
        let far = FAR_OFF * robust_deviation(&left)?;
        let held: Vec<f64> = moved.iter().zip(&left).map(|(m, left)| m - left + left.clamp(-far, far)).collect();
        let (StraightLine { slope, xx, .. }, left) = line_through(&inside, &held)?;
        let n = inside.len() as f64;
        let squares = left.iter().map(|r| r * r).sum::<f64>().max(f64::MIN_POSITIVE);
        let alike = (left.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / squares).clamp(0.0, MOST_ALIKE);
        let own = squares / (n - 2.0).max(1.0) / xx * (1.0 + alike) / (1.0 - alike);
        // The place itself may drift over the run by as much as it is uncertain.
        let length = inside.last()? - inside.first()?;
        let drift = median(inside.iter().map(|p| self.places.variance_at(first + p * scale)))? / length.powi(2);
        let lap_s = length / (laps.last()? - laps.first()?);
        Some(Uncertain::new(scale * (1.0 - slope * lap_s), (own + drift).sqrt() * lap_s))
    }

    /// Why a list may as well lie at other laps of the log: it has fewer laps than the log, or a part of it lies
    /// outside.
    fn open(&self, laid: &LaidList) -> Option<ListReason> {
        let laps = laid.passings.len() - 1;
        let times = || laid.passings.iter().map(|p| laid.first.value + p);
        let lies_outside =
            || times().any(|at| matches!(self.driven.whereabouts(at), Whereabouts::Before | Whereabouts::After));
        if laid.alignment.elsewhere() <= OPEN {
            None
        } else if laps as f64 + FEWER_LAPS <= self.log_laps() {
            Some(ListReason::TooShort { laps, log_laps: self.log_laps().round() as usize })
        } else {
            lies_outside().then_some(ListReason::SeveralLaps)
        }
    }

    /// Laps that the log holds.
    fn log_laps(&self) -> f64 {
        align::moving(self.odometer).map_or(0.0, |(from, to)| self.places.laps_at(to) - self.places.laps_at(from))
    }
}

/// The straight line of least squares through passings' times and places, and what each place is above it; `None` where
/// the times do not differ.
fn line_through(times: &[f64], places: &[f64]) -> Option<(StraightLine, Vec<f64>)> {
    let points = || times.iter().copied().zip(places.iter().copied());
    let line = straight_line(points());
    (line.xx > 0.0).then(|| (line, points().map(|(x, y)| line.below(x, y)).collect()))
}

/// How far each of `places` is from their middle.
fn distances_from_middle(places: &[f64]) -> Vec<f64> {
    let middle = median(places.iter().copied()).unwrap_or(0.0);
    places.iter().map(|place| (place - middle).abs()).collect()
}

/// Which of `places` the next one differs from most; `None` with fewer than two.
fn largest_step(places: &[f64]) -> Option<usize> {
    let step = |n: &usize| (places[n + 1] - places[*n]).abs();
    (0..places.len().checked_sub(1)?).max_by(|a, b| step(a).total_cmp(&step(b)))
}

/// Whether the lap after the passing `step` is one that moves the place of all passings after it: it takes longer than
/// most, and the place moves by a small part of a lap. A time that was written wrongly moves it by any part.
fn spoils_a_lap(step: usize, passings: &[f64], places: &[f64]) -> bool {
    let usual = median(laps_of(passings)).unwrap_or(f64::INFINITY);
    let moved = (places[step + 1] - places[step]).abs();
    passings[step + 1] - passings[step] > SPOILT_LAP * usual && moved < MOST_MOVED
}

/// The step in which a list's times are written, s.
fn resolution_s(passings: &[f64]) -> f64 {
    let fits = |step: &f64| {
        laps_of(passings).all(|lap| {
            let steps = lap / step;
            (steps - steps.round()).abs() < STEP_SLACK
        })
    };
    RESOLUTIONS_S.into_iter().find(fits).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_step_of_a_list_is_the_coarsest_that_holds_all_its_times() {
        assert_eq!(resolution_s(&[0.0, 19.0, 39.0]), 1.0);
        assert_eq!(resolution_s(&[0.0, 19.1, 39.0]), 0.1);
        assert_eq!(resolution_s(&[0.0, 19.123, 39.0]), 0.001);
    }
}
