//! How many motor turns a lap takes, and where each lap began: by how the revs repeat.
//!
//! The autocorrelation of the revs over motor turns is computed with the Wiener–Khinchin theorem, zero-padded, and
//! divided by the power of the stretches that overlap. Then each lap is laid over the one before, out from the middle
//! of the run.
//!
//! Wrong where the car does not lap one track. Whether the period is one lap, several, or a part of one,
//! `whole_laps.rs` tells.

use realfft::RealFftPlanner;

use super::odometer::Odometer;
use crate::statistics::parabola::top_of_parabola;
use crate::statistics::quantiles::median;

/// Shortest lap that is looked for, s. Common practice, no source.
pub(super) const SHORTEST_LAP_S: f64 = 4.0;
/// Longest lap that is looked for, s. Common practice, no source.
pub(super) const LONGEST_LAP_S: f64 = 400.0;
/// Points of the revs over turns that go into the autocorrelation.
const POINTS: usize = 1 << 14;
/// Points of lag that are looked at: periods up to five eighths of the run, so that a run of two laps has one.
const LAGS: usize = POINTS / 2 + POINTS / 8;
/// Below this correlation of the revs one lap later there are no laps. A default, no source.
pub(super) const LEAST_CORRELATION: f64 = 0.35;
/// A shorter period is preferred while it repeats nearly as well as the best one, which may be several laps long: this
/// share of its correlation. A default, no source.
const NEARLY: f64 = 0.85;
/// Against what the sheet or a list lets expect, a shorter period must repeat this well to be believed. A default, no
/// source.
const AS_WELL: f64 = 0.97;
/// A period that holds so many shorter ones, to within this share of a whole number of them, is several laps.
const SEVERAL: f64 = 1.5;
const WHOLE_LAPS: f64 = 0.05;
/// How far a lap may begin from where the lap before lets expect, share of a lap. Common practice, no source: the
/// driven line and slip change the turns of a lap by a per cent or two.
const LAY_OVER_REACH: f64 = 0.03;
/// Share of a lap that must overlap for two laps to be compared.
const LEAST_OVERLAP: f64 = 0.3;
/// Share of a lap's difference from the one before that carries on to the next: the turns of a lap follow tyre and line
/// slowly, and one odd lap changes little.
const FOLLOW: f64 = 0.2;
/// From one lap to the next the chain moves at least this far, share of a lap: less is not a lap, and the chain ends.
const LEAST_MOVE: f64 = 0.5;
/// The chain of laps goes on this far beyond the ends of the log, share of a lap.
const BEYOND_ENDS: f64 = 0.5;

/// Motor turns of a lap that something else than the pattern of revs lets expect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExpectedTurns {
    /// Motor turns of a lap.
    pub turns: f64,
    /// How far the lap may be from that, as a share of it.
    pub relative_half_width: f64,
}

/// Revs at even steps of motor turns.
pub struct OverTurns {
    rpm: Vec<f64>,
    /// Motor turns of a step.
    step: f64,
    /// Motor turns of the shortest lap that is looked for.
    shortest: f64,
}

impl OverTurns {
    /// Resamples the revs; `None` for a log too short to hold laps.
    pub fn new(odometer: &Odometer) -> Option<Self> {
        let total = odometer.total();
        let (from, to) = odometer.span();
        // A log may go on long after the car has stopped: the usual revs are those of a turning motor.
        let usual = median(odometer.rows().1.iter().copied().filter(|r| *r > 0.0))?;
        let step = total / POINTS as f64;
        if !(step > 0.0 && to - from > 2.0 * SHORTEST_LAP_S && usual > 0.0) {
            return None;
        }
        let rpm = (0..POINTS).map(|n| odometer.rpm_at(odometer.time_of((n as f64 + 0.5) * step))).collect();
        Some(Self { rpm, step, shortest: usual / 60.0 * SHORTEST_LAP_S })
    }

