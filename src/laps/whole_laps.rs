//! Whether a period of the revs is one lap, several laps, or a part of one.
//!
//! Of whole laps each is as much like the next as like the one after that. Halves of a lap are not: every other one is
//! more alike than neighbours are. So too thirds. And several laps in one leave a lap's part of them as much alike as
//! they are themselves. What one lap leaves unexplained of another is one less the correlation of their revs, lap by
//! lap along the chain, where the drift of the odometer does not matter.
//!
//! Wrong where a lap has two halves that are alike in all that the revs show: no log tells them apart.

use super::period::{LEAST_CORRELATION, OverTurns};
use crate::statistics::quantiles::median;

/// Equal parts into which a lap may fall.
const PARTS: [usize; 2] = [2, 3];
/// Laps are parts of a lap where at least so many of them, and this share, are more like the one that would be the same
/// part of the next lap than like their neighbour, and where neighbours leave this many times as much unexplained.
/// Defaults, no source: whole laps are as much like the one as like the other, so that four that are all alike one way
/// are one chance in 16, and medians that differ by that much as well are one in a hundred or so.
const LEAST_ALTERNATING: usize = 4;
const MOSTLY_ALTERNATING: f64 = 0.8;
const CLEARLY_UNLIKE: f64 = 2.0;
/// A part of a period is the lap where it leaves no more than this many times as much unexplained. A default, no
/// source.
const AS_GOOD: f64 = 1.3;
/// Share of a lap that must overlap where laps are compared whole.
const WHOLE_OVERLAP: f64 = 0.9;
/// Correlation of neighbouring laps, in the middle, below which a chain of many or of few laps is none: the best of a
/// few places of revs without a pattern reaches it by chance. Defaults, no source.
const LEAST_MANY: f64 = 0.5;
const LEAST_FEW: f64 = 0.65;
/// Pairs of neighbouring laps from which on a chain has many.
const MANY: usize = 5;

/// The chain of whole laps, in turns at which each begins, where a period takes `period` turns; `None` where the laps
/// of no chain are alike.
pub(super) fn chain_of_whole_laps(over_turns: &OverTurns, period: f64) -> Option<Vec<f64>> {
    let mut chain = Chain::new(over_turns, period);
    if let Some(parts) = PARTS.into_iter().find(|&parts| chain.are_parts(over_turns, parts)) {
        chain = Chain::new(over_turns, parts as f64 * period);
    } else if let Some(shorter) = shorter_lap(over_turns, period, &chain) {
        chain = shorter;
    }
    let pairs = chain.alike.iter().filter(|r| r.is_finite()).count();
    let least = if pairs >= MANY { LEAST_MANY } else { LEAST_FEW };
    (chain.likeness()? >= least).then_some(chain.begins)
}

/// The chain of laps of about so many turns, which something else lets expect; `None` where they are not alike.
pub(super) fn chain_as_expected(over_turns: &OverTurns, lap: f64) -> Option<Vec<f64>> {
    let chain = Chain::new(over_turns, lap);
    chain.likeness().is_none_or(|r| r >= LEAST_CORRELATION).then_some(chain.begins)
}

/// The chain of a part of the period that is a lap itself.
fn shorter_lap(over_turns: &OverTurns, period: f64, chain: &Chain) -> Option<Chain> {
    let left = 1.0 - chain.likeness()?;
    PARTS.into_iter().rev().find_map(|parts| {
        let lap = period / parts as f64;
        let shorter = (lap > over_turns.shortest()).then(|| Chain::new(over_turns, lap))?;
        let correlation = shorter.likeness()?;
        let is_lap = correlation >= LEAST_CORRELATION && 1.0 - correlation <= AS_GOOD * left;
        let are_parts = PARTS.into_iter().any(|parts| shorter.are_parts(over_turns, parts));
        (is_lap && !are_parts).then_some(shorter)
    })
}

/// A chain of laps.
struct Chain {
    /// Turns at which each begins.
    begins: Vec<f64>,
    /// Correlation of each with the next; NaN where one of them does not lie in the log.
    alike: Vec<f64>,
}

