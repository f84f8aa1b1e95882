//! The car's speed apart from its wheels', from revs: what the revs would be if the tyres gripped all the time.
//!
//! Gripping, revs rise and fall only as fast as the car's mass and the tyres let them: the rates that one rise (or fall) in ten reaches, and a quarter
//! more, are taken for the run's own limits. Where mass and travel for a turn are known, rises by which the car would have gathered more energy
//! than the pack gave are left out: they were no car's. Above the limit, with the motor driving, the wheels spin: the car is carried on from before the spin
//! to where the revs have come down to it, no faster than it usually gathers speed. Below the limit wheels lock. They come back up as
//! fast as they fell, with no current that could drive them: the car's speed is a straight line across.
//!
//! Wrong where that is not known and the wheels spin for more than a tenth of all the time that the car gathers speed: the limit is then too high.

use super::odometer::Odometer;
use crate::statistics::quantiles::{median, quantile, robust_deviation};

/// Time over which the rate of the revs is taken.
const GRIP_WINDOW_S: f64 = 0.1;
/// Above a rate of the revs that one row in ten reaches by so much, the wheels no longer grip.
const HEADROOM: f64 = 1.25;
/// Brakes slow a car no more than so many times as fast as its motor speeds it up. Common practice, no source.
const BRAKES: f64 = 2.0;
/// Rises that are left out for each that is not, at the most. Common practice, no source: wheels that spin in four rises of five are the worst that a
/// driver puts up with.
const MOSTLY_OUT: usize = 4;
/// Revs that rise by this share of the usual pull may belong to a spin that is yet to show.
const CLIMBS: f64 = 0.9;
/// Wheels slower than this share of the car are locked or nearly so.
const LOCKED: f64 = 0.85;
/// A spin that lasts longer is none: the car is faster than was thought. Common practice, no source.
const LONGEST_SPIN_S: f64 = 1.5;
/// Time that wheels take back to the car's speed once they are near it.
const REGRIP_S: f64 = 0.25;
/// Wheels that lock come back within this time, and within that of a braking at the longest where no motor turns them. Common practice, no source.
const LONGEST_LOCK_S: f64 = 1.0;
const LONGEST_BRAKING_S: f64 = 3.0;
/// Wheels slower than this share of the highest revs stand; a car that stood so long ago is still getting off. Common practice, no source.
const STANDING: f64 = 0.02;
const GETTING_OFF_S: f64 = 1.5;
/// Without the energy to go by, a rise from standing is the car's up to so many times the limit. Common practice, no source.
const START_HEADROOM: f64 = 1.5;

struct Grip<'a> {
    wheels: &'a Odometer,
    time: &'a [f64],
    revs: &'a [f64],
    /// Fastest rise and fall of the revs while gripping, turns a minute each second.
    rise: f64,
    fall: f64,
    /// The highest of all.
    top: f64,
}

/// Revs of the car row by row, turns a minute.
pub fn car_revs(wheels: &Odometer) -> Vec<f64> {
    let (time, revs) = wheels.rows();
    let rise = usual_rate(time, revs, 1.0, |from, to| wheels.can_have_gathered(from, to));
    let fall = usual_rate(time, revs, -1.0, |_, _| true);
    // Many locked wheels would pass for brakes.
    let fall = fall.min(BRAKES * rise);
    let top = revs.iter().copied().fold(0.0, f64::max);
    Grip { wheels, time, revs, rise, fall, top }.car()
}