    /// Correlation of the revs with themselves, for every lag in points.
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
        Some((0..LAGS).map(correlation).collect())
    }

    /// Motor turns of a lap, near those `expected` where the revs repeat there; `None` where they do not repeat.
    pub fn lap(&self, expected: Option<ExpectedTurns>) -> Option<f64> {
        let correlation = self.autocorrelation()?;
        let (low, high) = match expected {
            Some(ExpectedTurns { turns, relative_half_width: width }) => {
                (turns * (1.0 - width) / self.step, turns * (1.0 + width) / self.step)
            }
            None => (self.shortest / self.step, f64::INFINITY),
        };
        let is_peak = |lag: usize| correlation[lag] >= correlation[lag - 1] && correlation[lag] >= correlation[lag + 1];
        let inside = |&lag: &usize| lag as f64 >= low && lag as f64 <= high && is_peak(lag);
        let peaks: Vec<usize> = (1..correlation.len() - 1).filter(inside).collect();
        let best = peaks.iter().map(|&lag| correlation[lag]).fold(0.0, f64::max);
        if best < LEAST_CORRELATION {
            return expected.and_then(|_| self.lap(None));
        }
        let mut period = peaks.into_iter().find(|&lag| correlation[lag] >= NEARLY * best)?;
        if expected.is_some() {
            // Several laps repeat no better than one of them: if a part of the period repeats as well, what was
            // expected is wrong.
            let shortest = (self.shortest / self.step) as usize;
            let as_well = |&lag: &usize| is_peak(lag) && correlation[lag] >= AS_WELL * correlation[period];
            let is_part = |&lag: &usize| {
                let laps = period as f64 / lag as f64;
                laps > SEVERAL && (laps - laps.round()).abs() < WHOLE_LAPS * laps.round()
            };
            period = (shortest.max(1)..period).filter(as_well).find(is_part).unwrap_or(period);
        }
        let shift = top_of_parabola(correlation[period - 1], correlation[period], correlation[period + 1]);
        Some((period as f64 + shift) * self.step)
    }

    /// Turns at which the same place was passed, lap by lap, where a lap takes about `lap` turns.
    pub fn chain(&self, lap: f64) -> Vec<f64> {
        let points = lap / self.step;
        let middle = POINTS as f64 / 2.0;
        let mut chain = vec![middle];
        for ahead in [true, false] {
            let (mut here, mut length) = (middle, points);
            loop {
                let guess = if ahead { here + length } else { here - length };
                if guess < -BEYOND_ENDS * points || guess > POINTS as f64 + BEYOND_ENDS * points {
                    break;
                }
                let Some(found) = self.lay_over(here, guess, points) else { break };
                let next = if found.correlation < LEAST_CORRELATION { guess } else { found.place };
                if (next - here).abs() < LEAST_MOVE * points || (next > here) != ahead {
                    break;
                }
                length += FOLLOW * ((next - here).abs() - length);
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

    /// Points at which the laps of a `chain`, in turns, begin.
    pub(super) fn points_of(&self, chain: &[f64]) -> Vec<isize> {
        chain.iter().map(|turns| (turns / self.step - 0.5).round() as isize).collect()
    }

    /// Motor turns of the shortest lap that is looked for.
    pub(super) fn shortest(&self) -> f64 {
        self.shortest
    }

    /// Where around the point `guess` the revs look most like those around the point `here`, for a lap of so many
    /// `points`; `None` where too little of the two laps lies in the log.
    fn lay_over(&self, here: f64, guess: f64, points: f64) -> Option<LaidOver> {
        let reach = (LAY_OVER_REACH * points).ceil() as isize;
        let half = (0.5 * points) as isize;
        let (here_point, guess_point) = (here.round() as isize, guess.round() as isize);
        let score =
            |shift: isize| self.correlation_between(here_point, guess_point + shift, half, LEAST_OVERLAP * points);
        let scores: Vec<f64> = (-reach..=reach).map(score).collect();
        let best =
            (0..scores.len()).filter(|&n| scores[n].is_finite()).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
        let mut shift = best as f64 - reach as f64;
        if best > 0 && best + 1 < scores.len() {
            shift += top_of_parabola(scores[best - 1], scores[best], scores[best + 1]);
        }
        let place = guess_point as f64 + shift + (here - here_point as f64);
        Some(LaidOver { place, correlation: scores[best] })
    }

    /// Correlation of the revs within `half` points either side of the point `one` with those around the point `other`;
    /// NaN where fewer than `least` points of both lie in the log.
    pub(super) fn correlation_between(&self, one: isize, other: isize, half: isize, least: f64) -> f64 {
        // Offsets at which both points lie in the log.
        let count = self.rpm.len() as isize;
        let (from, to) = ((-half).max(-one).max(-other), half.min(count - 1 - one).min(count - 1 - other));
        let (mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for offset in from..=to {
            let (x, y) = (self.rpm[(one + offset) as usize], self.rpm[(other + offset) as usize]);
            n += 1.0;
            sx += x;
            sy += y;
            sxx += x * x;
            syy += y * y;
            sxy += x * y;
        }
        if n < least {
            return f64::NAN;
        }
        (sxy - sx * sy / n) / ((sxx - sx * sx / n) * (syy - sy * sy / n)).max(f64::MIN_POSITIVE).sqrt()
    }
}

/// A lap laid over another.
struct LaidOver {
    /// Point at which the same place was passed.
    place: f64,
    /// Correlation of the revs around it.
    correlation: f64,
}
