//! What really happened on a run: the model's state, finely sampled, and the passings.

/// Rows of the trace per second, dense enough for any recorder.
pub const TRACE_HZ: f64 = 1000.0;

/// Driving slip above which wheels spin, by the definition of the review.
const SPIN_SLIP: f64 = 0.20;
/// Shortest wheelspin that counts, s.
const SPIN_S: f64 = 0.1;
/// Slower than this a car does not count as moving, m/s.
const MOVING_M_S: f64 = 1.0;

/// State of the model, [`TRACE_HZ`] times a second.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Trace {
    /// Motor speed, rad/s.
    pub motor: Vec<f64>,
    /// Motor turns since the start.
    pub turns: Vec<f64>,
    /// Car speed, m/s.
    pub speed: Vec<f64>,
    /// Tread speed of the driven wheels, m/s.
    pub wheel: Vec<f64>,
    /// Track position since the line, in laps (negative on the out-lap).
    pub laps: Vec<f64>,
    /// Pack voltage, V.
    pub voltage: Vec<f64>,
    /// Pack current, A.
    pub current: Vec<f64>,
    /// Demand of the driver, -1 (brake) to 1 (throttle).
    pub throttle: Vec<f64>,
    /// Can temperature as its sensor reads it, °C.
    pub motor_c: Vec<f64>,
    /// Controller temperature, °C.
    pub controller_c: Vec<f64>,
    /// Times when the car passed the line, s.
    pub passings: Vec<f64>,
    /// Motor turns at the passings.
    pub passing_turns: Vec<f64>,
    /// Tyre diameter at the end, m.
    pub tyre_end: f64,
}

impl Trace {
    /// Length of the run, s.
    pub fn duration(&self) -> f64 {
        self.motor.len() as f64 / TRACE_HZ
    }

    /// Start and end of each wheelspin, s, by definition: driving slip above 0.20 for 0.1 s or more while the car moves
    /// at 1 m/s or more.
    pub fn wheelspin(&self) -> Vec<(f64, f64)> {
        let spins = |n: usize| {
            self.speed[n] >= MOVING_M_S && (self.wheel[n] - self.speed[n]) / self.wheel[n].max(1e-6) > SPIN_SLIP
        };
        let mut events = Vec::new();
        let mut start = None;
        for n in 0..=self.wheel.len() {
            if n < self.wheel.len() && spins(n) {
                start.get_or_insert(n);
            } else if let Some(first) = start.take()
                && (n - first) as f64 >= SPIN_S * TRACE_HZ
            {
                events.push((first as f64 / TRACE_HZ, n as f64 / TRACE_HZ));
            }
        }
        events
    }
}
