//! The fixes of a ground-speed channel: when the receiver measured, what, and how late it came into the log.
//!
//! A receiver measures some times a second. The recorder writes its last value into every row until the next comes, or
//! draws straight lines between the fixes. Where a value comes late, the revs have done the same before: the lag is the
//! time by which the ratio of ground speed to revs scatters least. A car that grips has nearly one ratio, and wheels
//! that spin now and then do not move the median of its scatter. A receiver is never early: only a lag is looked for.
//!
//! Wrong where the lag changes within a run: the thirds of the run must agree on it, or it is not believed.

use crate::statistics::quantiles::{median, median_step, quantile, robust_deviation};
use crate::statistics::second_differences::second_differences;

/// Below this speed a car stands or is pushed, m/s. Common practice, no source.
pub const MOVING_M_S: f64 = 0.5;
/// Share of the highest revs above which the wheels turn briskly. Common practice, no source.
const BRISK: f64 = 0.2;
/// Share of brisk revs at which wheels still turn.
const STILL_TURNING: f64 = 0.5;
/// Quantile of the revs that counts as the highest: a few wild cells above it do not matter.
const HIGHEST: f64 = 0.999;
/// Share of the stretches of one value that must be as long as the others, for a value that is held. A default.
const REGULAR: f64 = 0.7;
/// Stretches of one value are looked at for up to so many fixes of the same value.
const FEW_FIXES: [f64; 3] = [1.0, 2.0, 3.0];
/// A value that stays for so many fixes, and for so long (s), while the revs change by this share, is an old one.
/// Common practice, no source.
const STUCK_FIXES: f64 = 5.0;
const STUCK_S: f64 = 1.0;
const STUCK_REVS: f64 = 0.15;
/// Without a fix for longer than so many usual steps, and than this time (s), nothing is known of the speed between.
/// Common practice, no source.
const BRIDGED_STEPS: f64 = 3.0;
const BRIDGED_S: f64 = 0.35;
/// A bend of a straight line stands out of the rounding by this factor. A default.
const BEND: f64 = 4.0;
/// Rows for a search of bends are so far apart, s: nearer ones bend by less than the rounding.
const BENDS_S: f64 = 0.05;
/// Bends are so many rows apart at least, where a receiver is slower than the recorder.
const LEAST_GAP: f64 = 4.0;
/// Changes below this are none but for the arithmetic, m/s.
const LEAST_DIGIT: f64 = 1e-9;
/// Fewest bends that show how often a receiver measures.
const LEAST_BENDS: usize = 12;
/// Longest lag that is looked for, and the step of the search, s. Common practice, no source: receivers are up to a
/// second late.
const LONGEST_LAG_S: f64 = 1.4;
const LAG_STEP_S: f64 = 0.02;
/// A shorter lag is left as it is, s: it is within what revs and speed may differ by their own filters.
const LEAST_LAG_S: f64 = 0.05;
/// The scatter of the ratio must fall to this share of what it is without the lag. A default.
const CLEARER: f64 = 0.8;
/// Below this share there is a lag, even where the run does not agree on it. A default.
const MUCH_CLEARER: f64 = 0.5;
/// Thirds of the run agree on a lag within this time, s. Common practice, no source.
const SAME_LAG_S: f64 = 0.12;
/// Slip puts the revs ahead of the car by no more than this, s: ten per cent of slip at full pull from 10 m/s at 6
/// m/s².
const MOST_LEAD_S: f64 = 0.16;
/// Most fixes that the search for the lag looks at, and the fewest of each third.
const MOST_TRIED: usize = 3000;
const LEAST_TRIED: usize = 30;
/// Time over which a change of speed is taken, s.
const CHANGE_S: f64 = 0.4;

/// What the wheels did: rows of time (s) and revs (turns a minute).
#[derive(Debug, Clone, Copy)]
pub struct Wheels<'a> {
    /// Times of the rows, s, increasing.
    pub time: &'a [f64],
    /// Revs, turns a minute.
    pub rpm: &'a [f64],
    /// Revs above which the wheels turn briskly.
    brisk: f64,
}

