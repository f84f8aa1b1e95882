//! Bytes to text: which character encoding a log was written in.
//!
//! In this order: what the user says, a byte-order mark, the stride of NUL bytes (UTF-16), strict UTF-8, then the older
//! encodings. Those are judged by how many of our own header words and units each one yields, with `chardetng` as the
//! last resort: alone it takes a Windows-1252 `µs` for Big5.

use std::borrow::Cow;

use encoding_rs::{BIG5, Encoding, GB18030, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1250, WINDOWS_1252};

use super::names;

/// Bytes at the head of a file that decide on its encoding: what is written in words is there.
const HEAD_BYTES: usize = 1 << 16;
/// Bytes decoded at a time.
const STEP_BYTES: usize = 1 << 18;

/// Decoded text and how it was decoded.
pub struct Decoded<'a> {
    /// The text without a byte-order mark.
    pub text: Cow<'a, str>,
    /// WHATWG name of the encoding.
    pub name: &'static str,
    /// Whether some bytes mean nothing in the encoding and became U+FFFD.
    pub damaged: bool,
}

/// Decodes `bytes`, by `stated` where the user names an encoding.
pub fn decode<'a>(bytes: &'a [u8], stated: Option<&'static Encoding>) -> Decoded<'a> {
    let encoding = stated.unwrap_or_else(|| detect(bytes));
    if encoding == UTF_8 {
        let (text, used, damaged) = encoding.decode(bytes);
        return Decoded { text, name: used.name(), damaged };
    }
    // Step by step: at once the library makes room for three times the bytes.
    let mut decoder = encoding.new_decoder();
    let (mut text, mut damaged) = (String::with_capacity(bytes.len() + bytes.len() / 16), false);
    let steps = bytes.chunks(STEP_BYTES).count();
    for (count, step) in bytes.chunks(STEP_BYTES).enumerate() {
        text.reserve(decoder.max_utf8_buffer_length(step.len()).unwrap_or(3 * step.len()));
        damaged |= decoder.decode_to_string(step, &mut text, count + 1 == steps).2;
    }
    Decoded { text: text.into(), name: decoder.encoding().name(), damaged }
}

fn detect(bytes: &[u8]) -> &'static Encoding {
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return encoding;
    }
    let head = &bytes[..bytes.len().min(HEAD_BYTES)];
    if let Some(encoding) = utf16_by_stride(head) {
        return encoding;
    }
    if is_utf8(bytes) { UTF_8 } else { older_encoding(bytes) }
}

/// A file may be cut in the middle of its last character.
fn is_utf8(bytes: &[u8]) -> bool {
    match std::str::from_utf8(bytes) {
        Ok(_) => true,
        Err(e) => e.error_len().is_none() && e.valid_up_to() + 4 > bytes.len() && e.valid_up_to() > 0,
    }
}

/// Digits, delimiters and line ends of a UTF-16 log leave a NUL in every second byte.
fn utf16_by_stride(head: &[u8]) -> Option<&'static Encoding> {
    // At least half of a log's characters are digits and delimiters, whatever its language; a text has no NUL at all.
    const MANY: f64 = 0.4;
    const FEW: f64 = 0.1;
    let nul_share = |parity: usize| {
        let half: Vec<u8> = head.iter().copied().skip(parity).step_by(2).collect();
        half.iter().filter(|&&b| b == 0).count() as f64 / half.len().max(1) as f64
    };
    let (even, odd) = (nul_share(0), nul_share(1));
    if odd > MANY && even < FEW {
        Some(UTF_16LE)
    } else if even > MANY && odd < FEW {
        Some(UTF_16BE)
    } else {
        None
    }
}

fn older_encoding(bytes: &[u8]) -> &'static Encoding {
    let head = &bytes[..bytes.len().min(HEAD_BYTES)];
    let known_words = |encoding: &'static Encoding| {
        let (text, _, damaged) = encoding.decode(head);
        // A longer file may be cut here in the middle of a character.
        let damaged = damaged && bytes.len() <= HEAD_BYTES;
        // Whole names go first: a unit in brackets reads the same in all of them.
        if damaged { (0, 0) } else { (names::known_cells(&text), names::familiar_cells(&text)) }
    };
    // Of equals the last is taken: the commonest comes last.
    let candidates = [BIG5, GB18030, SHIFT_JIS, WINDOWS_1252];
    let best = candidates.into_iter().max_by_key(|&e| known_words(e)).filter(|&e| known_words(e).1 > 0);
    if best.is_none_or(|e| e == WINDOWS_1252) && knows_more(WINDOWS_1250, WINDOWS_1252, head) {
        return WINDOWS_1250;
    }
    best.unwrap_or_else(|| {
        if is_western(bytes) {
            return WINDOWS_1252;
        }
        let mut detector = chardetng::EncodingDetector::new(chardetng::Iso2022JpDetection::Deny);
        detector.feed(bytes, true);
        let guess = detector.guess(None, chardetng::Utf8Detection::Deny);
        if guess == encoding_rs::GBK { GB18030 } else { guess }
    })
}

/// Whether more of our names are in `head` under one encoding than under another that has the same letters for most
/// bytes.
fn knows_more(one: &'static Encoding, other: &'static Encoding, head: &[u8]) -> bool {
    let [one, other] = [one, other].map(|encoding| names::known_cells(&encoding.decode(head).0));
    one > other
}

/// Whether every byte beyond ASCII is a letter of the western languages or a sign that units are written with, at most
/// two in a row: two-byte encodings come in longer rows.
fn is_western(bytes: &[u8]) -> bool {
    let mut in_a_row = 0;
    bytes.iter().all(|&b| {
        in_a_row = if b < 0x80 { 0 } else { in_a_row + 1 };
        in_a_row <= 2
            && (!(0x80..0xC0).contains(&b)
                || matches!(b, 0xB0 | 0xB1 | 0xB2 | 0xB3 | 0xB5 | 0xA0 | 0xAB | 0xBB | 0x80 | 0x96))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("Zeit [µs];Temp [°C]\n1;2\n", WINDOWS_1252)]
    #[case("Régime;Tension\n1;2\n", WINDOWS_1252)]
    #[case("Señal acelerador;Posição do acelerador\n1;2\n", WINDOWS_1252)]
    #[case("Czas;Prędkość;Napięcie;Prąd\n1;2;3;4\n", WINDOWS_1250)]
    #[case("Čas;Otáčky;Napětí\n1;2;3\n", WINDOWS_1250)]
    #[case("時間,回転数,電圧\n1,2,3\n", SHIFT_JIS)]
    #[case("时间,转速,电压\n1,2,3\n", GB18030)]
    fn older_encodings_are_found_by_their_words(#[case] text: &str, #[case] encoding: &'static Encoding) {
        let (bytes, _, _) = encoding.encode(text);
        let decoded = decode(&bytes, None);
        assert_eq!((decoded.text.as_ref(), decoded.name), (text, encoding.name().replace("GBK", "gb18030").as_str()));
    }

    #[test]
    fn utf16_without_a_mark_is_found_by_its_nul_bytes() {
        let text = "time,rpm\n0.05,1200\n0.10,1300\n";
        let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(decode(&le, None).text, text);
        assert_eq!(decode(&be, None).text, text);
    }
}
