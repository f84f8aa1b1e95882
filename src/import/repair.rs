//! Values that are not readings: numbers that stand for "no reading" and what no such car reaches; and currents written
//! with the opposite sign.

use std::num::NonZeroU8;
use std::sync::OnceLock;

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
/// Share of what flows that flows one way for that to be its direction.
const MOSTLY: f64 = 0.5;
/// Of the revs that are not zero more than one in this many is below it, where a motor turns backwards.
const BACKWARDS_ONE_IN: usize = 10;
/// A number that comes this often out of nowhere does not come by chance.
const OFTEN: usize = 4;
/// Share of a channel's jumps that a jump to a mark is held against.
const NEARLY_ALL: f64 = 0.99;
/// Shares of the readings below the low and the high end of a channel's range.
const ENDS: [f64; 2] = [0.005, 0.995];
/// How far a mark is outside of the channel's range, as a share of it.
const OUTSIDE: f64 = 0.05;
/// How many times nearly all other jumps a jump to a mark outside of the range is.
const FAR: f64 = 2.0;

/// Values that were taken out of a channel.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TakenOut {
    /// How many.
    pub count: u64,
    /// Row of the first.
    pub first_row: Option<usize>,
}

impl TakenOut {
    fn add(&mut self, row: usize) {
        self.count += 1;
        self.first_row = Some(self.first_row.map_or(row, |first| first.min(row)));
    }
}

/// Replaces marks in `values` (as written, before units) by NaN. A mark is told from a reading by the jump that leads
/// to it: beyond what the channel does from row to row. Revs of -1 are always one.
pub fn take_out_marks(channel: Channel, values: &mut [f64]) -> TakenOut {
    let suspects: Vec<Suspect> = values.iter().map(|v| suspect(*v)).collect();
    let mut found: Vec<Suspect> = Vec::new();
    for &mark in suspects.iter().flatten() {
        if !found.contains(&Some(mark)) {
            found.push(Some(mark));
        }
    }
    found.sort();
    let mut taken = TakenOut::default();
    for mark in found {
        let number = mark.map_or(f64::NAN, |place| marks().all[usize::from(place.get()) - 1]);
        let negative_revs = channel == Channel::Rpm && number < 0.0;
        // Full brake is -1 of one; current may rest at -1 A for a while, where a mark comes and goes, and current that
        // flows back has other negative readings beside it.
        let current = || rests(&suspects, mark) || flows_back(values, &suspects);
        let reading = number == -1.0 && (channel == Channel::Throttle || channel == Channel::Current && current());
        // A column that holds nothing but a negative mark has no sensor behind it.
        let alone = number < 0.0 && values.iter().zip(&suspects).all(|(v, s)| *s == mark || v.is_nan());
        if reading || !(negative_revs || alone || is_far_off(values, &suspects, mark, number)) {
            continue;
        }
        for (row, value) in values.iter_mut().enumerate().filter(|(row, _)| suspects[*row] == mark) {
            *value = f64::NAN;
            taken.add(row);
        }
    }
    taken
}

/// Which of the marks a number is, from 1; most are not one.
type Suspect = Option<NonZeroU8>;

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
    suspect(value).is_some()
}

/// The mark that a number is, but for its last digits.
fn suspect(value: f64) -> Suspect {
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

/// Whether a current has readings below zero that are not marks.
fn flows_back(values: &[f64], suspects: &[Suspect]) -> bool {
    values.iter().zip(suspects).filter(|(v, s)| **v < 0.0 && s.is_none()).take(OFTEN).count() == OFTEN
}

/// Whether a mark mostly lasts for more than two rows.
fn rests(suspects: &[Suspect], mark: Suspect) -> bool {
    let rows = suspects.iter().filter(|s| **s == mark).count();
    let stretches = suspects.windows(2).filter(|w| w[0] != mark && w[1] == mark).count()
        + usize::from(suspects.first() == Some(&mark));
    rows > 2 * stretches.max(1)
}

/// A jump from a sound reading.
struct Jump {
    to_mark: bool,
    size: f64,
}

/// Calls `see` for each jump from a sound reading to another or to `mark`. Another mark says nothing about the
/// channel's own jumps.
fn each_jump(values: &[f64], suspects: &[Suspect], mark: Suspect, mut see: impl FnMut(Jump)) {
    let mut last = f64::NAN;
    for (&value, &suspect) in values.iter().zip(suspects) {
        let to_mark = suspect == mark;
        if !value.is_finite() || suspect.is_some() && !to_mark {
            continue;
        }
        if !last.is_nan() {
            see(Jump { to_mark, size: (value - last).abs() });
        }
        if !to_mark {
            last = value;
        }
    }
}

/// Whether the jumps from sound readings to `mark`, which is `number`, lie beyond nearly all other jumps of the
/// channel.
fn is_far_off(values: &[f64], suspects: &[Suspect], mark: Suspect, number: f64) -> bool {
    let (mut to_mark, mut count) = (Vec::new(), 0_usize);
    each_jump(values, suspects, mark, |jump| if jump.to_mark { to_mark.push(jump.size) } else { count += 1 });
    let times = to_mark.len();
    let jump_to_mark = quantile(to_mark, 0.5);
    if let Some(size) = jump_to_mark.filter(|_| count > 0) {
        // Most suspects are readings on their way, and a count is enough to say so.
        let mut farther = 0;
        each_jump(values, suspects, mark, |jump| farther += usize::from(!jump.to_mark && jump.size >= size));
        if (NEARLY_ALL * (count - 1) as f64) as usize >= count - farther {
            return false;
        }
    }
    let mut usual = Vec::with_capacity(count);
    each_jump(values, suspects, mark, |jump| {
        if !jump.to_mark {
            usual.push(jump.size);
        }
    });
    let largest_usual = quantile(usual, NEARLY_ALL);
    let readings = || values.iter().zip(suspects).filter(|(v, s)| v.is_finite() && s.is_none()).map(|(v, _)| *v);
    let Some(first) = readings().next() else {
        // A channel that holds nothing but the mark has no sensor behind it.
        return number != -1.0;
    };
    let (Some(size), Some(largest_usual)) = (jump_to_mark, largest_usual) else {
        return suspects.first() == Some(&mark) && (first - number).abs() > first.abs();
    };
    let [Some(low), Some(high)] = ENDS.map(|share| quantile(readings(), share)) else { return false };
    let margin = OUTSIDE * (high - low);
    let outside = number > high + margin || number < low - margin;
    let largest_usual = largest_usual.max(1e-9);
    // Inside the channel's range the same number over and over, each time out of nowhere, is a mark as well.
    outside && size > FAR * largest_usual || times >= OFTEN && size > largest_usual
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

    #[test]
    fn a_reading_of_255_on_the_way_up_is_not_a_mark() {
        let mut values: Vec<f64> = (0..400).map(f64::from).collect();
        assert_eq!(take_out_marks(Channel::Voltage, &mut values).count, 0);
    }
}
