//! The forward model: a car, a driver, a battery and a motor, stepped through one run.
//!
//! Longitudinal motion with a slip-dependent tyre force, rotor and wheel inertia, a current-limited motor, drag
//! brake, a pack with an ohmic and a slow part, two heat nodes in the motor and one in the controller.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::car::{CarSpec, GRAVITY, open_circuit};
use super::track::{LapPlan, Track, normal};

/// Step of the model, s.
pub const STEP: f64 = 0.000_5;
/// The driver is off the throttle for this long before the brakes, s.
const LIFT: f64 = 0.3;
/// Rows of the trace a second, dense enough for any recorder.
pub const TRACE_HZ: f64 = 1000.0;

/// What is done to the car before and during one run.
#[derive(Debug, Clone, PartialEq)]
pub struct Drive {
    /// Teeth really on the car.
    pub pinion: u32,
    /// Tyre diameter at the start, m.
    pub tyre: f64,
    /// Air, °C.
    pub ambient: f64,
    /// Motor at the start, K above the air.
    pub warm: f64,
    /// Share of the fan's cooling that is left.
    pub fan: f64,
    /// Drag brake, share of the current limit.
    pub drag_brake: f64,
    /// Factor on the motor constant and on the loss torque that the end-bell timing brings.
    pub timing: (f64, f64),
    /// Charge drawn before the start, share of the capacity.
    pub used: f64,
    /// Factor on the pack's resistance.
    pub pack_age: f64,
    /// Racing time from the first passing, s.
    pub length: f64,
    /// Chance of wheelspin out of a corner.
    pub spin: f64,
    /// Grip that is left where the wheels spin, lowest and highest share.
    pub spin_grip: (f64, f64),
    /// Chance of locked wheels into a corner.
    pub lock: f64,
    /// Whether the run starts from the grid a few metres before the line, as a race does, or from the pit lane.
    pub from_grid: bool,
    /// Stops: lap (0 the first after the line) and seconds.
    pub stops: Vec<(usize, f64)>,
}

/// State of the model, a thousand times a second.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Trace {
    /// Motor speed, rad/s.
    pub motor: Vec<f64>,
    /// Motor turns since the start.
    pub turns: Vec<f64>,
    /// Car speed, m/s.
    pub speed: Vec<f64>,
    /// Driven wheels' tread speed, m/s.
    pub wheel: Vec<f64>,
    /// Track position since the line, in laps (negative on the out-lap).
    pub laps: Vec<f64>,
    /// Pack voltage, V.
    pub voltage: Vec<f64>,
    /// Pack current, A.
    pub current: Vec<f64>,
    /// Demand, -1 to 1.
    pub throttle: Vec<f64>,
    /// Can temperature as its sensor reads it, °C.
    pub motor_c: Vec<f64>,
    /// Controller temperature, °C.
    pub controller_c: Vec<f64>,
    /// Times of the line's passings, s.
    pub passings: Vec<f64>,
    /// Motor turns at the passings.
    pub passing_turns: Vec<f64>,
    /// Tyre diameter at the end, m.
    pub tyre_end: f64,
}

struct Car<'a> {
    spec: &'a CarSpec,
    drive: &'a Drive,
    speed: f64,
    wheel: f64,
    winding: f64,
    can: f64,
    sensor: f64,
    controller: f64,
    used: f64,
    slow: f64,
    tyre: f64,
    voltage: f64,
    current: f64,
}

/// Factor of tyre force over slip: a sine of an arctangent with its peak near 0.13 (a common shape).
fn tyre_force(slip: f64) -> f64 {
    (1.55 * (12.0 * slip).atan()).sin()
}

impl<'a> Car<'a> {
    fn new(spec: &'a CarSpec, drive: &'a Drive) -> Self {
        let ambient = drive.ambient;
        Self {
            spec,
            drive,
            speed: 0.0,
            wheel: 0.0,
            winding: ambient + drive.warm,
            can: ambient + drive.warm,
            sensor: ambient + drive.warm,
            controller: ambient + 0.6 * drive.warm,
            used: drive.used,
            slow: 0.0,
            tyre: drive.tyre,
            voltage: f64::from(spec.cells) * open_circuit(drive.used),
            current: 0.0,
        }
    }

