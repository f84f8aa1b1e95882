//! Headers to channels and units: a name that is listed whole, a name inside the header, or what the unit says.

use std::cmp::Reverse;

use super::units::{Quantity, Unit};
use super::vocabulary::{Meaning, normalise, unit, vocabulary};
use crate::log::Channel;

/// How sure the meaning of a column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Certainty {
    /// Its header says nothing; its values may.
    Unnamed,
    /// Its header holds a known name.
    Contained,
    /// Its header is a known name.
    Known,
    /// The user says so.
    Stated,
}

/// What a header says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeaderMeaning {
    /// What the column holds, if that is known.
    pub meaning: Option<Meaning>,
    /// How sure that is.
    pub certainty: Certainty,
    /// The unit written in the header.
    pub unit: Option<Unit>,
}

impl HeaderMeaning {
    fn known(meaning: Meaning, unit: Option<Unit>) -> Self {
        Self { meaning: Some(meaning), certainty: Certainty::Known, unit }
    }

    fn contained(meaning: Option<Meaning>, unit: Option<Unit>) -> Self {
        let certainty = if meaning.is_some() { Certainty::Contained } else { Certainty::Unnamed };
        Self { meaning, certainty, unit }
    }
}

/// What `header` says of its column.
pub fn header_meaning(header: &str) -> HeaderMeaning {
    let (bare, bracketed) = split_bracketed_unit(header);
    let whole = normalise(&bare);
    let listed = vocabulary().meaning(&whole);
    let turns = bracketed.filter(|u| u.quantity == Quantity::Rpm && u.name != "hz");
    if let (Some(unit), Some(Meaning::Channel(Channel::GroundSpeed | Channel::WheelSpeed))) = (turns, listed) {
        // `Speed (rpm)` is the motor's.
        return HeaderMeaning::contained(Some(Meaning::Channel(Channel::Rpm)), Some(unit));
    }
    if let Some(meaning) = listed {
        return HeaderMeaning::known(meaning, bracketed.or_else(|| unit_in_name(&whole)));
    }
    // `Spannung V`, `motor_temp_c`, `I/A`: the last part or two are the unit.
    let parts: Vec<&str> =
        bare.split(|c: char| c.is_whitespace() || matches!(c, '_' | '/' | ':')).filter(|p| !p.is_empty()).collect();
    for unit_parts in 1..=2.min(parts.len().saturating_sub(1)) {
        let (rest, tail) = parts.split_at(parts.len() - unit_parts);
        let Some(unit) = unit(&tail.join("/")).or_else(|| unit(&tail.concat())) else { continue };
        let name = normalise(&rest.join(" "));
        let name = name.strip_suffix(" in").unwrap_or(&name);
        return match vocabulary().meaning(name) {
            Some(meaning) => HeaderMeaning::known(meaning, Some(unit)),
            None => HeaderMeaning::contained(contained_meaning(name, Some(unit)), Some(unit)),
        };
    }
    HeaderMeaning::contained(contained_meaning(&whole, bracketed), bracketed)
}

/// `krpm`, `milliseconds` and the like are a name and its unit in one; `rpm` alone says no more than the name.
fn unit_in_name(name: &str) -> Option<Unit> {
    unit(name).filter(|u| u.name == "krpm" || u.quantity == Quantity::Time && u.name != "s")
}

/// A header without its unit in brackets, and that unit.
fn split_bracketed_unit(header: &str) -> (String, Option<Unit>) {
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}'), ('<', '>'), ('（', '）'), ('［', '］'), ('【', '】')]
    {
        if let (Some(from), Some(to)) = (header.find(open), header.rfind(close))
            && from < to
            && let Some(unit) = unit(&header[from + open.len_utf8()..to])
        {
            return (format!("{} {}", &header[..from], &header[to + close.len_utf8()..]), Some(unit));
        }
    }
    (header.to_owned(), None)
}

/// The meaning of a header that is not listed whole: a temperature of a part of the car, else the longest known name in
/// it, else what its unit says. `None` where the header speaks of something that was worked out from a channel.
fn contained_meaning(name: &str, unit: Option<Unit>) -> Option<Meaning> {
    let parts = &vocabulary().parts;
    let holds = |list: &[String]| list.iter().any(|part| holds_words(name, part));
    let quantity = unit.map(|u| u.quantity);
    if holds(&parts.derived) || quantity == Some(Quantity::Other) {
        return None;
    }
    if holds(&parts.temperature) || quantity == Some(Quantity::Temperature) {
        if holds(&parts.other) {
            return None;
        }
        return Some(match (holds(&parts.motor), holds(&parts.controller)) {
            (true, false) => Meaning::Channel(Channel::MotorTemperature),
            (false, true) => Meaning::Channel(Channel::ControllerTemperature),
            _ if holds(&parts.ambient) => Meaning::Channel(Channel::Ambient),
            _ => Meaning::Temperature,
        });
    }
    longest_name_in(name, quantity).or_else(|| match quantity? {
        Quantity::Rpm => Some(Meaning::Channel(Channel::Rpm)),
        Quantity::Erpm => Some(Meaning::Erpm),
        Quantity::Voltage => Some(Meaning::Channel(Channel::Voltage)),
        Quantity::Current => Some(Meaning::Channel(Channel::Current)),
        Quantity::Time => Some(Meaning::Channel(Channel::Time)),
        _ => None,
    })
}

