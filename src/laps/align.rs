//! A lap list laid onto a log: the offset between two clocks that know nothing of each other.
//!
//! At the right offset every passing finds the car at one place of the track. The distance of the places from their
//! common one is compared over all offsets. With the scatter unknown, the likelihood of an offset is the sum of squares
//! of what is new in each error to the power of -(n - 1) / 2 (Student's t for an unknown noise level, formula from memory). Lap times differ from
//! lap to lap and from place to place, and that is what tells the places apart. The first passing comes after
//! the car has set off and the last before it has stopped.

use super::odometer::Odometer;
use super::place::Places;
use crate::quantity::Estimate;
use crate::statistics::quantiles::robust_deviation;

/// Step of the offsets tried, s.
const STEP_S: f64 = 0.02;
/// Least scatter of a passing's place, share of a lap: a decimetre or so of what the pattern can resolve.
const LEAST_SCATTER: f64 = 0.000_6;
/// Places farther from the common one than so many deviations count as that many: a spoilt lap.
const WINSOR: f64 = 6.0;
/// Correlations of neighbouring errors that are tried.
const ALIKE: [f64; 5] = [0.0, 0.4, 0.7, 0.9, 0.98];
/// Correlation that the errors of a place may have with the speed there: a driver who is early is mostly faster too. It
/// shifts the offset by as much of the ratio of the two scatters, however many laps there are, so that n laps tell no more
/// than 1 / (1 / n + this squared) would. Chosen on the forward model, where intervals then keep their promise.
const ENTANGLED: f64 = 0.35;
/// Below this share of the fastest revs the car stands.
const STANDING: f64 = 0.03;

/// What a log and its list say of each offset between them.
#[derive(Debug, Clone)]
pub struct Alignment {
    /// Log time of the first passing at the first offset tried; the others follow by [`STEP_S`].
    from: f64,
    /// Log-likelihood of each offset, up to a constant.
    scores: Vec<f64>,
    /// Place of the passings on the run's own profile at each offset, share of a lap; NaN where the offset is impossible.
    lines: Vec<f64>,
    /// Passings in the list.
    passings: usize,
}

/// Compares all offsets of the list; `None` where it does not fit the log.
pub fn align(odometer: &Odometer, places: &Places, passings: &[f64]) -> Option<Alignment> {
    let length = *passings.last()?;
    let (set_off, stopped) = moving(odometer)?;
    // A list may begin before the log or outlast it by a lap.
    let slack = length / passings.len().max(2) as f64;
    let from = set_off - STEP_S;
    let to = (stopped - length + STEP_S).max(from + slack);
    let count = ((to - from) / STEP_S).ceil() as usize;
    let (scores, lines): (Vec<f64>, Vec<f64>) = (0..=count)
        .map(|n| score(places, passings, from + n as f64 * STEP_S, stopped).unwrap_or((f64::NEG_INFINITY, f64::NAN)))
        .unzip();
    let alignment = Alignment { from, scores, lines, passings: passings.len() };
    alignment.best().is_finite().then_some(alignment)
}

impl Alignment {
    fn best(&self) -> f64 {
        self.scores.iter().copied().filter(|s| s.is_finite()).fold(f64::NEG_INFINITY, f64::max)
    }

    /// Log time of the list's first passing, with its 95 % interval, from the run alone.
    pub fn first_passing(&self) -> Option<Estimate> {
        self.estimate(&self.scores, self.passings)
    }

    /// The same with what the car's other runs say of the line: `elsewhere` is their log-likelihood of a place on this run's profile, from
    /// `passings` of theirs.
    pub fn first_passing_with(&self, elsewhere: impl Fn(f64) -> f64, passings: usize) -> Option<Estimate> {
        let of = |(score, line): (&f64, &f64)| if line.is_nan() { f64::NEG_INFINITY } else { score + elsewhere(*line) };
        let scores: Vec<f64> = self.scores.iter().zip(&self.lines).map(of).collect();
        self.estimate(&scores, self.passings + passings)
    }

    /// Log-likelihood of each of `cells` places of the line on the run's own profile, the best offset at each; nowhere more than `most` below the
    /// best place, since a list may be another's.
    pub fn by_line(&self, cells: usize, most: f64) -> Vec<f64> {
        let best = self.best();
        let mut by_line = vec![best - most / temper(self.passings); cells];
        for (score, line) in self.scores.iter().zip(&self.lines).filter(|(_, line)| line.is_finite()) {
            let cell = (line.rem_euclid(1.0) * cells as f64) as usize % cells;
            by_line[cell] = f64::max(by_line[cell], *score);
        }
        by_line.iter().map(|s| s - best).collect()
    }

    /// Passings in the list.
    pub fn passings(&self) -> usize {
        self.passings
    }

