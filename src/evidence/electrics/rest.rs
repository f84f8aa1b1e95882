//! The pack at rest: what its voltage says of a cell and of the number of cells, and what the current says of itself.
//!
//! Before the start the car stands, and the pack shows its open-circuit voltage. A lithium-polymer cell has 4.20 V when
//! charged and is empty at 3.0 V. Where a log begins on the move, rows without a current say how high the voltage is at
//! rest, though not how low, since a pack that was just under load takes seconds to recover.

use crate::evidence::swings::highest;
use crate::log::{Channel, Log};
use crate::statistics::quantiles::median;

/// A lithium-polymer cell at rest, V: from empty to charged, with what chargers and recorders are off. Common practice,
/// no source.
const CELL_V: std::ops::RangeInclusive<f64> = 3.0..=4.25;
/// A cell at the start of a run, V: mostly charged. Common practice, no source.
const AT_START_V: std::ops::RangeInclusive<f64> = 3.6..=4.22;
/// A nickel cell at rest, V, and the fewest that a pack has in series (makers' tables, from memory).
const NICKEL_CELL_V: std::ops::RangeInclusive<f64> = 1.2..=1.6;
const LEAST_NICKEL_CELLS: f64 = 4.0;
/// No cell of any lithium kind rests above this, V: high-voltage ones are charged to 4.35 V (makers' tables, from
/// memory), and a recorder is one per cent off.
pub const NO_CELL_V: f64 = 4.40;
/// Most cells in series that are looked for.
const MOST_CELLS: u32 = 12;
/// Share of the highest revs below which the car stands. Common practice, no source.
const STANDING: f64 = 0.02;
/// Fewest rows that tell the voltage at rest, standing or without a current.
const LEAST_ROWS: usize = 5;
/// Current that leaves the pack at rest, A. Common practice, no source: receiver and servo.
const AT_REST_A: f64 = 1.0;
/// The first part of a log in which rows without a current are looked for, s.
const EARLY_S: f64 = 60.0;
/// Share of its usual voltage below which a pack is switched off. Common practice, no source.
const SWITCHED_OFF: f64 = 0.3;
/// More than this leaves no pack while the car stands, A. Common practice, no source: receiver, servo and fans.
const STANDING_A: f64 = 3.0;

/// Voltage of the pack at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// V.
    pub volts: f64,
    /// Whether the car stood; else it just drew no current.
    pub stands: bool,
}

/// Rows before the car first moves.
fn standing_rows(rpm: &[f64]) -> usize {
    let top = highest(rpm).unwrap_or(0.0);
    rpm.iter().position(|r| *r > STANDING * top).unwrap_or(0)
}

/// The voltage at rest from the rows' time (s), voltage (V), current (A) and revs; `None` where no row tells it.
pub fn rest(time: &[f64], volts: &[f64], amps: Option<&[f64]>, rpm: Option<&[f64]>) -> Option<Rest> {
    let usual = median(volts.iter().copied())?;
    let is_on = |v: &f64| *v > SWITCHED_OFF * usual;
    let of = |values: Vec<f64>, stands: bool| {
        let volts = median(values.iter().copied()).filter(|_| values.len() >= LEAST_ROWS)?;
        Some(Rest { volts, stands })
    };
    let standing = rpm.map_or(0, standing_rows);
    let stood = of(volts[..standing].iter().copied().filter(is_on).collect(), true);
    stood.or_else(|| {
        let amps = amps?;
        let early = time.partition_point(|t| *t < EARLY_S);
        let idle = |n: &usize| amps[*n].abs() < AT_REST_A && is_on(&volts[*n]);
        of((0..early).filter(idle).map(|n| volts[n]).collect(), false)
    })
}

/// The voltage at rest in a log; `None` where no row tells it.
pub fn rest_of(log: &Log) -> Option<Rest> {
    rest(log.time(), log.channel(Channel::Voltage)?, log.channel(Channel::Current), log.channel(Channel::Rpm))
}

