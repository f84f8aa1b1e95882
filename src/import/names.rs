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
    /// Its unit says what kind of thing it holds, its name does not.
    ByUnit,
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

    fn contained(name: &str, unit: Option<Unit>) -> Self {
        let (meaning, certainty) = match contained_meaning(name, unit) {
            Some((meaning, certainty)) => (Some(meaning), certainty),
            None => (None, Certainty::Unnamed),
        };
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
        let (meaning, certainty) = (Some(Meaning::Channel(Channel::Rpm)), Certainty::Contained);
        return HeaderMeaning { meaning, certainty, unit: Some(unit) };
    }
    if let Some(meaning) = listed {
        return HeaderMeaning::known(meaning, bracketed.or_else(|| unit_in_name(&whole)));
    }
    match unit_in_tail(&bare).filter(|_| bracketed != Some(Unit::OTHER)) {
        Some(tail) => match vocabulary().meaning(&tail.name) {
            // `Temp A` is the first of two, and not in amperes.
            Some(meaning) if tail.is_letter && !admits(meaning, tail.unit) => HeaderMeaning::contained(&whole, None),
            Some(meaning) => HeaderMeaning::known(meaning, Some(tail.unit)),
            None => HeaderMeaning::contained(&tail.name, Some(tail.unit)),
        },
        None => HeaderMeaning::contained(&whole, bracketed),
    }
}

/// A header that ends in a unit.
struct UnitTail {
    /// The name before it, as names are listed.
    name: String,
    unit: Unit,
    /// Whether the unit is one letter, which may be a part's.
    is_letter: bool,
}

/// The name and the unit of `Spannung V`, `motor_temp_c`, `I/A`: the last part or two are the unit.
fn unit_in_tail(header: &str) -> Option<UnitTail> {
    let parts: Vec<&str> =
        header.split(|c: char| c.is_whitespace() || matches!(c, '_' | '/' | ':')).filter(|p| !p.is_empty()).collect();
    for unit_parts in 1..=2.min(parts.len().saturating_sub(1)) {
        let (rest, tail) = parts.split_at(parts.len() - unit_parts);
        let cut = |opening: char, closing: char| {
            tail.iter().any(|part| part.contains(closing)) && !tail.iter().any(|part| part.contains(opening))
        };
        // The end of `[Nm/A]` is not a unit.
        if cut('[', ']') || cut('(', ')') {
            continue;
        }
        let Some(unit) = unit(&tail.join("/")).or_else(|| unit(&tail.concat())) else { continue };
        let name = normalise(&rest.join(" "));
        let name = name.strip_suffix(" in").unwrap_or(&name).to_owned();
        return Some(UnitTail { name, unit, is_letter: tail.len() == 1 && tail[0].chars().count() == 1 });
    }
    None
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
            && let Some(unit) = bracketed_unit(&header[from + open.len_utf8()..to])
        {
            return (format!("{} {}", &header[..from], &header[to + close.len_utf8()..]), Some(unit));
        }
    }
    (header.to_owned(), None)
}

/// The unit that `text` in brackets is: a known one, or one made of a known one, such as `Nm/A`.
fn bracketed_unit(text: &str) -> Option<Unit> {
    let is_alone = |t: &str| vocabulary().parts.units_in_brackets.iter().any(|u| u == &t.trim().to_lowercase());
    let is_made_of_one = || {
        let (first, rest) = text.split_once(['/', '·', '*', '^'])?;
        (!rest.trim().is_empty() && (unit(first).is_some() || is_alone(first))).then_some(Unit::OTHER)
    };
    unit(text).or_else(|| is_alone(text).then_some(Unit::OTHER)).or_else(is_made_of_one)
}

/// Whether a column of this meaning can be in `unit`. Turns may be electrical ones, and a throttle may be written as
/// its servo's pulse.
pub fn admits(meaning: Meaning, unit: Unit) -> bool {
    let turns = [Quantity::Rpm, Quantity::Erpm];
    match meaning {
        Meaning::Channel(Channel::Throttle) => unit.quantity == Quantity::Share || ["us", "ms"].contains(&unit.name),
        Meaning::Channel(channel) => {
            let own = Quantity::from(channel);
            unit.quantity == own || turns.contains(&own) && turns.contains(&unit.quantity)
        }
        Meaning::Erpm => turns.contains(&unit.quantity),
        Meaning::CellVoltage => unit.quantity == Quantity::Voltage,
        Meaning::Temperature => unit.quantity == Quantity::Temperature,
        Meaning::Date | Meaning::Index => true,
    }
}

