//! The car's revs apart from its wheels': the most likely course of the slip.
//!
//! At every moment the tyres grip (car and wheels go together), or the wheels are ahead of the car (they spin), or
//! behind it (they lock). A car whose tyres slip still gains speed by what the motor pulls ([`super::pull`]): slipping
//! tyres pass the motor's pull on to the car, less what speeds up the wheels. So its speed through a spin is known
//! within the law's scatter, and the wheels come back to it. Of all courses, the most likely one is taken (Viterbi
//! 1967, IEEE Trans. Inf. Theory 13, 260): each step costs half the square of how far it is from the law, in standard
//! deviations; a spin or a lock costs its odds. A slip that grows slowly shows when it ends, however long it lasts.
//!
//! Without a motor that drives, the wheels cannot be ahead for longer than they take to slow; locked wheels need
//! brakes, and the car under them slows.
//!
//! Wrong where the law is, and for wheels that are off the ground longer than a spin.

use std::ops::Range;

use super::pull::{Law, Moments, Pull};
use crate::statistics::quantiles::median_step;
use crate::statistics::second_differences::{noise_of, second_differences};

/// Time between moments, s; every row where rows are farther apart.
const APART_S: f64 = 0.05;
/// Speeds that are tried, from none to the highest.
const SPEEDS: usize = 110;
/// The state after the last speed: the tyres grip.
const GRIPS: usize = SPEEDS;
/// Time over which what is left between law and car stays alike, s. Common practice, no source: a corner's exit.
const ALIKE_S: f64 = 0.3;
/// Share of the car's mass that its wheels, gears and rotor count for while they gain speed. Common practice, no
/// source: 6 to 12 %.
const TURNING_MASS: f64 = 0.09;
/// So long after standing (s) a car is still getting off, and gains up to this share of the pull more or less than the
/// law says: most of the power goes into copper then, far more than in the moments that the law is made of. Common
/// practice, no source.
const GETTING_OFF_S: f64 = 1.5;
const LAUNCH: f64 = 0.8;
/// What a spin or lock costs at its beginning, and for each second: one begins in every few hundred moments, and most
/// end within a second. In natural logarithms of odds; defaults.
const BEGINS: f64 = 6.0;
const LASTS_PER_S: f64 = 2.0;
/// Beyond so many standard deviations a step costs by its amount, no longer by its square (Huber 1964).
const ROBUST: f64 = 2.5;
/// What a step with grip costs at most: crashes, kerbs and jumps happen. A default.
const MOST: f64 = 10.0;
/// Courses that are worse than the best by this much are given up: odds of 10⁻²⁰.
const HOPELESS: f64 = 45.0;
/// Slip from which the wheels can be ahead, how far they must be behind to lock, and the most slip of driven wheels.
/// Common practice, no source.
const APART: f64 = 0.03;
const LOCKED: f64 = 0.15;
const MOST_SLIP: f64 = 0.85;
/// Wheels come back to the car's speed within this time (s) after the motor has ceased to drive; locked ones within
/// this time after it drives again. Common practice, no source.
const BACK_S: f64 = 0.2;
const UNLOCK_S: f64 = 0.3;
/// Brakes slow a car no more than this many times as fast as its motor speeds it up, and a quarter faster than they
/// usually do; a car on locked wheels slows by this share of it at least. Common practice, no source.
const BRAKES: f64 = 1.5;
const HEADROOM: f64 = 1.25;
const LOCKED_SLOWS: f64 = 0.2;
/// Share of the highest revs below which the wheels stand. Common practice, no source.
const STANDING: f64 = 0.02;
/// A slip that stays below this is the tyres' own, and the car goes with its wheels. Common practice, no source: tyres
/// grip best at 0.1 to 0.2.
const OWN: f64 = 0.12;
/// Moments within this time of a slip do not count for the law, s.
const AROUND_S: f64 = 0.25;
/// How often law and course are found in turn.
const ROUNDS: usize = 2;

/// The car's revs.
#[derive(Debug, Clone)]
pub struct CarRevs {
    /// Row by row, turns a minute.
    pub rpm: Vec<f64>,
    /// How fast their doubt grows while the wheels do not show the car's speed: standard deviation after a second,
    /// turns a minute; with the root of the time.
    pub wander: f64,
}

