//! The car's speed and how it changes, row by row.
//!
//! Speed = the car's revs, without wheelspin, × its travel for a motor turn; the car's revs come from the ground speed
//! where the wheels spin or lock and the log has one ([`crate::laps::grip`]). Acceleration is the change of speed over
//! the rows around. Driven tyres slip a little while they grip, and more the harder they pull: how much is read off the
//! moment in which the driver lifts, when the revs fall by it.
//!
//! Wrong where the travel is: all speeds are then off by the same share.

use crate::laps::Laps;
use crate::laps::odometer::Odometer;
use crate::log::{Channel, Log};
use crate::motor::Demand;
use crate::quantity::Uncertain;
use crate::statistics::quantiles::{highest, median, median_step, quantile};

/// Time over which the change of speed is taken, s: two rows at least.
const WINDOW_S: f64 = 0.1;
/// A window that lasts this many times as long as its rows should has rows missing.
const ROWS_MISSING: f64 = 1.5;
/// Revs of wheels and car that differ by less than this, relative, are the same: the wheels grip. Common practice, no
/// source.
const SAME: f64 = 0.02;
/// Laps that are needed to tell what most of them reach.
const LEAST_LAPS: usize = 4;
/// The fastest lap is at most this many times as fast at the end of its straight as the slower ones. Common practice,
/// no source: laps that count end their straight within some per cent of each other.
const MOST_APART: f64 = 1.08;
/// Quantile of the laps' top speeds that stands for the slower laps.
const SLOWER_LAPS: f64 = 0.25;
/// Share of the top speed from which the car is near it. Common practice, no source.
const AT_TOP: f64 = 0.97;
/// Share of the hardest drive above which the motor pulls hard; a lift takes at most so long, s. Common practice, no
/// source.
const HARD: f64 = 0.6;
const LIFT_S: f64 = 0.25;
/// Share of the highest revs above which a lift counts: at low speed the car slows too fast. Common practice, no
/// source.
const FAST: f64 = 0.5;
/// Time in which tyres give back their drive slip after the lift, s. Common practice, no source.
const RELEASE_S: f64 = 0.06;
/// Fewest lifts that tell the slip, and the most slip with grip. Common practice, no source.
const LEAST_LIFTS: usize = 8;
const MOST_SLIP: f64 = 0.15;
/// Quantile of the push that counts as the hardest.
const HARDEST: f64 = 0.9;
/// Rows farther apart tell nothing of an acceleration, s. Common practice, no source: a corner lasts half a second.
pub const LONGEST_STEP_S: f64 = 0.25;
/// Slack when times are compared with a window, s.
const TIME_SLACK_S: f64 = 1e-9;
/// Seconds in a minute: revs are in turns a minute.
const MINUTE_S: f64 = 60.0;

/// Speed and acceleration at the log's rows; NaN where a row has none.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// Log time, s.
    pub time: Vec<f64>,
    /// Car speed, m/s.
    pub speed: Vec<f64>,
    /// Its change over the rows around, m/s².
    pub acceleration: Vec<f64>,
    /// Median step between rows, s.
    pub step_s: f64,
    /// Rows on either side that the change is taken over.
    pub reach: usize,
    /// Whether the wheels grip: revs and car go together.
    pub grips: Vec<bool>,
    /// Travel for a motor turn, m.
    pub travel_m: Uncertain,
    /// Slip of the driven tyres at full pull, as a share of the wheels' speed; zero where nothing tells it.
    pub full_slip: f64,
    /// Slip of the driven tyres near the top speed, as a share of the wheels' speed.
    pub top_slip: f64,
    /// The same on average, as it is in the travel.
    pub mean_slip: f64,
    /// Highest speed of each lap that counts, m/s.
    pub lap_tops: Vec<f64>,
}

/// Works out the motion, with the car's travel for a motor turn in m; `None` without revs.
pub fn motion(log: &Log, laps: &Laps, travel_m: Uncertain, demand: Option<&Demand>) -> Option<Motion> {
    let (car, wheels) = (laps.gripped.as_ref()?, laps.odometer.as_ref()?);
    let time = log.time().to_vec();
    let revs = log.channel(Channel::Rpm)?;
    let per_rpm = travel_m.value / MINUTE_S;
    let car_speed = |n: usize| if revs[n].is_finite() { car.rpm_at(time[n]) * per_rpm } else { f64::NAN };
    let speed: Vec<f64> = (0..time.len()).map(car_speed).collect();
    let step_s = median_step(&time)?;
    let reach = ((WINDOW_S / 2.0 / step_s).round() as usize).max(1);
    let rows_between = |from: f64, to: f64| time.partition_point(|t| *t < from)..time.partition_point(|t| *t < to);
    let lap_tops = laps.counted().filter_map(|l| highest(&speed[rows_between(l.start_s, l.end_s)])).collect();
    let mut motion = Motion {
        acceleration: acceleration(&time, &speed, reach, step_s),
        grips: grips(&time, wheels, car, reach),
        lap_tops,
        speed,
        step_s,
        reach,
        travel_m,
        full_slip: 0.0,
        top_slip: 0.0,
        mean_slip: 0.0,
        time,
    };
    let slip = motion.slip_at_lifts(car).unwrap_or(0.0);
    let top = motion.top_speed().unwrap_or(0.0);
    let near_top = |n: usize| motion.speed[n] > AT_TOP * top && motion.acceleration[n] > 0.0;
    let mean_slip = slip * motion.push(demand, |_| true);
    let is_ever = (0..motion.time.len()).any(near_top);
    let top_slip = if is_ever { slip * motion.push(demand, near_top) } else { mean_slip };
    (motion.full_slip, motion.mean_slip, motion.top_slip) = (slip, mean_slip, top_slip);
    Some(motion)
}