/// The meaning of a header that is not listed whole, and how sure it is: a temperature of a part of the car, else the
/// longest known name in it, else what its unit says. `None` where the header speaks of something that was worked out
/// from a channel, of a command, or of something else than a channel.
fn contained_meaning(name: &str, unit: Option<Unit>) -> Option<(Meaning, Certainty)> {
    let parts = &vocabulary().parts;
    let quantity = unit.map(|u| u.quantity);
    if holds(name, &parts.derived) || holds(name, &parts.command) || quantity == Some(Quantity::Other) {
        return None;
    }
    if holds(name, &parts.temperature) || quantity == Some(Quantity::Temperature) {
        return temperature_of(name).map(|meaning| (meaning, Certainty::Contained));
    }
    if let Some(meaning) = longest_name_in(name, quantity) {
        return (!is_elsewhere(name, meaning)).then_some((meaning, Certainty::Contained));
    }
    let meaning = match (quantity?, unit?.name) {
        // A frequency is seldom that of the motor.
        (Quantity::Rpm, unit) if unit != "hz" => Meaning::Channel(Channel::Rpm),
        (Quantity::Erpm, _) => Meaning::Erpm,
        (Quantity::Voltage, _) => Meaning::Channel(Channel::Voltage),
        (Quantity::Current, _) => Meaning::Channel(Channel::Current),
        (Quantity::Time, _) => Meaning::Channel(Channel::Time),
        _ => return None,
    };
    // `Motor [rpm]`, `Akku [V]`: the part and the unit are a name together.
    let of_car = [parts.motor.as_slice(), &parts.controller, &parts.battery];
    let is_part = of_car.iter().any(|list| holds(name, list)) && leaves_nothing(name, &of_car);
    let certainty = if is_part { Certainty::Contained } else { Certainty::ByUnit };
    (!is_elsewhere(name, meaning)).then_some((meaning, certainty))
}

/// Whose temperature `name` is: `None` for that of a part that is no channel, or of something that is not known.
fn temperature_of(name: &str) -> Option<Meaning> {
    let parts = &vocabulary().parts;
    if holds(name, &parts.other) {
        return None;
    }
    let ambient = holds(name, &parts.ambient);
    match (holds(name, &parts.motor), holds(name, &parts.controller)) {
        // The air at the motor is neither the air nor the motor.
        (true, _) | (_, true) if ambient => None,
        (true, false) => Some(Meaning::Channel(Channel::MotorTemperature)),
        (false, true) => Some(Meaning::Channel(Channel::ControllerTemperature)),
        (true, true) => Some(Meaning::Temperature),
        (false, false) if ambient => Some(Meaning::Channel(Channel::Ambient)),
        (false, false) => {
            leaves_nothing(name, &[&parts.temperature, &parts.unspecific]).then_some(Meaning::Temperature)
        }
    }
}

/// Whether `name` says of a channel that it belongs to something else than the motor or the clock.
fn is_elsewhere(name: &str, meaning: Meaning) -> bool {
    let parts = &vocabulary().parts;
    match meaning {
        Meaning::Channel(Channel::Rpm) | Meaning::Erpm => holds(name, &parts.not_motor),
        Meaning::Channel(Channel::Time) => holds(name, &parts.not_clock),
        _ => false,
    }
}

/// Whether nothing is left of `name` but numbers and single letters where the words of `lists` are taken out.
fn leaves_nothing(name: &str, lists: &[&[String]]) -> bool {
    let words = || lists.iter().flat_map(|list| list.iter());
    // Without blanks between words, they are taken out wherever they are.
    let mut rest = name.to_owned();
    words().filter(|word| !word.is_ascii()).for_each(|word| rest = rest.replace(word.as_str(), " "));
    let is_plain = |part: &str| {
        part.bytes().all(|b| b.is_ascii_digit()) || part.chars().count() == 1 || words().any(|word| word == part)
    };
    rest.split_whitespace().all(is_plain)
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
        .names_in(header)
        .into_iter()
        .filter(|(name, meaning)| long(name) && agrees(*meaning) && !generic(name));
    inside.max_by_key(|(name, _)| (name.chars().count(), Reverse(*name))).map(|(_, meaning)| meaning)
}

/// Whether one of `list` is in `name`.
fn holds(name: &str, list: &[String]) -> bool {
    list.iter().any(|words| holds_words(name, words))
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

/// Whether a header is what a program writes where a column has no name: `column 3`, `Unnamed: 4`, a number.
pub fn is_placeholder(header: &str) -> bool {
    let name = normalise(header);
    let number = name.trim_start_matches(|c: char| !c.is_ascii_digit());
    let word = name[..name.len() - number.len()].trim();
    let is_number = !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit());
    is_number && (word.is_empty() || vocabulary().parts.placeholder.iter().any(|p| p == word))
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

/// The cells in the first lines of `text` that are not plain ASCII.
fn telling_cells(text: &str) -> impl Iterator<Item = &str> {
    /// Preamble, header and units are within these lines.
    const HEAD_LINES: usize = 60;
    text.lines()
        .take(HEAD_LINES)
        .flat_map(|l| l.split([',', ';', '\t', '|', ':']))
        .map(|c| c.trim().trim_matches('"'))
        .filter(|cell| !cell.is_ascii())
}

/// How many cells in the first lines of `text` are one of our names beyond ASCII, whole.
pub fn known_cells(text: &str) -> usize {
    telling_cells(text).filter(|cell| header_meaning(cell).certainty == Certainty::Known).count()
}

/// How many cells in the first lines of `text` hold one of our names or units beyond ASCII: evidence that the text was
/// decoded with the right encoding.
pub fn familiar_cells(text: &str) -> usize {
    telling_cells(text)
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
    #[case("Current cmd [A]", None, Some("a"))]
    #[case("torque constant [Nm/A]", None, Some("other"))]
    #[case("Temp A", Some(Meaning::Temperature), None)]
    #[case("Coolant Temperature [°C]", None, Some("degc"))]
    #[case("Motor air temp", None, None)]
    #[case("Akku [V]", Some(VOLTAGE), Some("v"))]
    fn headers_in_several_languages(#[case] text: &str, #[case] meaning: Option<Meaning>, #[case] unit: Option<&str>) {
        let found = header_meaning(text);
        assert_eq!((found.meaning, found.unit.map(|u| u.name)), (meaning, unit), "{text}");
    }
}
