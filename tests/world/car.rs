//! A car: masses, resistances, gears and what is built into it.

use super::dice::Dice;
use super::driver::{Driver, Opening};
use super::electrics::{Controller, Motor};
use super::heat::HeatPath;
use super::pack::PackKind;
use super::track::Track;
use super::tyre::{Contact, Tyre};

/// Standard gravity, m/s².
pub const GRAVITY: f64 = 9.81;
/// Speed that stands for "no limit", m/s.
const UNLIMITED_M_S: f64 = 40.0;
/// Most of the friction that cornering may use: beyond it the car would leave the line, which is not modelled.
const MOST_SIDEWAYS: f64 = 0.97;
/// Share of the no-load speed at the fastest place that gearing aims at. Common practice, no source.
const GEARED_FOR: (f64, f64) = (0.70, 0.86);

/// Heat of the winding that racers gear for, W. Common practice is to gear by temperature; the figures: no source.
const BEARABLE_W: (f64, f64) = (5.0, 13.0);
/// Smallest and largest pinion that are made for such cars, teeth; from memory.
const FEWEST_TEETH: u32 = 14;
const MOST_TEETH: u32 = 60;

/// A lap as it is worked out, not driven.
#[derive(Debug, Clone, Copy, Default)]
pub struct QuickLap {
    /// Its time, s.
    pub seconds: f64,
    /// Its highest speed, m/s.
    pub top_m_s: f64,
    /// Mean heat of the winding at 20 °C, W.
    pub copper_w: f64,
}

/// A car as it truly is.
#[derive(Debug, Clone)]
pub struct Car {
    /// Invented name.
    pub name: String,
    /// Whether all four wheels are driven; only the rear ones otherwise.
    pub four: bool,
    /// Ready to race, kg.
    pub mass_kg: f64,
    /// Share of the weight on the driven wheels, standing.
    pub driven_share: f64,
    /// Height of the mass over the wheelbase.
    pub height: f64,
    /// Drag coefficient times area, m².
    pub drag_m2: f64,
    /// The same for the force that presses it down.
    pub down_m2: f64,
    /// Rolling resistance over weight.
    pub rolling: f64,
    /// Slip angle of the tyres at the limit, rad.
    pub slip_angle: f64,
    /// Wheels, axles and gears as mass at the tread, kg, without the rotor.
    pub turning_kg: f64,
    /// Share of the motor's power that comes out of the gears.
    pub gear_efficiency: f64,
    /// Internal ratio.
    pub internal_ratio: f64,
    /// Teeth of the spur.
    pub spur: u32,
    /// Teeth of the pinion that the weekend starts with.
    pub pinion: u32,
    /// End-bell timing that the weekend starts with, °.
    pub timing_deg: f64,
    /// Drag brake that the weekend starts with, %.
    pub drag_brake_pct: f64,
    /// Motor's fan that the weekend starts with, mm.
    pub fan_mm: f64,
    /// Controller's fan, mm.
    pub controller_fan_mm: f64,
    /// Driven tyres.
    pub tyre: Tyre,
    /// Motor.
    pub motor: Motor,
    /// Controller.
    pub controller: Controller,
    /// Its packs: all runs use packs of one kind.
    pub pack: PackKind,
    /// Where its heat goes.
    pub heat: HeatPath,
    /// Who drives it.
    pub driver: Driver,
}

impl Car {
    /// A four-wheel-driven touring car of two cells on rubber.
    pub fn tourer(dice: &mut Dice, track: &Track) -> Self {
        let tyre = Tyre::rubber(dice, track.surface);
        let turns = dice.pick(&[8.5, 10.5, 13.5, 13.5, 17.5, 17.5]);
        let mut car = Self {
            mass_kg: dice.between(1.30, 1.50),
            driven_share: 1.0,
            drag_m2: dice.between(0.012, 0.024),
            down_m2: dice.between(0.004, 0.02),
            turning_kg: dice.between(0.05, 0.10),
            internal_ratio: dice.pick(&[1.85, 1.9, 1.95, 2.0]),
            spur: dice.pick(&[84, 96, 100, 104, 110, 116]),
            ..Self::draw(dice, tyre, turns, 2, track)
        };
        car.four = true;
        car.gear(dice, track);
        car
    }