    fn estimate(&self, scores: &[f64], passings: usize) -> Option<Estimate> {
        let best = scores.iter().copied().filter(|s| s.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        let temper = temper(passings);
        let weights: Vec<f64> = scores.iter().map(|s| (temper * (s - best)).exp()).collect();
        let peak = scores.iter().position(|s| *s == best)?;
        let total: f64 = weights.iter().sum();
        let (low, high) = (tail(weights.iter(), total), weights.len() - 1 - tail(weights.iter().rev(), total));
        let at = |n: f64| self.from + n * STEP_S;
        let value = mean_near(&weights, peak);
        // The grid's step and the list's thousandths are part of the doubt.
        Some(Estimate {
            value: at(value),
            low: at(low as f64 - 1.0).min(at(value)),
            high: at(high as f64 + 1.0).max(at(value)),
        })
    }
}

/// What a log-likelihood from so many passings is worth, see [`ENTANGLED`].
pub fn temper(passings: usize) -> f64 {
    1.0 / (1.0 + passings as f64 * ENTANGLED * ENTANGLED)
}

/// Mean of the weights in the peak's own valley-to-valley stretch.
fn mean_near(weights: &[f64], peak: usize) -> f64 {
    let floor = weights[peak] * 0.05;
    let low = (0..=peak).rev().take_while(|&n| weights[n] >= floor).last().unwrap_or(peak);
    let high = (peak..weights.len()).take_while(|&n| weights[n] >= floor).last().unwrap_or(peak);
    let sum: f64 = weights[low..=high].iter().sum();
    (low..=high).map(|n| n as f64 * weights[n]).sum::<f64>() / sum
}

/// How many steps from one end hold a fortieth of the weight.
fn tail<'a>(weights: impl Iterator<Item = &'a f64>, total: f64) -> usize {
    let mut sum = 0.0;
    weights
        .take_while(|w| {
            sum += **w;
            sum < 0.025 * total
        })
        .count()
}

/// When the car sets off first and stands for the last time.
pub fn moving(odometer: &Odometer) -> Option<(f64, f64)> {
    let (time, rpm) = odometer.rows();
    let slow = STANDING * rpm.iter().copied().fold(0.0, f64::max);
    let first = rpm.iter().position(|r| *r > slow)?;
    let last = rpm.iter().rposition(|r| *r > slow)?;
    Some((time[first], time[last]))
}

/// Log-likelihood of the first passing at `start`, and the place of the line then; `None` where it cannot be there.
fn score(places: &Places, passings: &[f64], start: f64, stopped: f64) -> Option<(f64, f64)> {
    let times: Vec<f64> = passings.iter().map(|p| start + p).filter(|&t| t <= stopped + STEP_S).collect();
    // Passings after the car has stopped speak against the offset, but a log may end before its list.
    let outside = passings.len() - times.len();
    if times.len() < 3 || times.len() * 2 < passings.len() {
        return None;
    }
    let laps: Vec<f64> = times.iter().map(|&t| places.laps_at(t)).collect();
    let variances: Vec<f64> = times.iter().map(|&t| places.variance_at(t) + LEAST_SCATTER * LEAST_SCATTER).collect();
    let (line, fractions) = around(&laps);
    // Clipped in deviations of its own place: a start from rest is far off at a wrong offset, and says so.
    let own: Vec<f64> = fractions.iter().zip(&variances).map(|(f, v)| f / v.sqrt()).collect();
    let most = WINSOR * robust_deviation(&own).unwrap_or(0.0).max(1e-3);
    let clipped: Vec<f64> = own.iter().zip(&variances).map(|(z, v)| z.clamp(-most, most) * v.sqrt()).collect();
    // Errors of neighbouring passings are alike to an unknown degree: each degree is tried, and their likelihoods added.
    let likelihoods = ALIKE.map(|alike| innovations(&clipped, &variances, alike));
    let best = likelihoods.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let score = best + likelihoods.iter().map(|l| (l - best).exp()).sum::<f64>().ln() - 3.0 * outside as f64;
    Some((score, line))
}

/// Log-likelihood of errors of which each is `alike` times the one before and something new, with an unknown mean and
/// an unknown common factor on `variances`.
fn innovations(errors: &[f64], variances: &[f64], alike: f64) -> f64 {
    let new: Vec<(f64, f64, f64)> = (0..errors.len())
        .map(|i| {
            let (e, v) = (errors[i], variances[i]);
            // Measured in deviations of its own place, so that `alike` is a correlation.
            let z = |x: f64, i: usize| x / variances[i].sqrt();
            if i == 0 {
                (z(e, 0), z(1.0, 0), v.sqrt())
            } else {
                let s = (1.0 - alike * alike).sqrt();
                ((z(e, i) - alike * z(errors[i - 1], i - 1)) / s, (z(1.0, i) - alike * z(1.0, i - 1)) / s, v.sqrt() * s)
            }
        })
        .collect();
    let (ee, em, mm) = new.iter().fold((0.0, 0.0, 0.0), |(a, b, c), (e, m, _)| (a + e * e, b + e * m, c + m * m));
    let n = errors.len() as f64;
    let floor: f64 = variances.iter().map(|v| LEAST_SCATTER * LEAST_SCATTER / v).sum::<f64>();
    let squares = (ee - em * em / mm.max(f64::MIN_POSITIVE)).max(0.0) + floor;
    -(n - 1.0) / 2.0 * (squares / n).ln() - new.iter().map(|x| x.2.ln()).sum::<f64>() - 0.5 * mm.ln()
}

/// The laps' common place, and their distances from it, -0.5 to 0.5.
pub fn around(laps: &[f64]) -> (f64, Vec<f64>) {
    let (sin, cos) = laps.iter().fold((0.0, 0.0), |(s, c), l| {
        let angle = l * std::f64::consts::TAU;
        (s + angle.sin(), c + angle.cos())
    });
    let middle = sin.atan2(cos) / std::f64::consts::TAU;
    let wrapped = |l: f64| (l - middle + 0.5).rem_euclid(1.0) - 0.5;
    let first: Vec<f64> = laps.iter().map(|l| wrapped(*l)).collect();
    let centre = crate::statistics::quantiles::median(first.iter().copied()).unwrap_or(0.0);
    let distances = first.into_iter().map(|f| (f - centre + 0.5).rem_euclid(1.0) - 0.5).collect();
    ((middle + centre).rem_euclid(1.0), distances)
}