impl Chain {
    /// The chain of laps of about `lap` turns.
    fn new(over_turns: &OverTurns, lap: f64) -> Self {
        let begins = over_turns.chain(lap);
        Self { alike: correlations(over_turns, &begins, 1), begins }
    }

    /// Correlation of neighbouring laps, in the middle; `None` where no two lie in the log.
    fn likeness(&self) -> Option<f64> {
        median(self.alike.iter().copied())
    }

    /// Whether the laps are so many parts of a lap.
    fn are_parts(&self, over_turns: &OverTurns, parts: usize) -> bool {
        let same = correlations(over_turns, &self.begins, parts);
        let pairs: Vec<(f64, f64)> = self
            .alike
            .iter()
            .zip(same)
            .map(|(n, s)| (1.0 - n, 1.0 - s))
            .filter(|(n, s)| n.is_finite() && s.is_finite())
            .collect();
        let alternate = pairs.iter().filter(|(next, same)| same < next).count();
        let usual = |of: fn(&(f64, f64)) -> f64| median(pairs.iter().map(of)).unwrap_or(0.0);
        pairs.len() >= LEAST_ALTERNATING
            && alternate as f64 >= MOSTLY_ALTERNATING * pairs.len() as f64
            && usual(|pair| pair.0) > CLEARLY_UNLIKE * usual(|pair| pair.1)
    }
}

/// Correlations of each lap of `chain` with the one so many laps `later`; NaN where one of them does not lie in the
/// log.
fn correlations(over_turns: &OverTurns, chain: &[f64], later: usize) -> Vec<f64> {
    let points = over_turns.points_of(chain);
    let Some(lap) = median(points.windows(2).map(|w| (w[1] - w[0]) as f64)) else { return Vec::new() };
    let between = |one: isize, other: isize| {
        over_turns.correlation_between(one, other, (0.5 * lap) as isize, WHOLE_OVERLAP * lap)
    };
    points.windows(later + 1).map(|p| between(p[0], p[later])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laps::odometer::Odometer;
    use rstest::rstest;

    /// Twenty laps of 20 s at 20 Hz with two halves that are alike but for one corner, which is `slower` by so many
    /// revs.
    fn two_halves(slower: f64) -> OverTurns {
        let time: Vec<f64> = (0..8000).map(|n| f64::from(n) * 0.05).collect();
        let rpm = time.iter().enumerate().map(|(n, t)| {
            let place = (t / 20.0).fract();
            let half = (2.0 * place * std::f64::consts::TAU).sin() + 0.5 * (6.0 * place * std::f64::consts::TAU).cos();
            let corner = (-((place - 0.3) / 0.05).powi(2)).exp();
            // No two laps are the same.
            let noise = 300.0 * ((n * n % 7919) as f64 / 7919.0 - 0.5);
            20_000.0 + 6_000.0 * half - slower * corner + noise
        });
        OverTurns::new(&Odometer::from_rows(time.clone(), rpm.collect()).unwrap()).unwrap()
    }

    #[rstest]
    #[case::a_half(3000.0, 10.0, 20.0)]
    #[case::a_whole_lap_of_two_halves_that_nothing_tells_apart(0.0, 10.0, 10.0)]
    #[case::a_lap(3000.0, 20.0, 20.0)]
    #[case::two_laps(3000.0, 40.0, 20.0)]
    #[case::three_laps(3000.0, 60.0, 20.0)]
    fn a_period_leads_to_whole_laps(#[case] slower: f64, #[case] period_s: f64, #[case] lap_s: f64) {
        let over_turns = two_halves(slower);
        // 20 000 turns a minute.
        let chain = chain_of_whole_laps(&over_turns, 20_000.0 / 60.0 * period_s).unwrap();
        let lap = median(chain.windows(2).map(|w| w[1] - w[0])).unwrap();
        assert!((lap / (20_000.0 / 60.0 * lap_s) - 1.0).abs() < 0.02, "{lap}");
    }
}
