//! Times and dates as written in a cell, to seconds.

use jiff::civil::Date;

/// Seconds of a day.
pub const DAY_S: f64 = 86_400.0;

/// Half of the day on a twelve-hour clock.
#[derive(PartialEq)]
enum HalfDay {
    Morning,
    Afternoon,
}

/// Seconds of a time or a date with time: `h:mm:ss.sss`, `mm:ss.sss`, with a date before it, with `T`, `Z`, an offset,
/// am or pm. With a date, seconds since 1970-01-01; without, since midnight. `None` where the cell is not a time.
pub fn parse(cell: &str) -> Option<f64> {
    let cell = cell.trim();
    // A cheap refusal: this is asked of every cell that is not a number.
    if !cell.as_bytes().first()?.is_ascii_digit() || !cell.contains(':') && !cell.contains('時') && !cell.contains('时')
    {
        return None;
    }
    let lower = cell.to_lowercase();
    let (rest, half) = split_half_day(lower.trim_end_matches('.'));
    let rest = rest.trim().trim_end_matches('z');
    // A date has six digits at least.
    let split = rest.rfind(['t', ' ', '_']).filter(|&at| rest[..at].bytes().filter(u8::is_ascii_digit).count() >= 6);
    let (day, time) = match split {
        Some(at) => (parse_date(rest[..at].trim().trim_end_matches(','))?, &rest[at + 1..]),
        None => (0.0, rest),
    };
    let time = time.rfind(['+', '-']).map_or(time, |offset| &time[..offset]);
    let seconds = time_of_day(time)?;
    let shift = match half {
        Some(HalfDay::Afternoon) if seconds < DAY_S / 2.0 => DAY_S / 2.0,
        Some(HalfDay::Morning) if seconds >= DAY_S / 2.0 => -DAY_S / 2.0,
        _ => 0.0,
    };
    Some(day + (seconds + shift))
}

/// A lower-case time without its am or pm, and which of them it was.
fn split_half_day(text: &str) -> (&str, Option<HalfDay>) {
    if text.ends_with("pm") || text.ends_with("p.m") {
        (text.trim_end_matches("p.m").trim_end_matches("pm"), Some(HalfDay::Afternoon))
    } else if text.ends_with("am") || text.ends_with("a.m") {
        (text.trim_end_matches("a.m").trim_end_matches("am"), Some(HalfDay::Morning))
    } else {
        (text, None)
    }
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
    // A second may be a leap second.
    (seconds < 61.0).then_some(minutes * 60.0 + seconds)
}

/// Seconds from 1970-01-01 to a date written year first, or day or month first. Only differences of dates are used, so
/// that an unclear order of day and month does no harm within a run.
pub fn parse_date(text: &str) -> Option<f64> {
    let plain = text.trim().replace(['年', '月'], "-").replace('日', "");
    let parts: Vec<&str> = plain.trim().split(['-', '/', '.', ' ']).filter(|p| !p.is_empty()).collect();
    let [first, second, third] = parts[..] else { return None };
    let year_first = first.len() == 4;
    let (first, second, third): (i16, i16, i16) = (first.parse().ok()?, second.parse().ok()?, third.parse().ok()?);
    let (year, month, day) = if year_first {
        (first, second, third)
    } else if second > 12 {
        (third, first, second)
    } else {
        (third, second, first)
    };
    let year = if year < 100 { year + 2000 } else { year };
    let date = Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
    let epoch = Date::constant(1970, 1, 1);
    Some(f64::from((date - epoch).get_days()) * DAY_S)
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
}
