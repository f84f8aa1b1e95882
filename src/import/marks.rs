//! Numbers that stand for "no reading", told from readings by the jump that leads to them.

use std::num::NonZeroU8;
use std::sync::OnceLock;

use super::repair::{OFTEN, TakenOut};
use crate::log::Channel;
use crate::statistics::quantiles::quantile;

/// Numbers that recorders write where there is no reading: full scales of 8, 16 and 32 bits with a decimal mark
/// anywhere, rows of nines, and minus one (common practice, no source).
const MARKS: [f64; 14] = [
    65_535.0,
    32_767.0,
    -32_768.0,
    2_147_483_647.0,
    -2_147_483_648.0,
    4_294_967_295.0,
    9_999.0,
    999.0,
    99_999.0,
    -999.0,
    -9_999.0,
    -1.0,
    255.0,
    -127.0,
];

/// A mark is a number within this share of it, or this much where it is below one: its last digits.
const MARK_WITHIN: f64 = 1e-6;
/// Marks from here on may have a decimal mark inside; smaller ones are whole.
const SMALLEST_SCALED: f64 = 999.0;
/// Share of a channel's jumps that a jump to a mark is held against.
const NEARLY_ALL: f64 = 0.99;
/// Shares of the readings below the low and the high end of a channel's range.
const ENDS: [f64; 2] = [0.005, 0.995];
/// How far a mark is outside of the channel's range, as a share of it.
const OUTSIDE: f64 = 0.05;
/// How many times nearly all other jumps a jump to a mark outside of the range is.
const FAR: f64 = 2.0;

/// Replaces marks in `values` (as written, before units) by NaN. A mark is told from a reading by the jump that leads
/// to it: beyond what the channel does from row to row. Revs of -1 are always one.
pub fn take_out_marks(channel: Channel, values: &mut [f64]) -> TakenOut {
    let suspects = Suspects::new(values);
    let mut found: Vec<Mark> = suspects.rows.iter().map(|suspect| suspect.mark).collect();
    found.sort_unstable();
    found.dedup();
    let mut taken = TakenOut::default();
    for mark in found {
        let number = marks().all[usize::from(mark.get()) - 1];
        let negative_revs = channel == Channel::Rpm && number < 0.0;
        // Full brake is -1 of one; current may rest at -1 A for a while, where a mark comes and goes, and current that
        // flows back has other negative readings beside it.
        let current = || suspects.rests(mark) || suspects.flows_back(values);
        let reading = number == -1.0 && (channel == Channel::Throttle || channel == Channel::Current && current());
        // A column that holds nothing but a negative mark has no sensor behind it.
        let alone = number < 0.0 && suspects.has_only(mark, values);
        if reading || !(negative_revs || alone || suspects.is_far_off(mark, number, values)) {
            continue;
        }
        for suspect in suspects.rows.iter().filter(|suspect| suspect.mark == mark) {
            values[suspect.row] = f64::NAN;
            taken.add(suspect.row);
        }
    }
    taken
}

/// Which of the marks a number is, from 1.
type Mark = NonZeroU8;

/// The marks with their decimal mark anywhere, in order, and a rough table of them.
struct Marks {
    all: Vec<f64>,
    /// A bit for each of the first 16 bits of a double: sign, exponent and four bits of its fraction.
    rough: Vec<u64>,
}

impl Marks {
    fn new() -> Self {
        // 6553.5 and 655.35 are marks as 65535 is.
        let powers = |mark: f64| if mark.abs() >= SMALLEST_SCALED { &[1.0, 10.0, 100.0, 1000.0][..] } else { &[1.0] };
        let mut all: Vec<f64> = MARKS.iter().flat_map(|m| powers(*m).iter().map(move |p| m / p)).collect();
        all.sort_by(f64::total_cmp);
        let mut rough = vec![0; 1 << 10];
        for mark in &all {
            let around = Self::tolerance(*mark);
            for value in [mark - around, *mark, mark + around] {
                let (word, bit) = Self::rough_bit(value);
                rough[word] |= bit;
            }
        }
        Self { all, rough }
    }

