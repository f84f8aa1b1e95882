//! The recorder in the controller: rows at a rate, in steps, with a current that may be late, held or a mean.

use super::dice::Dice;
use super::trace::Moment;

/// What the recorded current of a row is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurrentKind {
    /// The current at the row's time.
    Instant,
    /// The mean since the row before.
    MeanOverRow,
    /// The current at the time of the row before.
    LateByRow,
    /// Read anew only every so many rows.
    Held(usize),
}

/// A recorder.
#[derive(Debug, Clone)]
pub struct Recorder {
    /// Rows a second.
    pub rate_hz: f64,
    /// What its current is.
    pub current: CurrentKind,
    /// Step of the voltage, V.
    pub volt_step: f64,
    /// Step of the current, A.
    pub ampere_step: f64,
    /// Step of the temperatures, °C.
    pub celsius_step: f64,
    /// Step of the revs, 1/min.
    pub rpm_step: f64,
    /// Noise of the voltage, V.
    pub volt_noise: f64,
    /// Noise of the current, A.
    pub ampere_noise: f64,
    /// Noise of the revs, share.
    pub rpm_noise: f64,
    /// Scatter of the gaps between rows, s; the rows carry their true times.
    pub jitter_s: f64,
    /// How often rows are lost in a run, and how many at once.
    pub lost: (usize, usize),
    /// Whether it records the hand.
    pub has_throttle: bool,
    /// How much faster than the timing's its clock runs, share.
    pub clock: f64,
}

impl Recorder {
    /// Draws one. Steps and rates: what such recorders are sold with, from memory.
    pub fn draw(dice: &mut Dice) -> Self {
        let kinds = [
            CurrentKind::Instant,
            CurrentKind::MeanOverRow,
            CurrentKind::LateByRow,
            CurrentKind::Held(2),
            CurrentKind::Held(3),
        ];
        let rate_hz = dice.pick(&[10.0, 10.0, 20.0, 20.0, 25.0, 33.0, 50.0, 100.0]);
        let jitters = dice.chance(0.25);
        let loses = dice.chance(0.25);
        Self {
            rate_hz,
            current: dice.pick(&kinds),
            volt_step: dice.pick(&[0.001, 0.01, 0.01, 0.02, 0.05]),
            ampere_step: dice.pick(&[0.1, 0.1, 0.5, 1.0]),
            celsius_step: dice.pick(&[0.1, 0.5, 1.0, 1.0]),
            rpm_step: dice.pick(&[1.0, 10.0, 30.0, 60.0]),
            volt_noise: dice.between(0.001, 0.012),
            ampere_noise: dice.between(0.05, 0.5),
            rpm_noise: dice.between(0.0, 0.002),
            jitter_s: if jitters { dice.between(0.02, 0.15) / rate_hz } else { 0.0 },
            lost: if loses { (dice.whole(1, 4), dice.whole(1, 5)) } else { (0, 0) },
            has_throttle: dice.chance(0.6),
            clock: dice.normal(0.0, 30e-6),
        }
    }

    /// Rows that are in the log: those from `from_s` to `until_s` (from power-on) that are not lost.
    pub fn keep(&self, rows: &[Moment], from_s: f64, until_s: f64, dice: &mut Dice) -> Vec<Moment> {
        let mut kept: Vec<Moment> = rows.iter().filter(|row| (from_s..=until_s).contains(&row.at_s)).copied().collect();
        for _ in 0..self.lost.0 {
            let first = dice.whole(kept.len() / 20, kept.len() - 1 - self.lost.1);
            kept.drain(first..first + self.lost.1);
        }
        kept
    }

    /// What stands in the log of these rows.
    pub fn record(&self, rows: &[Moment], dice: &mut Dice) -> Columns {
        let start = rows.first().map_or(0.0, |row| row.at_s);
        let mut columns = Columns::default();
        let mut held = 0.0;
        for (number, row) in rows.iter().enumerate() {
            let before = if number > 0 { &rows[number - 1] } else { row };
            let exact = match self.current {
                CurrentKind::Instant => row.current,
                CurrentKind::LateByRow => before.current,
                CurrentKind::MeanOverRow if number > 0 => {
                    (row.charge_a_s - before.charge_a_s) / (row.at_s - before.at_s)
                }
                CurrentKind::MeanOverRow => row.current,
                CurrentKind::Held(rows) if number.is_multiple_of(rows) => row.current,
                CurrentKind::Held(_) => f64::NAN,
            };
            if exact.is_finite() {
                held = in_steps(exact + dice.normal(0.0, self.ampere_noise), self.ampere_step);
            }
            let rpm = row.rpm * (1.0 + dice.normal(0.0, self.rpm_noise));
            columns.time_s.push(in_steps((row.at_s - start) * (1.0 + self.clock), 0.001));
            columns.rpm.push(in_steps(rpm, self.rpm_step));
            columns.voltage.push(in_steps(row.voltage + dice.normal(0.0, self.volt_noise), self.volt_step));
            columns.current.push(held);
            columns.motor_c.push(in_steps(row.motor_c, self.celsius_step));
            columns.controller_c.push(in_steps(row.controller_c, self.celsius_step));
            columns.throttle.push(in_steps(row.hand * 100.0, 1.0));
        }
        columns
    }
}

/// The columns of a log; all of the same length unless a test changes them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Columns {
    /// Seconds from the first row.
    pub time_s: Vec<f64>,
    /// Motor, 1/min.
    pub rpm: Vec<f64>,
    /// Pack, V.
    pub voltage: Vec<f64>,
    /// Pack, A.
    pub current: Vec<f64>,
    /// Motor, °C.
    pub motor_c: Vec<f64>,
    /// Controller, °C.
    pub controller_c: Vec<f64>,
    /// Hand, %: negative is brake. Written where the recorder has it.
    pub throttle: Vec<f64>,
    /// Car over ground, m/s: written where a receiver recorded it.
    pub ground: Vec<f64>,
}

fn in_steps(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}