impl<'a> Wheels<'a> {
    /// What the wheels did in rows of `time` and `rpm`.
    pub fn new(time: &'a [f64], rpm: &'a [f64]) -> Self {
        Self { time, rpm, brisk: BRISK * quantile(rpm.iter().copied(), HIGHEST).unwrap_or(0.0) }
    }

    /// Revs at a time, in a straight line between rows; `None` outside the log.
    pub fn at(&self, time: f64) -> Option<f64> {
        let next = self.time.partition_point(|t| *t < time);
        if next == 0 || next == self.time.len() {
            return None;
        }
        let share = (time - self.time[next - 1]) / (self.time[next] - self.time[next - 1]);
        Some(self.rpm[next - 1] + share * (self.rpm[next] - self.rpm[next - 1]))
    }
}

/// Rows in which the speed was missing, zero or stuck while the wheels turned.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Lost {
    /// How many times.
    pub times: usize,
    /// Share of the rows in which the wheels turned briskly.
    pub share: f64,
}

/// By how much a speed is late.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lag {
    /// Not, or not clearly.
    None,
    /// By one time throughout the run, s.
    Steady(f64),
    /// By a time that changes.
    Wanders,
}

/// The fixes of a channel.
#[derive(Debug, Clone)]
pub struct Fixes {
    /// When each was measured, s.
    pub at: Vec<f64>,
    /// What was measured, m/s.
    pub speed: Vec<f64>,
    /// Usual time between two, s.
    pub step_s: f64,
    /// What was lost.
    pub lost: Lost,
}

impl Fixes {
    /// The fixes of a speed by row; `None` for fewer than two.
    pub fn of(wheels: Wheels, speed: &[f64]) -> Option<Self> {
        let mut known: Vec<bool> = speed.iter().map(|v| v.is_finite()).collect();
        forget_zeros(wheels, speed, &mut known);
        let stretches = stretches(speed, &known);
        let held = held_rows(speed, &stretches);
        let mut fixes = Self { at: Vec::new(), speed: Vec::new(), step_s: 0.0, lost: Lost::default() };
        for &(from, to) in &stretches {
            let rows = held.unwrap_or(1);
            if is_stuck(wheels, speed[from], (from, to), rows) {
                known[from + 1..=to].fill(false);
            }
            // A value that stays for two fixes was measured twice.
            let mut row = from;
            while row <= to && known[row] && (row == from || row + rows.div_ceil(2) <= to + 1) {
                fixes.at.push(wheels.time[row]);
                fixes.speed.push(speed[row]);
                row += rows;
            }
        }
        fixes.step_s = median_step(&fixes.at)?;
        if held.is_none() {
            fixes.step_s = fixes.step_of_bends().unwrap_or(fixes.step_s);
        }
        fixes.lost = lost(wheels, &known);
        Some(fixes)
    }

