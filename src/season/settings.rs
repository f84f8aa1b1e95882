//! What did a setting do over the year? The effects that each weekend found, as one.

use std::path::Path;

use polars::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::schema::EFFECTS;
use super::store::{self, Partition, ReadError};
use crate::quantity::Estimate;
use crate::statistics::random_effects::pool_alike;

/// What a setting did over the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SettingEffect {
    /// The car.
    pub car: String,
    /// The key.
    pub key: String,
    /// One value; `null` where it was not set.
    pub from: Option<String>,
    /// The other.
    pub to: Option<String>,
    /// The figure.
    pub of: String,
    /// Weekends that tell.
    pub weekends: usize,
    /// The figure with the other value less the figure with the one: the weekends' mean, all counting alike; of a lone weekend, its own.
    pub difference: Option<Estimate>,
    /// Standard deviation of the effect from weekend to weekend.
    pub between: f64,
    /// Keys that changed in the same runs on each of these weekends: one effect for all of them.
    pub together_with: Vec<String>,
    /// Weekends that were left out because further or other keys changed in the same runs.
    pub left_out: usize,
}

/// Car, key, its two values and the figure.
pub type Change = (String, String, Option<String>, Option<String>, String);
/// An effect on one weekend, and the keys that changed with it.
pub type Effect = (Estimate, Vec<String>);
/// The effects of a weekend, each from the lesser value to the greater, so that weekends agree on its sign.
///
/// # Errors
/// [`ReadError`] where its table cannot be read.
pub fn effects(root: &Path, partition: &Partition) -> Result<Vec<(Change, Effect)>, ReadError> {
    const COLUMNS: [&str; 9] = ["car", "key", "from", "to", "of", "difference", "low", "high", "together_with"];
    let table = store::read(root, partition, &EFFECTS, &COLUMNS)?;
    let rows = || -> PolarsResult<Vec<(Change, Effect)>> {
        let text = |name: &str| table.column(name)?.str();
        let number = |name: &str| table.column(name)?.f64();
        let (car, key, of, together) = (text("car")?, text("key")?, text("of")?, text("together_with")?);
        let (from, to) = (text("from")?, text("to")?);
        let (difference, low, high) = (number("difference")?, number("low")?, number("high")?);
        let row = |at: usize| {
            let (mut ends, mut effect) = (
                (from.get(at), to.get(at)),
                Estimate { value: difference.get(at)?, low: low.get(at)?, high: high.get(at)? },
            );
            if is_before(ends.1, ends.0) {
                ends = (ends.1, ends.0);
                effect = Estimate { value: -effect.value, low: -effect.high, high: -effect.low };
            }
            let own = |text: Option<&str>| text.map(str::to_owned);
            let change = (own(car.get(at))?, own(key.get(at))?, own(ends.0), own(ends.1), own(of.get(at))?);
            let together = together.get(at).map(|t| t.split(", ").map(str::to_owned).collect());
            Some((change, (effect, together.unwrap_or_default())))
        };
        Ok((0..table.height()).filter_map(row).collect())
    };
    rows().map_err(|e| ReadError::of(root, partition, &EFFECTS, &e))
}

/// Whether a value of the sheet goes before another: not set before all, by number where both are numbers, else by their letters.
fn is_before(a: Option<&str>, b: Option<&str>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(a), Ok(b)) => a < b,
            _ => a < b,
        },
        (a, b) => a.is_none() && b.is_some(),
    }
}

/// One change over the weekends. Weekends on which nothing else changed with it go before those that cannot tell it from other keys.
pub fn setting(((car, key, from, to, of), seen): (Change, Vec<Effect>)) -> Option<SettingEffect> {
    // Else those on which the same keys changed with it, and most often did.
    let times = |keys: &Vec<String>| (keys.is_empty(), seen.iter().filter(|e| e.1 == *keys).count());
    let keys = seen.iter().map(|e| &e.1).max_by_key(|keys| times(keys))?;
    let used: Vec<&Effect> = seen.iter().filter(|e| e.1 == *keys).collect();
    let pooled = pool_alike(used.iter().map(|e| e.0.value))?;
    let difference = match used.as_slice() {
        [alone] => Some(alone.0),
        _ => pooled.estimate,
    };
    let together_with = keys.clone();
    let (weekends, left_out) = (used.len(), seen.len() - used.len());
    Some(SettingEffect {
        car,
        key,
        from,
        to,
        of,
        weekends,
        difference,
        between: pooled.between,
        together_with,
        left_out,
    })
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, Normal};
    use rstest::rstest;

    use super::*;
    use crate::statistics::coverage::coverage_factor;
    use crate::statistics::mean::mean_and_deviation;

    fn change() -> Change {
        ("car".into(), "pinion".into(), Some("31".into()), Some("32".into()), "median_lap_s".into())
    }

    /// Weekends whose effect is none, each with an interval from a few degrees of freedom: one in twenty is claimed, and no more.
    #[rstest]
    #[case(6, 1)]
    #[case(12, 1)]
    #[case(12, 2)]
    #[case(3, 4)]
    fn chance_is_claimed_one_time_in_twenty(#[case] weekends: usize, #[case] degrees: usize) {
        const DRAWS: usize = 4000;
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        let normal = Normal::new(0.0, 1.0).unwrap();
        let mut draw = || {
            let rest: Vec<f64> = (0..=degrees).map(|_| normal.sample(&mut rng)).collect();
            let (_, deviation) = mean_and_deviation(&rest).unwrap();
            let effect = normal.sample(&mut rng);
            (Estimate::from_half_width(effect, coverage_factor(degrees as f64, 0.95) * deviation), Vec::new())
        };
        let claimed = (0..DRAWS)
            .filter_map(|_| setting((change(), (0..weekends).map(|_| draw()).collect()))?.difference)
            .filter(|d| d.low > 0.0 || d.high < 0.0)
            .count();
        // Four standard deviations of a binomial of 4000 draws at 0.05 are 0.014.
        let share = claimed as f64 / DRAWS as f64;
        assert!((share - 0.05).abs() < 0.014, "{share}");
    }

    #[test]
    fn a_weekend_that_cannot_tell_spoils_none_that_can() {
        let of = |value: f64, together: &[&str]| {
            (Estimate::from_half_width(value, 0.1), together.iter().map(|t| (*t).to_owned()).collect())
        };
        let told = setting((change(), vec![of(0.3, &[]), of(9.0, &["wing"]), of(0.4, &[])])).unwrap();
        assert_eq!((told.weekends, told.left_out, told.together_with.len()), (2, 1, 0));
        assert!((told.difference.unwrap().value - 0.35).abs() < 1e-12);
        let none = setting((change(), vec![of(9.0, &["wing"])])).unwrap();
        assert_eq!((none.weekends, none.left_out, none.together_with), (1, 0, vec!["wing".to_owned()]));
    }

    #[rstest]
    #[case(Some("3"), Some("10"), true)]
    #[case(Some("10"), Some("3"), false)]
    #[case(None, Some("3"), true)]
    #[case(Some("3"), None, false)]
    #[case(Some("high"), Some("low"), true)]
    fn values_of_a_key_have_an_order(#[case] a: Option<&str>, #[case] b: Option<&str>, #[case] before: bool) {
        assert_eq!(is_before(a, b), before);
    }
}
