//! Times: clock cells to seconds, and a recorder's clock to one that only runs forward.

use jiff::civil::Date;

use crate::notice::Notice;
use crate::statistics::quantiles::median;

/// Seconds of a day.
pub const DAY_S: f64 = 86_400.0;
/// A pause longer than this starts a new run. Common practice, no source: nobody races across it.
pub const RUN_GAP_S: f64 = 60.0;
/// Times nearer than this are one: no recorder writes so many rows a second.
const SAME_S: f64 = 1e-9;
/// A gap of more than this many steps means rows were lost; half a step more than the next row.
const LOST_STEPS: f64 = 1.6;
/// Share of repeated times from which a clock counts as coarser than the rows.
const COARSE_SHARE: f64 = 0.2;

/// Seconds of a time or a date with time: `h:mm:ss.sss`, `mm:ss.sss`, with a date before it, with `T`, `Z`, an
/// offset, am or pm. With a date, seconds since 1970-01-01; without, since midnight.
pub fn parse(cell: &str) -> Option<f64> {
    let cell = cell.trim();
    // Cheap refusal: this is asked of every cell that is no number.
    if !cell.as_bytes().first()?.is_ascii_digit() || !cell.contains(':') && !cell.contains('時') && !cell.contains('时')
    {
        return None;
    }
    let lower = cell.to_lowercase();
    let (rest, noon) = match lower.trim_end_matches('.') {
        t if t.ends_with("pm") || t.ends_with("p.m") => (t.trim_end_matches("p.m").trim_end_matches("pm"), Some(true)),
        t if t.ends_with("am") || t.ends_with("a.m") => (t.trim_end_matches("a.m").trim_end_matches("am"), Some(false)),
        t => (t, None),
    };
    let rest = rest.trim().trim_end_matches('z');
    let split = rest.rfind(['t', ' ', '_']).filter(|&at| rest[..at].bytes().filter(u8::is_ascii_digit).count() >= 6);
    let (day, time) = match split {
        Some(at) => (date(rest[..at].trim().trim_end_matches(','))?, &rest[at + 1..]),
        None => (0.0, rest),
    };
    let time = time.rfind(['+', '-']).map_or(time, |at| &time[..at]);
    let mut seconds = time_of_day(time)?;
    match noon {
        Some(true) if seconds < DAY_S / 2.0 => seconds += DAY_S / 2.0,
        Some(false) if seconds >= DAY_S / 2.0 => seconds -= DAY_S / 2.0,
        _ => {}
    }
    Some(day + seconds)
}

fn time_of_day(text: &str) -> Option<f64> {
    let plain = text.replace(['時', '时', '分'], ":").replace('秒', "").replace(',', ".");
    let parts: Vec<&str> = plain.trim().split(':').collect();
    let number = |p: &str| p.bytes().all(|b| b.is_ascii_digit() || b == b'.').then(|| p.parse::<f64>().ok()).flatten();
    let whole = |p: &str| {
        (!p.is_empty() && p.len() <= 3 && p.bytes().all(|b| b.is_ascii_digit()))
            .then(|| p.parse::<f64>().ok())
            .flatten()
    };
    let (minutes, seconds) = match parts[..] {
        [h, m, s] => (whole(h)? * 60.0 + whole(m).filter(|&m| m < 60.0)?, number(s)?),
        [m, s] => (whole(m)?, number(s)?),
        // `12:01:05:250`: milliseconds behind a colon.
        [h, m, s, ms] if ms.len() <= 3 => (whole(h)? * 60.0 + whole(m)?, whole(s)? + whole(ms)? / 1000.0),
        _ => return None,
    };
    (seconds < 61.0).then_some(minutes * 60.0 + seconds)
}

/// Seconds from 1970-01-01 to a date written year first, or day or month first. Only differences of
/// dates are used, so that an unclear order of day and month does no harm within a run.
pub fn date(text: &str) -> Option<f64> {
    let plain = text.trim().replace(['年', '月'], "-").replace('日', "");
    let parts: Vec<&str> = plain.trim().split(['-', '/', '.', ' ']).filter(|p| !p.is_empty()).collect();
    let [a, b, c] = parts[..] else { return None };
    let (a_n, b_n, c_n): (i16, i16, i16) = (a.parse().ok()?, b.parse().ok()?, c.parse().ok()?);
    let (year, month, day) = match () {
        () if a.len() == 4 => (a_n, b_n, c_n),
        () if b_n > 12 => (c_n, a_n, b_n),
        () => (c_n, b_n, a_n),
    };
    let year = if year < 100 { year + 2000 } else { year };
    let date = Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
    let epoch = Date::constant(1970, 1, 1);
    Some(f64::from((date - epoch).get_days()) * DAY_S)
}

