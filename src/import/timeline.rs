//! A recorder's clock to one that only runs forward: gaps filled, a coarse clock spread over its rows, midnights,
//! counters that run over and jumps back undone, repeated rows dropped, and the rows found where a new run begins.

use std::ops::Range;

use super::clock::DAY_S;
use super::remarks::Remark;
use crate::notice::{Notice, Tally};
use crate::statistics::quantiles::median;

/// A pause longer than this starts a new run. Common practice, no source: nobody races across it.
pub const RUN_GAP_S: f64 = 60.0;
/// Times nearer than this are one: no recorder writes so many rows a second.
const SAME_S: f64 = 1e-9;
/// A gap of more than this many steps means that rows were lost: nearer to two steps than to one.
const LOST_STEPS: f64 = 1.6;
/// Share of repeated times from which a clock counts as coarser than the rows.
const COARSE_SHARE: f64 = 0.2;
/// Steps below which a coarse clock is not looked for: too few to tell.
const FEWEST_STEPS: usize = 10;
/// A row that is out of place stays between neighbours that are at most this many steps apart.
const OUT_OF_PLACE_STEPS: f64 = 5.0;
/// A gap is filled where it lasts at most this many times what its rows usually take.
const FILL_STRETCH: f64 = 2.0;
/// A clock is at its start within this many steps of its first time.
const START_STEPS: f64 = 5.0;
/// A clock has been running after this many steps.
const RUNNING_STEPS: f64 = 10.0;
/// A jump of more than this many days cannot be within a run: the date is read in the wrong order.
const ODD_DAYS: f64 = 2.0;
/// A counter that ran over lands within this many steps of its full count.
const WRAP_STEPS: f64 = 2.0;
/// A counter that ran over falls by more than this many steps.
const WRAP_LEAST_STEPS: f64 = 20.0;
/// Full counts of counters of 16 and 32 bits in milliseconds and of 32 bits in microseconds, s.
const FULL_COUNTS_S: [f64; 3] = [65.536, 4_294_967.296, 4_294.967_296];
/// Steps of a coarse clock that differ by less than this share of one are alike.
const ALIKE_SHARE: f64 = 0.01;

/// What a recorder's clock gives.
pub struct RawTime {
    /// Seconds of each row, NaN where missing.
    pub seconds: Vec<f64>,
    /// Whether it shows the time of day, so that it starts again at midnight.
    pub time_of_day: bool,
}

/// A clock that only runs forward.
pub struct Timeline {
    /// Seconds of each row; increasing within a run, NaN on rows to drop.
    pub time: Vec<f64>,
    /// First row of each run in the file.
    pub run_starts: Vec<usize>,
    /// What was repaired.
    pub notices: Vec<Notice>,
}

impl Timeline {
    /// Repairs a recorder's clock. `breaks` are rows after a header that was written again; `line` gives a row's line
    /// in the file.
    pub fn new(raw: RawTime, breaks: &[usize], line: impl Fn(usize) -> u64) -> Self {
        let RawTime { seconds: mut time, time_of_day } = raw;
        let mut notices = Vec::new();
        carry_on(&mut time);
        let step = usual_step(&time);
        let filled = fill(&mut time, step);
        if let Some(&first) = filled.first() {
            notices.push(Remark::TimeFilled.notice().counted(Some(line(first)), filled.len() as u64));
        }
        let step = if filled.is_empty() { step } else { usual_step(&time) };
        let clock = ForwardClock { step, time_of_day, offset: 0.0, last: f64::NAN, first: f64::NAN };
        let run_starts = run_forward(clock, &mut time, breaks, &line, &mut notices);
        for (run, &from) in run_starts.iter().enumerate() {
            let to = run_starts.get(run + 1).copied().unwrap_or(time.len());
            if let Some(step_s) = spread(&mut time[from..to]) {
                let remark = Remark::CoarseClock { step_s }.notice();
                notices.push(remark.counted(Some(line(from)), (to - from) as u64));
            }
        }
        if run_starts.len() > 1 {
            let remark = Remark::SeveralRuns { runs: run_starts.len() }.notice();
            notices.push(remark.counted(Some(line(run_starts[1])), 1));
        }
        let blank: Vec<usize> = (0..time.len()).filter(|&row| time[row].is_nan()).collect();
        if let Some(&first) = blank.first() {
            notices.push(Remark::TimeMissing.notice().counted(Some(line(first)), blank.len() as u64));
        }
        notices.extend(Remark::RepeatedTime.tallied(&drop_repeats(&mut time, &run_starts, &line)));
        Timeline { time, run_starts, notices }
    }
}

