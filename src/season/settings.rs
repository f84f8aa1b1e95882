//! What did a setting do over the year? The effects that each weekend found, as one.

use std::path::Path;

use polars::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::partition::Partition;
use super::schema;
use super::store::{self, ReadError};
use crate::quantity::Estimate;
use crate::statistics::random_effects::pool_alike;

/// What a setting did over the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SettingEffect {
    /// The car.
    pub car: String,
    /// The key of the setting.
    pub key: String,
    /// One value; `null` where it was not set.
    pub from: Option<String>,
    /// The other value.
    pub to: Option<String>,
    /// The figure.
    pub of: String,
    /// Number of weekends that the difference comes from.
    pub weekends: usize,
    /// Change of the figure from the one value to the other: the mean of the weekends, which all count the same; with a
    /// single weekend, its own.
    pub difference: Option<Estimate>,
    /// Standard deviation of the effect from weekend to weekend.
    pub between: f64,
    /// Keys that changed in the same runs on each of these weekends: one effect for all of them.
    pub together_with: Vec<String>,
    /// Number of weekends left out because further or other keys changed in the same runs.
    pub left_out: usize,
}

/// A change of a setting and the figure that it is judged by.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Change {
    /// The car.
    pub car: String,
    /// The key of the setting.
    pub key: String,
    /// The lesser value; `None` where it was not set.
    pub from: Option<String>,
    /// The greater value.
    pub to: Option<String>,
    /// Key of the figure.
    pub figure: String,
}

/// The effect of a change on one weekend.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekendEffect {
    /// Change of the figure from the lesser value to the greater.
    pub difference: Estimate,
    /// Keys that changed in the same runs.
    pub together_with: Vec<String>,
}

/// The effects of a weekend, each from the lesser value to the greater, so that weekends agree on its sign.
///
/// # Errors
/// [`ReadError`] where its table cannot be read.
pub fn effects(root: &Path, partition: &Partition) -> Result<Vec<(Change, WeekendEffect)>, ReadError> {
    const COLUMNS: [&str; 9] = ["car", "key", "from", "to", "of", "difference", "low", "high", "together_with"];
    let table = store::read(root, partition, &schema::effects(), &COLUMNS)?;
    effects_of_table(&table).map_err(|e| ReadError::from_polars(root, partition, schema::EFFECTS, &e))
}

fn effects_of_table(table: &DataFrame) -> PolarsResult<Vec<(Change, WeekendEffect)>> {
    let text = |name: &str| table.column(name)?.str();
    let number = |name: &str| table.column(name)?.f64();
    let (car, key, from, to) = (text("car")?, text("key")?, text("from")?, text("to")?);
    let (figure, together) = (text("of")?, text("together_with")?);
    let (value, low, high) = (number("difference")?, number("low")?, number("high")?);
    let cell = |column: &StringChunked, row: usize| column.get(row).map(str::to_owned);
    let effect = |row: usize| {
        let found = Estimate { value: value.get(row)?, low: low.get(row)?, high: high.get(row)? };
        let turned = is_before(to.get(row), from.get(row));
        let (from, to) = if turned { (to, from) } else { (from, to) };
        let reversed = found.mirrored();
        let change = Change {
            car: cell(car, row)?,
            key: cell(key, row)?,
            from: cell(from, row),
            to: cell(to, row),
            figure: cell(figure, row)?,
        };
        let together_with = together.get(row).map(|keys| keys.split(", ").map(str::to_owned).collect());
        let difference = if turned { reversed } else { found };
        Some((change, WeekendEffect { difference, together_with: together_with.unwrap_or_default() }))
    };
    Ok((0..table.height()).filter_map(effect).collect())
}

/// Whether the value `a` of the sheet goes before `b`: a missing one first, by number where both are numbers, otherwise
/// by their letters.
fn is_before(a: Option<&str>, b: Option<&str>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(a), Ok(b)) => a < b,
            _ => a < b,
        },
        (a, b) => a.is_none() && b.is_some(),
    }
}

/// One change over the weekends. Weekends on which nothing else changed with it go before those that cannot tell it
/// from other keys.
pub fn setting_effect(change: Change, effects: &[WeekendEffect]) -> Option<SettingEffect> {
    // Where no weekend changed it alone: the weekends with the same other keys, of which there are most.
    let weight = |keys: &Vec<String>| (keys.is_empty(), effects.iter().filter(|e| e.together_with == *keys).count());
    let keys = effects.iter().map(|e| &e.together_with).max_by_key(|keys| weight(keys))?;
    let used: Vec<&WeekendEffect> = effects.iter().filter(|e| e.together_with == *keys).collect();
    let pooled = pool_alike(used.iter().map(|e| e.difference.value))?;
    let difference = match used.as_slice() {
        [alone] => Some(alone.difference),
        _ => pooled.estimate,
    };
    Some(SettingEffect {
        car: change.car,
        key: change.key,
        from: change.from,
        to: change.to,
        of: change.figure,
        weekends: used.len(),
        difference,
        between: pooled.between,
        together_with: keys.clone(),
        left_out: effects.len() - used.len(),
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
        Change {
            car: "car".into(),
            key: "pinion".into(),
            from: Some("31".into()),
            to: Some("32".into()),
            figure: "median_lap_s".into(),
        }
    }

    /// Weekends whose effect is none, each with an interval from a few degrees of freedom: one in twenty is claimed,
    /// and no more.
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
            let half_width = coverage_factor(degrees as f64, 0.95) * deviation;
            WeekendEffect { difference: Estimate::from_half_width(effect, half_width), together_with: Vec::new() }
        };
        let claimed = (0..DRAWS)
            .filter_map(|_| setting_effect(change(), &(0..weekends).map(|_| draw()).collect::<Vec<_>>())?.difference)
            .filter(|d| d.low > 0.0 || d.high < 0.0)
            .count();
        // Four standard deviations of a binomial of 4000 draws at 0.05 are 0.014.
        let share = claimed as f64 / DRAWS as f64;
        assert!((share - 0.05).abs() < 0.014, "{share}");
    }

    #[test]
    fn a_weekend_that_cannot_tell_spoils_none_that_can() {
        let effect = |value: f64, together: &[&str]| WeekendEffect {
            difference: Estimate::from_half_width(value, 0.1),
            together_with: together.iter().map(|t| (*t).to_owned()).collect(),
        };
        let found = setting_effect(change(), &[effect(0.3, &[]), effect(9.0, &["wing"]), effect(0.4, &[])]).unwrap();
        assert_eq!((found.weekends, found.left_out, found.together_with.len()), (2, 1, 0));
        assert!((found.difference.unwrap().value - 0.35).abs() < 1e-12);
        let none = setting_effect(change(), &[effect(9.0, &["wing"])]).unwrap();
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