/// A clock that only runs forward.
pub struct Settled {
    /// Seconds of each row; increasing within a part, NaN on rows to drop.
    pub time: Vec<f64>,
    /// First row of each run in the file.
    pub parts: Vec<usize>,
    /// What was repaired.
    pub notices: Vec<Notice>,
}

/// Repairs `raw` seconds (NaN where missing): fills single gaps, spreads a coarse clock over its rows, undoes
/// wraps, midnights and set-backs, and splits where a new run begins. `breaks` are rows known to start one;
/// `daily` says that the clock shows the time of day; `line` gives a row's line.
pub fn settle(raw: Vec<f64>, breaks: &[usize], daily: bool, line: impl Fn(usize) -> u64) -> Settled {
    let mut time = raw;
    let mut notices = Vec::new();
    carry_on(&mut time);
    let filled = fill(&mut time);
    if let Some(&first) = filled.first() {
        notices.push(
            Notice::warning(
                "time-filled",
                "the time of some rows was missing or out of place and was taken from their neighbours",
            )
            .at(Some(line(first)), filled.len() as u64),
        );
    }
    let parts = run_forward(&mut time, breaks, daily, &line, &mut notices);
    for (at, &from) in parts.iter().enumerate() {
        let to = parts.get(at + 1).copied().unwrap_or(time.len());
        if let Some(quantum) = spread(&mut time[from..to]) {
            notices.push(
                Notice::warning(
                    "coarse-clock",
                    format!("the clock counts in steps of {quantum} s over several rows; they were spread evenly"),
                )
                .at(Some(line(from)), (to - from) as u64),
            );
        }
    }
    if parts.len() > 1 {
        notices.push(
            Notice::note("several-runs", format!("the file holds {} runs and was split", parts.len()))
                .at(Some(line(parts[1])), 1),
        );
    }
    let blank: Vec<usize> = (0..time.len()).filter(|&row| time[row].is_nan()).collect();
    if let Some(&first) = blank.first() {
        let message = "rows without a usable time were dropped";
        notices.push(Notice::warning("time-missing", message).at(Some(line(first)), blank.len() as u64));
    }
    drop_repeats(&mut time, &parts, &line, &mut notices);
    Settled { time, parts, notices }
}

/// A clock that is written only where it changes holds for the rows after it.
fn carry_on(time: &mut [f64]) {
    let blank = time.iter().filter(|t| t.is_nan()).count();
    if blank * 2 <= time.len() {
        return;
    }
    let mut last = f64::NAN;
    for shown in time.iter_mut() {
        if shown.is_nan() {
            *shown = last;
        }
        last = *shown;
    }
}

/// Fills missing times and lone outliers between sound neighbours; returns the rows that were filled.
fn fill(time: &mut [f64]) -> Vec<usize> {
    let step = median(time.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0)).unwrap_or(0.0);
    let mut filled = Vec::new();
    for at in 1..time.len().saturating_sub(1) {
        let (before, here, after) = (time[at - 1], time[at], time[at + 1]);
        let between = (before..=after).contains(&here);
        if !between && here.is_finite() && after >= before && after - before <= 5.0 * step.max(f64::MIN_POSITIVE) {
            // Two rows that changed places stay in; only their times are put in order.
            time[at] = (before + after) / 2.0;
            filled.push(at);
        }
    }
    let mut at = 0;
    while at < time.len() {
        if time[at].is_finite() {
            at += 1;
            continue;
        }
        let end = (at..time.len()).find(|&i| time[i].is_finite()).unwrap_or(time.len());
        if at > 0 && end < time.len() {
            let (from, to, rows) = (time[at - 1], time[end], (end - at + 1) as f64);
            if to >= from && to - from <= 2.0 * rows * step.max(f64::MIN_POSITIVE) {
                for (place, value) in time[at..end].iter_mut().enumerate() {
                    *value = from + (to - from) * (place + 1) as f64 / rows;
                }
                filled.extend(at..end);
            }
        }
        at = end;
    }
    filled
}

