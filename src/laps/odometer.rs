//! Motor turns as an odometer: the integral of the revs, with what else a row tells of driving.

use std::sync::Arc;

use super::fixes::Wheels;
use super::ground::{self, Ground, GroundFault, GroundReading};
use super::pull::Pull;
use crate::log::{Channel, Log};
use crate::motor::Motor;
use crate::statistics::integral::running_integral;
use crate::statistics::quantiles::{highest, quantile};

/// Share of the highest current, or of full throttle, above which the motor drives the car. Common practice, no source.
const DRIVING: f64 = 0.05;
/// Quantile of the current, or of the throttle, that counts as the highest: a few wild cells above it do not matter.
const HIGHEST: f64 = 0.999;
/// Rows either side of where a time is expected among them that are searched first. A default, for speed alone.
const GUESS_REACH: usize = 8;
/// Seconds in a minute: revs are in turns a minute.
const MINUTE_S: f64 = 60.0;

/// Cumulated motor turns over the log's rows.
#[derive(Debug, Clone)]
pub struct Odometer {
    time: Vec<f64>,
    rpm: Vec<f64>,
    /// Highest revs, turns a minute.
    highest_rpm: f64,
    turns: Vec<f64>,
    /// How hard the motor drives in each row, as a share of the hardest; NaN where the cell is missing, empty where the
    /// log has neither throttle nor current.
    driving: Vec<f64>,
    /// The ground speed as it was read; `None` where the log has none.
    ground: Option<Arc<GroundReading>>,
    /// Turns until each row that the wheels made beyond the car's; empty for the wheels themselves.
    excess: Vec<f64>,
    /// What the motor pulled; `None` without volts, amperes or a motor that drives.
    pull: Option<Pull>,
    /// For the car's own revs by what the motor pulled: how their doubt grows while the wheels do not show them, turns
    /// a minute after a second, with the root of the time.
    wander: Option<f64>,
}

impl Odometer {
    /// Integrates the log's revs by the trapezoid rule, in a straight line across missing cells; `None` without revs.
    pub fn new(log: &Log) -> Option<Self> {
        let rpm = log.channel(Channel::Rpm)?;
        let kept: Vec<usize> = (0..rpm.len()).filter(|&n| rpm[n].is_finite()).collect();
        let in_kept = |values: &[f64]| kept.iter().map(|&n| values[n]).collect::<Vec<f64>>();
        let mut odometer = Self::from_rows(in_kept(log.time()), in_kept(rpm))?;
        if let Some(power) = log.channel(Channel::Throttle).or_else(|| log.channel(Channel::Current)) {
            let hardest = quantile(power.iter().copied(), HIGHEST).unwrap_or(f64::INFINITY);
            odometer.driving = in_kept(power).iter().map(|p| p / hardest).collect();
        }
        odometer.pull = Pull::new(log, &kept, &odometer.rpm);
        Some(odometer)
    }

    /// This odometer with the log's ground speed read against its revs; `travel_mm` is the travel for a motor turn by
    /// the sheet.
    pub fn with_ground(self, log: &Log, travel_mm: Option<f64>) -> Self {
        let Some((speed, rpm)) = log.channel(Channel::GroundSpeed).zip(log.channel(Channel::Rpm)) else { return self };
        let kept: Vec<f64> = speed.iter().zip(rpm).filter(|(_, rpm)| rpm.is_finite()).map(|(v, _)| *v).collect();
        let wheels = Wheels::new(&self.time, &self.rpm);
        let ground = Arc::new(ground::read(wheels, &kept, &self.driving, travel_mm));
        Self { ground: Some(ground), ..self }
    }

    /// The odometer of rows without missing cells; `None` for fewer than two.
    pub fn from_rows(time: Vec<f64>, rpm: Vec<f64>) -> Option<Self> {
        if time.len() < 2 {
            return None;
        }
        let (turns, highest_rpm) = (turns(&time, &rpm), highest_rpm(&rpm));
        let (driving, excess) = (Vec::new(), Vec::new());
        Some(Self { time, rpm, highest_rpm, turns, driving, ground: None, excess, pull: None, wander: None })
    }

    /// What the motor pulled; `None` where the log does not tell.
    pub fn pull(&self) -> Option<&Pull> {
        self.pull.as_ref()
    }

    /// The motor; `None` where the log does not tell.
    pub fn motor(&self) -> Option<Motor> {
        Some(self.pull.as_ref()?.motor)
    }