    fn tolerance(mark: f64) -> f64 {
        MARK_WITHIN * mark.abs().max(1.0)
    }

    /// The word and its bit that a value has in the rough table.
    fn rough_bit(value: f64) -> (usize, u64) {
        let head = (value.to_bits() >> 48) as usize;
        (head >> 6, 1 << (head & 63))
    }
}

fn marks() -> &'static Marks {
    static MARKED: OnceLock<Marks> = OnceLock::new();
    MARKED.get_or_init(Marks::new)
}

/// Whether a number is one of the marks, with its decimal mark anywhere.
pub fn is_mark(value: f64) -> bool {
    mark_of(value).is_some()
}

/// The mark that a number is, but for its last digits; most are none.
fn mark_of(value: f64) -> Option<Mark> {
    let marks = marks();
    let (word, bit) = Marks::rough_bit(value);
    // The table settles nearly all readings.
    if marks.rough[word] & bit == 0 {
        return None;
    }
    let is_near = |mark: &usize| marks.all.get(*mark).is_some_and(|m| (value - m).abs() < Marks::tolerance(*m));
    let above = marks.all.partition_point(|m| *m < value);
    let found = [Some(above), above.checked_sub(1)].into_iter().flatten().find(is_near)?;
    NonZeroU8::new(u8::try_from(found + 1).ok()?)
}

/// A reading that may be a mark.
struct Suspect {
    row: usize,
    mark: Mark,
}

/// The readings of a channel that may be marks. The others are sound, but for those that are missing.
struct Suspects {
    rows: Vec<Suspect>,
    /// How many readings are sound.
    sound: usize,
}

impl Suspects {
    fn new(values: &[f64]) -> Self {
        let suspect = |(row, value): (usize, &f64)| mark_of(*value).map(|mark| Suspect { row, mark });
        let rows: Vec<Suspect> = values.iter().enumerate().filter_map(suspect).collect();
        let finite = values.iter().filter(|v| v.is_finite()).count();
        let sound = finite - rows.len();
        Self { rows, sound }
    }

    /// The sound readings, in order.
    fn sound_readings<'s>(&'s self, values: &'s [f64]) -> impl Iterator<Item = f64> + 's {
        let ends = self.rows.iter().map(|suspect| suspect.row).chain([values.len()]);
        let mut from = 0;
        let stretches = ends.map(move |end| &values[std::mem::replace(&mut from, end + 1)..end]);
        stretches.flatten().copied().filter(|v| v.is_finite())
    }

    /// Whether a channel has no reading but `mark`.
    fn has_only(&self, mark: Mark, values: &[f64]) -> bool {
        self.sound == 0 && self.rows.iter().all(|suspect| suspect.mark == mark || values[suspect.row].is_nan())
    }

    /// Whether a current has readings below zero that are not marks.
    fn flows_back(&self, values: &[f64]) -> bool {
        self.sound_readings(values).filter(|v| *v < 0.0).take(OFTEN).count() == OFTEN
    }

    /// Whether a mark mostly lasts for more than two rows.
    fn rests(&self, mark: Mark) -> bool {
        let rows: Vec<usize> = self.rows.iter().filter(|s| s.mark == mark).map(|s| s.row).collect();
        let stretches = 1 + rows.windows(2).filter(|w| w[1] > w[0] + 1).count();
        rows.len() > 2 * stretches
    }

    /// The sizes of the jumps from the sound reading before to `mark`.
    fn jumps_to(&self, mark: Mark, values: &[f64]) -> Vec<f64> {
        let (mut jumps, mut last, mut from) = (Vec::new(), f64::NAN, 0);
        for suspect in &self.rows {
            let before = values[from..suspect.row].iter().rev().find(|v| v.is_finite());
            last = before.copied().unwrap_or(last);
            from = suspect.row + 1;
            if suspect.mark == mark && !last.is_nan() {
                jumps.push((values[suspect.row] - last).abs());
            }
        }
        jumps
    }

