//! A recorder: samples a trace at its rate, with noise and in steps.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::trace::{TRACE_HZ, Trace};
use super::track::normal;
use crate::log::Channel;

/// What a recorder measures, and how finely.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorder {
    /// Rows per second.
    pub rate_hz: f64,
    /// Channels, in the order of their columns.
    pub channels: Vec<Channel>,
    /// Standard deviation of the revs, 1/min.
    pub rpm_noise: f64,
    /// Step of the voltage, V.
    pub volt_step: f64,
    /// Step of the current, A.
    pub amp_step: f64,
    /// Step of the temperatures, °C.
    pub temperature_step: f64,
    /// Standard deviation of the moment of a row from its time, s.
    pub jitter_s: f64,
    /// Share of the rows that are lost.
    pub lost: f64,
}

/// Standard deviation of the voltage before it is put into steps, V.
const VOLT_NOISE: f64 = 0.003;
/// Standard deviation of the current before it is put into steps, A.
const AMP_NOISE: f64 = 0.05;
/// Slower than this the recorder shows no revs, 1/min.
const SLOWEST_RPM: f64 = 200.0;

impl Recorder {
    /// Six channels at `rate_hz` with the steps of a common recorder.
    pub fn plain(rate_hz: f64) -> Self {
        use Channel::{ControllerTemperature, Current, MotorTemperature, Rpm, Voltage};
        Self {
            rate_hz,
            channels: vec![Rpm, Voltage, Current, MotorTemperature, ControllerTemperature],
            rpm_noise: 12.0,
            volt_step: 0.01,
            amp_step: 0.1,
            temperature_step: 1.0,
            jitter_s: 0.0,
            lost: 0.0,
        }
    }

    /// Samples `trace`; the first row is at zero.
    pub fn sample(&self, trace: &Trace, seed: u64) -> Rows {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed_0001);
        let count = (trace.duration() * self.rate_hz).floor() as usize - 1;
        let mut rows = Rows {
            rate_hz: self.rate_hz,
            time: Vec::new(),
            channels: self.channels.iter().map(|&c| (c, Vec::new())).collect(),
        };
        for n in 0..count {
            let most = 0.4 / self.rate_hz;
            let jitter = if n == 0 { 0.0 } else { (self.jitter_s * normal(&mut rng)).clamp(-most, most) };
            let time = n as f64 / self.rate_hz + jitter;
            if n > 0 && n + 1 < count && rng.random_bool(self.lost) {
                continue;
            }
            rows.time.push((time * 1000.0).round() / 1000.0);
            for (channel, values) in &mut rows.channels {
                values.push(self.measure(*channel, trace, time, &mut rng));
            }
        }
        rows
    }

    fn measure(&self, channel: Channel, trace: &Trace, time: f64, rng: &mut ChaCha8Rng) -> f64 {
        let row = (time * TRACE_HZ).max(0.0);
        let read = |series: &[f64]| {
            let low = (row as usize).min(series.len() - 2);
            series[low] + (series[low + 1] - series[low]) * (row - low as f64)
        };
        let step = |value: f64, step: f64| (value / step).round() * step;
        match channel {
            Channel::Rpm => {
                let rpm = read(&trace.motor) * 60.0 / std::f64::consts::TAU;
                if rpm < SLOWEST_RPM { 0.0 } else { step((rpm + self.rpm_noise * normal(rng)).max(0.0), 1.0) }
            }
            Channel::Voltage => step(read(&trace.voltage) + VOLT_NOISE * normal(rng), self.volt_step),
            Channel::Current => step(read(&trace.current) + AMP_NOISE * normal(rng), self.amp_step),
            Channel::MotorTemperature => step(read(&trace.motor_c), self.temperature_step),
            Channel::ControllerTemperature => step(read(&trace.controller_c), self.temperature_step),
            Channel::Throttle => step(100.0 * read(&trace.throttle), 1.0),
            Channel::WheelSpeed => step(read(&trace.wheel), 0.01),
            _ => step(read(&trace.speed), 0.01),
        }
    }
}

/// Sampled rows in the channels' own units.
#[derive(Debug, Clone, PartialEq)]
pub struct Rows {
    /// Nominal rows per second.
    pub rate_hz: f64,
    /// Seconds since the first row.
    pub time: Vec<f64>,
    /// Each channel's values.
    pub channels: Vec<(Channel, Vec<f64>)>,
}
