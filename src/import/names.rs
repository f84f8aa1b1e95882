//! Headers to channels and units, from the words in `channel_names.toml`.

use std::collections::HashMap;
use std::sync::OnceLock;

use crate::log::Channel;

/// What a header says its column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// A channel of the log.
    Channel(Channel),
    /// A date beside a clock time.
    Date,
    /// A number counted up row by row.
    Index,
    /// Electrical revolutions: motor speed times pole pairs.
    Erpm,
    /// The voltage of one cell, which is not the pack's.
    CellVoltage,
    /// A temperature of something untold.
    Temperature,
}

/// A unit that a file may use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Canonical name: the key in `channel_names.toml`.
    pub name: &'static str,
    /// The quantity it measures.
    pub quantity: Quantity,
    /// Value in the channel's unit = written × `scale` + `offset`.
    pub scale: f64,
    /// See `scale`.
    pub offset: f64,
}

/// What kind of thing a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Seconds.
    Time,
    /// Turns a minute.
    Rpm,
    /// Electrical turns a minute.
    Erpm,
    /// Volts.
    Voltage,
    /// Amperes.
    Current,
    /// Degrees Celsius.
    Temperature,
    /// Per cent.
    Share,
    /// Metres a second.
    Speed,
    /// A unit that no channel uses: charge, energy, power.
    Other,
}

use Quantity as Q;

/// Conversions to the channels' units. Exact by definition (SI Brochure; mile and foot of 1959).
const UNITS: [(&str, Quantity, f64, f64); 28] = [
    ("s", Q::Time, 1.0, 0.0),
    ("ms", Q::Time, 1e-3, 0.0),
    ("us", Q::Time, 1e-6, 0.0),
    ("ds", Q::Time, 0.1, 0.0),
    ("cs", Q::Time, 0.01, 0.0),
    ("min", Q::Time, 60.0, 0.0),
    ("rpm", Q::Rpm, 1.0, 0.0),
    ("krpm", Q::Rpm, 1e3, 0.0),
    ("hz", Q::Rpm, 60.0, 0.0),
    ("erpm", Q::Erpm, 1.0, 0.0),
    ("v", Q::Voltage, 1.0, 0.0),
    ("mv", Q::Voltage, 1e-3, 0.0),
    ("cv", Q::Voltage, 1e-2, 0.0),
    ("dv", Q::Voltage, 1e-1, 0.0),
    ("a", Q::Current, 1.0, 0.0),
    ("ma", Q::Current, 1e-3, 0.0),
    ("ca", Q::Current, 1e-2, 0.0),
    ("da", Q::Current, 1e-1, 0.0),
    ("degc", Q::Temperature, 1.0, 0.0),
    ("ddegc", Q::Temperature, 0.1, 0.0),
    ("degf", Q::Temperature, 5.0 / 9.0, -160.0 / 9.0),
    ("kelvin", Q::Temperature, 1.0, crate::quantity::ABSOLUTE_ZERO_C),
    ("percent", Q::Share, 1.0, 0.0),
    ("fraction", Q::Share, 100.0, 0.0),
    ("pulse_us", Q::Share, 0.2, -300.0),
    ("m_s", Q::Speed, 1.0, 0.0),
    ("km_h", Q::Speed, 1.0 / 3.6, 0.0),
    ("mph", Q::Speed, 0.44704, 0.0),
];

impl Unit {
    /// The unit of canonical name `name`.
    pub fn named(name: &str) -> Option<Unit> {
        let &(name, quantity, scale, offset) = UNITS.iter().find(|u| u.0 == name)?;
        Some(Unit { name, quantity, scale, offset })
    }