    /// The sizes of the jumps from one sound reading to the next. Another mark says nothing about them.
    fn own_jumps<'s>(&'s self, values: &'s [f64]) -> impl Iterator<Item = f64> + 's {
        let mut last = f64::NAN;
        let size = move |value: f64| (value - std::mem::replace(&mut last, value)).abs();
        self.sound_readings(values).map(size).skip(1)
    }

    /// Whether the jumps from sound readings to `mark`, which is `number`, lie beyond nearly all other jumps of the
    /// channel.
    fn is_far_off(&self, mark: Mark, number: f64, values: &[f64]) -> bool {
        let to_mark = self.jumps_to(mark, values);
        let (times, count) = (to_mark.len(), self.sound.saturating_sub(1));
        let jump_to_mark = quantile(to_mark, 0.5);
        if let Some(size) = jump_to_mark.filter(|_| count > 0) {
            // Most suspects are readings on their way, and some jumps are enough to say so.
            let enough = count - (NEARLY_ALL * (count - 1) as f64) as usize;
            if self.own_jumps(values).filter(|own| *own >= size).take(enough).count() == enough {
                return false;
            }
        }
        let largest_usual = quantile(self.own_jumps(values), NEARLY_ALL);
        let readings = || self.sound_readings(values);
        let Some(first) = readings().next() else {
            // A channel that holds nothing but the mark has no sensor behind it.
            return number != -1.0;
        };
        let (Some(size), Some(largest_usual)) = (jump_to_mark, largest_usual) else {
            let is_first = self.rows.first().is_some_and(|suspect| suspect.row == 0 && suspect.mark == mark);
            return is_first && (first - number).abs() > first.abs();
        };
        let [Some(low), Some(high)] = ENDS.map(|share| quantile(readings(), share)) else { return false };
        let margin = OUTSIDE * (high - low);
        let outside = number > high + margin || number < low - margin;
        let largest_usual = largest_usual.max(1e-9);
        // Inside the channel's range the same number over and over, each time out of nowhere, is a mark as well.
        outside && size > FAR * largest_usual || times >= OFTEN && size > largest_usual
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_found_with_their_decimal_mark_anywhere() {
        for mark in [65_535.0_f64, 6553.5, 655.35, 65.535, 9.999, -1.0, 255.0, -32.768, 999.9, 0.999, 99.999] {
            for by in [-0.9e-6, 0.0, 0.9e-6] {
                assert!(is_mark(mark + by * mark.abs().max(1.0)), "{mark} by {by}");
            }
        }
        for reading in [0.0, 7.4, 1234.0, f64::NAN, 9.98, 254.9, -1.1] {
            assert!(!is_mark(reading), "{reading}");
        }
    }

    #[test]
    fn current_that_flows_back_may_be_minus_one() {
        let mut values: Vec<f64> = (0..400).map(|n| [40.0, -1.0, 35.0, -0.9, -1.1, 50.0, -4.2, 20.0][n % 8]).collect();
        assert_eq!(take_out_marks(Channel::Current, &mut values), TakenOut::default());
    }

    #[test]
    fn a_mark_among_temperatures_is_taken_out() {
        let mut values: Vec<f64> = (0..100).map(|n| 30.0 + f64::from(n) * 0.1).collect();
        values[40] = 999.9;
        values[41] = 999.9;
        values[70] = -1.0;
        let taken = take_out_marks(Channel::MotorTemperature, &mut values);
        assert_eq!(taken, TakenOut { count: 3, first_row: Some(40) });
    }

    #[test]
    fn minus_one_ampere_while_braking_is_a_reading() {
        let mut values: Vec<f64> = (0..200).map(|n| [0.0, 12.0, 30.0, 8.0, -1.0, -1.0, 0.0, -2.0][n % 8]).collect();
        assert_eq!(take_out_marks(Channel::Current, &mut values).count, 0);
    }

    #[test]
    fn a_reading_of_255_on_the_way_up_is_not_a_mark() {
        let mut values: Vec<f64> = (0..400).map(f64::from).collect();
        assert_eq!(take_out_marks(Channel::Voltage, &mut values).count, 0);
    }
}