/// The current that is logged while the car stands before its start, A, where no pack gives or takes so much.
pub fn current_while_standing(amps: &[f64], rpm: &[f64]) -> Option<f64> {
    let standing: Vec<f64> = amps[..standing_rows(rpm)].iter().copied().filter(|a| a.is_finite()).collect();
    let usual = median(standing.iter().copied()).filter(|_| standing.len() >= LEAST_ROWS)?;
    (usual.abs() > STANDING_A).then_some(usual)
}

/// What the voltage at rest says of the cells in series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cells {
    /// So many as the sheet says can be.
    Fit,
    /// They cannot be, and so many others can.
    Others(u32),
    /// No number of cells has this voltage, and for the sheet's it is too high.
    TooHigh,
    /// No number of cells has this voltage, and for the sheet's it is too low.
    TooLow,
}

/// Compares the voltage at rest with the `stated` number of cells.
pub fn cells(rest: Rest, stated: f64) -> Cells {
    let cell_v = rest.volts / stated;
    if stated >= LEAST_NICKEL_CELLS && NICKEL_CELL_V.contains(&cell_v) {
        return Cells::Fit;
    }
    if CELL_V.contains(&cell_v) || (cell_v < *CELL_V.start() && !rest.stands && fitting(rest.volts).is_none()) {
        return Cells::Fit;
    }
    // A voltage that reads too high is more common than a run on an empty pack with another number of cells.
    match fitting(rest.volts) {
        Some(others) if cell_v < *CELL_V.start() || is_charged(rest.volts, others) => Cells::Others(others),
        _ if cell_v > *CELL_V.end() => Cells::TooHigh,
        _ => Cells::TooLow,
    }
}

fn is_charged(volts: f64, cells: u32) -> bool {
    AT_START_V.contains(&(volts / f64::from(cells)))
}

/// The number of cells that a voltage at rest fits; where several do, those that are the fullest.
pub fn fitting(volts: f64) -> Option<u32> {
    let within =
        |range: &std::ops::RangeInclusive<f64>| (1..=MOST_CELLS).find(|n| range.contains(&(volts / f64::from(*n))));
    within(&AT_START_V).or_else(|| within(&CELL_V))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(8.38, 2.0, Cells::Fit)]
    #[case(7.30, 2.0, Cells::Fit)]
    #[case(8.3, 1.0, Cells::Others(2))]
    #[case(4.19, 2.0, Cells::Others(1))]
    #[case(8.38, 3.0, Cells::Others(2))]
    // The fullest: 15.2 V is four cells at 3.8 V rather than five at 3.04 V.
    #[case(15.2, 2.0, Cells::Others(4))]
    #[case(8.78, 2.0, Cells::TooHigh)]
    #[case(4.59, 1.0, Cells::TooHigh)]
    // Three cells would be all but empty.
    #[case(9.2, 2.0, Cells::TooHigh)]
    #[case(5.2, 2.0, Cells::TooLow)]
    fn cells_by_the_voltage_at_rest(#[case] volts: f64, #[case] stated: f64, #[case] expected: Cells) {
        assert_eq!(cells(Rest { volts, stands: true }, stated), expected);
    }

    #[test]
    fn the_voltage_before_the_start_counts_and_not_that_of_a_pack_that_is_off() {
        let time: Vec<f64> = (0..40).map(|n| f64::from(n) * 0.1).collect();
        let volts: Vec<f64> = (0..40)
            .map(|n| {
                if n < 3 {
                    0.0
                } else if n < 20 {
                    8.4
                } else {
                    7.4
                }
            })
            .collect();
        let rpm: Vec<f64> = (0..40).map(|n| if n < 20 { 0.0 } else { 20_000.0 }).collect();
        assert_eq!(rest(&time, &volts, None, Some(&rpm)), Some(Rest { volts: 8.4, stands: true }));
        // Never standing, and no current to tell rest by.
        assert_eq!(rest(&time, &volts, None, None), None);
        let amps: Vec<f64> = (0..40).map(|n| if n < 20 { 0.2 } else { 60.0 }).collect();
        assert_eq!(rest(&time, &volts, Some(&amps), None), Some(Rest { volts: 8.4, stands: false }));
    }
}