    /// A rear-driven pan car of one cell on foam, without gears but pinion and spur.
    pub fn pan(dice: &mut Dice, track: &Track) -> Self {
        let tyre = Tyre::foam(dice, track.surface);
        let turns = dice.pick(&[10.5, 10.5, 13.5, 13.5, 17.5]);
        let mut car = Self {
            mass_kg: dice.between(0.70, 0.85),
            driven_share: dice.between(0.55, 0.66),
            drag_m2: dice.between(0.007, 0.015),
            down_m2: dice.between(0.003, 0.012),
            turning_kg: dice.between(0.025, 0.05),
            internal_ratio: 1.0,
            spur: dice.pick(&[72, 76, 80, 84, 88]),
            ..Self::draw(dice, tyre, turns, 1, track)
        };
        car.gear(dice, track);
        car
    }

    fn draw(dice: &mut Dice, tyre: Tyre, turns: f64, cells: usize, track: &Track) -> Self {
        Self {
            name: String::new(),
            four: false,
            mass_kg: 0.0,
            driven_share: 0.0,
            height: dice.between(0.06, 0.12),
            drag_m2: 0.0,
            down_m2: 0.0,
            rolling: dice.between(0.025, 0.06),
            slip_angle: dice.between(0.06, 0.13),
            turning_kg: 0.0,
            gear_efficiency: dice.between(0.84, 0.94),
            internal_ratio: 0.0,
            spur: 0,
            pinion: 0,
            timing_deg: dice.between(24.0, 40.0).round(),
            drag_brake_pct: dice.pick(&[0.0, 0.0, 2.0, 3.0, 5.0, 8.0]),
            fan_mm: dice.pick(&[0.0, 25.0, 30.0, 30.0, 40.0]),
            controller_fan_mm: dice.pick(&[0.0, 25.0, 30.0]),
            motor: Motor::draw(dice, turns),
            controller: Controller::draw(dice),
            pack: PackKind::draw(dice, cells),
            heat: HeatPath::draw(dice),
            driver: Driver::draw(dice, track.sections),
            tyre,
        }
    }

    /// This car with a driver who opens the throttle in another way, on tyres that hold less once they slide: else slip
    /// ends by itself before it is long.
    pub fn opening(self, opening: Opening) -> Self {
        let driver = self.driver.clone().opens(opening);
        let tyre = Tyre { sliding: 0.75 * self.tyre.sliding, ..self.tyre.clone() };
        Self { driver, tyre, ..self }
    }

    /// This car with a motor of so many turns, geared for it.
    pub fn wound(mut self, dice: &mut Dice, turns: f64, track: &Track) -> Self {
        self.motor = Motor::draw(dice, turns);
        self.gear(dice, track);
        self
    }

    /// Chooses the pinion so that the motor turns at a wanted share of its no-load speed at the fastest place, then
    /// fewer teeth until the winding's heat is one that the motor bears.
    fn gear(&mut self, dice: &mut Dice, track: &Track) {
        let power = 0.6 * self.full_volt() * self.full_volt() / (4.0 * self.full_ohm());
        let top = self.quick_lap(track, |speed| power / speed.max(1.0)).top_m_s;
        let no_load = self.full_volt() / self.motor.constant;
        let per_wheel_turn = dice.between(GEARED_FOR.0, GEARED_FOR.1) * no_load / (top / self.radius_m(0));
        let teeth = (f64::from(self.spur) * self.internal_ratio / per_wheel_turn).round();
        self.pinion = (teeth as u32).clamp(FEWEST_TEETH, MOST_TEETH);
        let bears_w = dice.between(BEARABLE_W.0, BEARABLE_W.1);
        while self.pinion > FEWEST_TEETH && self.geared_lap(track).copper_w > bears_w {
            self.pinion -= 1;
        }
    }

    fn full_volt(&self) -> f64 {
        3.75 * self.pack.cells as f64
    }

    fn full_ohm(&self) -> f64 {
        self.motor.winding_ohm + self.controller.path_ohm + self.pack.ohm
    }

    /// A lap without a mistake and without slip.
    pub fn geared_lap(&self, track: &Track) -> QuickLap {
        let turns_per_m = self.ratio(self.pinion) / self.radius_m(0);
        self.quick_lap(track, |speed| {
            let wanted = (self.full_volt() - self.motor.constant * speed * turns_per_m) / self.full_ohm();
            let ampere = wanted.clamp(0.0, self.controller.limit_a);
            self.motor.constant * ampere * turns_per_m * self.gear_efficiency
        })
    }

