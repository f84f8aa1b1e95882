//! Where a channel rises and where it falls: swings between turning points, and what another channel does in them.
//!
//! A turning point is a highest or lowest value that the channel leaves by more than a threshold, so that noise from
//! row to row makes none. A car that is driven swings all the time: it gathers speed and slows down at each corner, and
//! it gathers speed only while its pack gives a current.

use super::RunToWeigh;
use crate::statistics::integral::running_integral;
use crate::statistics::mean::mean_and_deviation;
use crate::statistics::quantiles::quantile;

/// Fewest rows a second that show how a corner is driven. Common practice, no source: a swing lasts a second or two.
const LEAST_HZ: f64 = 1.5;
/// Quantile that counts as the highest: a few wild cells above it do not matter.
const HIGHEST: f64 = 0.999;
/// A swing of the revs is at least this share of the highest. Common practice, no source: a lift before a corner is
/// more.
const REVS_SWING: f64 = 0.05;
/// A swing of current or throttle is at least this share of the highest. Common practice, no source.
const DEMAND_SWING: f64 = 0.3;
/// Farthest that a channel may be ahead of the revs or behind them, s. Common practice, no source: recorders that send
/// a channel late or hold it do so for less.
const FARTHEST_LAG_S: f64 = 0.5;
/// Step in which the lag is looked for, s: a fraction of the shortest swing.
const LAG_STEP_S: f64 = 0.1;
/// Fewest pairs of a rise and a fall that tell anything.
const LEAST_PAIRS: usize = 10;
/// A channel follows the revs where its contrast is this many standard errors. Common practice, no source: one in ten
/// thousand does so by chance.
pub const FOLLOWS: f64 = 4.0;
/// Standing after a fall says nothing more: only so much of a swing counts, s.
const LONGEST_SWING_S: f64 = 3.0;

/// From one turning point to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Log time at which it begins, s.
    pub from_s: f64,
    /// Log time at which it ends, s.
    pub to_s: f64,
    /// Value at its begin.
    pub from: f64,
    /// Value at its end.
    pub to: f64,
}

impl Swing {
    /// Whether the channel rises in it.
    pub fn rises(&self) -> bool {
        self.to > self.from
    }
}

/// Whether a log has so few rows a second that revs and load rise and fall between them.
pub fn is_coarse(run: &RunToWeigh) -> bool {
    run.log.reading.rate_hz < LEAST_HZ
}

/// The highest value of a channel, but for a few wild cells.
pub fn highest(values: &[f64]) -> Option<f64> {
    quantile(values.iter().copied(), HIGHEST)
}

/// The swings of the revs.
pub fn of_revs(time: &[f64], rpm: &[f64]) -> Vec<Swing> {
    highest(rpm).map_or_else(Vec::new, |top| swings(time, rpm, REVS_SWING * top))
}

/// The swings of current or throttle.
pub fn of_demand(time: &[f64], demand: &[f64]) -> Vec<Swing> {
    highest(demand).map_or_else(Vec::new, |top| swings(time, demand, DEMAND_SWING * top))
}

/// The swings of a channel that are larger than `least`; rows without a value are passed over.
pub fn swings(time: &[f64], values: &[f64], least: f64) -> Vec<Swing> {
    let mut found = Vec::new();
    let mut rows = (0..values.len()).filter(|&n| values[n].is_finite());
    let Some(first) = rows.next().filter(|_| least > 0.0) else { return found };
    // `turn` is the last turning point, `far` the farthest row since; which way the first swing goes is open.
    let (mut turn, mut far, mut rising) = (first, first, None);
    for n in rows {
        let ahead = |rising: bool| if rising { values[n] - values[far] } else { values[far] - values[n] };
        match rising {
            None if (values[n] - values[turn]).abs() > least => (rising, far) = (Some(values[n] > values[turn]), n),
            None => {}
            Some(way) if ahead(way) >= 0.0 => far = n,
            Some(way) if -ahead(way) > least => {
                found.push(swing(time, values, turn, far));
                (turn, far, rising) = (far, n, Some(!way));
            }
            Some(_) => {}
        }
    }
    if far > turn {
        found.push(swing(time, values, turn, far));
    }
    found
}

fn swing(time: &[f64], values: &[f64], from: usize, to: usize) -> Swing {
    Swing { from_s: time[from], to_s: time[to], from: values[from], to: values[to] }
}

/// By how much a channel is higher while the revs rise than while they fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contrast {
    /// Mean over the pairs of a rise and the fall after it, in the channel's unit.
    pub mean: f64,
    /// Standard error of the mean.
    pub error: f64,
}