/// The usual step of a clock, s: the median of those that go forward.
fn usual_step(time: &[f64]) -> f64 {
    median(time.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0)).unwrap_or(0.0)
}

/// A clock that is written only where it changes holds for the rows after it.
fn carry_on(time: &mut [f64]) {
    let blank = time.iter().filter(|t| t.is_nan()).count();
    if blank * 2 <= time.len() {
        return;
    }
    let mut last = f64::NAN;
    for shown in time.iter_mut() {
        if shown.is_nan() {
            *shown = last;
        }
        last = *shown;
    }
}

/// Fills missing times and lone outliers between sound neighbours; returns the rows that were filled. `step` is the
/// usual one.
fn fill(time: &mut [f64], step: f64) -> Vec<usize> {
    let step = step.max(f64::MIN_POSITIVE);
    let mut filled = Vec::new();
    for row in 1..time.len().saturating_sub(1) {
        let (before, here, after) = (time[row - 1], time[row], time[row + 1]);
        let between = (before..=after).contains(&here);
        if !between && here.is_finite() && after >= before && after - before <= OUT_OF_PLACE_STEPS * step {
            // Two rows that changed places stay in; only their times are put in order.
            time[row] = (before + after) / 2.0;
            filled.push(row);
        }
    }
    let mut row = 0;
    while row < time.len() {
        if time[row].is_finite() {
            row += 1;
            continue;
        }
        let end = (row..time.len()).find(|&later| time[later].is_finite()).unwrap_or(time.len());
        if row > 0 && end < time.len() {
            let (from, to, steps) = (time[row - 1], time[end], (end - row + 1) as f64);
            if to >= from && to - from <= FILL_STRETCH * steps * step {
                for (place, value) in time[row..end].iter_mut().enumerate() {
                    *value = from + (to - from) * (place + 1) as f64 / steps;
                }
                filled.extend(row..end);
            }
        }
        row = end;
    }
    filled
}

/// Adds up offsets so that time never runs back within a run; returns the first row of each run.
fn run_forward(
    mut clock: ForwardClock,
    time: &mut [f64],
    breaks: &[usize],
    line: &impl Fn(usize) -> u64,
    notices: &mut Vec<Notice>,
) -> Vec<usize> {
    let mut run_starts = vec![0];
    for (row, shown) in time.iter_mut().enumerate() {
        if !shown.is_finite() {
            continue;
        }
        let mut now = *shown + clock.offset;
        let run_start = run_starts.last().copied().unwrap_or(0);
        let started = if run_start == 0 { !clock.last.is_nan() } else { row > run_start };
        if started && let Some(days) = clock.odd_days(now) {
            clock.offset -= days * DAY_S;
            now -= days * DAY_S;
            notices.push(Remark::UnclearDate.notice().counted(Some(line(row)), 1));
        }
        if started && clock.starts_run(now, breaks.binary_search(&row).is_ok()) {
            run_starts.push(row);
            (clock.offset, clock.first, now) = (0.0, *shown, *shown);
        } else if started && now < clock.last {
            let (added, remark) = clock.undo_jump(now);
            clock.offset += added;
            now += added;
            notices.push(remark.notice().counted(Some(line(row)), 1));
        }
        if clock.first.is_nan() {
            clock.first = now;
        }
        *shown = now;
        clock.last = now;
    }
    run_starts
}

/// What is known of a clock on its way through the rows of a run, s.
struct ForwardClock {
    /// Its usual step.
    step: f64,
    /// Whether it shows the time of day.
    time_of_day: bool,
    /// What is added to what it shows.
    offset: f64,
    /// Its last time, NaN before the first.
    last: f64,
    /// Its first time in the run, NaN before it.
    first: f64,
}

impl ForwardClock {
    /// Whole days by which the date jumped to `now`, where that is day and month in the other order, or a year of two
    /// digits, over midnight.
    fn odd_days(&self, now: f64) -> Option<f64> {
        let jump = now - self.last - self.step;
        let days = (jump / DAY_S).round();
        let odd = days.abs() > ODD_DAYS && (jump - days * DAY_S).abs() < RUNNING_STEPS * self.step;
        (odd && !self.time_of_day).then_some(days)
    }