    fn rolling_radius(&self) -> f64 {
        self.tyre / 2.0 * self.spec.rolling * (1.0 + self.spec.growth * (self.wheel / 20.0).powi(2))
    }

    /// Motor speed, rad/s.
    fn motor_speed(&self) -> f64 {
        self.wheel / self.rolling_radius() * self.spec.reduction(self.drive.pinion)
    }

    /// Advances by one step under `demand`, with the grip scaled by `grip`; returns the motor current.
    fn step(&mut self, demand: f64, grip: f64) {
        let spec = self.spec;
        let (radius, reduction, omega) = (self.rolling_radius(), spec.reduction(self.drive.pinion), self.motor_speed());
        let constant = spec.motor_constant * self.drive.timing.0;
        let resistance = spec.resistance * (1.0 + 0.0039 * (self.winding - 20.0));
        let open = f64::from(spec.cells) * open_circuit(self.used);
        let (ohmic, slow, tau) = (spec.pack.0 * self.drive.pack_age, spec.pack.1 * self.drive.pack_age, spec.pack.2);
        let back = constant * omega;
        let wanted = match demand {
            d if d > 0.02 => d * spec.current_limit,
            d if d < -0.02 => d * spec.current_limit * 0.8,
            _ => -self.drive.drag_brake * spec.current_limit,
        };
        let most = ((self.voltage - back) / resistance).max(0.0);
        let motor_current = if wanted >= 0.0 { wanted.min(most) } else { wanted.max(-back / resistance) };
        let electric = motor_current * (back + motor_current * resistance);
        // Braking gives back a part of what it turns into current.
        let power = if electric < 0.0 { 0.5 * electric } else { electric } + 1.2;
        self.current = power / self.voltage;
        self.slow += (self.current * slow - self.slow) * STEP / tau;
        self.voltage = open - self.slow - self.current * ohmic;
        self.used += self.current * STEP / spec.capacity;

        let loss = (spec.loss.0 * (omega / 20.0).min(1.0) + spec.loss.1 * omega) * self.drive.timing.1;
        let torque = constant * motor_current - loss;
        let gearing = if torque > 0.0 { spec.gear_efficiency } else { 1.0 / spec.gear_efficiency };
        let push = torque * reduction / radius * gearing;
        let slip = (self.wheel - self.speed) / self.wheel.abs().max(self.speed.abs()).max(2.0);
        let load = spec.mass * GRAVITY * spec.driven_share();
        let force = spec.grip * grip * load * tyre_force(slip);
        let inertia = spec.wheel_mass + spec.rotor * (reduction / radius).powi(2);
        self.wheel = (self.wheel + (push - force) / inertia * STEP).max(0.0);
        let resist = spec.drag * self.speed * self.speed
            + spec.rolling_resistance * spec.mass * GRAVITY * (self.speed / 0.2).min(1.0);
        self.speed = (self.speed + (force - resist) / spec.mass * STEP).max(0.0);
        self.tyre -= spec.wear * self.speed * STEP / 1000.0;
        self.heat(motor_current, loss * omega, resistance);
    }

    fn heat(&mut self, current: f64, iron: f64, resistance: f64) {
        let (winding, can, between) = self.spec.motor_heat;
        let (still, fan, airflow) = self.spec.motor_cooling;
        let across = between * (self.winding - self.can);
        let copper = current * current * (resistance - 0.003).max(0.001);
        self.winding += (copper + 0.3 * iron - across) / winding * STEP;
        let shed = (still + fan * self.drive.fan + airflow * self.speed) * (self.can - self.drive.ambient);
        self.can += (across + 0.7 * iron - shed) / can * STEP;
        self.sensor += (self.can - self.sensor) / 3.0 * STEP;
        let (capacity, cooling, esc) = self.spec.controller;
        let heat = current * current * esc + 1.0;
        self.controller +=
            (heat - (cooling + 0.004 * self.speed) * (self.controller - self.drive.ambient)) / capacity * STEP;
    }
}