    /// Standard uncertainty of the car's revs in the middle of a stretch of so many seconds in which the wheels do not
    /// show them, turns a minute: they are known before it and after it. `None` where they do not come from the motor's
    /// pull.
    pub fn doubt_within(&self, seconds: f64) -> Option<f64> {
        Some(self.wander? * seconds.sqrt() / 2.0)
    }

    /// The car's speed over ground at the rows; `None` where the log has none that tells slip.
    pub fn ground(&self) -> Option<&Ground> {
        self.ground.as_ref()?.ground.as_ref()
    }

    /// What is wrong with the ground-speed channel.
    pub fn ground_faults(&self) -> &[GroundFault] {
        self.ground.as_ref().map_or(&[], |reading| &reading.faults)
    }

    /// The odometer of the car whose wheels this one counts: the same rows at the car's own revs, whose doubt grows by
    /// `wander` where they come from the motor's pull.
    pub fn with_car_rpm(&self, rpm: Vec<f64>, wander: Option<f64>) -> Self {
        let beyond: Vec<f64> = self.rpm.iter().zip(&rpm).map(|(wheels, car)| wheels - car).collect();
        let excess = turns(&self.time, &beyond);
        let (turns, highest_rpm) = (turns(&self.time, &rpm), highest_rpm(&rpm));
        let (time, driving) = (self.time.clone(), self.driving.clone());
        Self { time, rpm, highest_rpm, turns, driving, ground: None, excess, pull: None, wander }
    }

    /// Highest revs, turns a minute.
    pub fn highest_rpm(&self) -> f64 {
        self.highest_rpm
    }

    /// Whether the motor drives in row `n`; `None` where the log does not tell.
    pub fn drives(&self, n: usize) -> Option<bool> {
        self.drive(n).map(|d| d > DRIVING)
    }

    /// How hard the motor drives in row `n`, by throttle or else by current, as a share of the hardest; `None` where
    /// the log does not tell.
    pub fn drive(&self, n: usize) -> Option<f64> {
        self.driving.get(n).copied().filter(|d| d.is_finite())
    }

    /// Turns between two times that the wheels made beyond the car's.
    pub fn excess_between(&self, from: f64, to: f64) -> f64 {
        let until = |t: f64| {
            let row = self.time.partition_point(|&x| x <= t).saturating_sub(1);
            self.excess.get(row).copied().unwrap_or(0.0)
        };
        until(to) - until(from)
    }

    /// The row before `time`, and the time since it, s.
    fn row_and_since(&self, time: f64) -> (usize, f64) {
        let row = rows_until(&self.time, time).clamp(1, self.time.len() - 1) - 1;
        (row, (time - self.time[row]).clamp(0.0, self.time[row + 1] - self.time[row]))
    }

    /// Revs at `time`, turns a minute, in a straight line between rows; held before the first and after the last.
    pub fn rpm_at(&self, time: f64) -> f64 {
        let (row, since) = self.row_and_since(time);
        self.rpm_within(row, since)
    }

    /// Revs so many seconds after row `row`.
    fn rpm_within(&self, row: usize, since: f64) -> f64 {
        self.rpm[row] + (self.rpm[row + 1] - self.rpm[row]) * since / (self.time[row + 1] - self.time[row])
    }

    /// What stands in a column with a value for each row at `time`, in a straight line between rows.
    pub fn between_rows(&self, column: &[f64], time: f64) -> f64 {
        let (row, since) = self.row_and_since(time);
        let step = self.time[row + 1] - self.time[row];
        let share = if step > 0.0 { since / step } else { 1.0 };
        column[row] + share * (column[row + 1] - column[row])
    }

    /// Turns made until `time`.
    pub fn turns_at(&self, time: f64) -> f64 {
        let (row, since) = self.row_and_since(time);
        self.turns[row] + (self.rpm[row] + self.rpm_within(row, since)) / (2.0 * MINUTE_S) * since
    }

    /// Time at which `turns` have been made; while the car stands no turns are made, and the end of that is given.
    pub fn time_of(&self, turns: f64) -> f64 {
        let row = self.turns.partition_point(|&x| x <= turns).clamp(1, self.turns.len() - 1) - 1;
        let span = self.turns[row + 1] - self.turns[row];
        if span <= 0.0 {
            return self.time[row + 1];
        }
        // Within a row revs change evenly: solve the quadratic in its stable form.
        let wanted = (turns - self.turns[row]).clamp(0.0, span);
        let (rate, step) = (self.rpm[row] / MINUTE_S, self.time[row + 1] - self.time[row]);
        let slope = (self.rpm[row + 1] - self.rpm[row]) / MINUTE_S / step;
        let root = (rate * rate + 2.0 * slope * wanted).max(0.0).sqrt();
        let since = if rate + root > 0.0 { 2.0 * wanted / (rate + root) } else { step };
        self.time[row] + since.clamp(0.0, step)
    }

