//! When the car drives in a log, and so where the passings of its list can be.
//!
//! A car that stands passes no line, and neither does one whose wheels are turned by hand. Passings before the log's
//! first row or after its last are possible; they are likely where the log begins or ends with the car under way, as
//! when a recorder was switched on late or its memory was full, and unlikely where the car stands there.

use super::odometer::Odometer;

/// Below this share of the highest revs the car stands. Common practice, no source.
pub(super) const STANDING: f64 = 0.03;
/// Standing for this long parts two drives, s. Common practice, no source.
const STOP_S: f64 = 1.0;
/// A movement of less than this share of a lap between two stands is not driving but wheels that are turned by hand, or
/// a car that is put in its place. A default, no source.
const LEAST_WAY: f64 = 0.25;
/// Slack at the ends of a drive beyond a row's time, s: the start from standing is slow.
const SLACK_S: f64 = 0.1;
/// Log-likelihood of a passing while the car stands or is moved by hand: it is then another car's, or the movement was
/// driving after all. A default, no source.
const STOOD: f64 = -6.0;
/// Log-likelihood of passings beyond an end of the log at which the car stands. A default, no source.
const BEYOND_A_STAND: f64 = -6.0;

/// Where a moment lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Whereabouts {
    /// Before the log's first row.
    Before,
    /// In the log while the car drives.
    Driven,
    /// In the log while it does not.
    Stood,
    /// After the log's last row.
    After,
}

/// When the car drives.
#[derive(Debug, Clone)]
pub(super) struct Driven {
    log: (f64, f64),
    /// From when to when, s, in order.
    drives: Vec<(f64, f64)>,
    /// Whether the log begins and ends with the car under way.
    begins_under_way: bool,
    ends_under_way: bool,
    slack_s: f64,
}

/// Passings as the log shows them.
#[derive(Default)]
pub struct Passed {
    /// Times of those at which the car drives, s.
    pub driven: Vec<f64>,
    /// Log-likelihood that they all lie where they do.
    pub prior: f64,
}

impl Driven {
    /// The drives of a log in which a lap takes `lap_turns` turns of the motor; `None` where there are none.
    pub fn new(odometer: &Odometer, lap_turns: f64) -> Option<Self> {
        let (time, rpm) = odometer.rows();
        let slow = STANDING * odometer.highest_rpm();
        let mut drives: Vec<(f64, f64)> = Vec::new();
        for (&at, _) in time.iter().zip(rpm).filter(|(_, rpm)| **rpm > slow) {
            match drives.last_mut() {
                Some(last) if at - last.1 < STOP_S => last.1 = at,
                _ => drives.push((at, at)),
            }
        }
        let log = odometer.span();
        let cut = |drive: &(f64, f64)| drive.0 < log.0 + STOP_S || drive.1 > log.1 - STOP_S;
        let way = |drive: &(f64, f64)| odometer.turns_at(drive.1) - odometer.turns_at(drive.0);
        drives.retain(|drive| cut(drive) || way(drive) > LEAST_WAY * lap_turns);
        let (first, last) = (*drives.first()?, *drives.last()?);
        let slack_s = SLACK_S + (log.1 - log.0) / (time.len() - 1) as f64;
        Some(Self {
            log,
            begins_under_way: first.0 < log.0 + STOP_S,
            ends_under_way: last.1 > log.1 - STOP_S,
            drives,
            slack_s,
        })
    }

    /// When the car first sets off, s.
    pub fn first_s(&self) -> f64 {
        self.drives[0].0
    }

    /// When the car last stops, s.
    pub fn last_s(&self) -> f64 {
        self.drives[self.drives.len() - 1].1
    }

    /// Where the moment `at` lies.
    pub fn whereabouts(&self, at: f64) -> Whereabouts {
        if at < self.log.0 - self.slack_s {
            return Whereabouts::Before;
        }
        if at > self.log.1 + self.slack_s {
            return Whereabouts::After;
        }
        let next = self.drives.partition_point(|drive| drive.1 + self.slack_s < at);
        match self.drives.get(next) {
            Some(drive) if drive.0 - self.slack_s <= at => Whereabouts::Driven,
            _ => Whereabouts::Stood,
        }
    }

    /// What the log shows of passings at these times, in the place of what `passed` held.
    pub fn pass(&self, times: impl Iterator<Item = f64>, passed: &mut Passed) {
        let (mut before, mut after, mut stood) = (false, false, 0);
        passed.driven.clear();
        for at in times {
            match self.whereabouts(at) {
                Whereabouts::Before => before = true,
                Whereabouts::After => after = true,
                Whereabouts::Stood => stood += 1,
                Whereabouts::Driven => passed.driven.push(at),
            }
        }
        let beyond = |is: bool, under_way: bool| if is && !under_way { BEYOND_A_STAND } else { 0.0 };
        passed.prior =
            STOOD * f64::from(stood) + beyond(before, self.begins_under_way) + beyond(after, self.ends_under_way);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// At 10 Hz: stands 5 s, is turned by hand for 2 s, stands 5 s, drives 60 s, and stands 5 s unless the log is cut.
    fn log(cut: bool) -> Driven {
        let rpm = |t: f64| match t {
            t if (5.0..7.0).contains(&t) => 2_000.0,
            t if (12.0..72.0).contains(&t) => 20_000.0,
            _ => 0.0,
        };
        let time: Vec<f64> = (0..if cut { 700 } else { 770 }).map(|n| f64::from(n) * 0.1).collect();
        let odometer = Odometer::from_rows(time.clone(), time.into_iter().map(rpm).collect()).unwrap();
        Driven::new(&odometer, 5_000.0).unwrap()
    }

    #[test]
    fn wheels_turned_by_hand_are_not_driving() {
        let driven = log(false);
        assert_eq!((driven.first_s().round(), driven.last_s().round()), (12.0, 72.0));
        assert_eq!(driven.whereabouts(6.0), Whereabouts::Stood);
        assert_eq!(driven.whereabouts(40.0), Whereabouts::Driven);
        assert_eq!(driven.whereabouts(-1.0), Whereabouts::Before);
    }

    #[test]
    fn a_list_goes_on_after_a_log_that_ends_under_way() {
        let prior = |cut: bool, passings: &[f64]| {
            let mut passed = Passed::default();
            log(cut).pass(passings.iter().copied(), &mut passed);
            passed.prior
        };
        assert_eq!(prior(false, &[20.0, 50.0, 80.0]), BEYOND_A_STAND);
        assert_eq!(prior(true, &[20.0, 50.0, 80.0]), 0.0);
        assert_eq!(prior(true, &[6.0, 50.0]), STOOD);
    }
}