/// What the driver is doing.
struct Driver<'a> {
    track: &'a Track,
    drive: &'a Drive,
    plan: LapPlan,
    pace: f64,
    punch: Option<(f64, f64, f64)>,
    locked: Option<(f64, f64)>,
    braking: bool,
    corner: usize,
    halt: f64,
    stops: Vec<(usize, f64)>,
    aim: f64,
}

/// Drives one run; the same seed gives the same run.
pub fn drive(spec: &CarSpec, track: &Track, drive: &Drive, seed: u64) -> Trace {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut car = Car::new(spec, drive);
    let top = 60.0;
    let plan = LapPlan::draw(track, 0.93, spec.brake, top, &mut rng);
    let mut driver = Driver {
        track,
        drive,
        plan,
        pace: 0.0,
        punch: None,
        locked: None,
        braking: false,
        corner: usize::MAX,
        halt: rng.random_range(3.0..7.0),
        stops: drive.stops.clone(),
        aim: 0.0,
    };
    let mut trace = Trace::default();
    let mut at =
        if drive.from_grid { -rng.random_range(2.0..14.0) } else { -track.length * rng.random_range(0.25..0.9) };
    let coast_home = track.length * rng.random_range(0.3..0.7);
    let (mut time, mut turns, mut over, mut rest) = (0.0, 0.0, f64::INFINITY, 0.0);
    let mut steps = 0u64;
    let each = (1.0 / STEP / TRACE_HZ).round() as u64;
    while rest < 4.0 {
        let (demand, grip) = driver.act(&car, at, time, over, &mut rng);
        if steps.is_multiple_of(each) {
            trace.push(&car, demand, at / track.length, turns);
        }
        let before = (at, turns);
        car.step(demand, grip);
        let line = driver.plan.line;
        at += car.speed * STEP / line;
        turns += car.motor_speed() * STEP / std::f64::consts::TAU;
        let lap_before = (before.0 / track.length).floor();
        let lap = (at / track.length).floor();
        if lap > lap_before {
            if lap >= 0.0 && over.is_infinite() {
                let share = (lap * track.length - before.0) / (at - before.0);
                trace.passings.push(time + share * STEP);
                trace.passing_turns.push(before.1 + share * (turns - before.1));
                if time - trace.passings[0] >= drive.length {
                    over = at + coast_home;
                }
            }
            driver.new_lap(spec, &mut rng);
        }
        steps += 1;
        time = steps as f64 * STEP;
        if at > over && car.speed < 0.05 {
            rest += STEP;
        }
    }
    trace.tyre_end = car.tyre;
    trace
}

