//! A run from power-on to power-off, in steps of two milliseconds.
//!
//! Car: m·dv/dt = F_tyre − air − rolling − scrub. Wheels, gears and rotor as one mass at the tread: m_turning·dw/dt =
//! F_motor − F_tyre(w, v), stepped with the slope of F_tyre over w (linearly implicit), for the tyre is far stiffer
//! than the step. Heat, pack and constants of the motor follow in longer steps with mean powers.

use std::f64::consts::TAU;

use super::car::Car;
use super::dice::Dice;
use super::driver::{Hand, LOOK_S, View};
use super::electrics::{Command, Flow, Operating};
use super::heat::{Fans, HeatIn, Temperatures};
use super::pack::{Pack, PackKind};
use super::trace::{Moment, RaceEnd, Trace};
use super::track::Track;

/// Step while it moves, s.
const STEP_S: f64 = 0.002;
/// Step while it stands, s.
const STANDING_STEP_S: f64 = 0.01;
/// Step of heat and pack, s.
const SLOW_STEP_S: f64 = 0.02;
/// Deceleration of a crash, m/s².
const CRASH_M_S2: f64 = 60.0;
/// Speed at which a stopping car is taken to stand, m/s.
const STANDS_M_S: f64 = 0.15;
/// Pace after the flag.
const ROLL_OUT_PACE: f64 = 0.45;
/// Longest that a run is followed, s: a car that stays on the spot would never finish.
const LONGEST_S: f64 = 1200.0;
/// Time over which the acceleration that moves the weight is smoothed, s: the chassis' pitch.
const PITCH_S: f64 = 0.05;

/// A crash or a stop.
#[derive(Debug, Clone, Copy)]
pub struct Halt {
    /// Way from the line along the track since the start, m.
    pub way_m: f64,
    /// How long it stands, s.
    pub seconds: f64,
    /// Whether it is a crash.
    pub crash: bool,
}

/// A run as it truly is set up, and what will happen.
#[derive(Debug, Clone)]
pub struct Setup {
    /// Teeth of the pinion on the car.
    pub pinion: u32,
    /// End-bell timing, °.
    pub timing_deg: f64,
    /// Drag brake, %.
    pub drag_brake_pct: f64,
    /// Fan on the motor, mm.
    pub fan_mm: f64,
    /// Whether that fan turns.
    pub fan_turns: bool,
    /// Air, °C.
    pub air_c: f64,
    /// Runs that these tyres have behind them.
    pub runs_before: usize,
    /// Temperatures at power-on.
    pub start: Temperatures,
    /// The pack.
    pub pack: PackKind,
    /// Share by which this car's line is longer than the track's.
    pub longer: f64,
    /// Standing until the wheels are turned by hand, turning, standing until the start, s.
    pub waits_s: [f64; 3],
    /// Highest motor speed by hand, 1/min; 0: not turned.
    pub by_hand_rpm: f64,
    /// Way from the start to the line, m.
    pub to_line_m: f64,
    /// Length of the race, s.
    pub race_s: f64,
    /// Rolling after the flag, then standing, s.
    pub after_s: [f64; 2],
    /// Crashes and stops, in order.
    pub halts: Vec<Halt>,
}

/// The times of the recorder's rows.
pub struct RowClock {
    /// Rows a second.
    pub rate_hz: f64,
    /// Scatter of the gaps, s.
    pub jitter_s: f64,
    /// Chance for it.
    pub dice: Dice,
}

struct Drive<'a> {
    car: &'a Car,
    track: &'a Track,
    setup: &'a Setup,
    rows: RowClock,
    next_row_s: f64,
    density: f64,
    /// Motor radians per metre of tread.
    turns_per_m: f64,
    turning_kg: f64,
    at_s: f64,
    way_m: f64,
    speed: f64,
    wheel: f64,
    acceleration: f64,
    pack: Pack,
    temperatures: Temperatures,
    operating: Operating,
    flow: Flow,
    heat: HeatIn,
    square_a2_s: f64,
    slow_s: f64,
    charge_a_s: f64,
    turns: f64,
    trace: Trace,
}