/// The car's revs by what the motor pulls; `None` where the run drives too little to tell.
pub fn car_revs(time: &[f64], revs: &[f64], pull: &Pull) -> Option<CarRevs> {
    let moments = Moments::new(time, revs, pull, APART_S)?;
    let noise = noise(time, revs);
    let mut law = moments.law(|_| true)?;
    let mut car = Course { moments: &moments, law, noise }.most_likely();
    for _ in 1..ROUNDS {
        let grips = gripping(&moments, &car);
        law = moments.law(|n| grips[n]).unwrap_or(law);
        car = Course { moments: &moments, law, noise }.most_likely();
    }
    let wander = law.scatter * ALIKE_S.sqrt();
    Some(CarRevs { rpm: at_rows(time, revs, &moments, &car), wander })
}

/// Standard deviation of the revs from row to row; none where rows are too far apart to tell noise from driving.
fn noise(time: &[f64], revs: &[f64]) -> f64 {
    if median_step(time).is_none_or(|step| step > APART_S * 1.01) {
        return 0.0;
    }
    noise_of(&second_differences(revs)).unwrap_or(0.0)
}

/// Whether the tyres grip at each moment and around it.
fn gripping(moments: &Moments, car: &[f64]) -> Vec<bool> {
    let mut grips = vec![true; car.len()];
    for n in (0..car.len()).filter(|&n| (moments.revs[n] - car[n]).abs() > 2.0 * APART * moments.revs[n]) {
        let near = |m: &usize| (moments.time[*m] - moments.time[n]).abs() < AROUND_S;
        let before = (0..=n).rev().take_while(near).last().unwrap_or(n);
        let after = (n..car.len()).take_while(near).last().unwrap_or(n);
        grips[before..=after].fill(false);
    }
    grips
}

/// From moments to rows: the wheels' own revs where they grip, straight lines between the moments of a slip.
fn at_rows(time: &[f64], revs: &[f64], moments: &Moments, car: &[f64]) -> Vec<f64> {
    let mut rpm = revs.to_vec();
    for n in 1..car.len() {
        let (from, to) = (moments.rows[n - 1], moments.rows[n]);
        let together = |m: usize| car[m] == moments.revs[m];
        if together(n - 1) && together(n) {
            continue;
        }
        let ahead = car[n - 1] + car[n] <= moments.revs[n - 1] + moments.revs[n];
        for row in from..=to {
            let share = (time[row] - time[from]) / (time[to] - time[from]);
            let between = car[n - 1] + (car[n] - car[n - 1]) * share;
            rpm[row] = if ahead { between.min(revs[row]) } else { between.max(revs[row]) };
        }
    }
    rpm
}

/// What a run's courses are made of.
struct Course<'a> {
    moments: &'a Moments,
    law: Law,
    noise: f64,
}

/// Where wheels and car are to each other.
#[derive(Clone, Copy, PartialEq)]
enum State {
    Grips,
    Ahead,
    Behind,
}

/// A step from one moment to the next.
struct Step {
    /// How long, s.
    seconds: f64,
    /// Wheels' revs before and after.
    wheels: (f64, f64),
    /// Rate of the car's revs by the law: with grip, and while the wheels are ahead.
    rate: f64,
    rate_ahead: f64,
    /// Standard deviation of the change of the car's revs, and with the noise of the revs.
    deviation: f64,
    with_noise: f64,
    /// How far the change may be from the law while the car gets off from standing.
    slack: f64,
    drives: bool,
    /// Whether tyres that grip may begin to slip.
    may_slip: bool,
    /// Whether wheels may be ahead of the car, and behind it.
    may_spin: bool,
    may_lock: bool,
}

