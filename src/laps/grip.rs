//! The car's speed apart from its wheels', from the revs: what the revs would be if the tyres gripped all the time.
//!
//! By the ground speed, where the log has one ([`super::ground`]); else by what the motor pulls ([`super::slip`]); and
//! where the log does not tell that either, by how fast revs can rise and fall, as follows.
//!
//! While the tyres grip, the revs rise and fall only as fast as the car's mass and the tyres allow. The run's own
//! limits are the rates that one rise (or fall) in ten reaches, and a quarter more. If the revs rise faster than the
//! limit while the motor drives, the wheels are spinning: the car is drawn in a straight line from before the spin to
//! where the revs have come back down to it, gaining speed no faster than it usually does. If the revs fall faster than
//! the limit, the wheels are locking. They come back up as fast as they fell without a current that could drive them,
//! and the car is drawn in a straight line across.
//!
//! Wrong where the wheels spin for more than a tenth of the time in which the car gains speed: the limit is then too
//! high.

use super::odometer::Odometer;
use super::slip;
use crate::statistics::quantiles::{median_step, quantile};
use crate::statistics::second_differences::{noise_of, second_differences};

/// Time over which a rate of the revs is taken, s.
const RATE_WINDOW_S: f64 = 0.1;
/// Slack when times are compared with a window, s: rows of an even rate are not even to the last digit.
const TIME_SLACK_S: f64 = 1e-9;
/// Noise of one row that a rise between two rows may hold, in standard deviations of a row: 2 of a difference's, which
/// is √2 of a row's.
const NOISE_SLACK: f64 = 2.0 * std::f64::consts::SQRT_2;
/// Share of the rises that stay below the usual rate.
const USUAL: f64 = 0.90;
/// Above the usual rate times this, the wheels no longer grip.
const HEADROOM: f64 = 1.25;
/// Brakes slow a car no more than this many times as fast as its motor speeds it up. Common practice, no source.
const BRAKES: f64 = 2.0;
/// Revs that rise at this share of the usual rate may belong to a spin that has yet to show.
const CLIMBS: f64 = 0.9;
/// Wheels that turn slower than this share of the car's speed are locked or nearly so.
const LOCKED: f64 = 0.85;
/// What lasts longer than this is not a spin, s: the car is faster than it seemed. Common practice, no source.
const LONGEST_SPIN_S: f64 = 1.5;
/// Time that wheels take to fall back to the car's speed once they are near it, s.
const REGRIP_S: f64 = 0.25;
/// Wheels that lock turn again within this time, s; where no motor turns them, within the time of the longest braking.
/// Common practice, no source.
const LONGEST_LOCK_S: f64 = 1.0;
const LONGEST_BRAKING_S: f64 = 3.0;
/// Below this share of the highest revs the car stands; within this time (s) after standing it is still getting off.
/// Common practice, no source.
const STANDING: f64 = 0.02;
const GETTING_OFF_S: f64 = 1.5;
/// A rise from standing is the car's own up to this many times the limit. Common practice, no source.
const START_HEADROOM: f64 = 1.5;

/// The odometer of the car whose wheels turn as `wheels` counts: where they turn faster or slower than it by its ground
/// speed, where the log has one, else by what the motor pulls, else by how fast the revs rise and fall.
///
/// ```
/// use runtrue::laps::{grip, odometer::Odometer};
/// // Revs that rise by 100 a row, but for six rows at twice the car's speed.
/// let time: Vec<f64> = (0..200).map(|n| f64::from(n) * 0.05).collect();
/// let spin = |n: i32| if (100..106).contains(&n) { 2.0 } else { 1.0 };
/// let rpm: Vec<f64> = (0..200).map(|n| f64::from(n) * 100.0 * spin(n)).collect();
/// let wheels = Odometer::from_rows(time, rpm).unwrap();
/// let slip = 1.0 - grip::car_odometer(&wheels).rpm_at(5.1) / wheels.rpm_at(5.1);
/// assert!(slip > 0.4 && slip < 0.55);
/// ```
pub fn car_odometer(wheels: &Odometer) -> Odometer {
    let (time, revs) = wheels.rows();
    let (by_revs, wander) = match wheels.pull().and_then(|pull| slip::car_revs(time, revs, pull)) {
        Some(car) => (car.rpm, Some(car.wander)),
        None => (car_rpm(wheels), None),
    };
    let rpm = match wheels.ground() {
        Some(ground) => ground.car_rpm(revs, &by_revs),
        None => by_revs,
    };
    wheels.with_car_rpm(rpm, wander)
}