    /// Whether a new run starts at `now`: the clock starts again, pauses, or follows a header written again.
    fn starts_run(&self, now: f64, after_header: bool) -> bool {
        let restarts = !self.time_of_day
            && self.full_count(now).is_none()
            && now < self.last
            && now <= self.first + START_STEPS * self.step
            && self.last - self.first > RUNNING_STEPS * self.step;
        let pauses = now - self.last > RUN_GAP_S.max(RUNNING_STEPS * self.step);
        // A header written again while time runs on starts nothing.
        let breaks = after_header && (now < self.last || now - self.last > RUNNING_STEPS * self.step);
        breaks || restarts || pauses
    }

    /// What to add after the clock ran back to `now`, and what to say about it.
    fn undo_jump(&self, now: f64) -> (f64, Remark<'static>) {
        let drop = self.last - now;
        let is_near = |whole: f64| {
            (drop + self.step - whole).abs() <= RUN_GAP_S.min(whole / 10.0) && drop + self.step > 0.5 * whole
        };
        if self.time_of_day && is_near(DAY_S) {
            return (DAY_S, Remark::PastMidnight);
        }
        if self.time_of_day && is_near(DAY_S / 2.0) {
            return (DAY_S / 2.0, Remark::PastNoon);
        }
        if let Some(full_s) = self.full_count(now) {
            return (full_s, Remark::ClockWrapped { full_s });
        }
        (drop + self.step, Remark::ClockSetBack { back_s: drop })
    }

    /// The full count of a counter that ran over on its way to `now`.
    fn full_count(&self, now: f64) -> Option<f64> {
        let drop = self.last - now;
        FULL_COUNTS_S.into_iter().find(|full| {
            (drop + self.step - full).abs() <= WRAP_STEPS * self.step && drop > WRAP_LEAST_STEPS * self.step
        })
    }
}

/// Spreads times that repeat over several rows; returns the clock's step where it did so.
fn spread(time: &mut [f64]) -> Option<f64> {
    let steps = || time.windows(2).map(|w| w[1] - w[0]).filter(|d| d.is_finite());
    let (count, still) = (steps().count(), steps().filter(|&d| d == 0.0).count());
    if (still as f64) < COARSE_SHARE * count as f64 || count < FEWEST_STEPS {
        return None;
    }
    let step = median(steps().filter(|&d| d > 0.0))?;
    let rows: Vec<usize> = (0..time.len()).filter(|&row| time[row].is_finite()).collect();
    let written: Vec<f64> = rows.iter().map(|&row| time[row]).collect();
    let groups = groups_of_equals(&written);
    // The first and the last may be cut off.
    let inner = groups.get(1..groups.len().saturating_sub(1)).unwrap_or(&[]);
    let usual = median(inner.iter().map(|g| g.len() as f64)).unwrap_or(1.0).max(1.0);
    // No row was lost: one even clock runs through all of them.
    let even = !inner.is_empty()
        && inner.iter().all(|g| (g.len() as f64 - usual).abs() <= 1.0)
        && groups.windows(2).all(|w| {
            let written_step = written[w[1].start] - written[w[0].start];
            (written_step - step).abs() < ALIKE_SHARE * step
        });
    let rate =
        if even { inner.iter().map(|g| g.len() as f64).sum::<f64>() / inner.len() as f64 / step } else { usual / step };
    let start = groups.get(1).map_or(0, |g| g.start);
    for (index, group) in groups.iter().enumerate() {
        for place in group.clone() {
            let since = (place - group.start) as f64;
            time[rows[place]] = if even {
                written[start] + (place as f64 - start as f64) / rate
            } else if index == 0 {
                written[place] + step - (group.end - place) as f64 / rate
            } else {
                written[place] + (since / rate).min(step * since / group.len() as f64)
            };
        }
    }
    Some(step)
}

/// Stretches of equal values.
fn groups_of_equals(values: &[f64]) -> Vec<Range<usize>> {
    let mut groups: Vec<Range<usize>> = Vec::new();
    for place in 0..values.len() {
        match groups.last_mut() {
            Some(group) if values[group.start] == values[place] => group.end = place + 1,
            _ => groups.push(place..place + 1),
        }
    }
    groups
}

