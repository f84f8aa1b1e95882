//! The driver: follows the speeds of a lap plan, lifts before corners, and now and then spins the wheels or locks them.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::car::GRAVITY;
use super::drive::{Drive, Stop};
use super::track::{LapPlan, Track, normal};
use super::vehicle::{BRAKE_SHARE, STEP, Vehicle};

/// The driver is off the throttle for this long before braking, s.
const LIFT_S: f64 = 0.3;
/// The driver looks this far ahead for the speed wanted, s.
const LOOK_AHEAD_S: f64 = 0.04;
/// Time constant of the driver's aim, s.
const AIM_S: f64 = 0.03;
/// Share of the grip that the driver uses out of a corner.
const GRIP_USED: f64 = 0.86;
/// Pace of the out-lap.
const OUT_LAP_PACE: f64 = 0.93;
/// Place on the lap from which a planned stop begins, share of the lap.
const STOP_AT: f64 = 0.4;
/// Slower than this a car can spin its wheels out of a corner, m/s.
const SLOW_M_S: f64 = 0.75 * 20.0;
/// Faster than this a car can lock its wheels into a corner, m/s.
const LOCK_M_S: f64 = 6.0;

/// Where and when the car is.
#[derive(Clone, Copy)]
pub struct Moment {
    /// Since the start of the recording, s.
    pub time: f64,
    /// Since the line, m; negative on the out-lap.
    pub place: f64,
    /// The place from which the driver brakes to a stop after the race, m.
    pub home: f64,
}

/// What the car gets at one moment.
#[derive(Clone, Copy)]
pub struct Control {
    /// From -1 (brake) to 1 (throttle).
    pub demand: f64,
    /// Share of the tyres' grip that is there.
    pub grip: f64,
}

/// Wheels that spin because the driver opened up too early.
#[derive(Clone, Copy)]
struct Spin {
    until: f64,
    grip: f64,
    /// How much more than the tyres can take, as a factor.
    throttle: f64,
}

/// Wheels that are locked because the driver braked too hard.
#[derive(Clone, Copy)]
struct Lock {
    until: f64,
    grip: f64,
}

/// The driver and what is on their mind.
pub struct Driver<'a> {
    track: &'a Track,
    drive: &'a Drive,
    plan: LapPlan,
    /// Faster (above 0) or slower than usual, relative; drifts from lap to lap.
    pace: f64,
    spin: Option<Spin>,
    lock: Option<Lock>,
    /// Whether the brakes were on hard a moment ago.
    braking: bool,
    /// The corner that was left last, if any on this lap; nothing yet where the lap is new.
    left: Option<Option<usize>>,
    /// How long the car is still to stand, s.
    halt: f64,
    stops: Vec<Stop>,
    aim: f64,
}

impl<'a> Driver<'a> {
    /// A driver whose car stands for some seconds before the out-lap.
    pub fn new(track: &'a Track, drive: &'a Drive, brake: f64, rng: &mut ChaCha8Rng) -> Self {
        Self {
            track,
            drive,
            plan: LapPlan::draw(track, OUT_LAP_PACE, brake, rng),
            pace: 0.0,
            spin: None,
            lock: None,
            braking: false,
            left: None,
            halt: rng.random_range(3.0..7.0),
            stops: drive.stops.clone(),
            aim: 0.0,
        }
    }

    /// How much longer the driven line of this lap is than the track, as a factor.
    pub fn line(&self) -> f64 {
        self.plan.line
    }

    /// Draws the plan of a new lap.
    pub fn new_lap(&mut self, brake: f64, rng: &mut ChaCha8Rng) {
        self.pace = 0.6 * self.pace + 0.006 * normal(rng);
        self.plan = LapPlan::draw(self.track, 1.0 + self.pace, brake, rng);
        self.left = None;
    }

