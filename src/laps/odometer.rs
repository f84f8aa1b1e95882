//! Motor turns as an odometer: the integral of the revs.

use crate::log::{Channel, Log};
use crate::statistics::integral::running_integral;
use crate::statistics::quantiles::{median, quantile};

/// Share of the highest current, or of full throttle, above which the motor drives. Common practice, no source.
const DRIVING: f64 = 0.05;
/// Share of the rows that must have volts and amperes for the pack's energy to be held against the car's. Common practice, no source.
const ENERGY_KNOWN: f64 = 0.9;
/// The car's speed over ground serves where it differs by less than this from the revs', in the middle of its moving rows.
const GROUND_FITS: f64 = 0.04;

/// Cumulated motor turns over the log's rows.
#[derive(Debug, Clone)]
pub struct Odometer {
    time: Vec<f64>,
    rpm: Vec<f64>,
    turns: Vec<f64>,
    /// How hard the motor drives in a row, of the hardest; NaN where a cell is missing, empty where nothing tells.
    driving: Vec<f64>,
    /// What the revs would be by the car's speed over ground; empty where the log has none that serves.
    ground: Vec<f64>,
    bridged: Vec<f64>,
    /// What the pack gave until each row, J; empty without volts and amperes.
    given: Vec<f64>,
    /// The car's kinetic energy for revs squared, J·min²; `None` where its mass or its travel for a turn is unknown.
    kinetic: Option<f64>,
}

impl Odometer {
    /// Integrates the log's revs by the trapezoid rule, straight across missing cells; `None` without revs.
    pub fn new(log: &Log) -> Option<Self> {
        let rpm = log.channel(Channel::Rpm)?;
        let kept: Vec<usize> = (0..rpm.len()).filter(|&n| rpm[n].is_finite()).collect();
        let of = |values: &[f64]| kept.iter().map(|&n| values[n]).collect::<Vec<f64>>();
        let mut odometer = Self::from_rows(of(log.time()), of(rpm))?;
        if let Some(power) = log.channel(Channel::Throttle).or_else(|| log.channel(Channel::Current)) {
            let most = quantile(power.iter().copied(), 0.999).unwrap_or(f64::INFINITY);
            odometer.driving = of(power).iter().map(|p| p / most).collect();
        }
        if let Some((volts, amperes)) = log.channel(Channel::Voltage).zip(log.channel(Channel::Current)) {
            let watts: Vec<f64> = volts.iter().zip(amperes).map(|(v, a)| v * a).collect();
            odometer.given = odometer.energy(&of(&watts)).unwrap_or_default();
        }
        if let Some(ground) = log.channel(Channel::GroundSpeed) {
            odometer.ground = odometer.revs_of_ground(&of(ground)).unwrap_or_default();
        }
        Some(odometer)
    }

