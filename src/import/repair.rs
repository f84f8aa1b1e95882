//! Values that are no readings: full-scale marks and what no recorder could have measured.

use std::num::NonZeroU8;
use std::sync::OnceLock;

use crate::log::Channel;
use crate::notice::Notice;
use crate::statistics::quantiles::quantile;

/// Numbers that recorders write where there is no reading: full scales of 8, 16 and 32 bits with a decimal
/// mark anywhere, rows of nines, and minus one (common practice, no source).
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

/// Share of what flows that flows one way for that to be its direction.
const MOSTLY: f64 = 0.5;

/// A number that comes this often out of nowhere is no chance.
const OFTEN: usize = 4;

/// Replaces marks in `values` (as written, before units) by NaN. A mark is told from a reading by the jump that
/// leads to it: beyond what the channel does from row to row. Revs of -1 are always one.
/// Returns how many were taken out and the first row.
pub fn take_out_marks(channel: Channel, values: &mut [f64]) -> (u64, Option<usize>) {
    let suspect: Vec<Suspect> = values.iter().map(|v| suspect(*v)).collect();
    let mut found: Vec<Suspect> = Vec::new();
    for &mark in suspect.iter().flatten() {
        if !found.contains(&Some(mark)) {
            found.push(Some(mark));
        }
    }
    found.sort();
    let mut taken = (0, None);
    for which in found {
        let mark = which.map_or(f64::NAN, |at| marks().all[usize::from(at.get()) - 1]);
        let negative_revs = channel == Channel::Rpm && mark < 0.0;
        // Full brake is -1 of one; current may rest at -1 A for a while, where a mark comes and goes, and current that flows
        // back has other negative readings beside it.
        let current = || rests(&suspect, which) || flows_back(values, &suspect);
        let reading = mark == -1.0 && (channel == Channel::Throttle || channel == Channel::Current && current());
        // A column that holds nothing but a negative mark has no sensor behind it.
        let alone = mark < 0.0 && values.iter().zip(&suspect).all(|(v, s)| *s == which || v.is_nan());
        if reading || !(negative_revs || alone || stands_out(values, &suspect, which, mark)) {
            continue;
        }
        for (row, value) in values.iter_mut().enumerate().filter(|(row, _)| suspect[*row] == which) {
            *value = f64::NAN;
            taken = (taken.0 + 1, Some(taken.1.map_or(row, |first: usize| first.min(row))));
        }
    }
    taken
}

/// Which of the marks a number is, from 1; most are none.
type Suspect = Option<NonZeroU8>;

/// The marks wherever their decimal mark stands, in order, and a rough table of them.
struct Marks {
    all: Vec<f64>,
    /// A bit for each of the first 16 bits of a double: sign, exponent and four bits of its fraction.
    rough: Vec<u64>,
}

impl Marks {
    fn new() -> Self {
        // 6553.5 and 655.35 are marks as 65535 is; small ones are whole.
        let powers = |mark: f64| if mark.abs() >= 999.0 { &[1.0, 10.0, 100.0, 1000.0][..] } else { &[1.0] };
        let mut all: Vec<f64> = MARKS.iter().flat_map(|m| powers(*m).iter().map(move |p| m / p)).collect();
        all.sort_by(f64::total_cmp);
        let mut rough = vec![0; 1 << 10];
        for mark in &all {
            let around = Self::tolerance(*mark);
            for value in [mark - around, *mark, mark + around] {
                let (word, bit) = Self::place(value);
                rough[word] |= bit;
            }
        }
        Self { all, rough }
    }

    fn tolerance(mark: f64) -> f64 {
        1e-6 * mark.abs().max(1.0)
    }

    fn place(value: f64) -> (usize, u64) {
        let head = (value.to_bits() >> 48) as usize;
        (head >> 6, 1 << (head & 63))
    }
}

fn marks() -> &'static Marks {
    static MARKED: OnceLock<Marks> = OnceLock::new();
    MARKED.get_or_init(Marks::new)
}

/// Whether a number is one of the marks, wherever its decimal mark stands.
pub fn is_mark(value: f64) -> bool {
    suspect(value).is_some()
}

/// The mark that a number is as near to as its last digits.
fn suspect(value: f64) -> Suspect {
    let marks = marks();
    let (word, bit) = Marks::place(value);
    // Nearly all readings are told by the table.
    if marks.rough[word] & bit == 0 {
        return None;
    }
    let near = |at: &usize| marks.all.get(*at).is_some_and(|m| (value - m).abs() < Marks::tolerance(*m));
    let at = marks.all.partition_point(|m| *m < value);
    let found = [Some(at), at.checked_sub(1)].into_iter().flatten().find(near)?;
    NonZeroU8::new(u8::try_from(found + 1).ok()?)
}

/// Whether a current has readings below zero that are no marks.
fn flows_back(values: &[f64], suspect: &[Suspect]) -> bool {
    values.iter().zip(suspect).filter(|(v, s)| **v < 0.0 && s.is_none()).take(OFTEN).count() == OFTEN
}

/// Whether a mark mostly stands over more than two rows.
fn rests(suspect: &[Suspect], mark: Suspect) -> bool {
    let rows = suspect.iter().filter(|s| **s == mark).count();
    let stretches = suspect.windows(2).filter(|w| w[0] != mark && w[1] == mark).count()
        + usize::from(suspect.first() == Some(&mark));
    rows > 2 * stretches.max(1)
}

