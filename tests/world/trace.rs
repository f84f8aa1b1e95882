//! What is watched while a car drives: rows for the recorder, passings, wheelspin and where the energy went.

use super::heat::Temperatures;

/// Driving slip above which wheels spin, the least time of it (s) and the least car speed (m/s).
const SPIN: (f64, f64, f64) = (0.20, 0.1, 1.0);
/// Hand up to which the car coasts: neither throttle nor brake.
const COASTING_HAND: f64 = 0.02;
/// Wheel speed below which slip has no meaning, m/s.
const RESTING_M_S: f64 = 0.05;

/// One moment, exact.
#[derive(Debug, Clone, Copy, Default)]
pub struct Moment {
    /// Seconds from power-on.
    pub at_s: f64,
    /// Motor, 1/min.
    pub rpm: f64,
    /// Pack as the controller sees it, V.
    pub voltage: f64,
    /// Pack, A.
    pub current: f64,
    /// Charge taken since power-on, A s.
    pub charge_a_s: f64,
    /// Turns of the motor since the start, the hand's not counted.
    pub turns: f64,
    /// Motor's sensor, °C.
    pub motor_c: f64,
    /// Controller's sensor, °C.
    pub controller_c: f64,
    /// Hand, −1 to 1.
    pub hand: f64,
    /// Way along the track since the line, m; negative before it.
    pub way_m: f64,
    /// Car, m/s.
    pub car: f64,
    /// Tread of the driven wheels, m/s.
    pub wheel: f64,
    /// Ohmic resistance of the pack, Ω.
    pub ohm: f64,
    /// The same with what polarises within a second, Ω.
    pub ohm_within_a_second: f64,
}

impl Moment {
    /// Driving slip: by how much of its speed the wheel is faster than the car.
    pub fn slip(&self) -> f64 {
        if self.wheel < RESTING_M_S { 0.0 } else { (self.wheel - self.car) / self.wheel }
    }

    /// A moment between two; what jumps (current, hand) is the later one's.
    pub fn between(before: &Self, after: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + share * (b - a);
        Self {
            at_s: mix(before.at_s, after.at_s),
            rpm: mix(before.rpm, after.rpm),
            charge_a_s: mix(before.charge_a_s, after.charge_a_s),
            turns: mix(before.turns, after.turns),
            motor_c: mix(before.motor_c, after.motor_c),
            controller_c: mix(before.controller_c, after.controller_c),
            way_m: mix(before.way_m, after.way_m),
            car: mix(before.car, after.car),
            wheel: mix(before.wheel, after.wheel),
            ..*after
        }
    }
}

/// A wheelspin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spin {
    /// Where slip rose above 0.20, s.
    pub start_s: f64,
    /// Where it fell below, s.
    pub end_s: f64,
    /// Highest slip in it.
    pub peak_slip: f64,
}

/// A moment with the hand off throttle and brake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coasting {
    /// Seconds from power-on.
    pub at_s: f64,
    /// Car, m/s.
    pub car: f64,
    /// How fast it slows, m/s².
    pub slows_m_s2: f64,
}

/// Where the energy went, J, from power-on to power-off.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Energy {
    /// Out of the pack's terminals.
    pub pack: f64,
    /// Winding.
    pub copper: f64,
    /// Iron and bearings of the motor.
    pub iron: f64,
    /// Switches, leads, receiver and servo.
    pub controller: f64,
    /// Gears.
    pub gears: f64,
    /// Tread slipping on the ground.
    pub slip: f64,
    /// Air.
    pub drag: f64,
    /// Rolling and scrubbing.
    pub rolling: f64,
    /// Crashes and being caught at a stop.
    pub impact: f64,
    /// Motion that is left.
    pub kinetic: f64,
}

impl Energy {
    /// All that is not the pack's.
    pub fn spent(&self) -> f64 {
        self.copper
            + self.iron
            + self.controller
            + self.gears
            + self.slip
            + self.drag
            + self.rolling
            + self.impact
            + self.kinetic
    }
}

/// The race's end, `race length` after the first passing, whatever the log has of it.
#[derive(Debug, Clone, Copy, Default)]
pub struct RaceEnd {
    /// Seconds from power-on.
    pub at_s: f64,
    /// Motor's sensor, °C.
    pub motor_c: f64,
    /// Controller's sensor, °C.
    pub controller_c: f64,
    /// Charge since power-on, A s.
    pub charge_a_s: f64,
}

/// A whole run as it was.
#[derive(Debug, Clone, Default)]
pub struct Trace {
    /// Rows at the recorder's times.
    pub rows: Vec<Moment>,
    /// Passings of the line, s from power-on, from the first of the race to the flag.
    pub passings_s: Vec<f64>,
    /// Turns of the motor at each passing, from the start.
    pub turns_at_passings: Vec<f64>,
    /// Wheelspin.
    pub spins: Vec<Spin>,
    /// Where the energy went.
    pub energy: Energy,
    /// The race's end.
    pub race_end: RaceEnd,
    /// Every moment in which the car coasts.
    pub coasting: Vec<Coasting>,
    /// From when to when it stood after a crash (`true`) or a stop.
    pub halts_s: Vec<(f64, f64, bool)>,
    /// Way of the car over the ground, m.
    pub ground_m: f64,
    /// Highest temperature of the winding, °C.
    pub highest_winding_c: f64,
    /// Temperatures at power-off.
    pub end: Temperatures,
    /// Charge from power-on to power-off, A s.
    pub charge_a_s: f64,
    before: Moment,
    spinning: Option<Spin>,
}

impl Trace {
    /// A trace that begins at a moment.
    pub fn from(before: Moment) -> Self {
        Self { before, ..Self::default() }
    }

    /// Takes a moment, and a row where `next_row_s` has come; gives the time between rows, by `gap`, back into it.
    pub fn watch(&mut self, now: Moment, next_row_s: &mut f64, gap: &mut impl FnMut() -> f64) {
        while *next_row_s <= now.at_s {
            let long = now.at_s - self.before.at_s;
            let share = if long > 0.0 { (*next_row_s - self.before.at_s) / long } else { 1.0 };
            self.rows.push(Moment::between(&self.before, &now, share));
            *next_row_s += gap();
        }
        let dt = now.at_s - self.before.at_s;
        if now.hand.abs() <= COASTING_HAND && now.car > 0.0 && dt > 0.0 {
            self.coasting.push(Coasting { at_s: now.at_s, car: now.car, slows_m_s2: (self.before.car - now.car) / dt });
        }
        let (above, least_s, moving) = SPIN;
        if now.slip() > above && now.car >= moving {
            let spin = self.spinning.get_or_insert(Spin { start_s: now.at_s, end_s: now.at_s, peak_slip: 0.0 });
            spin.peak_slip = spin.peak_slip.max(now.slip());
        } else if let Some(spin) = self.spinning.take()
            && now.at_s - spin.start_s >= least_s
        {
            self.spins.push(Spin { end_s: now.at_s, ..spin });
        }
        self.before = now;
    }
}