impl Contrast {
    /// The mean in standard errors.
    pub fn strength(&self) -> f64 {
        if self.error > 0.0 { self.mean / self.error } else { 0.0 }
    }
}

/// A channel's contrast at the lag at which it is clearest and has the wanted `sign`; `None` for too few swings.
pub fn contrast(time: &[f64], values: &[f64], revs: &[Swing], sign: f64) -> Option<Contrast> {
    if time.len() < 2 {
        return None;
    }
    let pairs: Vec<&[Swing]> = revs.windows(2).filter(|w| w[0].rises()).collect();
    if pairs.len() < LEAST_PAIRS {
        return None;
    }
    let sums = running_integral(time, values);
    // Nothing is known before the log and after it.
    let span = time[0]..=time[time.len() - 1];
    let at = |lag: f64| {
        let mut until = Until { time, sums: &sums, row: 1 };
        let in_log = pairs.iter().filter(|w| span.contains(&(w[0].from_s + lag)) && span.contains(&(w[1].to_s + lag)));
        let differences: Vec<f64> = in_log.map(|w| until.mean_in(&w[0], lag) - until.mean_in(&w[1], lag)).collect();
        let (mean, deviation) = mean_and_deviation(&differences)?;
        Some(Contrast { mean, error: deviation / (differences.len() as f64).sqrt() })
    };
    let steps = (FARTHEST_LAG_S / LAG_STEP_S).round() as i32;
    (-steps..=steps)
        .filter_map(|n| at(f64::from(n) * LAG_STEP_S))
        .max_by(|a, b| (sign * a.strength()).total_cmp(&(sign * b.strength())))
}

/// A running integral that is read at later and later times.
struct Until<'a> {
    time: &'a [f64],
    sums: &'a [f64],
    /// The row after the last time.
    row: usize,
}

impl Until<'_> {
    /// The integral until `t`, straight between rows.
    fn at(&mut self, t: f64) -> f64 {
        while self.row + 1 < self.time.len() && self.time[self.row] < t {
            self.row += 1;
        }
        let (before, after) = (self.row - 1, self.row);
        let share = ((t - self.time[before]) / (self.time[after] - self.time[before])).clamp(0.0, 1.0);
        self.sums[before] + (self.sums[after] - self.sums[before]) * share
    }

    /// The mean over a swing that is moved by `lag`.
    fn mean_in(&mut self, swing: &Swing, lag: f64) -> f64 {
        let to_s = swing.to_s.min(swing.from_s + LONGEST_SWING_S);
        let before = self.at(swing.from_s + lag);
        (self.at(to_s + lag) - before) / (to_s - swing.from_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A saw of so many teeth, each of two seconds up and one down, ten rows a second.
    fn saw(teeth: usize) -> (Vec<f64>, Vec<f64>) {
        let tooth = |n: usize| if n % 30 < 20 { (n % 30) as f64 * 50.0 } else { (30 - n % 30) as f64 * 100.0 };
        ((0..teeth * 30).map(|n| n as f64 * 0.1).collect(), (0..teeth * 30).map(|n| 1000.0 + tooth(n)).collect())
    }

    #[test]
    fn a_saw_has_a_rise_and_a_fall_a_tooth_and_noise_below_the_threshold_has_none() {
        let (time, rpm) = saw(4);
        let found = swings(&time, &rpm, 200.0);
        assert_eq!(found.len(), 8);
        assert_eq!((found[0].from_s, found[0].to_s, found[0].from, found[0].to), (0.0, 2.0, 1000.0, 2000.0));
        assert!(found.iter().step_by(2).all(Swing::rises) && !found[1].rises());
        assert!(swings(&time, &rpm, 1500.0).is_empty());
    }

    #[test]
    fn a_current_that_flows_in_the_rises_stands_out_though_it_is_late() {
        let (time, rpm) = saw(30);
        let revs = swings(&time, &rpm, 200.0);
        // Forty amperes in each rise, three rows late, with ten either way from row to row.
        let scatter = |n: usize| (n * 7919 % 101) as f64 / 5.0 - 10.0;
        let late = |n: usize| scatter(n) + if (n + 27) % 30 < 20 { 40.0 } else { 0.0 };
        let amps: Vec<f64> = (0..time.len()).map(late).collect();
        let found = contrast(&time, &amps, &revs, 1.0).unwrap();
        assert!((found.mean - 40.0).abs() < 5.0 && found.strength() > 30.0, "{found:?}");
        // Amperes that have nothing to do with the revs.
        let noise: Vec<f64> = (0..time.len()).map(|n| (n * 7919 % 101) as f64).collect();
        assert!(contrast(&time, &noise, &revs, 1.0).unwrap().strength() < FOLLOWS);
    }
}
