//! The words of `channel_names.toml`: names of channels, spellings of units, words that decide about a header.

use std::collections::HashMap;
use std::sync::OnceLock;

use unicode_normalization::char::{decompose_canonical, is_combining_mark};

use super::units::Unit;
use crate::log::Channel;

/// Lists of words by their key: a language, a unit or a part.
type Lists = HashMap<String, Vec<String>>;

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
    /// A temperature that does not say of what.
    Temperature,
}

impl Meaning {
    /// The meaning of a table of `channel_names.toml`; also what a user writes in the sheet's `[import]`.
    pub fn from_key(key: &str) -> Option<Self> {
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
}

/// Words that decide about a header that is not listed whole, and about the lines above it: `[parts]` of the file.
#[derive(Debug, Default)]
pub struct Parts {
    /// Words for temperature.
    pub temperature: Vec<String>,
    /// Words for the motor.
    pub motor: Vec<String>,
    /// Words for the controller.
    pub controller: Vec<String>,
    /// Words for the air around the car.
    pub ambient: Vec<String>,
    /// Words for the battery.
    pub battery: Vec<String>,
    /// Words of what is worked out from a channel.
    pub derived: Vec<String>,
    /// Words of what is asked for, which is not what is measured.
    pub command: Vec<String>,
    /// Names that count only where they are the whole header.
    pub generic: Vec<String>,
    /// Words of parts whose temperature is no channel.
    pub other: Vec<String>,
    /// Words that leave open whose temperature it is.
    pub unspecific: Vec<String>,
    /// Words of what turns without being the motor.
    pub not_motor: Vec<String>,
    /// Words of times that are not a clock.
    pub not_clock: Vec<String>,
    /// Names that programs give to columns without one, before a number.
    pub placeholder: Vec<String>,
    /// Units that are ones in brackets alone.
    pub units_in_brackets: Vec<String>,
    /// Stems of words for the recorder's rate or interval.
    pub rate: Vec<String>,
    /// Words of other frequencies.
    pub not_rate: Vec<String>,
}

/// The longest names.
#[derive(Debug, Default)]
struct Longest {
    /// Words of a Latin name.
    words: usize,
    /// Characters of a name in another script.
    characters: usize,
}

/// All words, ready to be looked up.
#[derive(Debug, Default)]
pub struct Vocabulary {
    names: HashMap<String, Meaning>,
    longest: Longest,
    units: HashMap<String, Unit>,
    /// Words that decide where no name fits.
    pub parts: Parts,
}

/// The words of `channel_names.toml`, read once.
pub fn vocabulary() -> &'static Vocabulary {
    static WORDS: OnceLock<Vocabulary> = OnceLock::new();
    WORDS.get_or_init(|| Vocabulary::from_toml(FILE).expect("channel_names.toml is checked by a test"))
}

/// Characters of a header that may hold a name: no name is longer.
const TELLING_CHARACTERS: usize = 120;

const FILE: &str = include_str!("channel_names.toml");

impl Vocabulary {
    /// Reads the text of a file of words.
    ///
    /// # Errors
    /// Where it is not TOML of tables of lists of words.
    pub fn from_toml(text: &str) -> Result<Self, toml::de::Error> {
        let tables: HashMap<String, Lists> = toml::from_str(text)?;
        let mut words = Vocabulary::default();
        for (key, lists) in tables {
            match key.as_str() {
                "units" => {
                    for (unit, spellings) in lists {
                        let unit = Unit::named(&unit).unwrap_or(Unit::OTHER);
                        words.units.extend(spellings.into_iter().map(|s| (squeeze(&s), unit)));
                    }
                }
                "parts" => words.parts = Parts::from(lists),
                _ => {
                    let Some(meaning) = Meaning::from_key(&key) else { continue };
                    words.names.extend(lists.into_values().flatten().map(|name| (name, meaning)));
                }
            }
        }
        for name in words.names.keys() {
            if name.is_ascii() {
                words.longest.words = words.longest.words.max(name.split(' ').count());
            } else {
                words.longest.characters = words.longest.characters.max(name.chars().count());
            }
        }
        Ok(words)
    }

