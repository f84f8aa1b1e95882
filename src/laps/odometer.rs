//! Motor turns as an odometer: the integral of the revs.

use crate::log::{Channel, Log};
use crate::quantity::quantile;

/// Time over which the rate of the revs is taken.
const GRIP_WINDOW_S: f64 = 0.1;
/// A spin that lasts longer is none: the car is faster than was thought. Common practice, no source.
const LONGEST_SPIN_S: f64 = 1.5;
/// Time that revs may go on falling to the car's speed once they are near it.
const REGRIP_S: f64 = 0.25;

/// Cumulated motor turns over the log's rows.
#[derive(Debug, Clone)]
pub struct Odometer {
    time: Vec<f64>,
    rpm: Vec<f64>,
    turns: Vec<f64>,
    bridged: Vec<f64>,
}

impl Odometer {
    /// Integrates the log's revs by the trapezoid rule, straight across missing cells; `None` without revs.
    pub fn new(log: &Log) -> Option<Self> {
        let rpm = log.channel(Channel::Rpm)?;
        let (time, rpm): (Vec<f64>, Vec<f64>) =
            log.time().iter().zip(rpm).filter(|(_, r)| r.is_finite()).map(|(t, r)| (*t, *r)).unzip();
        Self::from_rows(time, rpm)
    }

    /// The same from rows without gaps; `None` for fewer than two.
    pub fn from_rows(time: Vec<f64>, rpm: Vec<f64>) -> Option<Self> {
        if time.len() < 2 {
            return None;
        }
        let mut turns = vec![0.0];
        for at in 1..time.len() {
            turns.push(turns[at - 1] + (rpm[at] + rpm[at - 1]) / 120.0 * (time[at] - time[at - 1]));
        }
        Some(Self { time, rpm, turns, bridged: Vec::new() })
    }

    /// The car's way rather than the wheels': revs may rise no faster than they usually do at the most. Past that
    /// the wheels spin, and the car's speed is a straight line from before the spin to where the revs have come
    /// down to it; revs that fall faster than braking can make them are locked wheels, bridged at that rate.
    pub fn gripped(&self) -> Self {
        let (rise, fall) = (self.usual_rate(1.0), self.usual_rate(-1.0));
        let (time, mut rpm) = (&self.time, self.rpm.clone());
        let mut at = 1;
        while at < rpm.len() {
            let (before, since) = (rpm[at - 1], time[at - 1]);
            if self.rpm[at] <= before + rise * (time[at] - since) {
                rpm[at] = self.rpm[at].max(before - fall * (time[at] - since));
                at += 1;
                continue;
            }
            let last = self.end_of_spin(at, before, rise);
            let slope = ((self.rpm[last] - before) / (time[last] - since)).min(rise);
            for row in at..=last {
                rpm[row] = before + slope * (time[row] - since);
            }
            at = last + 1;
        }
        let excess = time.windows(2).enumerate().scan(0.0, |sum, (n, w)| {
            *sum += (self.rpm[n] + self.rpm[n + 1] - rpm[n] - rpm[n + 1]) / 120.0 * (w[1] - w[0]);
            Some(*sum)
        });
        let excess = std::iter::once(0.0).chain(excess).collect();
        Self { bridged: excess, ..Self::from_rows(self.time.clone(), rpm).unwrap_or_else(|| self.clone()) }
    }

    /// Row at which revs that rose too fast at `from` have come back to what the car can have reached, and no longer fall.
    fn end_of_spin(&self, from: usize, before: f64, rise: f64) -> usize {
        let start = self.time[from - 1];
        let mut last = from;
        while last + 1 < self.rpm.len()
            && self.rpm[last] > before + rise * (self.time[last] - start)
            && self.time[last] - start < LONGEST_SPIN_S
        {
            last += 1;
        }
        let met = self.time[last];
        while last + 1 < self.rpm.len() && self.rpm[last + 1] < self.rpm[last] && self.time[last + 1] - met < REGRIP_S {
            last += 1;
        }
        last
    }