    /// How the report writes it.
    pub fn label(self) -> &'static str {
        match self.name {
            "us" => "µs",
            "ds" => "0.1 s",
            "cs" => "0.01 s",
            "rpm" => "1/min",
            "krpm" => "1000/min",
            "erpm" => "electrical 1/min",
            "hz" => "Hz",
            "v" => "V",
            "mv" => "mV",
            "cv" => "0.01 V",
            "dv" => "0.1 V",
            "a" => "A",
            "ma" => "mA",
            "ca" => "0.01 A",
            "da" => "0.1 A",
            "degc" => "°C",
            "ddegc" => "0.1 °C",
            "degf" => "°F",
            "kelvin" => "K",
            "percent" => "%",
            "fraction" => "share of one",
            "pulse_us" => "servo pulse, µs",
            "m_s" => "m/s",
            "km_h" => "km/h",
            other => other,
        }
    }

    /// A written value in the channel's own unit.
    pub fn convert(self, written: f64) -> f64 {
        written * self.scale + self.offset
    }
}

/// The quantity that a channel measures.
pub fn quantity_of(channel: Channel) -> Quantity {
    match channel {
        Channel::Time => Q::Time,
        Channel::Rpm => Q::Rpm,
        Channel::Voltage => Q::Voltage,
        Channel::Current => Q::Current,
        Channel::MotorTemperature | Channel::ControllerTemperature | Channel::Ambient => Q::Temperature,
        Channel::Throttle => Q::Share,
        Channel::WheelSpeed | Channel::GroundSpeed => Q::Speed,
    }
}

struct Words {
    names: HashMap<String, Meaning>,
    units: HashMap<String, Unit>,
    parts: HashMap<String, Vec<String>>,
}

fn words() -> &'static Words {
    static WORDS: OnceLock<Words> = OnceLock::new();
    WORDS.get_or_init(|| {
        let table: HashMap<String, HashMap<String, Vec<String>>> =
            toml::from_str(include_str!("channel_names.toml")).expect("channel_names.toml is checked by a test");
        let mut words = Words { names: HashMap::new(), units: HashMap::new(), parts: HashMap::new() };
        for (key, lists) in table {
            match key.as_str() {
                "units" => {
                    for (unit, spellings) in lists {
                        let other = Unit { name: "other", quantity: Q::Other, scale: 1.0, offset: 0.0 };
                        let unit = Unit::named(&unit).unwrap_or(other);
                        words.units.extend(spellings.into_iter().map(|s| (squeeze(&s), unit)));
                    }
                }
                "parts" => words.parts = lists,
                _ => {
                    let Some(meaning) = meaning_of(&key) else { continue };
                    words.names.extend(lists.into_values().flatten().map(|n| (n, meaning)));
                }
            }
        }
        words
    })
}

/// The meaning of a table of `channel_names.toml`; also what a user writes in the sheet's `[import]`.
pub fn meaning_of(key: &str) -> Option<Meaning> {
    Some(match key {
        "date" => Meaning::Date,
        "index" => Meaning::Index,
        "erpm" => Meaning::Erpm,
        "cell_voltage" => Meaning::CellVoltage,
        "temperature_unspecified" => Meaning::Temperature,
        "ambient_temperature" => Meaning::Channel(Channel::Ambient),
        name => Meaning::Channel(Channel::from_name(name)?),
    })
}

/// The unit spelled `text`, in brackets or not.
pub fn unit(text: &str) -> Option<Unit> {
    let whole = squeeze(text);
    let bare = whole.trim_matches(['[', ']', '(', ')', '<', '>', '{', '}', '"']);
    [whole.as_str(), bare, bare.trim_start_matches('/')].iter().find_map(|t| words().units.get(*t).copied())
}

/// Lower case, without blanks, micro signs and degree signs unified.
fn squeeze(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace())
        .flat_map(char::to_lowercase)
        .map(|c| if c == 'μ' { 'µ' } else { c })
        .collect()
}

/// A header's meaning with the unit it names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeaderMeaning {
    /// What the column holds.
    pub meaning: Meaning,
    /// Whether the whole header was a known name, or just held one.
    pub exact: bool,
}

