//! The driver: follows a speed over the way, has learnt how much throttle the car takes, and is human.
//!
//! Twice in 20 ms the hand is told where to go; it gets there with limited speed. Corner speeds scatter from lap to lap
//! and from section to section; some corners are left with more throttle than the tyres hold; the lift comes a reaction
//! later. Ranges: common practice, no source.

use super::dice::Dice;
use super::electrics::{Command, Operating};
use super::track::Track;

/// Between two looks, s.
pub const LOOK_S: f64 = 0.01;
/// Slip that a driver feels.
const FELT_SLIP: f64 = 0.16;
/// How fast a finger lets go or brakes, share per s.
const RELEASE_PER_S: f64 = 12.0;
/// Places within which the hand rests at neutral.
const NEUTRAL: f64 = 0.02;
/// Time within which a difference in speed is to be made up, s.
const EAGER_S: f64 = 0.12;
/// How far ahead a driver looks for the speed, s.
const AHEAD_S: f64 = 0.05;

/// A driver as they are all weekend.
#[derive(Debug, Clone)]
pub struct Driver {
    /// Share of the friction used in corners.
    pub corner_share: f64,
    /// Share of the grip asked for out of corners.
    pub exit_share: f64,
    /// Share of the grip asked for when braking.
    pub brake_share: f64,
    /// Scatter of the laps, share.
    pub scatter: f64,
    /// Time for the whole throttle, s.
    pub ramp_s: f64,
    /// Reaction, s.
    pub reaction_s: f64,
    /// Chance of a mistake in a lap.
    pub mistakes: f64,
    /// Chance of braking too hard in a section.
    pub locks: f64,
    /// Chance of too much throttle, for each section.
    pub greedy: Vec<f64>,
    /// Least and greatest share of the grip that is then asked for.
    pub greed: (f64, f64),
}

/// How a driver opens the throttle, where a test wants more of one kind of wheelspin than chance gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opening {
    /// Too much out of nearly every corner.
    EveryCorner,
    /// A little too much with a slow finger: slip grows slowly.
    Slowly,
    /// Too much, and felt late: spins last long.
    Long,
    /// Hardly too much: spins just past the limit.
    Hardly,
}

impl Driver {
    /// Draws one for a track of so many sections.
    pub fn draw(dice: &mut Dice, sections: usize) -> Self {
        let mut greedy = vec![dice.between(0.0, 0.02); sections];
        for _ in 0..dice.whole(0, 4) {
            let section = dice.whole(0, sections - 1);
            greedy[section] = dice.between(0.1, 0.8);
        }
        Self {
            corner_share: dice.between(0.72, 0.88),
            exit_share: dice.between(0.60, 0.90),
            brake_share: dice.between(0.35, 0.70),
            scatter: dice.between(0.005, 0.025),
            ramp_s: dice.between(0.10, 0.35),
            reaction_s: dice.between(0.15, 0.30),
            mistakes: dice.between(0.005, 0.06),
            locks: dice.between(0.0, 0.02),
            greedy,
            greed: (1.05, 1.9),
        }
    }

    /// This driver with another way of opening the throttle. Figures: common practice, no source.
    pub fn opens(mut self, opening: Opening) -> Self {
        let often = |driver: &mut Self, chance: f64| driver.greedy.iter_mut().for_each(|g| *g = g.max(chance));
        match opening {
            Opening::EveryCorner => {
                often(&mut self, 0.85);
                self.greed = (1.05, 3.0);
            }
            Opening::Slowly => {
                often(&mut self, 0.5);
                (self.ramp_s, self.greed) = (5.0 * self.ramp_s, (1.5, 4.0));
                self.reaction_s *= 4.0;
            }
            Opening::Long => {
                often(&mut self, 0.3);
                self.reaction_s *= 10.0;
                self.greed = (2.0, 6.0);
            }
            Opening::Hardly => {
                often(&mut self, 0.5);
                self.greed = (1.05, 1.35);
                self.reaction_s *= 1.5;
            }
        }
        self
    }
}

/// What the driver sees and feels.
#[derive(Debug, Clone, Copy)]
pub struct View {
    /// Time, s.
    pub at_s: f64,
    /// Place on the track.
    pub place: usize,
    /// Number of the lap.
    pub lap: i64,
    /// Car, m/s.
    pub speed: f64,
    /// Slip of the driven wheels.
    pub slip: f64,
    /// Grip along the car, N.
    pub grip_n: f64,
    /// What holds the car back, N.
    pub resistance_n: f64,
    /// Motor rad/s.
    pub motor_speed: f64,
    /// Wheel force per motor torque without loss in the gears, 1/m.
    pub turns_per_m: f64,
    /// Volts of the pack.
    pub pack_v: f64,
    /// Share of the usual speed; 0 to stop.
    pub pace: f64,
}