    /// What the pack gave until each row, J, straight across missing cells; `None` where too many are missing, or where the current does not say
    /// which way it flows.
    fn energy(&self, watts: &[f64]) -> Option<Vec<f64>> {
        let known: Vec<usize> = (0..watts.len()).filter(|&n| watts[n].is_finite()).collect();
        let fast = 0.2 * self.rpm.iter().copied().fold(0.0, f64::max);
        let driven = quantile(known.iter().filter(|&&n| self.rpm[n] > fast).map(|&n| watts[n]), 0.75)?;
        if (known.len() as f64) < ENERGY_KNOWN * watts.len() as f64 || driven <= 0.0 {
            return None;
        }
        let mut whole = watts.to_vec();
        for pair in known.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let slope = (watts[to] - watts[from]) / (self.time[to] - self.time[from]);
            for (cell, t) in whole[from + 1..to].iter_mut().zip(&self.time[from + 1..to]) {
                *cell = watts[from] + slope * (t - self.time[from]);
            }
        }
        // Braking gives the wheels nothing; nor is anything known before the first cell and after the last.
        let given = |w: &f64| if *w > 0.0 { *w } else { 0.0 };
        Some(running_integral(&self.time, &whole.iter().map(given).collect::<Vec<_>>()))
    }

    /// The speed over ground as revs, by the rolling of wheels that do not drive; `None` where it does not follow the revs.
    fn revs_of_ground(&self, ground: &[f64]) -> Option<Vec<f64>> {
        let fast = self.rpm.iter().copied().fold(0.0, f64::max);
        let moving = |n: &usize| self.rpm[*n] > 0.2 * fast && ground[*n] > 0.0;
        let per_rev = |n: usize| ground[n] / self.rpm[n];
        let usual = median((0..ground.len()).filter(moving).map(per_rev))?;
        let rolling = median((0..ground.len()).filter(|n| moving(n) && self.drives(*n) == Some(false)).map(per_rev));
        let rolling = rolling.unwrap_or(usual);
        let off = median((0..ground.len()).filter(moving).map(|n| (per_rev(n) / usual - 1.0).abs()))?;
        let whole = ground.iter().all(|g| g.is_finite());
        (whole && off < GROUND_FITS).then(|| ground.iter().map(|g| g / rolling).collect())
    }

    /// The same from rows without gaps; `None` for fewer than two.
    pub fn from_rows(time: Vec<f64>, rpm: Vec<f64>) -> Option<Self> {
        if time.len() < 2 {
            return None;
        }
        let turns = running_integral(&time, &rpm).into_iter().map(|minutes| minutes / 60.0).collect();
        let none = Vec::new;
        Some(Self { time, rpm, turns, driving: none(), ground: none(), bridged: none(), given: none(), kinetic: None })
    }

    /// The same, knowing the car's mass (kg) and its travel for a motor turn (mm), where the sheet has them.
    pub fn of_car(self, mass_kg: Option<f64>, travel_mm: Option<f64>) -> Self {
        let kinetic = mass_kg.zip(travel_mm).map(|(m, mm)| 0.5 * m * (mm / 60_000.0).powi(2));
        Self { kinetic, ..self }
    }

    /// Whether the car's energy can be held against the pack's.
    pub fn knows_energy(&self) -> bool {
        self.kinetic.is_some() && !self.given.is_empty()
    }

    /// Whether the car can have gathered the speed that its wheels gained from row `from` to row `to`: no faster than the pack gave the energy,
    /// taken a row earlier or later where that is more, since volts and amperes need not be of the same moment as the revs.
    pub fn can_have_gathered(&self, from: usize, to: usize) -> bool {
        let Some(kinetic) = self.kinetic.filter(|_| !self.given.is_empty()) else { return true };
        let gained = kinetic * (self.rpm[to].powi(2) - self.rpm[from].powi(2));
        let last = self.time.len() - 1;
        let given = |from: usize, to: usize| self.given[to] - self.given[from];
        let most = given(from, to)
            .max(given(from.saturating_sub(1), to.saturating_sub(1)))
            .max(given((from + 1).min(last), (to + 1).min(last)));
        gained <= most
    }

    /// The car's way rather than the wheels': see [`super::grip`].
    pub fn gripped(&self) -> Self {
        let rpm = if self.ground.is_empty() { super::grip::car_revs(self) } else { self.ground.clone() };
        let excess = self.time.windows(2).enumerate().scan(0.0, |sum, (n, w)| {
            *sum += (self.rpm[n] + self.rpm[n + 1] - rpm[n] - rpm[n + 1]) / 120.0 * (w[1] - w[0]);
            Some(*sum)
        });
        let bridged = std::iter::once(0.0).chain(excess).collect();
        let car = Self::from_rows(self.time.clone(), rpm).unwrap_or_else(|| self.clone());
        Self { bridged, ground: self.ground.clone(), driving: self.driving.clone(), ..car }
    }

    /// Whether the motor drives in row `n`; `None` where nothing tells.
    pub fn drives(&self, n: usize) -> Option<bool> {
        self.drive(n).map(|d| d > DRIVING)
    }

    /// How hard the motor drives in row `n`, by throttle or current, as a share of the hardest; `None` where nothing tells.
    pub fn drive(&self, n: usize) -> Option<f64> {
        self.driving.get(n).copied().filter(|d| d.is_finite())
    }

    /// Whether the car's speed comes from a channel of its own rather than from the revs.
    pub fn has_ground(&self) -> bool {
        !self.ground.is_empty()
    }

    /// Turns that bridging took out between two times: the wheels' more than the car's.
    pub fn bridged_between(&self, from: f64, to: f64) -> f64 {
        let at =
            |t: f64| self.bridged.get(self.time.partition_point(|&x| x <= t).saturating_sub(1)).copied().unwrap_or(0.0);
        at(to) - at(from)
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

    /// A car of 1.4 kg, 28 mm a turn, whose pack gives what `watts` says at every tenth of a second.
    fn car(watts: &[f64]) -> Odometer {
        let time: Vec<f64> = (0..watts.len()).map(|n| n as f64 * 0.1).collect();
        // Half as fast again each second: 10 000 to 40 000 turns a minute are 4.7 to 18.7 m/s.
        let rpm = (0..watts.len()).map(|n| 10_000.0 + 1_000.0 * n as f64).collect();
        let mut odometer = Odometer::from_rows(time, rpm).unwrap().of_car(Some(1.4), Some(28.0));
        odometer.given = odometer.energy(watts).unwrap_or_default();
        odometer
    }

    #[test]
    fn a_car_gathers_no_more_energy_than_its_pack_gave() {
        // From 10 000 to 20 000 turns a minute: 0.7 kg × (9.333² − 4.667²) m²/s² = 45.7 J in a second, by hand.
        assert!(car(&[46.5; 31]).can_have_gathered(0, 10));
        assert!(!car(&[40.0; 31]).can_have_gathered(0, 10));
    }

    #[test]
    fn missing_cells_are_bridged_and_too_many_tell_nothing() {
        let mut watts = [46.5; 31];
        watts[4] = f64::NAN;
        assert!(car(&watts).knows_energy() && car(&watts).can_have_gathered(0, 10));
        watts.iter_mut().step_by(2).for_each(|w| *w = f64::NAN);
        assert!(!car(&watts).knows_energy());
        // A recorder that writes what the pack gives with a minus.
        assert!(!car(&[-300.0; 31]).knows_energy());
    }
}