/// Revs of the car row by row, turns a minute, by how fast revs can rise and fall.
fn car_rpm(wheels: &Odometer) -> Vec<f64> {
    let (time, revs) = wheels.rows();
    let rise = limit(time, revs, 1.0);
    // Where wheels lock often, locking would pass for braking.
    let fall = limit(time, revs, -1.0).min(BRAKES * rise);
    let slack = NOISE_SLACK * row_noise(time, revs);
    Grip { wheels, time, revs, rise, fall, slack, top: wheels.highest_rpm() }.car()
}

/// Noise of the revs from row to row, turns a minute; none at low rates, where straights and corners have second
/// differences of their own.
fn row_noise(time: &[f64], revs: &[f64]) -> f64 {
    if median_step(time).is_some_and(|step| step > RATE_WINDOW_S / 2.0) {
        return 0.0;
    }
    noise_of(&second_differences(revs)).unwrap_or(0.0)
}

struct Grip<'a> {
    wheels: &'a Odometer,
    time: &'a [f64],
    revs: &'a [f64],
    /// Fastest rise and fall of the revs while the tyres grip, turns a minute each second.
    rise: f64,
    fall: f64,
    /// What noise may add to a rise from one row to the next, turns a minute.
    slack: f64,
    /// Highest revs of all.
    top: f64,
}