impl Grip<'_> {
    fn car(&self) -> Vec<f64> {
        let mut car = self.revs.to_vec();
        let (mut at, mut locked) = (1, f64::NEG_INFINITY);
        while at < car.len() {
            let (before, since) = (car[at - 1], self.time[at - 1]);
            let slowest = before - self.fall * (self.time[at] - since);
            if self.revs[at] <= before + self.rise * (self.time[at] - since) || self.gets_off(at, before) {
                // Driven tyres give some per cent of slip back in a moment when the driver lifts: that is no lock.
                if self.revs[at] < LOCKED * slowest {
                    (car[at], locked) = (slowest, self.time[at]);
                }
                at += 1;
                continue;
            }
            let unlocks = self.idles(at) || self.time[at] - locked < REGRIP_S;
            let across = if unlocks { self.bridge_lock(at, &mut car) } else { None };
            at = across.unwrap_or_else(|| self.bridge_spin(at, &mut car)) + 1;
        }
        car
    }

    /// Whether row `at` is the car's own getting off from standing, harder than the run's other rises: as far as the pack's energy carries it.
    fn gets_off(&self, at: usize, before: f64) -> bool {
        let ago = |n: usize| self.time[at] - self.time[n];
        if !(0..at).rev().take_while(|&n| ago(n) < GETTING_OFF_S).any(|n| self.revs[n] < STANDING * self.top) {
            return false;
        }
        let from = (0..at).rev().find(|&n| ago(n) >= GRIP_WINDOW_S - 1e-9).unwrap_or(0);
        if self.wheels.knows_energy() {
            self.wheels.can_have_gathered(from, at)
        } else {
            self.revs[at] <= before + START_HEADROOM * self.rise * ago(at - 1)
        }
    }

    /// Whether revs that rise too fast at row `at` do so without the motor.
    fn idles(&self, at: usize) -> bool {
        self.wheels.drives(at - 1) == Some(false) && self.wheels.drives(at) == Some(false)
    }

    /// Draws the car across locked wheels that come back at `at`; the row at which they roll again. `None` where they end up faster
    /// than the car was before: then they spin.
    fn bridge_lock(&self, at: usize, car: &mut [f64]) -> Option<usize> {
        let (time, revs) = (self.time, self.revs);
        let mut back = at;
        while back + 1 < revs.len() && revs[back + 1] - revs[back] > self.rise * (time[back + 1] - time[back]) {
            back += 1;
        }
        // The car only lost speed meanwhile: it was last seen where the wheels were as fast as now.
        let idles = self.idles(at);
        let longest = if idles { LONGEST_BRAKING_S } else { LONGEST_LOCK_S };
        let lately = |n: &usize| time[back] - time[*n] < longest;
        match (0..at).rev().take_while(lately).find(|&n| revs[n] >= revs[back]) {
            Some(from) => self.draw(from, back, f64::INFINITY, car),
            // Without the motor nothing but the road turns the wheels.
            None if idles => car[at..=back].copy_from_slice(&revs[at..=back]),
            None => return None,
        }
        Some(back)
    }

    /// Draws the car across a spin that begins before `at`; the row at which the tyres grip again.
    fn bridge_spin(&self, at: usize, car: &mut [f64]) -> usize {
        let last = self.end_of_spin(at, car[at - 1]);
        let usual = self.rise / HEADROOM;
        // Slip past the limit may grow slowly at first: back to where the car, at its usual pull, can have been.
        let mut from = at - 1;
        let climbs = |n: usize| self.revs[n] - self.revs[n - 1] > CLIMBS * usual * (self.time[n] - self.time[n - 1]);
        let ahead = |n: usize| car[n] > self.revs[last] - usual * (self.time[last] - self.time[n]);
        while from > 0 && climbs(from) && ahead(from) && self.time[at] - self.time[from] < LONGEST_SPIN_S {
            from -= 1;
        }
        self.draw(from, last, usual, car);
        last
    }

    /// A straight line of the car from row `from` to row `to`, no steeper than `steepest`; at `to` the wheels are the car's.
    fn draw(&self, from: usize, to: usize, steepest: f64, car: &mut [f64]) {
        let (time, start) = (self.time, car[from]);
        let slope = ((self.revs[to] - start) / (time[to] - time[from])).min(steepest);
        for row in from + 1..to {
            car[row] = start + slope * (time[row] - time[from]);
        }
        car[to] = self.revs[to];
    }

    /// Row at which revs that rose too fast at `from` have come back to what the car can have reached, and fall no faster than brakes make them.
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
        // Back to the car, not into locked wheels: it cannot have slowed to there.
        let rolls = |n: usize| revs[n] > LOCKED * (before - self.fall * (time[n] - start));
        let drops = |n: usize| revs[n] - revs[n + 1] > self.fall * (time[n + 1] - time[n]) && rolls(n + 1);
        while last + 1 < revs.len() && drops(last) && time[last + 1] - met < REGRIP_S {
            last += 1;
        }
        last
    }
}

/// Whether noise from row to row hides what grip allows: revs that jump, over the time in which a rate is taken, by half of the fastest rise.
pub fn noise_hides(wheels: &Odometer) -> bool {
    let (time, revs) = wheels.rows();
    // At low rates a course of straights and corners has second differences of its own: those are no noise.
    if median(time.windows(2).map(|w| w[1] - w[0])).is_some_and(|step| step > GRIP_WINDOW_S / 2.0) {
        return false;
    }
    let rise = usual_rate(time, revs, 1.0, |from, to| wheels.can_have_gathered(from, to)) / HEADROOM;
    // Second differences of a smooth course are small; those of noise have six times its variance.
    let second: Vec<f64> = revs.windows(3).map(|w| w[0] - 2.0 * w[1] + w[2]).collect();
    let noise = robust_deviation(&second).unwrap_or(0.0) / 6f64.sqrt();
    2f64.sqrt() * noise / GRIP_WINDOW_S > rise / 2.0
}

/// A rate of the revs (turns a minute, a second) that one rise (or fall, `sign` -1) in ten reaches, and a quarter
/// more, among those from one row to another that `can` be. Taken over a tenth of a second, so that noise from row to row does not count.
fn usual_rate(time: &[f64], revs: &[f64], sign: f64, can: impl Fn(usize, usize) -> bool) -> f64 {
    let (mut rates, mut left_out) = (Vec::new(), Vec::new());
    let mut from = 0;
    for at in 1..time.len() {
        while time[at] - time[from + 1] >= GRIP_WINDOW_S - 1e-9 && from + 1 < at {
            from += 1;
        }
        let rate = sign * (revs[at] - revs[from]) / (time[at] - time[from]);
        if rate > 0.0 {
            if can(from, at) { rates.push(rate) } else { left_out.push(rate) }
        }
    }
    // Where hardly a rise is left, mass or gearing on the sheet is another car's.
    if rates.len() < left_out.len() / MOSTLY_OUT {
        rates.append(&mut left_out);
    }
    quantile(rates, 0.90).map_or(f64::INFINITY, |r| HEADROOM * r)
}
