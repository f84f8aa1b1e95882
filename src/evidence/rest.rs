//! The pack at rest, before it is driven.

use super::RunToWeigh;
use crate::log::Channel;
use crate::statistics::quantiles::{median, quantile};

/// Rows at the start of a log over which the pack's voltage at rest is taken.
const ROWS: usize = 20;
/// Share of the highest current below which a pack rests. Common practice, no source.
const RESTS: f64 = 0.05;
/// Quantile of the current that counts as the highest.
const HIGHEST: f64 = 0.999;

/// Voltage of the pack at rest, V: the median of the first rows in which it gives next to nothing; without a current, of
/// the first rows. `None` without a voltage.
pub(super) fn resting_volts(run: &RunToWeigh) -> Option<f64> {
    let volts = run.log.channel(Channel::Voltage)?;
    let rests: Vec<bool> = match run.log.channel(Channel::Current) {
        Some(amps) => {
            let little = RESTS * quantile(amps.iter().copied().filter(|a| a.is_finite()), HIGHEST).unwrap_or(0.0);
            amps.iter().map(|a| a.abs() <= little).collect()
        }
        None => vec![true; volts.len()],
    };
    let at_rest = volts.iter().zip(rests).filter(|(v, rests)| v.is_finite() && *rests).map(|(v, _)| *v);
    median(at_rest.take(ROWS))
}