/// Adds up offsets so that time never runs back within a part; returns the first row of each part.
fn run_forward(
    time: &mut [f64],
    breaks: &[usize],
    daily: bool,
    line: &impl Fn(usize) -> u64,
    notices: &mut Vec<Notice>,
) -> Vec<usize> {
    let step = median(time.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0)).unwrap_or(0.0);
    let mut parts = vec![0];
    let (mut offset, mut last, mut first) = (0.0, f64::NAN, f64::NAN);
    for (row, shown) in time.iter_mut().enumerate() {
        if !shown.is_finite() {
            continue;
        }
        let mut now = *shown + offset;
        let part = parts.last().copied().unwrap_or(0);
        let started = if part == 0 { !last.is_nan() } else { row > part };
        if started && !daily {
            let days = ((now - last - step) / DAY_S).round();
            if days.abs() > 2.0 && (now - last - step - days * DAY_S).abs() < 10.0 * step {
                // A date with day and month in the other order, or a year of two digits, over midnight.
                offset -= days * DAY_S;
                now -= days * DAY_S;
                notices.push(
                    Notice::note("past-midnight", "the date changed at midnight in an order that is not clear")
                        .at(Some(line(row)), 1),
                );
            }
        }
        let restart = started
            && !daily
            && wrapped(last, now, step).is_none()
            && now < last
            && now <= first + 5.0 * step
            && last - first > 10.0 * step;
        let pause = started && now - last > RUN_GAP_S.max(10.0 * step);
        // A header written again while time runs on starts nothing.
        let broken = breaks.contains(&row) && (now < last || now - last > 10.0 * step);
        if started && (broken || restart || pause) {
            parts.push(row);
            (offset, first, now) = (0.0, *shown, *shown);
        } else if started && now < last {
            let (added, notice) = undo_jump(last, now, step, daily);
            offset += added;
            now += added;
            notices.push(notice.at(Some(line(row)), 1));
        }
        if first.is_nan() {
            first = now;
        }
        *shown = now;
        last = now;
    }
    parts
}

/// What to add after a clock ran back from `last` to `now`, and what to say about it.
fn undo_jump(last: f64, now: f64, step: f64, daily: bool) -> (f64, Notice) {
    let drop = last - now;
    let near = |whole: f64| (drop + step - whole).abs() <= RUN_GAP_S.min(whole / 10.0) && drop + step > 0.5 * whole;
    if daily {
        for (whole, what) in [(DAY_S, "midnight"), (DAY_S / 2.0, "noon on a twelve-hour clock")] {
            if near(whole) {
                return (whole, Notice::note("past-midnight", format!("the clock passed {what}")));
            }
        }
    }
    if let Some(whole) = wrapped(last, now, step) {
        return (whole, Notice::note("clock-wrapped", format!("the clock's counter started anew after {whole} s")));
    }
    (
        drop + step,
        Notice::warning(
            "clock-set-back",
            format!("the clock ran back by {drop:.3} s; the rows after it were moved on"),
        ),
    )
}

/// The full count of a counter of 16 or 32 bits, in milliseconds or microseconds, that ran over from `last` to `now`.
fn wrapped(last: f64, now: f64, step: f64) -> Option<f64> {
    let drop = last - now;
    [65.536, 4_294_967.296, 4_294.967_296]
        .into_iter()
        .find(|whole| (drop + step - whole).abs() <= 2.0 * step && drop > 20.0 * step)
}

/// Spreads times that stand still over several rows; returns the clock's step where it did so.
fn spread(time: &mut [f64]) -> Option<f64> {
    let steps = || time.windows(2).map(|w| w[1] - w[0]).filter(|d| d.is_finite());
    let (count, still) = (steps().count(), steps().filter(|&d| d == 0.0).count());
    if (still as f64) < COARSE_SHARE * count as f64 || count < 10 {
        return None;
    }
    let quantum = median(steps().filter(|&d| d > 0.0))?;
    let rows: Vec<usize> = (0..time.len()).filter(|&r| time[r].is_finite()).collect();
    let mut groups: Vec<(usize, usize)> = Vec::new();
    for at in 0..rows.len() {
        match groups.last_mut() {
            Some(group) if time[rows[group.0]] == time[rows[at]] => group.1 = at + 1,
            _ => groups.push((at, at + 1)),
        }
    }
    let inner = groups.get(1..groups.len().saturating_sub(1)).unwrap_or(&[]);
    let usual = median(inner.iter().map(|g| (g.1 - g.0) as f64)).unwrap_or(1.0).max(1.0);
    let even = inner.iter().all(|g| ((g.1 - g.0) as f64 - usual).abs() <= 1.0)
        && groups.windows(2).all(|w| (time[rows[w[1].0]] - time[rows[w[0].0]] - quantum).abs() < 0.01 * quantum);
    let written: Vec<f64> = rows.iter().map(|&r| time[r]).collect();
    let rate = if even && !inner.is_empty() {
        inner.iter().map(|g| (g.1 - g.0) as f64).sum::<f64>() / inner.len() as f64 / quantum
    } else {
        usual / quantum
    };
    let start = groups.get(1).map_or(0, |g| g.0);
    for (index, &(from, to)) in groups.iter().enumerate() {
        for at in from..to {
            let since = (at - from) as f64;
            time[rows[at]] = if even && !inner.is_empty() {
                // No row was lost: one even clock through all of them.
                written[start] + (at as f64 - start as f64) / rate
            } else if index == 0 {
                written[at] + quantum - (to - at) as f64 / rate
            } else {
                written[at] + (since / rate).min(quantum * since / (to - from) as f64)
            };
        }
    }
    Some(quantum)
}

