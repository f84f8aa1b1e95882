//! The forward model: one run, stepped from the pit lane or the grid to the car's rest after the race.

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::car::CarSpec;
use super::drive::Drive;
use super::driver::{Driver, Moment};
use super::trace::{TRACE_HZ, Trace};
use super::track::Track;
use super::vehicle::{STEP, Vehicle};

/// The recording ends this long after the car came to rest, s.
const REST_S: f64 = 4.0;
/// A car slower than this is at rest, m/s.
const AT_REST_M_S: f64 = 0.05;

/// Drives one run. The same seed gives the same run.
pub fn simulate(spec: &CarSpec, track: &Track, drive: &Drive, seed: u64) -> Trace {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let driver = Driver::new(track, drive, spec.brake, &mut rng);
    let place =
        if drive.from_grid { -rng.random_range(2.0..14.0) } else { -track.length * rng.random_range(0.25..0.9) };
    let coast_home = track.length * rng.random_range(0.3..0.7);
    let mut run = Run {
        car: Vehicle::new(spec, drive),
        driver,
        track,
        drive,
        coast_home,
        trace: Trace::default(),
        steps: 0,
        turns: 0.0,
        rest_s: 0.0,
        now: Moment { time: 0.0, place, home: f64::INFINITY },
    };
    while run.rest_s < REST_S {
        run.step(&mut rng);
    }
    Trace { tyre_end: run.car.tyre, ..run.trace }
}

/// A run under way.
struct Run<'a> {
    car: Vehicle<'a>,
    driver: Driver<'a>,
    track: &'a Track,
    drive: &'a Drive,
    /// How far the car goes on after the race, m.
    coast_home: f64,
    trace: Trace,
    steps: u64,
    /// Motor turns since the start.
    turns: f64,
    /// How long the car has been at rest after the race, s.
    rest_s: f64,
    now: Moment,
}

impl Run<'_> {
    fn step(&mut self, rng: &mut ChaCha8Rng) {
        let control = self.driver.act(&self.car, self.now, rng);
        let steps_per_row = (1.0 / STEP / TRACE_HZ).round() as u64;
        if self.steps.is_multiple_of(steps_per_row) {
            self.record(control.demand);
        }
        let (place_before, turns_before) = (self.now.place, self.turns);
        self.car.step(control.demand, control.grip);
        self.now.place += self.car.speed * STEP / self.driver.line();
        self.turns += self.car.motor_speed() * STEP / TAU;
        let lap = (self.now.place / self.track.length).floor();
        if lap > (place_before / self.track.length).floor() {
            if lap >= 0.0 && self.now.home.is_infinite() {
                let share = (lap * self.track.length - place_before) / (self.now.place - place_before);
                self.pass_line(share, turns_before);
            }
            self.driver.new_lap(self.car.spec.brake, rng);
        }
        self.steps += 1;
        self.now.time = self.steps as f64 * STEP;
        if self.now.place > self.now.home && self.car.speed < AT_REST_M_S {
            self.rest_s += STEP;
        }
    }

    /// Notes a passing that lies at `share` of the step that was just made.
    fn pass_line(&mut self, share: f64, turns_before: f64) {
        self.trace.passings.push(self.now.time + share * STEP);
        self.trace.passing_turns.push(turns_before + share * (self.turns - turns_before));
        if self.now.time - self.trace.passings[0] >= self.drive.length {
            self.now.home = self.now.place + self.coast_home;
        }
    }

    fn record(&mut self, demand: f64) {
        let (trace, car) = (&mut self.trace, &self.car);
        trace.motor.push(car.motor_speed());
        trace.turns.push(self.turns);
        trace.speed.push(car.speed);
        trace.wheel.push(car.wheel);
        trace.laps.push(self.now.place / self.track.length);
        trace.voltage.push(car.voltage);
        trace.current.push(car.current);
        trace.throttle.push(demand);
        trace.motor_c.push(car.sensor);
        trace.controller_c.push(car.controller);
    }
}
