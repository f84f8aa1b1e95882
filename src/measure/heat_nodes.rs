//! How heat moves through a part: a quick node on a slow one, in surroundings that warm.
//!
//! ```text
//! T     = S + g·Q
//! dS/dt = a·u·(1 + α·(T − T_ref)) + b·w − c·(1 − s + s·v)·(S − T_air − k·R)
//! dQ/dt = (load − Q) / τ_q
//! dR/dt = (T − T_air − R) / τ_r
//! ```
//!
//! T is what the sensor reads. S is the slow node, a motor's can or a controller's case. g·Q is the quick one, by how
//! much the sensor is above the slow node at a load: a winding that the sensor is on or near (g > 0), or the lag of
//! heat on its way to the sensor (g < 0; to first order a lag of θ is g = −θ times the heating). R is how warm the
//! surroundings get, a chassis or a mount, of which the share k reaches the slow node. u, w and v are the copper load,
//! the loss that goes with the motor's speed and the car's speed, each relative to its mean over the laps that count.
//!
//! This is the network of two or three thermal nodes by which machines are modelled (textbook), written in its modes:
//! the step response of any such network is a sum of exponentials with real time constants. Wrong for more than three
//! nodes that matter within a race, and for cooling that does not go with the difference of temperature (radiation,
//! boiling).

use nalgebra::{SMatrix, SVector};

use super::heat_record::{CopperLoss, Record};
use crate::quantity::COVERAGE_95;

/// One value for each coefficient, and for each pair of them.
pub(super) type Coefficients = SVector<f64, COUNT>;
pub(super) type Pairs = SMatrix<f64, COUNT, COUNT>;

/// What is fitted, in this order: a, b (K/s), air (°C), start (°C), k, g (K).
pub(super) const COPPER_HEATING: usize = 0;
pub(super) const SPEED_HEATING: usize = 1;
pub(super) const AIR: usize = 2;
pub(super) const START: usize = 3;
pub(super) const AROUND: usize = 4;
pub(super) const QUICK: usize = 5;
/// How many there are: the slow ones, the quick ones, all.
pub(super) const SLOW: usize = QUICK;
pub(super) const QUICKS: usize = QUICK_S.len();
pub(super) const COUNT: usize = SLOW + QUICKS;

/// A part's nodes, and a map of them.
const NODES: usize = 2 + QUICKS;
type Nodes = SVector<f64, NODES>;
type NodeMap = SMatrix<f64, NODES, NODES>;

/// Steps from which squaring their map takes less time than taking each.
const FEWEST_SQUARED: usize = 32;

/// Time constants of the quick node, s.
pub(super) const QUICK_S: [f64; 3] = [5.0, 16.0, 50.0];

/// Time constant of what is around the part, s: a chassis with its mount takes ten minutes. Common practice, no source.
const AROUND_S: f64 = 600.0;
/// How much of a start above the air the surroundings share. Common practice, no source.
const STARTS_WARM: f64 = 0.25;
/// Share of the quick node's heat that goes with speed.
const QUICK_SPEED_SHARE: f64 = 0.35;
/// Car speed, relative, from which a log's first step shows a car that may have been driving for long.
const DRIVEN: f64 = 0.3;

/// A part that is no further above the air has not been under load, °C. Common practice, no source.
const COLD_K: f64 = 3.0;

/// Share of the distance to a new value that is made up in `step_s` with this time constant.
pub(super) fn made_up(step_s: f64, constant_s: f64) -> f64 {
    1.0 - (-step_s / constant_s).exp()
}

/// States that the quick node may have at a record's first step: at rest, and at the laps' load too where the car moves
/// and the part is not as cold as the air, by what is known of that.
pub(super) fn quick_starts(record: &Record) -> &'static [f64] {
    let moves = record.flow.first().is_some_and(|flow| *flow > DRIVEN);
    let cold = record.first_reading() + COVERAGE_95 * record.air.standard_u < record.air.value + COLD_K;
    if moves && !cold { &[0.0, 1.0] } else { &[0.0] }
}