/// Marks rows whose time is that of the row before (NaN).
fn drop_repeats(time: &mut [f64], parts: &[usize], line: &impl Fn(usize) -> u64, notices: &mut Vec<Notice>) {
    let mut repeats: (u64, Option<u64>) = (0, None);
    let (mut first, mut last) = (f64::NAN, f64::NAN);
    for (row, shown) in time.iter_mut().enumerate() {
        if parts.contains(&row) {
            (first, last) = (f64::NAN, f64::NAN);
        }
        // Counted from the part's first row, times must differ still.
        let same = SAME_S.max(4.0 * f64::EPSILON * (shown.abs() + first.abs()));
        if *shown - last <= same {
            *shown = f64::NAN;
            repeats = (repeats.0 + 1, repeats.1.or(Some(line(row))));
        } else if shown.is_finite() {
            last = *shown;
            first = if first.is_nan() { last } else { first };
        }
    }
    if repeats.0 > 0 {
        notices.push(
            Notice::warning("repeated-time", "rows with the time of the row before were dropped")
                .at(repeats.1, repeats.0),
        );
    }
}

/// Median step of `time` and the rows missing in it: each gap beyond one and a half steps, in whole steps.
pub fn lost_rows(time: &[f64]) -> (f64, u64, Option<usize>) {
    let step = median(time.windows(2).map(|w| w[1] - w[0])).unwrap_or(0.0);
    let usual = || time.windows(2).map(|w| w[1] - w[0]).filter(|&d| d < LOST_STEPS * step);
    let mean = usual().sum::<f64>() / usual().count().max(1) as f64;
    let mut lost = (0, None);
    for (at, w) in time.windows(2).enumerate() {
        if w[1] - w[0] > LOST_STEPS * mean && mean > 0.0 {
            lost = (lost.0 + ((w[1] - w[0]) / mean).round() as u64 - 1, lost.1.or(Some(at + 1)));
        }
    }
    (mean, lost.0, lost.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("0:19.412", Some(19.412))]
    #[case("14:03:05.050", Some(50_585.05))]
    #[case("14:03:05,050", Some(50_585.05))]
    #[case("02:03:05 PM", Some(50_585.0))]
    #[case("12:00:01 am", Some(1.0))]
    #[case("1970-01-02T00:00:01.5Z", Some(86_401.5))]
    #[case("02.01.1970 00:00:01", Some(86_401.0))]
    #[case("1970/01/02 00:00:01+02:00", Some(86_401.0))]
    #[case("1970年1月2日 0時00分01秒", Some(86_401.0))]
    #[case("14:03:05:250", Some(50_585.25))]
    #[case("12.5", None)]
    #[case("a:b", None)]
    fn clock_cells(#[case] cell: &str, #[case] seconds: Option<f64>) {
        assert_eq!(parse(cell), seconds);
    }

    fn settled(raw: &[f64], daily: bool) -> Settled {
        settle(raw.to_vec(), &[], daily, |row| row as u64 + 2)
    }

    #[test]
    fn a_clock_past_midnight_goes_on() {
        let s = settled(&[86_399.8, 86_399.9, 0.0, 0.1], true);
        let steps: Vec<f64> = s.time.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(steps.iter().all(|d| (d - 0.1).abs() < 1e-6), "{steps:?}");
    }

    #[test]
    fn a_restart_from_zero_is_a_new_run() {
        let raw: Vec<f64> = (0..50).chain(0..50).map(|n| f64::from(n) * 0.1).collect();
        assert_eq!(settled(&raw, false).parts, [0, 50]);
    }

    #[test]
    fn a_set_back_clock_is_moved_on() {
        let mut raw: Vec<f64> = (0..50).map(|n| f64::from(n) * 0.1).collect();
        raw[30..].iter_mut().for_each(|t| *t -= 2.0);
        let s = settled(&raw, false);
        assert_eq!(s.parts, [0]);
        assert!((s.time[49] - 4.9).abs() < 1e-9, "{}", s.time[49]);
    }

    #[test]
    fn whole_seconds_are_spread_over_their_rows() {
        let raw: Vec<f64> = (0..200).map(|n| (f64::from(n) * 0.05 + 0.3).floor()).collect();
        let s = settled(&raw, true);
        let steps: Vec<f64> = s.time.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(steps.iter().all(|d| (d - 0.05).abs() < 1e-6), "{steps:?}");
    }
}