    fn quick_lap(&self, track: &Track, motor_n: impl Fn(f64) -> f64) -> QuickLap {
        let target = self.targets(track, 1.2);
        let ampere_per_n =
            self.radius_m(0) / (self.ratio(self.pinion.max(1)) * self.motor.constant * self.gear_efficiency);
        let mut speed = target[0].min(5.0);
        let mut lap = QuickLap::default();
        for _twice in 0..2 {
            lap = QuickLap::default();
            for (place, &limit) in target.iter().enumerate() {
                let curvature = track.curvature[place];
                let sideways = self.sideways(speed, curvature, 1.2);
                let grip = self.driver.exit_share * self.contact(speed, sideways, 0.0, 1.2).most_n;
                let back = self.resistance_n(speed, curvature, 1.2);
                let force = motor_n(speed).min(grip) - back;
                let reached = (speed * speed + 2.0 * track.place_m * force / self.mass_kg).max(1.0).sqrt().min(limit);
                let needed = self.mass_kg * (reached * reached - speed * speed) / (2.0 * track.place_m) + back;
                let ampere = needed * ampere_per_n;
                speed = reached;
                let seconds = track.place_m / speed;
                lap.seconds += seconds;
                lap.top_m_s = lap.top_m_s.max(speed);
                lap.copper_w += seconds * self.motor.winding_ohm * ampere * ampere;
            }
        }
        QuickLap { copper_w: lap.copper_w / lap.seconds, ..lap }
    }

    /// Motor turns per wheel turn with a pinion.
    pub fn ratio(&self, pinion: u32) -> f64 {
        f64::from(self.spur) / f64::from(pinion) * self.internal_ratio
    }

    /// Rolling radius at rest with `runs` behind it, m.
    pub fn radius_m(&self, runs: usize) -> f64 {
        self.tyre.circumference_m(runs, 0.0) / std::f64::consts::TAU
    }

    /// Everything that turns with the driven wheels as mass at the tread, kg.
    pub fn turning_kg(&self, turns_per_m: f64) -> f64 {
        self.turning_kg + self.motor.rotor_kg_m2 * turns_per_m * turns_per_m
    }

    /// Share of the friction that cornering uses.
    pub fn sideways(&self, speed: f64, curvature: f64, density: f64) -> f64 {
        let pressed = GRAVITY + self.pressed_n(speed, density) / self.mass_kg;
        (speed * speed * curvature / (self.tyre.friction * pressed)).min(MOST_SIDEWAYS)
    }

    /// Contact of the driven tyres where cornering uses a share of the friction, at an acceleration, m/s².
    pub fn contact(&self, speed: f64, sideways: f64, acceleration: f64, density: f64) -> Contact {
        let rest = self.mass_kg * GRAVITY * self.driven_share;
        let moved = if self.four { 0.0 } else { self.mass_kg * acceleration * self.height };
        let load = (rest + self.pressed_n(speed, density) * self.driven_share + moved).max(0.3 * rest);
        self.tyre.contact(load, rest, sideways)
    }

    fn pressed_n(&self, speed: f64, density: f64) -> f64 {
        0.5 * density * self.down_m2 * speed * speed
    }

    /// Air, N.
    pub fn drag_n(&self, speed: f64, density: f64) -> f64 {
        0.5 * density * self.drag_m2 * speed * speed
    }

    /// Rolling, and scrubbing in corners, N.
    pub fn rolling_n(&self, speed: f64, curvature: f64, sideways: f64, density: f64) -> f64 {
        let scrub = self.mass_kg * speed * speed * curvature * self.slip_angle * sideways;
        self.rolling * (self.mass_kg * GRAVITY + self.pressed_n(speed, density)) * (speed / 0.2).min(1.0) + scrub
    }

    /// All that holds it back, N.
    pub fn resistance_n(&self, speed: f64, curvature: f64, density: f64) -> f64 {
        let sideways = self.sideways(speed, curvature, density);
        self.drag_n(speed, density) + self.rolling_n(speed, curvature, sideways, density)
    }

    /// Speed that the driver aims at, at each place: corners, and the braking before them.
    pub fn targets(&self, track: &Track, density: f64) -> Vec<f64> {
        let friction = self.driver.corner_share * self.tyre.friction;
        let pressed = friction * 0.5 * density * self.down_m2;
        let mut target: Vec<f64> = track
            .curvature
            .iter()
            .map(|curvature| {
                let left = self.mass_kg * curvature - pressed;
                if left <= 0.0 {
                    return UNLIMITED_M_S;
                }
                (friction * self.mass_kg * GRAVITY / left).sqrt().min(UNLIMITED_M_S)
            })
            .collect();
        let places = target.len();
        for step in (0..2 * places).rev() {
            let (place, next) = (step % places, (step + 1) % places);
            let after = target[next];
            let sideways = self.sideways(after, track.curvature[place], density);
            let brake = self.driver.brake_share * self.contact(after, sideways, -4.0, density).most_n;
            let slowing = (brake + self.resistance_n(after, track.curvature[place], density)) / self.mass_kg;
            target[place] = target[place].min((after * after + 2.0 * slowing * track.place_m).sqrt());
        }
        target
    }
}