/// How warm the surroundings are above the air for a start this far above it, °C.
pub(super) fn around_at_start(above_air_k: f64) -> f64 {
    STARTS_WARM * above_air_k.max(0.0)
}

/// The load on the quick node, relative.
pub(super) fn quick_load(copper: f64, spin: f64) -> f64 {
    (1.0 - QUICK_SPEED_SHARE) * copper + QUICK_SPEED_SHARE * spin
}

/// One step on of the surroundings.
pub(super) fn around_share(step_s: f64) -> f64 {
    made_up(step_s, AROUND_S)
}

/// The slow columns of a run under one cooling: each step's slow temperature as a linear function of a, b, air, start,
/// k.
pub(super) struct SlowColumns {
    /// In the middle of each step.
    pub(super) rows: Vec<[f64; SLOW]>,
    /// After the last step.
    pub(super) last: [f64; SLOW],
}

/// The quick node of a run under each of its time constants, in the middle of each step.
pub(super) struct QuickColumns {
    pub(super) rows: Vec<[f64; QUICKS]>,
    pub(super) last: [f64; QUICKS],
}

/// What the columns of a run have in common.
pub(super) struct Inputs {
    /// Copper load with what its warmth adds.
    copper: Vec<f64>,
    /// How warm the surroundings are above the air.
    around: Vec<f64>,
    /// After the last step.
    pub(super) around_last: f64,
}

impl Inputs {
    /// The inputs of a run.
    pub(super) fn of(record: &Record, copper_loss: CopperLoss) -> Self {
        let air = record.air.value;
        let mut seen = record.first_reading();
        let mut around = around_at_start(seen - air);
        let share = around_share(record.step_s);
        let (mut copper, mut arounds) = (Vec::new(), Vec::new());
        for (load, reading) in record.copper.iter().zip(&record.reading) {
            seen = if reading.is_finite() { *reading } else { seen };
            copper.push(load * copper_loss.relative_at(seen));
            arounds.push(around);
            around += (seen - air - around) * share;
        }
        Self { copper, around: arounds, around_last: around }
    }

    /// The slow columns under a cooling (1/s) of which a share goes with the car's speed.
    pub(super) fn slow(&self, record: &Record, cooling: f64, flow_share: f64) -> SlowColumns {
        let mut row = [0.0, 0.0, 0.0, 1.0, 0.0];
        let mut rows = Vec::with_capacity(record.reading.len());
        for n in 0..record.reading.len() {
            let rate = cooling * (1.0 - flow_share + flow_share * record.flow[n]);
            let middle = decay(0.5 * rate * record.step_s);
            let half = (1.0 - middle) / rate;
            let input =
                [self.copper[n] * half, record.spin[n] * half, 1.0 - middle, 0.0, self.around[n] * (1.0 - middle)];
            // Half a step, where the step's mean reading is; then the other half.
            for (value, input) in row.iter_mut().zip(input) {
                *value = *value * middle + input;
            }
            rows.push(row);
            for (value, input) in row.iter_mut().zip(input) {
                *value = *value * middle + input;
            }
        }
        SlowColumns { rows, last: row }
    }

    /// The quick columns, from a state of the quick node at the first row: 0 is at rest, 1 at the laps' load.
    pub(super) fn quick(&self, record: &Record, start: f64) -> QuickColumns {
        let shares = QUICK_S.map(|constant_s| made_up(0.5 * record.step_s, constant_s));
        let mut quick = [start; QUICKS];
        let mut rows = Vec::with_capacity(record.reading.len());
        for n in 0..record.reading.len() {
            let load = quick_load(self.copper[n], record.spin[n]);
            let step = |quick: &mut [f64; QUICKS]| {
                quick.iter_mut().zip(shares).for_each(|(q, share)| *q += (load - *q) * share)
            };
            step(&mut quick);
            rows.push(quick);
            step(&mut quick);
        }
        QuickColumns { rows, last: quick }
    }
}

/// exp(−x) for small x: the diagonal Padé approximant of the second order, off by x⁵/720.
fn decay(x: f64) -> f64 {
    let even = 12.0 + x * x;
    (even - 6.0 * x) / (even + 6.0 * x)
}