    /// The time between the bends of lines that are straight between fixes; `None` where the speed is no such line.
    fn step_of_bends(&self) -> Option<f64> {
        let apart = (BENDS_S / self.step_s).round().max(1.0) as usize;
        let speed: Vec<f64> = self.speed.iter().step_by(apart).copied().collect();
        let bends: Vec<f64> = second_differences(&speed).into_iter().map(f64::abs).collect();
        let moves = self.speed.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > LEAST_DIGIT);
        // Rounding to a step bends a line by up to two steps.
        let rounding = quantile(moves, 0.02).unwrap_or(0.0).max(median(bends.iter().copied())?);
        let clear: Vec<usize> = (0..bends.len()).filter(|&n| bends[n] > BEND * rounding).collect();
        // Two rows share a bend that lies between them.
        let gaps: Vec<f64> = clear.windows(2).map(|w| (w[1] - w[0]) as f64).filter(|gap| *gap > 1.0).collect();
        let usual = median(gaps.iter().copied()).filter(|_| gaps.len() >= LEAST_BENDS)?;
        let regular = |gap: &&f64| FEW_FIXES.iter().any(|k| (**gap - k * usual).abs() <= 1.5);
        let share = gaps.iter().filter(regular).count() as f64 / gaps.len() as f64;
        (usual >= LEAST_GAP && share >= REGULAR).then_some(usual * apart as f64 * self.step_s)
    }

    /// The same fixes, measured so much earlier than they were written, s.
    pub fn earlier(mut self, lag_s: f64) -> Self {
        self.at.iter_mut().for_each(|t| *t -= lag_s);
        self
    }

    /// The same fixes with their speeds divided.
    pub fn divided_by(mut self, factor: f64) -> Self {
        self.speed.iter_mut().for_each(|v| *v /= factor);
        self
    }

    /// The speed at times, m/s, in straight lines between fixes; NaN where no fix is near.
    pub fn at_times(&self, times: &[f64]) -> Vec<f64> {
        let longest = (BRIDGED_STEPS * self.step_s).max(BRIDGED_S);
        let at_time = |time: &f64| {
            let next = self.at.partition_point(|t| t <= time);
            let Some((from, to)) = next.checked_sub(1).zip((next < self.at.len()).then_some(next)) else {
                let last = self.at.len() - 1;
                return if self.at[last] == *time { self.speed[last] } else { f64::NAN };
            };
            let gap = self.at[to] - self.at[from];
            let share = (time - self.at[from]) / gap;
            if gap <= longest { self.speed[from] + share * (self.speed[to] - self.speed[from]) } else { f64::NAN }
        };
        times.iter().map(at_time).collect()
    }

    /// Logarithms of ground speed over revs while car and wheels move briskly, with the number of the fix.
    pub fn ratios<'a>(&'a self, wheels: Wheels<'a>, lag_s: f64) -> impl Iterator<Item = (usize, f64)> + 'a {
        (0..self.at.len()).filter(|&n| self.speed[n] > MOVING_M_S).filter_map(move |n| {
            let rpm = wheels.at(self.at[n] - lag_s).filter(|rpm| *rpm > wheels.brisk)?;
            Some((n, (self.speed[n] / rpm).ln()))
        })
    }

    /// By how much the speed is late.
    pub fn lag(&self, wheels: Wheels) -> Lag {
        let every = self.at.len().div_ceil(MOST_TRIED).max(1);
        let best = |part: usize, parts: usize| {
            let (from, to) = (part * self.at.len() / parts, (part + 1) * self.at.len() / parts);
            let some = |of: &[f64]| of[from..to].iter().step_by(every).copied().collect::<Vec<f64>>();
            Self { at: some(&self.at), speed: some(&self.speed), ..*self }.best_lag(wheels)
        };
        let Some((lag_s, clearer)) = best(0, 1) else { return Lag::None };
        if lag_s < LEAST_LAG_S || clearer > CLEARER {
            return Lag::None;
        }
        let thirds: Vec<f64> = (0..3).filter_map(|part| best(part, 3)).map(|(other, _)| other).collect();
        let agree = thirds.iter().all(|other| (other - lag_s).abs() <= SAME_LAG_S);
        let by_slip = self.lead_of_slip(wheels, lag_s).filter(|lead_s| lead_s.abs() < MOST_LEAD_S).unwrap_or(0.0);
        match lag_s - by_slip {
            _ if thirds.len() < 2 => Lag::None,
            seconds if agree && seconds >= LEAST_LAG_S => Lag::Steady(seconds),
            _ if agree || clearer > MUCH_CLEARER => Lag::None,
            _ => Lag::Wanders,
        }
    }

    /// Change of the speed around a fix, m/s²; `None` at the ends and at gaps.
    pub fn change(&self, n: usize) -> Option<f64> {
        let reach = ((CHANGE_S / 2.0 / self.step_s).round() as usize).max(1);
        let (from, to) = (n.checked_sub(reach)?, n + reach);
        let long = self.at.get(to)? - self.at[from];
        (long < 2.0 * CHANGE_S.max(2.0 * self.step_s)).then(|| (self.speed[to] - self.speed[from]) / long)
    }

    /// The part of a lag that is none: tyres that drive slip, so that the revs run ahead of the car while it gathers
    /// speed. A lag of e moves the logarithm of the ratio by e × change of speed / speed, slip by a constant × change
    /// of speed: least squares tell them apart, with the rows left out that are far off (wheelspin).
    fn lead_of_slip(&self, wheels: Wheels, lag_s: f64) -> Option<f64> {
        let mut kept: Vec<[f64; 3]> = self
            .ratios(wheels, lag_s)
            .filter_map(|(n, ratio)| self.change(n).map(|change| [ratio, change / self.speed[n], change]))
            .collect();
        let mut lead_s = None;
        for _ in 0..5 {
            let count = kept.len() as f64;
            let means = [0, 1, 2].map(|k| kept.iter().map(|row| row[k]).sum::<f64>() / count);
            let product = |i: usize, k: usize| kept.iter().map(|r| (r[i] - means[i]) * (r[k] - means[k])).sum::<f64>();
            let (late, slips, both) = (product(1, 1), product(2, 2), product(1, 2));
            let (of_late, of_slips) = (product(0, 1), product(0, 2));
            let determinant = late * slips - both * both;
            if kept.len() < LEAST_TRIED || determinant <= 0.0 {
                return lead_s;
            }
            let e = (of_late * slips - of_slips * both) / determinant;
            let slip = (of_slips * late - of_late * both) / determinant;
            lead_s = Some(e);
            let off = |r: &[f64; 3]| r[0] - means[0] - e * (r[1] - means[1]) - slip * (r[2] - means[2]);
            let far = 3.0 * robust_deviation(&kept.iter().map(off).collect::<Vec<f64>>())?;
            kept.retain(|row| off(row).abs() <= far);
        }
        lead_s
    }

    /// The lag at which the ratio to the revs scatters least, and that scatter over the one without a lag.
    fn best_lag(&self, wheels: Wheels) -> Option<(f64, f64)> {
        let scatter = |lag_s: f64| {
            let ratios: Vec<f64> = self.ratios(wheels, lag_s).map(|(_, ratio)| ratio).collect();
            let middle = median(ratios.iter().copied()).filter(|_| ratios.len() >= LEAST_TRIED)?;
            median(ratios.iter().map(|r| (r - middle).abs()))
        };
        let none = scatter(0.0)?;
        let steps = (LONGEST_LAG_S / LAG_STEP_S).round() as usize;
        let tried = (1..=steps).filter_map(|n| {
            let lag_s = n as f64 * LAG_STEP_S;
            Some((lag_s, scatter(lag_s)?))
        });
        let (lag_s, least) = std::iter::once((0.0, none)).chain(tried).min_by(|a, b| a.1.total_cmp(&b.1))?;
        Some((lag_s, least / none.max(f64::MIN_POSITIVE)))
    }
}