impl Driver<'_> {
    fn new_lap(&mut self, spec: &CarSpec, rng: &mut ChaCha8Rng) {
        self.pace = 0.6 * self.pace + 0.006 * normal(rng);
        self.plan = LapPlan::draw(self.track, 1.0 + self.pace, spec.brake, 60.0, rng);
        self.corner = usize::MAX;
    }

    /// Demand and grip factor of this moment.
    fn act(&mut self, car: &Car, at: f64, time: f64, over: f64, rng: &mut ChaCha8Rng) -> (f64, f64) {
        let lap = (at / self.track.length).floor();
        if self.halt > 0.0 {
            self.halt -= STEP;
            return (if car.speed > 0.0 { -0.3 } else { 0.0 }, 1.0);
        }
        if at > over {
            return (if car.speed > 0.0 { -0.25 } else { 0.0 }, 1.0);
        }
        if let Some(&(stop, seconds)) = self.stops.first()
            && lap >= stop as f64
            && (at / self.track.length).fract() > 0.4
        {
            self.stops.remove(0);
            self.halt = seconds;
        }
        let target = self.plan.speed(at + 0.04 * car.speed);
        self.aim += (target - self.aim) * STEP / 0.03;
        let gap = self.aim.min(target) - car.speed;
        let reserve = car.spec.grip * GRAVITY * car.spec.mass * car.spec.driven_share() * 0.86;
        let reduction = car.spec.reduction(self.drive.pinion) / car.rolling_radius();
        let most = (reserve / reduction / car.spec.motor_constant / car.spec.gear_efficiency / car.spec.current_limit)
            .min(1.0);
        let brake = -(car.spec.brake * 1.15 * car.spec.mass
            / reduction
            / car.spec.motor_constant
            / car.spec.current_limit
            / 0.8)
            .min(1.0);
        // The driver lifts a moment before the brakes are due.
        let soon = self.plan.speed(at + LIFT * car.speed);
        let demand = if gap > 0.0 && soon + 0.5 < car.speed {
            0.0
        } else if gap > 0.0 {
            (0.7 * gap).min(most)
        } else if gap < -0.25 {
            (0.35 * (gap + 0.25)).max(brake)
        } else {
            0.0
        };
        if let Some(locked) = self.maybe_lock(car, at, time, demand, rng) {
            return locked;
        }
        self.maybe_spin(car, at, time, demand, most, rng)
    }

    /// Into a corner the driver may brake too hard where the track is dusty: the wheels lock.
    fn maybe_lock(&mut self, car: &Car, at: f64, time: f64, demand: f64, rng: &mut ChaCha8Rng) -> Option<(f64, f64)> {
        if self.drive.lock == 0.0 {
            return None;
        }
        let hard = demand < -0.15 && car.speed > 6.0 && at > 0.0;
        if hard && !self.braking && rng.random_bool(self.drive.lock) {
            self.locked = Some((time + rng.random_range(0.15..0.4), rng.random_range(0.15..0.4)));
        }
        self.braking = hard;
        self.locked.filter(|l| time < l.0 && demand < 0.0).map(|l| (-0.9, l.1))
    }

    /// Out of a corner the driver may open too early where the track is dusty.
    fn maybe_spin(
        &mut self,
        car: &Car,
        at: f64,
        time: f64,
        demand: f64,
        most: f64,
        rng: &mut ChaCha8Rng,
    ) -> (f64, f64) {
        let place = at.rem_euclid(self.track.length);
        let corner = self.track.corners.iter().rposition(|c| c.0 + c.1 < place).unwrap_or(usize::MAX - 1);
        if corner != self.corner {
            self.corner = corner;
            let slow = car.speed < 0.75 * 20.0;
            if demand > 0.5 * most && slow && at > 0.0 && rng.random_bool(self.drive.spin) {
                self.punch = Some((
                    time + rng.random_range(0.15..0.5),
                    rng.random_range(self.drive.spin_grip.0..self.drive.spin_grip.1),
                    rng.random_range(0.9..1.25),
                ));
            }
        }
        match self.punch {
            Some((until, grip, open)) if time < until && demand > 0.0 => ((most * open).min(1.0), grip),
            _ => (demand, 1.0),
        }
    }
}

impl Trace {
    fn push(&mut self, car: &Car, demand: f64, laps: f64, turns: f64) {
        self.motor.push(car.motor_speed());
        self.turns.push(turns);
        self.speed.push(car.speed);
        self.wheel.push(car.wheel);
        self.laps.push(laps);
        self.voltage.push(car.voltage);
        self.current.push(car.current);
        self.throttle.push(demand);
        self.motor_c.push(car.sensor);
        self.controller_c.push(car.controller);
    }

    /// Seconds of the run.
    pub fn duration(&self) -> f64 {
        self.motor.len() as f64 / TRACE_HZ
    }

    /// Wheelspin by definition: driving slip above 0.20 for 0.1 s or more while the car moves at 1 m/s or more.
    pub fn wheelspin(&self) -> Vec<(f64, f64)> {
        let mut events = Vec::new();
        let mut from = None;
        for n in 0..=self.wheel.len() {
            let spinning = n < self.wheel.len()
                && self.speed[n] >= 1.0
                && (self.wheel[n] - self.speed[n]) / self.wheel[n].max(1e-6) > 0.20;
            match (spinning, from) {
                (true, None) => from = Some(n),
                (false, Some(start)) => {
                    if (n - start) as f64 >= 0.1 * TRACE_HZ {
                        events.push((start as f64 / TRACE_HZ, n as f64 / TRACE_HZ));
                    }
                    from = None;
                }
                _ => {}
            }
        }
        events
    }
}
