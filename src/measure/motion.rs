//! The car's speed and how it changes, row by row: revs without wheelspin × travel for a motor turn, or the speed over ground.

use super::gearing::Gearing;
use super::motor::Demand;
use crate::laps::Laps;
use crate::laps::odometer::Odometer;
use crate::log::{Channel, Log};
use crate::statistics::quantiles::{highest, median, quantile};

/// Time over which the speed's change is taken, s: two rows at least.
const WINDOW_S: f64 = 0.1;

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
    /// Travel for a motor turn, m, and its relative standard uncertainty.
    pub travel: (f64, f64),
    /// Slip of the driven tyres near the top speed, as a share of the wheels' speed; zero where the car's speed is measured over ground.
    pub top_slip: f64,
    /// The same on average, as the travel holds it.
    pub mean_slip: f64,
    /// Highest speed of each counted lap, m/s.
    pub lap_tops: Vec<f64>,
}

/// Travel for a motor turn without wheelspin, mm, and its relative standard uncertainty: as realised on the track, else as set.
fn travel(laps: &Laps, gearing: &Gearing) -> Option<(f64, f64)> {
    // The travel for a turn must not count the turns that spun away.
    let realised = gearing.evidence.zip(gearing.realised_rollout_mm).map(|(e, r)| {
        let counted = median(laps.counted().map(|l| l.turns)).unwrap_or(e.gripped_turns);
        (r.value * counted / e.gripped_turns, r.half_width() / crate::quantity::COVERAGE_95 / r.value)
    });
    realised.or(gearing.set_rollout_mm.map(|mm| (mm, SET_U)))
}

/// Laps that are needed to tell what most of them reach, and how far above the slower ones the fastest is at the most. Common practice, no source: laps that
/// count end their straight within some per cent of each other.
const LEAST_LAPS: usize = 4;
const MOST_APART: f64 = 1.08;
/// Share of the top speed from which the car is at it.
const AT_TOP: f64 = 0.97;
/// Share of the hardest driving from which the pull is hard; a lift takes no longer than this, s.
const HARD: f64 = 0.6;
const LIFT_S: f64 = 0.25;
/// Time in which tyres give their drive slip back, s; lifts that are needed at least, and the most slip with grip. Common practice, no source.
const RELEASE_S: f64 = 0.06;
const LEAST_LIFTS: usize = 8;
const MOST_SLIP: f64 = 0.15;
/// Rows farther apart say nothing of an acceleration, s. Common practice, no source: a corner lasts half a second.
pub const LONGEST_STEP_S: f64 = 0.25;
/// Relative standard uncertainty of the set rollout as the travel: tyre growth, wear and drive slip. Common practice, no source.
const SET_U: f64 = 0.01;

/// Works out the motion; `None` without revs, or where nothing tells the travel for a turn.
pub fn motion(log: &Log, laps: &Laps, gearing: &Gearing, demand: Option<&Demand>) -> Option<Motion> {
    let (car, wheels) = (laps.gripped.as_ref()?, laps.odometer.as_ref()?);
    let (mm, relative_u) = travel(laps, gearing)?;
    let per_rpm = mm / 1000.0 / 60.0;
    let time = log.time().to_vec();
    let revs = log.channel(Channel::Rpm)?;
    let known = |n: usize| revs[n].is_finite();
    let speed: Vec<f64> =
        (0..time.len()).map(|n| if known(n) { car.rpm_at(time[n]) * per_rpm } else { f64::NAN }).collect();
    let step = median(time.windows(2).map(|w| w[1] - w[0]))?;
    let reach = ((WINDOW_S / 2.0 / step).round() as usize).max(1);
    let at = |n: usize| {
        if n < reach || n + reach >= time.len() || time[n + reach] - time[n - reach] > 3.0 * reach as f64 * step {
            return f64::NAN;
        }
        (speed[n + reach] - speed[n - reach]) / (time[n + reach] - time[n - reach])
    };
    let acceleration = (0..time.len()).map(at).collect();
    let same = |n: usize| (wheels.rpm_at(time[n]) - car.rpm_at(time[n])).abs() < 0.02 * wheels.rpm_at(time[n]).max(1.0);
    let alike: Vec<bool> = (0..time.len()).map(same).collect();
    let grips = (0..time.len())
        .map(|n| alike[n.saturating_sub(reach)..(n + reach + 1).min(time.len())].iter().all(|a| *a) || car.has_ground())
        .collect();
    let rows_of = |from: f64, to: f64| time.partition_point(|t| *t < from)..time.partition_point(|t| *t < to);
    let lap_tops = laps.counted().filter_map(|l| highest(&speed[rows_of(l.start_s, l.end_s)])).collect();
    let mut motion = Motion {
        lap_tops,
        speed,
        acceleration,
        step_s: step,
        reach,
        grips,
        travel: (mm / 1000.0, relative_u),
        top_slip: 0.0,
        mean_slip: 0.0,
        time,
    };
    if !car.has_ground() {
        let slip = motion.slip_at_lifts(car).unwrap_or(0.0);
        let top = motion.top_speed().unwrap_or(0.0);
        motion.mean_slip = slip * motion.push(demand, |_| true);
        let at_top = |n: usize| motion.speed[n] > AT_TOP * top && motion.acceleration[n] > 0.0;
        let any = (0..motion.time.len()).any(at_top);
        motion.top_slip = if any { slip * motion.push(demand, at_top) } else { motion.mean_slip };
    }
    Some(motion)
}

