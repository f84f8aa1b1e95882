//! Values that no such car reaches, and signs that are written the other way round.

use crate::log::Channel;

/// Share of what flows that flows one way for that to be its direction.
const MOSTLY: f64 = 0.5;
/// Of the revs that are not zero more than one in this many is below it, where a motor turns backwards.
const BACKWARDS_ONE_IN: usize = 10;
/// A number that comes this often out of nowhere does not come by chance.
pub(super) const OFTEN: usize = 4;

/// Values that were taken out of a channel.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TakenOut {
    /// How many.
    pub count: u64,
    /// Row of the first.
    pub first_row: Option<usize>,
}

impl TakenOut {
    /// Adds the value of a row.
    pub(super) fn add(&mut self, row: usize) {
        self.count += 1;
        self.first_row = Some(self.first_row.map_or(row, |first| first.min(row)));
    }
}

/// Replaces values outside the channel's plausible range by NaN.
pub fn take_out_implausible(channel: Channel, values: &mut [f64]) -> TakenOut {
    let (low, high) = channel.plausible().into_inner();
    let mut taken = TakenOut::default();
    for (row, value) in values.iter_mut().enumerate() {
        if *value < low || *value > high {
            *value = f64::NAN;
            taken.add(row);
        }
    }
    taken
}

/// Takes the revs of a motor that turns backwards by their amount: all that are below zero where they are at least one
/// in ten of the readings that are not zero, else those that follow each other. Fewer by themselves are glitches.
/// Returns those that were below zero.
pub fn take_amounts(revs: &mut [f64]) -> TakenOut {
    let below = revs.iter().filter(|v| **v < 0.0).count();
    let turning = revs.iter().filter(|v| v.is_finite() && **v != 0.0).count();
    let mut backwards = TakenOut::default();
    if below == 0 {
        return backwards;
    }
    let all = below >= OFTEN && below * BACKWARDS_ONE_IN >= turning;
    let mut from = 0;
    while from < revs.len() {
        let until = revs[from..].iter().position(|v| *v >= 0.0).map_or(revs.len(), |rows| from + rows);
        let turns = || revs[from..until].iter().filter(|v| **v < 0.0);
        if all || turns().count() >= OFTEN {
            for (row, rpm) in revs[from..until].iter_mut().enumerate().filter(|(_, rpm)| **rpm < 0.0) {
                *rpm = -*rpm;
                backwards.add(from + row);
            }
        }
        from = until + 1;
    }
    backwards
}

/// Turns the sign of a channel that is mostly below zero, as of a current that flows back, which no pack does over a
/// run: its recorder writes with a minus what is taken from the pack. Returns whether it did.
pub fn turn_sign(values: &mut [f64]) -> bool {
    let known = || values.iter().filter(|v| v.is_finite());
    let (sum, size) = known().fold((0.0, 0.0), |(sum, size), v| (sum + v, size + v.abs()));
    let flows_back = sum < -MOSTLY * size;
    if flows_back {
        values.iter_mut().for_each(|v| *v = -*v);
    }
    flows_back
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn revs_of_a_motor_that_turns_backwards_are_taken_by_their_amount() {
        let mut values: Vec<f64> = (0..40).map(|n| if n % 2 == 0 { -900.0 } else { 1200.0 }).collect();
        assert_eq!(take_amounts(&mut values), TakenOut { count: 20, first_row: Some(0) });
        assert!(values.iter().all(|v| *v > 0.0));
        let mut glitches: Vec<f64> = (0..100).map(|n| if n % 25 == 7 { -900.0 } else { 1200.0 }).collect();
        assert_eq!(take_amounts(&mut glitches), TakenOut::default());
        // A few seconds backwards in a long run.
        let mut some: Vec<f64> = (0..100).map(|n| if (50..56).contains(&n) { -900.0 } else { 1200.0 }).collect();
        assert_eq!(take_amounts(&mut some), TakenOut { count: 6, first_row: Some(50) });
    }
}