    /// The names inside `header`, which is as [`normalise`] leaves it: Latin ones as whole words; others, which have no
    /// blanks between words, anywhere. Only the first [`TELLING_CHARACTERS`] are looked at.
    pub fn names_in(&self, header: &str) -> Vec<(&str, Meaning)> {
        let end = header.char_indices().nth(TELLING_CHARACTERS).map_or(header.len(), |(end, _)| end);
        let header = &header[..end];
        let mut found = Vec::new();
        let mut look_up = |name: &str, latin: bool| {
            found.extend(self.names.get_key_value(name).filter(|_| name.is_ascii() == latin));
        };
        let words: Vec<(usize, &str)> = header
            .split(' ')
            .scan(0, |next, word| {
                let start = *next;
                *next += word.len() + 1;
                Some((start, word))
            })
            .collect();
        for (first, &(start, _)) in words.iter().enumerate() {
            for &(last, word) in words[first..].iter().take(self.longest.words) {
                look_up(&header[start..last + word.len()], true);
            }
        }
        if !header.is_ascii() {
            for (start, _) in header.char_indices() {
                let rest = &header[start..];
                for (end, c) in rest.char_indices().take(self.longest.characters) {
                    look_up(&rest[..end + c.len_utf8()], false);
                }
            }
        }
        found.into_iter().map(|(name, meaning)| (name.as_str(), *meaning)).collect()
    }

    /// The meaning of a header that is listed whole; `name` is as [`normalise`] leaves it.
    pub fn meaning(&self, name: &str) -> Option<Meaning> {
        self.names.get(name).copied()
    }

    /// All names with their meanings.
    #[cfg(test)]
    pub fn names(&self) -> impl Iterator<Item = (&str, Meaning)> {
        self.names.iter().map(|(name, meaning)| (name.as_str(), *meaning))
    }

    /// The unit spelled `text`, in brackets or not.
    pub fn unit(&self, text: &str) -> Option<Unit> {
        let whole = squeeze(text);
        let bare = whole.trim_matches(['[', ']', '(', ')', '<', '>', '{', '}', '"']);
        [whole.as_str(), bare, bare.trim_start_matches('/')].iter().find_map(|t| self.units.get(*t).copied())
    }
}

impl From<Lists> for Parts {
    fn from(mut lists: Lists) -> Self {
        let mut list = |key: &str| lists.remove(key).unwrap_or_default();
        Self {
            temperature: list("temperature"),
            motor: list("motor"),
            controller: list("controller"),
            ambient: list("ambient"),
            battery: list("battery"),
            derived: list("derived"),
            command: list("command"),
            generic: list("generic"),
            other: list("other"),
            unspecific: list("unspecific"),
            not_motor: list("not_motor"),
            not_clock: list("not_clock"),
            placeholder: list("placeholder"),
            units_in_brackets: list("units_in_brackets"),
            rate: list("rate"),
            not_rate: list("not_rate"),
        }
    }
}

/// The unit spelled `text`, in brackets or not.
pub fn unit(text: &str) -> Option<Unit> {
    vocabulary().unit(text)
}

/// Lower case, without blanks, micro signs unified.
fn squeeze(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace())
        .flat_map(char::to_lowercase)
        .map(|c| if c == 'μ' { 'µ' } else { c })
        .collect()
}

/// A header in the form in which names are listed: lower case, accents off, words apart by one blank.
pub fn normalise(header: &str) -> String {
    let mut out = String::new();
    let mut before = ' ';
    // An accent may come as a character of its own after its letter.
    let is_accent = |c: &char| ('\u{300}'..='\u{36f}').contains(c);
    for c in header.chars().filter(|c| !is_accent(c)).map(half_width) {
        let camel = before.is_lowercase() && c.is_uppercase();
        let number = before.is_alphabetic() && before.is_ascii() && c.is_ascii_digit();
        if (camel || number || !c.is_alphanumeric()) && !out.ends_with(' ') && !out.is_empty() {
            out.push(' ');
        }
        if c.is_alphanumeric() {
            c.to_lowercase().for_each(|lower| push_without_accent(lower, &mut out));
        }
        before = c;
    }
    out.trim().to_owned()
}

