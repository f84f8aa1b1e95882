//! The lap in motor turns, and where each lap began: by how the revs repeat.
//!
//! The autocorrelation over turns goes by the Wiener-Khinchin theorem, zero-padded and divided by the power of the
//! stretches that overlap.

use realfft::RealFftPlanner;

use super::odometer::Odometer;
use crate::statistics::parabola::top_of_parabola;
use crate::statistics::quantiles::quantile;

/// Shortest lap that is looked for, s. Common practice, no source.
const SHORTEST_LAP_S: f64 = 4.0;
/// Points of the revs over turns that go into the autocorrelation.
const POINTS: usize = 1 << 14;
/// Below this correlation of the revs one lap later there are no laps.
const LEAST_CORRELATION: f64 = 0.35;
/// A shorter period is preferred while it repeats nearly as well as the best one, which may be several laps long.
const NEARLY: f64 = 0.85;
/// Against what the sheet or a list tells, a shorter period must repeat this well to be believed.
const AS_WELL: f64 = 0.97;

/// Revs at even steps of motor turns.
pub struct OverTurns {
    rpm: Vec<f64>,
    step: f64,
    shortest: f64,
}

impl OverTurns {
    /// Resamples the revs; `None` for a log too short to hold laps.
    pub fn new(odometer: &Odometer) -> Option<Self> {
        let total = odometer.total();
        let (from, to) = odometer.span();
        // A log may go on long after the car has stopped.
        let brisk = quantile(odometer.rows().1.iter().copied().filter(|r| *r > 0.0), 0.5)?;
        let step = total / POINTS as f64;
        if !(step > 0.0 && to - from > 2.0 * SHORTEST_LAP_S && brisk > 0.0) {
            return None;
        }
        let rpm = (0..POINTS).map(|n| odometer.rpm_at(odometer.time_of((n as f64 + 0.5) * step))).collect();
        Some(Self { rpm, step, shortest: brisk / 60.0 * SHORTEST_LAP_S })
    }

    /// Correlation of the revs with themselves `lag` points later, for every lag.
    fn autocorrelation(&self) -> Option<Vec<f64>> {
        let mean = self.rpm.iter().sum::<f64>() / POINTS as f64;
        let x: Vec<f64> = self.rpm.iter().map(|v| v - mean).collect();
        let mut planner = RealFftPlanner::<f64>::new();
        let (there, back) = (planner.plan_fft_forward(2 * POINTS), planner.plan_fft_inverse(2 * POINTS));
        let mut padded = x.clone();
        padded.resize(2 * POINTS, 0.0);
        let mut spectrum = there.make_output_vec();
        there.process(&mut padded, &mut spectrum).ok()?;
        spectrum.iter_mut().for_each(|c| *c = (*c * c.conj()).re.into());
        back.process(&mut spectrum, &mut padded).ok()?;
        let mut energy = vec![0.0];
        x.iter().for_each(|v| energy.push(energy[energy.len() - 1] + v * v));
        let correlation = |lag: usize| {
            let power = (energy[POINTS - lag] * (energy[POINTS] - energy[lag])).sqrt();
            if power > 0.0 { padded[lag] / (2 * POINTS) as f64 / power } else { 0.0 }
        };
        Some((0..POINTS / 2 + POINTS / 8).map(correlation).collect())
    }

    /// Motor turns of a lap.
    pub fn lap(&self, expected: Option<(f64, f64)>) -> Option<f64> {
        let r = self.autocorrelation()?;
        let (low, high) = match expected {
            Some((turns, width)) => (turns * (1.0 - width) / self.step, turns * (1.0 + width) / self.step),
            None => (self.shortest / self.step, f64::INFINITY),
        };
        let inside =
            |&lag: &usize| lag as f64 >= low && lag as f64 <= high && r[lag] >= r[lag - 1] && r[lag] >= r[lag + 1];
        let peaks: Vec<usize> = (1..r.len() - 1).filter(inside).collect();
        let best = peaks.iter().map(|&p| r[p]).fold(0.0, f64::max);
        if best < LEAST_CORRELATION {
            return expected.and_then(|_| self.lap(None));
        }
        let mut first = peaks.into_iter().find(|&p| r[p] >= NEARLY * best)?;
        if expected.is_some() {
            // Several laps in one repeat no better than one of them: then what was expected is wrong.
            let shortest = (self.shortest / self.step) as usize;
            let top = |p: &usize| r[*p] >= r[p - 1] && r[*p] >= r[p + 1] && r[*p] >= AS_WELL * r[first];
            let parts = |p: &usize| {
                let laps = first as f64 / *p as f64;
                laps > 1.5 && (laps - laps.round()).abs() < 0.05 * laps.round()
            };
            first = (shortest.max(1)..first).filter(top).find(parts).unwrap_or(first);
        }
        let shift = top_of_parabola(r[first - 1], r[first], r[first + 1]);
        Some((first as f64 + shift) * self.step)
    }

    /// Turns at which the same place was passed, lap by lap, out from the middle of the run.
    pub fn chain(&self, lap: f64) -> Vec<f64> {
        let points = lap / self.step;
        let middle = POINTS as f64 / 2.0;
        let mut chain = vec![middle];
        for ahead in [true, false] {
            let (mut here, mut length) = (middle, points);
            loop {
                let guess = if ahead { here + length } else { here - length };
                if guess < -0.5 * points || guess > POINTS as f64 + 0.5 * points {
                    break;
                }
                let Some((next, correlation)) = self.lay_over(here, guess, points) else { break };
                let next = if correlation < LEAST_CORRELATION { guess } else { next };
                // The lap's length follows the tyre and the line, but one odd lap is not carried on.
                length += 0.2 * ((next - here).abs() - length);
                here = next;
                if !(0.0..POINTS as f64).contains(&here) {
                    break;
                }
                chain.push(here);
            }
        }
        chain.sort_by(f64::total_cmp);
        chain.into_iter().map(|p| (p + 0.5) * self.step).collect()
    }

    /// Where around `guess` the revs look most like those around `here`: the best of shifts within 3 % of a lap.
    fn lay_over(&self, here: f64, guess: f64, points: f64) -> Option<(f64, f64)> {
        let reach = (0.03 * points).ceil() as isize;
        let half = (0.5 * points) as isize;
        let (here_at, guess_at) = (here.round() as isize, guess.round() as isize);
        let correlation = |shift: isize| -> f64 {
            let (mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
            for offset in -half..=half {
                let (a, b) = (here_at + offset, guess_at + shift + offset);
                if let (Some(x), Some(y)) = (self.point(a), self.point(b)) {
                    n += 1.0;
                    sx += x;
                    sy += y;
                    sxx += x * x;
                    syy += y * y;
                    sxy += x * y;
                }
            }
            if n < 0.3 * points {
                return f64::NAN;
            }
            (sxy - sx * sy / n) / ((sxx - sx * sx / n) * (syy - sy * sy / n)).max(f64::MIN_POSITIVE).sqrt()
        };
        let scores: Vec<f64> = (-reach..=reach).map(correlation).collect();
        let best =
            (0..scores.len()).filter(|&n| scores[n].is_finite()).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
        let mut shift = best as f64 - reach as f64;
        if best > 0 && best + 1 < scores.len() {
            shift += top_of_parabola(scores[best - 1], scores[best], scores[best + 1]);
        }
        Some((guess_at as f64 + shift + (here - here_at as f64), scores[best]))
    }

    fn point(&self, at: isize) -> Option<f64> {
        usize::try_from(at).ok().and_then(|n| self.rpm.get(n)).copied()
    }
}