/// Marks as unknown the zeros that stand between speeds while the wheels turn on, with the lines that lead to them: a
/// car does not stop and go on within a moment.
fn forget_zeros(wheels: Wheels, speed: &[f64], known: &mut [bool]) {
    let turning = wheels.brisk * STILL_TURNING;
    let mut row = 0;
    while row < speed.len() {
        let from = row;
        while row < speed.len() && speed[row] == 0.0 {
            row += 1;
        }
        if row == from {
            row += 1;
            continue;
        }
        let (first, last) = (end_of_line(wheels, speed, from, false), end_of_line(wheels, speed, row - 1, true));
        let moves = |n: usize| speed[n] > 2.0 * MOVING_M_S;
        if wheels.rpm[from..row].iter().all(|rpm| *rpm > turning) && moves(first) && moves(last) {
            known[first + 1..last].fill(false);
        }
        forget_long_zeros(wheels, from..row, turning, known);
    }
}

/// Marks as unknown the zeros of a stretch in which the wheels turn on for long: the receiver has died or not yet
/// woken.
fn forget_long_zeros(wheels: Wheels, zeros: std::ops::Range<usize>, turning: f64, known: &mut [bool]) {
    let mut row = zeros.start;
    while row < zeros.end {
        let from = row;
        while row < zeros.end && wheels.rpm[row] > turning {
            row += 1;
        }
        if row > from && wheels.time[row - 1] - wheels.time[from] > STUCK_S {
            known[from..row].fill(false);
        }
        row = row.max(from + 1);
    }
}

