//! The gear chart: what each pinion and spur gives on a car, without a log.
//!
//! Final drive ratio (FDR, motor turns per wheel turn) = spur / pinion × internal ratio; rollout (travel per motor
//! turn) = π·D / FDR. Common practice, no source.
//!
//! ```
//! use runtrue::gear_chart::GearChart;
//!
//! let chart = GearChart::new(&[31], &[116], 1.85, Some(63.0));
//! let gear = chart.rows[0].gears[0];
//! assert!((gear.ratio - 6.92).abs() < 0.005);
//! assert!((gear.rollout_mm.unwrap() - 28.59).abs() < 0.01);
//! ```

use serde::Serialize;

use crate::gears::rollout_mm;

/// Most teeth that a pinion or spur may have.
const MOST_TEETH: u32 = 500;
/// Two gears of one list are never this many times as large as each other: `31,5` is half a tooth, not two gears.
const FAR_APART: u32 = 3;

/// FDR and rollout over pinions and spurs.
#[derive(Debug, Clone, PartialEq)]
pub struct GearChart {
    /// Internal ratio of the car; 1 for direct drive.
    pub internal_ratio: f64,
    /// Tyre diameter, mm, if it is known.
    pub tyre_mm: Option<f64>,
    /// Spurs, in the order of each row's gears.
    pub spurs: Vec<u32>,
    /// A row for each pinion.
    pub rows: Vec<GearRow>,
}

/// One pinion with every spur.
#[derive(Debug, Clone, PartialEq)]
pub struct GearRow {
    /// Pinion teeth.
    pub pinion: u32,
    /// One gear for each spur.
    pub gears: Vec<Gear>,
}

/// What one pinion and one spur give.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gear {
    /// Pinion teeth.
    pub pinion: u32,
    /// Spur teeth.
    pub spur: u32,
    /// Motor turns per wheel turn.
    pub ratio: f64,
    /// Travel per motor turn, mm; `None` where the tyre is not known.
    pub rollout_mm: Option<f64>,
}

impl GearChart {
    /// The chart of `pinions` over `spurs`.
    pub fn new(pinions: &[u32], spurs: &[u32], internal_ratio: f64, tyre_mm: Option<f64>) -> Self {
        let gear = |pinion: u32, spur: u32| {
            let ratio = f64::from(spur) / f64::from(pinion) * internal_ratio;
            Gear { pinion, spur, ratio, rollout_mm: tyre_mm.map(|d| rollout_mm(d, ratio)) }
        };
        let row = |&pinion: &u32| GearRow { pinion, gears: spurs.iter().map(|&spur| gear(pinion, spur)).collect() };
        Self { internal_ratio, tyre_mm, spurs: spurs.to_vec(), rows: pinions.iter().map(row).collect() }
    }

    /// All gears, pinion by pinion.
    pub fn gears(&self) -> impl Iterator<Item = &Gear> {
        self.rows.iter().flat_map(|row| &row.gears)
    }
}

/// Reads numbers of teeth as racers write them: `31`, `27,28,29` or `27-33`.
///
/// # Errors
/// In words: the part that is not a number of teeth, and what to write.
pub fn teeth(text: &str) -> Result<Vec<u32>, String> {
    let number = |part: &str| {
        let teeth = part.trim().parse::<u32>().ok().filter(|n| (1..=MOST_TEETH).contains(n));
        teeth.ok_or_else(|| format!("`{part}` is not a number of teeth: write a whole number from 1 to {MOST_TEETH}"))
    };
    let mut all = Vec::new();
    for part in text.split(',') {
        match part.split_once('-') {
            Some((low, high)) => {
                let (low, high) = (number(low)?, number(high)?);
                if low > high {
                    return Err(format!("`{part}` starts with the larger number: write `{high}-{low}`"));
                }
                all.extend(low..=high);
            }
            None => all.push(number(part)?),
        }
    }
    if let ([a, b], false) = (all.as_slice(), text.contains('-'))
        && a.max(b) / a.min(b) >= FAR_APART
    {
        return Err(format!("`{text}` would mean gears of {a} and of {b} teeth: write whole numbers of teeth"));
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    // Common practice, no source: figures that racers quote.
    #[rstest]
    #[case(27, 110, 1.9, 7.65, 7.75)]
    #[case(28, 110, 1.9, 7.4, 7.5)]
    #[case(29, 110, 1.9, 7.15, 7.25)]
    fn final_drive_ratios_of_the_trade(
        #[case] pinion: u32,
        #[case] spur: u32,
        #[case] internal: f64,
        #[case] low: f64,
        #[case] high: f64,
    ) {
        let ratio = GearChart::new(&[pinion], &[spur], internal, None).rows[0].gears[0].ratio;
        assert!((low..=high).contains(&ratio), "{ratio}");
    }

    // Common practice, no source: 33/80 on a 41.5 mm tyre rolls out about 53 mm, 23 and 24 on 92 about 33 to 35 mm.
    #[rstest]
    #[case(33, 80, 53.0, 55.0)]
    #[case(23, 92, 32.0, 33.5)]
    #[case(24, 92, 33.5, 35.0)]
    fn rollouts_of_the_trade(#[case] pinion: u32, #[case] spur: u32, #[case] low: f64, #[case] high: f64) {
        let rollout = GearChart::new(&[pinion], &[spur], 1.0, Some(41.5)).rows[0].gears[0].rollout_mm.unwrap();
        assert!((low..=high).contains(&rollout), "{rollout}");
    }

    #[rstest]
    #[case("31, 32", Some(vec![31, 32]))]
    #[case("29-31,33", Some(vec![29, 30, 31, 33]))]
    #[case("31,5", None)]
    #[case("31.5", None)]
    #[case("33-29", None)]
    fn teeth_as_racers_write_them(#[case] text: &str, #[case] expected: Option<Vec<u32>>) {
        assert_eq!(teeth(text).ok(), expected);
    }
}