/// Drives a run.
pub fn drive(car: &Car, track: &Track, setup: &Setup, rows: RowClock, dice: Dice) -> Trace {
    let mut drive = Drive::new(car, track, setup, rows);
    drive.flow = drive.operating.flow(drive.pack.source(), Command::Drive(0.0), 0.0);
    drive.trace = Trace::from(drive.moment(0.0));
    drive.stand(setup.waits_s[0]);
    drive.turn_by_hand(setup.waits_s[1]);
    drive.stand(setup.waits_s[2]);
    drive.race(dice);
    drive.stand(setup.after_s[1]);
    let spun = 0.5 * drive.turning_kg * drive.wheel * drive.wheel;
    drive.trace.energy.kinetic = 0.5 * car.mass_kg * drive.speed * drive.speed + spun;
    drive.trace.end = drive.temperatures;
    drive.trace.charge_a_s = drive.charge_a_s;
    drive.trace
}

impl<'a> Drive<'a> {
    fn new(car: &'a Car, track: &'a Track, setup: &'a Setup, rows: RowClock) -> Self {
        let turns_per_m = car.ratio(setup.pinion) / car.radius_m(setup.runs_before);
        let start = setup.start;
        Self {
            car,
            track,
            setup,
            rows,
            next_row_s: 0.0,
            density: 1.204 * 293.15 / (273.15 + setup.air_c),
            turns_per_m,
            turning_kg: car.turning_kg(turns_per_m),
            at_s: 0.0,
            way_m: -setup.to_line_m,
            speed: 0.0,
            wheel: 0.0,
            acceleration: 0.0,
            pack: Pack::full(&setup.pack, setup.air_c),
            temperatures: start,
            operating: Operating::new(&car.motor, &car.controller, setup.timing_deg, start.winding, start.can),
            flow: Flow::default(),
            heat: HeatIn::default(),
            square_a2_s: 0.0,
            slow_s: 0.0,
            charge_a_s: 0.0,
            turns: 0.0,
            trace: Trace::default(),
        }
    }

    fn stand(&mut self, seconds: f64) {
        self.come_to_rest();
        let until = self.at_s + seconds;
        while self.at_s < until {
            self.flow = self.operating.flow(self.pack.source(), Command::Drive(0.0), 0.0);
            self.pass(STANDING_STEP_S, 0.0);
        }
    }

    /// The wheels off the ground, turned by hand.
    fn turn_by_hand(&mut self, seconds: f64) {
        if self.setup.by_hand_rpm <= 0.0 {
            return;
        }
        let from = self.at_s;
        while self.at_s < from + seconds {
            let share = (std::f64::consts::PI * (self.at_s - from) / seconds).sin().max(0.0);
            let motor = self.setup.by_hand_rpm * TAU / 60.0 * share;
            self.wheel = motor / self.turns_per_m;
            self.flow = self.operating.flow(self.pack.source(), Command::Drive(0.0), motor);
            self.pass(STEP_S, 0.0);
        }
        self.wheel = 0.0;
    }

    fn race(&mut self, dice: Dice) {
        let (car, setup) = (self.car, self.setup);
        let parts = (car.mass_kg, car.gear_efficiency, setup.drag_brake_pct / 100.0);
        let mut hand = Hand::new(&car.driver, self.track, car.targets(self.track, self.density), parts, dice);
        let mut halts = setup.halts.iter();
        let mut halt = halts.next();
        let mut rolls_until = None;
        let mut next_look_s = self.at_s;
        let mut pace = 1.0;
        while self.at_s < LONGEST_S {
            let place = self.track.place(self.way_m);
            if self.at_s >= next_look_s {
                next_look_s += LOOK_S;
                hand.look(self.view(place, pace), &self.operating);
            }
            self.step(place, &hand);
            if rolls_until.is_none() && self.flag() {
                rolls_until = Some(self.at_s + setup.after_s[0]);
                pace = ROLL_OUT_PACE;
            }
            if rolls_until.is_some_and(|until| self.at_s > until) {
                pace = 0.0;
                if self.speed < STANDS_M_S {
                    break;
                }
            } else if let Some(due) = halt.filter(|halt| self.way_m > halt.way_m) {
                pace = 0.0;
                if due.crash {
                    hand.release();
                    let slower = (self.speed - CRASH_M_S2 * STEP_S).max(0.0);
                    self.trace.energy.impact += 0.5 * car.mass_kg * (self.speed * self.speed - slower * slower);
                    self.speed = slower;
                }
                if self.speed < STANDS_M_S {
                    self.halt(due, &mut hand);
                    (halt, pace, next_look_s) = (halts.next(), 1.0, self.at_s);
                }
            }
        }
    }

