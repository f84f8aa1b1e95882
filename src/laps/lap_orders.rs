//! How much better a list fits than its own laps in other orders: what a list of another run could do as well.

use rayon::prelude::*;

use super::align::{self, Clock, Window};
use super::place::Places;

/// Orders of the laps that a list is compared with: all laps over the whole list, and neighbours.
const MIXED_ORDERS: usize = 12;
const SWAPPED_BLOCKS: [(usize, usize); 4] = [(2, 0), (2, 1), (3, 0), (4, 0)];

/// Times of the laps between passings, s.
pub(super) fn laps_of(passings: &[f64]) -> impl Iterator<Item = f64> {
    passings.windows(2).map(|w| w[1] - w[0])
}

/// Log-likelihood ratio of a list that fits with the log-likelihood `score` against its laps in other orders.
pub(super) fn order_ratio(places: &Places, passings: &[f64], window: Window, clock: Clock, score: f64) -> f64 {
    let laps: Vec<f64> = laps_of(passings).collect();
    let other = |order: Vec<usize>| {
        let mut sum = 0.0;
        let later = order.into_iter().map(|n| {
            sum += laps[n];
            sum
        });
        let passings: Vec<f64> = std::iter::once(0.0).chain(later).collect();
        align::best_fit(places, &passings, window, clock).map(|fit| fit.score)
    };
    let others: Vec<f64> = orders(laps.len()).into_par_iter().filter_map(other).collect();
    let best = others.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !best.is_finite() {
        return 0.0;
    }
    let mean = others.iter().map(|other| (other - best).exp()).sum::<f64>() / others.len() as f64;
    score - best - mean.ln()
}

/// Other orders of so many laps: through all of them in strides, and with neighbours turned round.
fn orders(laps: usize) -> Vec<Vec<usize>> {
    let strides = (2..laps).filter(|stride| divisor(*stride, laps) == 1);
    let strides: Vec<usize> = strides.collect();
    let wanted = MIXED_ORDERS.min(strides.len() * laps);
    let mixed = (0..wanted).map(|n| {
        // Spread over the strides, each with a beginning of its own.
        let stride = strides[n * strides.len() / wanted];
        (0..laps).map(|lap| (stride * lap + n * laps / wanted) % laps).collect()
    });
    let swapped = SWAPPED_BLOCKS.iter().map(|&(size, from)| {
        let mut order: Vec<usize> = (0..laps).collect();
        order[from.min(laps)..].chunks_mut(size).for_each(|block| block.reverse());
        order
    });
    mixed.chain(swapped).collect()
}

/// The greatest common divisor.
fn divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_order_is_the_lists_own_and_each_has_every_lap_once() {
        for laps in 3..40 {
            for order in orders(laps) {
                let mut sorted = order.clone();
                sorted.sort_unstable();
                assert!(sorted.iter().copied().eq(0..laps), "{order:?}");
                assert!(laps < 4 || !order.iter().copied().eq(0..laps), "{laps} {order:?}");
            }
        }
    }
}