impl Course<'_> {
    /// The car's revs at each moment.
    fn most_likely(&self) -> Vec<f64> {
        let count = self.moments.revs.len();
        let fall = (HEADROOM * self.law.fall).min(BRAKES * self.law.rise);
        let grid = self.moments.top * 1.1 / (SPEEDS - 1) as f64;
        let mut before = Costs::new();
        before.grips = 0.0;
        let mut reached = Reached { costs: Costs::new(), from: vec![GRIPS as f64; SPEEDS], grid, fall };
        let mut best = 0.0;
        let mut from = vec![[GRIPS as u8; SPEEDS + 1]; count];
        let (mut drove_s, mut idled_s, mut stood_s) = (f64::NEG_INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY);
        for (n, from) in from.iter_mut().enumerate().skip(1) {
            let now = self.moments.time[n];
            if self.moments.drives(n) {
                drove_s = now
            } else {
                idled_s = now
            }
            if self.moments.revs[n - 1] < STANDING * self.moments.top {
                stood_s = now;
            }
            let step = self.step(n, now - drove_s <= BACK_S, now - idled_s <= UNLOCK_S, now - stood_s < GETTING_OFF_S);
            reached.forget();
            for state in before.hopeful(best + HOPELESS) {
                reached.leave(state, before.cost(state), &step, from);
            }
            for speed in reached.costs.known.clone() {
                from[speed] = reached.from[speed] as u8;
            }
            std::mem::swap(&mut before, &mut reached.costs);
            best = before.least();
        }
        self.traced(&before, &from, grid)
    }

    fn step(&self, n: usize, may_spin: bool, may_lock: bool, gets_off: bool) -> Step {
        let (moments, law) = (self.moments, &self.law);
        let seconds = moments.time[n] - moments.time[n - 1];
        let wheels = (moments.revs[n - 1], moments.revs[n]);
        let rate = law.rate(moments.current[n], (wheels.0 + wheels.1) / 2.0);
        // The pull also speeds up the wheels themselves, which with grip is in the law.
        let rate_ahead = rate * (1.0 + TURNING_MASS) - TURNING_MASS * (wheels.1 - wheels.0) / seconds;
        let slack = if gets_off { LAUNCH * law.pull(moments.current[n]) * seconds } else { 0.0 };
        let deviation = (law.scatter * (ALIKE_S * seconds).sqrt()).max(f64::MIN_POSITIVE);
        let with_noise = (deviation * deviation + 2.0 * self.noise * self.noise).sqrt().max(deviation);
        let (drives, may_slip) = (moments.drives(n), moments.may_slip(n));
        let may_spin = may_spin && wheels.1 >= STANDING * moments.top;
        Step { seconds, wheels, rate, rate_ahead, deviation, with_noise, slack, drives, may_slip, may_spin, may_lock }
    }

    fn traced(&self, costs: &Costs, from: &[[u8; SPEEDS + 1]], grid: f64) -> Vec<f64> {
        let revs = &self.moments.revs;
        let cheapest = || (0..SPEEDS).min_by(|&a, &b| costs.speeds[a].total_cmp(&costs.speeds[b]));
        let mut state = if costs.grips.is_finite() { GRIPS } else { cheapest().unwrap_or(GRIPS) };
        let mut car = vec![0.0; revs.len()];
        for n in (0..revs.len()).rev() {
            car[n] = if state == GRIPS { revs[n] } else { state as f64 * grid };
            state = usize::from(from[n][state]);
        }
        self.without_own_slip(car)
    }

    /// The car's revs with its wheels' where these are apart from them by no more than tyres slip while they grip, and
    /// where they seem ahead as soon as locked wheels have come back: the car under them was slower than was thought.
    fn without_own_slip(&self, mut car: Vec<f64>) -> Vec<f64> {
        let (revs, time) = (&self.moments.revs, &self.moments.time);
        let (mut from, mut locked_s) = (0, f64::NEG_INFINITY);
        while from < car.len() {
            let to = (from..car.len()).find(|&n| car[n] == revs[n]).unwrap_or(car.len());
            let most = (from..to).map(|n| (revs[n] - car[n]).abs() / revs[n].max(car[n])).fold(0.0, f64::max);
            let is_ahead = to > from && car[from] < revs[from];
            if most < OWN || is_ahead && time[from] - locked_s < UNLOCK_S {
                car[from..to].copy_from_slice(&revs[from..to]);
            } else if to > from && !is_ahead {
                locked_s = time[to - 1];
            }
            from = to.max(from + 1);
        }
        car
    }
}

/// What the states of a moment cost; infinite where they are not reached.
struct Costs {
    /// The tyres grip.
    grips: f64,
    /// The car has one of the speeds, apart from its wheels'.
    speeds: Vec<f64>,
    /// The speeds that may be reached: mostly few.
    known: Range<usize>,
}

impl Costs {
    fn new() -> Self {
        Self { grips: f64::INFINITY, speeds: vec![f64::INFINITY; SPEEDS], known: 0..0 }
    }

    fn cost(&self, state: usize) -> f64 {
        if state == GRIPS { self.grips } else { self.speeds[state] }
    }

    /// The states that cost less than `limit`.
    fn hopeful(&self, limit: f64) -> impl Iterator<Item = usize> {
        self.known.clone().chain([GRIPS]).filter(move |state| self.cost(*state) < limit)
    }

    fn least(&self) -> f64 {
        self.speeds[self.known.clone()]
            .iter()
            .copied()
            .fold(self.grips, |least, cost| if cost < least { cost } else { least })
    }
}

/// The costs of the states of a moment, and from which state each speed is reached at that cost.
struct Reached {
    costs: Costs,
    /// Numbers of states, as wide as the costs: so a range of both is gone through with the same wide registers.
    from: Vec<f64>,
    grid: f64,
    /// Fastest fall of the car's revs, turns a minute each second.
    fall: f64,
}