/// A moment of a part.
#[derive(Clone, Copy)]
pub(super) struct State {
    /// Slow node, °C.
    slow: f64,
    /// Quick node, in units of g.
    quick: [f64; QUICKS],
    /// Surroundings above the air, °C.
    around: f64,
}

/// A moment of a part, with what each coefficient changes of it.
#[derive(Clone, Copy)]
pub(super) struct StateWithChange {
    state: State,
    slow_change: Coefficients,
    around_change: Coefficients,
}

/// What drives a part over a time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drive {
    /// Copper load, relative.
    pub(super) copper: f64,
    /// Loss that goes with the motor's speed, relative.
    pub(super) spin: f64,
    /// Cooling, 1/s.
    pub(super) cooling: f64,
    /// Air, °C; `None` is the run's own.
    pub(super) air_c: Option<f64>,
}

/// What goes on in a part step by step.
pub(super) trait Steps {
    /// One step on.
    fn step(&mut self, mean: &Coefficients, pace: &Pace);

    /// So many steps on.
    fn steps(&mut self, mean: &Coefficients, pace: &Pace, count: usize) {
        (0..count).for_each(|_| self.step(mean, pace));
    }
}

impl State {
    /// A part that has stood at `start_c`, in air of `air_c`.
    pub(super) fn at_rest(start_c: f64, air_c: f64) -> Self {
        Self { slow: start_c, quick: [0.0; QUICKS], around: around_at_start(start_c - air_c) }
    }

    /// Slow node, surroundings, quick node.
    fn nodes(&self) -> Nodes {
        let [first, second, third] = self.quick;
        Nodes::from([self.slow, self.around, first, second, third])
    }

    fn from_nodes(nodes: &Nodes) -> Self {
        Self { slow: nodes[0], around: nodes[1], quick: [nodes[2], nodes[3], nodes[4]] }
    }

    /// What the sensor reads, °C.
    pub(super) fn reading(&self, mean: &Coefficients) -> f64 {
        self.slow + self.quick.iter().zip(&mean.as_slice()[QUICK..]).map(|(quick, g)| quick * g).sum::<f64>()
    }
}

impl Steps for State {
    /// Exact for the slow node.
    fn step(&mut self, mean: &Coefficients, pace: &Pace) {
        let Drive { copper, spin, cooling: rate, air_c } = pace.drive;
        let (reading, air) = (self.reading(mean), air_c.unwrap_or(mean[AIR]));
        let warm = copper * pace.loss.relative_at(reading);
        let (a, b, k) = (mean[COPPER_HEATING], mean[SPEED_HEATING], mean[AROUND]);
        let slope = a * warm + b * spin - rate * (self.slow - air - k * self.around);
        self.slow += slope * pace.held;
        self.around += (reading - air - self.around) * pace.around_share;
        let load = quick_load(warm, spin);
        self.quick.iter_mut().zip(pace.quick_shares).for_each(|(quick, share)| *quick += (load - *quick) * share);
    }

    /// A step is an affine map of the nodes, and so are many: of twice as many it is the square (exponentiation by
    /// squaring, textbook).
    fn steps(&mut self, mean: &Coefficients, pace: &Pace, count: usize) {
        if count < FEWEST_SQUARED {
            (0..count).for_each(|_| self.step(mean, pace));
            return;
        }
        let stepped = |nodes: Nodes| {
            let mut state = Self::from_nodes(&nodes);
            state.step(mean, pace);
            state.nodes()
        };
        let mut shift = stepped(Nodes::zeros());
        let mut map = NodeMap::from_fn(|_, _| 0.0);
        for node in 0..NODES {
            map.set_column(node, &(stepped(Nodes::ith(node, 1.0)) - shift));
        }
        let mut nodes = self.nodes();
        let mut left = count;
        while left > 0 {
            if left % 2 == 1 {
                nodes = map * nodes + shift;
            }
            (map, shift) = (map * map, map * shift + shift);
            left /= 2;
        }
        *self = Self::from_nodes(&nodes);
    }
}