    /// Turns that bridging took out between two times: the wheels' more than the car's.
    pub fn bridged_between(&self, from: f64, to: f64) -> f64 {
        let at =
            |t: f64| self.bridged.get(self.time.partition_point(|&x| x <= t).saturating_sub(1)).copied().unwrap_or(0.0);
        at(to) - at(from)
    }

    /// A rate of the revs (turns a minute, a second) that one rise (or fall, `sign` -1) in ten reaches, and a
    /// quarter more. Taken over a tenth of a second, so that noise from row to row does not count.
    fn usual_rate(&self, sign: f64) -> f64 {
        let mut rates = Vec::new();
        let mut from = 0;
        for at in 1..self.time.len() {
            while self.time[at] - self.time[from + 1] >= GRIP_WINDOW_S - 1e-9 && from + 1 < at {
                from += 1;
            }
            let rate = sign * (self.rpm[at] - self.rpm[from]) / (self.time[at] - self.time[from]);
            if rate > 0.0 {
                rates.push(rate);
            }
        }
        quantile(rates, 0.90).map_or(f64::INFINITY, |r| 1.25 * r)
    }

    fn place(&self, time: f64) -> (usize, f64) {
        let at = self.time.partition_point(|&t| t <= time).clamp(1, self.time.len() - 1) - 1;
        (at, (time - self.time[at]).clamp(0.0, self.time[at + 1] - self.time[at]))
    }

    /// Revs at `time`, turns a minute, straight between rows; held before the first and after the last.
    pub fn rpm_at(&self, time: f64) -> f64 {
        let (at, since) = self.place(time);
        self.rpm[at] + (self.rpm[at + 1] - self.rpm[at]) * since / (self.time[at + 1] - self.time[at])
    }

    /// Turns made until `time`.
    pub fn turns_at(&self, time: f64) -> f64 {
        let (at, since) = self.place(time);
        self.turns[at] + (self.rpm[at] + self.rpm_at(time)) / 120.0 * since
    }

    /// Time at which `turns` have been made; rests take no turns, and the end of a rest is given.
    pub fn time_of(&self, turns: f64) -> f64 {
        let at = self.turns.partition_point(|&x| x <= turns).clamp(1, self.turns.len() - 1) - 1;
        let span = self.turns[at + 1] - self.turns[at];
        if span <= 0.0 {
            return self.time[at + 1];
        }
        // Within a row revs change evenly: solve the quadratic in its stable form.
        let wanted = (turns - self.turns[at]).clamp(0.0, span);
        let (rate, step) = (self.rpm[at] / 60.0, self.time[at + 1] - self.time[at]);
        let slope = (self.rpm[at + 1] - self.rpm[at]) / 60.0 / step;
        let root = (rate * rate + 2.0 * slope * wanted).max(0.0).sqrt();
        let since = if rate + root > 0.0 { 2.0 * wanted / (rate + root) } else { step };
        self.time[at] + since.clamp(0.0, step)
    }

    /// All turns of the log.
    pub fn total(&self) -> f64 {
        self.turns[self.turns.len() - 1]
    }

    /// First and last time.
    pub fn span(&self) -> (f64, f64) {
        (self.time[0], self.time[self.time.len() - 1])
    }

    /// Times and revs of the rows.
    pub fn rows(&self) -> (&[f64], &[f64]) {
        (&self.time, &self.rpm)
    }

    /// Longest step between rows within `from` to `to`, s.
    pub fn longest_gap(&self, from: f64, to: f64) -> f64 {
        self.time.windows(2).filter(|w| w[1] > from && w[0] < to).map(|w| w[1] - w[0]).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_of_revs_by_hand() {
        // 0 to 6000 rpm in 2 s is 100 turns, half of them after sqrt(2) s.
        let odometer = Odometer::from_rows(vec![0.0, 2.0, 3.0], vec![0.0, 6000.0, 6000.0]).unwrap();
        assert!((odometer.turns_at(2.0) - 100.0).abs() < 1e-12);
        assert!((odometer.turns_at(1.0) - 25.0).abs() < 1e-12);
        assert!((odometer.time_of(50.0) - 2f64.sqrt()).abs() < 1e-12);
        assert!((odometer.total() - 200.0).abs() < 1e-12);
    }
}