    fn halt(&mut self, halt: &Halt, hand: &mut Hand) {
        hand.release();
        let from = self.at_s;
        self.stand(halt.seconds);
        self.trace.halts_s.push((from, self.at_s, halt.crash));
    }

    /// Whether the race is over; keeps its end and the passings.
    fn flag(&mut self) -> bool {
        let first = self.trace.passings_s.first().copied();
        if let Some(first) = first
            && self.trace.race_end.at_s == 0.0
            && self.at_s >= first + self.setup.race_s
        {
            self.trace.race_end = RaceEnd {
                at_s: self.at_s,
                motor_c: self.temperatures.motor_sensor,
                controller_c: self.temperatures.controller_sensor(&self.car.heat),
                charge_a_s: self.charge_a_s,
            };
        }
        let due = self.trace.passings_s.len() as f64 * self.track.lap_length_m;
        if self.way_m < due {
            return false;
        }
        let since = (self.way_m - due) / self.speed.max(0.1);
        self.trace.passings_s.push(self.at_s - since);
        self.trace.turns_at_passings.push(self.turns - since * self.wheel * self.turns_per_m / TAU);
        self.trace.race_end.at_s > 0.0
    }

    fn view(&self, place: usize, pace: f64) -> View {
        let curvature = self.track.curvature[place];
        let sideways = self.car.sideways(self.speed, curvature, self.density);
        View {
            at_s: self.at_s,
            place,
            lap: (self.way_m / self.track.lap_length_m).floor() as i64,
            speed: self.speed,
            slip: if self.wheel > 0.3 { (self.wheel - self.speed) / self.wheel } else { 0.0 },
            grip_n: self.car.contact(self.speed, sideways, self.acceleration, self.density).most_n,
            resistance_n: self.car.resistance_n(self.speed, curvature, self.density),
            motor_speed: self.speed * self.turns_per_m,
            turns_per_m: self.turns_per_m,
            pack_v: self.flow.pack_v,
            pace,
        }
    }

    fn step(&mut self, place: usize, hand: &Hand) {
        let car = self.car;
        let curvature = self.track.curvature[place];
        let growth = 1.0 + car.tyre.growth * self.wheel * self.wheel;
        let motor_speed = self.wheel * self.turns_per_m / growth;
        self.flow = self.operating.flow(self.pack.source(), hand.command(), motor_speed);
        let loss = self.operating.loss_n_m(motor_speed);
        let torque = self.operating.constant * self.flow.motor_a - loss;
        let gears = if torque > 0.0 { car.gear_efficiency } else { 1.0 / car.gear_efficiency };
        let motor_n = torque * gears * self.turns_per_m / growth;

        let sideways = car.sideways(self.speed, curvature, self.density);
        let contact = car.contact(self.speed, sideways, self.acceleration, self.density);
        let (tyre_n, slope) = car.tyre.force(contact, self.wheel, self.speed);
        let change = STEP_S * (motor_n - tyre_n) / (self.turning_kg + STEP_S * slope);
        let wheel = (self.wheel + change).max(0.0);
        let tyre_n = tyre_n + slope * (wheel - self.wheel);
        let drag_n = car.drag_n(self.speed, self.density);
        let rolling_n = car.rolling_n(self.speed, curvature, sideways, self.density);
        let speed = (self.speed + STEP_S * (tyre_n - drag_n - rolling_n) / car.mass_kg).max(0.0);

        let (mean_wheel, mean_speed) = (0.5 * (wheel + self.wheel), 0.5 * (speed + self.speed));
        let energy = &mut self.trace.energy;
        energy.iron += STEP_S * loss * motor_speed;
        energy.gears += STEP_S * (torque * self.turns_per_m / growth - motor_n) * mean_wheel;
        energy.slip += STEP_S * tyre_n * (mean_wheel - mean_speed);
        energy.drag += STEP_S * drag_n * mean_speed;
        energy.rolling += STEP_S * rolling_n * mean_speed;
        self.acceleration += STEP_S / PITCH_S * ((speed - self.speed) / STEP_S - self.acceleration);
        (self.wheel, self.speed) = (wheel, speed);
        self.way_m += mean_speed * STEP_S / (1.0 + self.setup.longer + hand.longer);
        self.trace.ground_m += mean_speed * STEP_S;
        self.heat.can_w += STEP_S * loss * motor_speed;
        self.turns += STEP_S * mean_wheel * self.turns_per_m / growth / TAU;
        self.pass(STEP_S, hand.at);
    }