impl StateWithChange {
    /// Where a run ended whose slow node is this linear function of the coefficients.
    pub(super) fn after(slow: &Coefficients, mean: &Coefficients, quick: [f64; QUICKS], around: f64) -> Self {
        let state = State { slow: slow.dot(mean), quick, around };
        Self { state, slow_change: *slow, around_change: Coefficients::zeros() }
    }

    /// What the sensor reads, °C.
    pub(super) fn reading(&self, mean: &Coefficients) -> f64 {
        self.state.reading(mean)
    }

    /// How the reading changes with the coefficients.
    pub(super) fn change(&self) -> Coefficients {
        let mut change = self.slow_change;
        (0..QUICKS).for_each(|n| change[QUICK + n] += self.state.quick[n]);
        change
    }

    /// The moment itself.
    pub(super) fn state(&self) -> State {
        self.state
    }
}

impl From<State> for StateWithChange {
    fn from(state: State) -> Self {
        Self { state, slow_change: Coefficients::zeros(), around_change: Coefficients::zeros() }
    }
}

impl Steps for StateWithChange {
    fn step(&mut self, mean: &Coefficients, pace: &Pace) {
        let Drive { copper, spin, cooling: rate, air_c } = pace.drive;
        let warm = copper * pace.loss.relative_at(self.reading(mean));
        let of_air = if air_c.is_some() { 0.0 } else { rate };
        let own =
            slow_part([warm, spin, of_air, 0.0, rate * self.state.around]) + self.around_change * (rate * mean[AROUND]);
        let mut risen = self.change();
        risen[AIR] -= if air_c.is_some() { 0.0 } else { 1.0 };
        self.slow_change = self.slow_change * (1.0 + pace.feedback * pace.held) + own * pace.held;
        self.around_change += (risen - self.around_change) * pace.around_share;
        self.state.step(mean, pace);
    }
}

/// An even drive in steps of one length, with what is the same in each of them.
pub(super) struct Pace {
    drive: Drive,
    loss: CopperLoss,
    /// Feedback of the temperature on itself, 1/s.
    feedback: f64,
    /// Time for which the slope at a step's start counts, s.
    held: f64,
    /// Shares of what the surroundings and the quick node lag behind that they make up in a step.
    around_share: f64,
    quick_shares: [f64; QUICKS],
}

impl Pace {
    /// Steps of so many seconds under `drive`, by these coefficients.
    pub(super) fn new(mean: &Coefficients, loss: CopperLoss, drive: Drive, step_s: f64) -> Self {
        let feedback = mean[COPPER_HEATING] * drive.copper * loss.alpha - drive.cooling;
        let held = if feedback.abs() < NO_FEEDBACK { step_s } else { ((feedback * step_s).exp() - 1.0) / feedback };
        let quick_shares = QUICK_S.map(|constant_s| made_up(step_s, constant_s));
        Self { drive, loss, feedback, held, around_share: around_share(step_s), quick_shares }
    }
}

/// Feedback of the temperature on itself below which it is none, 1/s.
const NO_FEEDBACK: f64 = 1e-12;

/// Coefficients' values of the slow node alone.
pub(super) fn slow_part(values: [f64; SLOW]) -> Coefficients {
    Coefficients::from_fn(|n, _| values.get(n).copied().unwrap_or(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_steps_at_once_are_as_many_steps() {
        let mean = Coefficients::from([0.12, 0.08, 24.0, 30.0, 0.2, 3.0, -1.5, 4.0]);
        let loss = CopperLoss { alpha: 0.0033, reference_c: 55.0 };
        let drive = Drive { copper: 1.2, spin: 0.9, cooling: 1.0 / 280.0, air_c: Some(31.0) };
        let pace = Pace::new(&mean, loss, drive, 1.0);
        for count in [FEWEST_SQUARED, 77, 480, 1001] {
            let (mut at_once, mut one_by_one) = (State::at_rest(40.0, 31.0), State::at_rest(40.0, 31.0));
            at_once.steps(&mean, &pace, count);
            (0..count).for_each(|_| one_by_one.step(&mean, &pace));
            let off = (at_once.nodes() - one_by_one.nodes()).amax();
            assert!(off < 1e-10, "{count}: {off}");
        }
    }
}