/// The row at which a line that leads from zero in row `zero` to a speed ends, on the way on or back.
fn end_of_line(wheels: Wheels, speed: &[f64], zero: usize, on: bool) -> usize {
    let next = |n: usize| if on { Some(n + 1).filter(|n| *n < speed.len()) } else { n.checked_sub(1) };
    let (mut row, mut steepest) = (zero, 0.0f64);
    while let Some(n) = next(row) {
        let slope = (speed[n] - speed[row]) / (wheels.time[n] - wheels.time[row]).abs();
        let is_near = (wheels.time[n] - wheels.time[zero]).abs() < BRIDGED_S;
        if slope.is_nan() || slope <= 0.0 || slope < 0.5 * steepest || (row != zero && !is_near) {
            break;
        }
        (row, steepest) = (n, steepest.max(slope));
    }
    row
}

/// Stretches of one value, first and last row of each.
fn stretches(speed: &[f64], known: &[bool]) -> Vec<(usize, usize)> {
    let mut found: Vec<(usize, usize)> = Vec::new();
    for row in (0..speed.len()).filter(|&n| known[n]) {
        match found.last_mut() {
            Some((from, to)) if *to + 1 == row && speed[*from] == speed[row] => *to = row,
            _ => found.push((row, row)),
        }
    }
    found
}

/// Rows for which a value is held; `None` where each row has its own.
fn held_rows(speed: &[f64], stretches: &[(usize, usize)]) -> Option<usize> {
    let moving = stretches.iter().filter(|(from, _)| speed[*from] > MOVING_M_S);
    let rows: Vec<f64> = moving.map(|(from, to)| (to - from + 1) as f64).collect();
    let usual = median(rows.iter().copied()).filter(|rows| *rows >= 2.0)?.round();
    let regular = |rows: &&f64| FEW_FIXES.iter().any(|k| (**rows - k * usual).abs() <= 1.0 + 0.1 * k * usual);
    let share = rows.iter().filter(regular).count() as f64 / rows.len() as f64;
    (share >= REGULAR).then_some(usual as usize)
}

/// Whether a value that stays from one row to another is an old one: the revs went on changing.
fn is_stuck(wheels: Wheels, speed: f64, (from, to): (usize, usize), held: usize) -> bool {
    let long = wheels.time[to] - wheels.time[from];
    let usual = wheels.time.get(from + held).map_or(0.0, |next| next - wheels.time[from]);
    if speed < MOVING_M_S || long < STUCK_S || long < STUCK_FIXES * usual {
        return false;
    }
    let revs = &wheels.rpm[from..=to];
    let (low, high) = revs.iter().fold((f64::INFINITY, 0.0f64), |(low, high), r| (low.min(*r), high.max(*r)));
    high - low > STUCK_REVS * high
}

/// How often, and for what share of the rows in which the wheels turn briskly, the speed is not known.
fn lost(wheels: Wheels, known: &[bool]) -> Lost {
    let turning: Vec<usize> = (0..known.len()).filter(|&n| wheels.rpm[n] > wheels.brisk).collect();
    let missing = turning.iter().filter(|&&n| !known[n]).count();
    let begins = |n: &&usize| !known[**n] && (**n == 0 || known[**n - 1]);
    Lost { times: turning.iter().filter(begins).count(), share: missing as f64 / turning.len().max(1) as f64 }
}