/// What `header` says, and the unit written in it.
pub fn header(header: &str) -> (Option<HeaderMeaning>, Option<Unit>) {
    let (bare, bracketed) = split_bracketed_unit(header);
    let whole = normalise(&bare);
    let revs = bracketed.filter(|u| u.quantity == Q::Rpm && u.name != "hz");
    if let (Some(unit), Some(Meaning::Channel(Channel::GroundSpeed | Channel::WheelSpeed))) =
        (revs, words().names.get(&whole))
    {
        // `Speed (rpm)` is the motor's.
        return (Some(HeaderMeaning { meaning: Meaning::Channel(Channel::Rpm), exact: false }), Some(unit));
    }
    if let Some(&meaning) = words().names.get(&whole) {
        return (Some(HeaderMeaning { meaning, exact: true }), bracketed.or_else(|| unit_in_name(&whole)));
    }
    // `Spannung V`, `motor_temp_c`, `I/A`: the last part is the unit.
    let parts: Vec<&str> =
        bare.split(|c: char| c.is_whitespace() || matches!(c, '_' | '/' | ':')).filter(|p| !p.is_empty()).collect();
    for taken in 1..=2.min(parts.len().saturating_sub(1)) {
        let (rest, tail) = parts.split_at(parts.len() - taken);
        let Some(unit) = unit(&tail.join("/")).or_else(|| unit(&tail.concat())) else { continue };
        let name = normalise(&rest.join(" "));
        let name = name.strip_suffix(" in").unwrap_or(&name);
        if let Some(&meaning) = words().names.get(name) {
            return (Some(HeaderMeaning { meaning, exact: true }), Some(unit));
        }
        return (contained(name, Some(unit)), Some(unit));
    }
    (contained(&whole, bracketed), bracketed)
}

/// `krpm`, `milliseconds` and the like are a name and its unit in one; `rpm` alone says no more than the name.
fn unit_in_name(name: &str) -> Option<Unit> {
    unit(name).filter(|u| u.name == "krpm" || u.quantity == Q::Time && u.name != "s")
}

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

/// The longest known name that stands in `name` as whole words (or, without blanks between words as in
/// Japanese and Chinese, anywhere), unless the header speaks of something derived; else what its unit says.
fn contained(name: &str, unit: Option<Unit>) -> Option<HeaderMeaning> {
    let has =
        |part: &str| name.match_indices(part).any(|(at, _)| !part.is_ascii() || stands_alone(name, at, part.len()));
    let part = |key: &str| words().parts.get(key).is_some_and(|list| list.iter().any(|p| has(p)));
    let quantity = unit.map(|u| u.quantity);
    if part("derived") || quantity == Some(Q::Other) {
        return None;
    }
    let found = |meaning| Some(HeaderMeaning { meaning, exact: false });
    if part("temperature") || quantity == Some(Q::Temperature) {
        if part("other") {
            return None;
        }
        return match (part("motor"), part("controller")) {
            (true, false) => found(Meaning::Channel(Channel::MotorTemperature)),
            (false, true) => found(Meaning::Channel(Channel::ControllerTemperature)),
            _ if part("ambient") => found(Meaning::Channel(Channel::Ambient)),
            _ => found(Meaning::Temperature),
        };
    }
    let generic = |n: &str| words().parts.get("generic").is_some_and(|list| list.iter().any(|g| g == n));
    let agrees = |m: Meaning| match (m, quantity) {
        (Meaning::Channel(c), Some(q)) => quantity_of(c) == q || c == Channel::Rpm && q == Q::Erpm,
        _ => quantity.is_none(),
    };
    let long = |n: &str| n.chars().count() >= if n.is_ascii() { 3 } else { 2 };
    let inside = words().names.iter().filter(|(n, m)| long(n) && !generic(n) && has(n) && agrees(**m));
    let longest = inside.max_by_key(|(n, _)| (n.chars().count(), std::cmp::Reverse((*n).clone())));
    longest.and_then(|(_, &m)| found(m)).or_else(|| match quantity? {
        Q::Rpm => found(Meaning::Channel(Channel::Rpm)),
        Q::Erpm => found(Meaning::Erpm),
        Q::Voltage => found(Meaning::Channel(Channel::Voltage)),
        Q::Current => found(Meaning::Channel(Channel::Current)),
        Q::Time => found(Meaning::Channel(Channel::Time)),
        _ => None,
    })
}