/// The driver's hand in a run.
pub struct Hand<'a> {
    driver: &'a Driver,
    track: &'a Track,
    target: Vec<f64>,
    mass_kg: f64,
    efficiency: f64,
    drag_brake: f64,
    dice: Dice,
    /// Where the hand is: 1 full throttle, −1 full brake.
    pub at: f64,
    wanted: f64,
    lap: Option<i64>,
    section: Option<usize>,
    lap_pace: f64,
    section_pace: Vec<f64>,
    exit_share: f64,
    brake_share: f64,
    felt_since: Option<f64>,
    lifts_until: f64,
    /// Part of the run's way that the car's line is longer in this lap, share.
    pub longer: f64,
}

impl<'a> Hand<'a> {
    /// A hand that aims at these speeds, with a car's mass, gear efficiency and drag brake (share).
    pub fn new(
        driver: &'a Driver,
        track: &'a Track,
        target: Vec<f64>,
        (mass_kg, efficiency, drag_brake): (f64, f64, f64),
        mut dice: Dice,
    ) -> Self {
        let exit_share = dice.between(0.7, 1.3);
        let section_pace = vec![1.0; track.sections];
        Self {
            driver,
            track,
            target,
            mass_kg,
            efficiency,
            drag_brake,
            dice,
            at: 0.0,
            wanted: 0.0,
            lap: None,
            section: None,
            lap_pace: 1.0,
            section_pace,
            exit_share,
            brake_share: driver.brake_share,
            felt_since: None,
            lifts_until: f64::MIN,
            longer: 0.0,
        }
    }

    /// What the controller is asked for.
    pub fn command(&self) -> Command {
        if self.at > NEUTRAL {
            Command::Drive(self.at)
        } else if self.at < -NEUTRAL {
            Command::Brake(-self.at)
        } else {
            Command::Brake(self.drag_brake)
        }
    }

    /// Lets go at once.
    pub fn release(&mut self) {
        (self.at, self.wanted) = (0.0, 0.0);
    }

    /// Looks, decides and moves the hand for [`LOOK_S`].
    pub fn look(&mut self, view: View, operating: &Operating) {
        self.begin(view);
        self.wanted = self.decide(view, operating);
        let most = if self.wanted > self.at && self.wanted > 0.0 { 1.0 / self.driver.ramp_s } else { RELEASE_PER_S };
        self.at += (self.wanted - self.at).clamp(-most * LOOK_S, most * LOOK_S);
    }

    fn begin(&mut self, view: View) {
        let scatter = self.driver.scatter;
        if self.lap != Some(view.lap) {
            self.lap = Some(view.lap);
            self.lap_pace = 1.0 - self.dice.normal(0.0, 1.3 * scatter).abs().min(0.08) + 0.5 * scatter;
            self.longer = self.dice.normal(0.0, 0.12 * scatter);
            for pace in &mut self.section_pace {
                *pace = 1.0 + self.dice.normal(0.0, scatter).clamp(-0.06, 0.05);
            }
            if self.dice.chance(self.driver.mistakes) {
                let section = self.dice.whole(0, self.track.sections - 1);
                self.section_pace[section] = self.dice.between(0.55, 0.85);
            }
        }
        let section = self.track.section(view.place);
        if self.section != Some(section) {
            // The first section of a run keeps the share of the launch.
            if self.section.is_some() {
                self.exit_share = self.driver.exit_share * (1.0 + self.dice.normal(0.0, 0.05));
                if self.dice.chance(self.driver.greedy[section]) {
                    self.exit_share = self.dice.between(self.driver.greed.0, self.driver.greed.1);
                }
            }
            self.brake_share = self.driver.brake_share;
            if self.dice.chance(self.driver.locks) {
                self.brake_share = self.dice.between(1.05, 1.5);
            }
            self.section = Some(section);
        }
    }

    fn decide(&mut self, view: View, operating: &Operating) -> f64 {
        if view.slip > FELT_SLIP {
            let since = *self.felt_since.get_or_insert(view.at_s);
            if view.at_s - since > self.driver.reaction_s {
                self.lifts_until = view.at_s + self.driver.reaction_s;
                self.exit_share = self.exit_share.min(self.driver.exit_share);
            }
        } else {
            self.felt_since = None;
        }
        let ahead = (view.place + (view.speed * AHEAD_S / self.track.place_m) as usize) % self.target.len();
        let pace = view.pace * self.lap_pace * self.section_pace[self.track.section(ahead)];
        let wish = self.target[ahead] * pace;
        let eager = self.mass_kg * (wish - view.speed) / EAGER_S + view.resistance_n;
        let force = eager.clamp(-self.brake_share * view.grip_n, self.exit_share * view.grip_n);
        let gears = if force > 0.0 { 1.0 / self.efficiency } else { self.efficiency };
        match operating.hand_for(force * gears / view.turns_per_m, view.motor_speed, view.pack_v) {
            Command::Drive(duty) if view.at_s < self.lifts_until => 0.5 * duty,
            Command::Drive(duty) => duty,
            Command::Brake(share) if share <= self.drag_brake.max(NEUTRAL) => 0.0,
            Command::Brake(share) => -share,
        }
    }
}