    /// Lets `dt` pass for pack, heat and whoever watches.
    fn pass(&mut self, dt: f64, hand: f64) {
        let flow = self.flow;
        self.at_s += dt;
        self.charge_a_s += flow.pack_a * dt;
        self.pack.carry(flow.pack_a, dt);
        let energy = &mut self.trace.energy;
        energy.pack += dt * flow.pack_v * flow.pack_a;
        energy.copper += dt * flow.copper_w;
        let idle_w = flow.pack_v * self.car.controller.idle_a;
        energy.controller += dt * (flow.controller_w + idle_w);
        self.heat.winding_w += dt * flow.copper_w;
        self.heat.controller_w += dt * flow.controller_w;
        self.square_a2_s += dt * flow.pack_a * flow.pack_a;
        self.slow_s += dt;
        if self.slow_s >= SLOW_STEP_S {
            self.warm();
        }
        let now = self.moment(hand);
        let RowClock { rate_hz, jitter_s, dice } = &mut self.rows;
        let mut gap = || {
            let scatter = if *jitter_s > 0.0 { dice.normal(0.0, *jitter_s) } else { 0.0 };
            (1.0 / *rate_hz + scatter).max(0.2 / *rate_hz)
        };
        self.trace.watch(now, &mut self.next_row_s, &mut gap);
    }

    fn warm(&mut self) {
        let (car, setup, long) = (self.car, self.setup, self.slow_s);
        let mean = HeatIn {
            winding_w: self.heat.winding_w / long,
            can_w: self.heat.can_w / long,
            controller_w: self.heat.controller_w / long,
        };
        let motor_mm = if setup.fan_turns { setup.fan_mm } else { 0.0 };
        let fans = Fans { motor_mm, controller_mm: car.controller_fan_mm };
        self.temperatures.step(&car.heat, long, mean, self.speed, fans, setup.air_c);
        let Temperatures { winding, can, .. } = self.temperatures;
        self.trace.highest_winding_c = self.trace.highest_winding_c.max(winding);
        self.operating = Operating::new(&car.motor, &car.controller, setup.timing_deg, winding, can);
        self.pack.settle(self.square_a2_s / long, long, setup.air_c);
        (self.heat, self.square_a2_s, self.slow_s) = (HeatIn::default(), 0.0, 0.0);
    }

    fn moment(&self, hand: f64) -> Moment {
        let growth = 1.0 + self.car.tyre.growth * self.wheel * self.wheel;
        Moment {
            at_s: self.at_s,
            rpm: self.wheel * self.turns_per_m / growth * 60.0 / TAU,
            voltage: self.flow.pack_v,
            current: self.flow.pack_a,
            charge_a_s: self.charge_a_s,
            turns: self.turns,
            motor_c: self.temperatures.motor_sensor,
            controller_c: self.temperatures.controller_sensor(&self.car.heat),
            hand,
            way_m: self.way_m,
            car: self.speed,
            wheel: self.wheel,
            ohm: self.pack.ohm,
            ohm_within_a_second: self.pack.ohm_within_a_second(),
        }
    }

    /// Takes what little motion is left.
    fn come_to_rest(&mut self) {
        let left = self.car.mass_kg * self.speed * self.speed + self.turning_kg * self.wheel * self.wheel;
        self.trace.energy.impact += 0.5 * left;
        (self.speed, self.wheel, self.acceleration) = (0.0, 0.0, 0.0);
    }
}