/// Tells `see` of each jump from a sound reading: whether it leads to the mark, and how far. Another mark says nothing about the channel's own jumps.
fn each_jump(values: &[f64], suspect: &[Suspect], mark: Suspect, mut see: impl FnMut(bool, f64)) {
    let mut last = f64::NAN;
    for (&value, &suspect) in values.iter().zip(suspect) {
        let marked = suspect == mark;
        if !value.is_finite() || suspect.is_some() && !marked {
            continue;
        }
        if !last.is_nan() {
            see(marked, (value - last).abs());
        }
        if !marked {
            last = value;
        }
    }
}

/// Whether the jumps from sound readings to `mark` and back lie beyond nearly all other jumps of the channel.
fn stands_out(values: &[f64], suspect: &[Suspect], which: Suspect, mark: f64) -> bool {
    const NEARLY_ALL: f64 = 0.99;
    let (mut to_mark, mut count) = (Vec::new(), 0_usize);
    each_jump(values, suspect, which, |marked, jump| if marked { to_mark.push(jump) } else { count += 1 });
    let times = to_mark.len();
    let jump = quantile(to_mark, 0.5);
    if let Some(jump) = jump.filter(|_| count > 0) {
        // Most suspects are readings on their way, and are told by a count.
        let mut farther = 0;
        each_jump(values, suspect, which, |marked, usual| farther += usize::from(!marked && usual >= jump));
        if (NEARLY_ALL * (count - 1) as f64) as usize >= count - farther {
            return false;
        }
    }
    let mut usual = Vec::with_capacity(count);
    each_jump(values, suspect, which, |marked, jump| {
        if !marked {
            usual.push(jump);
        }
    });
    let most = quantile(usual, NEARLY_ALL);
    let others = || values.iter().zip(suspect).filter(|(v, s)| v.is_finite() && s.is_none()).map(|(v, _)| *v);
    let Some(first) = others().next() else {
        // A channel that holds nothing but the mark has no sensor behind it.
        return mark != -1.0;
    };
    let (Some(jump), Some(most)) = (jump, most) else {
        return suspect.first() == Some(&which) && (first - mark).abs() > first.abs();
    };
    let (Some(low), Some(high)) = (quantile(others(), 0.005), quantile(others(), 0.995)) else {
        return false;
    };
    let outside = mark > high + 0.05 * (high - low) || mark < low - 0.05 * (high - low);
    // Inside the channel's range the same number over and over, each time out of nowhere, is a mark as well.
    outside && jump > 2.0 * most.max(1e-9) || times >= OFTEN && jump > most.max(1e-9)
}

/// Replaces values outside the channel's plausible range by NaN; returns how many and the first row.
pub fn take_out_implausible(channel: Channel, values: &mut [f64]) -> (u64, Option<usize>) {
    let (low, high) = channel.plausible();
    let mut taken = (0, None);
    for (row, value) in values.iter_mut().enumerate() {
        if *value < low || *value > high {
            *value = f64::NAN;
            taken = (taken.0 + 1, taken.1.or(Some(row)));
        }
    }
    taken
}

/// Turns the sign of a current that mostly flows back, which no pack does over a run: its recorder writes with a minus what is taken from the pack. Whether
/// it did.
pub fn turn(current: &mut [f64]) -> bool {
    let known = || current.iter().filter(|v| v.is_finite());
    let (sum, size) = known().fold((0.0, 0.0), |(sum, size), v| (sum + v, size + v.abs()));
    let flows_back = sum < -MOSTLY * size;
    if flows_back {
        current.iter_mut().for_each(|v| *v = -*v);
    }
    flows_back
}

/// What to say of values taken out.
pub fn notice(code: &'static str, channel: Channel, column: &str, what: &str, line: Option<u64>, count: u64) -> Notice {
    Notice::warning(code, format!("`{column}` ({}): {what}", channel.name())).at(line, count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_found_wherever_their_decimal_mark_stands() {
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
        assert_eq!(take_out_marks(Channel::Current, &mut values), (0, None));
    }

    #[test]
    fn a_mark_among_temperatures_is_taken_out() {
        let mut values: Vec<f64> = (0..100).map(|n| 30.0 + f64::from(n) * 0.1).collect();
        values[40] = 999.9;
        values[41] = 999.9;
        values[70] = -1.0;
        assert_eq!(take_out_marks(Channel::MotorTemperature, &mut values), (3, Some(40)));
    }

    #[test]
    fn minus_one_ampere_while_braking_is_a_reading() {
        let mut values: Vec<f64> = (0..200).map(|n| [0.0, 12.0, 30.0, 8.0, -1.0, -1.0, 0.0, -2.0][n % 8]).collect();
        assert_eq!(take_out_marks(Channel::Current, &mut values).0, 0);
    }

    #[test]
    fn a_reading_of_255_on_the_way_up_is_none_of_them() {
        let mut values: Vec<f64> = (0..400).map(f64::from).collect();
        assert_eq!(take_out_marks(Channel::Voltage, &mut values).0, 0);
    }
}