    /// What the driver and the track give the car now.
    pub fn act(&mut self, car: &Vehicle, now: Moment, rng: &mut ChaCha8Rng) -> Control {
        let rolling = |demand: f64| Control { demand: if car.speed > 0.0 { demand } else { 0.0 }, grip: 1.0 };
        if self.halt > 0.0 {
            self.halt -= STEP;
            return rolling(-0.3);
        }
        if now.place > now.home {
            return rolling(-0.25);
        }
        let laps = now.place / self.track.length;
        if let Some(&stop) = self.stops.first()
            && laps.floor() >= stop.lap as f64
            && laps.fract() > STOP_AT
        {
            self.stops.remove(0);
            self.halt = stop.seconds;
        }
        let most = most_throttle(car);
        let demand = self.demand(car, now.place, most);
        match self.locked(car, now, demand, rng) {
            Some(locked) => locked,
            None => self.spun(car, now, demand, most, rng),
        }
    }

    /// What follows the plan: throttle up to `most`, or the brakes.
    fn demand(&mut self, car: &Vehicle, place: f64, most: f64) -> f64 {
        let target = self.plan.speed(place + LOOK_AHEAD_S * car.speed);
        self.aim += (target - self.aim) * STEP / AIM_S;
        let gap = self.aim.min(target) - car.speed;
        // The driver lifts a moment before the brakes are due.
        let soon = self.plan.speed(place + LIFT_S * car.speed);
        if gap > 0.0 && soon + 0.5 < car.speed {
            0.0
        } else if gap > 0.0 {
            (0.7 * gap).min(most)
        } else if gap < -0.25 {
            (0.35 * (gap + 0.25)).max(hardest_brake(car))
        } else {
            0.0
        }
    }

    /// Into a corner the driver may brake too hard where the track is dusty: the wheels lock.
    fn locked(&mut self, car: &Vehicle, now: Moment, demand: f64, rng: &mut ChaCha8Rng) -> Option<Control> {
        if self.drive.lock == 0.0 {
            return None;
        }
        let hard = demand < -0.15 && car.speed > LOCK_M_S && now.place > 0.0;
        if hard && !self.braking && rng.random_bool(self.drive.lock) {
            self.lock = Some(Lock { until: now.time + rng.random_range(0.15..0.4), grip: rng.random_range(0.15..0.4) });
        }
        self.braking = hard;
        let lock = self.lock.filter(|lock| now.time < lock.until && demand < 0.0)?;
        Some(Control { demand: -0.9, grip: lock.grip })
    }

    /// Out of a corner the driver may open up too early where the track is dusty: the wheels spin.
    fn spun(&mut self, car: &Vehicle, now: Moment, demand: f64, most: f64, rng: &mut ChaCha8Rng) -> Control {
        let place = now.place.rem_euclid(self.track.length);
        let left = Some(self.track.corners.iter().rposition(|c| c.start + c.length < place));
        if left != self.left {
            self.left = left;
            let opens = demand > 0.5 * most && car.speed < SLOW_M_S && now.place > 0.0;
            if opens && rng.random_bool(self.drive.spin) {
                self.spin = Some(Spin {
                    until: now.time + rng.random_range(0.15..0.5),
                    grip: rng.random_range(self.drive.spin_grip.clone()),
                    throttle: rng.random_range(0.9..1.25),
                });
            }
        }
        match self.spin {
            Some(spin) if now.time < spin.until && demand > 0.0 => {
                Control { demand: (most * spin.throttle).min(1.0), grip: spin.grip }
            }
            _ => Control { demand, grip: 1.0 },
        }
    }
}

/// The throttle that the driven tyres can just take.
fn most_throttle(car: &Vehicle) -> f64 {
    let spec = car.spec;
    let reserve = spec.grip * GRAVITY * spec.mass * spec.driven_share() * GRIP_USED;
    (reserve / car.motor_turn_per_metre() / spec.motor_constant / spec.gear_efficiency / spec.current_limit).min(1.0)
}

/// The demand of the hardest braking that the driver does.
fn hardest_brake(car: &Vehicle) -> f64 {
    let spec = car.spec;
    let force = spec.brake * 1.15 * spec.mass;
    -(force / car.motor_turn_per_metre() / spec.motor_constant / spec.current_limit / BRAKE_SHARE).min(1.0)
}