/// The longest known name inside `header` that agrees with the header's unit.
fn longest_name_in(header: &str, quantity: Option<Quantity>) -> Option<Meaning> {
    // Shorter ones turn up by chance: letters in Latin scripts, signs in Japanese and Chinese.
    const SHORTEST_LATIN: usize = 3;
    const SHORTEST_OTHER: usize = 2;
    let long = |n: &str| n.chars().count() >= if n.is_ascii() { SHORTEST_LATIN } else { SHORTEST_OTHER };
    let generic = |n: &str| vocabulary().parts.generic.iter().any(|g| g == n);
    let agrees = |meaning: Meaning| match (meaning, quantity) {
        (Meaning::Channel(channel), Some(written)) => {
            Quantity::from(channel) == written || channel == Channel::Rpm && written == Quantity::Erpm
        }
        _ => quantity.is_none(),
    };
    let inside = vocabulary()
        .names()
        .filter(|(name, meaning)| long(name) && !generic(name) && holds_words(header, name) && agrees(*meaning));
    inside.max_by_key(|(name, _)| (name.chars().count(), Reverse(*name))).map(|(_, meaning)| meaning)
}

/// Whether `words` are in `text` as whole words; without blanks between words, as in Japanese and Chinese, anywhere.
fn holds_words(text: &str, words: &str) -> bool {
    let ends_word = |byte: Option<&u8>| byte.is_none_or(|b| *b == b' ');
    text.match_indices(words).any(|(from, _)| {
        !words.is_ascii()
            || ends_word(from.checked_sub(1).and_then(|before| text.as_bytes().get(before)))
                && ends_word(text.as_bytes().get(from + words.len()))
    })
}

/// The temperature that a header may mean that names a part of the car and nothing else: the motor's or the
/// controller's, if the values look like one.
pub fn part_named(header: &str) -> Option<Channel> {
    let name = normalise(header);
    let parts = &vocabulary().parts;
    if parts.motor.contains(&name) {
        Some(Channel::MotorTemperature)
    } else {
        parts.controller.contains(&name).then_some(Channel::ControllerTemperature)
    }
}

/// A factor written into a header: `RPM x100`, `Drehzahl × 10`, `rpm*1000`.
pub fn factor(header: &str) -> Option<f64> {
    let (sign_start, sign) = header.char_indices().find(|(start, c)| {
        let before = header[..*start].chars().next_back();
        matches!(c, '×' | '*') || matches!(c, 'x' | 'X') && before.is_none_or(|b| !b.is_alphanumeric())
    })?;
    let digits: String =
        header[sign_start + sign.len_utf8()..].trim_start().chars().take_while(char::is_ascii_digit).collect();
    digits.parse().ok().filter(|f| [10.0, 100.0, 1000.0].contains(f))
}

/// How many cells in the first lines of `text` hold one of our names or units beyond ASCII: evidence that the text was
/// decoded with the right encoding.
pub fn familiar_cells(text: &str) -> usize {
    /// Preamble, header and units are within these lines.
    const HEAD_LINES: usize = 60;
    let cells = text
        .lines()
        .take(HEAD_LINES)
        .flat_map(|l| l.split([',', ';', '\t', '|', ':']))
        .map(|c| c.trim().trim_matches('"'));
    cells
        .filter(|cell| !cell.is_ascii())
        .filter(|cell| {
            let header = header_meaning(cell);
            let only_accents = cell.chars().all(|c| c.is_ascii() || ('\u{b0}'..='\u{ff}').contains(&c));
            let named = header.meaning.is_some() && (header.certainty == Certainty::Known || !only_accents);
            named || header.unit.is_some() || unit(cell).is_some()
        })
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    const RPM: Meaning = Meaning::Channel(Channel::Rpm);
    const MOTOR: Meaning = Meaning::Channel(Channel::MotorTemperature);
    const VOLTAGE: Meaning = Meaning::Channel(Channel::Voltage);

    #[rstest]
    #[case("RPM", Some(RPM), None)]
    #[case("Motor Temp (°F)", Some(MOTOR), Some("degf"))]
    #[case("motor_temp_c", Some(MOTOR), Some("degc"))]
    #[case("MotorTemp[°C]", Some(MOTOR), Some("degc"))]
    #[case("Spannung [mV]", Some(VOLTAGE), Some("mv"))]
    #[case("Spannung in V", Some(VOLTAGE), Some("v"))]
    #[case("回転数", Some(RPM), None)]
    #[case("電圧（V）", Some(VOLTAGE), Some("v"))]
    #[case("Drehzahl [1/min]", Some(RPM), Some("rpm"))]
    #[case("Température moteur (°C)", Some(MOTOR), Some("degc"))]
    #[case("wibble", None, None)]
    #[case("Max RPM", None, Some("rpm"))]
    fn headers_in_several_languages(#[case] text: &str, #[case] meaning: Option<Meaning>, #[case] unit: Option<&str>) {
        let found = header_meaning(text);
        assert_eq!((found.meaning, found.unit.map(|u| u.name)), (meaning, unit), "{text}");
    }
}