impl Grip<'_> {
    fn car(&self) -> Vec<f64> {
        let mut car = self.revs.to_vec();
        let (mut row, mut locked_s) = (1, f64::NEG_INFINITY);
        while row < car.len() {
            let (before, since) = (car[row - 1], self.time[row - 1]);
            let slowest = before - self.fall * (self.time[row] - since);
            let reached = before + self.rise * (self.time[row] - since) + self.slack;
            if self.revs[row] <= reached || self.gets_off(row, before) {
                // When the driver lifts, driven tyres lose some per cent of slip in a moment: the wheels do not lock.
                if self.revs[row] < LOCKED * slowest {
                    (car[row], locked_s) = (slowest, self.time[row]);
                }
                row += 1;
                continue;
            }
            let unlocks = self.idles(row) || self.time[row] - locked_s < REGRIP_S;
            let across = if unlocks { self.bridge_lock(row, &mut car) } else { None };
            row = across.unwrap_or_else(|| self.bridge_spin(row, &mut car)) + 1;
        }
        car
    }

    /// Whether the car itself gets off from standing at `row`, harder than it gains speed elsewhere in the run.
    fn gets_off(&self, row: usize, before: f64) -> bool {
        let ago = |n: usize| self.time[row] - self.time[n];
        let stood = (0..row).rev().take_while(|&n| ago(n) < GETTING_OFF_S).any(|n| self.revs[n] < STANDING * self.top);
        stood && self.revs[row] <= before + START_HEADROOM * self.rise * ago(row - 1) + self.slack
    }

    /// Whether the motor does not drive at `row` and the one before.
    fn idles(&self, row: usize) -> bool {
        self.wheels.drives(row - 1) == Some(false) && self.wheels.drives(row) == Some(false)
    }

    /// Draws the car across locked wheels that come back at `row`, and gives the row at which they roll again. `None`
    /// where they end up faster than the car was before: then they spin.
    fn bridge_lock(&self, row: usize, car: &mut [f64]) -> Option<usize> {
        let (time, revs) = (self.time, self.revs);
        let mut back = row;
        while back + 1 < revs.len() && revs[back + 1] - revs[back] > self.rise * (time[back + 1] - time[back]) {
            back += 1;
        }
        // The car only lost speed meanwhile: the wheels last turned at its speed where they were as fast as now.
        let idles = self.idles(row);
        let longest = if idles { LONGEST_BRAKING_S } else { LONGEST_LOCK_S };
        let lately = |n: &usize| time[back] - time[*n] < longest;
        match (0..row).rev().take_while(lately).find(|&n| revs[n] >= revs[back]) {
            Some(from) => self.draw(from, back, f64::INFINITY, car),
            // Without the motor only the road turns the wheels.
            None if idles => car[row..=back].copy_from_slice(&revs[row..=back]),
            None => return None,
        }
        Some(back)
    }

    /// Draws the car across a spin that shows at `row`, and gives the row at which the tyres grip again.
    fn bridge_spin(&self, row: usize, car: &mut [f64]) -> usize {
        let last = self.end_of_spin(row, car[row - 1]);
        let usual = self.rise / HEADROOM;
        // A spin may begin slowly: go back to where the car can have been at its usual rate.
        let mut from = row - 1;
        let climbs = |n: usize| self.revs[n] - self.revs[n - 1] > CLIMBS * usual * (self.time[n] - self.time[n - 1]);
        let ahead = |n: usize| car[n] > self.revs[last] - usual * (self.time[last] - self.time[n]);
        while from > 0 && climbs(from) && ahead(from) && self.time[row] - self.time[from] < LONGEST_SPIN_S {
            from -= 1;
        }
        self.draw(from, last, usual, car);
        last
    }

    /// Draws the car in a straight line from row `from` to row `to`, no steeper than `steepest`; at `to` wheels and car
    /// go together again.
    fn draw(&self, from: usize, to: usize, steepest: f64, car: &mut [f64]) {
        let (time, start) = (self.time, car[from]);
        let slope = ((self.revs[to] - start) / (time[to] - time[from])).min(steepest);
        for row in from + 1..to {
            car[row] = start + slope * (time[row] - time[from]);
        }
        car[to] = self.revs[to];
    }

    /// The row at which revs that rose too fast at `from` have come back to what the car can have reached, and fall no
    /// faster than brakes can slow it.
    fn end_of_spin(&self, from: usize, before: f64) -> usize {
        let (time, revs, start) = (self.time, self.revs, self.time[from - 1]);
        let mut last = from;
        while last + 1 < revs.len()
            && revs[last] > before + self.rise * (time[last] - start)
            && time[last] - start < LONGEST_SPIN_S
        {
            last += 1;
        }
        let met = time[last];
        // Back to the car's speed, but not on into locked wheels: the car cannot have slowed that far.
        let rolls = |n: usize| revs[n] > LOCKED * (before - self.fall * (time[n] - start));
        let drops = |n: usize| revs[n] - revs[n + 1] > self.fall * (time[n + 1] - time[n]) && rolls(n + 1);
        while last + 1 < revs.len() && drops(last) && time[last + 1] - met < REGRIP_S {
            last += 1;
        }
        last
    }
}

/// Whether noise from row to row hides what grip allows: it makes the revs jump, over the time in which a rate is
/// taken, by half of the usual rise.
pub fn noise_hides(wheels: &Odometer) -> bool {
    let (time, revs) = wheels.rows();
    let usual = limit(time, revs, 1.0) / HEADROOM;
    let noise = row_noise(time, revs);
    // A rate is the difference of two rows: its noise is √2 of a row's.
    2f64.sqrt() * noise / RATE_WINDOW_S > usual / 2.0
}

/// The fastest rate of the revs that grip allows (turns a minute, each second): what one rise (or fall, with a `sign`
/// of −1) in ten reaches, and a quarter more. Taken over a tenth of a second, so that noise from row to row does not
/// count.
fn limit(time: &[f64], revs: &[f64], sign: f64) -> f64 {
    let mut rates = Vec::new();
    let mut from = 0;
    for row in 1..time.len() {
        while time[row] - time[from + 1] >= RATE_WINDOW_S - TIME_SLACK_S && from + 1 < row {
            from += 1;
        }
        let rate = sign * (revs[row] - revs[from]) / (time[row] - time[from]);
        if rate > 0.0 {
            rates.push(rate);
        }
    }
    quantile(rates, USUAL).map_or(f64::INFINITY, |rate| HEADROOM * rate)
}