impl Motion {
    /// What driven tyres slip at full pull: revs fall by it in a moment when the driver lifts. The median over the lifts of the drop from the last
    /// row of hard driving to where the revs of the rows after the lift, carried back, would have been.
    fn slip_at_lifts(&self, car: &Odometer) -> Option<f64> {
        let (time, revs) = car.rows();
        let span = (WINDOW_S / self.step_s).round().max(1.0) as usize;
        let fast = 0.5 * revs.iter().copied().fold(0.0, f64::max);
        let hard = |n: usize| car.drive(n).is_some_and(|d| d > HARD);
        let drop = |n: usize| {
            let lifted = (n + 1..revs.len())
                .take_while(|&r| time[r] - time[n] < LIFT_S)
                .find(|&r| car.drives(r) == Some(false))?;
            let a = (lifted..revs.len()).find(|&r| time[r] - time[lifted] >= RELEASE_S - 1e-9)?;
            let b = Some(a + span).filter(|&b| b < revs.len() && (lifted..=b).all(|r| car.drives(r) == Some(false)))?;
            let rate = (revs[b] - revs[a]) / (time[b] - time[a]);
            // The lift falls half way between two rows.
            let then = revs[a] - rate * (time[a] - (time[n] + time[lifted]) / 2.0);
            Some(1.0 - then / revs[n])
        };
        let lifts = (1..revs.len()).filter(|&n| hard(n) && n + 1 < revs.len() && !hard(n + 1) && revs[n] > fast);
        let drops: Vec<f64> = lifts.filter_map(drop).collect();
        (drops.len() >= LEAST_LIFTS).then(|| median(drops).unwrap_or(0.0).clamp(0.0, MOST_SLIP))
    }

    /// How hard the motor pushes in rows that `of` takes, on average, relative to hard driving: by its current, else by the speed's change.
    fn push(&self, demand: Option<&Demand>, of: impl Fn(usize) -> bool) -> f64 {
        let push = |n: usize| demand.map_or(self.acceleration[n], |d| d.current[n]).max(0.0);
        let rows: Vec<f64> =
            (0..self.time.len()).filter(|&n| self.speed[n] > 0.0).map(push).filter(|p| p.is_finite()).collect();
        let most = quantile(rows.iter().copied().filter(|p| *p > 0.0), 0.9).unwrap_or(f64::INFINITY);
        let taken: Vec<f64> = (0..self.time.len())
            .filter(|&n| self.speed[n] > 0.0 && of(n))
            .map(push)
            .filter(|p| p.is_finite())
            .collect();
        (taken.iter().sum::<f64>() / taken.len().max(1) as f64 / most).clamp(0.0, 1.0)
    }

    /// The car's top speed, m/s. A lap that goes far beyond what most laps reach holds a spin that was taken for the car.
    pub fn top_speed(&self) -> Option<f64> {
        let most = quantile(self.lap_tops.iter().copied(), 0.25).map_or(f64::INFINITY, |low| MOST_APART * low);
        let highest = highest(&self.speed)?;
        if self.lap_tops.len() < LEAST_LAPS || highest <= most {
            return Some(highest);
        }
        self.lap_tops.iter().copied().filter(|v| *v <= most).max_by(f64::total_cmp)
    }
}