/// The part of the car that a header names without saying what of it is measured: the motor's or the controller's
/// temperature, if its values look like one.
pub fn part_named(header: &str) -> Option<Channel> {
    let name = normalise(header);
    let listed = |key: &str| words().parts.get(key).is_some_and(|list| list.contains(&name));
    if listed("motor") {
        Some(Channel::MotorTemperature)
    } else {
        listed("controller").then_some(Channel::ControllerTemperature)
    }
}

/// A factor written into a header: `RPM x100`, `Drehzahl × 10`, `rpm*1000`.
pub fn factor(header: &str) -> Option<f64> {
    let at = header.char_indices().find(|(at, c)| {
        let before = header[..*at].chars().next_back();
        matches!(c, '×' | '*') || matches!(c, 'x' | 'X') && before.is_none_or(|b| !b.is_alphanumeric())
    })?;
    let digits: String =
        header[at.0 + at.1.len_utf8()..].trim_start().chars().take_while(char::is_ascii_digit).collect();
    digits.parse().ok().filter(|f| [10.0, 100.0, 1000.0].contains(f))
}

/// Whether the stretch of `length` bytes at `at` is bounded by blanks or the ends of `text`.
fn stands_alone(text: &str, at: usize, length: usize) -> bool {
    let blank = |byte: Option<&u8>| byte.is_none_or(|b| *b == b' ');
    blank(at.checked_sub(1).and_then(|n| text.as_bytes().get(n))) && blank(text.as_bytes().get(at + length))
}

/// A header in the form in which names are listed: lower case, accents off, words apart by one blank.
pub fn normalise(header: &str) -> String {
    let mut out = String::new();
    let mut before = ' ';
    for c in header.chars().map(fold_width) {
        let camel = before.is_lowercase() && c.is_uppercase();
        let number = before.is_alphabetic() && before.is_ascii() && c.is_ascii_digit();
        if (camel || number || !c.is_alphanumeric()) && !out.ends_with(' ') && !out.is_empty() {
            out.push(' ');
        }
        if c.is_alphanumeric() {
            out.extend(c.to_lowercase().flat_map(strip_accent));
        }
        before = c;
    }
    out.trim().to_owned()
}

fn fold_width(c: char) -> char {
    match c {
        '\u{ff01}'..='\u{ff5e}' => char::from_u32(c as u32 - 0xfee0).unwrap_or(c),
        '\u{3000}' => ' ',
        _ => c,
    }
}

fn strip_accent(c: char) -> impl Iterator<Item = char> {
    let plain = match c {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => "a",
        'è' | 'é' | 'ê' | 'ë' => "e",
        'ì' | 'í' | 'î' | 'ï' => "i",
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' => "o",
        'ù' | 'ú' | 'û' | 'ü' => "u",
        'ñ' => "n",
        'ç' => "c",
        'ß' => "ss",
        '\u{300}'..='\u{36f}' => "",
        _ => return [c, '\0'].into_iter().take(1).collect::<Vec<_>>().into_iter(),
    };
    plain.chars().collect::<Vec<_>>().into_iter()
}

/// How many of our names and units beyond ASCII stand in the first lines of `text`: evidence that it was
/// decoded rightly.
pub fn familiar(text: &str) -> usize {
    let cells =
        text.lines().take(60).flat_map(|l| l.split([',', ';', '\t', '|', ':'])).map(|c| c.trim().trim_matches('"'));
    cells
        .filter(|c| !c.is_ascii())
        .filter(|c| {
            let (meaning, unit) = header(c);
            let accented = c.chars().all(|c| c.is_ascii() || ('\u{b0}'..='\u{ff}').contains(&c));
            meaning.is_some_and(|m| m.exact || !accented) || unit.is_some() || self::unit(c).is_some()
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
        let (found, in_unit) = header(text);
        assert_eq!((found.map(|f| f.meaning), in_unit.map(|u| u.name)), (meaning, unit), "{text}");
    }

    #[test]
    fn every_listed_name_is_in_the_form_it_is_looked_up_by() {
        for name in words().names.keys() {
            assert_eq!(&normalise(name), name);
        }
    }
}