    /// All turns of the log.
    pub fn total(&self) -> f64 {
        self.turns[self.turns.len() - 1]
    }

    /// First and last time, s.
    pub fn span(&self) -> (f64, f64) {
        (self.time[0], self.time[self.time.len() - 1])
    }

    /// Times (s) and revs (turns a minute) of the rows.
    pub fn rows(&self) -> (&[f64], &[f64]) {
        (&self.time, &self.rpm)
    }

    /// Longest step between rows within `from` to `to`, s.
    pub fn longest_gap(&self, from: f64, to: f64) -> f64 {
        let first = rows_until(&self.time, from).saturating_sub(1);
        let last = self.time.partition_point(|t| *t < to);
        let between = self.time.get(first..self.time.len().min(last + 1)).unwrap_or_default();
        between.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max)
    }
}

/// Highest revs; 0 where all turn backwards.
fn highest_rpm(rpm: &[f64]) -> f64 {
    highest(rpm).unwrap_or(0.0).max(0.0)
}

/// How many of the rows' times are no later than `time`. Rows follow each other nearly evenly, so that most are found next
/// to where they would be if they did; the others by halving.
fn rows_until(times: &[f64], time: f64) -> usize {
    let (first, last) = (times[0], times[times.len() - 1]);
    let guess = ((time - first) / (last - first) * (times.len() - 1) as f64) as usize;
    let near = guess.saturating_sub(GUESS_REACH)..guess.saturating_add(GUESS_REACH).min(times.len());
    let starts_before = near.start == 0 || times.get(near.start).is_some_and(|t| *t <= time);
    let ends_after = near.end == times.len() || times[near.end] > time;
    if near.start < near.end && starts_before && ends_after {
        near.start + times[near].partition_point(|&t| t <= time)
    } else {
        times.partition_point(|&t| t <= time)
    }
}

/// Turns until each row of revs (turns a minute) at these times (s).
fn turns(time: &[f64], rpm: &[f64]) -> Vec<f64> {
    running_integral(time, rpm).into_iter().map(|sum| sum / MINUTE_S).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_is_found_however_unevenly_rows_follow() {
        let even: Vec<f64> = (0..500).map(|n| f64::from(n) * 0.05).collect();
        let uneven: Vec<f64> = (0..500).map(|n| (f64::from(n) / 50.0).powi(3)).chain([2000.0]).collect();
        for times in [even, uneven, vec![1.0, 1.0, 2.0], vec![0.0, 0.0]] {
            for time in times.iter().flat_map(|t| [t - 1e-9, *t, t + 1e-9]).chain([-5.0, 1e9, f64::NAN]) {
                assert_eq!(rows_until(&times, time), times.partition_point(|&t| t <= time), "{time}");
            }
        }
    }

    #[test]
    fn the_longest_step_between_two_times_by_looking_at_all() {
        let time = vec![0.0, 0.05, 0.1, 0.1, 0.7, 0.75, 2.0, 2.05];
        let odometer = Odometer::from_rows(time.clone(), vec![0.0; time.len()]).unwrap();
        let asked = [-1.0, 0.0, 0.04, 0.1, 0.3, 0.5, 0.7, 1.0, 2.0, 2.05, 3.0];
        for (from, to) in asked.iter().flat_map(|from| asked.map(|to| (*from, to))) {
            let touched = time.windows(2).filter(|w| w[1] > from && w[0] < to);
            assert_eq!(odometer.longest_gap(from, to), touched.map(|w| w[1] - w[0]).fold(0.0, f64::max), "{from} {to}");
        }
    }

    #[test]
    fn a_ramp_of_revs_by_hand() {
        // 0 to 6000 rpm in 2 s is 100 turns, half of them after sqrt(2) s.
        let odometer = Odometer::from_rows(vec![0.0, 2.0, 3.0], vec![0.0, 6000.0, 6000.0]).unwrap();
        assert!((odometer.turns_at(2.0) - 100.0).abs() < 1e-12);
        assert!((odometer.turns_at(1.0) - 25.0).abs() < 1e-12);
        assert!((odometer.time_of(50.0) - 2f64.sqrt()).abs() < 1e-12);
        assert!((odometer.total() - 200.0).abs() < 1e-12);
    }
}