impl Reached {
    /// Begins another moment.
    fn forget(&mut self) {
        let Costs { grips, speeds, known } = &mut self.costs;
        *grips = f64::INFINITY;
        speeds[known.clone()].fill(f64::INFINITY);
        *known = 0..0;
    }

    /// Goes on from a state of the moment before at its cost to all that can follow.
    fn leave(&mut self, state: usize, cost: f64, step: &Step, from: &mut [u8; SPEEDS + 1]) {
        let (before, after) = step.wheels;
        let car = if state == GRIPS { before } else { state as f64 * self.grid };
        let was = match () {
            () if state == GRIPS => State::Grips,
            () if car < before => State::Ahead,
            () => State::Behind,
        };
        let cost_of_grip = cost + self.cost_of_grip(was, car, step);
        if cost_of_grip < self.costs.grips {
            (self.costs.grips, from[GRIPS]) = (cost_of_grip, state as u8);
        }
        let cost = cost + begins(was, step);
        // Revs have noise where the slip begins.
        let sharpness = 1.0 / if was == State::Grips { step.with_noise } else { step.deviation };
        let reach = 4.0 * step.with_noise + self.grid + step.slack;
        if step.may_spin && (was == State::Ahead || was == State::Grips && step.may_slip) {
            let middle = car + step.rate_ahead * step.seconds;
            let range = (middle - reach).max((1.0 - MOST_SLIP) * after)..(middle + reach).min((1.0 - APART) * after);
            self.reach_speeds(range, state, |to| cost + robust(beyond(to - middle, step.slack) * sharpness));
        }
        if step.may_lock && was != State::Ahead {
            let (slowest, fastest) = self.under_lock(car, step);
            let range = (slowest - reach).max((1.0 + LOCKED) * after)..fastest + reach;
            self.reach_speeds(range, state, |to| cost + robust(outside(to, slowest, fastest) * sharpness));
        }
    }

    /// Where a car on locked wheels can be after the step.
    fn under_lock(&self, car: f64, step: &Step) -> (f64, f64) {
        (car - self.fall * step.seconds, car - LOCKED_SLOWS * self.fall * step.seconds)
    }

    /// Cost of a step at whose end the tyres grip.
    fn cost_of_grip(&self, was: State, car: f64, step: &Step) -> f64 {
        let change = step.wheels.1 - car;
        let off = match was {
            State::Ahead => beyond(change - step.rate_ahead * step.seconds, step.slack),
            State::Grips if step.drives => beyond(change - step.rate * step.seconds, step.slack),
            State::Grips => outside(change, -self.fall * step.seconds, step.rate.max(0.0) * step.seconds),
            State::Behind => {
                let (slowest, fastest) = self.under_lock(car, step);
                outside(step.wheels.1, slowest, fastest)
            }
        };
        let cost = robust(off / step.with_noise);
        if was == State::Grips { cost.min(MOST) } else { cost }
    }

    fn reach_speeds(&mut self, range: Range<f64>, state: usize, cost: impl Fn(f64) -> f64) {
        let first = (range.start / self.grid).ceil().max(0.0) as usize;
        let past = ((range.end / self.grid).floor() + 1.0).clamp(0.0, SPEEDS as f64) as usize;
        if first >= past {
            return;
        }
        let Costs { speeds, known, .. } = &mut self.costs;
        *known = if known.start == known.end { first..past } else { first.min(known.start)..past.max(known.end) };
        // Without a branch, which no processor would foresee.
        for (n, (least, from)) in (first as u16..).zip(speeds[first..past].iter_mut().zip(&mut self.from[first..past]))
        {
            let cost = cost(f64::from(n) * self.grid);
            let is_less = cost < *least;
            *least = if is_less { cost } else { *least };
            *from = if is_less { state as f64 } else { *from };
        }
    }
}

/// How far `off` is beyond `slack` on either side.
fn beyond(off: f64, slack: f64) -> f64 {
    (off.abs() - slack).max(0.0)
}

/// How far a value is outside a range.
fn outside(value: f64, low: f64, high: f64) -> f64 {
    (low - value).max(value - high).max(0.0)
}

/// What it costs to begin a slip, where there was none, and to go on with it.
fn begins(was: State, step: &Step) -> f64 {
    let begins = if was == State::Grips { BEGINS } else { 0.0 };
    begins + LASTS_PER_S * step.seconds
}

/// Half the square up to some standard deviations, then in proportion (Huber 1964, Ann. Math. Stat. 35, 73).
fn robust(deviations: f64) -> f64 {
    let amount = deviations.abs();
    if amount < ROBUST { 0.5 * amount * amount } else { ROBUST * amount - 0.5 * ROBUST * ROBUST }
}