/// Change of the speed over `reach` rows on either side, m/s²; NaN at the ends and where rows are missing.
fn acceleration(time: &[f64], speed: &[f64], reach: usize, step_s: f64) -> Vec<f64> {
    let longest_s = 2.0 * ROWS_MISSING * reach as f64 * step_s;
    let change = |n: usize| {
        if n < reach || n + reach >= time.len() || time[n + reach] - time[n - reach] > longest_s {
            return f64::NAN;
        }
        (speed[n + reach] - speed[n - reach]) / (time[n + reach] - time[n - reach])
    };
    (0..time.len()).map(change).collect()
}

/// Whether wheels and car go together in each row and in the `reach` rows on either side.
fn grips(time: &[f64], wheels: &Odometer, car: &Odometer, reach: usize) -> Vec<bool> {
    let together = |t: &f64| {
        let wheel_rpm = wheels.rpm_at(*t);
        (wheel_rpm - car.rpm_at(*t)).abs() < SAME * wheel_rpm.max(1.0)
    };
    let together: Vec<bool> = time.iter().map(together).collect();
    let around = |n: usize| n.saturating_sub(reach)..(n + reach + 1).min(time.len());
    (0..time.len()).map(|n| together[around(n)].iter().all(|t| *t)).collect()
}

impl Motion {
    /// The values of the rows in which the wheels grip.
    pub fn where_grips(&self, values: &[f64]) -> Vec<f64> {
        values.iter().zip(&self.grips).filter(|(_, grips)| **grips).map(|(value, _)| *value).collect()
    }

    /// Slip of driven tyres at full pull, from the moment in which the driver lifts and the revs fall by it: the median
    /// over the lifts of the drop from the last row of hard driving to the revs after the lift, carried back to it.
    /// `None` for too few lifts.
    fn slip_at_lifts(&self, car: &Odometer) -> Option<f64> {
        let (time, revs) = car.rows();
        let span = (WINDOW_S / self.step_s).round().max(1.0) as usize;
        let fast = FAST * car.highest_rpm();
        let hard = |n: usize| car.drive(n).is_some_and(|d| d > HARD);
        let drop = |n: usize| {
            let within_lift = (n + 1..revs.len()).take_while(|&r| time[r] - time[n] < LIFT_S);
            let lifted = within_lift.into_iter().find(|&r| car.drives(r) == Some(false))?;
            let from = (lifted..revs.len()).find(|&r| time[r] - time[lifted] >= RELEASE_S - TIME_SLACK_S)?;
            let to = Some(from + span).filter(|&to| to < revs.len())?;
            if !(lifted..=to).all(|r| car.drives(r) == Some(false)) {
                return None;
            }
            let rate = (revs[to] - revs[from]) / (time[to] - time[from]);
            // The lift is half way between two rows.
            let rolling = revs[from] - rate * (time[from] - (time[n] + time[lifted]) / 2.0);
            Some(1.0 - rolling / revs[n])
        };
        let lifts = (1..revs.len()).filter(|&n| hard(n) && n + 1 < revs.len() && !hard(n + 1) && revs[n] > fast);
        let drops: Vec<f64> = lifts.filter_map(drop).collect();
        (drops.len() >= LEAST_LIFTS).then(|| median(drops).unwrap_or(0.0).clamp(0.0, MOST_SLIP))
    }

    /// How hard the motor pushes on average in the rows that are `chosen`, relative to hard driving: by its current,
    /// else by the change of speed.
    fn push(&self, demand: Option<&Demand>, chosen: impl Fn(usize) -> bool) -> f64 {
        let push = |n: usize| demand.map_or(self.acceleration[n], |d| d.current[n]).max(0.0);
        let moving = || (0..self.time.len()).filter(|&n| self.speed[n] > 0.0);
        let pushes = moving().map(push).filter(|p| p.is_finite() && *p > 0.0);
        let hardest = quantile(pushes, HARDEST).unwrap_or(f64::INFINITY);
        let chosen: Vec<f64> = moving().filter(|&n| chosen(n)).map(push).filter(|p| p.is_finite()).collect();
        (chosen.iter().sum::<f64>() / chosen.len().max(1) as f64 / hardest).clamp(0.0, 1.0)
    }

    /// The car's top speed, m/s; `None` where no row has a speed. A lap that is far faster than most holds a spin that
    /// was taken for the car, and does not count.
    pub fn top_speed(&self) -> Option<f64> {
        let slower = quantile(self.lap_tops.iter().copied(), SLOWER_LAPS);
        let most = slower.map_or(f64::INFINITY, |slower| MOST_APART * slower);
        let highest = highest(&self.speed)?;
        if self.lap_tops.len() < LEAST_LAPS || highest <= most {
            return Some(highest);
        }
        self.lap_tops.iter().copied().filter(|v| *v <= most).max_by(f64::total_cmp)
    }
}