fn half_width(c: char) -> char {
    match c {
        '\u{ff01}'..='\u{ff5e}' => char::from_u32(c as u32 - 0xfee0).unwrap_or(c),
        '\u{3000}' => ' ',
        _ => c,
    }
}

/// Adds a lower-case letter, a Latin one without its accent. Letters of other scripts stay: a kana with a voicing mark
/// is another letter.
fn push_without_accent(c: char, out: &mut String) {
    match c {
        'ß' => out.push_str("ss"),
        'ø' => out.push('o'),
        'ł' => out.push('l'),
        'đ' => out.push('d'),
        'ı' => out.push('i'),
        // Latin-1, Latin Extended-A and -B, Latin Extended Additional.
        'à'..='\u{24f}' | '\u{1e00}'..='\u{1eff}' => decompose_canonical(c, |part| {
            if !is_combining_mark(part) {
                out.push(part);
            }
        }),
        _ => out.push(c),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[test]
    fn every_listed_name_is_in_the_form_it_is_looked_up_by() {
        for (name, _) in vocabulary().names() {
            assert_eq!(normalise(name), name, "write it so in channel_names.toml");
        }
    }

    #[test]
    fn every_table_of_the_file_is_known_and_no_name_is_listed_twice() {
        let tables: HashMap<String, Lists> = toml::from_str(FILE).unwrap();
        let mut seen = HashMap::new();
        for (key, lists) in tables.iter().filter(|(key, _)| !["units", "parts"].contains(&key.as_str())) {
            assert!(Meaning::from_key(key).is_some(), "[{key}] is not a channel");
            for name in lists.values().flatten() {
                assert_eq!(seen.insert(name, key), None, "`{name}` is listed twice");
            }
        }
    }

    #[rstest]
    #[case("MotorTemp1", "motor temp 1")]
    #[case("Régime  moteur", "regime moteur")]
    #[case("Außen-Temp.", "aussen temp")]
    #[case("Re\u{301}gime", "regime")]
    #[case("Prędkość", "predkosc")]
    #[case("Napięcie główne", "napiecie glowne")]
    #[case("Otáčky", "otacky")]
    #[case("Hız", "hiz")]
    #[case("ＲＰＭ　１", "rpm 1")]
    #[case("デ", "デ")]
    fn headers_as_they_are_looked_up(#[case] header: &str, #[case] normal: &str) {
        assert_eq!(normalise(header), normal);
    }

    /// A new language is words in one file: no line of code.
    #[test]
    fn a_new_language_is_words_in_one_file() {
        let mut file: HashMap<String, Lists> = toml::from_str(FILE).unwrap();
        // An invented language, so that none that is added later is in the way.
        for (channel, name) in [
            ("time", "tempofluo"),
            ("rpm", "turnoj motoraj"),
            ("voltage", "streco"),
            ("current", "amperfluo"),
            ("motor_temperature", "varmo motora"),
            ("ground_speed", "rapideco tera"),
        ] {
            assert_eq!(file.get_mut(channel).unwrap().insert("xx".to_owned(), vec![name.to_owned()]), None);
        }
        file.get_mut("units").unwrap().get_mut("rpm").unwrap().push("turn./minuto".to_owned());
        let words = Vocabulary::from_toml(&toml::to_string(&file).unwrap()).unwrap();
        let found = |header: &str| words.meaning(&normalise(header));
        assert_eq!(found("Tempofluo"), Some(Meaning::Channel(Channel::Time)));
        assert_eq!(found("Turnoj_motoraj"), Some(Meaning::Channel(Channel::Rpm)));
        assert_eq!(found("Streĉo"), Some(Meaning::Channel(Channel::Voltage)));
        assert_eq!(found("AMPERFLŬO"), Some(Meaning::Channel(Channel::Current)));
        assert_eq!(found("varmoMotora"), Some(Meaning::Channel(Channel::MotorTemperature)));
        assert_eq!(found("Rapidecó tera"), Some(Meaning::Channel(Channel::GroundSpeed)));
        assert_eq!(words.unit("[turn./minuto]").map(|u| u.name), Some("rpm"));
        // The others are as they were.
        assert_eq!(found("Drehzahl"), Some(Meaning::Channel(Channel::Rpm)));
    }
}