/// Marks rows whose time is that of the row before (NaN) and counts them.
fn drop_repeats(time: &mut [f64], run_starts: &[usize], line: &impl Fn(usize) -> u64) -> Tally {
    let mut repeats = Tally::default();
    let (mut first, mut last) = (f64::NAN, f64::NAN);
    for (row, shown) in time.iter_mut().enumerate() {
        if run_starts.binary_search(&row).is_ok() {
            (first, last) = (f64::NAN, f64::NAN);
        }
        // Counted from the run's first row, times must differ still.
        let same = SAME_S.max(4.0 * f64::EPSILON * (shown.abs() + first.abs()));
        if *shown - last <= same {
            *shown = f64::NAN;
            repeats.add(line(row), String::new);
        } else if shown.is_finite() {
            last = *shown;
            first = if first.is_nan() { last } else { first };
        }
    }
    repeats
}

/// The steps of a clock that runs forward.
pub struct Steps {
    /// Mean of the usual steps, s.
    pub mean_s: f64,
    /// Rows missing: each longer step in whole usual ones.
    pub lost_rows: u64,
    /// First row after missing ones.
    pub first_after_lost: Option<usize>,
}

impl Steps {
    /// The steps between the times of a clock.
    pub fn between(time: &[f64]) -> Self {
        let median_step = median(time.windows(2).map(|w| w[1] - w[0])).unwrap_or(0.0);
        let usual = || time.windows(2).map(|w| w[1] - w[0]).filter(|&d| d < LOST_STEPS * median_step);
        let (sum, count) = usual().fold((0.0, 0_usize), |(sum, count), step| (sum + step, count + 1));
        let mean_s = sum / count.max(1) as f64;
        let mut steps = Steps { mean_s, lost_rows: 0, first_after_lost: None };
        for (row, w) in time.windows(2).enumerate() {
            if w[1] - w[0] > LOST_STEPS * mean_s && mean_s > 0.0 {
                steps.lost_rows += ((w[1] - w[0]) / mean_s).round() as u64 - 1;
                steps.first_after_lost = steps.first_after_lost.or(Some(row + 1));
            }
        }
        steps
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timeline(seconds: &[f64], time_of_day: bool) -> Timeline {
        Timeline::new(RawTime { seconds: seconds.to_vec(), time_of_day }, &[], |row| row as u64 + 2)
    }

    #[test]
    fn a_clock_past_midnight_goes_on() {
        let t = timeline(&[86_399.8, 86_399.9, 0.0, 0.1], true);
        let steps: Vec<f64> = t.time.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(steps.iter().all(|d| (d - 0.1).abs() < 1e-6), "{steps:?}");
    }

    #[test]
    fn a_restart_from_zero_is_a_new_run() {
        let seconds: Vec<f64> = (0..50).chain(0..50).map(|n| f64::from(n) * 0.1).collect();
        assert_eq!(timeline(&seconds, false).run_starts, [0, 50]);
    }

    #[test]
    fn a_clock_that_jumped_back_is_moved_on() {
        let mut seconds: Vec<f64> = (0..50).map(|n| f64::from(n) * 0.1).collect();
        seconds[30..].iter_mut().for_each(|t| *t -= 2.0);
        let t = timeline(&seconds, false);
        assert_eq!(t.run_starts, [0]);
        assert!((t.time[49] - 4.9).abs() < 1e-9, "{}", t.time[49]);
    }

    #[test]
    fn whole_seconds_are_spread_over_their_rows() {
        let seconds: Vec<f64> = (0..200).map(|n| (f64::from(n) * 0.05 + 0.3).floor()).collect();
        let t = timeline(&seconds, true);
        let steps: Vec<f64> = t.time.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(steps.iter().all(|d| (d - 0.05).abs() < 1e-6), "{steps:?}");
    }

    #[test]
    fn missing_rows_are_counted_in_whole_steps() {
        let time: Vec<f64> = (0..100).filter(|n| ![40, 41, 70].contains(n)).map(|n| f64::from(n) * 0.05).collect();
        let steps = Steps::between(&time);
        assert_eq!((steps.lost_rows, steps.first_after_lost), (3, Some(40)));
    }
}
